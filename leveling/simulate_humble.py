"""Simulate people with humble tools: a bubble, angle blocks under it, a ball with a watch, a film and a ruler.

    bubble   a vial curved with radius R: at an elevation e its bubble runs R tan e uphill; a person sees it off the
             middle once it has moved far enough, and that distance is not the same at every look
    block    a wedge on the playfield: the board's direction turned down by the wedge's true angle
    ball     a solid ball (2/5 m r^2) that rolls: from rest straight down the steepest line

Every number is drawn from the ``rng`` passed in. Directions are vectors in space; nothing here uses the formulas of
``instruments`` or ``ballroll``, so that each can test the other.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import BoolArray, IntArray, flags, together

_SPIN_OF_SOLID_BALL = 2 / 5  # moment of inertia over m r^2
_STEEPEST_DEG = 60.0


@dataclass(frozen=True)
class Vials:
    """Bubbles as they truly are, and their users, each field shape (...).

    Attributes: ``radius_mm`` [mm] curvature. ``seen_mm`` [mm] how far from the middle a person first sees it.
    ``seen_spread`` [1] standard deviation of that from look to look, as a share. ``own_error_deg`` [degree] elevation
    at which it stands in the middle, the usual way round. ``turn_limit_deg`` [degree] it is laid down turned by up to
    this, rectangular. ``wave_deg`` [degree] standard deviation of the surface under it from place to place.
    """

    radius_mm: FloatArray
    seen_mm: FloatArray
    seen_spread: FloatArray
    own_error_deg: FloatArray
    turn_limit_deg: FloatArray
    wave_deg: FloatArray


@dataclass(frozen=True)
class BlockLooks:
    """Blocks in the order a person tried them, each field shape (..., k).

    Attributes: ``block`` [index] which of the set, 0 where not looked. ``high_end`` [words] "rear", "front", "level" or
    "not looked".
    """

    block: IntArray
    high_end: np.ndarray


@dataclass(frozen=True)
class Runs:
    """Runs as they truly are, each field shape (...).

    Attributes: ``run_mm`` [mm] true length from mark to finish line. ``release_mm`` [mm] the ball is let go up to this
    far off the mark, lengthwise and sideways, rectangular. ``run_turn_deg`` [degree] direction of the run against the
    playfield's own length, anticlockwise seen from above. ``drag`` [1] rolling friction over the normal force.
    """

    run_mm: FloatArray
    release_mm: FloatArray
    run_turn_deg: FloatArray
    drag: FloatArray


@dataclass(frozen=True)
class Rolled:
    """What a ball truly did, each field shape (...).

    Attributes: ``time_s`` [s] from letting go to the finish line. ``wander_mm`` [mm] where it crossed the line,
    positive = left of the run.
    """

    time_s: FloatArray
    wander_mm: FloatArray


def bubble_looks(
    *,
    rng: np.random.Generator,
    pitch_deg: ArrayLike,
    roll_deg: ArrayLike,
    along: ArrayLike,
    vials: Vials,
    turned: ArrayLike,
) -> np.ndarray:
    """Return what people say who lay a bubble down k times.

    Parameters
    ----------
    rng : numpy.random.Generator, scalar [random numbers]
        Where the numbers come from.
    pitch_deg, roll_deg : array_like, shape (...) [degree]
        True slopes of the board, -60 to 60.
    along : array_like of bool, shape (...) [yes or no]
        Laid along (front to rear), not across.
    vials : Vials, each field shape (...) [mm, degree]
        The bubbles.
    turned : array_like of bool, shape (..., k) [yes or no]
        Laid end for end at each of the k looks.

    Returns
    -------
    ndarray of str, shape (..., k) [words]
        "level", or the end that looked high: "rear" or "front" along, "right" or "left" across.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the shapes do not fit.

    Examples
    --------
    >>> sharp = Vials(*(np.array(v) for v in (500.0, 1.0, 0.0, 0.0, 0.0, 0.0)))
    >>> rng = np.random.default_rng(1)
    >>> bubble_looks(rng=rng, pitch_deg=6.5, roll_deg=[-0.3, 0, 0.3], along=False, vials=sharp, turned=[False]).tolist()
    [['left'], ['level'], ['right']]

    References
    ----------
    A bubble stands at the highest point of a circular arc; vectors derived in DEVELOPERS.md, Geometry.
    """
    turn, lengthwise = together(turned=flags("turned", turned), along=flags("along", along)[..., None])
    rear, right, normal = _board(pitch_deg, roll_deg)
    turn, lengthwise, _ = together(turned=turn, along=lengthwise, slopes=rear[..., None, 0])
    start = np.where(lengthwise[..., None], rear[..., None, :], right[..., None, :])
    laid = _turned_about(normal[..., None, :], start, _psi(rng, vials.turn_limit_deg[..., None], turn.shape))
    said = _side(rng=rng, elevation=np.arcsin(laid[..., 2]), vials=vials, turned=turn)
    words_along, words_across = np.array(["front", "level", "rear"]), np.array(["left", "level", "right"])
    return np.where(lengthwise, words_along[said + 1], words_across[said + 1])


def search_blocks(
    *,
    rng: np.random.Generator,
    pitch_deg: ArrayLike,
    roll_deg: ArrayLike,
    vials: Vials,
    set_deg: ArrayLike,
    looks: int,
) -> BlockLooks:
    """Return what people find who halve their set of blocks until the bubble is level or nothing is left.

    Parameters
    ----------
    rng : numpy.random.Generator, scalar [random numbers]
        Where the numbers come from.
    pitch_deg, roll_deg : array_like, shape (...) [degree]
        True slopes of the board, -60 to 60.
    vials : Vials, each field shape (...) [mm, degree]
        The bubbles that stand on the blocks, laid the usual way round.
    set_deg : array_like, shape (..., m) [degree]
        True angles of the m blocks of the set, in rising order of what is written on them.
    looks : int, scalar [count]
        Most looks a person takes, at least 1.

    Returns
    -------
    BlockLooks, each field shape (..., looks) [index, words]
        Which block was tried, and what the bubble said.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the shapes do not fit.

    Examples
    --------
    >>> sharp = Vials(*(np.array(v) for v in (500.0, 1.0, 0.0, 0.0, 0.0, 0.0)))
    >>> rng = np.random.default_rng(1)
    >>> found = search_blocks(rng=rng, pitch_deg=6.4, roll_deg=0, vials=sharp, set_deg=[5, 6, 7, 8, 9], looks=3)
    >>> found.block.tolist(), found.high_end.tolist()
    ([2, 0, 1], ['front', 'rear', 'rear'])

    References
    ----------
    Vectors derived in DEVELOPERS.md, Geometry.
    """
    rear, _, normal = _board(pitch_deg, roll_deg)
    true = np.radians(finite("set_deg", set_deg, low=-_STEEPEST_DEG, high=_STEEPEST_DEG, unit="degrees"))
    batch = np.broadcast_shapes(rear.shape[:-1], true.shape[:-1])
    true = np.broadcast_to(true, (*batch, true.shape[-1]))
    low, high = np.zeros(batch, dtype=np.int64), np.full(batch, true.shape[-1] - 1)
    tried, said = np.zeros((*batch, looks), dtype=np.int64), np.full((*batch, looks), "not looked")
    words = np.array(["front", "level", "rear"])
    for look in range(looks):
        on = low <= high
        middle = np.where(on, (low + high) // 2, 0)
        wedge = np.take_along_axis(true, middle[..., None], axis=-1)
        laid = _turned_about(normal, np.broadcast_to(rear, (*batch, 3)), _psi(rng, vials.turn_limit_deg, batch))
        top = np.cos(wedge) * laid - np.sin(wedge) * normal
        side = _side(
            rng=rng, elevation=np.arcsin(top[..., 2:]), vials=vials, turned=np.zeros((*batch, 1), dtype=np.bool_)
        )[..., 0]
        tried[..., look] = middle
        said[..., look] = np.where(on, words[side + 1], "not looked")
        low = np.where(on & (side >= 0), np.where(side == 0, high + 1, middle + 1), low)
        high = np.where(on & (side < 0), middle - 1, high)
    return BlockLooks(block=tried, high_end=said)


def roll_balls(
    *, rng: np.random.Generator, pitch_deg: ArrayLike, roll_deg: ArrayLike, runs: Runs, g_mps2: ArrayLike
) -> Rolled:
    """Return when and where balls let go from rest cross the finish line.

    Parameters
    ----------
    rng : numpy.random.Generator, scalar [random numbers]
        Where the numbers come from.
    pitch_deg, roll_deg : array_like, shape (...) [degree]
        True slopes of the board, above 0 for the pitch, -60 to 60.
    runs : Runs, each field shape (...) [mm, degree, 1]
        The runs.
    g_mps2 : array_like, shape (...) [m/s^2]
        The true pull of the earth, above 0.

    Returns
    -------
    Rolled, each field shape (...) [s, mm]
        True time and wander.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the shapes do not fit.

    Notes
    -----
    Newton and Euler for a ball that does not slip: the friction that spins it up takes its share of the pull.
    The drag acts against the motion, so the path from rest stays straight.

    Examples
    --------
    >>> run = Runs(*(np.array(v) for v in (450.0, 0.0, 0.0, 0.0)))
    >>> ball = roll_balls(rng=np.random.default_rng(1), pitch_deg=6.5, roll_deg=0.1, runs=run, g_mps2=9.80665)
    >>> float(ball.time_s), float(ball.wander_mm)  # doctest: +NUMBER
    (1.065, 6.85)

    References
    ----------
    Rigid body of moment of inertia 2/5 m r^2, derived in DEVELOPERS.md, Geometry.
    """
    rear, right, normal = _board(pitch_deg, roll_deg)
    g = finite("g_mps2", g_mps2, low=0, above=True, unit="m/s^2")
    pull = np.zeros_like(normal) - np.array([0, 0, 1]) * g[..., None]
    pressed = -(pull * normal).sum(axis=-1, keepdims=True)
    downhill = pull + pressed * normal
    steep = np.linalg.norm(downhill, axis=-1, keepdims=True)
    moved = downhill * np.maximum(1 - runs.drag[..., None] * pressed / steep, 0) / (1 + _SPIN_OF_SOLID_BALL)
    turn = np.radians(runs.run_turn_deg)
    forward = _turned_about(normal, -rear, turn)
    left = _turned_about(normal, -right, turn)
    along, aside = (moved * forward).sum(axis=-1), (moved * left).sum(axis=-1)
    shape = np.broadcast_shapes(along.shape, runs.run_mm.shape, runs.release_mm.shape)
    off = runs.release_mm[..., None] * rng.uniform(-1, 1, (*shape, 2))
    left_to_go = (runs.run_mm - off[..., 0]) / 1000
    time = np.sqrt(2 * left_to_go / along)
    return Rolled(time_s=time, wander_mm=off[..., 1] + aside * time**2 / 2 * 1000)


def counted_frames(
    *, rng: np.random.Generator, time_s: ArrayLike, rate_hz: ArrayLike, misjudged: ArrayLike
) -> FloatArray:
    """Return the frames people count between two events on a film.

    Parameters
    ----------
    rng : numpy.random.Generator, scalar [random numbers]
        Where the numbers come from.
    time_s : array_like, shape (...) [s]
        True time between the events.
    rate_hz : array_like, shape (...) [1/s]
        Frames per second.
    misjudged : array_like, shape (...) [frame]
        Each event is taken for up to so many frames early or late, rectangular.

    Returns
    -------
    ndarray, shape (...) [frame]
        Whole frames.

    Raises
    ------
    BadInput
        If a number is not finite or negative, or the shapes do not fit.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> abs(float(counted_frames(rng=rng, time_s=1.0, rate_hz=240, misjudged=0)) - 240) <= 1
    True

    References
    ----------
    A camera opens at equal steps of time, at a moment unrelated to the ball.
    """
    time, rate, error = together(
        time_s=finite("time_s", time_s, low=0, unit="s"),
        rate_hz=finite("rate_hz", rate_hz, low=0, unit="1/s"),
        misjudged=finite("misjudged", misjudged, low=0, unit="frames"),
    )
    first = rng.uniform(0, 1, time.shape)
    seen_first = np.rint(first + error * rng.uniform(-1, 1, time.shape))
    return np.rint(first + time * rate + error * rng.uniform(-1, 1, time.shape)) - seen_first


def _board(pitch_deg: ArrayLike, roll_deg: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Unit vectors of the board: to its rear, to its right in its plane, and up from it."""
    pitch, roll = together(
        pitch_deg=finite("pitch_deg", pitch_deg, low=-_STEEPEST_DEG, high=_STEEPEST_DEG, unit="degrees"),
        roll_deg=finite("roll_deg", roll_deg, low=-_STEEPEST_DEG, high=_STEEPEST_DEG, unit="degrees"),
    )
    none, one = np.zeros(pitch.shape), np.ones(pitch.shape)
    rear = np.stack([none, one, np.tan(np.radians(pitch))], axis=-1)
    across = np.stack([one, none, np.tan(np.radians(roll))], axis=-1)
    normal = _unit(np.cross(across, rear))
    rear = _unit(rear)
    return rear, np.cross(rear, normal), normal


def _unit(vector: FloatArray) -> FloatArray:
    return vector / np.linalg.norm(vector, axis=-1, keepdims=True)


def _turned_about(normal: FloatArray, start: FloatArray, angle: FloatArray) -> FloatArray:
    """A direction in the board turned about the board's normal, anticlockwise seen from above."""
    return np.cos(angle)[..., None] * start + np.sin(angle)[..., None] * np.cross(normal, start)


def _psi(rng: np.random.Generator, limit_deg: FloatArray, shape: tuple[int, ...]) -> FloatArray:
    return np.radians(limit_deg) * rng.uniform(-1, 1, shape)


def _side(*, rng: np.random.Generator, elevation: FloatArray, vials: Vials, turned: BoolArray) -> IntArray:
    """-1, 0 or 1: the low end, the middle or the high end, where the bubble looks to stand. Looks are the last axis."""
    per_look = {name: value[..., None] for name, value in vars(vials).items()}
    shape = elevation.shape
    own = np.radians(per_look["own_error_deg"]) * np.where(turned, -1.0, 1.0)
    wave = np.radians(per_look["wave_deg"]) * rng.standard_normal(shape)
    moved = per_look["radius_mm"] * np.tan(elevation - own + wave)
    seen = per_look["seen_mm"] * (1 + per_look["seen_spread"] * rng.standard_normal(shape))
    return np.where(moved > seen, 1, np.where(moved < -seen, -1, 0)).astype(np.int64)
