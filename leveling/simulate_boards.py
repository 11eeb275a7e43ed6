"""Simulated boards: a playfield that is nearly a plane, and what a level finds at a spot of it.

      z = rise of the plane + bow along + bow across + board twist + short waves

         ____level____            A level stands on two feet, ``base_mm`` apart: it sees the chord between them.
    ~~~~o~~~~~~~~~~~~~o~~~~       Short waves fade under a long base, the bow does not.
         <-- base -->

The truth that a survey is asked for is the least-squares plane of the whole board. Every number is drawn from the
``rng`` passed in. Sizes are common practice, no source.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import spherical_jn

from leveling.checks import FloatArray, finite, last_axis
from leveling.simulate_floors import counted

#: Width and length of a playfield. Common practice, no source.
BOARD_MM = (510.0, 1070.0)

#: Lengths of the short waves of a board. Common practice, no source.
WAVES_MM = (200.0, 600.0)

_WAVES = 4


@dataclass(frozen=True)
class Boards:
    """Boards as they truly are, about their middle; each field with the batch shape (...).

    ``pitch_deg`` and ``roll_deg`` [degree] of the board's least-squares plane. ``bow_along_mm``, ``bow_across_mm``
    [mm]: how far the middle stands above the ends. ``twist_mm`` [mm]: how far the rear right corner stands above
    where a flat board would have it. Waves: ``wave_mm``, shape (..., k) [mm], amplitudes; ``wave_per_mm``,
    shape (..., k, 2) [radian/mm], wave vectors; ``phase_rad``, shape (..., k) [radian].
    """

    pitch_deg: FloatArray
    roll_deg: FloatArray
    bow_along_mm: FloatArray
    bow_across_mm: FloatArray
    twist_mm: FloatArray
    wave_mm: FloatArray
    wave_per_mm: FloatArray
    phase_rad: FloatArray


def make_boards(
    *,
    rng: np.random.Generator,
    pitch_deg: ArrayLike,
    roll_deg: ArrayLike,
    bow_mm: float = 0.5,
    wave_mm: float = 0.02,
) -> Boards:
    """Return random boards whose least-squares planes have the wanted pitch and roll.

    Parameters
    ----------
    rng : numpy.random.Generator, scalar [random numbers]
        Where the numbers come from.
    pitch_deg, roll_deg : array_like, shape (n,) [degree]
        True slopes of the boards, -45 to 45.
    bow_mm : float, scalar [mm]
        Standard deviation of the bow along, 0 to 50. Bow across and twist have half of it.
    wave_mm : float, scalar [mm]
        Standard deviation of the amplitude of each of four waves 200 to 600 mm long, 0 to 5.

    Returns
    -------
    Boards, each shape (n, ...) [degree, mm, radian/mm, radian]
        The boards.

    Raises
    ------
    BadInput
        If a number is not finite or out of range.

    Examples
    --------
    >>> boards = make_boards(rng=np.random.default_rng(1), pitch_deg=[6.5, 6.0], roll_deg=[0.1, -0.2])
    >>> boards.wave_per_mm.shape
    (2, 4, 2)

    References
    ----------
    Sizes: common practice, no source.
    """
    pitch = finite("pitch_deg", pitch_deg, low=-45, high=45, unit="degrees")
    roll = finite("roll_deg", roll_deg, low=-45, high=45, unit="degrees")
    pitch, roll = np.broadcast_arrays(pitch, roll)
    n = counted(pitch.size)
    bow = finite("bow_mm", bow_mm, low=0, high=50, unit="mm")
    wave = finite("wave_mm", wave_mm, low=0, high=5, unit="mm")
    toward = rng.uniform(0, 2 * np.pi, (n, _WAVES))
    length = rng.uniform(*WAVES_MM, (n, _WAVES))
    return Boards(
        pitch_deg=pitch,
        roll_deg=roll,
        bow_along_mm=rng.normal(0, 1, n) * bow,
        bow_across_mm=rng.normal(0, 0.5, n) * bow,
        twist_mm=rng.normal(0, 0.5, n) * bow,
        wave_mm=rng.normal(0, 1, (n, _WAVES)) * wave,
        wave_per_mm=(2 * np.pi / length)[..., None] * np.stack([np.cos(toward), np.sin(toward)], axis=-1),
        phase_rad=rng.uniform(0, 2 * np.pi, (n, _WAVES)),
    )


def board_heights(boards: Boards, spots_mm: ArrayLike) -> FloatArray:
    """Return how high a board stands at spots, from the board's least-squares plane through its middle.

    Parameters
    ----------
    boards : Boards, each shape (..., ...) [degree, mm, radian]
        The boards.
    spots_mm : array_like, shape (..., k, 2) [mm]
        Spots from the middle of the board, x to the right and y to the rear.

    Returns
    -------
    ndarray, shape (..., k) [mm]
        Height over a level plane, up positive; the least-squares plane of the whole board has the board's
        pitch and roll.

    Raises
    ------
    BadInput
        If a number is not finite or the shape is wrong.

    Notes
    -----
    Bow and twist leave the least-squares plane alone. A wave does not: its own plane is taken out.

    Examples
    --------
    >>> boards = make_boards(rng=np.random.default_rng(1), pitch_deg=[45.0], roll_deg=[0.0], bow_mm=0, wave_mm=0)
    >>> board_heights(boards, [[0.0, 0.0], [0.0, 100.0]]).tolist()  # doctest: +NUMBER
    [[0.0, 100.0]]

    References
    ----------
    Least squares of a plane, derived in DEVELOPERS.md, Geometry.
    """
    spots = last_axis("spots_mm", finite("spots_mm", spots_mm, low=-1e4, high=1e4, unit="mm"), 2, "x, y")
    right, rear = 2 * spots[..., 0] / BOARD_MM[0], 2 * spots[..., 1] / BOARD_MM[1]
    shape = (
        boards.bow_along_mm[..., None] * (1 / 3 - rear**2)
        + boards.bow_across_mm[..., None] * (1 / 3 - right**2)
        + boards.twist_mm[..., None] * right * rear
    )
    gx = np.tan(np.radians(boards.roll_deg)) - _wave_slope(boards, 0)
    gy = np.tan(np.radians(boards.pitch_deg)) - _wave_slope(boards, 1)
    return gx[..., None] * spots[..., 0] + gy[..., None] * spots[..., 1] + shape + _waves(boards, spots)


def local_slopes(*, boards: Boards, spots_mm: ArrayLike, base_mm: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return the pitch and the roll that a level's two feet find at spots.

    Parameters
    ----------
    boards : Boards, each shape (..., ...) [degree, mm, radian]
        The boards.
    spots_mm : array_like, shape (..., k, 2) [mm]
        Middle of the level, from the middle of the board.
    base_mm : array_like, shape (...) [mm]
        Distance of the level's feet, above 0.

    Returns
    -------
    tuple of ndarray, each shape (..., k) [degree]
        Local pitch and roll, to be read with ``read_level`` as if the board were that plane.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or a shape is wrong.

    Examples
    --------
    >>> boards = make_boards(rng=np.random.default_rng(1), pitch_deg=[6.5], roll_deg=[0.2], bow_mm=0, wave_mm=0)
    >>> [slope.round(9).tolist() for slope in local_slopes(boards=boards, spots_mm=[[0.0, 0.0]], base_mm=300)]
    [[[6.5]], [[0.2]]]

    References
    ----------
    Chord between two feet, derived in DEVELOPERS.md, Geometry.
    """
    spots = last_axis("spots_mm", finite("spots_mm", spots_mm, low=-1e4, high=1e4, unit="mm"), 2, "x, y")
    base = finite("base_mm", base_mm, low=0, above=True, unit="mm")[..., None]
    slopes = []
    for direction in ((0.0, 1.0), (1.0, 0.0)):
        half = base[..., None] / 2 * np.array(direction)
        rise = board_heights(boards, spots + half) - board_heights(boards, spots - half)
        slopes.append(np.degrees(np.arctan(rise / base)))
    return slopes[0], slopes[1]


def _waves(boards: Boards, spots: FloatArray) -> FloatArray:
    """Height of the short waves at spots."""
    place = (spots[..., :, None, :] * boards.wave_per_mm[..., None, :, :]).sum(axis=-1)
    return (boards.wave_mm[..., None, :] * np.sin(place + boards.phase_rad[..., None, :])).sum(axis=-1)


def _wave_slope(boards: Boards, axis: int) -> FloatArray:
    """Slope along x or y of the least-squares plane of the waves over the board."""
    own, other = (boards.wave_per_mm[..., side] * BOARD_MM[side] / 2 for side in (axis, 1 - axis))
    # over -a to a: the mean of x sin(q x) is a j1(q a), that of x^2 is a^2/3, that of cos(q y) is j0(q b)
    per_mm = 3 * spherical_jn(1, own) * spherical_jn(0, other) / (BOARD_MM[axis] / 2)
    return (boards.wave_mm * np.cos(boards.phase_rad) * per_mm).sum(axis=-1)
