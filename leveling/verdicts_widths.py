"""From a standard uncertainty to the interval that holds the truth as often as it says.

mostly normal: 1.96 u for 95 %           mostly one stated limit a: 0.95 a, that is 1.65 u
        __                                       __________
  __---    ---__                                |          |
-----|------|-----                            --|----------|--
"""

import numpy as np

from leveling.checks import FloatArray, finite
from leveling.verdicts_shapes import Spread, chance_below

_HALVINGS = 30  # of a bracket of 10 u: 1e-8 u
_FARTHEST = 10.0


def half_width(spread: Spread, confidence: float = 0.95) -> FloatArray:
    """Return the half width of the interval about the value that holds the truth with a confidence.

    Parameters
    ----------
    spread : Spread, each field shape (...) [any unit]
        How the error is spread.
    confidence : float, scalar [1]
        0.5 to 0.9999.

    Returns
    -------
    ndarray, shape (...) [unit of the spread]
        The interval is value - half width to value + half width.

    Raises
    ------
    BadInput
        If the confidence is out of range, or the shapes do not fit.

    Notes
    -----
    Errors are symmetric, so P(error < h) = (1 + confidence)/2; solved by halving.

    Examples
    --------
    >>> spread = Spread(u=[0.1, 0.1], even=[0.0, 0.1], even_too=0.0)
    >>> half_width(spread).tolist()  # doctest: +NUMBER
    [0.196, 0.165]

    References
    ----------
    JCGM 101:2008, 7.7 (the shortest interval of a symmetric distribution lies about its mean; from memory).
    """
    level = finite("confidence", confidence, low=0.5, high=0.9999)
    u, even, even_too = np.broadcast_arrays(spread.u, spread.even, spread.even_too)
    unit = np.where(u > 0, u, 1.0)
    ones = Spread(u=np.ones(u.shape), even=even / unit, even_too=even_too / unit)
    low, high = np.zeros(u.shape), np.full(u.shape, _FARTHEST)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        enough = chance_below(middle, ones) >= (1 + level) / 2
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    return np.where(u > 0, high * u, 0.0)
