"""Jumps and bad surveys: what happened between two visits, each way with its chance.

      at each survey, four ways for each machine:
        none    it drifted, as `leveling.drift` says
        jump    somebody moved it: the level of pitch, roll and twist went somewhere else, and stays there
        set     somebody turned its legs and told nobody: the same, farther, and only when people are at it
        bad     the survey was read wrong: what it says is far off, and the machine is where it was

      deg         o  o         deg         o
       |   o   o                |   o   o     o  o        the next survey tells a jump from a bad survey,
       +-----------> day        +-----------> day         so the last way of each machine is kept open until then
           jump                     bad

Pitch, roll and twist share the way, since a machine jumps as a whole; given the way, each is filtered by itself.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from leveling.checks import FloatArray, finite
from leveling.drift import YEAR_DAYS, Series, log_density
from leveling.drift_model import Hazard, Model
from leveling.drift_steps import LEVEL, measured, passed
from leveling.errors import BadInput

WAYS = ("none", "jump", "set", "bad")
NONE, JUMP, SET, BAD = range(len(WAYS))

#: So many machines are followed together: their numbers then stay in the processor's cache.
BLOCK = 1024

#: No way is ever quite impossible, or the next survey could not bring it back.
_LEAST = 1e-300


@dataclass(frozen=True)
class Belief:
    """What is known of n machines after their last survey, for each of the W ways that survey may have come about.

    ``weights`` [1], shape (W, n): the chance of each way. ``mean``, shape (K, W, Q, n), and ``cov``, shape
    (K, K, W, Q, n) [deg, deg/day]: what `leveling.drift_steps` names, for Q quantities. ``day`` [day], shape (n): when
    that survey was. ``placed`` [day], shape (n): since when the feet stand. ``used`` [words]: which shapes there are.
    """

    weights: FloatArray
    mean: FloatArray
    cov: FloatArray
    day: FloatArray
    placed: FloatArray
    used: tuple[str, ...]

    def of(self, where: Any) -> "Belief":
        """Return it for some machines, each as often as it is named [same units]."""
        return replace(
            self,
            weights=self.weights[:, where],
            mean=self.mean[..., where],
            cov=self.cov[..., where],
            day=self.day[where],
            placed=self.placed[where],
        )


@dataclass(frozen=True)
class Survey:
    """One survey of each of n machines.

    ``day`` [day], shape (n). ``values`` [deg] and ``variances`` [deg^2], ``steps`` [deg] and ``step_variances``
    [deg^2], each shape (Q, n), as in `leveling.drift.Series`. ``seen`` [yes or no], shape (n): a machine without stays
    as it was.
    """

    day: FloatArray
    values: FloatArray
    variances: FloatArray
    steps: FloatArray
    step_variances: FloatArray
    seen: NDArray[np.bool_]


@dataclass(frozen=True)
class Updated:
    """What one more survey of n machines tells.

    ``belief`` [deg, day]: what is known now. ``ways`` [1], shape (W, W, n): the chance of each way before with each way
    now; they sum to 1. ``log_likelihood`` [1], shape (n): of that survey; 0 where there was none.
    """

    belief: Belief
    ways: FloatArray
    log_likelihood: FloatArray


@dataclass(frozen=True)
class Followed:
    """What became of machines from survey to survey.

    ``belief`` [deg, day], shape (n): after the last. ``ways`` [1], shape (W, n, T): the chance of each way in which a
    survey came about, by all surveys up to the next one, and ``at_once`` the same by those up to that one; 0 where
    there was no survey. ``log_likelihood`` [1], shape (n): of all surveys after the first.
    """

    belief: Belief
    ways: FloatArray
    at_once: FloatArray
    log_likelihood: FloatArray


def followed(series: Series, model: Model) -> Followed:
    """Return what became of machines, with jumps and bad surveys told from drift.

    Parameters
    ----------
    series : Series, shape (n, Q, T) [deg, day]
        Surveys of n machines, Q quantities that share their days and what happens.
    model : Model, shape (n, Q) [deg, day]
        How they move.

    Returns
    -------
    Followed, its belief shape (n) [deg, 1]
        What is known after the last survey, and the chance of jumps and bad surveys.

    Raises
    ------
    BadInput
        If the series have another number of axes, or the model does not fit.

    Notes
    -----
    At each survey each of four ways meets each of four: sixteen filters, merged again to four by the last way, with
    mean and variance kept (the generalized pseudo-Bayes method of second order).

    Examples
    --------
    >>> days = [0.0, 30, 60, 90, 120]
    >>> values = [[[6.5, 6.51, 6.9, 6.9, 6.91], [0.0, 0.01, 0.0, -0.01, 0.0]]]
    >>> series = Series(days=days, values=values, variances=[1e-3], steps=np.zeros(1), step_variances=np.zeros(1),
    ...                 seen=np.ones(5, dtype=bool))
    >>> from leveling.drift import Walk
    >>> model = Model(walk=Walk(level=1e-5, rate=0.0, first_rate=1e-7),
    ...               hazard=Hazard(jumps_per_year=0.5, jump_deg=0.3, bad_share=0.01, bad_deg=1.0))
    >>> (followed(series, model).ways[JUMP] > 0.5).tolist()
    [[False, False, True, False, False]]

    References
    ----------
    Y. Bar-Shalom, X. R. Li and T. Kirubarajan, Estimation with Applications to Tracking and Navigation, 2001, section
    11.6.4 (from memory).
    """
    if len(series.shape) != 3:
        raise BadInput("series", f"has shape {series.shape}", "Give machines, quantities, surveys")
    count, quantities, surveys = series.shape
    whole = model.of(count, quantities)
    arrays = [np.moveaxis(np.broadcast_to(array, series.shape), 0, -1) for array in series.arrays]
    placed, used = series.since[:, 0], whole.walk.used()
    (ways, at_once), likely = np.zeros((2, len(WAYS), count, surveys)), np.zeros(count)
    beliefs = []
    for begin in range(0, max(count, 1), BLOCK):
        block = slice(begin, begin + BLOCK)
        part = whole.part(block)
        days, values, variances, steps, step_variances, seen = (
            np.ascontiguousarray(np.moveaxis(array[..., block], 1, 0)) for array in arrays
        )
        rows = (
            Survey(*of) for of in zip(days[:, 0], values, variances, steps, step_variances, seen[:, 0], strict=True)
        )
        belief = begun(next(rows), placed=placed[block], model=part, used=used)
        at_once[:, block, 0] = belief.weights
        for k, survey in enumerate(rows, start=1):
            after = updated(belief, survey, model=part)
            belief = after.belief
            likely[block] += after.log_likelihood
            ways[:, block, k - 1] = np.where(survey.seen, after.ways.sum(axis=1), at_once[:, block, k - 1])
            at_once[:, block, k] = np.where(survey.seen, after.ways.sum(axis=0), 0)
        ways[:, block, -1] = at_once[:, block, -1]
        beliefs.append(belief)
    return Followed(_joined(beliefs), ways, at_once, likely)


def begun(survey: Survey, *, placed: FloatArray, model: Model, used: tuple[str, ...] | None = None) -> Belief:
    """Return what is known after the first survey.

    Parameters
    ----------
    survey : Survey, shape (n) [deg, day]
        The first survey of each; there are no steps before it.
    placed : ndarray, shape (n) [day]
        Since when the feet stand.
    model : Model, shape (n) [deg, day]
        How they move, as `Model.of` gives it.
    used : tuple of str, shape (S) [words]
        The shapes to reckon with, where these are some machines of many; left out, those that the model has.

    Returns
    -------
    Belief, shape (n) [deg, day]
        What is known.

    Raises
    ------
    Nothing: `Series`, `Walk` and `Hazard` have checked the numbers.

    Examples
    --------
    >>> from leveling.drift import Walk
    >>> model = Model(walk=Walk(level=1e-5, rate=0.0, first_rate=1e-7),
    ...               hazard=Hazard(jumps_per_year=0.5, jump_deg=0.3, bad_share=0.01, bad_deg=1.0)).of(1, 1)
    >>> zero = np.zeros((1, 1))
    >>> first = Survey(np.zeros(1), zero + 6.5, zero + 1e-3, zero, zero, np.array([True]))
    >>> begun(first, placed=np.zeros(1), model=model).weights[:, 0].tolist()
    [0.99, 0.0, 0.0, 0.01]

    References
    ----------
    As `followed`.
    """
    shapes = model.walk.used() if used is None else used
    heights = model.walk.heights(shapes, survey.day, placed)
    known = [
        model.walk.first(shapes, heights, survey.values, variance) for variance in _read_with(survey, model.hazard)
    ]
    bad = np.broadcast_to(model.hazard.bad_share, survey.day.shape)
    return Belief(
        weights=np.stack([1 - bad, np.zeros_like(bad), np.zeros_like(bad), bad]),
        mean=np.stack([mean for mean, _ in known], axis=1),
        cov=np.stack([cov for _, cov in known], axis=2),
        day=survey.day,
        placed=placed,
        used=shapes,
    )


def updated(belief: Belief, survey: Survey, *, model: Model) -> Updated:
    """Return what is known after one more survey.

    Parameters
    ----------
    belief : Belief, shape (n) [deg, day]
        What was known after the survey before.
    survey : Survey, shape (n) [deg, day]
        The survey.
    model : Model, shape (n) [deg, day]
        How they move, as `Model.of` gives it.

    Returns
    -------
    Updated, its belief shape (n) [deg, day, 1]
        What is known now, and how likely that survey was.

    Raises
    ------
    Nothing: `Series`, `Walk` and `Hazard` have checked the numbers.

    Examples
    --------
    >>> from leveling.drift import Walk
    >>> model = Model(walk=Walk(level=1e-5, rate=0.0, first_rate=1e-7),
    ...               hazard=Hazard(jumps_per_year=0.5, jump_deg=0.3, bad_share=0.01, bad_deg=1.0)).of(1, 1)
    >>> def survey(day: float, deg: float) -> Survey:
    ...     zero = np.zeros((1, 1))
    ...     return Survey(np.array([day]), zero + deg, zero + 1e-3, zero, zero, np.array([True]))
    >>> belief = begun(survey(0, 6.5), placed=np.zeros(1), model=model)
    >>> updated(belief, survey(30, 6.9), model=model).belief.weights[:, 0].tolist()  # doctest: +NUMBER
    [0.1202, 0.7536, 0.0, 0.1262]

    References
    ----------
    As `followed`.
    """
    seen, hazard = survey.seen, model.hazard
    days = np.where(seen, survey.day - belief.day, 0)
    mean, cov = passed(belief.mean, belief.cov, days=days, level=model.walk.level, rate=model.walk.rate)
    mean[LEVEL] += survey.steps
    cov[LEVEL, LEVEL] += survey.step_variances
    mean, cov = mean[:, :, None], np.repeat(cov[:, :, :, None], len(WAYS), axis=3)
    cov[LEVEL, LEVEL, :, JUMP] += hazard.jump_deg**2
    cov[LEVEL, LEVEL, :, SET] += hazard.set_deg**2
    read = measured(
        mean,
        cov,
        shapes=model.walk.heights(belief.used, survey.day, belief.placed),
        value=survey.values,
        variance=_read_with(survey, hazard),
    )
    ways = np.log(belief.weights[:, None] + _LEAST) + np.log(_before(days, hazard) + _LEAST)
    ways = ways + log_density(read.surprise, read.expected).sum(axis=2)
    each = logsumexp(ways, axis=0)
    whole = logsumexp(each, axis=0)
    # Shares by logarithms: a way that hardly can be is then still where it would be, with a weight of nothing.
    after = _merged(belief, np.exp(ways - each), np.exp(each - whole), read.mean, read.cov)
    known = replace(
        belief,
        weights=np.where(seen, after.weights, belief.weights),
        mean=np.where(seen, after.mean, belief.mean),
        cov=np.where(seen, after.cov, belief.cov),
        day=np.where(seen, survey.day, belief.day),
    )
    return Updated(belief=known, ways=np.exp(ways - whole), log_likelihood=np.where(seen, whole, 0))


def stepped(belief: Belief, *, steps: FloatArray, variances: FloatArray) -> Belief:
    """Return what is known after legs were turned since the last survey, with no survey after it yet.

    Parameters
    ----------
    belief : Belief, shape (n) [deg, day]
        What was known.
    steps, variances : ndarray, shape (n, Q) [deg], [deg^2]
        By what the numbers were changed, and the variance of that.

    Returns
    -------
    Belief, shape (n) [deg, day]
        What is known now.

    Raises
    ------
    BadInput
        If a number is not finite, or a variance is negative.

    Examples
    --------
    >>> from leveling.drift import Walk
    >>> model = Model(walk=Walk(level=1e-5, rate=0.0, first_rate=1e-7),
    ...               hazard=Hazard(jumps_per_year=0.5, jump_deg=0.3, bad_share=0.01, bad_deg=1.0)).of(1, 1)
    >>> zero = np.zeros((1, 1))
    >>> first = Survey(np.zeros(1), zero + 6.5, zero + 1e-3, zero, zero, np.array([True]))
    >>> belief = stepped(begun(first, placed=np.zeros(1), model=model), steps=zero - 0.5, variances=zero + 1e-3)
    >>> float(belief.mean[0, 0, 0, 0]), float(belief.cov[0, 0, 0, 0, 0])
    (6.0, 0.002)

    References
    ----------
    Derived in DEVELOPERS.md, Drift.
    """
    mean, cov = belief.mean.copy(), belief.cov.copy()
    mean[LEVEL] += finite("steps", steps, unit="degree").T
    cov[LEVEL, LEVEL] += finite("variances", variances, low=0, unit="deg^2").T
    return replace(belief, mean=mean, cov=cov)


def _before(days: FloatArray, hazard: Hazard) -> FloatArray:
    """The chance of each way after so many days, before anything is read: shape (W, n)."""
    rest = 1 - hazard.bad_share - hazard.set_share
    jumped = -np.expm1(-hazard.jumps_per_year * days / YEAR_DAYS) * rest
    return np.stack(np.broadcast_arrays(rest - jumped, jumped, hazard.set_share, hazard.bad_share))


def _read_with(survey: Survey, hazard: Hazard) -> FloatArray:
    """The variance of what was read, by each way: shape (W, Q, n)."""
    return np.stack([*[survey.variances] * BAD, survey.variances + hazard.bad_deg**2])


def _merged(belief: Belief, parts: FloatArray, weights: FloatArray, mean: FloatArray, cov: FloatArray) -> Belief:
    """Merge the ways before, of which ``parts`` sum to 1: for each way now one mean and one covariance, with the spread
    between them."""
    shares = parts[:, :, None]
    middle = (shares * mean).sum(axis=1)
    off = mean - middle[:, None]
    spread = cov + off[:, None] * off[None]
    return replace(belief, weights=weights, mean=middle, cov=(shares * spread).sum(axis=2))


def _joined(beliefs: list[Belief]) -> Belief:
    return Belief(
        weights=np.concatenate([each.weights for each in beliefs], axis=-1),
        mean=np.concatenate([each.mean for each in beliefs], axis=-1),
        cov=np.concatenate([each.cov for each in beliefs], axis=-1),
        day=np.concatenate([each.day for each in beliefs]),
        placed=np.concatenate([each.placed for each in beliefs]),
        used=beliefs[0].used,
    )
