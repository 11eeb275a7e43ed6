"""The search of a leg plan: the fewest lifts, legs, class and steps, exactly, for a whole batch.

For one lattice point (a, b) two numbers are left, the shifts m of the front pair and q of the rear pair, and
only q - m matters for pitch. Steps |m| + |m + a| are least, and flat, for m between 0 and -a, and grow by 2
with each step beyond; the rear pair likewise. So for any band of pitch the best (m, q) needs no search: keep
each pair on its flat part and move beyond only as far as pitch demands. FL stays untouched where m = 0, FR
where m = -a, RL where q = 0, RR where q = -b. Holding legs so, in every way,

    front pair free, FL held, FR held, both      and      rear pair free, RL held, RR held, both

covers every set of legs: each way gives its cheapest (class, steps) for that point, and the cheapest of all
ways and points by (lifts, legs, class, steps) is the optimum.
"""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from leveling.checks import FloatArray
from leveling.turns_lattice import EDGE, BoolArray, IntArray, Lattice, Points, Range, Runs

_FREE, _LEFT_HELD, _RIGHT_HELD, _BOTH_HELD = range(4)
#: Ways to hold the front and the rear pair that leave at most two legs to turn, then three, then four.
_ROUNDS = (
    (*product((_LEFT_HELD, _RIGHT_HELD), repeat=2), (_FREE, _BOTH_HELD), (_BOTH_HELD, _FREE)),
    ((_FREE, _LEFT_HELD), (_FREE, _RIGHT_HELD), (_LEFT_HELD, _FREE), (_RIGHT_HELD, _FREE)),
    ((_FREE, _FREE),),
)


@dataclass(frozen=True, eq=False)
class Best:
    """The cheapest plan of each row.

    ``found``, shape (rows,) [yes or no], tells whether there is one. ``steps``, shape (rows, 4) [step, out
    positive], are for FL, FR, RL, RR, all 0 where there is none.
    """

    found: BoolArray
    steps: IntArray


@dataclass(frozen=True, eq=False)
class _Choices:
    """Points with their level in roll and twist, what travel leaves to m and q, what pitch leaves to p."""

    at: Points
    level: IntArray
    m: Range
    q: Range
    p: Range
    runs: Runs
    nearest_p: IntArray

    def take(self, chosen: BoolArray) -> "_Choices":
        m, q, p = ((low[chosen], high[chosen]) for low, high in (self.m, self.q, self.p))
        return replace(self, at=self.at.take(chosen), level=self.level[chosen], m=m, q=q, p=p)


@dataclass(frozen=True, eq=False)
class _Offers:
    """One plan each: its row, its cost as one whole number, and its steps, shape (4, offers)."""

    row: IntArray
    cost: IntArray
    steps: IntArray


def fewest_steps(lattice: Lattice, levels: FloatArray) -> Best:
    """Return the cheapest plan of each row inside the widest of its bands.

    Parameters
    ----------
    lattice : Lattice, shape (rows,) [step]
        The problems.
    levels : ndarray, shape (levels, rows) [share of aim]
        The bands from narrow to wide; a plan's class is the first band that holds it.

    Returns
    -------
    Best, shape (rows,) [step]
        Least in lifts, legs, class and steps, in this order; then nearest, then least to do at the rear.

    Raises
    ------
    ValueError
        If the shapes do not agree, by NumPy.

    Examples
    --------
    >>> from leveling.turns_request import PlanRequest
    >>> machine = PlanRequest(
    ...     feet_mm=[[[-280, 0], [280, 0], [-280, 1300], [280, 1300]]],
    ...     pitch_deg=6.0, roll_deg=0.0, twist_mm=0.0, want_pitch_deg=6.5,
    ...     pitch_tol_deg=0.2, roll_tol_deg=0.15, twist_tol_mm=0.125, lead_mm=1.5875,
    ... ).lattice()
    >>> best = fewest_steps(machine, np.array([[0.0], [1 / 3], [2 / 3], [1.0]]))
    >>> best.steps.tolist()
    [[-28, -28, 0, 0]]

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    best = _none(lattice.gy.size)
    for part, at in lattice.points(levels[-1]):
        some = fewest_steps_at(at, lattice=lattice.take(part), levels=levels[:, part])
        best.found[part], best.steps[part] = some.found, some.steps
    return best


def fewest_steps_at(at: Points, *, lattice: Lattice, levels: FloatArray) -> Best:
    """Return the cheapest plan of each row at the given lattice points.

    Parameters
    ----------
    at : Points, shape (points,) [step]
        Where to look.
    lattice : Lattice, shape (rows,) [step]
        The problems.
    levels : ndarray, shape (levels, rows) [share of aim]
        The bands from narrow to wide.

    Returns
    -------
    Best, shape (rows,) [step]
        As ``fewest_steps`` does.

    Raises
    ------
    ValueError
        If the shapes do not agree, by NumPy.

    Examples
    --------
    >>> from leveling.turns_request import PlanRequest
    >>> machine = PlanRequest(
    ...     feet_mm=[[[-280, 0], [280, 0], [-280, 1300], [280, 1300]]],
    ...     pitch_deg=6.0, roll_deg=0.0, twist_mm=0.0, want_pitch_deg=6.5,
    ...     pitch_tol_deg=0.2, roll_tol_deg=0.15, twist_tol_mm=0.125, lead_mm=1.5875,
    ... ).lattice()
    >>> one_point = Points(row=np.array([0]), a=np.array([1]), b=np.array([1]))
    >>> fewest_steps_at(one_point, lattice=machine, levels=np.array([[1.0]])).steps.tolist()
    [[-26, -25, 0, 1]]

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    best = _none(lattice.gy.size)
    choices = _choices(lattice, at, levels)
    offers = []
    for ways in _ROUNDS:  # more legs cost more, so a row is done with the first round that offers anything
        offers += [_offers(lattice, choices, way) for way in ways]
        for offer in offers[-len(ways) :]:
            best.found[offer.row] = True
        choices = choices.take(~best.found[choices.at.row])
    every = _joined(offers)
    chosen = _cheapest(lattice, every)
    best.steps[every.row[chosen]] = every.steps[:, chosen].T
    return best


def _none(rows: int) -> Best:
    return Best(found=np.zeros(rows, dtype=np.bool_), steps=np.zeros((rows, 4), dtype=np.int64))


def _choices(lattice: Lattice, at: Points, levels: FloatArray) -> _Choices:
    level = (lattice.worst_ratio(at) > levels[:, at.row] + EDGE).sum(axis=0)
    inside = level < len(levels)
    at = at.take(inside)
    m, q = lattice.shifts(at)
    runs, parity = lattice.runs(levels), (at.b - at.a) & 1
    p = runs.low[-1, at.row, parity], runs.high[-1, at.row, parity]
    return _Choices(at, level[inside], m, q, p, runs, lattice.nearest_p())


def _held(shift: Range, difference: IntArray, way: int) -> Range:
    """Shifts that leave the held legs untouched; low above high where that cannot be."""
    if way == _FREE:
        return shift
    untouched = -difference if way == _RIGHT_HELD else np.zeros_like(difference)
    low, high = np.maximum(shift[0], untouched), np.minimum(shift[1], untouched)
    return low, np.where(difference == 0, high, low - 1) if way == _BOTH_HELD else high


def _flat(shift: Range, difference: IntArray) -> Range:
    """The shifts among ``shift`` that cost the fewest steps."""
    return np.clip(np.minimum(0, -difference), *shift), np.clip(np.maximum(0, -difference), *shift)


def _offers(lattice: Lattice, choices: _Choices, way: tuple[int, ...]) -> _Offers:
    """Return the cheapest plan of every point that has one when the pairs are held in this way."""
    at, runs = choices.at, choices.runs
    m, q = _held(choices.m, at.a, way[0]), _held(choices.q, at.b, way[1])
    lean = at.b - at.a  # p = 2 (q - m) + lean
    p = 2 * (q[0] - m[1]) + lean, 2 * (q[1] - m[0]) + lean
    meets = (p[0] <= choices.p[1]) & (p[1] >= choices.p[0])
    ok = np.flatnonzero(meets & (m[0] <= m[1]) & (q[0] <= q[1]))
    at, lean, level = at.take(ok), lean[ok], choices.level[ok]
    parity = lean & 1
    m, q, p = ((low[ok], high[ok]) for low, high in (m, q, p))

    low, high = runs.low[:, at.row, parity], runs.high[:, at.row, parity]
    level = np.maximum(level, ((p[0] > high) | (p[1] < low)).sum(axis=0))
    here = level, np.arange(level.size)
    flat_m, flat_q = _flat(m, at.a), _flat(q, at.b)
    flat_p = 2 * (flat_q[0] - flat_m[1]) + lean, 2 * (flat_q[1] - flat_m[0]) + lean
    # On the flat parts as near as can be in pitch, and beyond them only as far as the band demands.
    best = np.clip(choices.nearest_p[at.row, parity], *flat_p)
    best = np.clip(best, np.maximum(p[0], low[here]), np.minimum(p[1], high[here]))
    apart = (best - lean) // 2
    # Beyond the flat part the front goes first: it is the lighter end.
    shift = np.clip(np.clip(flat_m[0], flat_q[0] - apart, flat_q[1] - apart), *m)
    steps = np.stack([shift, shift + at.a, shift + apart, shift + apart + at.b])
    return _Offers(row=at.row, cost=_cost(steps, level, lattice.one_lift[at.row]), steps=steps)


def _cost(steps: IntArray, level: IntArray, one_lift: BoolArray) -> IntArray:
    """Lifts, legs, class and steps, in this order of importance, as one whole number."""
    turned = steps != 0
    front, rear = turned[:2].any(axis=0), turned[2:].any(axis=0)
    lifts = np.where(one_lift, front | rear, front.astype(np.int64) + rear)
    return ((lifts * 5 + turned.sum(axis=0)) * 5 + level) * (1 << 24) + np.abs(steps).sum(axis=0)


def _joined(offers: list[_Offers]) -> _Offers:
    return _Offers(
        row=np.concatenate([some.row for some in offers]),
        cost=np.concatenate([some.cost for some in offers]),
        steps=np.concatenate([some.steps for some in offers], axis=1),
    )


def _cheapest(lattice: Lattice, offers: _Offers) -> IntArray:
    """Return one offer for each row that has any: least cost, then nearest, then least to do at the rear."""
    kept = np.arange(offers.row.size)
    kept = kept[least_of_row(offers.row, offers.cost)]
    kept = kept[least_of_row(offers.row[kept], _far(lattice, offers.row[kept], offers.steps[:, kept]))]
    kept = kept[least_of_row(offers.row[kept], np.abs(offers.steps[2:, kept]).sum(axis=0))]
    return kept[np.unique(offers.row[kept], return_index=True)[1]]


def least_of_row(row: IntArray, value: FloatArray | IntArray) -> BoolArray:
    """Tell which entries have the least value of their row, ties included.

    Parameters
    ----------
    row : ndarray, shape (n,) [row]
        The row of each entry, from 0.
    value : ndarray, shape (n,) [any unit]
        What is compared; values within 1e-9 are a tie.

    Returns
    -------
    ndarray, shape (n,) [yes or no]
        True at the least of each row.

    Raises
    ------
    ValueError
        If the shapes do not agree, by NumPy.

    Examples
    --------
    >>> least_of_row(np.array([0, 0, 2, 2]), np.array([3, 1, 5, 5])).tolist()
    [False, True, True, True]

    References
    ----------
    Definition of the least, derived in DEVELOPERS.md, Geometry.
    """
    least = np.full(row.max(initial=-1) + 1, np.inf)
    np.minimum.at(least, row, value.astype(np.float64))
    return value <= least[row] + EDGE


def _far(lattice: Lattice, row: IntArray, steps: IntArray) -> FloatArray:
    """Return the sum of the squared deviations, each over its aim."""
    fl, fr, rl, rr = steps
    at = Points(row=row, a=fr - fl, b=rr - rl)
    pitch = lattice.pitch_ratio(row, rl + rr - fl - fr)
    return pitch**2 + lattice.roll_ratio(at) ** 2 + lattice.twist_ratio(at) ** 2
