"""Rough drift: machines that move in ways no model of ours assumes, to see how a forecast fares when it is wrong.

      steps with heavy tails, of another size for each machine; feet that sink by 1 - 1/(1 + age/days); a yearly zigzag
      on every floor, at another time for each machine; jumps of one quantity only, on some machines often

Every number is drawn from the ``rng`` passed in. Invented, no source.
"""

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import IntArray
from leveling.drift import YEAR_DAYS
from leveling.errors import BadInput

_SHARES = np.array([1.0, 1.0, 0.5])[:, None]
_WANDER_DEG = np.array([0.0020, 0.0040, 0.0030])
_SINK_DEG = np.array([0.04, 0.10, 0.15])
_SEASON_DEG = np.array([0.01, 0.06, 0.02])
_JUMPS_PER_YEAR, _JUMP_DEG = 0.5, 0.2


def move_roughly(*, rng: np.random.Generator, kinds: IntArray, days: ArrayLike, placed: ArrayLike = 0.0) -> FloatArray:
    """Return how machines move by themselves, in ways that no model of ours assumes.

    Parameters
    ----------
    rng : numpy.random.Generator, scalar [random numbers]
        Where the numbers come from.
    kinds : ndarray of int, shape (n) [index]
        The kind of floor, as they stand in `leveling.simulate_drift.GROUNDS`.
    days : array_like, shape (n, T) or (T) [day]
        When to look, rising or equal, since a 1 January.
    placed : array_like, shape (n) or () [day]
        Since when the feet stand, at most the first day.

    Returns
    -------
    ndarray, shape (n, 3, T) [deg]
        Pitch, roll and twist beyond those of the first day.

    Raises
    ------
    BadInput
        If days fall.

    Examples
    --------
    >>> move_roughly(rng=np.random.default_rng(1), kinds=np.array([0, 1]), days=[0, 30, 60]).shape
    (2, 3, 3)

    References
    ----------
    Invented, no source.
    """
    when = finite("days", days, unit="days")
    when = np.broadcast_to(when, (len(kinds), when.shape[-1]))[:, None]
    gaps = np.diff(when, axis=-1, prepend=when[..., :1])
    if (gaps < 0).any():
        raise BadInput("days", "goes back in time", "Give days in their order")
    shape = (len(kinds), 3, when.shape[-1])
    own = rng.lognormal(0, 0.5, (len(kinds), 1, 1))
    wander = rng.standard_t(4, shape) / np.sqrt(2) * np.sqrt(gaps) * own * _WANDER_DEG[kinds, None, None] * _SHARES
    age = np.maximum(when - np.reshape(placed, (-1, 1, 1)), 0)
    sink = rng.gamma(1.0, 1.0, shape[:2])[..., None] * rng.choice([-1, 1], shape[:2])[..., None]
    settling = sink * _SINK_DEG[kinds, None, None] * _SHARES * (1 - 1 / (1 + age / 25))
    phase = ((when - rng.normal(220, 40, (len(kinds), 1, 1))) / YEAR_DAYS) % 1
    season = (4 * np.abs(phase - 0.5) - 1) * rng.normal(0, 1, shape[:2])[..., None] * _SEASON_DEG[kinds, None, None]
    often = rng.gamma(1.0, _JUMPS_PER_YEAR, (len(kinds), 1, 1))
    jumps = rng.poisson(often * gaps / YEAR_DAYS)
    which = np.arange(3)[:, None] == rng.integers(0, 3, jumps.shape)
    jump = np.where(jumps > 0, rng.laplace(0, _JUMP_DEG, shape), 0) * np.where(which, 1, 0.1) * _SHARES
    shaped = settling + season * _SHARES
    return np.cumsum(wander + jump, axis=-1) + shaped - shaped[..., :1]
