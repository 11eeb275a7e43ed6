r"""Contact: on which of its four feet a machine rests, and what each foot carries.

      RL ---------- RR        twist < 0: FL and RR are the short pair, the machine rocks over FR-RL
       | \        / |         twist > 0: FR and RL are the short pair, the machine rocks over FL-RR
       |   \  P /   |         P is where the weight presses. Of the short pair the foot on P's side of the
       |     \/     |         rocking diagonal bears and the other one floats. P sits toward the rear, so
       |    /  \    |         the floating foot is a front one, and then the rear pair alone sets the roll.
      FL ---------- FR

A leg's height is where its foot would hold the corner of the cabinet. Let foot X float by g under a rigid
cabinet: its height is the plane of the other three at X, less g. From n . z = twist follows twist = -n_X g,
so g = |twist| / |n_X|, which is 4 |twist| for a rectangle. The plane of all four feet (least squares) differs
from the three-foot plane by -g times column X of ``frame.plane_response``.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from leveling.checks import FloatArray, finite, last_axis
from leveling.errors import BadInput
from leveling.frame import LEGS_MEANING, heights_to_modes, null_vector, plane_response

LegArray = NDArray[np.intp]

#: The leg number that stands for "no foot floats".
ALL_BEAR = -1

#: Share of the weight on the rear feet. Common practice, no source.
REAR_SHARE = 0.6

#: What foot loads can say: the index is the outcome code.
LOAD_OUTCOMES = ("all feet bear", "one foot floats", "the weight presses outside the feet that bear: it tips")


@dataclass(frozen=True)
class Rest:
    """How a rigid cabinet comes to rest on four heights, each field with the batch shape (...).

    ``gx`` and ``gy`` [mm/mm] are the cabinet's gradients on the feet that bear, ``light`` the leg number of
    the floating foot or ``ALL_BEAR``, ``gap_mm`` [mm] the air under it.
    """

    gx: FloatArray
    gy: FloatArray
    light: LegArray
    gap_mm: FloatArray

    @property
    def pitch_deg(self) -> FloatArray:
        """Pitch of the cabinet [degree], positive = rear higher."""
        return np.degrees(np.arctan(self.gy))

    @property
    def roll_deg(self) -> FloatArray:
        """Roll of the cabinet [degree], positive = right side higher."""
        return np.degrees(np.arctan(self.gx))


@dataclass(frozen=True)
class Loads:
    """What each foot carries.

    ``loads``, shape (..., 4), is in the unit of the weight, 0 under a floating foot. ``light``, shape (...),
    is the leg number of the floating foot or ``ALL_BEAR``, ``gap_mm``, shape (...) [mm], the air under it.
    ``outcome``, shape (...), is the index into ``LOAD_OUTCOMES``; a negative load goes only with "it tips".
    """

    loads: FloatArray
    light: LegArray
    gap_mm: FloatArray
    outcome: LegArray


def at_leg(leg: ArrayLike) -> FloatArray:
    """Return 1 at the named leg and 0 at the others.

    Parameters
    ----------
    leg : array_like of int, shape (...) [leg number]
        0 FL, 1 FR, 2 RL, 3 RR, or ``ALL_BEAR``, which gives 0 everywhere.

    Returns
    -------
    ndarray, shape (..., 4) [1]
        Legs FL, FR, RL, RR.

    Raises
    ------
    BadInput
        If an entry is not a leg number.

    Examples
    --------
    >>> at_leg([2, ALL_BEAR]).tolist()
    [[0.0, 0.0, 1.0, 0.0], [0.0, 0.0, 0.0, 0.0]]

    References
    ----------
    Leg order: DEVELOPERS.md, Geometry.
    """
    return (leg_numbers("leg", leg)[..., None] == np.arange(4)).astype(np.float64)


def leg_numbers(name: str, value: ArrayLike) -> LegArray:
    """Return ``value`` as leg numbers.

    Parameters
    ----------
    name : str, scalar [words]
        The argument's name, for the error.
    value : array_like of int, shape (...) [leg number]
        0 FL, 1 FR, 2 RL, 3 RR, or ``ALL_BEAR``.

    Returns
    -------
    ndarray of int, shape (...) [leg number]
        The same numbers.

    Raises
    ------
    BadInput
        If an entry is not a whole number from -1 to 3.

    Examples
    --------
    >>> leg_numbers("light", [0, 3]).tolist()
    [0, 3]

    References
    ----------
    Leg order: DEVELOPERS.md, Geometry.
    """
    number = finite(name, value, low=ALL_BEAR, high=3)
    if (number != np.floor(number)).any():
        raise BadInput(name, "is not a leg number", "Give 0 FL, 1 FR, 2 RL, 3 RR or -1 for all bearing")
    return number.astype(np.intp)


def load_point(feet_mm: ArrayLike, rear_share: ArrayLike = REAR_SHARE) -> FloatArray:
    """Return where the weight presses: centred, with a share of it on the rear feet.

    Parameters
    ----------
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of FL, FR, RL, RR.
    rear_share : array_like, shape (...) [1]
        Part of the weight on the rear feet, 0 to 1.

    Returns
    -------
    ndarray, shape (..., 2) [mm]
        x to the player's right and y to the rear.

    Raises
    ------
    BadInput
        If a number is not finite, a shape is wrong, or the share is not 0 to 1.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> load_point(foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)).tolist()
    [0.0, 780.0]

    References
    ----------
    60 % on the rear: common practice, no source.
    """
    feet = _feet(feet_mm)
    share = finite("rear_share", rear_share, low=0, high=1)[..., None]
    return (1 - share) * feet[..., :2, :].mean(axis=-2) + share * feet[..., 2:, :].mean(axis=-2)


def light_foot(twist_mm: ArrayLike, *, feet_mm: ArrayLike, load_mm: ArrayLike | None = None) -> LegArray:
    """Return which foot floats for a twist of this sign under this load point.

    Parameters
    ----------
    twist_mm : array_like, shape (...) [mm]
        Twist; only its sign counts.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of FL, FR, RL, RR.
    load_mm : array_like or None, shape (..., 2) [mm]
        Where the weight presses; None for ``load_point(feet_mm)``.

    Returns
    -------
    ndarray of int, shape (...) [leg number]
        0 FL, 1 FR, 2 RL, 3 RR, or ``ALL_BEAR`` where the twist is 0.

    Raises
    ------
    BadInput
        If a number is not finite or a shape is wrong.

    Notes
    -----
    A load exactly on the rocking diagonal is taken to press on the rear foot.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> feet = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
    >>> light_foot([-0.2, 0.0, 0.2], feet_mm=feet).tolist()
    [0, -1, 1]

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    twist, feet = finite("twist_mm", twist_mm, unit="mm"), _feet(feet_mm)
    load = load_point(feet) if load_mm is None else finite("load_mm", load_mm, unit="mm")
    last_axis("load_mm", load, 2, "x, y")
    fl, fr, rl, rr = (feet[..., leg, :] for leg in range(4))
    if_negative = np.where(_side(fr, rl, load) * _side(fr, rl, rr) >= 0, 0, 3)
    if_positive = np.where(_side(fl, rr, load) * _side(fl, rr, rl) >= 0, 1, 2)
    return np.where(twist < 0, if_negative, np.where(twist > 0, if_positive, ALL_BEAR)).astype(np.intp)


def rest(heights_mm: ArrayLike, *, feet_mm: ArrayLike, load_mm: ArrayLike | None = None) -> Rest:
    """Return the three-foot plane and the gap of a rigid cabinet on four heights.

    Parameters
    ----------
    heights_mm : array_like, shape (..., 4) [mm]
        Heights of FL, FR, RL, RR, as if each foot bore.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of the feet.
    load_mm : array_like or None, shape (..., 2) [mm]
        Where the weight presses; None for ``load_point(feet_mm)``.

    Returns
    -------
    Rest, each shape (...)
        Gradients of the cabinet [mm/mm], light foot [leg number], gap [mm].

    Raises
    ------
    BadInput
        If a number is not finite, a shape is wrong, or three feet are in line.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> feet = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
    >>> stood = rest([0, 0, 0, 3.2], feet_mm=feet)  # RR too tall: FR floats, the rear pair sets the roll
    >>> int(stood.light), float(stood.gap_mm), float(stood.roll_deg)  # doctest: +NUMBER
    (1, 3.2, 0.3274)

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    modes = heights_to_modes(heights_mm, feet_mm)
    light = light_foot(modes.twist_mm, feet_mm=feet_mm, load_mm=load_mm)
    chosen = at_leg(light)
    arm = np.abs(null_vector(feet_mm) * chosen).sum(axis=-1)
    gap = np.abs(modes.twist_mm) / np.where(light == ALL_BEAR, 1.0, arm)
    lift = (plane_response(feet_mm) * (chosen * gap[..., None])[..., None, :]).sum(axis=-1)
    return Rest(gx=modes.gx + lift[..., 0], gy=modes.gy + lift[..., 1], light=light, gap_mm=gap)


def foot_loads(
    *,
    weight: ArrayLike,
    load_mm: ArrayLike,
    feet_mm: ArrayLike,
    stiffness_per_mm: ArrayLike = 1.0,
    heights_mm: ArrayLike | None = None,
) -> Loads:
    """Return what four equally springy feet carry under one weight.

    Parameters
    ----------
    weight : array_like, shape (...) [any unit of weight]
        The machine's weight, above 0.
    load_mm : array_like, shape (..., 2) [mm]
        Where it presses: x to the player's right, y to the rear.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of FL, FR, RL, RR.
    stiffness_per_mm : array_like, shape (...) [unit of weight per mm]
        How stiff one foot is together with its corner of the cabinet, above 0.
    heights_mm : array_like or None, shape (..., 4) [mm]
        Heights of the legs, unloaded; a short leg has a lower one. None for all alike.

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
    Springs only push. If the four would make one pull, that foot is let go and the other three carry all.
    Stiffness matters only together with heights that do not lie on one plane.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> feet = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
    >>> foot_loads(weight=100, load_mm=load_point(feet), feet_mm=feet).loads.tolist()  # doctest: +NUMBER
    [20.0, 20.0, 30.0, 30.0]

    References
    ----------
    Statics of a plate on four springs, derived in DEVELOPERS.md, Geometry.
    """
    feet = _feet(feet_mm)
    weights = finite("weight", weight, low=0, above=True)[..., None]
    load = last_axis("load_mm", finite("load_mm", load_mm, unit="mm"), 2, "x, y")
    stiffness = finite("stiffness_per_mm", stiffness_per_mm, low=0, above=True)[..., None]
    heights = finite("heights_mm", np.zeros(4) if heights_mm is None else heights_mm, unit="mm")
    null = null_vector(feet)
    unit = null / (null**2).sum(axis=-1, keepdims=True)
    twist = (null * last_axis("heights_mm", heights, 4, LEGS_MEANING)).sum(axis=-1, keepdims=True)
    share = 1 / 4 + (plane_response(feet) * (load - feet.mean(axis=-2))[..., :, None]).sum(axis=-2)
    four = weights * share + stiffness * twist * unit
    # One foot pulls: take its load away along the only mode that keeps force and moments, which is twist.
    # The first to come off is the one with the least load for its share of that mode.
    first = np.argmin(four / np.abs(unit), axis=-1)
    light = np.where((four < 0).any(axis=-1), first, ALL_BEAR).astype(np.intp)
    excess = (four * at_leg(light)).sum(axis=-1) / np.where(light == ALL_BEAR, 1, _pick(unit, light))
    three = np.where(at_leg(light) == 1, 0.0, four - excess[..., None] * unit)
    gap = -excess / stiffness[..., 0] / np.where(light == ALL_BEAR, 1, _pick(null, light))
    tips = (three < -1e-12 * weights).any(axis=-1)
    outcome = np.select([tips, light == ALL_BEAR], [2, 0], 1).astype(np.intp)
    return Loads(loads=three, light=light, gap_mm=np.where(light == ALL_BEAR, 0.0, gap), outcome=outcome)


def _feet(feet_mm: ArrayLike) -> FloatArray:
    feet = last_axis("feet_mm", finite("feet_mm", feet_mm, unit="mm"), 2, "x, y")
    last_axis("feet_mm", feet[..., 0], 4, LEGS_MEANING)
    return feet


def _side(a: FloatArray, b: FloatArray, point: FloatArray) -> FloatArray:
    """Above 0 where the point lies to the left of the way from a to b."""
    ab, ap = b - a, point - a
    return ab[..., 0] * ap[..., 1] - ab[..., 1] * ap[..., 0]


def _pick(values: FloatArray, leg: LegArray) -> FloatArray:
    return (values * at_leg(leg)).sum(axis=-1)
