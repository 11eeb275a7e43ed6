"""The verdict: is it in spec, by which rule, and how sure.

     low                         high            chance = Phi((high - value)/u) - Phi((low - value)/u)
------|---------------------------|------
      |   daily rule: in spec     |              simple acceptance by the chance: 60 % in, 40 % out
      |--|                     |--|
       g |     proven in       | g               certificate rule: a guard band g, 1.645 u for 95 %
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import BoolArray, IntArray, flags, together
from leveling.errors import BadInput
from leveling.verdicts_shapes import Spread, chance_below

#: Daily rule, and in words.
IN_SPEC, BORDERLINE, OUT_OF_SPEC, NOT_MEASURED = range(4)
DAILY_WORDS = ("in spec", "borderline", "out of spec", "not measured")

#: Certificate rule, and in words.
PROVEN_IN, NOT_PROVEN, PROVEN_OUT = range(3)
CERTIFICATE_WORDS = ("proven in", "not proven", "proven out")


@dataclass(frozen=True)
class Rule:
    """When a verdict is given, the same for all rows, each field scalar.

    Attributes: ``in_from`` [1] chance from which the daily rule says in spec, 0.5 to 0.999. ``out_below`` [1] chance
    up to which it says out of spec, 0.001 to 0.5. ``confidence`` [1] of the certificate rule, 0.8 to 0.999.

    Raises BadInput if a field is out of its range.
    """

    in_from: float = 0.6
    out_below: float = 0.4
    confidence: float = 0.95

    def __post_init__(self) -> None:
        finite("in_from", self.in_from, low=0.5, high=0.999)
        finite("out_below", self.out_below, low=0.001, high=0.5)
        finite("confidence", self.confidence, low=0.8, high=0.999)


DEFAULT_RULE = Rule()


@dataclass(frozen=True)
class Verdict:
    """The verdict on one quantity, or on a machine, each field shape (...).

    Attributes: ``chance`` [1] chance of being in spec, 0 where unknown. ``best_chance`` [1] what it would be if the
    value were in the middle. ``inside`` [yes or no] the measured value itself lies inside the limits. ``daily``
    [code] index into DAILY_WORDS. ``certificate`` [code] index into CERTIFICATE_WORDS. ``provable`` [yes or no] with
    this uncertainty the certificate rule could say proven in.
    """

    chance: FloatArray
    best_chance: FloatArray
    inside: BoolArray
    daily: IntArray
    certificate: IntArray
    provable: BoolArray


def chance_inside(*, value: ArrayLike, u: ArrayLike, low: ArrayLike, high: ArrayLike) -> FloatArray:
    """Return the chance that the true value lies inside the limits, for a normal distribution.

    Parameters
    ----------
    value : array_like, shape (...) [any unit]
        Measured value.
    u : array_like, shape (...) [unit of value]
        Standard uncertainty, 0 or more; 0 means exactly known.
    low, high : array_like, shape (...) [unit of value]
        Limits, low at most high; -inf or inf where there is none.

    Returns
    -------
    ndarray, shape (...) [1]
        Chance, 0 to 1.

    Raises
    ------
    BadInput
        If a value is not finite, an uncertainty negative, a limit not a number, low above high, or shapes do not fit.

    Examples
    --------
    >>> float(chance_inside(value=6.4, u=0.06, low=6.3, high=6.7))  # doctest: +NUMBER
    0.952

    References
    ----------
    JCGM 106:2012, 7.2 to 7.4 (conformance probability of a normal distribution; clause from memory).
    """
    centre, width, floor, ceiling = together(
        value=finite("value", value),
        u=finite("u", u, low=0),
        low=_limit("low", low),
        high=_limit("high", high),
    )
    if (floor > ceiling).any():
        raise BadInput("low", "is above high", "Give the lower limit as low")
    below, above = _sigmas(floor, centre, width), _sigmas(ceiling, centre, width)
    below = np.where((width == 0) & (floor <= centre), -np.inf, below)
    above = np.where((width == 0) & (ceiling >= centre), np.inf, above)
    # far above the limit both tails are near 1: subtract the small ones instead
    chance = np.where(below > 0, ndtr(-below) - ndtr(-above), ndtr(above) - ndtr(below))
    return np.clip(chance, 0, 1)


def provable(*, tolerance: ArrayLike, u: ArrayLike | Spread, confidence: float = 0.95) -> BoolArray:
    """Return whether the certificate rule can say "proven in" at all with this uncertainty.

    Parameters
    ----------
    tolerance : array_like, shape (...) [any unit]
        Half-width of the two-sided tolerance, 0 or more.
    u : array_like or Spread, shape (...) [unit of tolerance]
        Standard uncertainty, 0 or more; as a number, of a normal error.
    confidence : float, scalar [1]
        Of the certificate rule, 0.8 to 0.999.

    Returns
    -------
    ndarray of bool, shape (...) [yes or no]
        True if a value in the middle would be proven in: for 95 %, if the tolerance is at least 1.960 u.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the shapes do not fit.

    Examples
    --------
    >>> provable(tolerance=0.2, u=[0.06, 0.12]).tolist()
    [True, False]

    References
    ----------
    Derived in DEVELOPERS.md, Geometry, from ``chance_inside``.
    """
    rule = Rule(confidence=confidence)
    half = finite("tolerance", tolerance, low=0)
    return _best_chance(u, -half, half) >= rule.confidence


def judge(
    *,
    value: ArrayLike,
    u: ArrayLike | Spread,
    low: ArrayLike,
    high: ArrayLike,
    known: ArrayLike = True,
    rule: Rule = DEFAULT_RULE,
) -> Verdict:
    """Return the verdict on one quantity by the daily rule and by the certificate rule.

    Parameters
    ----------
    value : array_like, shape (...) [any unit]
        Measured value.
    u : array_like or Spread, shape (...) [unit of value]
        Standard uncertainty, 0 or more; as a number, of a normal error.
    low, high : array_like, shape (...) [unit of value]
        Limits, low at most high; -inf or inf where there is none.
    known : array_like of bool, shape (...) [yes or no]
        False where the quantity was not measured.
    rule : Rule, scalar [1]
        The thresholds.

    Returns
    -------
    Verdict, each field shape (...) [1, code]
        Chance and codes.

    Raises
    ------
    BadInput
        If a value is not finite, an uncertainty negative, a limit not a number, low above high, or shapes do not fit.

    Notes
    -----
    Daily: in spec if the chance is at least ``in_from``; out of spec if it is at most ``out_below`` and the value
    itself lies outside, so that a poor instrument alone never condemns a machine; otherwise borderline. Certificate:
    proven in if the chance is at least ``confidence``: a guard band of 1.645 u where the tolerance is wide, growing
    to 1.960 u where it is narrow and both tails count; proven out if the value is 1.645 u or more beyond a limit.
    Those factors are of a normal error; with a Spread the same chances are taken from its own shape.

    Examples
    --------
    >>> verdict = judge(value=[6.5, 6.68, 6.9], u=0.06, low=6.3, high=6.7)
    >>> [DAILY_WORDS[code] for code in verdict.daily]
    ['in spec', 'in spec', 'out of spec']
    >>> [CERTIFICATE_WORDS[code] for code in verdict.certificate]
    ['proven in', 'not proven', 'proven out']

    References
    ----------
    JCGM 106:2012, clauses 7 and 8; ISO 14253-1:2017 (guard band factor 1.645 for 95 % as the default; from memory).
    """
    floor, ceiling = _limit("low", low), _limit("high", high)
    chance, beyond = _outcome(finite("value", value), u, floor, ceiling, rule.confidence)
    centre, chance, beyond, known_here = together(
        value=finite("value", value), chance=chance, beyond=beyond, known=flags("known", known)
    )
    inside = (centre >= floor) & (centre <= ceiling)
    best = _best_chance(u, floor, ceiling) + np.zeros(centre.shape)
    return Verdict(
        chance=np.where(known_here, chance, 0.0),
        best_chance=np.where(known_here, best, 0.0),
        inside=inside & known_here,
        daily=_daily(chance, inside, known_here, rule),
        certificate=np.select(
            [~known_here, chance >= rule.confidence, ~inside & beyond], [NOT_PROVEN, PROVEN_IN, PROVEN_OUT], NOT_PROVEN
        ),
        provable=known_here & (best >= rule.confidence),
    )


def _limit(name: str, value: ArrayLike) -> FloatArray:
    """Limits as numbers; only the far side may be infinite."""
    try:
        limit = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise BadInput(name, "is not a number", "Give a number, or infinity where there is no limit") from error
    if np.isnan(limit).any() or (limit == (np.inf if name == "low" else -np.inf)).any():
        raise BadInput(name, "is no limit", "Give a number, or infinity where there is no limit")
    return limit


def _sigmas(limit: FloatArray, value: FloatArray, u: FloatArray) -> FloatArray:
    """How far a limit lies above the value, in standard uncertainties; too far for a number is infinitely far."""
    with np.errstate(over="ignore"):
        distance = limit - value
        sigmas = distance / np.where(u > 0, u, 1.0)
    return np.where((u == 0) & (distance != 0), np.copysign(np.inf, distance), sigmas)


def _daily(chance: FloatArray, inside: BoolArray, known: BoolArray, rule: Rule) -> IntArray:
    return np.select(
        [~known, chance >= rule.in_from, (chance <= rule.out_below) & ~inside],
        [NOT_MEASURED, IN_SPEC, OUT_OF_SPEC],
        BORDERLINE,
    )


def _outcome(
    value: FloatArray, u: ArrayLike | Spread, low: FloatArray, high: FloatArray, confidence: float
) -> tuple[FloatArray, BoolArray]:
    """The chance of lying inside, and whether the truth lies beyond one limit with this confidence."""
    if isinstance(u, Spread):
        value, low, high, _ = together(value=value, low=low, high=high, u=u.u)
        if (low > high).any():
            raise BadInput("low", "is above high", "Give the lower limit as low")
        under, over = chance_below(low - value, u), chance_below(high - value, u)
        return np.clip(over - under, 0, 1), (under >= confidence) | (1 - over >= confidence)
    chance = chance_inside(value=value, u=u, low=low, high=high)
    width, guard = finite("u", u, low=0), ndtri(confidence)
    return chance, (_sigmas(low, value, width) >= guard) | (_sigmas(high, value, width) <= -guard)


def _best_chance(u: ArrayLike | Spread, low: FloatArray, high: FloatArray) -> FloatArray:
    """The chance of being in spec if the value were in the middle."""
    half = high / 2 - low / 2
    return _outcome(np.zeros(()), u, -half, half, 0.95)[0]
