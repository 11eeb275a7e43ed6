"""The frame: where the four feet stand, and what four heights mean.

            rear                z up, out of the page
      RL ---------- RR   y = B
       |            |           height  h    mean of the plane at the feet's centroid
       |     y      |           pitch   atan gy, positive = rear higher
       |     ^      |           roll    atan gx, positive = right side higher
       |     +-> x  |           twist   n . z, n the null vector of [1 x y]
      FL ---------- FR   y = 0          (rectangle: n = (1, -1, -1, 1)/4)
           player

Four heights split exactly into the least-squares plane (height, pitch, roll) and the one mode left, twist.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite, last_axis
from leveling.errors import BadInput

LEGS = ("FL", "FR", "RL", "RR")
LEGS_MEANING = "FL, FR, RL, RR"


@dataclass(frozen=True)
class Modes:
    """What four foot heights mean, each with the batch shape (...).

    ``gx`` and ``gy`` are the plane's gradients [mm/mm]: right side higher and rear higher are positive.
    ``height_mm`` is the mean of the four heights. ``twist_mm`` is positive when FL and RR stand too tall.
    """

    height_mm: FloatArray
    gx: FloatArray
    gy: FloatArray
    twist_mm: FloatArray

    @property
    def pitch_deg(self) -> FloatArray:
        """Pitch [degree], positive = rear higher."""
        return np.degrees(np.arctan(self.gy))

    @property
    def roll_deg(self) -> FloatArray:
        """Roll [degree], positive = right side higher."""
        return np.degrees(np.arctan(self.gx))


def foot_positions(*, track_front_mm: ArrayLike, track_rear_mm: ArrayLike, base_mm: ArrayLike) -> FloatArray:
    """Return where the four feet stand, seen from above.

    Parameters
    ----------
    track_front_mm, track_rear_mm : array_like, shape (...) [mm]
        Left to right distance of the front and of the rear feet, foot centre to foot centre, above 0.
    base_mm : array_like, shape (...) [mm]
        Front to rear distance, foot centre to foot centre, above 0.

    Returns
    -------
    ndarray, shape (..., 4, 2) [mm]
        x to the player's right and y to the rear, legs FL, FR, RL, RR.

    Raises
    ------
    BadInput
        If a length is not finite or not above zero.

    Examples
    --------
    >>> foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300).tolist()
    [[-280.0, 0.0], [280.0, 0.0], [-280.0, 1300.0], [280.0, 1300.0]]

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    front = finite("track_front_mm", track_front_mm, low=0, above=True, unit="mm") / 2
    rear = finite("track_rear_mm", track_rear_mm, low=0, above=True, unit="mm") / 2
    base = finite("base_mm", base_mm, low=0, above=True, unit="mm")
    front, rear, base = np.broadcast_arrays(front, rear, base)
    zero = np.zeros_like(base)
    x = np.stack([-front, front, -rear, rear], axis=-1)
    y = np.stack([zero, zero, base, base], axis=-1)
    return np.stack([x, y], axis=-1)


def null_vector(feet_mm: ArrayLike) -> FloatArray:
    """Return n with n . z = twist, for four feet anywhere that no three are in line.

    Parameters
    ----------
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of FL, FR, RL, RR.

    Returns
    -------
    ndarray, shape (..., 4) [1]
        The null vector of [1 x y], its absolute entries adding to 1, positive at FL.

    Raises
    ------
    BadInput
        If a position is not finite, the shape is wrong, or three feet are in line.

    Examples
    --------
    >>> null_vector(foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)).tolist()
    [0.25, -0.25, -0.25, 0.25]

    Notes
    -----
    By Cramer's rule each entry is the signed area of the triangle of the other three feet.

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    feet = _feet(feet_mm)
    fl, fr, rl, rr = (feet[..., i, :] for i in range(4))
    entries = np.stack([_area(fr, rl, rr), -_area(fl, rl, rr), _area(fl, fr, rr), -_area(fl, fr, rl)], axis=-1)
    size = np.abs(entries).sum(axis=-1, keepdims=True)
    if (np.abs(entries) < 1e-9 * size).any() or (size == 0).any():
        raise BadInput("feet_mm", "puts three feet in one line", "Give four feet, no three of them in line")
    return entries / size * np.sign(entries[..., :1])


def heights_to_modes(heights_mm: ArrayLike, feet_mm: ArrayLike) -> Modes:
    """Split four foot heights into the plane through them and the twist left over.

    Parameters
    ----------
    heights_mm : array_like, shape (..., 4) [mm]
        Heights of FL, FR, RL, RR above any common level, up positive.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of the feet.

    Returns
    -------
    Modes, each shape (...)
        Mean height [mm], gradients [mm/mm], twist [mm].

    Raises
    ------
    BadInput
        If a number is not finite, a shape is wrong, or three feet are in line.

    Examples
    --------
    >>> feet = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
    >>> modes = heights_to_modes([0, 0, 1.5875, 1.5875], feet)  # one turn out on both rear levelers
    >>> float(modes.pitch_deg), float(modes.roll_deg), float(modes.twist_mm)  # doctest: +NUMBER
    (0.06997, 0.0, 0.0)

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    feet = _feet(feet_mm)
    z = last_axis("heights_mm", finite("heights_mm", heights_mm, unit="mm"), 4, LEGS_MEANING)
    response = plane_response(feet)
    return Modes(
        height_mm=z.mean(axis=-1),
        gx=(response[..., 0, :] * z).sum(axis=-1),
        gy=(response[..., 1, :] * z).sum(axis=-1),
        twist_mm=(null_vector(feet) * z).sum(axis=-1),
    )


def modes_to_heights(modes: Modes, feet_mm: ArrayLike) -> FloatArray:
    """Return the four foot heights that have these modes: the inverse of ``heights_to_modes``.

    Parameters
    ----------
    modes : Modes, each shape (...) [mm, mm/mm]
        Mean height, gradients and twist.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of the feet.

    Returns
    -------
    ndarray, shape (..., 4) [mm]
        Heights of FL, FR, RL, RR.

    Raises
    ------
    BadInput
        If a number is not finite, a shape is wrong, or three feet are in line.

    Examples
    --------
    >>> feet = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
    >>> modes_to_heights(heights_to_modes([1, 2, 3, 5], feet), feet).tolist()  # doctest: +NUMBER
    [1.0, 2.0, 3.0, 5.0]

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    feet = _feet(feet_mm)
    null = null_vector(feet)
    shape = null / (null**2).sum(axis=-1, keepdims=True)
    centred = feet - feet.mean(axis=-2, keepdims=True)
    parts = [finite(name, getattr(modes, name))[..., None] for name in ("height_mm", "gx", "gy", "twist_mm")]
    height, gx, gy, twist = parts
    return height + gx * centred[..., 0] + gy * centred[..., 1] + twist * shape


def plane_response(feet_mm: ArrayLike) -> FloatArray:
    """Return how the least-squares plane's gradients change per mm at each foot.

    Parameters
    ----------
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of FL, FR, RL, RR.

    Returns
    -------
    ndarray, shape (..., 2, 4) [1/mm]
        Row 0 for gx (right side higher), row 1 for gy (rear higher); legs FL, FR, RL, RR.

    Raises
    ------
    BadInput
        If a position is not finite, the shape is wrong, or the feet are in one line.

    Examples
    --------
    >>> feet = foot_positions(track_front_mm=500, track_rear_mm=500, base_mm=1000)
    >>> plane_response(feet).tolist()
    [[-0.001, 0.001, -0.001, 0.001], [-0.0005, -0.0005, 0.0005, 0.0005]]

    References
    ----------
    Least squares of a plane, derived in DEVELOPERS.md, Geometry.
    """
    feet = _feet(feet_mm)
    centred = feet - feet.mean(axis=-2, keepdims=True)
    x, y = centred[..., 0], centred[..., 1]
    xx, xy, yy = (x * x).sum(-1), (x * y).sum(-1), (y * y).sum(-1)
    det = xx * yy - xy * xy
    if (det <= 1e-12 * xx * yy).any():
        raise BadInput("feet_mm", "puts all feet in one line", "Give four feet, no three of them in line")
    gx = (yy[..., None] * x - xy[..., None] * y) / det[..., None]
    gy = (xx[..., None] * y - xy[..., None] * x) / det[..., None]
    return np.stack([gx, gy], axis=-2)


def _feet(feet_mm: ArrayLike) -> FloatArray:
    feet = last_axis("feet_mm", finite("feet_mm", feet_mm, unit="mm"), 2, "x, y")
    last_axis("feet_mm", feet[..., 0], 4, LEGS_MEANING)
    return feet


def _area(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """Twice the signed area of triangle abc."""
    ab, ac = b - a, c - a
    return ab[..., 0] * ac[..., 1] - ab[..., 1] * ac[..., 0]
