"""Pooled: how machines of one kind move, learned from all of them, so that a machine with one survey has a forecast.

      built-in model ---> the group's surveys ---> the group's model ---> each machine of it
                            how much it wanders      a factor on the walk
                            how often it jumps       jumps a year

A group is a kind of floor, a kind of foot, an age of the placement: whoever calls decides. With few surveys the
built-in model stays; with many the surveys speak.
"""

from dataclasses import dataclass, replace

import numpy as np

from leveling.checks import FloatArray
from leveling.checks_shapes import IntArray
from leveling.drift import YEAR_DAYS, Series
from leveling.drift_jumps import JUMP, followed
from leveling.drift_model import Model
from leveling.errors import BadInput

#: Factors on the variance of the walk that are tried.
FACTORS = 2.0 ** np.arange(-6, 7)

#: Standard deviation of the natural logarithm of the factor before any survey: two in three groups lie within a factor
#: of 4 of the built-in walk. Common practice, no source.
FACTOR_SPREAD = np.log(4.0)

_VARIANCES = ("level", "rate", "first_rate", "settling", "yearly")

#: The built-in rate of jumps counts as much as a group that was watched until it had jumped so often.
PRIOR_JUMPS = 2.0


@dataclass(frozen=True)
class Pooled:
    """What groups taught, each field shape (G).

    ``factor`` [1]: by how much the variance of level, rate, settling and seasons is larger than in the built-in model.
    ``factor_spread`` [1]: standard deviation of its natural logarithm. ``jumps_per_year`` [1/year]. ``jumps`` [count]
    and ``years`` [year]: what was seen of jumps, and how long. ``machines`` [count] with two surveys or more.
    """

    factor: FloatArray
    factor_spread: FloatArray
    jumps_per_year: FloatArray
    jumps: FloatArray
    years: FloatArray
    machines: IntArray

    def model(self, prior: Model, group: IntArray) -> Model:
        """Return the model of machines by their group, from the built-in one of the same machines [same units]."""
        factor = self.factor[group][:, None]
        walk = prior.walk
        return Model(
            walk=replace(walk, **{name: getattr(walk, name) * factor for name in _VARIANCES}),
            hazard=replace(prior.hazard, jumps_per_year=self.jumps_per_year[group]),
        )


def pooled(series: Series, prior: Model, *, group: IntArray, groups: int) -> Pooled:
    """Return how machines of each group move, by all their surveys and the built-in model.

    Parameters
    ----------
    series : Series, shape (n, Q, T) [deg, day]
        The surveys of n machines.
    prior : Model, shape (n, Q) [deg, day]
        The built-in model of each machine; its jumps a year are those of its group.
    group : ndarray of int, shape (n) [index]
        The group of each machine, from 0 to below ``groups``.
    groups : int, scalar [count]
        How many groups there are.

    Returns
    -------
    Pooled, shape (G) [1, 1/year]
        The groups; one in which nobody was surveyed twice keeps the built-in model.

    Raises
    ------
    BadInput
        If a group is out of range or without a machine, or shapes do not fit.

    Notes
    -----
    Empirical Bayes. For each factor of a grid the likelihood of all surveys, jumps and bad surveys included, times a
    log-normal prior; the mean of its logarithm. Then a gamma prior on jumps a year with the expected jumps and the time
    that was watched; and once more with the new rate.

    Examples
    --------
    >>> from leveling.drift import Walk
    >>> from leveling.drift_model import Hazard
    >>> rng = np.random.default_rng(1)
    >>> values = np.cumsum(rng.normal(0, np.sqrt(30 * 4e-5), (40, 3, 12)), axis=-1) + rng.normal(0, 0.01, (40, 3, 12))
    >>> series = Series(days=np.arange(0.0, 360, 30), values=values, variances=[1e-4], steps=np.zeros(1),
    ...                 step_variances=np.zeros(1), seen=np.ones(12, dtype=bool))
    >>> prior = Model(walk=Walk(level=1e-5, rate=0.0, first_rate=0.0),
    ...               hazard=Hazard(jumps_per_year=0.5, jump_deg=0.3, bad_share=0.01, bad_deg=1.0))
    >>> taught = pooled(series, prior, group=np.zeros(40, dtype=int), groups=1)
    >>> bool(3 < taught.factor[0] < 5), bool(taught.jumps_per_year[0] < 0.2)
    (True, True)

    References
    ----------
    Derived in DEVELOPERS.md, Drift.
    """
    count, quantities, _ = series.shape
    place = np.asarray(group)
    if place.shape != (count,) or (place < 0).any() or (place >= groups).any():
        raise BadInput("group", f"does not fit {count} machines in {groups} groups", "Give one group each machine")
    if np.bincount(place, minlength=groups).min(initial=1) == 0:
        raise BadInput("groups", "has a group without a machine", "Leave out groups that nobody stands in")
    rate = np.broadcast_to(prior.hazard.jumps_per_year, (count,))
    model = replace(prior, walk=prior.walk.spread((count, quantities)))
    seen = np.broadcast_to(series.seen, series.shape)[:, 0]
    days = np.where(seen, np.broadcast_to(series.days, series.shape)[:, 0], -np.inf)
    watched = (days.max(axis=1) - days[:, 0]) / YEAR_DAYS
    years = np.bincount(place, weights=watched, minlength=groups)
    machines = np.bincount(place, weights=seen.sum(axis=1) > 1, minlength=groups).astype(np.int64)
    prior_rate = np.zeros(groups)
    prior_rate[place] = rate
    taught = Pooled(np.ones(groups), np.full(groups, FACTOR_SPREAD), prior_rate, np.zeros(groups), years, machines)
    for _ in range(2):
        factor, spread = _factor(series, taught, model, place, groups)
        taught = replace(taught, factor=factor, factor_spread=spread)
        jumped = followed(series, taught.model(model, place)).ways[JUMP].sum(axis=1)
        jumps = np.bincount(place, weights=jumped, minlength=groups)
        watched_before = PRIOR_JUMPS / np.maximum(prior_rate, 1e-9)
        taught = replace(taught, jumps=jumps, jumps_per_year=(PRIOR_JUMPS + jumps) / (watched_before + years))
    return replace(taught, jumps_per_year=np.where(machines > 0, taught.jumps_per_year, prior_rate))


def _factor(
    series: Series, taught: Pooled, model: Model, place: IntArray, groups: int
) -> tuple[FloatArray, FloatArray]:
    """The mean factor of each group, and the spread of its logarithm, by a grid."""
    scores = np.empty((len(FACTORS), groups))
    for row, factor in enumerate(FACTORS):
        tried = replace(taught, factor=np.full(groups, factor)).model(model, place)
        likely = np.bincount(place, weights=followed(series, tried).log_likelihood, minlength=groups)
        scores[row] = likely - 0.5 * (np.log(factor) / FACTOR_SPREAD) ** 2
    weights = np.exp(scores - scores.max(axis=0))
    weights /= weights.sum(axis=0)
    logs = np.log(FACTORS)[:, None]
    mean = (weights * logs).sum(axis=0)
    return np.exp(mean), np.sqrt((weights * (logs - mean) ** 2).sum(axis=0))
