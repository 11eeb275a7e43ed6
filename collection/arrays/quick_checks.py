"""Quick checks: readings on rail or glass to a verdict, by pairs with surveys, and back to plain numbers.

A check keeps in ``inputs`` what the engine was given: its level, the pairs that count, what was believed before.
``judged`` makes its numbers of these, the first time and at any time later.
"""

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

import numpy as np

from collection.arrays.instruments import U_ZERO_DEG_PER_YEAR, Zero, level_inputs
from collection.arrays.surveys import recomputed
from collection.models import Instrument, QuickCheck, Reading, Spec, Survey
from leveling import verdicts
from leveling.instruments import Budget, reading_budget
from leveling.instruments import Instrument as Level
from leveling.verdicts_machine import Spec as WantedSpec
from leveling.verdicts_quick import quick_check
from leveling.verdicts_quick_slopes import Belief, QuickSlope, quick_slope
from leveling.verdicts_rail import (
    GLASS_ACROSS,
    GLASS_ALONG,
    RAIL_ACROSS,
    RAIL_ALONG,
    LearnedOffset,
    RailPairs,
    learn_offset,
)
from leveling.verdicts_shapes import Spread
from leveling.verdicts_widths import half_width

Inputs = dict[str, Any]

#: How far a machine may stand on any day from where a survey left it, standard: somebody leans, cleans, shoves. As
#: wide as bench_quick_check takes cared-for machines to be. Each root year adds more. Common practice, no source.
U_LEFT_DEG = {"pitch": 0.25, "roll": 0.2}
U_DEG_PER_ROOT_YEAR = 0.1
#: The same for a machine that was turned or moved since, about what is wanted. Common practice, no source.
U_CHANGED_DEG = 1.0
#: Older pairs say hardly anything more.
MOST_PAIRS = 8
WAYS = ("pitch", "roll")

_DAYS_PER_YEAR = 365.25
_SPEC = ("pitch_deg", "pitch_tolerance_deg", "roll_tolerance_deg", "gap_tolerance_mm")
_SEATS = {"glass": (GLASS_ALONG, GLASS_ACROSS), "rail": (RAIL_ALONG, RAIL_ACROSS)}
#: The engine's reasons why a survey is due, in its order.
DUE = (
    "not_due", "never_paired", "pairs_disagree", "glass_was_out", "long_ago", "offset_unsure", "out", "doubtful",
)  # fmt: skip
_DAILY = {
    verdicts.IN_SPEC: "in", verdicts.BORDERLINE: "borderline", verdicts.OUT_OF_SPEC: "out",
    verdicts.NOT_MEASURED: "",
}  # fmt: skip


@dataclass(frozen=True)
class LevelThen:
    """A level, and how often something had happened to it by then: after a drop it counts as another one."""

    instrument: UUID
    events: int


@dataclass(frozen=True)
class Surveyed:
    """A survey with its readings, and the levels that read pitch and roll."""

    survey: Survey
    readings: Sequence[Reading]
    levels: tuple[LevelThen, LevelThen]


@dataclass(frozen=True)
class Pair:
    """A reading on rail or glass beside a survey, and how often the glass was out since."""

    check: QuickCheck
    level: LevelThen
    beside: Surveyed
    removals: int

    @property
    def levels(self) -> tuple[LevelThen, ...]:
        """On the rail, along and across the playfield."""
        return (self.level, *self.beside.levels)


@dataclass(frozen=True)
class Basis:
    """What a quick check rests on. ``pairs`` are of its place, the newest first.

    ``last`` is the newest survey; ``changed`` says that legs were turned or the machine was moved since.
    """

    place: str
    instrument: Instrument
    zero: Zero
    level: LevelThen
    at: datetime.datetime
    spec: Spec
    pairs: Sequence[Pair] = ()
    last: Surveyed | None = None
    changed: bool = False


@dataclass(frozen=True)
class QuickWay:
    """Pitch or roll of a quick check [degree], with the steps to it.

    ``rail_deg`` less ``offset_deg`` is ``read_deg``; with the belief it becomes ``angle_deg``. ``u_own_deg`` is the
    reading's own part, ``u_level_deg`` what its level or that of the surveys may be off, ``half_deg`` holds 95 %.
    """

    rail_deg: float
    u_own_deg: float
    offset_deg: float
    u_offset_deg: float
    u_level_deg: float
    read_deg: float
    belief_deg: float
    u_belief_deg: float
    angle_deg: float
    u_deg: float
    half_deg: float
    verdict: str
    chance: float


@dataclass(frozen=True)
class QuickAnswer:
    """What a quick check says: both ways, the verdict with its chances, and whether a survey is due and why."""

    pitch: QuickWay
    roll: QuickWay
    verdict: str
    chance: float
    false_chance: float
    due: str
    removals: int
    days: float

    @property
    def columns(self) -> dict[str, Any]:
        """The numbers that a check's row keeps."""
        return {
            "pitch_deg": self.pitch.angle_deg,
            "roll_deg": self.roll.angle_deg,
            "u_pitch_deg": self.pitch.u_deg,
            "u_roll_deg": self.roll.u_deg,
            "verdict": self.verdict,
            "chance": self.chance,
            "false_chance": self.false_chance,
            "due": self.due,
        }


def pair_inputs(basis: Basis) -> Inputs:
    """Return what a reading keeps of its level; of a pair this is all."""
    return level_inputs(level=basis.instrument, zero=basis.zero, at=basis.at)


def inputs_of(basis: Basis) -> Inputs:
    """Return what the engine needs beside the readings, as plain numbers and words; ``pairs`` may come out empty."""
    kept, pairs = pair_inputs(basis), usable_pairs(basis.pairs, basis.level)
    kept["pairs"] = [str(pair.check.pk) for pair in pairs]
    if not pairs:
        return kept
    newest, same = pairs[0], pairs[0].level == basis.level
    moved = _zero_moved_deg(newest.check.inputs, newest.check.measured_at, kept, basis.at)
    last = basis.last if not basis.changed else None
    found = [recomputed(pair.beside.survey, pair.beside.readings) for pair in pairs]
    before = recomputed(last.survey, last.readings) if last else None
    return kept | {
        "same_level": same,
        "moved_deg": moved if same else 0.0,
        "believed_by": str(last.survey.pk) if last else "",
        "ways": {
            way: _learning(number, pairs, found, basis.at) | _belief(number, basis, before, newest, same)
            for number, way in enumerate(WAYS)
        },
    }


def usable_pairs(pairs: Sequence[Pair], level: LevelThen) -> list[Pair]:
    """Return the pairs that count for a level, newest first: those read with it, else those of the newest one's levels.

    Only pairs of the same levels go together, since only then what each level errs is the same in all of them.
    """
    first = next((pair for pair in pairs if pair.level == level), next(iter(pairs), None))
    return [pair for pair in pairs if first and pair.levels == first.levels][:MOST_PAIRS]


def judged(*, place: str, rail_deg: tuple[float, float], inputs: Inputs, spec: Spec) -> QuickAnswer | None:
    """Return what a reading along and one across say of the playfield; None if there is no pair."""
    if not inputs["pairs"]:
        return None
    budget = _budget(inputs["instrument"], rail_deg)
    budget = replace(budget, repeat_deg=np.hypot(budget.repeat_deg, inputs["moved_deg"]))
    steps = [_slope(number, place, rail_deg[number], _part(budget, number), inputs) for number in range(2)]
    (pitch, _), (roll, _) = steps
    verdict = quick_check(pitch=pitch, roll=roll, spec=WantedSpec(**{name: getattr(spec, name) for name in _SPEC}))
    ways = [
        _way(number, rail_deg[number], _part(budget, number), steps[number], inputs, getattr(verdict, way))
        for number, way in enumerate(WAYS)
    ]
    return QuickAnswer(
        pitch=ways[0],
        roll=ways[1],
        verdict=_DAILY[int(verdict.machine.daily)],
        chance=float(verdict.machine.chance),
        false_chance=float(verdict.false_chance),
        due=DUE[int(verdict.due)],
        removals=int(pitch.removals),
        days=float(pitch.days),
    )


def judged_again(check: QuickCheck) -> QuickAnswer | None:
    """Return a stored check's numbers, made again from what it keeps; None for a pair."""
    if check.survey_id is not None:
        return None
    rail = (check.pitch_rail_deg, check.roll_rail_deg)
    return judged(place=check.place, rail_deg=rail, inputs=check.inputs, spec=check.spec)


def _learning(number: int, pairs: Sequence[Pair], found: Sequence[Any], at: datetime.datetime) -> Inputs:
    """What is learned from: rail less playfield in each pair, and what the levels behind it may be off."""
    way = WAYS[number]
    slopes = [getattr(each, way) for each in found]
    budgets = [_part(_budget(pair.check.inputs["instrument"], _rail(pair.check)), number) for pair in pairs]
    newest = pairs[0].check
    fresh = [
        np.sqrt(
            slope.u_fresh_deg**2 + slope.u_rounding_deg**2 + budget.u_fresh_deg**2 + budget.repeating_deg**2
            + _zero_moved_deg(pair.check.inputs, pair.check.measured_at, newest.inputs, newest.measured_at) ** 2
        )
        for slope, budget, pair in zip(slopes, budgets, pairs, strict=True)
    ]  # fmt: skip
    return {
        "difference_deg": [
            _rail(pair.check)[number] - slope.angle_deg for pair, slope in zip(pairs, slopes, strict=True)
        ],
        "u_deg": [float(u) for u in fresh],
        "removals": [pair.removals for pair in pairs],
        "days": [_days(pair.check.measured_at, at) for pair in pairs],
        "survey": _common(max(slope.u_common_deg for slope in slopes), max(_accuracy(each, way) for each in found)),
        "rail": {name: float(getattr(budgets[0], name)) for name in ("accuracy_deg", "zero_deg")},
        "one_level": all(pair.level == pair.beside.levels[number] for pair in pairs),
    }


def _accuracy(found: Any, way: str) -> float:
    """The stated accuracy's part in the readings of one direction."""
    direction = "along" if way == "pitch" else "across"
    return float(max((tilt.accuracy_deg for tilt in found.tilts if tilt.reading.direction == direction), default=0.0))


def _common(u_common: float, accuracy: float) -> Inputs:
    accuracy = min(accuracy, u_common)
    return {"accuracy_deg": accuracy, "zero_deg": float(np.sqrt(max(u_common**2 - accuracy**2, 0.0)))}


def _belief(number: int, basis: Basis, before: Any, newest: Pair, same: bool) -> Inputs:
    """What is believed before the reading: the last survey, less sure by the day; else what is wanted, widely."""
    if basis.last is None or before is None:
        wanted = (basis.spec.pitch_deg, 0.0)[number]
        return {"belief_deg": wanted, "u_belief_deg": U_CHANGED_DEG, "belief_shares_level": False}
    way = WAYS[number]
    slope = getattr(before, way)
    years = _days(basis.last.survey.measured_at, basis.at) / _DAYS_PER_YEAR
    drift = U_LEFT_DEG[way] ** 2 + U_DEG_PER_ROOT_YEAR**2 * years
    # the same level's own error is in the belief and in the reading alike: it stays out of both and comes on top
    shares = same and basis.last.levels[number] == newest.beside.levels[number]
    u_read = np.hypot(slope.u_fresh_deg, slope.u_rounding_deg) if shares else slope.u_deg
    u_belief = min(float(np.sqrt(u_read**2 + drift)), 45.0)
    return {"belief_deg": slope.angle_deg, "u_belief_deg": u_belief, "belief_shares_level": shares}


def _slope(
    number: int, place: str, rail_deg: float, budget: Budget, inputs: Inputs
) -> tuple[QuickSlope, LearnedOffset]:
    """The playfield's slope from one reading, and the offset that was taken off."""
    kept = inputs["ways"][WAYS[number]]
    learned = learn_offset(
        pairs=RailPairs(
            **{name: np.array(kept[name], float) for name in ("difference_deg", "u_deg", "removals", "days")},
            used=np.ones(len(kept["days"]), dtype=np.bool_),
        ),
        seat=_SEATS[place][number],
        survey=Budget(**kept["survey"]),
        rail=Budget(**kept["rail"]),
        one_level=kept["one_level"],
    )
    none, shares = np.zeros(()), kept["belief_shares_level"]
    slope = quick_slope(
        rail_deg=rail_deg,
        budget=budget,
        learned=replace(learned, survey_deg=none, survey_accuracy_deg=none) if shares else learned,
        same_level=inputs["same_level"],
        belief=Belief(angle_deg=kept["belief_deg"], u_deg=kept["u_belief_deg"]),
    )
    if shares:
        u = np.hypot(slope.spread.u, learned.survey_deg)
        slope = replace(slope, spread=Spread(u=u, even=learned.survey_accuracy_deg, even_too=none))
    return slope, learned


def _way(
    number: int,
    rail_deg: float,
    budget: Budget,
    step: tuple[QuickSlope, LearnedOffset],
    inputs: Inputs,
    verdict: verdicts.Verdict,
) -> QuickWay:
    (slope, learned), kept = step, inputs["ways"][WAYS[number]]
    other = float(np.hypot(budget.u_common_deg, learned.transfer_deg))
    return QuickWay(
        rail_deg=rail_deg,
        u_own_deg=float(np.hypot(budget.u_fresh_deg, budget.repeating_deg)),
        offset_deg=float(learned.offset_deg),
        u_offset_deg=float(learned.u_deg),
        u_level_deg=float(learned.survey_deg) if inputs["same_level"] else other,
        read_deg=rail_deg - float(learned.offset_deg),
        belief_deg=kept["belief_deg"],
        u_belief_deg=kept["u_belief_deg"],
        angle_deg=float(slope.angle_deg),
        u_deg=float(slope.spread.u),
        half_deg=float(half_width(slope.spread)),
        verdict=_DAILY[int(verdict.daily)] or "borderline",
        chance=float(verdict.chance),
    )


def _budget(level: Inputs, rail_deg: tuple[float, float]) -> Budget:
    """Of one single reading along and one across."""
    return reading_budget(
        instrument=Level(**level), along=np.array([True, False]), reversed_pair=False, pitch_deg=rail_deg[0],
        roll_deg=rail_deg[1],
    )  # fmt: skip


def _part(budget: Budget, number: int) -> Budget:
    names = ("resolution_deg", "repeating_deg", "alignment_deg", "repeat_deg", "accuracy_deg", "zero_deg")
    return Budget(**{name: np.broadcast_to(getattr(budget, name), (2,))[number] for name in names})


def _rail(check: QuickCheck) -> tuple[float, float]:
    return check.pitch_rail_deg, check.roll_rail_deg


def _zero_moved_deg(one: Inputs, then: datetime.datetime, other: Inputs, now: datetime.datetime) -> float:
    """How far the zero that was taken off two readings of one level may be off differently, standard."""
    if (one["zero_check"], one["zero_lost"]) == (other["zero_check"], other["zero_lost"]):
        return U_ZERO_DEG_PER_YEAR * _days(*sorted((then, now))) / _DAYS_PER_YEAR
    return float(np.hypot(_u_zero_deg(one), _u_zero_deg(other)))


def _u_zero_deg(kept: Inputs) -> float:
    """Of a zero that was never checked, the stated accuracy has to cover it."""
    level = kept["instrument"]
    return float(level["u_zero_deg"] or level["accuracy_deg"] / np.sqrt(3))


def _days(then: datetime.datetime, now: datetime.datetime) -> float:
    return max((now - then).total_seconds(), 0.0) / 86_400
