"""Reading a vial: the angle that a bubble shows, and the place where the bubble belongs for a wanted angle.

strip beside the vial:    |   |   |   |   |        the mark stands where the bubble's middle
                         -2  -1   0 ^ 1   2        comes to rest at the wanted pitch: +0.6 lines
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import IntArray, together
from leveling.errors import BadInput
from leveling.instruments import Budget, Instrument, reading_budget
from leveling.instruments_lines import line_at, place_where
from leveling.instruments_vials import LEARNED, Vial

#: Where a bubble stands, seen from the vial's middle line.
BUBBLE_SIDES = ("rear", "front", "right", "left", "middle")

#: Where a bubble is or belongs, and in words.
ON_VIAL, PAST_REAR, PAST_FRONT, NOT_KNOWN, FAR_OFF = range(5)
PLACE_OUTCOMES = (
    "on the lines",
    "beyond the last line toward the rear or right: the vial cannot tell",
    "beyond the last line toward the front or left: the vial cannot tell",
    "this vial is not learned yet",
    "beyond where it was learned, and its degrees per line are not known well enough: take a pair near here first",
)

_SIGNS = {"rear": 1.0, "right": 1.0, "front": -1.0, "left": -1.0, "middle": 0.0}
_MOST_DEG = 89.999
_MOST_DEG_PER_LINE = 5.0
#: Share of the degrees per line that its u may be for reading beyond the positions where the vial was learned.
_WELL_KNOWN = 0.15
#: Standard uncertainty of an angle of which nothing is known: rectangular between -90 and 90 degrees.
_UNKNOWN_U_DEG = 90 / np.sqrt(3)


@dataclass(frozen=True)
class VialReading:
    """An angle read from a vial, each field shape (...).

    Attributes: ``tilt_deg`` [degree] positive = rear or right side higher. ``budget`` [degree] its uncertainty:
    ``accuracy_deg`` from the instrument the vial was learned with, ``zero_deg`` from learning it. ``outcome`` [code]
    index into PLACE_OUTCOMES: unless ON_VIAL, the tilt means nothing.
    """

    tilt_deg: FloatArray
    budget: Budget
    outcome: IntArray


@dataclass(frozen=True)
class BubblePlace:
    """Where the bubble belongs for a wanted angle, each field shape (...).

    Attributes: ``position_lines`` [line] of the bubble's middle from the middle line, positive = toward the rear or
    right. ``u_lines`` [line] its standard uncertainty, before anybody reads a bubble against it. ``outcome`` [code]
    index into PLACE_OUTCOMES: unless ON_VIAL, nothing is to be printed.
    """

    position_lines: FloatArray
    u_lines: FloatArray
    outcome: IntArray


def bubble_position_lines(shown_lines: ArrayLike, side: ArrayLike) -> FloatArray:
    """Return where a bubble stands, with its sign, from lines counted and the side they were counted to.

    Parameters
    ----------
    shown_lines : array_like, shape (...) [line]
        Lines from the middle line to the middle of the bubble, 0 to 50; read both its ends and take the half.
    side : array_like of str, shape (...) [words]
        "rear" or "front" of a vial for pitch, "right" or "left" of one for roll, "middle" if it stands there.

    Returns
    -------
    ndarray, shape (...) [line]
        Position, positive = toward the rear or right.

    Raises
    ------
    BadInput
        If a number is not finite, negative or too large, a side is unknown, "middle" stands beside a number other
        than 0, or the shapes do not fit.

    Examples
    --------
    >>> bubble_position_lines([1.5, 0.5, 0.0], ["front", "rear", "middle"]).tolist()
    [-1.5, 0.5, 0.0]

    References
    ----------
    Signs as in DEVELOPERS.md, Geometry.
    """
    shown = finite("shown_lines", shown_lines, low=0, high=50, unit="lines, without sign")
    words = np.asarray(side)
    sign = np.full(words.shape, np.nan)
    for word, value in _SIGNS.items():
        sign[words == word] = value
    if np.isnan(sign).any():
        raise BadInput("side", "names no side", f"Give one of: {', '.join(BUBBLE_SIDES)}")
    shown, sign = together(shown_lines=shown, side=sign)
    if ((sign == 0) & (shown != 0)).any():
        raise BadInput("side", "says middle, but lines were counted", "Name the side to which the bubble stands")
    return shown * sign + 0.0  # no minus zero


def read_vial(vial: Vial, position_lines: ArrayLike) -> VialReading:
    """Return the angle that a bubble's position says, with its budget.

    Parameters
    ----------
    vial : Vial, each field shape (...) [degree, line]
        The vial, learned or from its manual.
    position_lines : array_like, shape (...) [line]
        Where the bubble stands, -50 to 50, positive = toward the rear or right.

    Returns
    -------
    VialReading, each field shape (...) [degree, code]
        Where the outcome is not ON_VIAL, the tilt is 0 and nothing is known of it.

    Raises
    ------
    BadInput
        If a position is not finite or out of range, or the shapes do not fit.

    Notes
    -----
    A vial sits in its machine: no alignment is drawn afresh. A vial that is off square by 1 degree sees 0.017 of
    the roll as pitch, always the same way, and what of it was there while learning is learned. It says what the level
    would have said on the playfield as it lay then: seat the playfield the same way. Beyond the positions where it
    was learned it is read only if its degrees per line are known to 15 % (first order; a slope found too flat would
    look surer than it is).

    Examples
    --------
    >>> from leveling.instruments_vials import VialSheet, vial_from_manual
    >>> sheet = VialSheet(reach_lines=4, deg_per_line=0.5, u_deg_per_line=0.02)
    >>> reading = read_vial(vial_from_manual(sheet=sheet, middle_deg=6.5, u_middle_deg=0.2), [-1.0, 5.0])
    >>> reading.tilt_deg.tolist(), [PLACE_OUTCOMES[code] for code in reading.outcome][0]
    ([6.0, 0.0], 'on the lines')
    >>> float(reading.budget.resolution_deg), float(reading.budget.zero_deg[0])  # doctest: +NUMBER
    (0.0722, 0.2010)

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7 and H.3.4.
    """
    position, *_ = together(
        position_lines=finite("position_lines", position_lines, low=-50, high=50, unit="lines"), vial=vial.outcome
    )
    outcome = _place_outcome(vial, position)
    good = outcome == ON_VIAL
    angle = line_at(vial.line, position)
    slope = np.clip(vial.line.slope, 0, _MOST_DEG_PER_LINE)
    none = np.zeros(())
    eye = Instrument(
        resolution_deg=slope * vial.sheet.resolution_lines,
        repeat_deg=slope * vial.sheet.repeat_lines,
        accuracy_deg=none,
        alignment_deg=none,
        zero_deg=none,
        u_zero_deg=none,
    )
    budget = reading_budget(instrument=eye, along=True, reversed_pair=False, pitch_deg=0)
    return VialReading(
        tilt_deg=np.where(good, angle.value, 0.0),
        budget=replace(
            budget,
            accuracy_deg=np.where(good, vial.u_common_deg, 0.0),
            zero_deg=np.where(good, np.minimum(angle.u, _UNKNOWN_U_DEG), _UNKNOWN_U_DEG),
        ),
        outcome=outcome,
    )


def bubble_place(vial: Vial, wanted_deg: ArrayLike) -> BubblePlace:
    """Return where the bubble belongs when the machine stands at a wanted angle.

    Parameters
    ----------
    vial : Vial, each field shape (...) [degree, line]
        The vial, learned or from its manual.
    wanted_deg : array_like, shape (...) [degree]
        Wanted pitch, or roll of a vial laid across, above -90 and below 90.

    Returns
    -------
    BubblePlace, each field shape (...) [line, code]
        Where the outcome is NOT_KNOWN, position and uncertainty are 0.

    Raises
    ------
    BadInput
        If an angle is not finite or out of range, or the shapes do not fit.

    Notes
    -----
    The uncertainty holds what the level shares (its accuracy and zero) and what was left open in learning.

    Examples
    --------
    >>> from leveling.instruments_vials import VialSheet, vial_from_manual
    >>> sheet = VialSheet(reach_lines=4, deg_per_line=0.5, u_deg_per_line=0.02)
    >>> vial = vial_from_manual(sheet=sheet, middle_deg=6.5, u_middle_deg=0.1)
    >>> place = bubble_place(vial, [6.8, 9.0])
    >>> place.position_lines.tolist(), place.u_lines.tolist()  # doctest: +NUMBER
    ([0.6, 5.0], [0.201, 0.283])
    >>> PLACE_OUTCOMES[int(place.outcome[1])]
    'beyond the last line toward the rear or right: the vial cannot tell'

    References
    ----------
    The line of ``read_vial`` solved for the position; JCGM 100:2008 (GUM), 5.2.2.
    """
    wanted = finite("wanted_deg", wanted_deg, low=-_MOST_DEG, high=_MOST_DEG, unit="degrees")
    place = place_where(vial.line, wanted)
    position, u, common, slope = together(
        wanted_deg=place.value, u=place.u, common=vial.u_common_deg, slope=vial.line.slope
    )
    outcome = _place_outcome(vial, position)
    u = np.hypot(u, common / np.where(slope > 0, slope, 1.0))
    known = outcome != NOT_KNOWN
    return BubblePlace(position_lines=np.where(known, position, 0.0), u_lines=np.where(known, u, 0.0), outcome=outcome)


def _place_outcome(vial: Vial, position: FloatArray) -> IntArray:
    line, reach = vial.line, vial.sheet.reach_lines
    beyond = (position < vial.low_lines) | (position > vial.high_lines)
    return np.select(
        [
            vial.outcome != LEARNED,
            position > reach,
            position < -reach,
            beyond & (line.u_slope > _WELL_KNOWN * line.slope),
        ],
        [NOT_KNOWN, PAST_REAR, PAST_FRONT, FAR_OFF],
        ON_VIAL,
    )
