"""Control charts for the eye: does a machine leave its middle slowly, with surveys that are not equally sure?

      EWMA    z_i = w x_i + (1 - w) z_(i-1)              limits: middle +- k times the standard deviation of z_i
      CUSUM   up_i = max(0, up_(i-1) + x_i/u_i - slack)   out where up or down passes the limit

Each survey brings its own standard uncertainty, so the limits are not straight lines.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import BoolArray
from leveling.errors import BadInput


@dataclass(frozen=True)
class Chart:
    """A chart, each field shape (..., T).

    ``upper`` and ``lower``: what is drawn; the EWMA [deg] has one line, given twice, the CUSUM [1] has two, the lower
    one at or below 0. ``high`` and ``low``, in the same unit: their limits. ``out`` [yes or no]: a line is beyond its
    limit.
    """

    upper: FloatArray
    lower: FloatArray
    high: FloatArray
    low: FloatArray
    out: BoolArray


def ewma(values: ArrayLike, *, u: ArrayLike, middle: ArrayLike, weight: float = 0.3, sigmas: float = 3.0) -> Chart:
    """Return the exponentially weighted moving average of surveys, with its exact limits.

    Parameters
    ----------
    values : array_like, shape (..., T) [deg]
        What was read, in the order of time.
    u : array_like, shape (..., T) or less [deg]
        Standard uncertainty of each, above 0.
    middle : array_like, shape (...) or () [deg]
        What is wanted.
    weight : float, scalar [1]
        The weight of the newest survey, above 0 and at most 1.
    sigmas : float, scalar [1]
        How many standard deviations away the limits lie, above 0.

    Returns
    -------
    Chart, shape (..., T) [deg]
        The average and its limits.

    Raises
    ------
    BadInput
        If a number is not finite or out of range.

    Notes
    -----
    The variance is summed up survey by survey, so the limits hold from the first one on and for any uncertainties. With
    equal ones they come near the usual straight lines, middle +- sigmas u sqrt(weight / (2 - weight)).

    Examples
    --------
    >>> chart = ewma([6.6, 6.7], u=[0.05, 0.05], middle=6.5)
    >>> chart.upper.tolist(), chart.high.tolist(), chart.out.tolist()  # doctest: +NUMBER
    ([6.530, 6.581], [6.545, 6.555], [False, True])

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4.
    """
    x = _surveys(values)
    variance = np.broadcast_to(finite("u", u, low=0, above=True, unit="degree"), x.shape) ** 2
    w = finite("weight", weight, low=0, high=1, above=True)
    k = finite("sigmas", sigmas, low=0, above=True)
    start = np.broadcast_to(finite("middle", middle, unit="degree"), x.shape[:-1])
    line, spread = np.empty(x.shape), np.empty(x.shape)
    average, gathered = start, np.zeros(start.shape)
    for i in range(x.shape[-1]):
        average = w * x[..., i] + (1 - w) * average
        gathered = w * w * variance[..., i] + (1 - w) ** 2 * gathered
        line[..., i], spread[..., i] = average, np.sqrt(gathered)
    high, low = start[..., None] + k * spread, start[..., None] - k * spread
    return Chart(upper=line, lower=line, high=high, low=low, out=(line > high) | (line < low))


def cusum(values: ArrayLike, *, u: ArrayLike, middle: ArrayLike, slack: float = 0.5, limit: float = 5.0) -> Chart:
    """Return the cumulative sums of surveys up and down, each survey counted in its own standard uncertainty.

    Parameters
    ----------
    values : array_like, shape (..., T) [deg]
        What was read, in the order of time.
    u : array_like, shape (..., T) or less [deg]
        Standard uncertainty of each, above 0.
    middle : array_like, shape (...) or () [deg]
        What is wanted.
    slack : float, scalar [1]
        What each survey may be off without adding anything, in standard uncertainties, at least 0.
    limit : float, scalar [1]
        The sum that is too much, in standard uncertainties, above 0.

    Returns
    -------
    Chart, shape (..., T) [1]
        Both sums and their limits.

    Raises
    ------
    BadInput
        If a number is not finite or out of range.

    Notes
    -----
    In standard uncertainties all surveys are alike, so that the usual limits hold: with slack 0.5 and limit 5 a machine
    that stays in its middle is called out once in 465 surveys, one that is a standard uncertainty off after 10.4.

    Examples
    --------
    >>> chart = cusum([6.6, 6.7], u=[0.05, 0.05], middle=6.5, limit=4.0)
    >>> chart.upper.tolist(), chart.out.tolist()  # doctest: +NUMBER
    ([1.5, 5.0], [False, True])

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.3; D. C. Montgomery, Introduction to Statistical
    Quality Control, for the run lengths (from memory).
    """
    x = _surveys(values)
    spread = np.broadcast_to(finite("u", u, low=0, above=True, unit="degree"), x.shape)
    k, h = finite("slack", slack, low=0), finite("limit", limit, low=0, above=True)
    start = np.broadcast_to(finite("middle", middle, unit="degree"), x.shape[:-1])
    steps = (x - start[..., None]) / spread
    up, down = np.empty(x.shape), np.empty(x.shape)
    above, below = np.zeros(start.shape), np.zeros(start.shape)
    for i in range(x.shape[-1]):
        above = np.maximum(0, above + steps[..., i] - k)
        below = np.minimum(0, below + steps[..., i] + k)
        up[..., i], down[..., i] = above, below
    high = np.broadcast_to(h, x.shape)
    return Chart(upper=up, lower=down, high=high, low=-high, out=(up > high) | (down < -high))


def _surveys(values: ArrayLike) -> FloatArray:
    x = finite("values", values, unit="degree")
    if x.ndim == 0:
        raise BadInput("values", "is a single number", "Give surveys in the order of time")
    return x
