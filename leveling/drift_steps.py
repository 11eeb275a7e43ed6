"""The two steps of the filter of drift: time passes, and a survey is read.

What is known of a number is the mean and the covariance of K things: its level, its rate, and how much of each known
shape there is in it. K comes first, then any batch: ``mean`` shape (K, ...), ``cov`` shape (K, K, ...).
"""

from dataclasses import dataclass

from leveling.checks import FloatArray

LEVEL, RATE = 0, 1


@dataclass(frozen=True)
class Read:
    """What is known after a survey: ``mean``, shape (K, ...), and ``cov``, shape (K, K, ...) [deg, deg/day, deg ...].

    ``surprise`` [deg], shape (...): what was read beyond what was expected; ``expected`` [deg^2]: the variance of that.
    """

    mean: FloatArray
    cov: FloatArray
    surprise: FloatArray
    expected: FloatArray


def passed(
    mean: FloatArray, cov: FloatArray, *, days: FloatArray, level: FloatArray, rate: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return what is known some days later; the shapes' shares stay as they are.

    Parameters
    ----------
    mean, cov : ndarray, shape (K, ...) and (K, K, ...) [deg, deg/day, deg ...]
        What is known now.
    days : ndarray, shape (...) [day]
        How long, 0 or more.
    level, rate : ndarray, shape (...) [deg^2/day], [deg^2/day^3]
        How level and rate wander, as in `leveling.drift.Walk`.

    Returns
    -------
    tuple of two ndarray, shape (K, ...) and (K, K, ...) [deg, deg/day, deg ...]
        Mean and covariance then.

    Raises
    ------
    Nothing: whoever calls has checked the numbers.

    Examples
    --------
    >>> import numpy as np
    >>> mean, cov = passed(np.ones(2), np.eye(2), days=np.array(2.0), level=np.array(0.0), rate=np.array(0.0))
    >>> mean.tolist(), cov.tolist()
    ([3.0, 1.0], [[5.0, 2.0], [2.0, 1.0]])

    References
    ----------
    A. C. Harvey, Forecasting, Structural Time Series Models and the Kalman Filter, 1989, section 9.2, for days that
    are not evenly spaced (from memory).
    """
    mean, cov = mean.copy(), cov.copy()
    mean[LEVEL] += days * mean[RATE]
    cov[LEVEL] += days * cov[RATE]
    cov[:, LEVEL] += days * cov[:, RATE]
    grown = rate * days
    met = grown * days / 2
    cov[LEVEL, LEVEL] += days * (level + grown * days / 3)
    cov[LEVEL, RATE] += met
    cov[RATE, LEVEL] += met
    cov[RATE, RATE] += grown
    return mean, cov


def shown(mean: FloatArray, cov: FloatArray, *, shapes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the number itself on a day: its level with what the shapes add.

    Parameters
    ----------
    mean, cov : ndarray, shape (K, ...) and (K, K, ...) [deg, deg/day, deg ...]
        What is known.
    shapes : ndarray, shape (K - 2, ...) [1]
        The shapes' height on that day.

    Returns
    -------
    tuple of two ndarray, each shape (...) [deg], [deg^2]
        Mean and variance.

    Raises
    ------
    Nothing: whoever calls has checked the numbers.

    Examples
    --------
    >>> import numpy as np
    >>> mean, variance = shown(np.array([6.0, 0, 0.5]), np.eye(3), shapes=np.array([1.0]))
    >>> float(mean), float(variance)
    (6.5, 2.0)

    References
    ----------
    Derived in DEVELOPERS.md, Drift.
    """
    with_level = _with_level(cov, shapes)
    return mean[LEVEL] + _sum(shapes, mean), with_level[LEVEL] + _sum(shapes, with_level)


def measured(mean: FloatArray, cov: FloatArray, *, shapes: FloatArray, value: FloatArray, variance: FloatArray) -> Read:
    """Return what is known after a survey, and by how much it surprised.

    Parameters
    ----------
    mean, cov : ndarray, shape (K, ...) and (K, K, ...) [deg, deg/day, deg ...]
        What is known before it.
    shapes : ndarray, shape (K - 2, ...) [1]
        The shapes' height on that day.
    value, variance : ndarray, shape (...) [deg], [deg^2]
        What was read; a variance of infinity reads nothing.

    Returns
    -------
    Read, its mean shape (K, ...) [deg, deg/day, deg ...]
        Mean and covariance after it, and the surprise.

    Raises
    ------
    Nothing: whoever calls has checked the numbers.

    Examples
    --------
    >>> import numpy as np
    >>> one, none = np.array(1.0), np.zeros(0)
    >>> read = measured(np.zeros(2), np.eye(2), shapes=none, value=one, variance=one)
    >>> read.mean.tolist(), read.cov.tolist(), float(read.surprise), float(read.expected)
    ([0.5, 0.0], [[0.5, 0.0], [0.0, 1.0]], 1.0, 2.0)

    References
    ----------
    J. Durbin and S. J. Koopman, Time Series Analysis by State Space Methods, 2nd ed., 2012, section 4.3 (from memory).
    """
    with_level = _with_level(cov, shapes)
    total = with_level[LEVEL] + _sum(shapes, with_level) + variance
    surprise = value - mean[LEVEL] - _sum(shapes, mean)
    gain = with_level / total
    return Read(mean + gain * surprise, cov - gain[:, None] * with_level[None], surprise, total)


def _with_level(cov: FloatArray, shapes: FloatArray) -> FloatArray:
    """Covariance of each of the K things with the number itself, shape (K, ...)."""
    met = cov[:, LEVEL]
    for place, height in enumerate(shapes, start=RATE + 1):
        met = met + height * cov[:, place]
    return met


def _sum(shapes: FloatArray, of: FloatArray) -> FloatArray | float:
    """What the shapes add to a level."""
    return sum((height * of[place] for place, height in enumerate(shapes, start=RATE + 1)), 0.0)
