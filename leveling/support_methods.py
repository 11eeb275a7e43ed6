r"""Methods combined: a feeler, turns to bear, pressing the corners and four weights become one stance.

      twist < 0: FL or RR is light        feeler, turns   which foot, and the air under it
      twist > 0: FR or RL is light        pressing        which diagonal, no amount
                                          four weights    which diagonal, that a foot bears, what comes on top of air

                air (feeler, turns)      squeeze (weights)
      |------------------------------|--------------------|      out by the air: the foot just bears
      hangs                        bears           carries its part

Amounts of air are averaged by inverse variance. What cannot all be true is told and not averaged away.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import BoolArray, flags, together
from leveling.contact import ALL_BEAR, LegArray, at_leg, leg_numbers
from leveling.errors import BadInput
from leveling.frame import null_vector
from leveling.support import Gap, Push, Stance
from leveling.support_weights import EVEN, LIGHT, Weighed

#: What the methods say together: the index is the outcome code.
BEARS, BEARS_LIGHTLY, HANGS, HANGS_UNMEASURED, FEET_DISAGREE, AMOUNTS_DISAGREE, NOTHING_TOLD = range(7)
METHOD_OUTCOMES = (
    "all feet bear",
    "all feet bear, one of them lightly",
    "one foot floats",
    "one foot floats; slide a feeler under it or count the turns until it bears",
    "the methods name different diagonals or differ on whether a foot floats: check each foot again",
    "the methods differ in the size of the gap by more than they may: measure it again",
    "the feet were not checked",
)

#: A gap that pressing the corners lets go unnoticed; the gap of a machine that nobody checked; standard uncertainties.
#: Common practice, no source.
U_UNNOTICED_MM = 0.15
U_UNCHECKED_MM = 2.0
#: How well a hand feels that a blade goes or drags, beside the step to the next one. Common practice, no source.
U_FEEL_MM = 0.01

_U_MOMENT_TURNS = 0.05
_COVER = 2.0
_CHANCE_OF_FALSE_ALARM = 0.01
#: The sign of twist for which each foot is light: FL, FR, RL, RR, and none.
_SIGN = np.array([-1.0, 1.0, 1.0, -1.0, 0.0])


@dataclass(frozen=True)
class Footing:
    """What all methods together say about the feet, each field with the batch shape (...).

    ``outcome`` is the index into ``METHOD_OUTCOMES``. ``stance`` says which foot floats and the air under it [mm].
    ``light`` is the leg number of the light foot, also of one that bears, or ``ALL_BEAR``. ``short_mm`` and
    ``u_short_mm`` [mm]: how far to turn it out until the diagonals carry alike; without weights, until it just bears.
    """

    outcome: LegArray
    stance: Stance
    light: LegArray
    short_mm: FloatArray
    u_short_mm: FloatArray


@dataclass(frozen=True)
class _Air:
    """All gaps together, with the sign of the twist: mean, its u, the foot, and how well they fit each other."""

    mean_mm: FloatArray
    u_mm: FloatArray
    foot: LegArray
    told: BoolArray
    hangs: BoolArray
    agree: BoolArray
    both_ways: BoolArray
    widest_mm: FloatArray


@dataclass(frozen=True)
class _Other:
    """What pressing the corners and four scales said."""

    push_foot: LegArray
    pressed: BoolArray
    scale_foot: LegArray
    even: BoolArray
    lightly: BoolArray
    squeeze_mm: FloatArray
    u_squeeze_mm: FloatArray


def combine_methods(
    *,
    light: ArrayLike,
    gap: Gap,
    used: ArrayLike = True,
    push: Push | None = None,
    weighed: Weighed | None = None,
    feet_mm: ArrayLike,
) -> Footing:
    """Return one stance from several ways of finding the light foot.

    Parameters
    ----------
    light : array_like of int, shape (..., m) [leg number]
        The foot under which each of m gaps was found, or ``ALL_BEAR``: none was noticed. Where ``used`` is False
        anything may stand.
    gap : Gap, each shape (..., m) [mm]
        The gaps, from ``support.gap_from_feeler`` and ``support.gap_from_turns``.
    used : array_like of bool, shape (..., m) [yes or no]
        False for padding and for gaps left out.
    push : Push or None, each shape (...) [code, 1, leg number]
        What pressing the corners said.
    weighed : Weighed or None, each shape (...) [code, leg number, unit of weight, mm]
        What four weights said; disbelieved weights count as none.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of the feet.

    Returns
    -------
    Footing, each shape (...) [code, leg number, mm]
        Outcome, stance, light foot, how far to turn it out.

    Raises
    ------
    BadInput
        If a used number is not finite or out of range, shapes do not fit, or three feet are in line.

    Notes
    -----
    Gaps count with the sign of the twist that they mean and weight 1/u^2, 0.01 mm of feel in each u; a gap that was not
    noticed is 0 and may be of either sign. If chi2 is too large (chance below 1 %) the uncertainty is widened by it and
    told. Where methods name different diagonals the stance is "all bear" with the largest claimed gap as its
    uncertainty. A floating foot whose gap nobody measured stands for 1 mm, uncertain by 1 mm: common practice, no
    source. A push that tips the machine is weaker than weights that are even, and gives way to them.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> from leveling.support import gap_from_feeler, gap_from_turns
    >>> feet = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
    >>> blade, screw = gap_from_feeler(0.60, 0.65), gap_from_turns(0.375, lead_mm=1.5875)
    >>> gap = Gap(np.stack([blade.gap_mm, screw.gap_mm]), np.stack([blade.u_gap_mm, screw.u_gap_mm]))
    >>> both = combine_methods(light=[1, 1], gap=gap, feet_mm=feet)
    >>> METHOD_OUTCOMES[int(both.outcome)], int(both.light), float(both.stance.gap_mm)  # doctest: +NUMBER
    ('one foot floats', 1, 0.625)

    References
    ----------
    Weighted mean: JCGM 100:2008 (GUM), 5.1.2. Widening by the square root of chi2 over degrees of freedom: R. T. Birge,
    Physical Review 40 (1932) 207 (from memory). Air + squeeze: derived in DEVELOPERS.md, Geometry.
    """
    air, other = _mean_air(light, gap, used), _other(push, weighed)
    outcome = _outcome(air, other)
    foot = np.where(air.hangs, air.foot, np.where(other.scale_foot != ALL_BEAR, other.scale_foot, other.push_foot))
    stance = _stance(outcome, foot=foot, measured=air.hangs & (outcome != FEET_DISAGREE), air=air, other=other)
    named = np.where(np.isin(outcome, (FEET_DISAGREE, BEARS, NOTHING_TOLD)), ALL_BEAR, foot)
    null = null_vector(feet_mm)
    # The squeeze was told for the foot that the scales named: the same twist at another foot is another height.
    ratio = np.where(outcome == FEET_DISAGREE, 0.0, _arm(null, other.scale_foot) / _arm(null, named))
    short = stance.gap_mm + np.where(named == ALL_BEAR, 0.0, other.squeeze_mm * ratio)
    u_short = np.hypot(stance.u_gap_mm, other.u_squeeze_mm * ratio)
    leg, short, u_short = np.broadcast_arrays(named, short, u_short)
    return Footing(outcome=outcome, stance=stance, light=leg.astype(np.intp), short_mm=short, u_short_mm=u_short)


def u_counted_turns(step_turns: ArrayLike) -> FloatArray:
    """Return the standard uncertainty of turns to bear from how finely they were counted.

    Parameters
    ----------
    step_turns : array_like, shape (...) [turn]
        What the turns were counted to, such as 0.25 or 0.125, above 0 and at most 1.

    Returns
    -------
    ndarray, shape (...) [turn]
        For ``support.gap_from_turns``.

    Raises
    ------
    BadInput
        If a step is not finite or out of range.

    Examples
    --------
    >>> u_counted_turns([0.25, 0.125]).tolist()  # doctest: +NUMBER
    [0.0878, 0.0617]

    References
    ----------
    Rectangular within the step: JCGM 100:2008 (GUM), 4.3.7. Feeling the moment to 0.05 turn: common practice, no
    source.
    """
    step = finite("step_turns", step_turns, low=0, high=1, above=True, unit="turns")
    return np.hypot(step / np.sqrt(12), _U_MOMENT_TURNS)


def _other(push: Push | None, weighed: Weighed | None) -> _Other:
    """What pressing and the scales said; who was not asked says nothing."""
    nothing, nobody, no = np.zeros(()), np.full((), ALL_BEAR, dtype=np.intp), np.zeros((), dtype=np.bool_)
    scales = (
        (nobody, no, no, nothing, nothing)
        if weighed is None
        else (
            weighed.light,
            weighed.outcome == EVEN,
            weighed.outcome == LIGHT,
            weighed.short_mm,
            weighed.u_short_mm,
        )
    )
    pressed = (nobody, no) if push is None else (push.light, push.outcome != 3)  # 3: press again
    return _Other(*pressed, *scales)


def _outcome(air: _Air, other: _Other) -> LegArray:
    """What all of it comes to, the doubts first."""
    signs = np.stack(
        np.broadcast_arrays(
            np.where(air.hangs, np.sign(air.mean_mm), 0.0), _SIGN[other.push_foot], _SIGN[other.scale_foot]
        )
    )
    stands = other.even | other.lightly
    differ = ((signs > 0).any(axis=0) & (signs < 0).any(axis=0)) | (air.hangs & stands) | air.both_ways
    one_sided = (signs[1:] != 0).any(axis=0)  # the push or the scales name a diagonal
    doubted = air.told & ~air.agree
    lightly = other.lightly | (air.told & one_sided & ~other.even)
    checked = stands | air.told | other.pressed
    return np.select(
        [differ, doubted, air.hangs, lightly, one_sided & ~stands, checked],
        [FEET_DISAGREE, AMOUNTS_DISAGREE, HANGS, BEARS_LIGHTLY, HANGS_UNMEASURED, BEARS],
        NOTHING_TOLD,
    ).astype(np.intp)


def _stance(outcome: LegArray, *, foot: LegArray, measured: BoolArray, air: _Air, other: _Other) -> Stance:
    """Which foot floats, and the air under it with its uncertainty."""
    guessed = outcome == HANGS_UNMEASURED
    unnoticed = np.select(
        [other.even | other.lightly, air.told, other.pressed],
        [0.0, np.hypot(air.mean_mm, air.u_mm), U_UNNOTICED_MM],
        U_UNCHECKED_MM,
    )
    return Stance(
        light=np.where(measured | guessed, foot, ALL_BEAR),
        gap_mm=np.select([measured, guessed], [np.abs(air.mean_mm), U_UNCHECKED_MM / 2], 0.0),
        u_gap_mm=np.select(
            [outcome == FEET_DISAGREE, measured, guessed],
            [np.maximum(air.widest_mm, U_UNNOTICED_MM), air.u_mm, U_UNCHECKED_MM / 2],
            unnoticed,
        ),
    )


def _mean_air(light: ArrayLike, gap: Gap, used: ArrayLike) -> _Air:
    """Average the gaps, each with the sign of the twist that it means."""
    given = together(
        light=np.asarray(light, dtype=np.float64),
        gap=np.asarray(gap.gap_mm, dtype=np.float64),
        u_gap=np.asarray(gap.u_gap_mm, dtype=np.float64),
        used=flags("used", used),
    )
    if given[0].ndim == 0:
        raise BadInput("light", "has no axis of methods", "Give one entry for each gap on the last axis")
    # One unused entry more, so that no methods at all are a case like any other.
    room = [(0, 0)] * (given[0].ndim - 1) + [(0, 1)]
    leg, gap_mm, u_gap, wanted = (np.pad(array, room) for array in given)
    foot = leg_numbers("light", np.where(wanted, leg, ALL_BEAR))
    size = finite("gap", np.where(wanted, gap_mm, 0.0), low=0, unit="mm")
    u_size = np.hypot(finite("gap", np.where(wanted, u_gap, 1.0), low=0, unit="mm"), U_FEEL_MM)
    seen = _SIGN[foot] * size
    u = np.where(foot == ALL_BEAR, np.hypot(size, u_size), u_size)
    weight = np.where(wanted, 1 / u**2, 0.0)
    total = weight.sum(axis=-1)
    told = total > 0
    mean = (weight * seen).sum(axis=-1) / np.where(told, total, 1.0)
    chi2 = (weight * (seen - mean[..., None]) ** 2).sum(axis=-1)
    freedom = np.maximum(wanted.sum(axis=-1) - 1, 1)
    agree = (wanted.sum(axis=-1) < 2) | (chdtrc(freedom, chi2) >= _CHANCE_OF_FALSE_ALARM)
    u_mean = np.where(agree, 1.0, np.sqrt(chi2 / freedom)) / np.sqrt(np.where(told, total, 1.0))
    fits = wanted & (_SIGN[foot] == np.sign(mean)[..., None]) & (foot != ALL_BEAR)
    best = np.argmin(np.where(fits, u, np.inf), axis=-1)
    sure = np.where(wanted & (size > _COVER * u), _SIGN[foot], 0.0)
    return _Air(
        mean_mm=mean,
        u_mm=u_mean,
        foot=np.take_along_axis(foot, best[..., None], axis=-1)[..., 0],
        told=told,
        hangs=told & (np.abs(mean) * np.sqrt(total) > _COVER),
        agree=agree,
        both_ways=(sure > 0).any(axis=-1) & (sure < 0).any(axis=-1),
        widest_mm=np.where(wanted, np.hypot(size, u_size), 0.0).max(axis=-1, initial=0.0),
    )


def _arm(null: FloatArray, leg: LegArray) -> FloatArray:
    """How much twist a mm at this foot makes; 1 for no foot."""
    chosen = at_leg(leg)
    return np.abs((null * chosen).sum(axis=-1)) + (chosen.sum(axis=-1) == 0)
