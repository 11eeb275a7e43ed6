"""A vial built into one machine: what its bubble says, learned from readings of bubble and level at the same moment.

      seen from the right side                        pitch
    front  _____________________  rear                  |          . *
          (  | | | | (==) | |   )                       |      . *         pitch = value + slope x position
           -4        0  1     4   lines                 |  . *             slope: degrees per line
    the glass is an arc: its bubble goes to the         +------------ bubble's middle, lines
    high end, the same way for each degree              -2  0  1  2       positive = toward the rear (or the right)

Bubble and level are both read with errors, so the line is fitted with both (``instruments_lines.fit_line_both``).
"""

from dataclasses import dataclass, field, fields, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import BoolArray, IntArray, flags, together
from leveling.errors import BadInput
from leveling.instruments import Budget
from leveling.instruments_combined import coverage_factor, freedom_from_doubt
from leveling.instruments_lines import FITTED, Estimate, Line, fit_line_both

#: What learning a vial came to, and in words.
LEARNED, NO_PAIRS, TOO_CLOSE, WRONG_WAY, PAIRS_DISAGREE = range(5)
VIAL_OUTCOMES = (
    "learned",
    "no pairs: read bubble and level at the same moment",
    "the bubble hardly moved: take one more pair with the machine set steeper or flatter",
    "the bubble went to the low end: look again which side it stood on",
    "the pairs disagree, with each other or with the manual, by more than reading explains: take them again",
)

_MOST_DEG_PER_LINE = 5.0
_LEAST_DEG = 1e-6  # nothing is weighed as if better than this
_MOST_DEG = 89.999
_CHANCE_OF_FALSE_ALARM = 0.01
#: Stated reading errors may well be a quarter more or less: common practice, no source.
_DOUBT = 0.25
_LEAST_KNOWN = 0.7  # share of the slope that its u may be: beyond, the pairs say next to nothing of it


def _half() -> FloatArray:
    return np.full((), 0.5)


def _one() -> FloatArray:
    return np.ones(())


def _tenth() -> FloatArray:
    return np.full((), 0.1)


@dataclass(frozen=True)
class VialSheet:
    """What is known of a vial before it is learned, each field shape (...).

    Attributes: ``reach_lines`` [line] from the middle line to the last one on either side, above 0 to 50.
    ``deg_per_line`` [degree per line] from the manual, above 0 to 5, and ``u_deg_per_line`` its standard uncertainty,
    above 0 to 5. Without a manual half a degree, unsure by one: common practice, no source.
    ``resolution_lines`` [line] the step to which a person reads the bubble's middle, 0 to 2: half a line, common
    practice, no source. ``repeat_lines`` [line] standard deviation of a bubble that settles again and an eye that
    looks again, 0 to 2: a tenth of a line, common practice, no source; with the step not both 0.

    Raises BadInput if a field is not finite or out of its range.
    """

    reach_lines: FloatArray
    deg_per_line: FloatArray = field(default_factory=_half)
    u_deg_per_line: FloatArray = field(default_factory=_one)
    resolution_lines: FloatArray = field(default_factory=_half)
    repeat_lines: FloatArray = field(default_factory=_tenth)

    def __post_init__(self) -> None:
        ranges = {"reach_lines": 50, "deg_per_line": _MOST_DEG_PER_LINE, "u_deg_per_line": _MOST_DEG_PER_LINE}
        for item in fields(self):
            above, high = item.name in ranges, ranges.get(item.name, 2)
            unit = "degrees per line" if "deg" in item.name else "lines"
            value = finite(item.name, getattr(self, item.name), low=0, high=high, above=above, unit=unit)
            object.__setattr__(self, item.name, value)


@dataclass(frozen=True)
class Vial:
    """A vial as far as it is known, each field shape (...).

    Attributes: ``line`` [degree over lines] the angle as a straight line over the bubble's position. ``u_common_deg``
    [degree] of the instrument it was learned with: shared by all that is read from it. ``low_lines``, ``high_lines``
    [line] between which positions it was learned. ``sheet`` [lines, degrees per line] what is printed on it.
    ``outcome`` [code] index into VIAL_OUTCOMES: unless LEARNED, do not read from it.
    """

    line: Line
    u_common_deg: FloatArray
    low_lines: FloatArray
    high_lines: FloatArray
    sheet: VialSheet
    outcome: IntArray


def learn_vial(
    *,
    sheet: VialSheet,
    position_lines: ArrayLike,
    tilt_deg: ArrayLike,
    budget: Budget,
    used: ArrayLike = True,
) -> Vial:
    """Return a vial learned from n pairs: bubble and level read at the same moment, at different slopes.

    Parameters
    ----------
    sheet : VialSheet, each field shape (...) [line, degree per line]
        What is known of it.
    position_lines : array_like, shape (..., n) [line]
        Where the bubble's middle stood, -50 to 50, positive = toward the rear or right.
    tilt_deg : array_like, shape (..., n) [degree]
        What the level said, in the same direction, its zero taken out, above -90 and below 90.
    budget : Budget, each field shape (..., n) [degree]
        Uncertainty of each of these tilts.
    used : array_like of bool, shape (..., n) [yes or no]
        False for padding and for pairs left out; there any number in range may stand.

    Returns
    -------
    Vial, each field shape (...) [degree, code]
        One pair is enough with a manual, two with different slopes without one.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the shapes do not fit.

    Notes
    -----
    The sheet's degrees per line count as one observation beside the pairs. Rounding that shows the same bubble
    position, or the same tilt, several times is not averaged over these. Few pairs say little about how well they were
    read, so the stated reading errors are believed to a quarter (as if from 8 degrees of freedom) and widened if the
    pairs scatter more; what is left of Student's factor at 95 % is taken into the uncertainties. The level's common
    part stays outside: no number of pairs averages it.

    Examples
    --------
    >>> vial = learn_vial(sheet=VialSheet(reach_lines=4), position_lines=[-2, 0, 2], tilt_deg=[5.5, 6.5, 7.5],
    ...                   budget=Budget(repeat_deg=0.03, accuracy_deg=0.05))
    >>> VIAL_OUTCOMES[int(vial.outcome)], round(float(vial.line.slope), 3), round(float(vial.line.u_slope), 3)
    ('learned', 0.5, 0.037)

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7, G.4.2 and H.3.4. The pooled scatter: derived in DEVELOPERS.md, Geometry.
    """
    wanted = flags("used", used)
    if np.ndim(position_lines) == 0:
        raise BadInput("position_lines", "is a single number", "Give the pairs on the last axis")
    position, tilt, fresh, repeating, common, wanted, step, repeat = together(
        position_lines=finite("position_lines", position_lines, low=-50, high=50, unit="lines"),
        tilt_deg=finite("tilt_deg", tilt_deg, low=-_MOST_DEG, high=_MOST_DEG, unit="degrees"),
        budget_fresh=budget.u_fresh_deg,
        budget_repeating=budget.repeating_deg,
        budget_common=budget.u_common_deg,
        used=wanted,
        sheet_resolution=sheet.resolution_lines[..., None],
        sheet_repeat=sheet.repeat_lines[..., None],
    )
    u_position = np.sqrt(_times_shown(position, wanted) * step**2 / 12 + repeat**2)
    u_tilt = np.sqrt(np.maximum(_times_shown(tilt, wanted) * repeating**2 + fresh**2, _LEAST_DEG**2))
    line = fit_line_both(
        x=position,
        y=tilt,
        u_x=u_position,
        u_y=u_tilt,
        used=wanted,
        slope_before=Estimate(value=sheet.deg_per_line, u=sheet.u_deg_per_line),
    )
    line = _widened(line)
    count = np.maximum(wanted.sum(axis=-1), 1)
    disagree = (line.freedom > 0) & (chdtrc(np.maximum(line.freedom, 1), line.sum_squares) < _CHANCE_OF_FALSE_ALARM)
    wrong_way = (line.outcome == FITTED) & ((line.slope <= 0) | (disagree & _falling(position, tilt, wanted)))
    low, high = (np.where(wanted.any(axis=-1), edge, 0.0) for edge in _ends(position, wanted))
    unsure = (line.u_slope > _LEAST_KNOWN * line.slope) | (line.slope > _MOST_DEG_PER_LINE)
    outcome = np.select(
        [~wanted.any(axis=-1), wrong_way, disagree, (line.outcome != FITTED) | unsure],
        [NO_PAIRS, WRONG_WAY, PAIRS_DISAGREE, TOO_CLOSE],
        LEARNED,
    )
    return Vial(
        line=line,
        u_common_deg=np.where(wanted, common, 0).sum(axis=-1) / count,
        low_lines=low,
        high_lines=high,
        sheet=sheet,
        outcome=outcome,
    )


def vial_from_manual(*, sheet: VialSheet, middle_deg: ArrayLike, u_middle_deg: ArrayLike) -> Vial:
    """Return a vial as its maker describes it, before any pair was read.

    Parameters
    ----------
    sheet : VialSheet, each field shape (...) [line, degree per line]
        With the manual's degrees per line.
    middle_deg : array_like, shape (...) [degree]
        The angle at which the bubble stands at the middle line, above -90 and below 90.
    u_middle_deg : array_like, shape (...) [degree]
        Its standard uncertainty, 0 to 90: how the vial and the playfield were mounted.

    Returns
    -------
    Vial, each field shape (...) [degree, code]
        Learned over all its lines; TOO_CLOSE if its degrees per line are too unsure to be read from.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the shapes do not fit.

    Examples
    --------
    >>> sheet = VialSheet(reach_lines=4, deg_per_line=0.5, u_deg_per_line=0.02)
    >>> vial = vial_from_manual(sheet=sheet, middle_deg=6.5, u_middle_deg=0.2)
    >>> VIAL_OUTCOMES[int(vial.outcome)], float(vial.line.value), float(vial.line.slope)
    ('learned', 6.5, 0.5)

    References
    ----------
    JCGM 100:2008 (GUM), 4.3 (type B).
    """
    middle, u_middle, slope, u_slope = together(
        middle_deg=finite("middle_deg", middle_deg, low=-_MOST_DEG, high=_MOST_DEG, unit="degrees"),
        u_middle_deg=finite("u_middle_deg", u_middle_deg, low=0, high=90, unit="degrees"),
        deg_per_line=sheet.deg_per_line,
        u_deg_per_line=sheet.u_deg_per_line,
    )
    none = np.zeros(middle.shape)
    line = Line(
        at=none,
        value=middle,
        slope=slope,
        u_value=u_middle,
        u_slope=u_slope,
        correlation=none,
        sum_squares=none,
        freedom=none,
        outcome=np.full(middle.shape, FITTED),
    )
    outcome = np.where(u_slope > _LEAST_KNOWN * slope, TOO_CLOSE, LEARNED)
    return Vial(
        line=line,
        u_common_deg=none,
        low_lines=none - sheet.reach_lines,
        high_lines=none + sheet.reach_lines,
        sheet=sheet,
        outcome=outcome,
    )


def _times_shown(values: FloatArray, used: BoolArray) -> IntArray:
    """How often each value stands among those in use of its row."""
    same = (values[..., :, None] == values[..., None, :]) & used[..., None, :]
    return np.maximum(same.sum(axis=-1), 1)


def _ends(values: FloatArray, used: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Least and largest of those in use."""
    least = np.min(values, axis=-1, initial=np.inf, where=used)
    return least, np.max(values, axis=-1, initial=-np.inf, where=used)


def _falling(x: FloatArray, y: FloatArray, used: BoolArray) -> BoolArray:
    """Whether y falls as x rises, by the pairs alone."""
    count = np.maximum(used.sum(axis=-1, keepdims=True), 1)
    dx, dy = (np.where(used, v - np.where(used, v, 0).sum(axis=-1, keepdims=True) / count, 0) for v in (x, y))
    return (dx * dy).sum(axis=-1) < 0


def _widened(line: Line) -> Line:
    """The line with the doubt about the reading errors, and their scatter if it is larger, in its uncertainties."""
    doubt = freedom_from_doubt(_DOUBT)
    freedom = doubt + line.freedom
    scatter = np.sqrt(np.maximum((doubt + line.sum_squares) / freedom, 1.0))
    factor = scatter * coverage_factor(freedom) / coverage_factor(np.inf)
    return replace(line, u_value=line.u_value * factor, u_slope=line.u_slope * factor)
