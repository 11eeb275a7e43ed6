"""When no plan fits: the nearest that can be reached, what stops it, and what would help.

Nearest means least max|deviation / aim|, then the same order as a plan. What stops it is asked in this order:
would a plan fit if both ends could be reached; would any whole steps fit if travel had no end; and if so,
which leg runs out of travel, and how thick a pad under which foot would give that back.

    room of a leg   low ------ 0 ------ high        steps u + m, with u = (0, a, k, k + b) and k = q - m
    lowest shift    m = max(low - u): one leg is fully in, no leg lower
    pads            max(0, m + u - high), under the feet whose levelers would run out
"""

from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np

from leveling.checks import FloatArray
from leveling.turns_lattice import EDGE, BoolArray, IntArray, Lattice, Points
from leveling.turns_search import fewest_steps_at, least_of_row

#: Thickest pad that is proposed before longer levelers. Common practice, no source.
_PAD_MM = 12.0
#: What a 3 in stem gives beyond a 2 in stem.
_LONGER_STEM_MM = 25.4

#: More steps than any leveler has.
_NO_END = 1 << 20
_FEW_POINTS = 200
_GRID = 5
_ROWS_AT_ONCE = 4096


class Limit(IntEnum):
    """What stops a plan: the named end cannot be reached, the step is too coarse, or a leg's travel ends."""

    NONE = 0
    FRONT_NOT_REACHABLE = 1
    REAR_NOT_REACHABLE = 2
    NEITHER_END_REACHABLE = 3
    STEP_TOO_COARSE = 4
    FL_AT_TOP = 5
    FR_AT_TOP = 6
    RL_AT_TOP = 7
    RR_AT_TOP = 8
    FL_AT_BOTTOM = 9
    FR_AT_BOTTOM = 10
    RL_AT_BOTTOM = 11
    RR_AT_BOTTOM = 12


_END_LIMITS = np.array(
    [
        [Limit.NEITHER_END_REACHABLE, Limit.FRONT_NOT_REACHABLE],
        [Limit.REAR_NOT_REACHABLE, Limit.NONE],
    ]
)


class Remedy(IntEnum):
    """What would help: reach the end, a pad, longer stems, another bay or heading, or a finer step."""

    NONE = 0
    PULL_OUT = 1
    PAD = 2
    LONGER_LEVELERS = 3
    ANOTHER_BAY = 4
    FINER_STEP = 5


@dataclass(frozen=True, eq=False)
class Stops:
    """What stops a plan: ``limit`` and ``remedy``, shape (rows,) [code], and ``pad_mm``, shape (rows, 4) [mm].

    ``pad_mm`` are the pads under FL, FR, RL, RR that would make a plan fit with both ends reachable, the
    thickest as thin as can be; all 0 where it is not travel that lacks.
    """

    limit: IntArray
    remedy: IntArray
    pad_mm: FloatArray


def what_stops(lattice: Lattice, *, reachable: BoolArray, step_mm: FloatArray) -> Stops:
    """Return what stops rows that no plan fits, and what would help.

    Parameters
    ----------
    lattice : Lattice, shape (rows,) [step]
        The problems, with the travel of all legs as if both ends could be reached.
    reachable : ndarray, shape (rows, 2) [yes or no]
        Whether the front and the rear can be reached.
    step_mm : ndarray, shape (rows,) [mm]
        Height of one step.

    Returns
    -------
    Stops, shape (rows,) [code, mm]
        The limit, the remedy and the pads. A pad is in whole steps, so that the leveler on it is at its top.

    Raises
    ------
    ValueError
        If the shapes do not agree, by NumPy.

    Examples
    --------
    >>> from leveling.turns_request import PlanRequest
    >>> machine = PlanRequest(
    ...     feet_mm=[[[-280, 0], [280, 0], [-280, 1300], [280, 1300]]],
    ...     pitch_deg=3.0, roll_deg=0.0, twist_mm=0.0, want_pitch_deg=6.5,
    ...     pitch_tol_deg=0.2, roll_tol_deg=0.15, twist_tol_mm=0.125, lead_mm=1.5875,
    ...     exposure_mm=[10, 10, 40, 40], exposure_known=[True] * 4,
    ... ).lattice()
    >>> stops = what_stops(machine, reachable=np.array([[True, True]]), step_mm=np.array([1.5875 / 4]))
    >>> Limit(stops.limit[0]).name, Remedy(stops.remedy[0]).name, stops.pad_mm.tolist()
    ('RL_AT_TOP', 'ANOTHER_BAY', [[0.0, 0.0, 67.865625, 67.865625]])

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    ends = _END_LIMITS[reachable[:, 0].astype(int), reachable[:, 1].astype(int)]
    by_reach = ends != Limit.NONE
    by_reach[by_reach] = _fits(lattice.take(by_reach))
    pads = np.zeros(lattice.low.shape, dtype=np.int64)
    pads[~by_reach] = _least_pads(lattice.take(~by_reach))
    coarse = (pads < 0).any(axis=1)
    pad_mm = np.maximum(pads, 0) * step_mm[:, None]
    thickest = pad_mm.max(axis=1, initial=0)
    remedy = np.select(
        [coarse, by_reach | ~reachable.all(axis=1), thickest <= _PAD_MM, thickest <= _LONGER_STEM_MM],
        [Remedy.FINER_STEP, Remedy.PULL_OUT, Remedy.PAD, Remedy.LONGER_LEVELERS],
        Remedy.ANOTHER_BAY,
    )
    limit = np.select([by_reach, coarse], [ends, Limit.STEP_TOO_COARSE], _leg_limit(pads))
    return Stops(limit=limit, remedy=remedy, pad_mm=pad_mm)


def _leg_limit(pads: IntArray) -> IntArray:
    """Name the leg at its top that lacks most; where all others lack, the one that is at its bottom."""
    lacks = pads > 0
    return np.where(
        lacks.sum(axis=1) == 3,
        Limit.FL_AT_BOTTOM + lacks.argmin(axis=1),
        Limit.FL_AT_TOP + pads.argmax(axis=1),
    )


def _fits(lattice: Lattice) -> BoolArray:
    """Tell whether some steps bring a row into aim and tolerance."""
    one = np.ones(lattice.gy.size)
    fits = np.zeros(lattice.gy.size, dtype=np.bool_)
    for part, at in lattice.points(one):
        some = lattice.take(part)
        allowed = np.minimum(1, some.cap[at.row, 0]) + EDGE
        ok = (some.worst_ratio(at) <= 1 + EDGE) & (_pitch_ratio(some, at) <= allowed)
        fits[part][at.row[ok]] = True
    return fits


def _least_pads(lattice: Lattice) -> IntArray:
    """Return the pads in steps, the thickest least; -1 where no steps would fit if travel had no end."""
    one = np.ones(lattice.gy.size)
    least = np.full(lattice.low.shape, -1)
    free = replace(lattice, low=np.full_like(lattice.low, -_NO_END), high=np.full_like(lattice.high, _NO_END))
    for part, every in free.points(one):
        some = lattice.take(part)
        at = every.take(some.worst_ratio(every) <= 1 + EDGE)
        runs, lean = some.runs(one[None, part]), at.b - at.a
        k_low, k_high = ((run[0, at.row, lean & 1] - lean) // 2 for run in (runs.low, runs.high))
        ok = k_low <= k_high
        at, k_low, k_high = at.take(ok), k_low[ok], k_high[ok]
        k = _even_k(some, at)
        row = np.tile(at.row, 2)
        pads = np.concatenate([_pads(some, at, np.clip(k + more, k_low, k_high)) for more in (0, 1)], axis=1)
        kept = np.flatnonzero(least_of_row(row, pads.max(axis=0)))
        kept = kept[least_of_row(row[kept], pads[:, kept].sum(axis=0))]
        least[part][row[kept]] = pads[:, kept].T
    return least


def _even_k(lattice: Lattice, at: Points) -> IntArray:
    """Return the k below which the front pads grow and above which the rear pads do."""
    (fl0, fr0, rl0, rr0), (fl1, fr1, rl1, rr1) = lattice.low[at.row].T, lattice.high[at.row].T
    front = np.maximum(rl0, rr0 - at.b) + np.maximum(-fl1, at.a - fr1)
    rear = np.maximum(fl0, fr0 - at.a) + np.maximum(-rl1, at.b - rr1)
    return (front - rear) // 2


def _pads(lattice: Lattice, at: Points, k: IntArray) -> IntArray:
    """Return the pads of each point, shape (4, points)."""
    u = np.stack([np.zeros_like(k), at.a, k, k + at.b])
    shift = (lattice.low[at.row].T - u).max(axis=0)
    return np.maximum(shift + u - lattice.high[at.row].T, 0)


def nearest_steps(lattice: Lattice) -> IntArray:
    """Return the steps of least max|deviation / aim| that travel allows, whatever the tolerance.

    Parameters
    ----------
    lattice : Lattice, shape (rows,) [step]
        The problems.

    Returns
    -------
    ndarray, shape (rows, 4) [step, out positive]
        Legs FL, FR, RL, RR; of all that are nearest, the cheapest in the order of ``fewest_steps``.

    Raises
    ------
    ValueError
        If the shapes do not agree, by NumPy.

    Examples
    --------
    >>> from leveling.turns_request import PlanRequest
    >>> machine = PlanRequest(
    ...     feet_mm=[[[-280, 0], [280, 0], [-280, 1300], [280, 1300]]],
    ...     pitch_deg=3.0, roll_deg=0.0, twist_mm=0.0, want_pitch_deg=6.5,
    ...     pitch_tol_deg=0.2, roll_tol_deg=0.15, twist_tol_mm=0.125, lead_mm=1.5875,
    ...     exposure_mm=[10, 10, 40, 40], exposure_known=[True] * 4,
    ... ).lattice()
    >>> nearest_steps(machine).tolist()
    [[-25, -25, 2, 2]]

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    free = replace(lattice, cap=np.full_like(lattice.cap, np.inf))
    steps = np.zeros(lattice.low.shape, dtype=np.int64)
    for part, at in free.points(_good_ratio(free)):
        some = free.take(part)
        ratio = _ratio(some, at)
        nearest = least_of_row(at.row, ratio)
        level = np.zeros(some.gy.size)
        level[at.row[nearest]] = ratio[nearest]
        steps[part] = fewest_steps_at(at.take(nearest), lattice=some, levels=level[None]).steps
    return steps


def _ratio(lattice: Lattice, at: Points) -> FloatArray:
    """Return the least max|deviation / aim| that travel leaves to each point."""
    return np.maximum(lattice.worst_ratio(at), _pitch_ratio(lattice, at))


def _pitch_ratio(lattice: Lattice, at: Points) -> FloatArray:
    """Return the least |pitch deviation| / aim that travel leaves to each point, infinite if it forbids it."""
    m, q = lattice.shifts(at)
    lean = at.b - at.a
    p = lattice.nearest_p()[at.row, lean & 1]
    p = np.clip(p, 2 * (q[0] - m[1]) + lean, 2 * (q[1] - m[0]) + lean)
    return np.where((m[0] <= m[1]) & (q[0] <= q[1]), lattice.pitch_ratio(at.row, p), np.inf)


def _good_ratio(lattice: Lattice) -> FloatArray:
    """Return a ratio that some point reaches, so that only few points can be better."""
    rows = np.arange(lattice.gy.size)
    zero = np.zeros_like(rows)
    good = _ratio(lattice, Points(row=rows, a=zero, b=zero))
    (a_low, a_high), (b_low, b_high) = lattice.box(good)
    many = np.flatnonzero((a_high - a_low + 1) * (b_high - b_low + 1) > _FEW_POINTS)
    for start in range(0, many.size, _ROWS_AT_ONCE):
        part = many[start : start + _ROWS_AT_ONCE]
        good[part] = _zoomed(lattice.take(part), good[part])
    return good


def _zoomed(lattice: Lattice, least: FloatArray) -> FloatArray:
    """Return the best ratio on ever finer grids around the best so far."""
    rows = np.arange(least.size)
    (a0, a1), (b0, b1) = lattice.box(least)
    weight = np.linspace(0, 1, _GRID)
    weight_a, weight_b = np.repeat(weight, _GRID), np.tile(weight, _GRID)
    while True:
        a = np.rint(a0[:, None] + weight_a * (a1 - a0)[:, None]).astype(np.int64)
        b = np.rint(b0[:, None] + weight_b * (b1 - b0)[:, None]).astype(np.int64)
        ratio = _ratio(lattice, Points(row=np.repeat(rows, a.shape[1]), a=a.ravel(), b=b.ravel())).reshape(a.shape)
        best = ratio.argmin(axis=1)
        least = np.minimum(least, ratio[rows, best])
        if max((a1 - a0).max(initial=0), (b1 - b0).max(initial=0)) < _GRID:
            return least
        half_a, half_b = -((a0 - a1) // (_GRID - 1)), -((b0 - b1) // (_GRID - 1))
        a0, a1 = np.maximum(a0, a[rows, best] - half_a), np.minimum(a1, a[rows, best] + half_a)
        b0, b1 = np.maximum(b0, b[rows, best] - half_b), np.minimum(b1, b[rows, best] + half_b)
