"""Remedies: what decides a verdict that is borderline or not proven, the cheapest first.

          limit
    |-------|--x----|          more readings make the bell narrower: soon it lies on one side
    |-----(=|==x)---|
    |-------(x)-----|          it lies on the limit: no bell is narrow enough, so move the machine, not the bell

For each remedy the verdicts that may follow are worked out from what is known now, and the first that is likely
enough to decide is named. Another tolerance is no remedy: the spec says what the machine needs.
"""

from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from leveling.checks import FloatArray
from leveling.checks_shapes import BoolArray, IntArray, flags, together
from leveling.verdicts import BORDERLINE, DEFAULT_RULE, NOT_MEASURED, NOT_PROVEN, Rule, Verdict
from leveling.verdicts_machine import Measured, Spec, judge_machine
from leveling.verdicts_parts import Parts
from leveling.verdicts_shapes import Spread
from leveling.verdicts_tries import (
    CHECK_FEET,
    CHECK_ZERO,
    END_FOR_END,
    NO_REMEDY,
    READ_AGAIN,
    SQUARE_EDGE,
    TURN_AND_BETTER,
    Remedy,
    Try,
    all_tries,
)
from leveling.verdicts_ways import DEFAULT_MEANS, Known, Means, Surveyed, Way, budget_in_a_way, known_after

#: A remedy is named if its chance of deciding is at least this.
ENOUGH = 0.91

_COARSE = 1.2
_HOPELESS = ENOUGH - 1e-6
_ANYWHERE_DEG = 5.0

# Fixed, evenly spread points (Roberts' sequence of powers of one root): three normal errors, three even, three steps.
_ROOT = 1.0757660660868371
_POINTS = (0.5 + np.arange(1, 129)[:, None] / _ROOT ** np.arange(1, 10)) % 1
_ERRORS = ndtri(_POINTS[:, :3])
_EVEN, _STEPS = np.sqrt(3) * (2 * _POINTS[:, 3:6] - 1), 2 * _POINTS[:, 6:] - 1


def remedies(
    *,
    surveyed: Surveyed,
    spec: Spec,
    certificate: ArrayLike = False,
    rule: Rule = DEFAULT_RULE,
    means: Means = DEFAULT_MEANS,
) -> Remedy:
    """Return the cheapest remedy that is likely to decide the verdict on a machine.

    Parameters
    ----------
    surveyed : Surveyed, each field shape (...) [degree, mm]
        What was found and how.
    spec : Spec, each field shape (...) [degree, mm]
        What is wanted.
    certificate : array_like of bool, shape (...) [yes or no]
        Decide by the certificate rule (proven in or out), not by the daily rule.
    rule : Rule, scalar [1]
        The thresholds.
    means : Means, scalar [degree, mm]
        What can be done.

    Returns
    -------
    Remedy, each field shape (...) [code, count, degree]
        "Nothing" where the verdict is decided. If no remedy is likely enough to decide, the likeliest.

    Raises
    ------
    BadInput
        If the shapes do not fit.

    Notes
    -----
    Nothing is believed of the truth before the survey but that it may lie anywhere. So a value read again moves by
    the errors that old and new readings do not share; 128 fixed points of pitch, roll and twist stand for what may
    come of it. After turning, the value lies around the middle: within a third of the tolerance or one step.
    Order: readings, end for end counting double; a zero check counts as 6, a square edge as 4; then another
    instrument, the least accurate that does; then turning the legs.

    Examples
    --------
    >>> from leveling.instruments import Instrument
    >>> from leveling.verdicts_tries import REMEDIES
    >>> level = Instrument(resolution_deg=0.1, accuracy_deg=0.02, alignment_deg=1, repeat_deg=0.02, zero_deg=0,
    ...                    u_zero_deg=0.05)
    >>> pitch = Parts(readings=1, repeat_deg=0.02, rounding_deg=0.02, accuracy_deg=0.01)
    >>> roll = Parts(readings=1, alignment_deg=0.065, repeat_deg=0.02, accuracy_deg=0.01)
    >>> survey = Surveyed(pitch_deg=6.5, pitch=pitch, roll_deg=[0.05, 0.165], roll=roll, twist_mm=0,
    ...                   u_twist_mm=0.005, twist_known=True, instrument=level, reversed_pair=True)
    >>> spec = Spec(pitch_deg=6.5, pitch_tolerance_deg=0.2, roll_tolerance_deg=0.15, gap_tolerance_mm=0.5)
    >>> found = remedies(surveyed=survey, spec=spec)
    >>> [REMEDIES[code] for code in found.code], found.more_across.tolist()
    (['nothing: it is decided', 'read again, laying the level down afresh each time'], [0, 4])

    References
    ----------
    JCGM 106:2012, clauses 7 and 8 (conformance probability). The sequence of points: M. Roberts, R_d sequence, 2018
    (from memory). Prediction derived in DEVELOPERS.md, Geometry.
    """
    verdict = judge_machine(measured=surveyed.measured, spec=spec, rule=rule)
    proof, certify = together(certificate=verdict.machine.certificate, certify=flags("certificate", certificate))
    shape = proof.shape
    unclear = np.isin(verdict.machine.daily, (BORDERLINE, NOT_MEASURED))
    index = np.flatnonzero(np.where(certify, proof == NOT_PROVEN, unclear))
    quantities = (verdict.pitch, verdict.roll, verdict.twist)
    pitch_open, roll_open, twist_open = (_taken(_wobbly(one, rule), shape, index) for one in quantities)
    survey = _taken(surveyed, shape, index)
    unmeasured = (4 * _u_twist(survey) > _COARSE * means.u_gap_mm) & twist_open
    rows = _Rows(
        surveyed=survey,
        spec=_taken(spec, shape, index),
        certify=_taken(certify, shape, index),
        feet=~survey.twist_known | unmeasured,
        pitch_open=pitch_open,
        roll_open=roll_open,
    )
    found = {}
    for name, value in _search(rows, rule, means).items():
        found[name] = np.zeros(shape, dtype=value.dtype)
        found[name].reshape(-1)[index] = value
    return Remedy(**found)


@dataclass(frozen=True)
class _Rows:
    """The undecided machines."""

    surveyed: Surveyed
    spec: Spec
    certify: BoolArray
    feet: BoolArray
    pitch_open: BoolArray
    roll_open: BoolArray

    @property
    def count(self) -> int:
        return int(self.feet.size)


def _taken(value: Any, shape: tuple[int, ...], index: IntArray) -> Any:
    """Rows of an array, or of each array of a dataclass, stretched to a shape first."""
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{item.name: _taken(getattr(value, item.name), shape, index) for item in fields(value)})
    return np.broadcast_to(value, shape).reshape(-1)[index]


def _wobbly(verdict: Verdict, rule: Rule) -> BoolArray:
    """Whether a quantity can hold up the verdict on the machine."""
    sure = (1 - rule.confidence) / 10
    return (verdict.chance > sure) & (verdict.chance < 1 - sure) | (verdict.daily == NOT_MEASURED)


def _u_twist(surveyed: Surveyed) -> FloatArray:
    return surveyed.u_twist_mm.u if isinstance(surveyed.u_twist_mm, Spread) else surveyed.u_twist_mm


def _search(rows: _Rows, rule: Rule, means: Means) -> dict[str, Any]:
    """The first remedy of each row that is likely enough to decide, or the likeliest."""
    best = _blank(rows.count)
    left = np.arange(rows.count)
    tries = all_tries(means)
    most = {tried.kind: tried for tried in tries}  # the last of a kind does most
    hope: dict[tuple[int, Way, bool], BoolArray] = {}
    for tried in tries:
        if tried.kind not in hope:
            # what all readings that one takes at most cannot decide, fewer will not either
            hope[tried.kind] = np.zeros(rows.count, dtype=np.bool_)
            here = left[_useful(_taken(rows, (rows.count,), left), most[tried.kind], means)]
            if here.size:
                chance = _keep(best, here, most[tried.kind], rows, rule, means, at_most=_HOPELESS)
                hope[tried.kind][here] = chance >= ENOUGH
        here = left[hope[tried.kind][left]]
        if here.size:
            some = _taken(rows, (rows.count,), here)
            here = here[_useful(some, tried, means) & _asked(some, tried)]
        if here.size:
            _keep(best, here, tried, rows, rule, means)
            left = left[best["chance"][left] < ENOUGH]
    best["code"] = np.where(best["chance"] > 0, best["code"], NO_REMEDY)
    return best


def _useful(rows: _Rows, tried: Try, means: Means) -> BoolArray:
    """Where a remedy can change anything."""
    survey, way = rows.surveyed, tried.way
    level = survey.instrument
    useful = rows.feet if tried.code == CHECK_FEET else np.ones(rows.count, dtype=np.bool_)
    if way.accuracy_deg:
        useful = useful & (way.accuracy_deg < level.accuracy_deg)
    elif way.square:
        useful = useful & (level.alignment_deg > means.alignment_deg)
    elif way.pairs:
        useful = useful & ~survey.reversed_pair
    if way.zero_checked:
        useful = useful & ~survey.reversed_pair & (level.u_zero_deg > means.u_zero_deg)
    return useful


def _asked(rows: _Rows, tried: Try) -> BoolArray:
    """Where no reading is asked for in a direction that holds nothing up."""
    if tried.code not in (READ_AGAIN, END_FOR_END, CHECK_ZERO, SQUARE_EDGE):
        return np.ones(rows.count, dtype=np.bool_)
    return (rows.pitch_open | (tried.along == 0)) & (rows.roll_open | (tried.across == 0))


def _blank(count: int) -> dict[str, Any]:
    kinds = {"code": np.int64, "more_along": np.int64, "more_across": np.int64}
    names = [item.name for item in fields(Remedy)]
    numbers = ("accuracy_deg", "u_pitch_deg", "u_roll_deg", "chance")
    return {name: np.zeros(count, dtype=kinds.get(name, np.float64 if name in numbers else np.bool_)) for name in names}


def _keep(
    best: dict[str, Any], here: IntArray, tried: Try, rows: _Rows, rule: Rule, means: Means, at_most: float = 1.0
) -> FloatArray:
    """Try a remedy on some rows; keep it where its chance is the best so far and no more than ``at_most``."""
    rows = _taken(rows, (rows.count,), here)
    survey, feet = rows.surveyed, rows.feet | tried.turn
    pitch, roll = (_later(survey, tried, along, feet, means) for along in (True, False))
    chance = _chance_decided(rows, tried, pitch, roll, feet, rule, means)
    better = (chance > best["chance"][here]) & (chance <= at_most)
    way = tried.way
    values = {
        "code": tried.code, "more_along": tried.along, "more_across": tried.across, "check_feet": feet,
        "pairs": survey.reversed_pair | way.pairs, "zero_first": way.zero_checked, "square": way.square,
        "turn": tried.turn, "closely": tried.closely, "accuracy_deg": way.accuracy_deg,
        "u_pitch_deg": pitch.parts.u_deg, "u_roll_deg": roll.parts.u_deg, "chance": chance,
    }  # fmt: skip
    for name, value in values.items():
        best[name][here[better]] = np.broadcast_to(np.asarray(value), here.shape)[better]
    return chance


def _later(survey: Surveyed, tried: Try, along: bool, feet: BoolArray, means: Means) -> Known:
    now, readings = (survey.pitch, tried.along) if along else (survey.roll, tried.across)
    one = budget_in_a_way(surveyed=survey, way=tried.way, along=along, means=means)
    later = known_after(now=now, one=one, readings=readings, way=tried.way)
    u_gap = 4 * _u_twist(survey)
    share = np.where(feet, np.minimum(means.u_gap_mm / np.maximum(u_gap, means.u_gap_mm), 1), 1.0)
    parts = replace(later.parts, feet_deg=later.parts.feet_deg * share)
    moved = np.hypot(later.moved_deg, now.feet_deg * np.sqrt(1 - share**2))
    return Known(parts=parts, moved_deg=moved, moved_even_deg=later.moved_even_deg)


def _chance_decided(
    rows: _Rows, tried: Try, pitch: Known, roll: Known, feet: BoolArray, rule: Rule, means: Means
) -> FloatArray:
    """The share of what may come of a remedy that is decided."""
    survey, spec = rows.surveyed, rows.spec
    angles = np.degrees(means.step_mm / 2 / np.array([means.base_mm, means.track_mm]))
    u_now = _u_twist(survey)
    spread_mm = means.gap_spread_mm / 4
    u_twist = np.where(feet, means.u_gap_mm / 4, u_now)
    first = np.sqrt(2) * u_twist if tried.turn else spread_mm  # what nobody looked for is read before legs are turned
    feel = np.where(feet, np.where(survey.twist_known, np.hypot(u_now, u_twist), first), 0.0)
    none = np.zeros(feel.shape)
    seen = np.where(survey.twist_known, survey.twist_mm, 0.0)
    found = (
        (survey.pitch_deg, *_move(pitch, survey.pitch, tried), spec.pitch_deg, spec.pitch_tolerance_deg, angles[0]),
        (survey.roll_deg, *_move(roll, survey.roll, tried), none, spec.roll_tolerance_deg, angles[1]),
        (seen, feel, none, none, spec.twist_tolerance_mm, means.step_mm / 4),
    )
    values = []
    for place, (value, width, even, middle, tolerance, unit) in enumerate(found):
        aim = np.where(tried.closely, unit, np.maximum(tolerance / 3, unit)) if tried.turn else none
        start = middle if tried.turn else value
        moved = width[:, None] * _ERRORS[:, place] + even[:, None] * _EVEN[:, place]
        values.append(start[:, None] + moved + aim[:, None] * _STEPS[:, place])
    measured = Measured(
        pitch_deg=values[0],
        u_pitch_deg=_on_nodes(pitch.parts.spread),
        roll_deg=values[1],
        u_roll_deg=_on_nodes(roll.parts.spread),
        twist_mm=values[2],
        u_twist_mm=u_twist[:, None],
        pitch_known=pitch.parts.known[:, None],
        roll_known=roll.parts.known[:, None],
        twist_known=(survey.twist_known | feet)[:, None],
    )
    wanted = replace(spec, **{item.name: getattr(spec, item.name)[:, None] for item in fields(spec)})
    verdict = judge_machine(measured=measured, spec=wanted, rule=rule).machine
    unclear = np.isin(verdict.daily, (BORDERLINE, NOT_MEASURED))
    open_ = np.where(rows.certify[:, None], verdict.certificate == NOT_PROVEN, unclear)
    return 1 - open_.mean(axis=-1)


def _move(later: Known, now: Parts, tried: Try) -> tuple[FloatArray, FloatArray]:
    """How far a slope may move, normal and even part.

    What was never read may lie anywhere. A better instrument, and one that was not used yet, is read before turning.
    """
    even = np.minimum(later.moved_even_deg, later.moved_deg)
    normal = np.sqrt(later.moved_deg**2 - even**2)
    anywhere = np.full(normal.shape, _ANYWHERE_DEG)
    first = np.sqrt(2) * later.parts.u_own_deg if tried.turn else anywhere
    old = now.known & (tried.code != TURN_AND_BETTER)
    return np.where(old, normal, first), np.where(old, even, 0.0)


def _on_nodes(spread: Spread) -> Spread:
    return Spread(u=spread.u[:, None], even=spread.even[:, None], even_too=spread.even_too[:, None])
