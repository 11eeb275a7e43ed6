"""The zero error of an instrument: from turning it end for end, or from two pegs.

    laid one way     r0   = tilt + zero          (signs as the instrument itself shows them)
    turned around    r180 = -tilt + zero         zero = (r0 + r180)/2     tilt = (r0 - r180)/2

Turning the level end for end on the same line takes out its zero, not its misalignment.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import together
from leveling.errors import BadInput
from leveling.instruments import standard_from_limit

_MOST_DEG = 89.999


@dataclass(frozen=True)
class Pair:
    """What a reversed pair says, each field shape (...).

    Attributes: ``tilt_deg`` [degree] tilt without the zero error. ``zero_deg`` [degree] the zero error.
    """

    tilt_deg: FloatArray
    zero_deg: FloatArray


@dataclass(frozen=True)
class Zero:
    """A zero check, each field shape (...).

    Attributes: ``zero_deg`` [degree] what the instrument shows on a truly level surface. ``u_zero_deg`` [degree] its
    standard uncertainty on the day of the check.
    """

    zero_deg: FloatArray
    u_zero_deg: FloatArray


def reversed_pair(*, r0_deg: ArrayLike, r180_deg: ArrayLike) -> Pair:
    """Return tilt and zero error from two readings with the level's own sign, turned end for end between them.

    Parameters
    ----------
    r0_deg, r180_deg : array_like, shape (...) [degree]
        Readings before and after turning, with the sign that the instrument itself shows, above -90 and below 90.

    Returns
    -------
    Pair, each field shape (...) [degree]
        Tilt as in the first position, and zero error.

    Raises
    ------
    BadInput
        If a reading is not finite or out of range, or the shapes do not fit.

    Examples
    --------
    >>> pair = reversed_pair(r0_deg=6.6, r180_deg=-6.4)
    >>> float(pair.tilt_deg), float(pair.zero_deg)  # doctest: +NUMBER
    (6.5, 0.1)

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    first, turned = _readings(r0_deg=r0_deg, r180_deg=r180_deg)
    return Pair(tilt_deg=(first - turned) / 2, zero_deg=(first + turned) / 2)


def reversed_pair_by_ends(*, first_deg: ArrayLike, turned_deg: ArrayLike) -> Pair:
    """Return tilt and zero error from two tilts signed by the machine's high end, as ``signed_tilt_deg`` gives them.

    Parameters
    ----------
    first_deg, turned_deg : array_like, shape (...) [degree]
        Signed tilts before and after the level was turned end for end, above -90 and below 90.

    Returns
    -------
    Pair, each field shape (...) [degree]
        Tilt, and zero error with the sign of the first way round.

    Raises
    ------
    BadInput
        If a tilt is not finite or out of range, or the shapes do not fit.

    Examples
    --------
    >>> pair = reversed_pair_by_ends(first_deg=6.6, turned_deg=6.4)  # rear high both times
    >>> float(pair.tilt_deg), float(pair.zero_deg)  # doctest: +NUMBER
    (6.5, 0.1)

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    first, turned = _readings(first_deg=first_deg, turned_deg=turned_deg)
    return Pair(tilt_deg=(first + turned) / 2, zero_deg=(first - turned) / 2)


def zero_check(*, r0_deg: ArrayLike, r180_deg: ArrayLike, resolution_deg: ArrayLike, repeat_deg: ArrayLike) -> Zero:
    """Return an instrument's zero error from one or more reversed pairs.

    Parameters
    ----------
    r0_deg, r180_deg : array_like, shape (..., n) [degree]
        n pairs of readings with the instrument's own sign, before and after turning, n at least 1.
    resolution_deg : array_like, shape (...) [degree]
        Display step, 0 to 10.
    repeat_deg : array_like, shape (...) [degree]
        Standard deviation of laying it down again, 0 to 10.

    Returns
    -------
    Zero, each field shape (...) [degree]
        Mean zero error and its standard uncertainty.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, there is no pair, or the shapes do not fit.

    Notes
    -----
    ``repeat_deg`` averages over the 2 n readings. Rounding is counted in full: on a nearly level surface both
    readings of a pair round the same way.

    Examples
    --------
    >>> zero = zero_check(r0_deg=[0.2, 0.2], r180_deg=[0.1, 0.0], resolution_deg=0.1, repeat_deg=0.02)
    >>> float(zero.zero_deg), float(zero.u_zero_deg)  # doctest: +NUMBER
    (0.125, 0.0306)

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7 and 5.1.2. Reversal derived in DEVELOPERS.md, Geometry.
    """
    first, turned = _readings(r0_deg=r0_deg, r180_deg=r180_deg)
    if first.ndim == 0 or first.shape[-1] == 0:
        raise BadInput("r0_deg", "holds no pairs", "Give at least one pair on the last axis")
    step = finite("resolution_deg", resolution_deg, low=0, high=10, unit="degrees")
    repeat = finite("repeat_deg", repeat_deg, low=0, high=10, unit="degrees")
    zero = ((first + turned) / 2).mean(axis=-1)
    zero, step, repeat = together(r0_deg=zero, resolution_deg=step, repeat_deg=repeat)
    rounding = standard_from_limit(step / 2, "rectangular")
    return Zero(zero_deg=zero, u_zero_deg=np.hypot(rounding, repeat / np.sqrt(2 * first.shape[-1])))


def two_peg_zero_deg(*, middle_mm: ArrayLike, end_mm: ArrayLike, distance_mm: ArrayLike) -> FloatArray:
    """Return how far the sight line of an optical or laser level is off level, from the two-peg test.

    Parameters
    ----------
    middle_mm : array_like, shape (..., 2) [mm]
        Staff readings at pegs A and B with the instrument halfway between them: its error cancels.
    end_mm : array_like, shape (..., 2) [mm]
        Staff readings at A and B with the instrument outside the pegs in line with them, B the near peg.
    distance_mm : array_like, shape (...) [mm]
        Distance between the pegs, above 0.

    Returns
    -------
    ndarray, shape (...) [degree]
        Zero error, positive = the sight line rises away from the instrument.

    Raises
    ------
    BadInput
        If a number is not finite, there are not two readings, the distance is not above 0, or shapes do not fit.

    Examples
    --------
    >>> zero = two_peg_zero_deg(middle_mm=[1476, 1432], end_mm=[1556, 1472], distance_mm=40_000)
    >>> float(zero)  # 1 mm per m  # doctest: +NUMBER
    0.0573

    References
    ----------
    The common two-peg test of surveying. Derived in DEVELOPERS.md, Geometry.
    """
    differences = []
    for name, value in (("middle_mm", middle_mm), ("end_mm", end_mm)):
        pair = finite(name, value, unit="mm")
        if pair.ndim == 0 or pair.shape[-1] != 2:
            raise BadInput(name, f"has shape {pair.shape}", "Give 2 on the last axis: pegs A and B")
        differences.append(pair[..., 0] - pair[..., 1])
    distance = finite("distance_mm", distance_mm, low=0, above=True, unit="mm")
    middle, end, distance = together(middle_mm=differences[0], end_mm=differences[1], distance_mm=distance)
    return np.degrees(np.arctan2(end - middle, distance))


def _readings(**readings: ArrayLike) -> tuple[FloatArray, ...]:
    checked = {
        name: finite(name, value, low=-_MOST_DEG, high=_MOST_DEG, unit="degrees") for name, value in readings.items()
    }
    return together(**checked)
