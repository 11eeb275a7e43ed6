"""The playfield: pitch and roll from readings at spots, how sure, which reading looks odd, which one to take next.

    rear                  along:  pitch = weighted mean of the tilts along   (positive = rear higher)
+----------+              across: roll  = weighted mean of the tilts across  (positive = right side higher)
|   |  --  |
|      |   |              Tilts are combined as angles, since instruments err in angle; averaged as gradients
|  --      |              they would differ by tan(pitch) var, 0.0001 degree for a scatter of 0.25 at 6.5.
+----------+
   player
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc, ndtri

from leveling.checks import FloatArray, finite, last_axis
from leveling.checks_shapes import BoolArray, IntArray, flags, together
from leveling.errors import BadInput
from leveling.instruments import Budget, Instrument, reading_budget

#: Outcome of a row, and in words.
MEASURED, NO_ALONG, NO_ACROSS, NO_READINGS, DISAGREE = range(5)
OUTCOMES = (
    "measured",
    "pitch unknown: no reading along the playfield",
    "roll unknown: no reading across the playfield",
    "nothing known: no readings",
    "the readings disagree by more than the instrument explains",
)

#: Standard uncertainty of an angle of which nothing is known: rectangular between -90 and 90 degrees.
UNKNOWN_U_DEG = 90 / np.sqrt(3)
#: Common practice, no source: the pitch to reckon misalignment with while none has been read.
TYPICAL_PITCH_DEG = 6.5

#: Weights stay finite for a perfect instrument: nothing is weighed as if better than 0.000001 degree.
LEAST_VARIANCE_DEG2 = 1e-12

_CHANCE_OF_FALSE_ALARM = 0.01
_MOST_DEG = 89.999


@dataclass(frozen=True)
class Slope:
    """One slope of the playfield with its uncertainty, each field shape (...).

    Attributes: ``angle_deg`` [degree] positive = rear or right side higher, 0 where unknown. ``u_fresh_deg`` [degree]
    what more readings average out. ``u_rounding_deg`` [degree] display rounding that repeats. ``u_common_deg``
    [degree] shared by all readings of the instrument. ``weight`` [1/degree^2] sum of the readings' weights.
    ``readings`` [count]. ``chi2`` [1] weighted sum of squared residuals, with readings - 1 degrees of freedom.
    ``agree`` [yes or no] the readings scatter no more than their budgets explain. ``span_mm`` [mm] diagonal of the
    box around the spots: small means that a bow of the board would not show.
    """

    angle_deg: FloatArray
    u_fresh_deg: FloatArray
    u_rounding_deg: FloatArray
    u_common_deg: FloatArray
    weight: FloatArray
    readings: IntArray
    chi2: FloatArray
    agree: BoolArray
    span_mm: FloatArray

    @property
    def u_deg(self) -> FloatArray:
        """Standard uncertainty, all parts together [degree]."""
        return np.sqrt(self.u_fresh_deg**2 + self.u_rounding_deg**2 + self.u_common_deg**2)

    @property
    def known(self) -> BoolArray:
        """At least one reading was used [yes or no]."""
        return self.readings > 0


@dataclass(frozen=True)
class Playfield:
    """Pitch and roll of a playfield, each field shape (...).

    Attributes: ``pitch`` and ``roll`` [degree] as Slope. ``outcome`` [code] index into OUTCOMES. ``odd_reading``
    [index] the reading that does not fit the others of its direction, -1 for none: named, never dropped.
    ``odd_size`` [1] the largest residual in standard deviations, 0 with fewer than three readings in a direction.
    """

    pitch: Slope
    roll: Slope
    outcome: IntArray
    odd_reading: IntArray
    odd_size: FloatArray


def fit_playfield(
    *,
    tilt_deg: ArrayLike,
    along: ArrayLike,
    budget: Budget,
    used: ArrayLike = True,
    spots_mm: ArrayLike = (0.0, 0.0),
    wave_deg: ArrayLike = 0.0,
) -> Playfield:
    """Return pitch and roll by weighted least squares from tilts with their budgets.

    Parameters
    ----------
    tilt_deg : array_like, shape (..., k) [degree]
        k signed tilts, above -90 and below 90; where ``used`` is False anything may stand.
    along : array_like of bool, shape (..., k) [yes or no]
        Taken along the playfield (front to rear), not across.
    budget : Budget, each field shape (..., k) [degree]
        Uncertainty of each tilt.
    used : array_like of bool, shape (..., k) [yes or no]
        False for padding and for readings left out.
    spots_mm : array_like, shape (..., k, 2) [mm]
        Where each tilt was taken, x to the right and y to the rear.
    wave_deg : array_like, shape (..., k) [degree]
        Standard uncertainty of the board's slope at the spot against the whole board, as ``spot_waves_deg`` gives
        it, 0 to 90: a fresh part of each tilt. At 0 the board is taken as a plane.

    Returns
    -------
    Playfield, each field shape (...) [degree, mm, code]
        Two used readings, one along and one across, are enough.

    Raises
    ------
    BadInput
        If a used tilt or a spot is not finite or out of range, or the shapes do not fit.

    Notes
    -----
    A tilt may differ from the others by v = fresh^2 + repeating^2 + (common^2 - the least common^2 of its direction);
    its weight is 1/v. Uncertainty: fresh parts add in squares; repeating and common parts are taken as fully
    correlated within a direction and add with their shares. If chi2 is too large (chance below 1 %), the fresh part is
    widened by it. A reading is odd if its residual in standard deviations is too large for the largest of n
    (Bonferroni, 1 %) and its direction has three or more; of two that disagree nobody can say which is wrong.

    Examples
    --------
    >>> fit = fit_playfield(tilt_deg=[6.4, 6.6, 0.2], along=[True, True, False], budget=Budget(repeat_deg=0.1))
    >>> float(fit.pitch.angle_deg), float(fit.pitch.u_deg), float(fit.roll.angle_deg)  # doctest: +NUMBER
    (6.5, 0.0707, 0.2)
    >>> OUTCOMES[int(fit.outcome)]
    'measured'

    References
    ----------
    JCGM 100:2008 (GUM), 5.1.2 and 5.2.2 (correlated parts). Residual variance v - 1/sum of weights: derived in
    DEVELOPERS.md, Geometry.
    """
    wanted, tilt, spots = flags("used", used), _tilts(tilt_deg, used), _spots(spots_mm)
    tilt, lengthwise, wanted, fresh, repeating, common, x, y, wave = together(
        tilt_deg=tilt,
        along=flags("along", along),
        used=wanted,
        budget_fresh=budget.u_fresh_deg,
        budget_repeating=budget.repeating_deg,
        budget_common=budget.u_common_deg,
        spots_x=spots[..., 0],
        spots_y=spots[..., 1],
        wave_deg=finite("wave_deg", wave_deg, low=0, high=90, unit="degrees"),
    )
    if tilt.ndim == 0:
        raise BadInput("tilt_deg", "is a single number", "Give the readings on the last axis")
    parts = (tilt, np.hypot(fresh, wave), repeating, common, x, y)
    pitch, along_sigmas = _slope(*parts, mask=lengthwise & wanted)
    roll, across_sigmas = _slope(*parts, mask=~lengthwise & wanted)
    odd_reading, odd_size = _odd(np.where(lengthwise, along_sigmas, across_sigmas), lengthwise, pitch, roll)
    outcome = np.select(
        [~pitch.known & ~roll.known, ~pitch.known, ~roll.known, ~pitch.agree | ~roll.agree],
        [NO_READINGS, NO_ALONG, NO_ACROSS, DISAGREE],
        MEASURED,
    )
    return Playfield(pitch=pitch, roll=roll, outcome=outcome, odd_reading=odd_reading, odd_size=odd_size)


def playfield_from_readings(
    *,
    instrument: Instrument,
    tilt_deg: ArrayLike,
    along: ArrayLike,
    reversed_pair: ArrayLike,
    used: ArrayLike = True,
    spots_mm: ArrayLike = (0.0, 0.0),
) -> Playfield:
    """Return pitch and roll from tilts taken with an instrument: its budget is worked out on the way.

    Parameters
    ----------
    instrument : Instrument, each field shape (..., k) [degree]
        The instrument of each tilt, or one for all.
    tilt_deg : array_like, shape (..., k) [degree]
        k signed tilts, the zero taken out, above -90 and below 90; where ``used`` is False anything may stand.
    along : array_like of bool, shape (..., k) [yes or no]
        Taken along the playfield, not across.
    reversed_pair : array_like of bool, shape (..., k) [yes or no]
        The tilt is half the difference of a reversed pair, not one reading.
    used : array_like of bool, shape (..., k) [yes or no]
        False for padding and for readings left out.
    spots_mm : array_like, shape (..., k, 2) [mm]
        Where each tilt was taken, x to the right and y to the rear.

    Returns
    -------
    Playfield, each field shape (...) [degree, mm, code]
        As ``fit_playfield``.

    Raises
    ------
    BadInput
        If a used tilt or a spot is not finite or out of range, or the shapes do not fit.

    Notes
    -----
    What misalignment costs is reckoned at the plain means of the tilts; with none along, at TYPICAL_PITCH_DEG. The
    board is taken as a plane: for its wave call ``reading_budget`` and ``fit_playfield``.

    Examples
    --------
    >>> level = Instrument(resolution_deg=0.1, accuracy_deg=0.1, alignment_deg=1, repeat_deg=0.02, zero_deg=0,
    ...                    u_zero_deg=0.05)
    >>> fit = playfield_from_readings(instrument=level, tilt_deg=[6.5, -0.2], along=[True, False],
    ...                               reversed_pair=True)
    >>> float(fit.roll.angle_deg), round(float(fit.pitch.u_deg), 3), round(float(fit.roll.u_deg), 3)
    (-0.2, 0.063, 0.091)

    References
    ----------
    JCGM 100:2008 (GUM), 5.1.2. Derived in DEVELOPERS.md, Geometry.
    """
    tilt, lengthwise, wanted = together(
        tilt_deg=_tilts(tilt_deg, used), along=flags("along", along), used=flags("used", used)
    )
    budget = reading_budget(
        instrument=instrument,
        along=lengthwise,
        reversed_pair=reversed_pair,
        pitch_deg=_plain_mean(tilt, lengthwise & wanted, TYPICAL_PITCH_DEG),
        roll_deg=_plain_mean(tilt, ~lengthwise & wanted, 0.0),
    )
    return fit_playfield(tilt_deg=tilt, along=lengthwise, budget=budget, used=wanted, spots_mm=spots_mm)


def _tilts(tilt_deg: ArrayLike, used: ArrayLike) -> FloatArray:
    """Tilts with 0 where nothing was read, so that padding may hold anything."""
    try:
        tilt = np.asarray(tilt_deg, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise BadInput("tilt_deg", "is not a number", "Give numbers in degrees") from error
    tilt, wanted = together(tilt_deg=tilt, used=flags("used", used))
    return finite("tilt_deg", np.where(wanted, tilt, 0.0), low=-_MOST_DEG, high=_MOST_DEG, unit="degrees")


def _spots(spots_mm: ArrayLike) -> FloatArray:
    return last_axis("spots_mm", finite("spots_mm", spots_mm, low=-1e6, high=1e6, unit="mm"), 2, "x, y")


def _plain_mean(tilt: FloatArray, mask: BoolArray, otherwise: float) -> FloatArray:
    count = mask.sum(axis=-1, keepdims=True)
    mean = np.where(mask, tilt, 0.0).sum(axis=-1, keepdims=True) / np.maximum(count, 1)
    return np.where(count > 0, mean, otherwise)


def _slope(
    tilt: FloatArray,
    fresh: FloatArray,
    repeating: FloatArray,
    common: FloatArray,
    x: FloatArray,
    y: FloatArray,
    *,
    mask: BoolArray,
) -> tuple[Slope, FloatArray]:
    """The slope in one direction, and each reading's residual in standard deviations (0 outside ``mask``)."""
    least = np.min(common, axis=-1, keepdims=True, where=mask, initial=np.inf)
    own = np.where(mask, common**2 - np.where(mask, least, 0.0) ** 2, 0.0)
    variance = np.maximum(fresh**2 + repeating**2 + own, LEAST_VARIANCE_DEG2)
    weights = mask / variance
    weight = weights.sum(axis=-1)
    share = weights / np.where(weight > 0, weight, 1.0)[..., None]
    angle = (share * tilt).sum(axis=-1)
    residual = np.where(mask, tilt - angle[..., None], 0.0)
    chi2 = (weights * residual**2).sum(axis=-1)
    readings = mask.sum(axis=-1)
    freedom = np.maximum(readings - 1, 1)
    agree = (readings < 2) | (chdtrc(freedom, chi2) >= _CHANCE_OF_FALSE_ALARM)
    fresh_variance = (share**2 * fresh**2).sum(axis=-1)
    widened = chi2 / freedom / np.where(weight > 0, weight, 1.0)
    fresh_variance = np.where(agree, fresh_variance, np.maximum(fresh_variance, widened))
    slope = Slope(
        angle_deg=angle,
        u_fresh_deg=np.where(readings > 0, np.sqrt(fresh_variance), UNKNOWN_U_DEG),
        u_rounding_deg=(share * repeating).sum(axis=-1),
        u_common_deg=(share * common).sum(axis=-1),
        weight=weight,
        readings=readings,
        chi2=chi2,
        agree=agree,
        span_mm=np.hypot(_range(x, mask), _range(y, mask)),
    )
    left = np.maximum(variance - (1 / np.where(weight > 0, weight, 1.0))[..., None], 1e-9 * variance)
    return slope, np.where(readings[..., None] > 2, residual / np.sqrt(left), 0.0)


def _range(x: FloatArray, mask: BoolArray) -> FloatArray:
    low = np.where(mask, x, np.inf).min(axis=-1, initial=np.inf)
    high = np.where(mask, x, -np.inf).max(axis=-1, initial=-np.inf)
    some = mask.any(axis=-1)
    return np.where(some, high, 0.0) - np.where(some, low, 0.0)


def _odd(sigmas: FloatArray, along: BoolArray, pitch: Slope, roll: Slope) -> tuple[IntArray, FloatArray]:
    """Index of the reading that fits worst, -1 if it is within chance, and how far out it is."""
    count = np.where(along, pitch.readings[..., None], roll.readings[..., None])
    limit = -ndtri(_CHANCE_OF_FALSE_ALARM / (2 * np.maximum(count, 1)))
    size = np.abs(sigmas)
    beyond = np.where(size > limit, size, 0.0)
    worst = beyond.argmax(axis=-1) if sigmas.shape[-1] else np.zeros(sigmas.shape[:-1], dtype=int)
    return np.where(beyond.any(axis=-1), worst, -1), np.max(size, axis=-1, initial=0.0)
