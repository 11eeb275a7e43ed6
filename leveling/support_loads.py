r"""Loads of four elastic feet, each with its own stiffness, under a rigid cabinet: a foot pushes or is free.

      |  P at (x, y)  |          N_i = k_i s_i          s_i  how far foot i is squeezed
    __v_______________v__        sum N = P, sum N x = P x, sum N y = P y
      k1   k2   k3   k4          a rigid cabinet: n . s = n . z = twist, n the null vector of [1 x y]
     _/\/\_/\/\_/\/\_/\/\_
                                 three equations leave one number free:  N = N0 + c n
                                 c such that sum n_i N_i / k_i = twist, then clipped so that no foot pulls

The energy of the springs is a parabola in c, so clipping c is exact: where it is clipped, one foot is free.
"""

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite, last_axis
from leveling.checks_shapes import BoolArray
from leveling.contact import ALL_BEAR, LegArray, Loads, at_leg
from leveling.frame import LEGS_MEANING, null_vector, plane_response

#: A load less than nothing by this share of the weight is rounding.
_HAIR = 1e-12


def elastic_loads(
    *,
    weight: ArrayLike,
    load_mm: ArrayLike,
    feet_mm: ArrayLike,
    stiffness_per_mm: ArrayLike,
    heights_mm: ArrayLike = (0.0, 0.0, 0.0, 0.0),
) -> Loads:
    """Return what four feet carry that are not equally stiff.

    Parameters
    ----------
    weight : array_like, shape (...) [any unit of weight]
        The machine's weight, above 0.
    load_mm : array_like, shape (..., 2) [mm]
        Where it presses: x to the player's right, y to the rear.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of FL, FR, RL, RR.
    stiffness_per_mm : array_like, shape (..., 4) [unit of weight per mm]
        How stiff each foot is together with its corner of the cabinet, above 0.
    heights_mm : array_like, shape (..., 4) [mm]
        Heights of the legs, unloaded; a short leg has a lower one.

    Returns
    -------
    Loads, shape (..., 4) for the loads, the rest (...)
        Loads, light foot, gap [mm], outcome code.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, a shape is wrong, or three feet are in line.

    Notes
    -----
    With four equal springs it agrees with ``contact.foot_loads``. A weight outside the feet gives "it tips" and loads
    that hold force and moments with a foot that pulls.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> feet = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
    >>> stood = elastic_loads(weight=120, load_mm=[0, 780], feet_mm=feet, stiffness_per_mm=[100, 100, 50, 100],
    ...                       heights_mm=[-0.2, 0, 0, 0])  # FL short, but RL softer
    >>> stood.loads.tolist()  # doctest: +NUMBER
    [27.2, 20.8, 32.8, 39.2]

    References
    ----------
    Statics of a plate on four springs, derived in DEVELOPERS.md, Geometry. A foot pushes or is free, never both:
    A. Signorini, 1959, the contact conditions (from memory).
    """
    null = null_vector(feet_mm)
    feet = np.asarray(feet_mm, dtype=np.float64)
    weights = finite("weight", weight, low=0, above=True)[..., None]
    load = last_axis("load_mm", finite("load_mm", load_mm, unit="mm"), 2, "x, y")
    stiffness = finite("stiffness_per_mm", stiffness_per_mm, low=0, above=True)
    stiffness = last_axis("stiffness_per_mm", stiffness, 4, LEGS_MEANING)
    heights = last_axis("heights_mm", finite("heights_mm", heights_mm, unit="mm"), 4, LEGS_MEANING)
    share = 1 / 4 + (plane_response(feet) * (load - feet.mean(axis=-2))[..., :, None]).sum(axis=-2)
    balanced, null, give, heights = np.broadcast_arrays(weights * share, null, 1 / stiffness, heights)
    twist = (null * heights).sum(axis=-1)
    free = (twist - (null * balanced * give).sum(axis=-1)) / (null**2 * give).sum(axis=-1)
    bound, low, high = _room(balanced, null)
    tips = low > high + _HAIR * weights[..., 0] / np.abs(null).min(axis=-1)
    taken = np.where(low > high, (low + high) / 2, np.clip(free, np.minimum(low, high), high))
    first = np.where(free < low, _first(null > 0, -bound), _first(null < 0, bound))
    floats = (free < low) | (free > high)
    light = np.where(floats, first, ALL_BEAR).astype(np.intp)
    loads = balanced + taken[..., None] * null
    loads = np.where(((at_leg(light) == 1) & ~tips[..., None]) | (np.abs(loads) < _HAIR * weights), 0.0, loads)
    left = twist - (null * loads * give).sum(axis=-1)
    gap = np.where(floats, np.abs(left) / np.abs(np.where(at_leg(light) == 1, null, 0).sum(axis=-1) + ~floats), 0.0)
    outcome = np.select([tips, floats], [2, 1], 0).astype(np.intp)
    return Loads(loads=loads, light=light, gap_mm=gap, outcome=outcome)


def _room(balanced: FloatArray, null: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return where each foot comes off along the free number, and between which two all four push."""
    bound = -balanced / null
    low = np.where(null > 0, bound, -np.inf).max(axis=-1)
    high = np.where(null < 0, bound, np.inf).min(axis=-1)
    return bound, low, high


def _first(mine: BoolArray, value: FloatArray) -> LegArray:
    return np.argmin(np.where(mine, value, np.inf), axis=-1).astype(np.intp)
