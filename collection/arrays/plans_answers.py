"""What the engine answers to a batch of leg-plan inputs, as plain numbers and words: in, out, and nothing else.

inputs -> four feet now -> legs to turn -> order of lifts -> what the playfield reads after each -> answers
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from collection.arrays.response import responses_of
from leveling.checks import FloatArray
from leveling.contact import ALL_BEAR
from leveling.floors import FloorPlane, bay_floor
from leveling.four_feet import FourFeet, Offset, to_four_feet
from leveling.frame import LEGS, foot_positions
from leveling.prediction import Reading, Turning, after_turns, as_it_stands
from leveling.response import PlanTerms, plan_terms
from leveling.response_learning import answer_to_turns
from leveling.standing import cabinet_of, foot_heights, playfield_of
from leveling.support import Stance
from leveling.turns import LegPlan, Limit, Outcome, PlanRequest, Remedy, plan_legs
from leveling.turns_lifts import Lift, after_lifts
from leveling.verdicts_machine import MachineVerdict, Measured, Spec, judge_machine

Inputs = dict[str, Any]
Answer = dict[str, Any]

#: The engine's outcomes as the record names them.
OUTCOMES = {
    Outcome.ALREADY_IN_SPEC: "in_spec",
    Outcome.PLAN: "plan",
    Outcome.NOTHING_FITS: "nothing_fits",
    Outcome.EXPOSURE_BEYOND_TRAVEL: "exposure_beyond_travel",
}
#: The engine's daily verdicts, in the order of its codes, and its quantities, as the record names them.
DAILY = ("in", "borderline", "out", "not_measured")
QUANTITIES = {"pitch": "pitch", "roll": "roll", "twist": "gap", "machine": "machine"}
ENDS = {"front": list(LEGS[:2]), "rear": list(LEGS[2:]), "all": list(LEGS)}
END_OF = {Lift.FRONT: "front", Lift.REAR: "rear", Lift.ALL: "all"}


@dataclass(frozen=True, eq=False)
class _Course:
    """A batch of plans: the ends in the order of lifting, and what the playfields read now and after each lift."""

    plan: LegPlan
    ends: list[list[str]]
    readings: list[Reading]
    verdict_now: MachineVerdict
    verdict_after: MachineVerdict


def answers_to(inputs: Sequence[Inputs]) -> list[Answer]:
    """Return what the engine answers to each of a batch of inputs.

    ``legs`` are in leg order with steps out positive, ``lifts`` in the order to lift, ``states`` what the playfield
    reads as it stands: now, and after each lift.
    """
    if not inputs:
        return []
    terms = _terms(inputs)
    course = _course(inputs, terms, _four_feet(inputs, terms))
    return [_answer(course, row, each) for row, each in enumerate(inputs)]


def as_turned(*, inputs: Inputs, lifts: Sequence[Sequence[float]]) -> Answer:
    """Return ``states`` and ``verdict_after`` of a plan if these turns are made: four a lift, in leg order, out +."""
    one = [inputs]
    terms = _terms(one)
    now = _four_feet(one, terms)
    fours = [now, *(_after(one, terms, now, turns[None]) for turns in np.cumsum(np.array(lifts), axis=0))]
    states = [_state(as_it_stands(four, feet_mm=terms.feet_mm, offset=terms.offset), 0) for four in fours]
    return {
        "states": [states[0] | _as_read(inputs), *states[1:]],
        "verdict_after": _verdict(_judge(one, fours[-1]), 0),
    }


def turn_mm(inputs: Inputs) -> float:
    """Return the height per turn that a plan of these inputs reckons with [mm]: as the machine taught, if it did."""
    kept = inputs.get("response")
    return float(kept["turn_mm"] if kept else inputs["lead_mm"])


def _course(inputs: Sequence[Inputs], terms: PlanTerms, now: FourFeet) -> _Course:
    request = _request(inputs, terms, now)
    plan = plan_legs(request)
    lifts = after_lifts(request, plan)
    first = lifts.steps[:, 0] / _column(inputs, "steps_per_turn")[:, None]
    halfway, done = (_after(inputs, terms, now, turns) for turns in (first, plan.turns))
    return _Course(
        plan=plan,
        ends=[[END_OF[Lift(int(code))] for code in codes if code != Lift.NONE] for codes in lifts.lift],
        readings=[as_it_stands(four, feet_mm=terms.feet_mm, offset=terms.offset) for four in (now, halfway, done)],
        verdict_now=_judge(inputs, now),
        verdict_after=_judge(inputs, done),
    )


def _after(inputs: Sequence[Inputs], terms: PlanTerms, now: FourFeet, turns: FloatArray) -> FourFeet:
    """The plane of all four feet after these turns; where the machine taught, with what is not known of its answer."""
    turning = Turning(turns, lead_mm=terms.lead_mm[:, None])
    four = after_turns(before=now, turning=turning, feet_mm=terms.feet_mm, offset=terms.offset)
    rows = _taught(inputs)
    if not rows.size:
        return four
    learned = answer_to_turns(
        responses_of([inputs[row]["response"] for row in rows]),
        before=FourFeet(now.pitch_deg[rows], now.roll_deg[rows], now.twist_mm[rows], now.covariance[rows]),
        turns=turns[rows],
        feet_mm=_feet(inputs)[rows],
    )
    return FourFeet(
        pitch_deg=_put(four.pitch_deg, rows, learned.pitch_deg),
        roll_deg=_put(four.roll_deg, rows, learned.roll_deg),
        twist_mm=_put(four.twist_mm, rows, learned.twist_mm),
        covariance=_put(four.covariance, rows, learned.covariance),
    )


def _answer(course: _Course, row: int, inputs: Inputs) -> Answer:
    plan, ends = course.plan, course.ends[row]
    readings = [course.readings[0]] + (course.readings[1:] if len(ends) == 2 else course.readings[2:] if ends else [])
    states = [_state(reading, row) for reading in readings]
    states[0] |= _as_read(inputs)
    lift_of = {leg: number for number, end in enumerate(ends, 1) for leg in ENDS[end]}
    legs = [_leg(plan, row, place, lift_of.get(leg), inputs) for place, leg in enumerate(LEGS)]
    turned = [leg["name"] for leg in legs if leg["steps"]]
    return {
        "outcome": OUTCOMES[Outcome(int(plan.outcome[row]))],
        "legs": legs,
        "lifts": [
            {"end": end, "frees": ENDS[end], "legs": [leg for leg in ENDS[end] if leg in turned]} for end in ends
        ],
        "states": states,
        "total_steps": int(plan.total_steps[row]),
        "aim_class": int(plan.aim_class[row]),
        "in_tolerance": bool(plan.in_tolerance[row]),
        "travel_claimed": bool(plan.travel_claimed[row]),
        "limit": Limit(int(plan.limit[row])).name.lower(),
        "remedy": Remedy(int(plan.remedy[row])).name.lower(),
        "pads_mm": plan.pad_mm[row].tolist(),
        "verdict_now": _verdict(course.verdict_now, row),
        "verdict_after": _verdict(course.verdict_after, row),
        "provable": _provable(course, row, inputs),
    }


def _leg(plan: LegPlan, row: int, place: int, lift: int | None, inputs: Inputs) -> Answer:
    steps = int(plan.steps[row, place])
    known = inputs["exposures_mm"][place] is not None
    return {
        "name": LEGS[place],
        "steps": steps,
        "steps_per_turn": inputs["steps_per_turn"],
        "lift": lift if steps else None,
        "height_mm": float(plan.turns[row, place]) * turn_mm(inputs),
        "exposure_after_mm": float(plan.exposure_after_mm[row, place]) if known else None,
    }


def _state(reading: Reading, row: int) -> Answer:
    numbers = ("pitch_deg", "u_pitch_deg", "roll_deg", "u_roll_deg", "gap_mm", "u_gap_mm")
    light = int(reading.light[row])
    return {
        **{name: float(getattr(reading, name)[row]) for name in numbers},
        "foot": "" if light == ALL_BEAR else LEGS[light],
    }


def _as_read(inputs: Inputs) -> Answer:
    """What someone read and found is told as they know it; no gap where nobody checked the feet."""
    if inputs["source"] == "floor":
        return {}
    survey = inputs["survey"]
    return {
        "pitch_deg": survey["pitch_read_deg"],
        "roll_deg": survey["roll_read_deg"],
        "gap_mm": None if survey["stance"] == "unknown" else survey["gap_mm"],
        "foot": survey.get("foot", survey["stance"] if survey["stance"] in LEGS else ""),
    }


def _verdict(verdict: MachineVerdict, row: int) -> Answer:
    """The daily verdict on each quantity and on the machine, with the machine's chance of being in spec."""
    codes = {shown: DAILY[int(getattr(verdict, name).daily[row])] for name, shown in QUANTITIES.items()}
    return {**codes, "chance": float(verdict.machine.chance[row])}


def _provable(course: _Course, row: int, inputs: Inputs) -> Answer | None:
    """Whether a machine in the middle of its spec could be proven in with the survey's instrument; None without one."""
    if inputs["source"] == "floor":
        return None
    return {shown: bool(getattr(course.verdict_now, name).provable[row]) for name, shown in QUANTITIES.items()}


def _request(inputs: Sequence[Inputs], terms: PlanTerms, now: FourFeet) -> PlanRequest:
    specs = [each["spec"] for each in inputs]
    exposures = [each["exposures_mm"] for each in inputs]
    flags = ("front_reachable", "rear_reachable", "on_dollies", "even_if_in_spec")
    return PlanRequest(
        feet_mm=terms.feet_mm,
        pitch_deg=now.pitch_deg,
        roll_deg=now.roll_deg,
        twist_mm=now.twist_mm,
        pitch_offset_deg=terms.offset.pitch_deg,
        roll_offset_deg=terms.offset.roll_deg,
        want_pitch_deg=_column(specs, "pitch_deg"),
        pitch_tol_deg=_column(specs, "pitch_tolerance_deg"),
        roll_tol_deg=_column(specs, "roll_tolerance_deg"),
        twist_tol_mm=_column(specs, "gap_tolerance_mm") / 4,
        lead_mm=terms.lead_mm,
        step_turns=1 / _column(inputs, "steps_per_turn"),
        exposure_mm=np.array([[exposure or 0.0 for exposure in row] for row in exposures]),
        exposure_known=np.array([[exposure is not None for exposure in row] for row in exposures]),
        travel_mm=_column(inputs, "travels_mm"),
        **{name: np.array([each[name] for each in inputs], dtype=np.bool_) for name in flags},
    )


def _judge(inputs: Sequence[Inputs], four: FourFeet) -> MachineVerdict:
    """The verdict on the plane of all four feet, as surveys are judged; the gap only where someone checked the feet."""
    specs = [each["spec"] for each in inputs]
    names = ("pitch_deg", "pitch_tolerance_deg", "roll_tolerance_deg", "gap_tolerance_mm")
    checked = [each["source"] == "floor" or each["survey"]["stance"] != "unknown" for each in inputs]
    return judge_machine(
        measured=Measured(
            pitch_deg=four.pitch_deg,
            u_pitch_deg=four.u_pitch_deg,
            roll_deg=four.roll_deg,
            u_roll_deg=four.u_roll_deg,
            twist_mm=four.twist_mm,
            u_twist_mm=four.u_twist_mm,
            twist_known=np.array(checked),
        ),
        spec=Spec(**{name: _column(specs, name) for name in names}),
    )


def _feet(inputs: Sequence[Inputs]) -> FloatArray:
    return foot_positions(
        track_front_mm=_column(inputs, "track_front_mm"),
        track_rear_mm=_column(inputs, "track_rear_mm"),
        base_mm=_column(inputs, "base_mm"),
    )


def _terms(inputs: Sequence[Inputs]) -> PlanTerms:
    """Feet, lead and offset of each machine: as its measures say, or as it taught."""
    names = ("pitch_offset_deg", "roll_offset_deg", "u_pitch_offset_deg", "u_roll_offset_deg")
    feet, lead, offset = _feet(inputs), _column(inputs, "lead_mm"), [_column(inputs, name) for name in names]
    rows = _taught(inputs)
    if rows.size:
        learned = plan_terms(responses_of([inputs[row]["response"] for row in rows]), feet[rows])
        feet, lead = _put(feet, rows, learned.feet_mm), _put(lead, rows, learned.lead_mm)
        taught = learned.offset
        found = (taught.pitch_deg, taught.roll_deg, taught.u_pitch_deg, taught.u_roll_deg)
        offset = [_put(was, rows, now) for was, now in zip(offset, found, strict=True)]
    return PlanTerms(feet, lead, Offset(*offset))


def _taught(inputs: Sequence[Inputs]) -> NDArray[np.intp]:
    """Which of the machines taught how they answer to turns."""
    return np.array([row for row, each in enumerate(inputs) if each.get("response")], dtype=np.intp)


def _put(all_rows: FloatArray, rows: NDArray[np.intp], found: FloatArray) -> FloatArray:
    changed = np.array(all_rows)
    changed[rows] = found
    return changed


def _four_feet(inputs: Sequence[Inputs], terms: PlanTerms) -> FourFeet:
    """The playfields on the plane of all four feet now, each from its own source."""
    angles, covariance = np.zeros((len(inputs), 3)), np.zeros((len(inputs), 3, 3))
    for source, start in (("survey", _from_surveys), ("floor", _from_floors)):
        rows = np.array([row for row, each in enumerate(inputs) if each["source"] == source], dtype=np.intp)
        if rows.size:
            found = start([inputs[row] for row in rows], terms.feet_mm[rows], _at(terms.offset, rows))
            angles[rows] = np.stack([found.pitch_deg, found.roll_deg, found.twist_mm], axis=-1)
            covariance[rows] = found.covariance
    return FourFeet(angles[:, 0], angles[:, 1], angles[:, 2], covariance)


def _at(offset: Offset, rows: NDArray[np.intp]) -> Offset:
    return Offset(offset.pitch_deg[rows], offset.roll_deg[rows], offset.u_pitch_deg[rows], offset.u_roll_deg[rows])


def _from_surveys(inputs: Sequence[Inputs], feet: FloatArray, offset: Offset) -> FourFeet:
    """As surveyed. The gap that a survey found moves pitch, roll and twist together; the readings move each alone."""
    surveys = [each["survey"] for each in inputs]
    pitch, roll, twist = (_column(surveys, name) for name in ("pitch_deg", "roll_deg", "twist_mm"))
    variances = np.stack([_column(surveys, name) ** 2 for name in ("u_pitch_deg", "u_roll_deg", "u_twist_mm")], axis=-1)
    light = np.array([LEGS.index(each["stance"]) if each["stance"] in LEGS else ALL_BEAR for each in surveys])
    one_mm = to_four_feet(
        pitch_deg=pitch,
        roll_deg=roll,
        covariance_deg2=np.zeros((2, 2)),
        stance=Stance(light=light, gap_mm=np.zeros(light.shape), u_gap_mm=np.ones(light.shape)),
        feet_mm=feet,
        offset=offset,
    ).covariance
    of_gap = one_mm * (variances[:, 2] / one_mm[:, 2, 2])[:, None, None]
    alone = np.maximum(variances - np.diagonal(of_gap, axis1=-2, axis2=-1), 0.0)
    return FourFeet(pitch, roll, twist, of_gap + alone[:, :, None] * np.eye(3))


def _from_floors(inputs: Sequence[Inputs], feet: FloatArray, offset: Offset) -> FourFeet:
    """From the floor under the bay and the legs alone; the offset's wide prior makes it unsure."""
    floors = [each["floor"] for each in inputs]
    u_gx, u_gy, both = (_column(floors, name) for name in ("u_gx", "u_gy", "gxgy_covariance"))
    plane = FloorPlane(
        gradient=np.stack([_column(floors, "gx"), _column(floors, "gy")], axis=-1),
        covariance=np.stack([np.stack([u_gx**2, both], -1), np.stack([both, u_gy**2], -1)], axis=-2),
        misfit=np.zeros(len(floors)),
        outcome=np.zeros(len(floors), dtype=np.intp),
    )
    floor = bay_floor(plane, heading_deg=_column(floors, "heading_deg"), feet_mm=feet)
    heights = foot_heights(
        floor_mm=floor.heights_mm,
        floor_covariance_mm2=floor.covariance_mm2,
        exposure_mm=_column(inputs, "exposures_mm"),
        leg_mm=_column(floors, "leg_mm"),
        pad_mm=_column(floors, "pad_mm"),
    )
    return playfield_of(cabinet_of(heights, feet), offset)


def _column(rows: Sequence[Inputs], name: str) -> NDArray[np.float64]:
    return np.array([each[name] for each in rows], dtype=np.float64)
