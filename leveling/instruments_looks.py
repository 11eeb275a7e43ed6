"""What looks at a bubble say about a tilt: each look is an interval, blurred at its ends by everyday errors.

        low        high            chance of a look = Phi((high - tilt - c)/f) - Phi((low - tilt - c)/f)
          __________
    _____/          :_____  tilt   f  drawn afresh with every look: laying down, the eye, the block used
        f            f             c  the bubble's own error, the same in every look, -c when turned end for end

The looks together, times what was believed before, give mean, uncertainty and a 95 % interval: no normal
distribution is assumed for an interval that is none.
"""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import BoolArray, IntArray, flags, together
from leveling.errors import BadInput
from leveling.instruments import Budget

#: Outcome of a row of looks, and in words.
BETWEEN, ONE_SIDED, CONTRADICTED, NO_LOOKS, AGAINST_BELIEF = range(5)
LOOK_OUTCOMES = (
    "measured: the tilt lies between two limits",
    "only a side is known: go on until a look says level or the other side",
    "the looks contradict one another: lay the bubble down again and look afresh",
    "nothing known: no looks",
    "far from what was believed before: check which end was high, then measure with a level",
)

#: Standard uncertainty of an angle of which nothing is known: rectangular between -90 and 90 degrees.
NO_IDEA_U_DEG = 90 / np.sqrt(3)

#: Normal quantile of a two-sided 95 % interval.
SIGMAS_95 = 1.959963984540054

_MOST_DEG = 89.999
_POINTS, _OWN_POINTS, _ROWS_AT_ONCE = 241, 15, 2000
_FAR_SIGMAS, _SLACK_SIGMAS, _TAIL_SIGMAS = 4.5, 3.5, 6.0


@dataclass(frozen=True)
class Belief:
    """What is thought of a tilt before looking, a normal distribution, each field shape (...).

    Attributes: ``mean_deg`` [degree] -45 to 45. ``u_deg`` [degree] its standard deviation, above 0 and at most 45.

    Raises BadInput if a field is not finite or out of its range.
    """

    mean_deg: FloatArray
    u_deg: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "mean_deg", finite("mean_deg", self.mean_deg, low=-45, high=45, unit="degrees"))
        width = finite("u_deg", self.u_deg, low=0, high=45, unit="degrees", above=True)
        object.__setattr__(self, "u_deg", width)


@dataclass(frozen=True)
class Estimate:
    """A tilt found with a humble instrument, each field shape (...).

    Attributes: ``angle_deg`` [degree] positive = rear or right side higher. ``low_deg`` and ``high_deg`` [degree] 95 %
    interval, not always symmetric. ``budget`` [degree] as Budget; ``budget.u_deg`` is the standard uncertainty.
    ``outcome`` [code] index into the words of the function that made it; where it says that nothing is known, the
    uncertainty is that of any angle.
    """

    angle_deg: FloatArray
    low_deg: FloatArray
    high_deg: FloatArray
    budget: Budget
    outcome: IntArray

    @property
    def u_deg(self) -> FloatArray:
        """Standard uncertainty, all parts together [degree]."""
        return self.budget.u_deg


@dataclass(frozen=True)
class _Rows:
    """Looks as flat rows: limits, blur and sign of the own error (n, k), own error and belief (n, 1)."""

    low: FloatArray
    high: FloatArray
    blur: FloatArray
    sign: FloatArray
    own: FloatArray
    mean: FloatArray
    width: FloatArray

    def part(self, rows: slice) -> "_Rows":
        return _Rows(*[getattr(self, item.name)[rows] for item in fields(self)])


def weigh_looks(
    *,
    low_deg: ArrayLike,
    high_deg: ArrayLike,
    budget: Budget,
    turned: ArrayLike = False,
    belief: Belief | None = None,
) -> Estimate:
    """Return the tilt that looks at a bubble leave possible, weighed with what was believed before.

    Parameters
    ----------
    low_deg, high_deg : array_like, shape (..., k) [degree]
        Limits of the tilt by each of k looks if nothing else were wrong, low below high; -inf or inf for none.
    budget : Budget, each field shape (..., k) [degree]
        Errors beside the interval: ``alignment_deg``, ``repeat_deg`` and ``zero_deg`` are drawn afresh by look,
        ``accuracy_deg`` belongs to the bubble (rectangular; the largest of a row counts). The others are unused.
    turned : array_like of bool, shape (..., k) [yes or no]
        The bubble was turned end for end for this look, so that its own error counts the other way.
    belief : Belief, each field shape (...) [degree]
        What was believed before; None if nothing.

    Returns
    -------
    Estimate, each field shape (...) [degree]
        Mean, 95 % interval and budget; ``outcome`` as in LOOK_OUTCOMES.

    Raises
    ------
    BadInput
        If a limit is not a number, low is not below high, there is no axis of looks, or the shapes do not fit.

    Notes
    -----
    Worked out on 241 tilts and 15 own errors (midpoint rule, the cell widths added to the blur): mean and uncertainty
    are within 1 % of the uncertainty, limits within 2 %. In the budget ``accuracy_deg`` is the spread of the answer
    over the own error; blur counts once per look; the rest, with what is left of the belief, is ``resolution_deg``
    and repeats in full: more looks of the same kind do not average it. With a belief the answer holds it already,
    so do not put it beside other readings of the same slope.

    Examples
    --------
    >>> level = weigh_looks(low_deg=[-0.2], high_deg=[0.2], budget=Budget())
    >>> float(level.angle_deg), float(level.u_deg), float(level.high_deg)  # doctest: +NUMBER
    (0.0, 0.115, 0.19)

    References
    ----------
    Bayes with a flat or normal prior; rectangular interval: JCGM 100:2008 (GUM), 4.3.7. Derived in DEVELOPERS.md,
    Geometry.
    """
    low, high = together(low_deg=_limit("low_deg", low_deg), high_deg=_limit("high_deg", high_deg))
    if (low >= high).any():
        raise BadInput("low_deg", "is not below high_deg", "Give the lower limit as low_deg")
    parts = {item.name: getattr(budget, item.name) for item in fields(budget)}
    low, high, turn, *stretched = together(low_deg=low, high_deg=high, turned=flags("turned", turned), **parts)
    if low.ndim == 0 or low.shape[-1] == 0:
        raise BadInput("low_deg", "holds no looks", "Give at least one look on the last axis")
    part = dict(zip(parts, stretched, strict=True))
    looked = np.isfinite(low) | np.isfinite(high)
    rows, batch = _flat(low, high, part, turn, belief)
    count = rows.low.shape[0]
    pieces = [_weigh(rows.part(slice(at, at + _ROWS_AT_ONCE))) for at in range(0, count, _ROWS_AT_ONCE)]
    mean, u, below, above, u_own = np.hstack(pieces) if pieces else np.zeros((5, 0))
    outcome, edge = _outcomes(rows, sure=belief is not None)
    lost = (outcome == CONTRADICTED) | (outcome == AGAINST_BELIEF)
    if belief is None:
        lost = lost | (outcome == ONE_SIDED) | (outcome == NO_LOOKS)
    open_low, open_high = ~np.isfinite(rows.low).any(axis=1), ~np.isfinite(rows.high).any(axis=1)
    below = np.where(lost, np.where(open_low | (outcome != ONE_SIDED), -90.0, edge), below)
    above = np.where(lost, np.where(open_high | (outcome != ONE_SIDED), 90.0, edge), above)
    return Estimate(
        angle_deg=np.where(lost, edge, mean).reshape(batch),
        low_deg=below.reshape(batch),
        high_deg=above.reshape(batch),
        budget=_split(np.where(lost, NO_IDEA_U_DEG, u), np.where(lost, 0.0, u_own), part, looked, batch),
        outcome=outcome.reshape(batch),
    )


def _limit(name: str, value: ArrayLike) -> FloatArray:
    array = np.asarray(value, dtype=np.float64)
    if np.isnan(array).any():
        raise BadInput(name, "holds a value that is not a number", "Give degrees, or an infinity for no limit")
    return array


def _flat(
    low: FloatArray, high: FloatArray, part: dict[str, FloatArray], turned: BoolArray, belief: Belief | None
) -> tuple[_Rows, tuple[int, ...]]:
    """Looks as rows, and the batch shape to give the answers."""
    batch = low.shape[:-1]
    mean, width = np.zeros(()), np.full((), np.inf)
    if belief is not None:
        mean, width, _ = together(mean_deg=belief.mean_deg, u_deg=belief.u_deg, looks=np.zeros(batch))
        batch = mean.shape
    k = low.shape[-1]

    def look(array: FloatArray) -> FloatArray:
        return np.broadcast_to(array, (*batch, k)).reshape(-1, k)

    def one(array: FloatArray) -> FloatArray:
        return np.broadcast_to(array, batch).reshape(-1, 1)

    blur = np.sqrt(part["alignment_deg"] ** 2 + part["repeat_deg"] ** 2 + part["zero_deg"] ** 2)
    own = part["accuracy_deg"].max(axis=-1) * np.sqrt(3)
    sign = np.where(turned, -1.0, 1.0)
    return _Rows(look(low), look(high), look(blur), look(sign), one(own), one(mean), one(width)), batch


def _outcomes(rows: _Rows, *, sure: bool) -> tuple[IntArray, FloatArray]:
    """Outcome of each row, and the tilt to name where none can be worked out."""
    floor, ceiling = rows.low.max(axis=1), rows.high.min(axis=1)
    slack = _SLACK_SIGMAS * rows.blur + rows.own
    apart = (rows.low - slack).max(axis=1) >= (rows.high + slack).min(axis=1)
    empty = np.isinf(floor) & np.isinf(ceiling)
    one_sided = np.isinf(floor) ^ np.isinf(ceiling)
    far = np.zeros(floor.shape, dtype=np.bool_)
    if sure:
        mean, reach = rows.mean[:, 0], _FAR_SIGMAS * rows.width[:, 0]
        far = ((rows.low - slack).max(axis=1) > mean + reach) | ((rows.high + slack).min(axis=1) < mean - reach)
    outcome = np.select([empty, apart, far, one_sided], [NO_LOOKS, CONTRADICTED, AGAINST_BELIEF, ONE_SIDED], BETWEEN)
    both = np.where(empty, 0.0, np.where(np.isinf(floor), ceiling, floor))
    edge = np.where(
        np.isfinite(floor) & np.isfinite(ceiling), (np.nan_to_num(floor) + np.nan_to_num(ceiling)) / 2, both
    )
    return outcome.astype(np.int64), edge


def _weigh(rows: _Rows) -> FloatArray:
    """Mean, standard deviation, both ends of the 95 % interval, and the part from the own error: shape (5, n)."""
    reach = rows.own + _TAIL_SIGMAS * rows.blur
    start = (rows.low - reach).max(axis=1, keepdims=True)
    stop = (rows.high + reach).min(axis=1, keepdims=True)
    start = np.maximum(start, np.maximum(rows.mean - _TAIL_SIGMAS * rows.width, -_MOST_DEG))
    stop = np.minimum(stop, np.minimum(rows.mean + _TAIL_SIGMAS * rows.width, _MOST_DEG))
    cell = np.maximum(stop - start, 1e-9) / _POINTS  # rows that contradict themselves get an outcome, not a crash
    tilt = start + cell * (np.arange(_POINTS) + 0.5)
    prior = np.exp(-0.5 * ((tilt - rows.mean) / rows.width) ** 2)
    points = _OWN_POINTS if rows.own.any() else 1
    own_cell = 2 * rows.own / points
    blur = np.sqrt(rows.blur**2 + (cell**2 + own_cell**2) / 12)
    mass = np.zeros_like(tilt)
    of_own = []
    for step in np.arange(points) - (points - 1) / 2:
        chance = prior * _chance_of_looks(rows, tilt, step * own_cell, blur)
        mass += chance
        of_own.append((chance.sum(axis=1), (chance * tilt).sum(axis=1)))
    total = np.maximum(mass.sum(axis=1), np.finfo(np.float64).tiny)
    mean = (mass * tilt).sum(axis=1) / total
    variance = (mass * (tilt - mean[:, None]) ** 2).sum(axis=1) / total + cell[:, 0] ** 2 / 12
    own_mean = [sums / np.maximum(weight, np.finfo(np.float64).tiny) for weight, sums in of_own]
    spread = sum(w / total * (m - mean) ** 2 for (w, _), m in zip(of_own, own_mean, strict=True))
    spread = np.minimum(spread + own_cell[:, 0] ** 2 / 12 * (rows.own[:, 0] > 0), variance)
    ends = [_quantile(mass / total[:, None], chance, start[:, 0], cell[:, 0]) for chance in (0.025, 0.975)]
    return np.stack([mean, np.sqrt(variance), *ends, np.sqrt(spread)])


def _chance_of_looks(rows: _Rows, tilt: FloatArray, own: FloatArray, blur: FloatArray) -> FloatArray:
    """Chance of all looks of a row at each tilt, the bubble's own error given."""
    chance = np.ones_like(tilt)
    for look in range(rows.low.shape[1]):
        column = slice(look, look + 1)
        shown = tilt + rows.sign[:, column] * own
        below = ndtr((rows.high[:, column] - shown) / blur[:, column])
        chance = chance * (below - ndtr((rows.low[:, column] - shown) / blur[:, column]))
    return chance


def _quantile(mass: FloatArray, chance: float, start: FloatArray, cell: FloatArray) -> FloatArray:
    """Tilt below which this chance lies, straight lines inside the cells."""
    total = np.cumsum(mass, axis=1)
    at = np.minimum((total < chance).sum(axis=1), mass.shape[1] - 1)[:, None]
    inside = np.take_along_axis(mass, at, axis=1)[:, 0]
    before = np.take_along_axis(total, at, axis=1)[:, 0] - inside
    return start + cell * (at[:, 0] + np.clip((chance - before) / np.maximum(inside, 1e-300), 0, 1))


def _split(
    u: FloatArray, u_own: FloatArray, part: dict[str, FloatArray], looked: BoolArray, batch: tuple[int, ...]
) -> Budget:
    """Budget whose parts add up to u: the own error, then blur by its shares, the interval takes the rest."""
    looks = np.maximum(looked.sum(axis=-1), 1)
    blurs = {
        name: (part[name] ** 2 * looked).sum(axis=-1) / looks**2 for name in ("alignment_deg", "repeat_deg", "zero_deg")
    }
    nominal = np.broadcast_to(sum(blurs.values()), batch)
    rest = np.maximum(u**2 - u_own**2, 0).reshape(batch)
    share = np.minimum(rest, nominal) / np.maximum(nominal, 1e-300)
    interval = np.sqrt(np.maximum(rest - nominal, 0))
    return Budget(
        resolution_deg=interval,
        repeating_deg=interval,
        accuracy_deg=u_own.reshape(batch),
        **{name: np.sqrt(value * share) for name, value in blurs.items()},
    )
