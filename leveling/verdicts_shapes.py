"""The shape of an error: limits such as a stated accuracy make it even (rectangular), not normal.

      normal                      even                      both together
        __                     ________                       ______
     __/  \\__                 |        |                   __/      \\__
    __________                -a        a                 ______________

An error that is mostly one stated limit has no tails: where a normal distribution of the same u says 80 %, it is
75 %. Two even parts are kept as they are, the rest is taken as normal.
"""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import together
from leveling.errors import BadInput

#: An even part smaller than this share of u is as good as normal: it shifts a chance by less than 1e-6.
_LEAST_SHARE = 0.02
_FAR = 9.0


@dataclass(frozen=True)
class Spread:
    """How an error is spread, each field shape (...) [unit of the value].

    Attributes: ``u`` standard uncertainty, all parts together, 0 or more. ``even`` and ``even_too`` standard
    uncertainties of two independent rectangular parts of it (half-width over sqrt 3); the rest is normal.

    Raises BadInput if a number is negative or not finite, or the even parts together exceed u.
    """

    u: FloatArray
    even: FloatArray
    even_too: FloatArray

    def __post_init__(self) -> None:
        for item in fields(self):
            object.__setattr__(self, item.name, finite(item.name, getattr(self, item.name), low=0))
        together(u=self.u, even=self.even, even_too=self.even_too)
        if (np.hypot(self.even, self.even_too) > self.u * (1 + 1e-9)).any():
            raise BadInput("even", "is more than all parts together", "Give parts of u")


def normal_spread(u: ArrayLike) -> Spread:
    """Return the spread of a normal error.

    Parameters
    ----------
    u : array_like, shape (...) [any unit]
        Standard uncertainty, 0 or more.

    Returns
    -------
    Spread, each field shape (...) or () [unit of u]
        With no even part.

    Raises
    ------
    BadInput
        If u is negative or not finite.

    Examples
    --------
    >>> float(normal_spread(0.06).even)
    0.0

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    return Spread(u=finite("u", u, low=0), even=np.zeros(()), even_too=np.zeros(()))


def even_together(*parts: ArrayLike) -> FloatArray:
    """Return the one even part that stands for several: same fourth cumulant, so nearly the same shape.

    Parameters
    ----------
    *parts : array_like, each shape (...) [any unit]
        Standard uncertainties of independent rectangular parts, 0 or more.

    Returns
    -------
    ndarray, shape (...) [unit of the parts]
        Fourth root of the sum of fourth powers; at most their root sum of squares. The rest counts as normal.

    Raises
    ------
    BadInput
        If a part is negative or not finite, or the shapes do not fit.

    Notes
    -----
    The fourth cumulant of a rectangle with standard uncertainty u is -1.2 u^4, and cumulants of independent parts
    add. Of n equal parts, averaged, that leaves u / n^0.75: the more there are, the more normal their mean.

    Examples
    --------
    >>> float(even_together(0.03, 0.04))  # doctest: +NUMBER
    0.0429

    References
    ----------
    Cumulants: M. G. Kendall and A. Stuart, The Advanced Theory of Statistics 1, chapter 3 (from memory).
    """
    stretched = together(**{f"parts_{place}": finite("parts", part, low=0) for place, part in enumerate(parts)})
    return np.asarray(sum(part**4 for part in stretched), dtype=np.float64) ** 0.25


def chance_below(distance: ArrayLike, spread: Spread) -> FloatArray:
    """Return the chance that an error is smaller than a distance.

    Parameters
    ----------
    distance : array_like, shape (...) [unit of the spread]
        Distance from the measured value, negative below it; -inf or inf where there is no limit.
    spread : Spread, each field shape (...) [unit of the value]
        How the error is spread.

    Returns
    -------
    ndarray, shape (...) [1]
        Chance, 0 to 1. A distance of 0 that is exactly known counts as not yet passed: 1.

    Raises
    ------
    BadInput
        If a distance is not a number, or the shapes do not fit.

    Notes
    -----
    Normal (s) folded with rectangles of half-width a and b. With G(z) = z Phi(z) + phi(z), the integral of Phi, and
    H(z) = ((z^2 + 1) Phi(z) + z phi(z))/2, the integral of G, and z = (x + shift)/s:
    one rectangle: s/(2a) (G(+a) - G(-a)); two: s^2/(4ab) (H(+a+b) - H(+a-b) - H(-a+b) + H(-a-b)).
    Where all is even, s is taken as u/50, which moves a chance by at most 0.005.

    Examples
    --------
    >>> even = Spread(u=1.0, even=1.0, even_too=0.0)
    >>> float(chance_below(1.0, even)), float(chance_below(1.0, normal_spread(1.0)))  # doctest: +NUMBER
    (0.789, 0.841)

    References
    ----------
    Folding of rectangle and normal distribution: JCGM 101:2008, 6.4.2 and 5.2 (from memory); integrals derived in
    DEVELOPERS.md, Geometry.
    """
    try:
        x = np.asarray(distance, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise BadInput("distance", "is not a number", "Give a number, or infinity where there is no limit") from error
    if np.isnan(x).any():
        raise BadInput("distance", "is not a number", "Give a number, or infinity where there is no limit")
    x, u, first, second = together(distance=x, u=spread.u, even=spread.even, even_too=spread.even_too)
    wide, narrow = np.maximum(first, second), np.minimum(first, second)
    wide, narrow = (np.where(part > _LEAST_SHARE * u, part, 0.0) for part in (wide, narrow))
    unit = np.where(u > 0, u, 1.0)
    with np.errstate(over="ignore"):
        sigmas = np.where(u > 0, x / unit, np.where(x >= 0, np.inf, -np.inf))
    chance = np.asarray(ndtr(sigmas))
    for chosen, formula in ((wide > 0) & (narrow == 0), _one), ((narrow > 0), _two):
        if chosen.any():
            shares = (part[chosen] / unit[chosen] for part in (wide, narrow))
            chance[chosen] = formula(sigmas[chosen], *shares)
    return chance


def _one(x: FloatArray, wide: FloatArray, narrow: FloatArray) -> FloatArray:
    """All in units of u; ``narrow`` is 0."""
    s, a = _rest(wide, narrow), np.sqrt(3) * wide
    x = np.clip(x, -a - _FAR * s, a + _FAR * s)
    return np.clip(s / (2 * a) * (_first((x + a) / s) - _first((x - a) / s)), 0, 1)


def _two(x: FloatArray, wide: FloatArray, narrow: FloatArray) -> FloatArray:
    s, a, b = _rest(wide, narrow), np.sqrt(3) * wide, np.sqrt(3) * narrow
    low = -np.minimum(np.abs(x), a + b + _FAR * s)  # the lower tail keeps its digits
    tail = _second((low + a + b) / s) - _second((low + a - b) / s) - _second((low - a + b) / s)
    tail = np.clip(s**2 / (4 * a * b) * (tail + _second((low - a - b) / s)), 0, 0.5)
    return np.where(x > 0, 1 - tail, tail)


def _rest(wide: FloatArray, narrow: FloatArray) -> FloatArray:
    return np.sqrt(np.maximum(1 - wide**2 - narrow**2, _LEAST_SHARE**2))


def _first(z: FloatArray) -> FloatArray:
    return z * ndtr(z) + _density(z)


def _second(z: FloatArray) -> FloatArray:
    return ((z**2 + 1) * ndtr(z) + z * _density(z)) / 2


def _density(z: FloatArray) -> FloatArray:
    return np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
