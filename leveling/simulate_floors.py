"""Simulated floors: nearly planes, and how the heights under the feet move with time.

      floor under a foot = slope . place + a few long waves

Every number is drawn from the ``rng`` passed in.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite, last_axis
from leveling.errors import BadInput

_WAVES = 3


@dataclass(frozen=True)
class Floors:
    """Floors that are nearly planes, each field with the batch shape (...).

    ``gradient``, shape (..., 2) [mm/mm], rises toward the right and the top of the floor plan. Waves: ``wave_mm``,
    shape (..., k) [mm], amplitudes; ``wave_per_mm``, shape (..., k, 2) [radian/mm], wave vectors; ``phase_rad``,
    shape (..., k) [radian].
    """

    gradient: FloatArray
    wave_mm: FloatArray
    wave_per_mm: FloatArray
    phase_rad: FloatArray


def make_floors(*, rng: np.random.Generator, count: int, slope_deg: float = 0.5, wave_mm: float = 0.7) -> Floors:
    """Return random floors.

    Parameters
    ----------
    rng : numpy.random.Generator, scalar [random numbers]
        Where the numbers come from.
    count : int, scalar [floors]
        How many, at least 0.
    slope_deg : float, scalar [degree]
        Standard deviation of the slope, 0 to 5; the fall goes anywhere.
    wave_mm : float, scalar [mm]
        Standard deviation of the amplitude of each of three waves 1.5 to 6 m long, 0 to 50.

    Returns
    -------
    Floors, each shape (count, ...) [mm/mm, mm, radian]
        The floors.

    Raises
    ------
    BadInput
        If a number is not finite or out of range.

    Examples
    --------
    >>> make_floors(rng=np.random.default_rng(1), count=3).gradient.shape
    (3, 2)

    References
    ----------
    Slopes: common practice, no source. Waves stay near the 4 mm at 1 m of DIN 18202 Table 3 row 3.
    """
    n = counted(count)
    slope = np.radians(rng.normal(0, finite("slope_deg", slope_deg, low=0, high=5), n))
    toward = rng.uniform(0, 2 * np.pi, n)
    length = rng.uniform(1500, 6000, (n, _WAVES))
    heading = rng.uniform(0, 2 * np.pi, (n, _WAVES))
    return Floors(
        gradient=np.tan(slope)[:, None] * np.stack([np.sin(toward), np.cos(toward)], axis=-1),
        wave_mm=rng.normal(0, finite("wave_mm", wave_mm, low=0, high=50), (n, _WAVES)),
        wave_per_mm=(2 * np.pi / length)[..., None] * np.stack([np.sin(heading), np.cos(heading)], axis=-1),
        phase_rad=rng.uniform(0, 2 * np.pi, (n, _WAVES)),
    )


def floor_heights(
    *, floors: Floors, feet_mm: ArrayLike, centre_mm: ArrayLike = (0.0, 0.0), heading_deg: ArrayLike = 0.0
) -> FloatArray:
    """Return the true height of the floor under a machine's feet, waves and all.

    Parameters
    ----------
    floors : Floors, each shape (..., ...) [mm/mm, mm, radian]
        The floors.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of FL, FR, RL, RR in the machine's frame.
    centre_mm : array_like, shape (..., 2) [mm]
        Middle of the bay, (right, up) on the floor plan.
    heading_deg : array_like, shape (...) [degree]
        Where the machine's rear points, clockwise from up.

    Returns
    -------
    ndarray, shape (..., 4) [mm]
        Height of the floor under FL, FR, RL, RR.

    Raises
    ------
    BadInput
        If a number is not finite or a shape is wrong.

    Examples
    --------
    >>> flat = Floors(np.array([0.0, 0.01]), np.zeros(3), np.zeros((3, 2)), np.zeros(3))
    >>> from leveling.frame import foot_positions
    >>> feet = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
    >>> floor_heights(floors=flat, feet_mm=feet).tolist()
    [-6.5, -6.5, 6.5, 6.5]

    References
    ----------
    Heading as in ``floors``; derived in DEVELOPERS.md, Geometry.
    """
    feet = last_axis("feet_mm", finite("feet_mm", feet_mm, unit="mm"), 2, "x, y")
    centre = last_axis("centre_mm", finite("centre_mm", centre_mm, unit="mm"), 2, "right, up")
    heading = np.radians(finite("heading_deg", heading_deg, unit="degrees"))[..., None]
    own = feet - feet.mean(axis=-2, keepdims=True)
    right = own[..., 0] * np.cos(heading) + own[..., 1] * np.sin(heading) + centre[..., :1]
    up = own[..., 1] * np.cos(heading) - own[..., 0] * np.sin(heading) + centre[..., 1:]
    points = np.stack([right, up], axis=-1)
    plane = (points * floors.gradient[..., None, :]).sum(axis=-1)
    angle = (points[..., :, None, :] * floors.wave_per_mm[..., None, :, :]).sum(axis=-1)
    waves = floors.wave_mm[..., None, :] * np.sin(angle + floors.phase_rad[..., None, :])
    return plane + waves.sum(axis=-1)


def drifted(
    *,
    rng: np.random.Generator,
    count: int,
    days: ArrayLike,
    creep_mm: float = 0.02,
    jumps_per_year: float = 1.5,
    jump_mm: float = 1.0,
) -> FloatArray:
    """Return how far each foot's height moved since the first day: a slow walk and sudden jumps.

    Parameters
    ----------
    rng : numpy.random.Generator, scalar [random numbers]
        Where the numbers come from.
    count : int, scalar [machines]
        How many, at least 0.
    days : array_like, shape (t,) [day]
        Dates as days, not decreasing, at least one.
    creep_mm : float, scalar [mm per square root of a day]
        Standard deviation of the walk of each foot, at least 0: feet sink, wood moves.
    jumps_per_year : float, scalar [1/year]
        How often a machine is shoved or a foot walks, at least 0.
    jump_mm : float, scalar [mm]
        Standard deviation of the change at the foot that moved, at least 0.

    Returns
    -------
    ndarray, shape (count, t, 4) [mm]
        Changes of the heights of FL, FR, RL, RR; 0 on the first day.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the days go back.

    Examples
    --------
    >>> moved = drifted(rng=np.random.default_rng(1), count=3, days=[0, 90, 400])
    >>> moved.shape, moved[:, 0].tolist()[0]
    ((3, 3, 4), [0.0, 0.0, 0.0, 0.0])

    References
    ----------
    Sizes: common practice, no source.
    """
    n, when = counted(count), finite("days", days, unit="days")
    if when.ndim != 1 or when.size == 0 or (np.diff(when) < 0).any():
        raise BadInput("days", "is no list of dates in order", "Give one or more days, earliest first")
    gaps = np.diff(when, prepend=when[:1])
    creep, size = finite("creep_mm", creep_mm, low=0), finite("jump_mm", jump_mm, low=0)
    rate = finite("jumps_per_year", jumps_per_year, low=0, high=1000)
    walk = rng.normal(0, 1, (n, when.size, 4)) * creep * np.sqrt(gaps)[:, None]
    # Each jump moves one foot: four feet with a quarter of the rate each.
    jumps = rng.poisson(rate * gaps[:, None] / 365.25 / 4, (n, when.size, 4))
    return np.cumsum(walk + rng.normal(0, 1, jumps.shape) * size * np.sqrt(jumps), axis=1)


def counted(count: int) -> int:
    """Return ``count`` if it is a whole number of things to draw.

    Parameters
    ----------
    count : int, scalar [count]
        How many, at least 0.

    Returns
    -------
    int, scalar [count]
        The same number.

    Raises
    ------
    BadInput
        If it is no whole number or below 0.

    Examples
    --------
    >>> counted(3)
    3

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    if isinstance(count, bool) or not isinstance(count, int) or count < 0:
        raise BadInput("count", f"is {count!r}", "Give a whole number, 0 or more")
    return count
