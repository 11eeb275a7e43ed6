"""Pitch and roll where one reading of a direction may be wrong: named, and weighed by the chance that it is right.

      readings along      all right      1 wrong     2 wrong     3 wrong
      *       *   *   ->   mean of 3     mean of     mean of     mean of       each with its chance, from how well
      1       2   3                       2, 3        1, 3        1, 2         the reading fits the others

A level on a raised insert or a post, or a number typed wrongly, is off by far more than its budget. Nobody can be sure
which reading it was, so the answer is the mean of all these, and its uncertainty holds how far they are apart.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray
from leveling.checks_shapes import BoolArray, flags, together
from leveling.instruments import Budget
from leveling.playfields import DISAGREE, MEASURED, Playfield, Slope, fit_playfield

#: With fewer readings in a direction nobody can say which is wrong.
LEAST_READINGS = 3


#: What is believed of wrong readings before these are seen: the chance of each, and the standard deviation of how far
#: it is off, either way. Common practice, no source.
CHANCE_WRONG = 0.1
U_WRONG_DEG = 1.0

_NAMED_FROM = 0.5


def fit_playfield_robust(
    *,
    tilt_deg: ArrayLike,
    along: ArrayLike,
    budget: Budget,
    used: ArrayLike = True,
    spots_mm: ArrayLike = (0.0, 0.0),
    wave_deg: ArrayLike = 0.0,
) -> Playfield:
    """Return pitch and roll from tilts of which one in each direction may be wrong.

    Parameters
    ----------
    tilt_deg : array_like, shape (..., k) [degree]
        k signed tilts, above -90 and below 90; where ``used`` is False anything may stand.
    along : array_like of bool, shape (..., k) [yes or no]
        Taken along the playfield (front to rear), not across.
    budget : Budget, each field shape (..., k) [degree]
        Uncertainty of each tilt that is not wrong.
    used : array_like of bool, shape (..., k) [yes or no]
        False for padding and for readings left out.
    spots_mm : array_like, shape (..., k, 2) [mm]
        Where each tilt was taken, x to the right and y to the rear.
    wave_deg : array_like, shape (..., k) [degree]
        As for ``fit_playfield``.

    Returns
    -------
    Playfield, each field shape (...) [degree, mm, code]
        As ``fit_playfield``; ``odd_reading`` is the one that is more likely wrong than not, -1 for none, and the
        outcome tells of disagreement only if it remains without the likeliest wrong reading.

    Raises
    ------
    BadInput
        If a used tilt or a spot is not finite or out of range, or the shapes do not fit.

    Notes
    -----
    Directions with fewer than three readings are as ``fit_playfield`` has them. Otherwise "reading i is wrong" weighs
    against "none is" as c/(1 - c) N(r; p + u^2)/N(r; p), with r the residual of i from the mean of the others, p its
    variance, c = CHANCE_WRONG and u = U_WRONG_DEG. Angle: mean over the hypotheses; fresh variance: mean of
    theirs plus their scatter. The budgets have to be whole: on an uneven board with ``wave_deg`` 0 it takes the wave
    for mistakes, and is then surer than it should be.

    Examples
    --------
    >>> tilts, along = [6.5, 6.52, 7.6, 6.48, 0.1], [True, True, True, True, False]
    >>> plain = fit_playfield(tilt_deg=tilts, along=along, budget=Budget(repeat_deg=0.05))
    >>> fit = fit_playfield_robust(tilt_deg=tilts, along=along, budget=Budget(repeat_deg=0.05))
    >>> int(fit.odd_reading), float(fit.pitch.angle_deg), float(fit.pitch.u_deg)  # doctest: +NUMBER
    (2, 6.500, 0.0289)
    >>> float(plain.pitch.angle_deg), float(plain.pitch.u_deg)  # doctest: +NUMBER
    (6.775, 0.2752)

    References
    ----------
    Mean over hypotheses: J. A. Hoeting et al., Bayesian Model Averaging, Statistical Science 14 (1999), eq. 1 to 3
    (from memory). Leaving one out: derived in DEVELOPERS.md, Geometry.
    """
    told = {"spots_mm": spots_mm, "wave_deg": wave_deg}
    plain = fit_playfield(tilt_deg=tilt_deg, along=along, budget=budget, used=used, **told)
    lengthwise, wanted = flags("along", along), flags("used", used)
    tilt = np.asarray(tilt_deg, dtype=np.float64)
    tilt, lengthwise, wanted = together(tilt_deg=tilt, along=lengthwise, used=wanted)
    count = tilt.shape[-1]
    if count < LEAST_READINGS:
        return plain
    without = fit_playfield(
        tilt_deg=tilt[..., None, :],
        along=lengthwise[..., None, :],
        budget=Budget(**{name: _row(getattr(budget, name)) for name in budget.__dataclass_fields__}),
        used=wanted[..., None, :] & ~np.eye(count, dtype=np.bool_),
        spots_mm=_row(np.asarray(spots_mm, dtype=np.float64), axis=-3),
        wave_deg=_row(np.asarray(wave_deg, dtype=np.float64)),
    )
    safe = np.where(wanted, tilt, 0.0)
    pitch, wrong_along = _averaged(plain.pitch, without.pitch, safe, lengthwise & wanted)
    roll, wrong_across = _averaged(plain.roll, without.roll, safe, ~lengthwise & wanted)
    return _told(plain, pitch, roll, wrong_along + wrong_across)


def _row(value: FloatArray, axis: int = -2) -> FloatArray:
    """The same for each reading left out; a single value or one spot for all fits as it is."""
    return np.expand_dims(value, axis) if value.ndim >= -axis - 1 else value


def _averaged(plain: Slope, without: Slope, tilt: FloatArray, mask: BoolArray) -> tuple[Slope, FloatArray]:
    """The slope over all hypotheses, and the chance of each reading to be wrong (0 outside ``mask``)."""
    ask = mask & (plain.readings >= LEAST_READINGS)[..., None]
    own = plain.weight[..., None] - without.weight
    variance = 1 / np.where(ask, np.maximum(own, 1e-12), 1.0) + 1 / np.where(ask, without.weight, 1.0)
    wide = variance + U_WRONG_DEG**2
    residual2 = np.where(ask, tilt - without.angle_deg, 0.0) ** 2
    log_odds = (
        np.log(CHANCE_WRONG / (1 - CHANCE_WRONG))
        + (np.log(variance / wide) + residual2 / variance - residual2 / wide) / 2
    )
    scores = np.concatenate([np.zeros(plain.angle_deg.shape)[..., None], np.where(ask, log_odds, -np.inf)], axis=-1)
    shares = np.exp(scores - scores.max(axis=-1, keepdims=True))
    shares = shares / shares.sum(axis=-1, keepdims=True)

    def mean(name: str, power: int = 1) -> FloatArray:
        alone, others = getattr(plain, name)[..., None], getattr(without, name)
        both = np.concatenate([alone, np.where(ask, others, alone)], axis=-1)
        return (shares * both**power).sum(axis=-1) ** (1 / power)

    angles = np.concatenate([plain.angle_deg[..., None], without.angle_deg], axis=-1)
    angle = mean("angle_deg")
    apart = (shares * np.where(shares > 0, angles - angle[..., None], 0.0) ** 2).sum(axis=-1)
    best = shares.argmax(axis=-1)[..., None]
    agree = np.concatenate([plain.agree[..., None], without.agree], axis=-1)
    slope = replace(
        plain,
        angle_deg=angle,
        u_fresh_deg=np.hypot(mean("u_fresh_deg", 2), np.sqrt(apart)),
        u_rounding_deg=mean("u_rounding_deg", 2),
        u_common_deg=mean("u_common_deg", 2),
        weight=mean("weight"),
        chi2=mean("chi2"),
        agree=np.take_along_axis(agree, best, axis=-1)[..., 0],
    )
    return slope, np.where(ask, shares[..., 1:], 0.0)


def _told(plain: Playfield, pitch: Slope, roll: Slope, wrong: FloatArray) -> Playfield:
    """The answer with the reading that is named and what the outcome is without it."""
    worst = wrong.argmax(axis=-1)
    likely = wrong.max(axis=-1) > _NAMED_FROM
    judged = (plain.outcome == MEASURED) | (plain.outcome == DISAGREE)
    outcome = np.where(judged, np.where(pitch.agree & roll.agree, MEASURED, DISAGREE), plain.outcome)
    return replace(plain, pitch=pitch, roll=roll, outcome=outcome, odd_reading=np.where(likely, worst, -1))
