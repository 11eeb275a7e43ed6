"""The past with hindsight: where a machine stood on any day between its surveys, by those before and those after.

      deg
       |  o.                     o survey
       |  . ' .  o . . ' o       the band is narrow at surveys and wide between them
       |        '   ' '
       +-----------------> day

The known steps and those that hindsight calls jumps are taken as given, and so are bad surveys.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.drift import Series, Walk, filtered
from leveling.drift_jumps import BAD, JUMP, SET, Followed
from leveling.drift_model import Hazard
from leveling.drift_steps import LEVEL, RATE, passed, shown
from leveling.errors import BadInput


@dataclass(frozen=True)
class Smoothed:
    """Where a number stood, shape (..., D) for D days: ``number`` [deg], and ``variance`` [deg^2] of that."""

    number: FloatArray
    variance: FloatArray


def smoothed(series: Series, walk: Walk, *, days: ArrayLike) -> Smoothed:
    """Return where numbers stood on days between the first and the last survey, by all surveys.

    Parameters
    ----------
    series : Series, shape (T) [deg, day]
        The surveys of one number, all seen.
    walk : Walk, shape () [deg, day]
        How it wanders.
    days : array_like, shape (D) [day]
        When, from the first survey to the last; on a day with several surveys, after the last of them. A step counts as
        made just before the survey that follows it.

    Returns
    -------
    Smoothed, shape (D) [deg]
        Number and variance.

    Raises
    ------
    BadInput
        If a day lies outside the surveys, or there are several series.

    Notes
    -----
    Back from the last survey goes the recursion of the weighted surprises r and of their precision N; with what the
    filter knew on a day, mean a and covariance P, the number is known as a + P r with the covariance P - P N P.

    Examples
    --------
    >>> series = Series(days=[0.0, 60.0], values=[6.5, 6.6], variances=[1e-4], steps=np.zeros(1),
    ...                 step_variances=np.zeros(1), seen=np.ones(1, dtype=bool))
    >>> found = smoothed(series, Walk(level=1e-5, rate=0.0, first_rate=0.0), days=[0, 30, 60])
    >>> found.number.tolist(), (1000 * found.variance).tolist()  # doctest: +NUMBER
    ([6.513, 6.550, 6.588], [0.088, 0.200, 0.088])

    References
    ----------
    J. Durbin and S. J. Koopman, Time Series Analysis by State Space Methods, 2nd ed., 2012, section 4.4 (from memory).
    """
    if len(series.shape) != 1:
        raise BadInput("series", f"has shape {series.shape}", "Give one series")
    surveyed = np.broadcast_to(series.days, series.shape)
    wanted = finite("days", days, low=float(surveyed[0]), high=float(surveyed[-1]), unit="days")
    found, used, placed = filtered(series, walk), walk.used(), series.since
    back = _back(series, walk, found.surprise, found.expected, found.cov)
    number, variance = np.empty(wanted.shape), np.empty(wanted.shape)
    for place, day in np.ndenumerate(wanted):
        k = int(np.searchsorted(surveyed, day, side="right")) - 1
        gone = np.asarray(day - surveyed[k])
        mean, cov = passed(found.mean[:, k], found.cov[..., k], days=gone, level=walk.level, rate=walk.rate)
        if k + 1 < len(surveyed):
            r, precision = _earlier(*back[k + 1], surveyed[k + 1] - day)
            mean, cov = mean + cov @ r, cov - cov @ precision @ cov
        number[place], variance[place] = shown(mean, cov, shapes=walk.heights(used, np.asarray(day), placed))
    return Smoothed(number=number, variance=variance)


def told(series: Series, followed: Followed, *, hazard: Hazard, least: float = 0.5) -> Series:
    """Return the same surveys with jumps and bad surveys as hindsight sees them.

    Parameters
    ----------
    series : Series, shape (n, Q, T) [deg, day]
        The surveys.
    followed : Followed, shape (n) [1]
        What became of the machines.
    hazard : Hazard, shape (n) [deg, 1/year]
        How they jump.
    least : float, scalar [1]
        The chance from which on something is taken for certain.

    Returns
    -------
    Series, shape (n, Q, T) [deg, day]
        With the spread of a jump, or of what somebody set anew, added to the step before its survey, that of a bad
        survey to its variance.

    Raises
    ------
    BadInput
        If ``least`` is out of range.

    Examples
    --------
    >>> from leveling.drift_jumps import followed
    >>> from leveling.drift_model import Model
    >>> series = Series(days=[0.0, 30, 60, 90], values=[[[0.0, 0, 0.4, 0.4]]], variances=[1e-3], steps=np.zeros(1),
    ...                 step_variances=np.zeros(1), seen=np.ones(1, dtype=bool))
    >>> hazard = Hazard(jumps_per_year=0.5, jump_deg=0.3, bad_share=0.01, bad_deg=1.0)
    >>> found = followed(series, Model(walk=Walk(level=1e-5, rate=0.0, first_rate=1e-7), hazard=hazard))
    >>> told(series, found, hazard=hazard).step_variances[0, 0].tolist()  # doctest: +NUMBER
    [0.00, 0.00, 0.09, 0.00]

    References
    ----------
    Derived in DEVELOPERS.md, Drift.
    """
    share = finite("least", least, low=0, high=1)
    ways = followed.ways[:, :, None]
    moved, bad = ways[JUMP] + ways[SET] >= share, ways[BAD] >= share
    quantities = series.shape[:2]
    jump_deg, set_deg, bad_deg = (
        np.broadcast_to(each, quantities)[..., None] for each in (hazard.jump_deg, hazard.set_deg, hazard.bad_deg)
    )
    return replace(
        series,
        step_variances=series.step_variances + moved * np.where(ways[JUMP] >= ways[SET], jump_deg, set_deg) ** 2,
        variances=series.variances + bad * bad_deg**2,
    )


def _earlier(r: FloatArray, precision: FloatArray, days: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The same some days before: through the transposed step of time."""
    step = np.eye(len(r))
    step[LEVEL, RATE] = days
    return step.T @ r, step.T @ precision @ step


def _back(
    series: Series, walk: Walk, surprise: FloatArray, expected: FloatArray, cov: FloatArray
) -> list[tuple[FloatArray, FloatArray]]:
    """The weighted surprises and their precision, by each survey and those after it; nothing stands for the first."""
    count = series.shape[0]
    days, step_variances = (np.broadcast_to(each, count) for each in (series.days, series.step_variances))
    k_states, used = len(cov), walk.used()
    r, precision = np.zeros(k_states), np.zeros((k_states, k_states))
    found = [(r, precision)] * count
    for k in range(count - 1, 0, -1):
        if k + 1 < count:
            r, precision = _earlier(r, precision, days[k + 1] - days[k])
        row = np.concatenate([[1.0, 0.0], walk.heights(used, days[k], series.since)])
        gap = days[k] - days[k - 1]
        _, before = passed(np.zeros(k_states), cov[..., k - 1], days=gap, level=walk.level, rate=walk.rate)
        before[LEVEL, LEVEL] += step_variances[k]
        kept = np.eye(k_states) - np.outer(before @ row, row) / expected[k]
        r = row * surprise[k] / expected[k] + kept.T @ r
        precision = np.outer(row, row) / expected[k] + kept.T @ precision @ kept
        found[k] = r, precision
    return found
