"""Which reading to take next: the one that lowers the worse of u/tolerance of pitch and roll most."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import IntArray, together
from leveling.instruments import Budget
from leveling.playfields import LEAST_VARIANCE_DEG2, Playfield, Slope

#: Which reading to take next, and in words.
READ_ALONG, READ_ACROSS, READ_NEITHER = range(3)
NEXT_READINGS = (
    "along the playfield",
    "across the playfield",
    "neither: one more reading of this kind hardly helps",
)

_LEAST_GAIN = 0.05


@dataclass(frozen=True)
class NextReading:
    """Which reading helps most, each field shape (...).

    Attributes: ``choice`` [code] index into NEXT_READINGS. ``ratio_now``, ``ratio_after_along``,
    ``ratio_after_across`` [1] the worse of u/tolerance of pitch and roll, now and after that one reading.
    """

    choice: IntArray
    ratio_now: FloatArray
    ratio_after_along: FloatArray
    ratio_after_across: FloatArray


def next_reading(
    *,
    fit: Playfield,
    along_budget: Budget,
    across_budget: Budget,
    pitch_tolerance_deg: ArrayLike,
    roll_tolerance_deg: ArrayLike,
) -> NextReading:
    """Return which one more reading lowers the worse of u/tolerance most.

    Parameters
    ----------
    fit : Playfield, each field shape (...) [degree]
        What is known so far.
    along_budget, across_budget : Budget, each field shape (...) [degree]
        Budgets that one more tilt along, or across, would have.
    pitch_tolerance_deg, roll_tolerance_deg : array_like, shape (...) [degree]
        Half-widths of the spec, above 0.

    Returns
    -------
    NextReading, each field shape (...) [code, 1]
        "Neither" if the ratio would fall by less than 5 %.

    Raises
    ------
    BadInput
        If a tolerance is not finite or not above 0, or the shapes do not fit.

    Examples
    --------
    >>> from leveling.playfields import fit_playfield
    >>> one = Budget(repeat_deg=0.05)
    >>> fit = fit_playfield(tilt_deg=[6.5], along=[True], budget=one)
    >>> answer = next_reading(fit=fit, along_budget=one, across_budget=one, pitch_tolerance_deg=0.2,
    ...                       roll_tolerance_deg=0.15)
    >>> NEXT_READINGS[int(answer.choice)]
    'across the playfield'

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    pitch_limit = finite("pitch_tolerance_deg", pitch_tolerance_deg, low=0, above=True, unit="degrees")
    roll_limit = finite("roll_tolerance_deg", roll_tolerance_deg, low=0, above=True, unit="degrees")
    pitch, roll, pitch_then, roll_then, _ = together(
        pitch_tolerance_deg=fit.pitch.u_deg / pitch_limit,
        roll_tolerance_deg=fit.roll.u_deg / roll_limit,
        along_budget=_u_after(fit.pitch, along_budget) / pitch_limit,
        across_budget=_u_after(fit.roll, across_budget) / roll_limit,
        fit=fit.outcome,
    )
    now = np.maximum(pitch, roll)
    after_along, after_across = np.maximum(pitch_then, roll), np.maximum(pitch, roll_then)
    choice = np.where(after_along < after_across, READ_ALONG, READ_ACROSS)
    hardly = np.minimum(after_along, after_across) > (1 - _LEAST_GAIN) * now
    return NextReading(
        choice=np.where(hardly, READ_NEITHER, choice),
        ratio_now=now,
        ratio_after_along=after_along,
        ratio_after_across=after_across,
    )


def _u_after(slope: Slope, budget: Budget) -> FloatArray:
    """Standard uncertainty after one more tilt with this budget."""
    fresh, again, common = budget.u_fresh_deg, budget.repeating_deg, budget.u_common_deg
    new = 1 / np.maximum(fresh**2 + again**2, LEAST_VARIANCE_DEG2)
    share = new / (new + slope.weight)
    fresh_variance = ((1 - share) * slope.u_fresh_deg) ** 2 + (share * fresh) ** 2
    rounding = (1 - share) * slope.u_rounding_deg + share * again
    return np.sqrt(fresh_variance + rounding**2 + ((1 - share) * slope.u_common_deg + share * common) ** 2)
