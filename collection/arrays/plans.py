"""Leg plans between rows and the engine: what a plan is computed from, many plans at once, a plan in one line.

Inputs and answers are plain numbers and words that JSON can hold, so that a stored plan can be computed again.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from collection.arrays.plans_answers import Answer, Inputs, answers_to
from collection.arrays.response import Taught
from collection.models import FloorSlope, Leg, Machine, Spec, Survey

_FRACTIONS = {
    1 / 8: "⅛", 1 / 6: "⅙", 1 / 4: "¼", 1 / 3: "⅓", 3 / 8: "⅜", 1 / 2: "½", 5 / 8: "⅝", 2 / 3: "⅔", 3 / 4: "¾",
    5 / 6: "⅚", 7 / 8: "⅞",
}  # fmt: skip


@dataclass(frozen=True)
class PlanWork:
    """How the work will be done: which ends can be reached and lifted, on dollies or not, the smallest step."""

    front_reachable: bool
    rear_reachable: bool
    on_dollies: bool
    steps_per_turn: int
    even_if_in_spec: bool = False


@dataclass(frozen=True)
class PlanRows:
    """The rows that one plan starts from: a survey, or the floor's slope under the machine's bay.

    ``taught`` is how the machine answered to turns before; None to go by its measures alone.
    """

    machine: Machine
    legs: Sequence[Leg]
    spec: Spec
    survey: Survey | None = None
    slope: FloorSlope | None = None
    taught: Taught | None = None


def usual_work(machine: Machine) -> PlanWork:
    """Return how work on this machine is usually done: as its bay and its own row say; on dollies it rolls out."""
    bay = machine.bay
    return PlanWork(
        front_reachable=bay is None or bay.front_reachable or machine.on_dollies,
        rear_reachable=bay is None or bay.rear_reachable or machine.on_dollies,
        on_dollies=machine.on_dollies,
        steps_per_turn=machine.steps_per_turn,
    )


def inputs_of(*, rows: PlanRows, work: PlanWork) -> Inputs:
    """Return everything that a plan of these rows is computed from."""
    machine = rows.machine
    legs = sorted(rows.legs, key=lambda leg: leg.place)
    start: Inputs = {"survey": _survey(rows.survey)} if rows.survey else {"floor": _floor(rows.slope, machine, legs)}
    return {
        "source": "survey" if rows.survey else "floor",
        "bay": str(machine.bay_id or ""),
        **start,
        **_columns(machine, "track_front_mm", "track_rear_mm", "base_mm", "lead_mm"),
        **_columns(machine, "pitch_offset_deg", "roll_offset_deg", "u_pitch_offset_deg", "u_roll_offset_deg"),
        "spec": _columns(rows.spec, "pitch_deg", "pitch_tolerance_deg", "roll_tolerance_deg", "gap_tolerance_mm"),
        "exposures_mm": [leg.exposure_mm for leg in legs],
        "travels_mm": [leg.travel_mm for leg in legs],
        **asdict(work),
        **({"response": rows.taught.inputs} if rows.taught and rows.taught.count else {}),
    }


def plans_of_many(*, rows: Sequence[PlanRows]) -> list[Answer]:
    """Return a plan for each of many machines, worked as usual, in one call of the engine."""
    return answers_to([inputs_of(rows=each, work=usual_work(each.machine)) for each in rows])


def turns_summary(answer: Answer) -> str:
    """Return a plan in one line, such as "2 lifts · rear: RL out 6 ½, RR out 8 ¼ · front: FL in 2"."""
    if answer["outcome"] == "in_spec":
        return "in spec: turn nothing"
    if answer["outcome"] == "exposure_beyond_travel":
        return "a leveler is out beyond its travel: correct the legs"
    nearest = "nothing fits; the nearest · " if answer["outcome"] == "nothing_fits" else ""
    return nearest + lifts_summary(answer)


def lifts_summary(answer: Answer, space: str = " ") -> str:
    """Return the lifts of a plan in one line, whatever they reach; ``space`` stands inside each leg's turns."""
    legs = {leg["name"]: leg for leg in answer["legs"]}
    parts = [
        f"{'all four' if lift['end'] == 'all' else lift['end']}: "
        + ", ".join(space.join([name, *_turn_words(legs[name])]) for name in lift["legs"])
        for lift in answer["lifts"]
    ]
    count = f"{len(parts)} {'lift' if len(parts) == 1 else 'lifts'}" if parts else "nothing can be turned"
    return " · ".join([count, *parts])


def _turn_words(leg: Answer) -> list[str]:
    """One leg's turns, such as "out", "6", "½"."""
    whole, part = divmod(abs(leg["steps"]), leg["steps_per_turn"])
    fraction = _FRACTIONS.get(part / leg["steps_per_turn"], "")
    size = [word for word in (str(whole) if whole or not fraction else "", fraction) if word]
    return ["out" if leg["steps"] > 0 else "in", *size]


def _survey(survey: Survey) -> Inputs:
    names = ("pitch_deg", "roll_deg", "twist_mm", "u_pitch_deg", "u_roll_deg", "u_twist_mm")
    stood = {"stance": survey.stood_on, "foot": survey.light_foot}
    return {**stood, **_columns(survey, "pitch_read_deg", "roll_read_deg", "gap_mm", *names)}


def _floor(slope: FloorSlope | None, machine: Machine, legs: Sequence[Leg]) -> Inputs:
    if slope is None or machine.bay is None:
        raise ValueError("a plan starts from a survey, or from a slope and a bay")
    return {
        **_columns(slope, "gx", "gy", "u_gx", "u_gy", "gxgy_covariance"),
        "heading_deg": machine.bay.heading_deg,
        "leg_mm": [leg.length_mm for leg in legs],
        "pad_mm": [leg.pad_mm for leg in legs],
    }


def _columns(row: Any, *names: str) -> Inputs:
    return {name: getattr(row, name) for name in names}
