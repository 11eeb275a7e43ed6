"""Instruments that show a number (digital level, inclinometer): what a reading means and how sure it is.

    the level seen from above, laid across                    the level seen from the side, high end named

             rear     _____ right end                              shown 0.3       "right high"  +0.3
              y  ____/                                           ____________
              | /___ psi (anticlockwise +)                       left    right     "left high"   -0.3
      left ---+--------- x, right                                ============
              player                                              playfield        "level"        0

Turned by psi on the board, a level laid across also sees a part of the pitch (derived in DEVELOPERS.md, Geometry):
    sin reading = cos psi sin roll + sin psi sin pitch cos^2 roll / sqrt(1 - sin^2 roll sin^2 pitch)
"""

from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite, one_of
from leveling.checks_shapes import BoolArray, flags, together
from leveling.errors import BadInput

HIGH_ENDS_ALONG = ("rear", "front", "level")
HIGH_ENDS_ACROSS = ("right", "left", "level")
LIMIT_SHAPES = ("rectangular", "triangular", "arcsine")

_SIGNS = {"rear": 1.0, "right": 1.0, "front": -1.0, "left": -1.0, "level": 0.0}
_DIVISORS = {"rectangular": np.sqrt(3.0), "triangular": np.sqrt(6.0), "arcsine": np.sqrt(2.0)}
_MOST_DEG = 89.999


@dataclass(frozen=True)
class Instrument:
    """An instrument that shows a number, as its sheet and its zero check describe it; each field shape (...).

    Attributes: ``resolution_deg`` [degree] display step, 0 to 10. ``accuracy_deg`` [degree] stated limit, 0 to 10:
    rectangular, the same error in all readings of this instrument. ``alignment_deg`` [degree] largest misalignment
    psi each time it is laid down, 0 to 45: rectangular, large for a short base. ``repeat_deg`` [degree] standard
    deviation of laying it down again, 0 to 10. ``zero_deg`` [degree] what it shows on a truly level surface, with
    the sign it has when laid the usual way round (mark one end: it goes to the right or to the rear), -10 to 10.
    ``u_zero_deg`` [degree] standard uncertainty of that now, its age included, 0 to 10. If the zero was never
    checked, both are 0 and the stated accuracy has to cover it.

    Raises BadInput if a field is not finite or out of its range.
    """

    resolution_deg: FloatArray
    accuracy_deg: FloatArray
    alignment_deg: FloatArray
    repeat_deg: FloatArray
    zero_deg: FloatArray
    u_zero_deg: FloatArray

    def __post_init__(self) -> None:
        for item in fields(self):
            low = -10 if item.name == "zero_deg" else 0
            high = 45 if item.name == "alignment_deg" else 10
            value = finite(item.name, getattr(self, item.name), low=low, high=high, unit="degrees")
            object.__setattr__(self, item.name, value)


def _none() -> FloatArray:
    return np.zeros(())


@dataclass(frozen=True)
class Budget:
    """Why a tilt is not exact: standard uncertainties, each field shape (...) [degree], 0 if not given.

    Attributes: ``resolution_deg`` rounding of the display. ``repeating_deg`` the part of it that comes back each
    time the level is laid on the same slope, so that repeating does not average it; at most ``resolution_deg``.
    ``alignment_deg`` the level not square. ``repeat_deg`` laying it down again. ``accuracy_deg`` and ``zero_deg``
    the instrument's own error and zero, the same in all its readings.

    Raises BadInput if a field is negative or not finite, or ``repeating_deg`` exceeds ``resolution_deg``.
    """

    resolution_deg: FloatArray = field(default_factory=_none)
    repeating_deg: FloatArray = field(default_factory=_none)
    alignment_deg: FloatArray = field(default_factory=_none)
    repeat_deg: FloatArray = field(default_factory=_none)
    accuracy_deg: FloatArray = field(default_factory=_none)
    zero_deg: FloatArray = field(default_factory=_none)

    def __post_init__(self) -> None:
        for item in fields(self):
            value = finite(item.name, getattr(self, item.name), low=0, high=90, unit="degrees")
            object.__setattr__(self, item.name, value)
        repeating, resolution = together(repeating_deg=self.repeating_deg, resolution_deg=self.resolution_deg)
        if (repeating > resolution * (1 + 1e-9)).any():
            raise BadInput("repeating_deg", "is more than resolution_deg", "Give a part of resolution_deg")

    @property
    def u_fresh_deg(self) -> FloatArray:
        """The part drawn afresh with every laying [degree], so that repeating averages it."""
        rounding = np.maximum(self.resolution_deg**2 - self.repeating_deg**2, 0)
        return np.sqrt(rounding + self.alignment_deg**2 + self.repeat_deg**2)

    @property
    def u_common_deg(self) -> FloatArray:
        """The part that all readings of one instrument share [degree]: accuracy and zero."""
        return np.hypot(self.accuracy_deg, self.zero_deg)

    @property
    def u_deg(self) -> FloatArray:
        """All parts together [degree]: the standard uncertainty of this one tilt."""
        return np.sqrt(self.u_fresh_deg**2 + self.repeating_deg**2 + self.u_common_deg**2)


def standard_from_limit(half_width: ArrayLike, shape: str) -> FloatArray:
    """Return the standard uncertainty behind a limit "plus or minus a" (type B).

    Parameters
    ----------
    half_width : array_like, shape (...) [any unit]
        The limit a, 0 or more.
    shape : str, scalar [words]
        "rectangular" (anything inside is as likely), "triangular" (the middle is likelier) or "arcsine" (it
        swings to and fro).

    Returns
    -------
    ndarray, shape (...) [unit of half_width]
        a/sqrt 3, a/sqrt 6 or a/sqrt 2.

    Raises
    ------
    BadInput
        If a limit is negative or not finite, or the shape is unknown.

    Examples
    --------
    >>> float(standard_from_limit(0.05, "rectangular"))  # doctest: +NUMBER
    0.0289

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7 (rectangular) and 4.3.9 (triangular). Arcsine: variance a^2/2 of a sine.
    """
    one_of("shape", shape, LIMIT_SHAPES)
    return finite("half_width", half_width, low=0) / _DIVISORS[shape]


def signed_tilt_deg(shown_deg: ArrayLike, high_end: ArrayLike) -> FloatArray:
    """Return the tilt in the machine's sign from what the display shows and the end that was high.

    Parameters
    ----------
    shown_deg : array_like, shape (...) [degree]
        The number without its sign, 0 to 89.999.
    high_end : array_like of str, shape (...) [words]
        "rear" or "front" of a level laid along, "right" or "left" of one laid across, "level" if it shows 0.

    Returns
    -------
    ndarray, shape (...) [degree]
        Tilt, positive = rear higher or right side higher.

    Raises
    ------
    BadInput
        If a number is not finite, negative or too large, an end is unknown, "level" stands beside a number other
        than 0, or the shapes do not fit.

    Examples
    --------
    >>> signed_tilt_deg([6.5, 0.3, 0.2, 0.0], ["rear", "left", "right", "level"]).tolist()
    [6.5, -0.3, 0.2, 0.0]

    References
    ----------
    Signs as in DEVELOPERS.md, Geometry.
    """
    shown = finite("shown_deg", shown_deg, low=0, high=_MOST_DEG, unit="degrees, without sign")
    ends = np.asarray(high_end)
    sign = np.full(ends.shape, np.nan)
    for word, value in _SIGNS.items():
        sign[ends == word] = value
    if np.isnan(sign).any():
        raise BadInput("high_end", "names no end", f"Give one of: {', '.join(_SIGNS)}")
    shown, sign = together(shown_deg=shown, high_end=sign)
    if ((sign == 0) & (shown != 0)).any():
        raise BadInput("high_end", "says level, but the display shows more than 0", "Name the end that is high")
    return shown * sign + 0.0  # no minus zero


def misaligned_reading_deg(
    *, pitch_deg: ArrayLike, roll_deg: ArrayLike, psi_deg: ArrayLike, along: ArrayLike
) -> FloatArray:
    """Return what a perfect level reads on a plane board when it is laid down turned by psi.

    Parameters
    ----------
    pitch_deg, roll_deg : array_like, shape (...) [degree]
        Slopes of the board, above -90 and below 90, positive = rear higher, right side higher.
    psi_deg : array_like, shape (...) [degree]
        Turn of the level on the board, -90 to 90, anticlockwise seen from above: laid across, its right end comes
        to the rear; laid along, its rear end comes to the left.
    along : array_like of bool, shape (...) [yes or no]
        Laid along (front to rear), not across.

    Returns
    -------
    ndarray, shape (...) [degree]
        Reading, positive = rear end or right end higher.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the shapes do not fit.

    Notes
    -----
    Exact for a plane. With little roll it is asin(cos psi sin roll + sin psi sin pitch), laid across.

    Examples
    --------
    >>> across = misaligned_reading_deg(pitch_deg=6.5, roll_deg=0, psi_deg=1, along=False)
    >>> float(across)  # one degree of misalignment looks like roll  # doctest: +NUMBER
    0.1132

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    pitch, roll = _angle("pitch_deg", pitch_deg), _angle("roll_deg", roll_deg)
    psi = np.radians(finite("psi_deg", psi_deg, low=-90, high=90, unit="degrees"))
    pitch, roll, psi, lengthwise = together(pitch_deg=pitch, roll_deg=roll, psi_deg=psi, along=flags("along", along))
    own, cross = _own_and_cross(pitch, roll, lengthwise)
    turn = np.where(lengthwise, -psi, psi)
    return np.degrees(np.arcsin(np.clip(np.cos(turn) * np.sin(own) + np.sin(turn) * cross, -1, 1)))


def reading_budget(
    *,
    instrument: Instrument,
    along: ArrayLike,
    reversed_pair: ArrayLike,
    pitch_deg: ArrayLike,
    roll_deg: ArrayLike = 0.0,
) -> Budget:
    """Return the uncertainty budget of tilts taken with an instrument, singly or as reversed pairs.

    Parameters
    ----------
    instrument : Instrument, each field shape (...) [degree]
        The instrument; its fields stretch to the readings.
    along : array_like of bool, shape (...) [yes or no]
        Laid along (front to rear), not across.
    reversed_pair : array_like of bool, shape (...) [yes or no]
        The tilt is (r0 - r180)/2 of two readings, the level turned end for end on the same line between them;
        otherwise one reading minus ``instrument.zero_deg``.
    pitch_deg, roll_deg : array_like, shape (...) [degree]
        The board's slopes, above -90 and below 90, as far as known: they set what misalignment costs.

    Returns
    -------
    Budget, each field shape (...) [degree]
        Standard uncertainties of the tilt.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the shapes do not fit.

    Notes
    -----
    A pair cancels the zero and halves the variance of ``repeat_deg``. It keeps the misalignment, since both readings
    lie on one line, and the accuracy; laying the level down afresh draws a new misalignment. Rounding is treated as
    a sawtooth error of the unrounded reading, seen over an unknown place within the display step: the k-th harmonic
    (weight 1/k^2) returns with the factor exp(-(2 pi k s/step)^2) when noise of standard deviation s is drawn afresh.
    So without noise rounding neither averages over repeats nor (zero known to be 0) over a pair; with noise of
    half a step it averages like noise. Misalignment: rectangular psi, first and second order.

    Examples
    --------
    >>> level = Instrument(resolution_deg=0.1, accuracy_deg=0.1, alignment_deg=1, repeat_deg=0, zero_deg=0,
    ...                    u_zero_deg=0)
    >>> budget = reading_budget(instrument=level, along=[True, False], reversed_pair=False, pitch_deg=6.5)
    >>> budget.resolution_deg.tolist(), budget.alignment_deg.tolist()  # doctest: +NUMBER
    ([0.0289, 0.0289], [0.0004, 0.0654])

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7 and 5.1.2; B. Widrow and I. Kollar, Quantization Noise, Cambridge 2008 (the
    harmonics of rounding; from memory). Misalignment derived in DEVELOPERS.md, Geometry.
    """
    numbers = {item.name: getattr(instrument, item.name) for item in fields(instrument)}
    pitch, roll, lengthwise, pair, *parts = together(
        pitch_deg=_angle("pitch_deg", pitch_deg),
        roll_deg=_angle("roll_deg", roll_deg),
        along=flags("along", along),
        reversed_pair=flags("reversed_pair", reversed_pair),
        **numbers,
    )
    step, accuracy, psi, repeat, zero, u_zero = parts
    own, cross = _own_and_cross(pitch, roll, lengthwise)
    a = np.radians(psi)
    alignment = np.degrees(np.sqrt(a**2 / 3 * cross**2 + a**4 / 20 * np.sin(own) ** 2) / np.cos(own))
    total, repeating = _rounding_shares(step=step, repeat=repeat, line=alignment, zero=(zero, u_zero), pair=pair)
    rounding = standard_from_limit(step / 2, "rectangular")
    return Budget(
        resolution_deg=rounding * np.sqrt(total),
        repeating_deg=rounding * np.sqrt(np.minimum(repeating, total)),
        alignment_deg=alignment,
        repeat_deg=np.where(pair, repeat / np.sqrt(2), repeat),
        accuracy_deg=standard_from_limit(accuracy, "rectangular"),
        zero_deg=np.where(pair, 0.0, u_zero),
    )


def _angle(name: str, value: ArrayLike) -> FloatArray:
    return np.radians(finite(name, value, low=-_MOST_DEG, high=_MOST_DEG, unit="degrees"))


def _own_and_cross(pitch: FloatArray, roll: FloatArray, along: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Angle in the level's own direction, and sine of the slope at right angles to it on the board."""
    own, other = np.where(along, pitch, roll), np.where(along, roll, pitch)
    # across (cos r, 0, sin r) and along (0, cos p, sin p) meet at sin r sin p: take the part at right angles
    return own, np.sin(other) * np.cos(own) ** 2 / np.sqrt(1 - (np.sin(own) * np.sin(other)) ** 2)


def _rounding_shares(
    *,
    step: FloatArray,
    repeat: FloatArray,
    line: FloatArray,
    zero: tuple[FloatArray, FloatArray],
    pair: BoolArray,
) -> tuple[FloatArray, FloatArray]:
    """Variance of rounding in units of step^2/12: all of it, and what returns when the tilt is taken again."""
    harmonics = np.arange(1, 17)
    weights = 1 / harmonics**2 / (1 / harmonics**2).sum()
    per_step = np.where(step > 1e-9, 2 * np.pi / np.maximum(step, 1e-9), 0.0)
    total, repeating = np.zeros(step.shape), np.zeros(step.shape)
    for k, weight in zip(harmonics, weights, strict=True):
        wave = k * per_step
        fresh = np.exp(-((wave * repeat) ** 2))
        line_again = np.exp(-((wave * line) ** 2))
        # the turned reading rounds at a place shifted by twice the zero: uncertain zero, unrelated rounding
        turned = np.where(pair, np.exp(-2 * (wave * zero[1]) ** 2) * np.cos(2 * wave * zero[0]), 1.0)
        total += weight * (1 + np.where(pair, fresh * turned, 1.0)) / 2
        repeating += weight * fresh * line_again * (1 + turned) / 2
    return total, repeating
