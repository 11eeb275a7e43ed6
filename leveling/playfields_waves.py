"""Board wave: what a spot of the board differs from the board's plane, as a part of each reading's uncertainty.

          ___spot___                 bow and twist of the board: the longer slope at a spot, whatever the base
     ____/          \\____           short waves: they fade under a long base
    /   ^ plane of the board \\

The plane that a survey is after is the least-squares plane of the whole board. A reading elsewhere on the board
meets another part of the wave, so it averages over spots; taken at the same spot again it comes back whole.
"""

from dataclasses import dataclass, field, fields
from functools import partial

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import j0

from leveling.checks import FloatArray, finite, last_axis
from leveling.checks_shapes import flags, together
from leveling.errors import BadInput


@dataclass(frozen=True)
class Board:
    """How uneven a board is, each field shape (...). The defaults are common practice, no source.

    Attributes: ``length_mm``, ``width_mm`` [mm] of the board, above 0. ``bow_along_mm``, ``bow_across_mm`` [mm]
    standard uncertainty of how far the middle stands above the ends, 0 or more. ``twist_mm`` [mm] the same of how
    far a corner stands off the plane. ``wave_mm`` [mm] root mean square height of the short waves, 0 or more.
    ``wave_length_mm`` [mm] their typical length, above 0.

    Raises BadInput if a field is not finite or out of its range.
    """

    length_mm: FloatArray = field(default_factory=partial(np.full, (), 1070.0))
    width_mm: FloatArray = field(default_factory=partial(np.full, (), 510.0))
    bow_along_mm: FloatArray = field(default_factory=partial(np.full, (), 0.5))
    bow_across_mm: FloatArray = field(default_factory=partial(np.full, (), 0.25))
    twist_mm: FloatArray = field(default_factory=partial(np.full, (), 0.25))
    wave_mm: FloatArray = field(default_factory=partial(np.full, (), 0.03))
    wave_length_mm: FloatArray = field(default_factory=partial(np.full, (), 350.0))

    def __post_init__(self) -> None:
        for item in fields(self):
            above = item.name in ("length_mm", "width_mm", "wave_length_mm")
            value = finite(item.name, getattr(self, item.name), low=0, above=above, unit="mm")
            object.__setattr__(self, item.name, value)


PLAIN_BOARD = Board()


def u_wave_deg(*, base_mm: ArrayLike, along: ArrayLike, board: Board = PLAIN_BOARD) -> FloatArray:
    """Return how far the slope at one spot is from the board's plane, for a level with this base.

    Parameters
    ----------
    base_mm : array_like, shape (...) [mm]
        Distance between the level's feet or the ends of its base, above 0 and shorter than the board.
    along : array_like of bool, shape (...) [yes or no]
        Laid along the playfield, not across.
    board : Board, each field shape (...) [mm]
        How uneven the board is.

    Returns
    -------
    ndarray, shape (...) [degree]
        Standard uncertainty of one reading at a spot anywhere on the board.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, the level is longer than the board, or the shapes do not fit.

    Notes
    -----
    With D the board's length in the level's direction, L the base and the spot anywhere: bow s slopes by 8 s y/D^2 at
    y from the middle; twist t slopes by 2 t/D at the far edge; waves of rms height w and length l, running any
    way, slope by w sqrt 2 sqrt(1 - J0(2 pi L/l))/L under two feet.

    Examples
    --------
    >>> u_wave_deg(base_mm=[100, 400], along=True).tolist()  # doctest: +NUMBER
    [0.0614, 0.0420]

    References
    ----------
    Derived in DEVELOPERS.md, Geometry. Sizes: common practice, no source.
    """
    base, lengthwise, length, width, bow_along, bow_across, twist, wave, wave_length = together(
        base_mm=finite("base_mm", base_mm, low=0, above=True, unit="mm"),
        along=flags("along", along),
        **{item.name: getattr(board, item.name) for item in fields(board)},
    )
    side = np.where(lengthwise, length, width)
    if (base >= side).any():
        raise BadInput("base_mm", "is as long as the board", "Give a level that lies on the board")
    bow = np.where(lengthwise, bow_along, bow_across)
    of_bow = 8 * bow * (side - base) / 2 / np.sqrt(3) / side**2
    of_twist = 2 * twist / side / np.sqrt(3)
    of_wave = wave * np.sqrt(2 * (1 - j0(2 * np.pi * base / wave_length))) / base
    return np.degrees(np.sqrt(of_bow**2 + of_twist**2 + of_wave**2))


def spot_waves_deg(
    *, wave_deg: ArrayLike, spots_mm: ArrayLike, along: ArrayLike, used: ArrayLike = True, near_mm: float = 30.0
) -> FloatArray:
    """Return the wave part of each reading, larger where several share one spot, since they share its wave.

    Parameters
    ----------
    wave_deg : array_like, shape (..., k) [degree]
        What ``u_wave_deg`` says for each reading, 0 or more.
    spots_mm : array_like, shape (..., k, 2) [mm]
        Where each was taken, x to the right and y to the rear.
    along : array_like of bool, shape (..., k) [yes or no]
        Taken along the playfield, not across.
    used : array_like of bool, shape (..., k) [yes or no]
        False for padding and for readings left out.
    near_mm : float, scalar [mm]
        Spots of one direction that are nearer than this count as one, 0 or more. Common practice, no source.

    Returns
    -------
    ndarray, shape (..., k) [degree]
        ``wave_deg`` times the root of how many readings share the spot: m of them average to ``wave_deg`` again.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the shapes do not fit.

    Examples
    --------
    >>> spot_waves_deg(wave_deg=0.05, spots_mm=[[0, 0], [0, 0], [0, 500]], along=[True, True, True]).round(4).tolist()
    [0.0707, 0.0707, 0.05]

    References
    ----------
    JCGM 100:2008 (GUM), 5.2.2: errors that are shared add up and do not average.
    """
    near = finite("near_mm", near_mm, low=0, unit="mm")
    spots = last_axis("spots_mm", finite("spots_mm", spots_mm, low=-1e6, high=1e6, unit="mm"), 2, "x, y")
    wave, x, y, lengthwise, wanted = together(
        wave_deg=finite("wave_deg", wave_deg, low=0, high=90, unit="degrees"),
        spots_x=spots[..., 0],
        spots_y=spots[..., 1],
        along=flags("along", along),
        used=flags("used", used),
    )
    apart = np.hypot(x[..., :, None] - x[..., None, :], y[..., :, None] - y[..., None, :])
    shared = (apart <= near) & (lengthwise[..., :, None] == lengthwise[..., None, :]) & wanted[..., None, :]
    return wave * np.sqrt(np.maximum(shared.sum(axis=-1), 1))
