"""The quick check: one reading on rail or glass each way, the glass on, 20 seconds, and an honest verdict.

rail reads 5.3, learned offset -1.2   ->   playfield 6.5        u = reading (+) offset (+) level
twist cannot be seen from there       ->   the verdict is of pitch and roll only, and certifies nothing
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import IntArray
from leveling.verdicts import (
    BORDERLINE,
    DEFAULT_RULE,
    IN_SPEC,
    NOT_PROVEN,
    OUT_OF_SPEC,
    PROVEN_OUT,
    Rule,
    Verdict,
)
from leveling.verdicts_machine import Measured, Spec, judge_machine
from leveling.verdicts_quick_slopes import QuickSlope

#: Why a proper survey is due, and in words; the first that applies is told.
NOT_DUE, NEVER_PAIRED, PAIRS_DISAGREE, GLASS_WAS_OUT, LONG_AGO, OFFSET_UNSURE, OUT, DOUBTFUL = range(8)
DUE_WORDS = (
    "no survey is due",
    "a survey is due: nobody has read rail and playfield together on this machine",
    "a survey is due: what the rail reads more than the playfield has changed between surveys",
    "a survey is due: the glass has been out too often since the last one",
    "a survey is due: the last one is too long ago",
    "a survey is due: what the rail reads more than the playfield is not sure enough",
    "a survey is due before legs are turned: the quick check does not see a light foot",
    "a survey is due: the quick check cannot tell in from out well enough",
)


@dataclass(frozen=True)
class QuickLimits:
    """When a proper survey is due, each field scalar. The defaults are common practice, no source.

    Attributes: ``removals`` [count] of the glass since the latest pair, more than this. ``days`` [day] since then, more
    than this. ``offset_share`` [1] of the tolerance that the learned offset's uncertainty may reach, above 0.
    ``false_chance`` [1] that a verdict is wrong, 0 to 0.5, more than this.

    Raises BadInput if a field is out of its range.
    """

    removals: float = 10.0
    days: float = 365.0
    offset_share: float = 0.6
    false_chance: float = 0.3

    def __post_init__(self) -> None:
        finite("removals", self.removals, low=0)
        finite("days", self.days, low=0, unit="days")
        finite("offset_share", self.offset_share, low=0, above=True)
        finite("false_chance", self.false_chance, low=0, high=0.5)


USUAL_LIMITS = QuickLimits()


@dataclass(frozen=True)
class QuickVerdict:
    """What the quick check says, each field shape (...).

    Attributes: ``pitch``, ``roll`` [1, code] as Verdict. ``machine`` [1, code] both together; twist is not seen, so it
    is never proven in. ``false_chance`` [1] that the machine's daily verdict is wrong, 0 where it is none. ``due``
    [code] index into DUE_WORDS.
    """

    pitch: Verdict
    roll: Verdict
    machine: Verdict
    false_chance: FloatArray
    due: IntArray


@dataclass(frozen=True)
class FalseRates:
    """How often verdicts will be wrong, each field shape (...).

    Attributes: ``said_in`` and ``said_out`` [count] verdicts. ``false_in`` and ``false_out`` [1] share of each that
    is expected to be wrong, 0 where there are none.
    """

    said_in: IntArray
    said_out: IntArray
    false_in: FloatArray
    false_out: FloatArray


def quick_check(
    *,
    pitch: QuickSlope,
    roll: QuickSlope,
    spec: Spec,
    rule: Rule = DEFAULT_RULE,
    limits: QuickLimits = USUAL_LIMITS,
) -> QuickVerdict:
    """Return the verdict of a quick check, how likely it is false, and whether a proper survey is due.

    Parameters
    ----------
    pitch, roll : QuickSlope, each field shape (...) [degree]
        What the readings on rail or glass say of the playfield.
    spec : Spec, each field shape (...) [degree, mm]
        What is wanted; its gap tolerance is not judged.
    rule : Rule, scalar [1]
        The thresholds.
    limits : QuickLimits, scalar [1, count, day]
        When a survey is due.

    Returns
    -------
    QuickVerdict, each field shape (...) [1, code]
        Pitch and roll, both together, and what is due.

    Raises
    ------
    BadInput
        If the shapes do not fit.

    Notes
    -----
    A direction that was never paired is not measured. A verdict "in spec" is false with 1 - chance, "out of spec" with
    chance: right on average where true slopes are as believed before, or without a belief spread evenly and widely. The
    machine's chance is the product of both: a zero that single readings along and across share makes the true one
    larger, so that "in spec" is then wrong more seldom than stated.

    Examples
    --------
    >>> from leveling.verdicts import DAILY_WORDS
    >>> from leveling.verdicts_shapes import normal_spread
    >>> def read(angle_deg):
    ...     return QuickSlope(np.array(angle_deg), normal_spread(0.08), np.array(0.05), np.array(2), np.array(True),
    ...                       np.array(1.0), np.array(40.0))
    >>> spec = Spec(pitch_deg=6.5, pitch_tolerance_deg=0.2, roll_tolerance_deg=0.15, gap_tolerance_mm=0.5)
    >>> verdict = quick_check(pitch=read([6.5, 6.9]), roll=read([0.0, 0.0]), spec=spec)
    >>> [DAILY_WORDS[code] for code in verdict.machine.daily], verdict.due.tolist()
    (['in spec', 'out of spec'], [0, 6])
    >>> verdict.false_chance.tolist()  # doctest: +NUMBER
    [0.072, 0.006]

    References
    ----------
    JCGM 106:2012, clauses 7 to 9 (from memory); limits: common practice, no source.
    """
    never = (pitch.pairs == 0) | (roll.pairs == 0)
    measured = Measured(
        pitch_deg=pitch.angle_deg,
        u_pitch_deg=pitch.spread,
        roll_deg=roll.angle_deg,
        u_roll_deg=roll.spread,
        twist_mm=np.zeros(()),  # as if known: it shall not count, one way or the other
        u_twist_mm=np.zeros(()),
        pitch_known=pitch.pairs > 0,
        roll_known=roll.pairs > 0,
    )
    judged = judge_machine(measured=measured, spec=spec, rule=rule)
    out_proven = judged.machine.certificate == PROVEN_OUT
    machine = replace(
        judged.machine,
        certificate=np.where(out_proven, PROVEN_OUT, NOT_PROVEN),
        provable=np.zeros(out_proven.shape, dtype=np.bool_),
    )
    false_chance = np.select(
        [machine.daily == IN_SPEC, machine.daily == OUT_OF_SPEC], [1 - machine.chance, machine.chance], 0.0
    )
    due = _due(pitch, roll, spec, machine, false_chance, limits)
    return QuickVerdict(judged.pitch, judged.roll, machine, false_chance, np.where(never, NEVER_PAIRED, due))


def false_rates(verdict: QuickVerdict) -> FalseRates:
    """Return how many of a batch of quick verdicts are expected to be wrong.

    Parameters
    ----------
    verdict : QuickVerdict, each field shape (..., n) [1, code]
        n verdicts, such as all of a month.

    Returns
    -------
    FalseRates, each field shape (...) [count, 1]
        The stated rates of false "in spec" and false "out of spec".

    Raises
    ------
    BadInput
        If there is no last axis.

    Examples
    --------
    >>> from leveling.verdicts_shapes import normal_spread
    >>> angles = np.array([6.5, 6.6, 6.9])
    >>> slope = QuickSlope(angles, normal_spread(0.08), np.array(0.05), np.array(2), np.array(True), np.array(1.0),
    ...                    np.array(40.0))
    >>> spec = Spec(pitch_deg=6.5, pitch_tolerance_deg=0.2, roll_tolerance_deg=9, gap_tolerance_mm=0.5)
    >>> rates = false_rates(quick_check(pitch=slope, roll=replace(slope, angle_deg=0 * angles), spec=spec))
    >>> int(rates.said_in), int(rates.said_out), float(rates.false_in)  # doctest: +NUMBER
    (2, 1, 0.059)

    References
    ----------
    Mean of chances, derived in DEVELOPERS.md, Geometry.
    """
    chance = finite("verdict", np.atleast_1d(verdict.false_chance))
    said = [np.atleast_1d(verdict.machine.daily) == code for code in (IN_SPEC, OUT_OF_SPEC)]
    counts = [mask.sum(axis=-1) for mask in said]
    wrong = [np.where(mask, chance, 0.0).sum(axis=-1) / np.maximum(mask.sum(axis=-1), 1) for mask in said]
    return FalseRates(counts[0], counts[1], wrong[0], wrong[1])


def _due(
    pitch: QuickSlope,
    roll: QuickSlope,
    spec: Spec,
    machine: Verdict,
    false_chance: FloatArray,
    limits: QuickLimits,
) -> NDArray[np.int64]:
    """The first reason why a survey is due, where there are pairs."""
    share = np.maximum(pitch.u_offset_deg / spec.pitch_tolerance_deg, roll.u_offset_deg / spec.roll_tolerance_deg)
    reasons = [
        ~pitch.agree | ~roll.agree,
        np.maximum(pitch.removals, roll.removals) > limits.removals,
        np.maximum(pitch.days, roll.days) > limits.days,
        share > limits.offset_share,
        machine.daily == OUT_OF_SPEC,
        (machine.daily == BORDERLINE) | (false_chance > limits.false_chance),
    ]
    codes = [PAIRS_DISAGREE, GLASS_WAS_OUT, LONG_AGO, OFFSET_UNSURE, OUT, DOUBTFUL]
    return np.select(list(np.broadcast_arrays(*reasons)), codes, NOT_DUE)
