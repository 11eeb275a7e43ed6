"""Simulated work: levels that err as real ones do, and people who feel gaps and turn legs.

      shown = round to the display ( tilt along the level + own error + zero + noise )
      turned end for end: the tilt and the own error change sign, the zero does not

A level's own error stays after turning it end for end, and is one number along (at playfield pitch) and another
across (near level): the same for every machine read with that level. Each time the level is laid down it is turned
by another angle on the board; both readings of a pair share one.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite, last_axis
from leveling.contact import ALL_BEAR, LegArray, leg_numbers
from leveling.frame import LEGS_MEANING
from leveling.instruments import Instrument
from leveling.simulate_floors import counted


@dataclass(frozen=True)
class Levels:
    """Digital levels as they truly are, each field with the batch shape (...) [degree].

    ``sheet``, its fields of shape (...): what the owner knows. ``zero_deg``: what each shows on a level surface.
    ``error_along_deg`` and ``error_across_deg``: its own error, within the stated accuracy.
    """

    sheet: Instrument
    zero_deg: FloatArray
    error_along_deg: FloatArray
    error_across_deg: FloatArray


@dataclass(frozen=True)
class Shown:
    """What levels showed, with their own sign, each field shape (..., k) [degree].

    ``r0_deg`` laid the usual way: rear or right end high is positive. ``r180_deg`` after turning end for end on the
    same line.
    """

    r0_deg: FloatArray
    r180_deg: FloatArray


@dataclass(frozen=True)
class Felt:
    """What a hand and feeler blades found, each field with the batch shape (...).

    ``light``: the leg number of the foot that seemed light, or ``ALL_BEAR``. ``goes_mm`` and ``stops_mm`` [mm]: the
    thickest blade that went under it (0 if none) and the thinnest that did not.
    """

    light: LegArray
    goes_mm: FloatArray
    stops_mm: FloatArray


def make_levels(*, rng: np.random.Generator, count: int, sheet: Instrument) -> Levels:
    """Return random digital levels that keep what their sheet promises.

    Parameters
    ----------
    rng : numpy.random.Generator, scalar [random numbers]
        Where the numbers come from.
    count : int, scalar [levels]
        How many, at least 0.
    sheet : Instrument, each field shape (count,) or () [degree]
        What is promised: the error is drawn evenly within the accuracy, the zero around the sheet's zero.

    Returns
    -------
    Levels, each shape (count,) [degree]
        The levels.

    Raises
    ------
    BadInput
        If the count is no whole number.

    Examples
    --------
    >>> sheet = Instrument(resolution_deg=0.1, accuracy_deg=0.1, alignment_deg=1.0, repeat_deg=0.02,
    ...                    zero_deg=0.0, u_zero_deg=0.1)
    >>> levels = make_levels(rng=np.random.default_rng(1), count=1000, sheet=sheet)
    >>> bool((np.abs(levels.error_along_deg) <= 0.1).all())
    True

    References
    ----------
    Rectangular distribution of a stated limit: JCGM 100:2008 (GUM), 4.3.7.
    """
    n = counted(count)
    return Levels(
        sheet=sheet,
        zero_deg=sheet.zero_deg + rng.normal(0, 1, n) * sheet.u_zero_deg,
        error_along_deg=rng.uniform(-1, 1, n) * sheet.accuracy_deg,
        error_across_deg=rng.uniform(-1, 1, n) * sheet.accuracy_deg,
    )


def read_level(
    *, rng: np.random.Generator, levels: Levels, pitch_deg: ArrayLike, roll_deg: ArrayLike, along: bool, repeats: int
) -> Shown:
    """Return what levels show on playfields, laid down afresh for each repeat and turned end for end.

    Parameters
    ----------
    rng : numpy.random.Generator, scalar [random numbers]
        Where the numbers come from.
    levels : Levels, each shape (...) [degree]
        The levels.
    pitch_deg, roll_deg : array_like, shape (...) [degree]
        True slopes of the playfields, above -90 and below 90.
    along : bool, scalar [yes or no]
        Laid along (front to rear), not across.
    repeats : int, scalar [count]
        How often it is laid down, at least 0.

    Returns
    -------
    Shown, each shape (..., repeats) [degree]
        Readings both ways round; take ``r0_deg`` alone for single readings.

    Raises
    ------
    BadInput
        If a number is not finite or out of range.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> sheet = Instrument(resolution_deg=0.1, accuracy_deg=0.0, alignment_deg=0.0, repeat_deg=0.0,
    ...                    zero_deg=0.2, u_zero_deg=0.0)
    >>> level = make_levels(rng=rng, count=1, sheet=sheet)
    >>> shown = read_level(rng=rng, levels=level, pitch_deg=6.5, roll_deg=0.0, along=True, repeats=1)
    >>> shown.r0_deg.tolist(), shown.r180_deg.tolist()  # doctest: +NUMBER
    ([[6.7]], [[-6.3]])

    References
    ----------
    Geometry in space, derived in DEVELOPERS.md, Geometry.
    """
    gx = np.tan(np.radians(finite("roll_deg", roll_deg, low=-89, high=89, unit="degrees")))
    gy = np.tan(np.radians(finite("pitch_deg", pitch_deg, low=-89, high=89, unit="degrees")))
    sheet = levels.sheet
    shape = (*np.broadcast_shapes(gx.shape, gy.shape, levels.zero_deg.shape), counted(repeats))
    psi = np.radians(rng.uniform(-1, 1, shape) * sheet.alignment_deg[..., None])
    own = levels.error_along_deg if along else levels.error_across_deg
    tilt = np.degrees(np.arcsin(_rise(gx[..., None], gy[..., None], psi, along))) + own[..., None]
    shown = []
    for way in (1.0, -1.0):
        noise = rng.normal(0, 1, shape) * sheet.repeat_deg[..., None]
        shown.append(_displayed(way * tilt + levels.zero_deg[..., None] + noise, sheet.resolution_deg[..., None]))
    return Shown(r0_deg=shown[0], r180_deg=shown[1])


def feel_gap(*, rng: np.random.Generator, light: ArrayLike, gap_mm: ArrayLike, blade_mm: float = 0.05) -> Felt:
    """Return what a person finds who pushes each corner and slides blades under the foot that gives.

    Parameters
    ----------
    rng : numpy.random.Generator, scalar [random numbers]
        Where the numbers come from.
    light : array_like of int, shape (...) [leg number]
        The foot that truly floats, or ``ALL_BEAR``.
    gap_mm : array_like, shape (...) [mm]
        The true air under it, at least 0.
    blade_mm : float, scalar [mm]
        Step between stacks of blades, and the thinnest one, above 0.

    Returns
    -------
    Felt, each shape (...) [leg number, mm]
        A gap thinner than the thinnest blade is not noticed: all feet seem to bear.

    Raises
    ------
    BadInput
        If a number is not finite or out of range.

    Notes
    -----
    A hundredth of a mm of feel (standard deviation) is added. Common practice, no source.

    Examples
    --------
    >>> felt = feel_gap(rng=np.random.default_rng(1), light=[0, 1, -1], gap_mm=[0.83, 0.01, 0.0])
    >>> felt.light.tolist(), felt.goes_mm.round(2).tolist()
    ([0, -1, -1], [0.8, 0.0, 0.0])

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    leg = leg_numbers("light", light)
    step = finite("blade_mm", blade_mm, low=0, above=True, unit="mm")
    gap = finite("gap_mm", gap_mm, low=0, unit="mm")
    felt = np.maximum(gap + rng.normal(0, 0.01, np.broadcast_shapes(gap.shape, leg.shape)), 0.0)
    blades = np.where(leg == ALL_BEAR, 0.0, np.floor(felt / step))
    seems = np.where(blades > 0, leg, ALL_BEAR).astype(np.intp)
    return Felt(light=seems, goes_mm=blades * step, stops_mm=(blades + 1) * step)


def turn_until_it_bears(
    *, rng: np.random.Generator, gap_mm: ArrayLike, lead_mm: ArrayLike, step: float = 0.125, u_turn: float = 0.05
) -> FloatArray:
    """Return the turns that a person counts until the light foot bears.

    Parameters
    ----------
    rng : numpy.random.Generator, scalar [random numbers]
        Where the numbers come from.
    gap_mm : array_like, shape (...) [mm]
        The true air under the foot, at least 0.
    lead_mm : array_like, shape (...) [mm]
        Height per full turn, above 0.
    step : float, scalar [turn]
        Counted to this, above 0.
    u_turn : float, scalar [turn]
        Standard deviation of feeling the moment, at least 0. Common practice, no source.

    Returns
    -------
    ndarray, shape (...) [turn]
        Counted turns out, a multiple of ``step``, at least 0.

    Raises
    ------
    BadInput
        If a number is not finite or out of range.

    Examples
    --------
    >>> turn_until_it_bears(rng=np.random.default_rng(1), gap_mm=[0.8], lead_mm=1.5875, u_turn=0.0).tolist()
    [0.5]

    References
    ----------
    Turns = gap / lead, derived in DEVELOPERS.md, Geometry.
    """
    gap = finite("gap_mm", gap_mm, low=0, unit="mm")
    lead = finite("lead_mm", lead_mm, low=0, above=True, unit="mm")
    to = finite("step", step, low=0, above=True, unit="turns")
    shape = np.broadcast_shapes(gap.shape, lead.shape)
    felt = gap / lead + rng.normal(0, 1, shape) * finite("u_turn", u_turn, low=0, unit="turns")
    return np.maximum(np.round(felt / to), 0.0) * to


def turn_legs(
    *,
    rng: np.random.Generator,
    turns: ArrayLike,
    u_turn: float = 0.02,
    wrong_way: float = 0.0,
    wrong_foot: float = 0.0,
) -> FloatArray:
    """Return what people truly turn when they are asked to turn the legs.

    Parameters
    ----------
    rng : numpy.random.Generator, scalar [random numbers]
        Where the numbers come from.
    turns : array_like, shape (..., 4) [turn]
        What was asked of FL, FR, RL, RR, out positive.
    u_turn : float, scalar [turn]
        Standard deviation of stopping at the mark, on each leg that turns, at least 0.
    wrong_way : float, scalar [1]
        Chance that a person turns one of the asked legs the wrong way, 0 to 1.
    wrong_foot : float, scalar [1]
        Chance that a person takes left for right, 0 to 1.

    Returns
    -------
    ndarray, shape (..., 4) [turn]
        True turns.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or there are not four.

    Examples
    --------
    >>> done = turn_legs(rng=np.random.default_rng(1), turns=[0, 0, 7, 6.75])
    >>> done.round(2).tolist()
    [0.0, 0.0, 7.01, 6.76]
    >>> turn_legs(rng=np.random.default_rng(1), turns=[0, 0, 1, 2], u_turn=0, wrong_foot=1).tolist()
    [0.0, 0.0, 2.0, 1.0]

    References
    ----------
    Sizes: common practice, no source.
    """
    asked = last_axis("turns", finite("turns", turns, unit="turns"), 4, LEGS_MEANING)
    u = finite("u_turn", u_turn, low=0, unit="turns")
    way, foot = finite("wrong_way", wrong_way, low=0, high=1), finite("wrong_foot", wrong_foot, low=0, high=1)
    swapped = rng.uniform(size=asked.shape[:-1]) < foot
    done = np.where(swapped[..., None], asked[..., [1, 0, 3, 2]], asked)
    # Which leg goes wrong: one of those that turn, each as likely.
    ticket = np.where(done != 0, rng.uniform(size=done.shape), -1.0)
    victim = np.arange(4) == np.argmax(ticket, axis=-1)[..., None]
    wrong = (rng.uniform(size=asked.shape[:-1]) < way)[..., None] & victim
    done = np.where(wrong, -done, done)
    return done + np.where(done != 0, rng.normal(0, 1, done.shape) * u, 0.0)


def _rise(gx: FloatArray, gy: FloatArray, psi: FloatArray, along: bool) -> FloatArray:
    """Rise per length of a level on the board, turned by ``psi`` from its wanted line, by vectors in space."""
    zero, one = np.zeros_like(gx + gy), np.ones_like(gx + gy)
    line = np.stack([zero, one, gy + zero], axis=-1) if along else np.stack([one, zero, gx + zero], axis=-1)
    line = line / np.linalg.norm(line, axis=-1, keepdims=True)
    normal = np.stack([-gx + zero, -gy + zero, one], axis=-1)
    normal = normal / np.linalg.norm(normal, axis=-1, keepdims=True)
    across = np.cross(normal, line)
    return np.clip(np.cos(psi) * line[..., 2] + np.sin(psi) * across[..., 2], -1.0, 1.0)


def _displayed(value_deg: FloatArray, step_deg: FloatArray) -> FloatArray:
    """What a display with this step shows; a step of 0 shows all digits."""
    step = np.where(step_deg > 0, step_deg, 1.0)
    return np.where(step_deg > 0, np.round(value_deg / step) * step, value_deg)
