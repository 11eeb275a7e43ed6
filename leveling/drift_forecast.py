"""Forecast: how far a machine may be out on a day to come, and the day by which the chance of that is too large.

      deg                                    chance of being out
       |  ......................... limit     1 |                   . - -
       |          . - ' ' band                  |             . - '
       |  o--o--<- - - - middle            10 % |- - - - - -/
       |          ' - . .                       |      . - '|
       |  ......................... limit     0 +-----------+---------> day
       +---------------------> day                       due

Until the day, a machine drifts and may have jumped any number of times: the forecast is a mixture of both, over the
ways in which the last survey may have come about.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import IntArray
from leveling.drift import YEAR_DAYS
from leveling.drift_jumps import Belief
from leveling.drift_model import Model
from leveling.drift_steps import passed, shown
from leveling.errors import BadInput
from leveling.verdicts import DEFAULT_RULE

#: More jumps than these until the day are reckoned as so many.
_MOST_JUMPS = 4

#: Days after which the chance is asked for, until it is too large; then the day is searched for between two of them.
_AHEAD_DAYS = (1, 4, 7, 14, 21, 30, 45, 60, 75, 90, 120, 150, 180, 240, 300, 365, 450, 550, 730)
LONGEST_DAYS = _AHEAD_DAYS[-1]


@dataclass(frozen=True)
class Limits:
    """Where a machine is in spec: from ``low`` to ``high`` [deg], shape (Q, n) or less; infinity where nothing limits.

    ``shared`` [deg^2], shape (Q, n) or less, at least 0: variance of what all surveys share and none can show, such as
    the zero of the level. Raises BadInput if a field is no number or the range is empty.
    """

    low: FloatArray
    high: FloatArray
    shared: FloatArray

    def __post_init__(self) -> None:
        for name in ("low", "high"):
            array = np.asarray(getattr(self, name), dtype=np.float64)
            if np.isnan(array).any():
                raise BadInput(name, "is not a number", "Give a limit in degree, or infinity for none")
            object.__setattr__(self, name, array)
        object.__setattr__(self, "shared", finite("shared", self.shared, low=0, unit="deg^2"))
        if (self.low >= self.high).any():
            raise BadInput("high", "is not above low", "Give the higher limit last")


@dataclass(frozen=True)
class Due:
    """When machines are due, each field shape (n).

    ``days`` [day] from the last survey to the first whole day on which the chance of being out is above the limit;
    infinity if it is not within two years. ``chance`` [1] on that day, or after two years. Of that chance, ``already``
    [1] was there at the last survey, ``drifting`` [1] comes from drift and ``jumping`` [1] from jumps; they sum to it,
    and where drift brings a machine back ``drifting`` is below 0. ``quantity``: the number of the quantity, 0 to Q - 1,
    that is most likely out.
    """

    days: FloatArray
    chance: FloatArray
    already: FloatArray
    drifting: FloatArray
    jumping: FloatArray
    quantity: IntArray


def chance_out(belief: Belief, *, model: Model, limits: Limits, days: FloatArray, jumps: bool = True) -> FloatArray:
    """Return the chance that machines are out of spec some days after their last survey.

    Parameters
    ----------
    belief : Belief, shape (n) [deg, day]
        What is known after the last survey.
    model : Model, shape (n) [deg, day]
        How they move, as `Model.of` gives it.
    limits : Limits, shape (Q, n) [deg]
        Where they are in spec.
    days : ndarray, shape (n) or () [day]
        How long after the last survey, at least 0.
    jumps : bool, scalar [yes or no]
        No leaves out jumps to come.

    Returns
    -------
    ndarray, shape (n) [1]
        The chance that at least one quantity is outside its limits.

    Raises
    ------
    BadInput
        If a day is before the last survey.

    Examples
    --------
    >>> from leveling.drift import Walk
    >>> from leveling.drift_jumps import Survey, begun
    >>> from leveling.drift_model import Hazard, Model
    >>> model = Model(walk=Walk(level=1e-5, rate=0.0, first_rate=0.0),
    ...               hazard=Hazard(jumps_per_year=0.5, jump_deg=0.3, bad_share=0.0, bad_deg=1.0)).of(1, 1)
    >>> zero = np.zeros((1, 1))
    >>> last = Survey(np.zeros(1), zero + 6.5, zero + 1e-3, zero, zero, np.array([True]))
    >>> limits = Limits(low=[[6.3]], high=[[6.7]], shared=0.0)
    >>> belief = begun(last, placed=np.zeros(1), model=model)
    >>> [float(chance_out(belief, model=model, limits=limits, days=after)[0]) for after in (0, 90)]
    ... # doctest: +NUMBER
    [0.00, 0.06]

    References
    ----------
    Derived in DEVELOPERS.md, Drift.
    """
    inside = _inside(belief, model, limits, days, jumps)
    return 1 - np.clip((inside.prod(axis=2) * _weights(belief, model, days, jumps)).sum(axis=(0, 1)), 0, 1)


def due(belief: Belief, *, model: Model, limits: Limits, most: FloatArray) -> Due:
    """Return when machines are due, and what makes them so.

    Parameters
    ----------
    belief : Belief, shape (n) [deg, day]
        What is known after the last survey.
    model : Model, shape (n) [deg, day]
        How they move, as `Model.of` gives it.
    limits : Limits, shape (Q, n) [deg]
        Where they are in spec.
    most : array_like, shape (n) or () [1]
        The chance of being out that is too large, above 0 and below 1.

    Returns
    -------
    Due, each shape (n) [day, 1]
        The days, and the parts of the chance.

    Raises
    ------
    BadInput
        If ``most`` is out of range.

    Notes
    -----
    The chance is asked for on days ever further apart, the first on which it is above ``most`` taken, and the day
    searched for since the one before by halving.

    Examples
    --------
    >>> from leveling.drift import Walk
    >>> from leveling.drift_jumps import Survey, begun
    >>> from leveling.drift_model import Hazard, Model
    >>> model = Model(walk=Walk(level=1e-5, rate=0.0, first_rate=0.0),
    ...               hazard=Hazard(jumps_per_year=0.5, jump_deg=0.3, bad_share=0.0, bad_deg=1.0)).of(1, 1)
    >>> zero = np.zeros((1, 1))
    >>> last = Survey(np.zeros(1), zero + 6.5, zero + 1e-3, zero, zero, np.array([True]))
    >>> limits = Limits(low=[[6.3]], high=[[6.7]], shared=0.0)
    >>> when = due(begun(last, placed=np.zeros(1), model=model), model=model, limits=limits, most=0.1)
    >>> float(when.days[0])
    155.0

    References
    ----------
    Derived in DEVELOPERS.md, Drift.
    """
    count = belief.day.size
    limit = np.broadcast_to(finite("most", most, low=0, high=1, above=True), (count,))
    days, before = np.full(count, np.inf), np.zeros(count)
    open_ = np.arange(count)
    for ahead in (0, *_AHEAD_DAYS):
        chance = _of(open_, belief, model, limits, np.full(open_.size, float(ahead)))
        over = chance > limit[open_]
        days[open_[over]] = ahead
        before[open_[~over]] = ahead
        open_ = open_[~over]
        if not open_.size:
            break
    _halve(days, before, limit, belief, model, limits)
    last = np.minimum(days, LONGEST_DAYS)
    chance = chance_out(belief, model=model, limits=limits, days=last)
    still = chance_out(belief, model=model, limits=limits, days=last, jumps=False)
    already = chance_out(belief, model=model, limits=limits, days=np.zeros(count))
    inside = _inside(belief, model, limits, last, True) * _weights(belief, model, last, True)[:, :, None]
    return Due(
        days=days,
        chance=chance,
        already=already,
        drifting=still - already,
        jumping=chance - still,
        quantity=inside.sum(axis=(0, 1)).argmin(axis=0),
    )


def due_limit(already: FloatArray, *, most: FloatArray) -> FloatArray:
    """Return the chance of being out at which a machine is due.

    Parameters
    ----------
    already : ndarray, shape (...) [1]
        The chance of being out at the last survey.
    most : array_like, shape (...) [1]
        The chance that is too large, where a survey was sure.

    Returns
    -------
    ndarray, shape (...) [1]
        ``most``; but where the last survey says in spec by the daily rule and is no surer than that, what it left and
        half of ``most`` besides. Another visit with the same level would find nothing new before drift and jumps have
        added as much.

    Raises
    ------
    BadInput
        If a chance is out of range.

    Examples
    --------
    >>> due_limit(np.array([0.0, 0.08, 0.2, 0.7]), most=0.1).tolist()  # doctest: +NUMBER
    [0.10, 0.13, 0.25, 0.10]

    References
    ----------
    Common practice, no source; the daily rule is that of `leveling.verdicts`.
    """
    there = finite("already", already, low=0, high=1)
    limit = finite("most", most, low=0, high=1, above=True)
    in_spec = 1 - there >= DEFAULT_RULE.in_from
    return np.where(in_spec, np.maximum(limit, there + limit / 2), limit)


def band(
    belief: Belief,
    *,
    model: Model,
    days: FloatArray,
    shared: FloatArray,
    shares: tuple[float, ...] = (0.025, 0.5, 0.975),
) -> FloatArray:
    """Return where the numbers will be some days after the last survey.

    Parameters
    ----------
    belief : Belief, shape (n) [deg, day]
        What is known after the last survey.
    model : Model, shape (n) [deg, day]
        How they move, as `Model.of` gives it.
    days : ndarray, shape (n) or () [day]
        How long after the last survey, at least 0.
    shared : ndarray, shape (Q, n) or less [deg^2]
        As in `Limits`.
    shares : tuple of float, shape (m) [1]
        How much lies below each line: by default 95 % lie between the first and the last, half on each side of the
        second.

    Returns
    -------
    ndarray, shape (m, Q, n) [deg]
        The lines.

    Raises
    ------
    BadInput
        If a day is before the last survey.

    Notes
    -----
    The quantiles of the mixture, searched for by halving to 0.0001 of the widest part's spread.

    Examples
    --------
    >>> from leveling.drift import Walk
    >>> from leveling.drift_jumps import Survey, begun
    >>> from leveling.drift_model import Hazard, Model
    >>> model = Model(walk=Walk(level=1e-5, rate=0.0, first_rate=0.0),
    ...               hazard=Hazard(jumps_per_year=0.5, jump_deg=0.3, bad_share=0.0, bad_deg=1.0)).of(1, 1)
    >>> zero = np.zeros((1, 1))
    >>> last = Survey(np.zeros(1), zero + 6.5, zero + 1e-3, zero, zero, np.array([True]))
    >>> belief = begun(last, placed=np.zeros(1), model=model)
    >>> band(belief, model=model, days=np.array(0.0), shared=zero)[:, 0, 0].tolist()  # doctest: +NUMBER
    [6.438, 6.500, 6.562]

    References
    ----------
    Derived in DEVELOPERS.md, Drift.
    """
    middle, spread = _then(belief, model, days, shared, jumps=True)
    weights = _weights(belief, model, days, True)[:, :, None]
    wanted = np.reshape(shares, (-1, 1, 1))
    low = np.broadcast_to((middle - 9 * spread).min(axis=(0, 1)), (len(shares), *middle.shape[2:])).copy()
    high = np.broadcast_to((middle + 9 * spread).max(axis=(0, 1)), low.shape).copy()
    for _ in range(24):
        half = (low + high) / 2
        below = (weights * ndtr((half[:, None, None] - middle) / spread)).sum(axis=(1, 2)) < wanted
        low, high = np.where(below, half, low), np.where(below, high, half)
    return (low + high) / 2


def _then(
    belief: Belief, model: Model, days: FloatArray, shared: FloatArray, *, jumps: bool
) -> tuple[FloatArray, FloatArray]:
    """Middle and spread of each part of the mixture: shape (W, jumps, Q, n), the jumps counted from none."""
    ahead = finite("days", days, low=0, unit="days")
    mean, cov = passed(belief.mean, belief.cov, days=ahead, level=model.walk.level, rate=model.walk.rate)
    heights = model.walk.heights(belief.used, belief.day + ahead, belief.placed)
    middle, variance = shown(mean, cov, shapes=heights)
    counts = np.arange(_MOST_JUMPS + 1 if jumps else 1)[:, None, None]
    moved = counts * model.hazard.jump_deg**2
    return middle[:, None], np.sqrt(variance[:, None] + shared + moved)


def _weights(belief: Belief, model: Model, days: FloatArray, jumps: bool) -> FloatArray:
    """How likely each part of the mixture is, shape (W, jumps, n)."""
    if not jumps:
        return belief.weights[:, None]
    expected = model.hazard.jumps_per_year * days / YEAR_DAYS
    chances = [np.exp(-expected)]
    for count in range(1, _MOST_JUMPS):
        chances.append(chances[-1] * expected / count)
    chances.append(np.maximum(1 - sum(chances), 0))
    return belief.weights[:, None] * np.stack(chances)


def _inside(belief: Belief, model: Model, limits: Limits, days: FloatArray, jumps: bool) -> FloatArray:
    """The chance of each quantity to be inside by each part of the mixture, shape (W, jumps, Q, n)."""
    middle, spread = _then(belief, model, days, limits.shared, jumps=jumps)
    return ndtr((limits.high - middle) / spread) - ndtr((limits.low - middle) / spread)


def _of(where: IntArray, belief: Belief, model: Model, limits: Limits, days: FloatArray) -> FloatArray:
    """The chance for some of the machines."""
    some = Limits(*(np.broadcast_to(each, belief.mean.shape[2:])[:, where] for each in vars(limits).values()))
    return chance_out(belief.of(where), model=model.part(where), limits=some, days=days)


def _halve(
    days: FloatArray, before: FloatArray, limit: FloatArray, belief: Belief, model: Model, limits: Limits
) -> None:
    """Search for the first whole day with too large a chance, between one without and one with it."""
    while (wide := np.flatnonzero(np.isfinite(days) & (days - before > 1))).size:
        half = np.floor((days[wide] + before[wide]) / 2)
        over = _of(wide, belief, model, limits, half) > limit[wide]
        days[wide] = np.where(over, half, days[wide])
        before[wide] = np.where(over, before[wide], half)
