"""Simulate: machines that stand on three feet when they rock.

      corner = floor under the foot + leg + exposure

      the cabinet is a rigid plane on four springs that only push:
      try all four feet and each three of them, keep the set where no foot pulls and no free foot is pressed

Every number is drawn from the ``rng`` passed in. The ranges are common practice, no source, unless said otherwise.
How a machine comes to rest is worked out here by statics and not by the formulas of ``contact``, so that each can
test the other.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite, last_axis
from leveling.contact import ALL_BEAR, LegArray, load_point
from leveling.frame import LEGS_MEANING, foot_positions
from leveling.simulate_floors import counted
from leveling.units import LEAD_MM, MM_PER_INCH

#: Bodies: track and base, foot centre to foot centre, mm; their share. Common practice, no source.
BODIES_MM = ((560.0, 1300.0), (670.0, 1320.0))
BODY_SHARES = (0.8, 0.2)

#: Leg lengths, mm. Common practice, no source.
LEGS_MM = tuple(inch * MM_PER_INCH for inch in (27.0, 28.5, 30.5, 31.0))

#: Threads and their share. Common practice, no source.
_LEADS_MM = (LEAD_MM["3/8-16 UNC"], LEAD_MM["M10x1.5"])
_LEAD_SHARES = (0.85, 0.15)

# The sets of feet that may bear: all four first, then each three.
_SETS = np.array([[1, 1, 1, 1], [0, 1, 1, 1], [1, 0, 1, 1], [1, 1, 0, 1], [1, 1, 1, 0]], dtype=np.float64)


@dataclass(frozen=True)
class Machines:
    """Machines as they truly are, each field with the batch shape (...).

    ``feet_mm``, shape (..., 4, 2) [mm]. ``leg_mm`` and ``exposure_mm``, shape (..., 4) [mm]: true leg length (pad
    included) and leveler out of the leg, legs FL, FR, RL, RR. ``lead_mm`` [mm] per turn. ``offset_pitch_deg`` and
    ``offset_roll_deg`` [degree], playfield minus cabinet. ``load_mm``, shape (..., 2) [mm], where the weight
    presses. ``compression_mm`` [mm], how far a foot with its corner of the cabinet gives under a quarter of the
    weight: 0 is rigid.
    """

    feet_mm: FloatArray
    leg_mm: FloatArray
    exposure_mm: FloatArray
    lead_mm: FloatArray
    offset_pitch_deg: FloatArray
    offset_roll_deg: FloatArray
    load_mm: FloatArray
    compression_mm: FloatArray


@dataclass(frozen=True)
class Stood:
    """How machines truly stand, each field with the batch shape (...).

    ``pitch_deg`` and ``roll_deg`` [degree] of the playfield; ``gx`` and ``gy`` [mm/mm] of the cabinet; ``light`` the
    leg number of the floating foot or ``ALL_BEAR``; ``gap_mm`` [mm] the air under it.
    """

    pitch_deg: FloatArray
    roll_deg: FloatArray
    gx: FloatArray
    gy: FloatArray
    light: LegArray
    gap_mm: FloatArray


def make_machines(*, rng: np.random.Generator, count: int, compression_mm: ArrayLike = 0.0) -> Machines:
    """Return random machines with legs that are not quite alike.

    Parameters
    ----------
    rng : numpy.random.Generator, scalar [random numbers]
        Where the numbers come from.
    count : int, scalar [machines]
        How many, at least 0.
    compression_mm : array_like, shape (count,) or () [mm]
        How far a foot with its corner gives under a quarter of the weight, at least 0; 0 is rigid.

    Returns
    -------
    Machines, each shape (count, ...) [mm, degree]
        The machines. On a level floor their playfields pitch about 6 degrees.

    Raises
    ------
    BadInput
        If a number is not finite or out of range.

    Examples
    --------
    >>> machines = make_machines(rng=np.random.default_rng(1), count=5)
    >>> machines.exposure_mm.shape, bool((machines.exposure_mm > 0).all())
    ((5, 4), True)

    References
    ----------
    Bodies, legs, threads, 55 to 65 % of the weight on the rear: common practice, no source.
    """
    n = counted(count)
    gives = np.broadcast_to(finite("compression_mm", compression_mm, low=0, unit="mm"), n)
    body = np.array(BODIES_MM)[rng.choice(len(BODIES_MM), n, p=BODY_SHARES)]
    track, base = (body + rng.normal(0, 5, (n, 2))).T
    feet = foot_positions(track_front_mm=track, track_rear_mm=track + rng.normal(0, 5, n), base_mm=base)
    end = np.stack([rng.uniform(8, 16, n), rng.uniform(22, 34, n)], axis=-1)
    load = load_point(feet, rng.uniform(0.55, 0.65, n))
    return Machines(
        feet_mm=feet,
        leg_mm=np.array(LEGS_MM)[rng.choice(len(LEGS_MM), n)][:, None] + rng.normal(0, 0.7, (n, 4)),
        exposure_mm=np.repeat(end, 2, axis=-1) + rng.normal(0, 1.0, (n, 4)),
        lead_mm=np.array(_LEADS_MM)[rng.choice(len(_LEADS_MM), n, p=_LEAD_SHARES)],
        offset_pitch_deg=rng.normal(5.3, 0.4, n),
        offset_roll_deg=rng.normal(0, 0.15, n),
        load_mm=load + rng.normal(0, 10, (n, 2)),
        compression_mm=gives,
    )


def corner_heights(machines: Machines, floor_mm: ArrayLike) -> FloatArray:
    """Return the heights at which the four legs would hold the cabinet.

    Parameters
    ----------
    machines : Machines, each shape (..., ...) [mm]
        The machines.
    floor_mm : array_like, shape (..., 4) [mm]
        Height of the floor under FL, FR, RL, RR.

    Returns
    -------
    ndarray, shape (..., 4) [mm]
        Floor + leg + exposure.

    Raises
    ------
    BadInput
        If a height is not finite or there are not four.

    Examples
    --------
    >>> machines = make_machines(rng=np.random.default_rng(1), count=5)
    >>> corner_heights(machines, np.zeros(4)).shape
    (5, 4)

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    floor = last_axis("floor_mm", finite("floor_mm", floor_mm, unit="mm"), 4, LEGS_MEANING)
    return floor + machines.leg_mm + machines.exposure_mm


def stand(machines: Machines, floor_mm: ArrayLike) -> Stood:
    """Return how machines truly stand on a floor: on four feet or on three.

    Parameters
    ----------
    machines : Machines, each shape (..., ...) [mm, degree]
        The machines.
    floor_mm : array_like, shape (..., 4) [mm]
        Height of the floor under FL, FR, RL, RR.

    Returns
    -------
    Stood, each shape (...) [degree, mm/mm, leg number, mm]
        Playfield angles, cabinet gradients, light foot and gap.

    Raises
    ------
    BadInput
        If a height is not finite or there are not four.

    Notes
    -----
    Four equal springs that only push carry the weight. A rigid machine (compression 0) bears on all four only if
    its heights have no twist.

    Examples
    --------
    >>> machines = make_machines(rng=np.random.default_rng(1), count=1000)
    >>> stood = stand(machines, np.zeros(4))
    >>> bool((stood.gap_mm > 0).all()), sorted(set(stood.light.tolist()))
    (True, [0, 1])

    References
    ----------
    Statics of a plate on four springs, derived in DEVELOPERS.md, Geometry.
    """
    heights = corner_heights(machines, floor_mm)
    middle = machines.feet_mm.mean(axis=-2)
    # In metres about the middle, so that the three equations are of like size.
    xy = (machines.feet_mm - middle[..., None, :]) / 1000
    load = (machines.load_mm - middle) / 1000
    design = np.concatenate([np.ones_like(xy[..., :1]), xy], axis=-1)
    pull = np.concatenate([np.ones_like(load[..., :1]), load], axis=-1)
    level = heights - heights.mean(axis=-1, keepdims=True)
    tries = [_rest_on(bears, design, pull, level, 4 * machines.compression_mm) for bears in _SETS]
    planes = np.stack(np.broadcast_arrays(*[plane for plane, _, _ in tries]))
    squeezes = np.stack(np.broadcast_arrays(*[squeeze for _, squeeze, _ in tries]))
    wrongs = np.stack(np.broadcast_arrays(*[wrong for _, _, wrong in tries]))
    best = np.argmin(np.where(wrongs < 1e-9, 0.0, wrongs), axis=0)
    plane = np.take_along_axis(planes, best[None, ..., None], axis=0)[0]
    squeeze = np.take_along_axis(squeezes, best[None, ..., None], axis=0)[0]
    gx, gy = plane[..., 1] / 1000, plane[..., 2] / 1000
    return Stood(
        pitch_deg=np.degrees(np.arctan(gy)) + machines.offset_pitch_deg,
        roll_deg=np.degrees(np.arctan(gx)) + machines.offset_roll_deg,
        gx=gx,
        gy=gy,
        light=np.where(best == 0, ALL_BEAR, best - 1).astype(np.intp),
        gap_mm=np.where(best == 0, 0.0, -(squeeze * (1 - _SETS[best])).sum(axis=-1)),
    )


def turned(machines: Machines, turns: ArrayLike) -> Machines:
    """Return the machines after their levelers were turned.

    Parameters
    ----------
    machines : Machines, each shape (..., ...) [mm, degree]
        The machines.
    turns : array_like, shape (..., 4) [turn]
        True turns of FL, FR, RL, RR, out positive.

    Returns
    -------
    Machines, each shape (..., ...) [mm, degree]
        The same machines with new exposures.

    Raises
    ------
    BadInput
        If a number is not finite or there are not four.

    Examples
    --------
    >>> machines = make_machines(rng=np.random.default_rng(1), count=2)
    >>> (turned(machines, [0, 0, 1, 1]).exposure_mm - machines.exposure_mm).round(4).tolist()
    [[0.0, 0.0, 1.5875, 1.5875], [0.0, 0.0, 1.5875, 1.5875]]

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    number = last_axis("turns", finite("turns", turns, unit="turns"), 4, LEGS_MEANING)
    return replace(machines, exposure_mm=machines.exposure_mm + number * machines.lead_mm[..., None])


def _rest_on(
    bears: FloatArray, design: FloatArray, pull: FloatArray, heights: FloatArray, give_mm: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Plane on these feet, how far each foot is squeezed, and by how much this cannot be.

    ``give_mm`` is weight over stiffness. For a rigid machine the squeeze is 0 whatever a foot carries, so what three
    feet carry is worked out as shares of the weight.
    """
    used = design * bears[:, None]
    normal = np.swapaxes(used, -1, -2) @ used
    pushed = (np.swapaxes(used, -1, -2) @ heights[..., None])[..., 0] - give_mm[..., None] * pull
    plane = np.linalg.solve(normal, pushed[..., None])[..., 0]
    squeeze = heights - (design @ plane[..., None])[..., 0]
    shares = (used @ np.linalg.solve(normal, pull[..., None]))[..., 0]
    carried = squeeze if bears.all() else shares
    pulls = np.where(bears == 1, -carried, 0.0).max(axis=-1)
    pressed = np.where(bears == 0, squeeze, 0.0).max(axis=-1)
    return plane, squeeze, np.maximum(np.maximum(pulls, pressed), 0.0)
