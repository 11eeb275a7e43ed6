r"""Floors: the plane of a floor from slopes or heights, and what a bay on it does to a machine.

        0  up the floor plan           heading h: where the machine's REAR points, clockwise from up
        ^                              (drawn: h = 90, the rear points to the right of the plan)
        |
  270 <-+-> 90  right                         FL ---- RL           rear           = (sin h,  cos h)
        |                              player |        | rear      player's right = (cos h, -sin h)
        v                                     FR ---- RR           in (right, up) of the plan
       180

A slope is an angle *along a direction*, positive where the floor rises that way. With the gradient (right, up)
of the plane, the slope along direction a is atan(right sin a + up cos a). A floor that "falls 0.6 degree toward
the door" has slope -0.6 in the door's direction.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from leveling.checks import FloatArray, finite, last_axis
from leveling.checks_shapes import flags
from leveling.errors import BadInput
from leveling.frame import LEGS_MEANING

CodeArray = NDArray[np.intp]

#: Directions on the floor plan in words, degrees clockwise from up.
DIRECTIONS_DEG = {
    "up": 0.0,
    "up right": 45.0,
    "right": 90.0,
    "down right": 135.0,
    "down": 180.0,
    "down left": 225.0,
    "left": 270.0,
    "up left": 315.0,
}

#: What readings can say about a floor: the index is the outcome code.
FLOOR_OUTCOMES = (
    "known",
    "too few readings: take one along and one across, or heights at three points",
    "all readings lie along one line: the slope across it is unknown, so take one across",
)

#: How far the floor under a foot may be off the floor's plane, standard uncertainty. DIN 18202 Table 3 row 3 allows
#: 4 mm at 1 m, taken as plus or minus 2 mm, rectangular.
U_FLATNESS_MM = 2.0 / np.sqrt(3.0)

# Below this share of the largest possible determinant, directions or points are one line (0.1 degree apart).
_ONE_LINE = 1e-6
# Beyond these no floor and no tool goes, and the arithmetic stays finite.
_FAR_MM = 1e7
_SUREST = 1e-6


@dataclass(frozen=True)
class FloorPlane:
    """The plane of a floor on its plan, each field with the batch shape (...).

    ``gradient``, shape (..., 2) [mm/mm], rises toward the right and toward the top of the plan. ``covariance``,
    shape (..., 2, 2), is that of the gradient. ``misfit`` [1] is the rms of the residuals in units of their
    uncertainties (0 if nothing is left over): well above 1, the floor is no plane. ``outcome`` is the index into
    ``FLOOR_OUTCOMES``; where it is not 0 the numbers are 0 and mean nothing.
    """

    gradient: FloatArray
    covariance: FloatArray
    misfit: FloatArray
    outcome: CodeArray


@dataclass(frozen=True)
class Fall:
    """Where a floor falls, each field with the batch shape (...).

    ``slope_deg`` [degree] is the steepest fall, at least 0, ``direction_deg`` [degree clockwise from up] points
    downhill, 0 to 360. ``u_slope_deg`` and ``u_direction_deg`` [degree] are standard uncertainties; a direction
    as uncertain as 180 is none.
    """

    slope_deg: FloatArray
    direction_deg: FloatArray
    u_slope_deg: FloatArray
    u_direction_deg: FloatArray


@dataclass(frozen=True)
class BayFloor:
    """The floor as a machine in a bay meets it, in the machine's own frame, each with the batch shape (...).

    ``gx`` and ``gy`` [mm/mm]: the floor rises toward the player's right and toward the machine's rear.
    ``heights_mm``, shape (..., 4) [mm]: the floor under FL, FR, RL, RR above the bay's middle.
    ``covariance_mm2``, shape (..., 4, 4) [mm^2]: that of the heights. ``u_gx`` and ``u_gy`` [mm/mm] are standard
    uncertainties of the floor's plane alone. ``outcome`` is that of the floor.
    """

    gx: FloatArray
    gy: FloatArray
    u_gx: FloatArray
    u_gy: FloatArray
    heights_mm: FloatArray
    covariance_mm2: FloatArray
    outcome: CodeArray


def plane_from_slopes(
    *, slope_deg: ArrayLike, direction_deg: ArrayLike, u_deg: ArrayLike, used: ArrayLike = True
) -> FloorPlane:
    """Return the plane that fits slopes along directions best.

    Parameters
    ----------
    slope_deg : array_like, shape (..., m) [degree]
        Slopes, -45 to 45, positive where the floor rises toward the direction.
    direction_deg : array_like, shape (..., m) or () [degree]
        Direction of each, clockwise from up on the floor plan; see ``DIRECTIONS_DEG`` for words.
    u_deg : array_like, shape (..., m) or () [degree]
        Standard uncertainty of each slope, 0.000001 to 90.
    used : array_like of bool, shape (..., m) or () [yes or no]
        Leave a reading out of a row, so that rows with fewer readings fit in one batch.

    Returns
    -------
    FloorPlane, each shape (...)
        Gradient [mm/mm], its covariance, misfit and outcome code.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or there is no axis of readings.

    Notes
    -----
    Weighted least squares in gradients. If more than two readings disagree by more than they should, the
    covariance grows by misfit squared (Birge ratio); it never shrinks.

    Examples
    --------
    >>> # falls 0.6 degree toward the door, down on the plan, and rises 0.2 toward the right
    >>> plane = plane_from_slopes(slope_deg=[-0.6, 0.2], direction_deg=[180, 90], u_deg=0.05)
    >>> np.degrees(np.arctan(plane.gradient)).round(6).tolist(), FLOOR_OUTCOMES[plane.outcome]
    ([0.2, 0.6], 'known')

    References
    ----------
    Weighted least squares, derived in DEVELOPERS.md, Geometry. R. T. Birge, Physical Review 40 (1932) 207 (from
    memory).
    """
    slope = np.radians(_readings("slope_deg", finite("slope_deg", slope_deg, low=-45, high=45, unit="degrees")))
    direction = np.radians(finite("direction_deg", direction_deg, low=-3600, high=3600, unit="degrees"))
    u = np.radians(finite("u_deg", u_deg, low=_SUREST, high=90, unit="degrees"))
    slope, direction, u, keep = np.broadcast_arrays(slope, direction, u, flags("used", used))
    value = np.tan(slope)
    weight = keep / (u * (1 + value**2)) ** 2
    design = np.stack([np.sin(direction), np.cos(direction)], axis=-1)
    return _fit(design, value, weight, unknowns=2)


def plane_from_heights(
    *, points_mm: ArrayLike, heights_mm: ArrayLike, u_mm: ArrayLike, used: ArrayLike = True
) -> FloorPlane:
    """Return the plane that fits heights at points best: from a laser, a water level or a straightedge.

    Parameters
    ----------
    points_mm : array_like, shape (..., m, 2) [mm]
        Where each height was taken, (right, up) on the floor plan.
    heights_mm : array_like, shape (..., m) [mm]
        Heights of the floor, up positive, above any common level. A staff read from a laser line grows
        downward: give its readings with a minus.
    u_mm : array_like, shape (..., m) or () [mm]
        Standard uncertainty of each height, at least 0.000001.
    used : array_like of bool, shape (..., m) or () [yes or no]
        Leave a height out of a row, so that rows with fewer heights fit in one batch.

    Returns
    -------
    FloorPlane, each shape (...)
        Gradient [mm/mm], its covariance, misfit and outcome code.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or a shape is wrong.

    Notes
    -----
    Weighted least squares. Misfit and covariance as in ``plane_from_slopes``, with three unknowns.

    Examples
    --------
    >>> plane = plane_from_heights(
    ...     points_mm=[[0, 0], [4000, 0], [0, 3000]], heights_mm=[0, 8, -30], u_mm=1.0
    ... )
    >>> plane.gradient.round(9).tolist()
    [0.002, -0.01]

    References
    ----------
    Weighted least squares, derived in DEVELOPERS.md, Geometry.
    """
    points = last_axis(
        "points_mm", finite("points_mm", points_mm, low=-_FAR_MM, high=_FAR_MM, unit="mm"), 2, "right, up"
    )
    heights = _readings("heights_mm", finite("heights_mm", heights_mm, low=-_FAR_MM, high=_FAR_MM, unit="mm"))
    if points.ndim < 2 or points.shape[-2] != heights.shape[-1]:
        raise BadInput("points_mm", f"has shape {points.shape}", "Give one point for each height")
    u = finite("u_mm", u_mm, low=_SUREST, high=_FAR_MM, unit="mm")
    x, y, value, u, keep = np.broadcast_arrays(points[..., 0], points[..., 1], heights, u, flags("used", used))
    weight = keep / u**2
    total = weight.sum(axis=-1, keepdims=True)
    share = weight / np.where(total > 0, total, 1.0)
    # About the weighted middle the height drops out, and two unknowns are left to solve for.
    middle = [(share * part).sum(axis=-1, keepdims=True) for part in (x, y, value)]
    design = np.stack([x - middle[0], y - middle[1]], axis=-1)
    return _fit(design, value - middle[2], weight, unknowns=3)


def fall(plane: FloorPlane) -> Fall:
    """Return how steeply and where to the floor falls: the arrow on the floor plan.

    Parameters
    ----------
    plane : FloorPlane, each shape (...) [mm/mm]
        The floor.

    Returns
    -------
    Fall, each shape (...)
        Steepest slope [degree], downhill direction [degree clockwise from up], their uncertainties.

    Raises
    ------
    BadInput
        Never by itself: the floor was checked when it was made.

    Examples
    --------
    >>> arrow = fall(plane_from_slopes(slope_deg=[-0.6, 0.0], direction_deg=[180, 90], u_deg=0.05))
    >>> float(arrow.slope_deg), float(arrow.direction_deg), float(arrow.u_direction_deg)  # doctest: +NUMBER
    (0.6, 180.0, 4.77)

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    steep = np.hypot(plane.gradient[..., 0], plane.gradient[..., 1])
    level = steep == 0
    downhill = (0.0 - plane.gradient) / np.where(level, 1.0, steep)[..., None]
    across = np.stack([downhill[..., 1], -downhill[..., 0]], axis=-1)
    u_along, u_across = (_spread(plane.covariance, unit) for unit in (downhill, across))
    # A level floor falls nowhere: its slope is as uncertain as its worse direction.
    worst = np.sqrt(np.linalg.eigvalsh(plane.covariance)[..., -1].clip(min=0))
    turned = np.degrees(u_across / np.where(level, 1.0, steep))
    return Fall(
        slope_deg=np.degrees(np.arctan(steep)),
        direction_deg=np.degrees(np.arctan2(downhill[..., 0], downhill[..., 1])) % 360.0,
        u_slope_deg=np.degrees(np.where(level, worst, u_along) / (1 + steep**2)),
        u_direction_deg=np.where(level, 180.0, np.minimum(turned, 180.0)),
    )


def bay_floor(
    plane: FloorPlane, *, heading_deg: ArrayLike, feet_mm: ArrayLike, u_flatness_mm: ArrayLike = U_FLATNESS_MM
) -> BayFloor:
    """Return the floor in a machine's own frame, and its heights under the four feet, for any heading.

    Parameters
    ----------
    plane : FloorPlane, each shape (...) [mm/mm]
        The floor.
    heading_deg : array_like, shape (...) [degree]
        Where the machine's rear points, clockwise from up on the floor plan.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of FL, FR, RL, RR in the machine's frame.
    u_flatness_mm : array_like, shape (...) [mm]
        How far the floor under one foot may be off the plane, standard uncertainty, at least 0.

    Returns
    -------
    BayFloor, each shape (...)
        Gradients [mm/mm], heights above the bay's middle [mm], uncertainties, outcome code.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or a shape is wrong.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> plane = plane_from_slopes(slope_deg=[0.5, 0.2], direction_deg=[0, 90], u_deg=0.05)
    >>> feet = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
    >>> bay = bay_floor(plane, heading_deg=180, feet_mm=feet)  # turned round: both signs change
    >>> np.degrees(np.arctan([bay.gy, bay.gx])).round(6).tolist()
    [-0.5, -0.2]
    >>> bay.heights_mm.round(2).tolist()
    [6.65, 4.69, -4.69, -6.65]

    References
    ----------
    Derived in DEVELOPERS.md, Geometry. DIN 18202 Table 3 row 3 for ``u_flatness_mm``.
    """
    heading = np.radians(finite("heading_deg", heading_deg, low=-3600, high=3600, unit="degrees"))
    feet = last_axis("feet_mm", finite("feet_mm", feet_mm, unit="mm"), 2, "x, y")
    last_axis("feet_mm", feet[..., 0], 4, LEGS_MEANING)
    u_flat = finite("u_flatness_mm", u_flatness_mm, low=0, unit="mm")
    right = np.stack([np.cos(heading), -np.sin(heading)], axis=-1)
    rear = np.stack([np.sin(heading), np.cos(heading)], axis=-1)
    gx, gy = ((plane.gradient * unit).sum(axis=-1) for unit in (right, rear))
    own = feet - feet.mean(axis=-2, keepdims=True)
    on_plan = own[..., :1] * right[..., None, :] + own[..., 1:] * rear[..., None, :]
    covariance = on_plan @ plane.covariance @ np.swapaxes(on_plan, -1, -2)
    return BayFloor(
        gx=gx,
        gy=gy,
        u_gx=_spread(plane.covariance, right),
        u_gy=_spread(plane.covariance, rear),
        heights_mm=own[..., 0] * gx[..., None] + own[..., 1] * gy[..., None],
        covariance_mm2=covariance + (u_flat**2)[..., None, None] * np.eye(4),
        outcome=np.broadcast_to(plane.outcome, gx.shape),
    )


def _fit(design: FloatArray, value: FloatArray, weight: FloatArray, *, unknowns: int) -> FloorPlane:
    """Weighted least squares for two gradients, with outcome codes for rows that cannot tell."""
    normal = (design[..., :, None] * design[..., None, :] * weight[..., None, None]).sum(axis=-3)
    trace = normal[..., 0, 0] + normal[..., 1, 1]
    det = normal[..., 0, 0] * normal[..., 1, 1] - normal[..., 0, 1] ** 2
    count = (weight > 0).sum(axis=-1)
    outcome = np.select([count < unknowns, det <= _ONE_LINE * (trace / 2) ** 2], [1, 2], 0).astype(np.intp)
    known = outcome == 0
    safe = np.where(known[..., None, None], normal, np.eye(2))
    covariance = np.linalg.inv(safe) * known[..., None, None]
    moment = (design * (weight * value)[..., None]).sum(axis=-2)
    gradient = (covariance @ moment[..., None])[..., 0]
    residual = value - (design * gradient[..., None, :]).sum(axis=-1)
    freedom = np.maximum(count - unknowns, 0)
    misfit = np.sqrt((weight * residual**2).sum(axis=-1) / np.maximum(freedom, 1)) * (freedom > 0) * known
    grown = np.maximum(misfit, 1.0) ** 2
    return FloorPlane(gradient, covariance * grown[..., None, None], misfit, outcome)


def _spread(covariance: FloatArray, unit: FloatArray) -> FloatArray:
    """Standard uncertainty of a gradient along a unit vector."""
    return np.sqrt(np.maximum((unit[..., None, :] @ covariance @ unit[..., :, None])[..., 0, 0], 0.0))


def _readings(name: str, array: FloatArray) -> FloatArray:
    if array.ndim == 0:
        raise BadInput(name, "is a single number", "Give the readings on the last axis")
    return array
