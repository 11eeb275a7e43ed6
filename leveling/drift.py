"""Drift: how one number of a machine moves between surveys, on days that keep no calendar.

     deg                      o        o survey, each with its own variance
      |        o      . - ' ~ ~ ~      the level l moves by its rate r, and both wander
      |   . - ' - - '                      dl = r dt + level noise        dr = rate noise
      |  o          |                  a re-level is a step of known size, with the variance of that size
      +-----------------------> day

      two shapes are known, but not how much of each there is:
      settling   -e^(-age/settling_days)               new feet sink, fast at first
      yearly     cos(2 pi (day - peak)/365.25)         timber swells and shrinks with the seasons

Pitch, roll and twist are filtered each by itself: a batch may hold them as one more axis. Rate and shapes begin at zero
with a spread that is known; the level is unknown until the first survey.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import BoolArray, flags
from leveling.drift_steps import LEVEL, RATE, measured, passed
from leveling.errors import BadInput

#: So many series go through all their days together: their numbers then stay in the processor's cache.
BLOCK = 8192

YEAR_DAYS = 365.25
_LONGEST_DAYS = 40_000  # a century

#: Mean, shape (K, ...), and covariance, shape (K, K, ...), of what `leveling.drift_steps` names.
Known = tuple[FloatArray, FloatArray]


def _zero() -> FloatArray:
    return np.zeros(())


@dataclass(frozen=True)
class Walk:
    """How numbers wander, each field shape (...) that fits the series; ``deg`` stands for their unit.

    Attributes: ``level`` [deg^2/day] what the level gains in variance each day by itself. ``rate`` [deg^2/day^3] what
    the rate gains. ``first_rate`` [deg^2/day^2] variance of the rate at the first survey. ``settling`` [deg^2]
    variance of how far new feet sink, and ``settling_days`` [day], above 0, after which 63 % of that is done.
    ``yearly`` [deg^2] variance of the yearly swing to one side, and ``yearly_peak`` [day] on which it is widest.

    Raises BadInput if a field is not finite or negative.
    """

    level: FloatArray
    rate: FloatArray
    first_rate: FloatArray
    settling: FloatArray = field(default_factory=_zero)
    settling_days: FloatArray = field(default_factory=lambda: np.array(30.0))
    yearly: FloatArray = field(default_factory=_zero)
    yearly_peak: FloatArray = field(default_factory=_zero)

    def __post_init__(self) -> None:
        units = {
            "level": "deg^2/day", "rate": "deg^2/day^3", "first_rate": "deg^2/day^2", "settling": "deg^2",
            "yearly": "deg^2",
        }  # fmt: skip
        for name, unit in units.items():
            object.__setattr__(self, name, finite(name, getattr(self, name), low=0, unit=unit))
        days = finite("settling_days", self.settling_days, low=0, above=True, unit="days")
        object.__setattr__(self, "settling_days", days)
        object.__setattr__(self, "yearly_peak", finite("yearly_peak", self.yearly_peak, unit="days"))

    def spread(self, shape: tuple[int, ...]) -> "Walk":
        """Return the same with each field of that shape [same units]."""
        try:
            return Walk(**{name: np.broadcast_to(array, shape) for name, array in vars(self).items()})
        except ValueError as error:
            raise BadInput("walk", f"does not fit series of shape {shape}", "Give one walk, or one each series") from (
                error
            )

    def flat(self) -> "Walk":
        """Return the same with one axis [same units]."""
        return Walk(**{name: array.ravel() for name, array in vars(self).items()})

    def part(self, where: slice) -> "Walk":
        """Return some of it, once its fields have one axis [same units]."""
        return Walk(**{name: array[where] for name, array in vars(self).items()})

    def used(self) -> tuple[str, ...]:
        """Return the names of the shapes that can be at all [words]."""
        return tuple(name for name in HEIGHTS if getattr(self, name).any())

    def heights(self, used: tuple[str, ...], days: FloatArray, placed: FloatArray) -> FloatArray:
        """Return how high those shapes stand on some days, shape (S, ...) [1], for feet that stand since ``placed``."""
        return np.array([HEIGHTS[name](self, days, placed) for name in used])

    def first(self, used: tuple[str, ...], heights: FloatArray, value: FloatArray, variance: FloatArray) -> Known:
        """Return mean and covariance after the first survey, shape (K, ...) and (K, K, ...) [deg, deg/day]."""
        k = RATE + 1 + len(used)
        mean, cov = np.zeros((k, *value.shape)), np.zeros((k, k, *value.shape))
        mean[LEVEL], cov[LEVEL, LEVEL], cov[RATE, RATE] = value, variance, self.first_rate
        for place, (name, height) in enumerate(zip(used, heights, strict=True), start=RATE + 1):
            share = getattr(self, name)
            cov[place, place] = share
            cov[LEVEL, place] = cov[place, LEVEL] = -height * share
            cov[LEVEL, LEVEL] += height * height * share
        return mean, cov


def _settling(walk: Walk, days: FloatArray, placed: FloatArray) -> FloatArray:
    return -np.exp(-np.maximum(days - placed, 0) / walk.settling_days)


def _yearly(walk: Walk, days: FloatArray, _: FloatArray) -> FloatArray:
    return np.cos(2 * np.pi * (days - walk.yearly_peak) / YEAR_DAYS)


#: The known shapes, by the field of `Walk` that says how much of each there may be.
HEIGHTS: dict[str, Callable[[Walk, FloatArray, FloatArray], FloatArray]] = {"settling": _settling, "yearly": _yearly}


@dataclass(frozen=True)
class Series:
    """Surveys in the order of time, shape (..., T); what comes after a series' end is not ``seen``.

    Attributes: ``days`` [day] since any day, rising or equal; for a yearly shape, since a 1 January. ``values`` [deg]
    what was read, and ``variances`` [deg^2] of that, above 0. ``steps`` [deg] by what the level was changed on purpose
    since the survey before, with ``step_variances`` [deg^2]. ``seen`` [yes or no] whether there was a survey; each
    series begins with one and has no holes. ``placed`` [day], shape (...): since when the feet stand where they stand;
    left out, since the first survey.

    Raises BadInput if a field is not finite or out of range, days fall, the shapes do not fit, or a series is empty.
    """

    days: FloatArray
    values: FloatArray
    variances: FloatArray
    steps: FloatArray
    step_variances: FloatArray
    seen: BoolArray
    placed: FloatArray | None = None

    def __post_init__(self) -> None:
        seen = flags("seen", self.seen)
        checked: dict[str, NDArray[Any]] = {
            "days": finite("days", self.days, low=-_LONGEST_DAYS, high=_LONGEST_DAYS, unit="days"),
            "values": finite("values", self.values),
            "variances": finite("variances", self.variances, low=0, above=True),
            "steps": finite("steps", self.steps),
            "step_variances": finite("step_variances", self.step_variances, low=0),
            "seen": seen,
        }
        try:
            shape = np.broadcast_shapes(*(array.shape for array in checked.values()))
        except ValueError as error:
            shapes = ", ".join(f"{name} {array.shape}" for name, array in checked.items())
            raise BadInput("values", f"shapes do not fit together: {shapes}", "Give one entry a survey") from error
        if not shape or not shape[-1]:
            raise BadInput("values", "holds no survey", "Give at least one survey for each series")
        if (np.diff(checked["days"], axis=-1) < 0).any():
            raise BadInput("days", "goes back in time", "Give surveys in the order in which they were taken")
        if not seen[..., 0].all():
            raise BadInput("seen", "is no for the first survey", "Begin each series with its first survey")
        if (seen[..., 1:] & ~seen[..., :-1]).any():
            raise BadInput("seen", "is yes after a no", "Leave out surveys that were not taken")
        placed = checked["days"][..., 0] if self.placed is None else finite("placed", self.placed, unit="days")
        try:
            np.broadcast_to(placed, shape[:-1])
        except ValueError as error:
            raise BadInput("placed", f"has shape {placed.shape}", "Give one day each series") from error
        for name, array in {**checked, "placed": placed}.items():
            object.__setattr__(self, name, array)

    @property
    def shape(self) -> tuple[int, ...]:
        """The shape of the batch with the surveys last, (..., T) [count]."""
        return np.broadcast_shapes(*(array.shape for array in self.arrays))

    @property
    def arrays(self) -> tuple[NDArray[Any], ...]:
        """All fields with one entry a survey, in their order [deg, day, yes or no]."""
        return self.days, self.values, self.variances, self.steps, self.step_variances, self.seen

    @property
    def since(self) -> FloatArray:
        """The days since which feet stand, shape (...) [day]."""
        assert self.placed is not None  # set when made
        return np.broadcast_to(self.placed, self.shape[:-1])


@dataclass(frozen=True)
class Filtered:
    """What the filter made of a series.

    ``mean``, shape (K, ..., T), and ``cov``, shape (K, K, ..., T): level [deg], rate [deg/day] and the share of each
    shape [deg] by all surveys up to each; after a series' end they go on by themselves. ``surprise`` [deg], shape
    (..., T): what was read beyond what was expected, and ``expected`` [deg^2] the variance of that; 0 and 1 where
    there was no survey or nothing was expected. ``log_likelihood`` [1], shape (...): of all surveys after the first,
    whose level was unknown.
    """

    mean: FloatArray
    cov: FloatArray
    surprise: FloatArray
    expected: FloatArray
    log_likelihood: FloatArray


def filtered(series: Series, walk: Walk) -> Filtered:
    """Return level and rate after each survey, by that survey and all before it.

    Parameters
    ----------
    series : Series, shape (..., T) [deg, day]
        The surveys.
    walk : Walk, shape (...) [deg, day]
        How the numbers wander.

    Returns
    -------
    Filtered, its mean shape (K, ..., T) [deg, deg/day]
        Level, rate, shares of the shapes, and by how much each survey surprised.

    Raises
    ------
    BadInput
        If the shape of the walk does not fit the series'.

    Notes
    -----
    The exact filter of a level that is unknown at first: the first survey sets it. Time passes in one step of any
    length dt, with the variance level dt + rate dt^3/3, rate dt^2/2 and rate dt. The log-likelihood leaves the first
    survey out altogether; some books keep its -ln(2 pi)/2.

    Examples
    --------
    >>> zero = np.zeros(3)
    >>> series = Series(days=[0, 30, 90], values=[6.5, 6.4, 6.2], variances=[0.0025], steps=zero, step_variances=zero,
    ...                 seen=[True, True, True])
    >>> found = filtered(series, Walk(level=1e-5, rate=0.0, first_rate=1e-4))
    >>> found.mean[0].tolist()  # doctest: +NUMBER
    [6.5, 6.4026, 6.2010]

    References
    ----------
    J. Durbin and S. J. Koopman, Time Series Analysis by State Space Methods, 2nd ed., 2012, sections 3.2, 4.3 and 5.2
    (from memory); A. C. Harvey, Forecasting, Structural Time Series Models and the Kalman Filter, 1989, section 9.2,
    for days that are not evenly spaced (from memory).
    """
    shape = series.shape
    batch, count = shape[:-1] or (1,), shape[-1]
    inner = int(np.prod(batch[1:], dtype=int))
    arrays = [np.broadcast_to(array, (*batch, count)) for array in series.arrays]
    walk, placed, used = walk.spread(shape[:-1]).flat(), series.since.ravel(), walk.used()
    k, size = RATE + 1 + len(used), batch[0] * inner
    kept = _Kept(
        np.empty((k, count, size)), np.empty((k, k, count, size)), np.zeros((count, size)), np.ones((count, size)),
        np.zeros(size),
    )  # fmt: skip
    rows = max(1, BLOCK // max(1, inner))
    for begin in range(0, batch[0], rows):
        block = slice(begin * inner, (begin + rows) * inner)
        part = _Kept(*(array[..., block] for array in kept))
        by_days = [by_day(array[begin : begin + rows]) for array in arrays]
        _filter(by_days, walk.part(block), placed[block], used, part)
    return Filtered(
        mean=_as_batch(kept.mean, shape),
        cov=_as_batch(kept.cov, shape),
        surprise=_as_batch(kept.surprise, shape),
        expected=_as_batch(kept.expected, shape),
        log_likelihood=kept.likely.reshape(shape[:-1]),
    )


class _Kept(NamedTuple):
    """Where the filter writes, with the days before the series: shape (K, T, n), (K, K, T, n), (T, n) twice, (n)."""

    mean: FloatArray
    cov: FloatArray
    surprise: FloatArray
    expected: FloatArray
    likely: FloatArray


def _filter(arrays: list[NDArray[Any]], walk: Walk, placed: FloatArray, used: tuple[str, ...], kept: _Kept) -> None:
    """Filter some series, each array shape (T, n)."""
    days, values, variances, steps, step_variances, seen = arrays
    known = walk.first(used, walk.heights(used, days[0], placed), values[0], variances[0])
    kept.mean[:, 0], kept.cov[:, :, 0] = known
    for k in range(1, len(days)):
        mean, cov = passed(*known, days=days[k] - days[k - 1], level=walk.level, rate=walk.rate)
        mean[LEVEL] += steps[k]
        cov[LEVEL, LEVEL] += step_variances[k]
        variance = np.where(seen[k], variances[k], np.inf)
        heights = walk.heights(used, days[k], placed)
        read = measured(mean, cov, shapes=heights, value=values[k], variance=variance)
        known = read.mean, read.cov
        kept.mean[:, k], kept.cov[:, :, k] = known
        kept.surprise[k] = np.where(seen[k], read.surprise, 0)
        kept.expected[k] = np.where(seen[k], read.expected, 1)
        kept.likely[:] += np.where(seen[k], log_density(kept.surprise[k], kept.expected[k]), 0)


def log_density(surprise: FloatArray, variance: FloatArray) -> FloatArray:
    """Return how likely a surprise was, as a logarithm.

    Parameters
    ----------
    surprise, variance : ndarray, shape (...) [deg], [deg^2]
        By how much it was off, and the variance it was expected to have, above 0.

    Returns
    -------
    ndarray, shape (...) [1]
        Logarithm of the normal density.

    Raises
    ------
    Nothing: whoever calls has checked the numbers.

    Examples
    --------
    >>> float(log_density(np.array(0.0), np.array(1.0)))  # doctest: +NUMBER
    -0.91894

    References
    ----------
    The normal density.
    """
    return -0.5 * (np.log(2 * np.pi * variance) + surprise * surprise / variance)


def by_day(array: NDArray[Any]) -> NDArray[Any]:
    """Return some series with the days first and all else in one axis.

    Parameters
    ----------
    array : ndarray, shape (..., T) [any unit]
        One entry a survey.

    Returns
    -------
    ndarray, shape (T, n) [any unit]
        The same entries.

    Raises
    ------
    Nothing.

    Examples
    --------
    >>> by_day(np.array([[1.0, 2], [3, 4], [5, 6]])).tolist()
    [[1.0, 3.0, 5.0], [2.0, 4.0, 6.0]]

    References
    ----------
    Nothing but the order of axes.
    """
    return np.ascontiguousarray(np.moveaxis(array, -1, 0).reshape(array.shape[-1], -1))


def _as_batch(array: FloatArray, shape: tuple[int, ...]) -> FloatArray:
    """The days last again, and the series as they came: a view."""
    return np.moveaxis(array, -2, -1).reshape(*array.shape[:-2], *shape)
