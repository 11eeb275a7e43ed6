"""Proof: before a leg is turned, whether the certificate limit can be proven at all, and what would do.

  low       room        high
---|----|==========|----|---      only a value inside the room is proven in; the guard bands take the rest
        g          g              the poorer the reading, the smaller the room, until there is none
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import ndtri

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import BoolArray, IntArray, flags, together
from leveling.instruments import Budget, Instrument
from leveling.verdicts import DEFAULT_RULE, Rule, provable
from leveling.verdicts_machine import Spec
from leveling.verdicts_parts import Parts
from leveling.verdicts_shapes import Spread, chance_below, normal_spread
from leveling.verdicts_tries import CHECK_FEET, DECIDED, TURN_LEGS, Try, all_tries
from leveling.verdicts_ways import DEFAULT_MEANS, Means, Surveyed, Way, budget_in_a_way, known_after

_HALVINGS = 30  # of the tolerance: a billionth of it


@dataclass(frozen=True)
class Planned:
    """How a machine will be read, each field shape (...).

    Attributes: ``instrument`` [degree] the level. ``reversed_pair`` [yes or no] end for end. ``along``, ``across``
    [count] tilts, 1 or more. ``feet`` [yes or no] somebody will measure the gap. ``u_gap_mm`` [mm] how well,
    standard, 0 or more.

    Raises BadInput if a field is not finite or out of its range.
    """

    instrument: Instrument
    reversed_pair: BoolArray
    along: FloatArray
    across: FloatArray
    feet: BoolArray
    u_gap_mm: FloatArray

    def __post_init__(self) -> None:
        for name, low in (("along", 1), ("across", 1), ("u_gap_mm", 0)):
            object.__setattr__(self, name, finite(name, getattr(self, name), low=low))
        for name in ("reversed_pair", "feet"):
            object.__setattr__(self, name, flags(name, getattr(self, name)))


@dataclass(frozen=True)
class Proof:
    """Whether one quantity can be proven in spec, each field shape (...) [degree, or mm of gap].

    Attributes: ``u`` standard uncertainty as planned. ``u_needed`` of a normal error that would just do for this
    quantity alone, ``u_needed_jointly`` for all three at once. ``room`` how far from the middle the value may then
    lie, 0 if it cannot be proven. ``provable`` [yes or no]. ``readings`` [count] the fewest that do in the same way
    of reading, 0 if no number does; for the gap, 1 or 0.
    """

    u: FloatArray
    u_needed: FloatArray
    u_needed_jointly: FloatArray
    room: FloatArray
    provable: BoolArray
    readings: IntArray


@dataclass(frozen=True)
class Provability:
    """Whether a machine can be proven in spec, each field shape (...).

    Attributes: ``pitch``, ``roll`` [degree] and ``gap`` [mm] as Proof. ``chance`` [1] of the three together, the
    values in the middle. ``provable`` [yes or no] jointly, as planned. ``code`` [code] index into
    ``verdicts_tries.REMEDIES``: what would do, "nothing" if the plan does. ``along``, ``across`` [count] tilts for
    that. ``accuracy_deg`` [degree] stated limit of the instrument for that, 0 for the one at hand. ``possible`` [yes
    or no] it would do; no means that nothing that can be had does.
    """

    pitch: Proof
    roll: Proof
    gap: Proof
    chance: FloatArray
    provable: BoolArray
    code: IntArray
    along: IntArray
    across: IntArray
    accuracy_deg: FloatArray
    possible: BoolArray


def provability(
    *, planned: Planned, spec: Spec, rule: Rule = DEFAULT_RULE, means: Means = DEFAULT_MEANS
) -> Provability:
    """Return whether readings as planned can prove a machine in spec, and what would do if not.

    Parameters
    ----------
    planned : Planned, each field shape (...) [degree, count]
        The instrument and how it will be used.
    spec : Spec, each field shape (...) [degree, mm]
        What is wanted.
    rule : Rule, scalar [1]
        Its confidence counts.
    means : Means, scalar [degree, mm]
        What can be done.

    Returns
    -------
    Provability, each field shape (...) [degree, mm, code]
        For each quantity and for all three.

    Raises
    ------
    BadInput
        If the shapes do not fit.

    Notes
    -----
    Misalignment is reckoned at the wanted pitch. A value in the middle is the best case: with no room around it, no
    leg can be set well enough.

    Examples
    --------
    >>> level = Instrument(resolution_deg=0.1, accuracy_deg=0.1, alignment_deg=1, repeat_deg=0.02, zero_deg=0,
    ...                    u_zero_deg=0.05)
    >>> spec = Spec(pitch_deg=6.5, pitch_tolerance_deg=0.2, roll_tolerance_deg=0.15, gap_tolerance_mm=0.5)
    >>> answer = provability(planned=Planned(level, True, 1, 1, True, 0.02), spec=spec)
    >>> from leveling.verdicts_tries import REMEDIES
    >>> bool(answer.provable), REMEDIES[answer.code], int(answer.along), int(answer.across)
    (False, 'read again, laying the level down afresh each time', 1, 2)

    References
    ----------
    JCGM 106:2012, 8.3.2 (guarded acceptance; clause from memory); ISO 14253-1:2017.
    """
    survey = _nothing_read(planned, spec)
    numbers = {True: planned.along, False: planned.across}
    slopes = {along: _read(survey, Way(), along, numbers[along], means) for along in (True, False)}
    u_gap = normal_spread(planned.u_gap_mm)
    halves = (spec.pitch_tolerance_deg, spec.roll_tolerance_deg, spec.gap_tolerance_mm)
    fewest = [_fewest(survey, along, half, rule, means) for along, half in zip((True, False), halves, strict=False)]
    pitch, roll = (
        _proof(slopes[along].spread, half, number, rule)
        for along, half, number in zip((True, False), halves, fewest, strict=False)
    )
    gap = _proof(u_gap, halves[2], provable(tolerance=halves[2], u=u_gap, confidence=rule.confidence), rule)
    feet, chance, _ = together(
        feet=planned.feet, chance=_joint(slopes[True], slopes[False], u_gap, spec), pitch=pitch.readings
    )
    enough = chance >= rule.confidence
    found = _what_would_do(survey, planned, spec, enough, rule, means)
    chance = np.where(feet, chance, 0.0)
    return Provability(pitch=pitch, roll=roll, gap=gap, chance=chance, provable=enough & feet, **found)


def _nothing_read(planned: Planned, spec: Spec) -> Surveyed:
    """A survey before its first reading, at the wanted slopes."""
    nothing = Parts(readings=np.zeros(np.broadcast_shapes(spec.pitch_deg.shape, planned.along.shape)))
    return Surveyed(
        pitch_deg=spec.pitch_deg,
        pitch=nothing,
        roll_deg=np.zeros(()),
        roll=nothing,
        twist_mm=np.zeros(()),
        u_twist_mm=planned.u_gap_mm / 4,
        twist_known=planned.feet,
        instrument=planned.instrument,
        reversed_pair=planned.reversed_pair,
    )


def _read(survey: Surveyed, way: Way, along: bool, readings: FloatArray | int, means: Means) -> Parts:
    one = budget_in_a_way(surveyed=survey, way=way, along=along, means=means)
    return known_after(now=survey.pitch, one=one, readings=readings, way=way).parts


def _proof(spread: Spread, half: FloatArray, readings: IntArray | BoolArray, rule: Rule) -> Proof:
    provable_here = provable(tolerance=half, u=spread, confidence=rule.confidence)
    u, half, readings = together(u=spread.u, half=half, readings=np.asarray(readings))
    least, most = np.zeros(provable_here.shape), half + np.zeros(provable_here.shape)
    for _ in range(_HALVINGS):
        middle = (least + most) / 2
        inside = _chance(middle, spread, half) >= rule.confidence
        least, most = np.where(inside, middle, least), np.where(inside, most, middle)
    return Proof(
        u=u,
        u_needed=half / ndtri((1 + rule.confidence) / 2),
        u_needed_jointly=half / ndtri((1 + rule.confidence ** (1 / 3)) / 2),
        room=np.where(provable_here, least, 0.0),
        provable=provable_here,
        readings=readings.astype(np.int64),
    )


def _fewest(survey: Surveyed, along: bool, half: FloatArray, rule: Rule, means: Means) -> IntArray:
    """The fewest readings that prove one slope in the planned way, 0 if no number does."""
    fewest = np.zeros((), dtype=np.int64)
    for number in range(means.most_readings, 0, -1):
        spread = _read(survey, Way(), along, number, means).spread
        fewest = np.where(provable(tolerance=half, u=spread, confidence=rule.confidence), number, fewest)
    return fewest


def _joint(pitch: Parts, roll: Parts, gap: Spread, spec: Spec) -> FloatArray:
    """The chance of all three, each value in the middle."""
    halves = (spec.pitch_tolerance_deg, spec.roll_tolerance_deg, spec.gap_tolerance_mm)
    chance = np.ones(())
    for spread, half in zip((pitch.spread, roll.spread, gap), halves, strict=True):
        chance = chance * _chance(np.zeros(()), spread, half)
    return chance


def _chance(off: FloatArray, spread: Spread, half: FloatArray) -> FloatArray:
    """The chance that a value so far off the middle is within the tolerance, as ``verdicts.judge`` tells it."""
    return np.clip(chance_below(half - off, spread) - chance_below(-half - off, spread), 0, 1)


def _what_would_do(
    survey: Surveyed, planned: Planned, spec: Spec, done: BoolArray, rule: Rule, means: Means
) -> dict[str, Any]:
    """The cheapest way of reading that proves all three; where none does, the last that was tried."""
    feeler = normal_spread(means.u_gap_mm)
    found: dict[str, Any] = {
        "code": np.where(done & ~planned.feet, CHECK_FEET, DECIDED) + np.zeros(done.shape, dtype=np.int64),
        "along": planned.along + np.zeros(done.shape),
        "across": planned.across + np.zeros(done.shape),
        "accuracy_deg": np.zeros(done.shape),
        "possible": done.copy(),
    }
    budgets: dict[tuple[Way, bool], Budget] = {}
    for tried in _readings_only(means):
        if found["possible"].all():
            break
        parts = []
        for along, number in ((True, tried.along), (False, tried.across)):
            if (tried.way, along) not in budgets:
                budgets[tried.way, along] = budget_in_a_way(surveyed=survey, way=tried.way, along=along, means=means)
            one = budgets[tried.way, along]
            parts.append(known_after(now=survey.pitch, one=one, readings=number, way=tried.way).parts)
        enough = _joint(parts[0], parts[1], feeler, spec) >= rule.confidence
        here = ~found["possible"]
        values: tuple[Any, ...] = (tried.code, tried.along, tried.across, tried.way.accuracy_deg, enough)
        for name, value in zip(found, values, strict=True):
            found[name] = np.where(here, value, found[name])
    return {name: value.astype(np.int64) if name in ("along", "across") else value for name, value in found.items()}


def _readings_only(means: Means) -> list[Try]:
    tries = [tried for tried in all_tries(means) if CHECK_FEET < tried.code < TURN_LEGS]
    return [tried for tried in tries if tried.along and tried.across]
