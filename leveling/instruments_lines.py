"""Straight lines through readings: value at a chosen place, slope, and how sure both are.

y                      . *          y = value + slope (x - at)
|              . *                  ordinary: all y equally unsure, by an amount the scatter tells (n of 3 or more)
|  value _ .*                       weighted: each y with its own known uncertainty
|     * .|                          both:     x and y unsure, each with its own known uncertainty
+--------+------------- x
         at
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import BoolArray, IntArray, flags, together
from leveling.errors import BadInput

#: Outcome of a row, and in words.
FITTED, TOO_FEW, ONE_PLACE, NO_REST = range(4)
LINE_OUTCOMES = (
    "fitted",
    "too few points for a line",
    "all points at one place: no slope can be told",
    "no line comes to rest: the points hardly lie along one",
)

_MOST_ROUNDS = 500
_REST = 1e-12  # relative change of the slope at which it has come to rest


@dataclass(frozen=True)
class Line:
    """A straight line with its uncertainty, each field shape (...), y in its unit and x in its unit.

    Attributes: ``at`` [unit of x] the place where ``value`` [unit of y] holds; ``slope`` [y per x]. ``u_value``,
    ``u_slope`` standard uncertainties and ``correlation`` [1] of the two. ``sum_squares`` [y squared, or 1 where
    uncertainties were given] of the residuals, with ``freedom`` [count] degrees of freedom. ``outcome`` [code] index
    into LINE_OUTCOMES; where it is not FITTED the other numbers mean nothing and are 0.

    Raises BadInput if a number is not finite or an uncertainty is negative.
    """

    at: FloatArray
    value: FloatArray
    slope: FloatArray
    u_value: FloatArray
    u_slope: FloatArray
    correlation: FloatArray
    sum_squares: FloatArray
    freedom: FloatArray
    outcome: IntArray

    def __post_init__(self) -> None:
        for name, low in (("at", -np.inf), ("value", -np.inf), ("slope", -np.inf), ("correlation", -1 - 1e-9)):
            object.__setattr__(self, name, finite(name, getattr(self, name), low=low))
        for name in ("u_value", "u_slope", "sum_squares", "freedom"):
            object.__setattr__(self, name, finite(name, getattr(self, name), low=0))
        object.__setattr__(self, "outcome", np.asarray(self.outcome, dtype=np.int64))

    @property
    def residual_sd(self) -> FloatArray:
        """Scatter about the line [unit of y, or 1 where uncertainties were given], 0 without freedom."""
        return np.sqrt(self.sum_squares / np.maximum(self.freedom, 1))


@dataclass(frozen=True)
class Estimate:
    """A number with its standard uncertainty, each field shape (...).

    Attributes: ``value`` [any unit], ``u`` [unit of value].
    """

    value: FloatArray
    u: FloatArray


def fit_line(
    *, x: ArrayLike, y: ArrayLike, at: ArrayLike = 0.0, u_y: ArrayLike | None = None, used: ArrayLike = True
) -> Line:
    """Return the straight line through n points by least squares, ordinary or weighted.

    Parameters
    ----------
    x, y : array_like, shape (..., n) [own units]
        Points; x exactly known. Where ``used`` is False any finite number may stand.
    at : array_like, shape (...) [unit of x]
        Where the line's ``value`` is wanted.
    u_y : array_like, shape (..., n) [unit of y]
        Known standard uncertainty of each y, above 0. None: all alike and unknown, so that the scatter tells it.
    used : array_like of bool, shape (..., n) [yes or no]
        False for padding and for points left out.

    Returns
    -------
    Line, each field shape (...) [units of x and y]
        With ``u_y`` two points suffice and the uncertainties follow from it alone; without it three are needed.

    Raises
    ------
    BadInput
        If a number is not finite, an uncertainty is not above 0, or the shapes do not fit.

    Examples
    --------
    >>> line = fit_line(x=[6, 6.5, 7], y=[-2.0, 0.1, 2.0], at=6.5)
    >>> float(line.value), float(line.slope), float(line.u_slope)  # doctest: +NUMBER
    (0.0333, 4.0, 0.115)

    References
    ----------
    JCGM 100:2008 (GUM), H.3 (eq. H.13 and H.14); weighted: the same with weights 1/u^2.
    """
    u = 1.0 if u_y is None else finite("u_y", u_y, low=0, above=True)
    horizontal, vertical, width, mask = _points(x=finite("x", x), y=finite("y", y), u_y=np.asarray(u), used=used)
    weights = mask / width**2
    count, weight, mean_x, mean_y = _centre(weights, horizontal, vertical, mask)
    dx, dy = horizontal - mean_x[..., None], vertical - mean_y[..., None]
    spread = (weights * dx**2).sum(axis=-1)
    safe_spread, safe_weight = np.where(spread > 0, spread, 1.0), np.where(weight > 0, weight, 1.0)
    slope = (weights * dx * dy).sum(axis=-1) / safe_spread
    squares = (weights * (dy - slope[..., None] * dx) ** 2).sum(axis=-1)
    freedom = np.maximum(count - 2.0, 0.0)
    variance = squares / np.maximum(freedom, 1) if u_y is None else np.ones_like(squares)
    place, mean_x = together(at=finite("at", at), x=mean_x)
    u_slope = np.sqrt(variance / safe_spread)
    shift = (place - mean_x) * u_slope
    u_value = np.hypot(np.sqrt(variance / safe_weight), shift)
    outcome = np.select([count < (3 if u_y is None else 2), ~(spread > 0)], [TOO_FEW, ONE_PLACE], FITTED)
    return _line(
        outcome,
        at=place,
        value=mean_y + slope * (place - mean_x),
        slope=slope,
        u_value=u_value,
        u_slope=u_slope,
        correlation=shift / np.where(u_value > 0, u_value, 1.0),
        sum_squares=squares,
        freedom=freedom,
    )


def fit_line_both(
    *,
    x: ArrayLike,
    y: ArrayLike,
    u_x: ArrayLike,
    u_y: ArrayLike,
    used: ArrayLike = True,
    slope_before: Estimate | None = None,
) -> Line:
    """Return the straight line through n points that are unsure in x and in y.

    Parameters
    ----------
    x, y : array_like, shape (..., n) [own units]
        Points; where ``used`` is False any finite number may stand.
    u_x, u_y : array_like, shape (..., n) [units of x and y]
        Standard uncertainties, independent, 0 or more and above 0; one of x's and y's own.
    used : array_like of bool, shape (..., n) [yes or no]
        False for padding and for points left out.
    slope_before : Estimate, each field shape (...) [y per x]
        What is known of the slope without the points, u above 0: counts as one observation; then one point is enough.

    Returns
    -------
    Line, each field shape (...) [units of x and y]
        ``at`` is where value and slope are uncorrelated, amid the points. ``sum_squares`` is chi squared, the
        observation of the slope included.

    Raises
    ------
    BadInput
        If a number is not finite, an uncertainty out of range, or the shapes do not fit.

    Notes
    -----
    Least squares of the residuals over u_y^2 + slope^2 u_x^2, the slope found by repetition. Taking x for exact
    would make the line too flat. Uncertainties are of first order: good while u_slope is below a third of the slope.

    Examples
    --------
    >>> line = fit_line_both(x=[-2.0, 0.0, 2.0], y=[5.9, 6.5, 6.9], u_x=0.15, u_y=0.03)
    >>> float(line.slope), float(line.u_slope), float(line.value)  # doctest: +NUMBER
    (0.252, 0.0171, 6.433)

    References
    ----------
    D. York, N. Evensen, M. Lopez Martinez, J. De Basabe Delgado, Unified equations for the slope, intercept, and
    standard errors of the best straight line, Am. J. Phys. 72 (2004) 367, eq. 13, doi 10.1119/1.1632486 (from
    memory). The observation of the slope: derived in DEVELOPERS.md, Geometry.
    """
    points = _points(
        x=finite("x", x), y=finite("y", y), u_x=finite("u_x", u_x, low=0), u_y=finite("u_y", u_y, low=0, above=True),
        used=used,
    )  # fmt: skip
    mask = points[-1]
    count = mask.sum(axis=-1)
    before, precision = _before(slope_before, count)
    slope, rests = _slope_at_rest(points, before, precision)
    weights, mean_x, mean_y, lever = _york(points, slope)
    adjusted = mean_x[..., None] + lever
    weight = weights.sum(axis=-1)
    safe_weight = np.where(weight > 0, weight, 1.0)
    at = (weights * adjusted).sum(axis=-1) / safe_weight
    information = (weights * (adjusted - at[..., None]) ** 2).sum(axis=-1) + precision
    residuals = points[1] - mean_y[..., None] - slope[..., None] * (points[0] - mean_x[..., None])
    squares = (weights * residuals**2).sum(axis=-1) + precision * (slope - before) ** 2
    known = precision > 0
    outcome = np.select(
        [count < np.where(known, 1, 2), ~(information > 0), ~rests], [TOO_FEW, ONE_PLACE, NO_REST], FITTED
    )
    return _line(
        outcome,
        at=at,
        value=mean_y + slope * (at - mean_x),
        slope=slope,
        u_value=1 / np.sqrt(safe_weight),
        u_slope=1 / np.sqrt(np.where(information > 0, information, 1.0)),
        correlation=np.zeros_like(slope),
        sum_squares=squares,
        freedom=np.maximum(count - 2.0 + known, 0.0),
    )


def line_at(line: Line, x: ArrayLike) -> Estimate:
    """Return the height of the line at a place.

    Parameters
    ----------
    line : Line, each field shape (...) [units of x and y]
        The line.
    x : array_like, shape (...) [unit of x]
        The place, exactly known.

    Returns
    -------
    Estimate, each field shape (...) [unit of y]
        Height and its standard uncertainty, without the scatter of a new reading; meaningless where the line was not
        fitted.

    Raises
    ------
    BadInput
        If a place is not finite, or the shapes do not fit.

    Examples
    --------
    >>> height = line_at(fit_line(x=[6, 6.5, 7], y=[-2.0, 0.1, 2.0], at=6.5), 7.5)
    >>> float(height.value), float(height.u)  # doctest: +NUMBER
    (4.033, 0.125)

    References
    ----------
    JCGM 100:2008 (GUM), H.3 (eq. H.15).
    """
    place, at, value, slope, u_value, u_slope, r = _fields(x=finite("x", x), line=line)
    d = place - at
    variance = u_value**2 + 2 * r * u_value * u_slope * d + (u_slope * d) ** 2
    return Estimate(value=value + slope * d, u=np.sqrt(np.maximum(variance, 0)))


def place_where(line: Line, y: ArrayLike) -> Estimate:
    """Return the place where the line reaches a height.

    Parameters
    ----------
    line : Line, each field shape (...) [units of x and y]
        The line.
    y : array_like, shape (...) [unit of y]
        The height wanted, exactly known.

    Returns
    -------
    Estimate, each field shape (...) [unit of x]
        Place and its standard uncertainty to first order; 0 where the slope is 0.

    Raises
    ------
    BadInput
        If a height is not finite, or the shapes do not fit.

    Examples
    --------
    >>> place = place_where(fit_line(x=[-2.0, 0.0, 2.0], y=[6.0, 6.5, 7.0], u_y=0.05), 6.75)
    >>> float(place.value), float(place.u)  # doctest: +NUMBER
    (1.0, 0.1354)

    References
    ----------
    The line solved for x; JCGM 100:2008 (GUM), 5.2.2.
    """
    height, at, value, slope, *_ = _fields(x=finite("y", y), line=line)
    steep = np.where(slope != 0, slope, 1.0)
    place = np.where(slope != 0, at + (height - value) / steep, at)
    return Estimate(value=place, u=np.where(slope != 0, line_at(line, place).u / np.abs(steep), 0.0))


def _points(*, used: ArrayLike, **columns: FloatArray) -> tuple[Any, ...]:
    points = together(**columns, used=flags("used", used))
    if points[0].ndim == 0:
        raise BadInput("x", "is a single number", "Give the points on the last axis")
    return points


def _centre(
    weights: FloatArray, x: FloatArray, y: FloatArray, mask: BoolArray
) -> tuple[IntArray, FloatArray, FloatArray, FloatArray]:
    """Count, sum of weights and weighted means of the points in use."""
    weight = weights.sum(axis=-1)
    share = weights / np.where(weight > 0, weight, 1.0)[..., None]
    return mask.sum(axis=-1), weight, (share * x).sum(axis=-1), (share * y).sum(axis=-1)


def _before(slope_before: Estimate | None, count: IntArray) -> tuple[FloatArray, FloatArray]:
    """The slope known beforehand and its weight 1/u^2, 0 where nothing is known."""
    if slope_before is None:
        return np.zeros(count.shape), np.zeros(count.shape)
    u = finite("slope_before.u", slope_before.u, low=0, above=True)
    value, u, _ = together(slope_before=finite("slope_before.value", slope_before.value), u=u, count=count)
    return value, 1 / u**2


def _york(points: tuple[Any, ...], slope: FloatArray) -> tuple[FloatArray, ...]:
    """Weights, weighted means, and how far each point's best place on the line lies from the mean in x."""
    x, y, u_x, u_y, mask = points
    s = slope[..., None]
    weights = mask / (u_y**2 + (s * u_x) ** 2)
    _, _, mean_x, mean_y = _centre(weights, x, y, mask)
    dx, dy = x - mean_x[..., None], y - mean_y[..., None]
    return weights, mean_x, mean_y, weights * (dx * u_y**2 + s * dy * u_x**2)


def _slope_at_rest(points: tuple[Any, ...], before: FloatArray, precision: FloatArray) -> tuple[FloatArray, BoolArray]:
    """The slope that reproduces itself, and whether it came to rest; each row stops by itself."""
    columns = tuple(column.reshape(before.size, column.shape[-1]) for column in points)
    start, weight = before.reshape(-1), precision.reshape(-1)
    slope, moving = start.copy(), np.arange(before.size)
    for round_number in range(_MOST_ROUNDS):
        old = slope[moving]
        here = tuple(column[moving] for column in columns)
        weights, mean_x, mean_y, lever = _york(here, old)
        dx = here[0] - mean_x[..., None]
        if round_number == 0:  # the first line takes x for exact
            lever = np.where(here[-1], dx, 0.0)
        top = (weights * lever * (here[1] - mean_y[..., None])).sum(axis=-1) + weight[moving] * start[moving]
        bottom = (weights * lever * dx).sum(axis=-1) + weight[moving]
        better = top / np.where(bottom != 0, bottom, 1.0)
        slope[moving] = better
        moving = moving[np.abs(better - old) > _REST * np.abs(better)]
        if not moving.size:
            break
    rests = np.ones(before.size, dtype=np.bool_)
    rests[moving] = False
    return slope.reshape(before.shape), rests.reshape(before.shape)


def _line(outcome: IntArray, **numbers: FloatArray) -> Line:
    """A line with 0 in the rows that have none."""
    fitted, *columns = together(outcome=outcome == FITTED, **numbers)
    clean = {name: np.where(fitted, column, 0.0) for name, column in zip(numbers, columns, strict=True)}
    return Line(**clean, outcome=np.broadcast_to(outcome, fitted.shape))


def _fields(*, x: FloatArray, line: Line) -> tuple[FloatArray, ...]:
    return together(
        x=x, at=line.at, value=line.value, slope=line.slope, u_value=line.u_value, u_slope=line.u_slope,
        correlation=line.correlation,
    )  # fmt: skip
