"""What rail or glass reads more than the playfield: learned from surveys, and less sure with every glass removal.

         glass  ______________-----   rail reading = playfield + offset
    playfield ____-----------
              pair        pair              now        the offset walks a little each time the glass is taken out
    offset  ---o-----------o--~~~--~~~--~~~--?         and with the months; pairs pin it down

A pair is a survey of the playfield and a reading on the rail or the glass at the same mark, at the same time.
"""

from dataclasses import dataclass, fields

import numpy as np
from scipy.special import chdtrc

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import BoolArray, IntArray, flags, together
from leveling.errors import BadInput
from leveling.instruments import Budget

_CHANCE_OF_FALSE_ALARM = 0.01
_DAYS_PER_YEAR = 365.25


@dataclass(frozen=True)
class Seat:
    """How a rail or a glass sits, each field shape (...) [degree], 0 to 20.

    Attributes: ``u_prior_deg`` its slope against the playfield before any pair, standard uncertainty about 0, above 0.
    ``u_removal_deg`` what it shifts each time the glass is taken out and put back. ``u_year_deg`` what a year adds.

    Raises BadInput if a field is not finite or out of its range.
    """

    u_prior_deg: FloatArray
    u_removal_deg: FloatArray
    u_year_deg: FloatArray

    def __post_init__(self) -> None:
        for item in fields(self):
            above = item.name == "u_prior_deg"
            value = finite(item.name, getattr(self, item.name), low=0, high=20, above=above, unit="degrees")
            object.__setattr__(self, item.name, value)


def _seat(*values: float) -> Seat:
    return Seat(*(np.array(value) for value in values))


#: Along and across. A playfield hangs steeper than the glass, by how much differs; the glass has play in its channels,
#: the rail has none. Common practice, no source.
GLASS_ALONG, GLASS_ACROSS = _seat(2.0, 0.02, 0.03), _seat(0.3, 0.03, 0.05)
RAIL_ALONG, RAIL_ACROSS = _seat(2.0, 0.0, 0.03), _seat(0.3, 0.0, 0.05)


@dataclass(frozen=True)
class RailPairs:
    """Pairs of one direction, each field shape (..., n), n at least 1.

    Attributes: ``difference_deg`` [degree] rail minus playfield, -45 to 45. ``u_deg`` [degree] standard uncertainty of
    it that is fresh for each pair (both readings' fresh and rounding parts), above 0, at most 45. ``removals`` [count]
    how often the glass was out since, 0 or more. ``days`` [day] how long ago, 0 or more. ``used`` [yes or no] False
    for padding, where the numbers may be anything in range.

    Raises BadInput if a field is not finite or out of its range, or there is no last axis.
    """

    difference_deg: FloatArray
    u_deg: FloatArray
    removals: FloatArray
    days: FloatArray
    used: BoolArray

    def __post_init__(self) -> None:
        difference, u, removals, days, used = together(
            difference_deg=finite("difference_deg", self.difference_deg, low=-45, high=45, unit="degrees"),
            u_deg=finite("u_deg", self.u_deg, low=0, high=45, above=True, unit="degrees"),
            removals=finite("removals", self.removals, low=0),
            days=finite("days", self.days, low=0, unit="days"),
            used=flags("used", self.used),
        )
        if difference.ndim == 0 or difference.shape[-1] == 0:
            raise BadInput("difference_deg", "holds no pairs", "Give at least one pair on the last axis")
        for item, value in zip(fields(self), (difference, u, removals, days, used), strict=True):
            object.__setattr__(self, item.name, value)


@dataclass(frozen=True)
class LearnedOffset:
    """Rail minus playfield as it is now, each field shape (...).

    Attributes: ``offset_deg`` and ``u_deg`` [degree] with its standard uncertainty: pairs, removals and age.
    ``survey_deg`` [degree] what the surveys' level may be off by, the same in all pairs; ``survey_accuracy_deg``
    [degree] the even part of that. ``transfer_deg`` and ``transfer_accuracy_deg`` [degree] what counts instead when
    another level is laid on the rail than in the pairs. ``pairs`` [count]. ``agree`` [yes or no] the pairs scatter no
    more than they may. ``removals`` [count] and ``days`` [day] since the latest pair, 0 where there is none.
    """

    offset_deg: FloatArray
    u_deg: FloatArray
    survey_deg: FloatArray
    survey_accuracy_deg: FloatArray
    transfer_deg: FloatArray
    transfer_accuracy_deg: FloatArray
    pairs: IntArray
    agree: BoolArray
    removals: FloatArray
    days: FloatArray


def learn_offset(*, pairs: RailPairs, seat: Seat, survey: Budget, rail: Budget, one_level: bool) -> LearnedOffset:
    """Return what the rail or the glass reads more than the playfield, as it is now.

    Parameters
    ----------
    pairs : RailPairs, each field shape (..., n) [degree, count, day]
        Pairs of one direction.
    seat : Seat, each field shape (...) [degree]
        How the rail or the glass sits.
    survey : Budget, each field shape (...) [degree]
        Of the surveys' level: its accuracy and zero count here.
    rail : Budget, each field shape (...) [degree]
        Of the level that was laid on the rail in the pairs.
    one_level : bool, scalar [yes or no]
        Surveys and rail were read with one and the same level.

    Returns
    -------
    LearnedOffset, each field shape (...) [degree, count, day]
        Without pairs: 0 with the seat's own uncertainty.

    Raises
    ------
    BadInput
        If the shapes do not fit.

    Notes
    -----
    The offset walks: between two moments its variance grows by removals u_removal^2 + years u_year^2, so two old pairs
    share what came after both; the seat's prior holds before the oldest. The answer is the mean of the offset now,
    given the pairs. With one level its own accuracy drops out of the difference, and its zero if both were read singly.

    Examples
    --------
    >>> pairs = RailPairs(difference_deg=[-1.2, -1.3], u_deg=0.05, removals=[6, 2], days=[200, 10], used=True)
    >>> level = Budget(accuracy_deg=0.06)
    >>> learned = learn_offset(pairs=pairs, seat=GLASS_ALONG, survey=level, rail=level, one_level=True)
    >>> float(learned.offset_deg), float(learned.u_deg), float(learned.transfer_deg)  # doctest: +NUMBER
    (-1.264, 0.0494, 0.0)

    References
    ----------
    Conditional mean of a normal walk: C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning,
    2006, eq. 2.25 and 2.26 (from memory). Which errors drop out: derived in DEVELOPERS.md, Geometry.
    """
    used, count = pairs.used, pairs.used.sum(axis=-1)
    offset, variance = _now(pairs, seat)
    latest = np.argmin(np.where(used, pairs.days, np.inf), axis=-1)[..., None]
    one, two = np.sqrt(np.abs(rail.zero_deg**2 - survey.zero_deg**2)), np.hypot(rail.u_common_deg, survey.u_common_deg)
    return LearnedOffset(
        offset_deg=offset,
        u_deg=np.sqrt(variance),
        survey_deg=survey.u_common_deg,
        survey_accuracy_deg=survey.accuracy_deg,
        transfer_deg=one if one_level else two,
        transfer_accuracy_deg=np.zeros(()) if one_level else np.maximum(survey.accuracy_deg, rail.accuracy_deg),
        pairs=count,
        agree=(count < 2) | (chdtrc(np.maximum(count - 1, 1), _scatter(pairs, seat)) >= _CHANCE_OF_FALSE_ALARM),
        removals=np.where(count > 0, np.take_along_axis(pairs.removals, latest, axis=-1)[..., 0], 0.0),
        days=np.where(count > 0, np.take_along_axis(pairs.days, latest, axis=-1)[..., 0], 0.0),
    )


def _now(pairs: RailPairs, seat: Seat) -> tuple[FloatArray, FloatArray]:
    """The offset now and its variance, given the pairs."""
    grown, used = _grown(pairs, seat), pairs.used
    all_grown = np.max(np.where(used, grown, 0.0), axis=-1)  # since the oldest pair, before which the prior holds
    at_first = (seat.u_prior_deg**2 + all_grown)[..., None]
    both = used[..., :, None] & used[..., None, :]
    # two places on the walk share what it was before the earlier one
    shared = np.where(both, at_first[..., None] - np.maximum(grown[..., :, None], grown[..., None, :]), 0.0)
    with_now = np.where(used, at_first - grown, 0.0)
    weights = np.linalg.solve(_with_own(shared, pairs), with_now[..., None])[..., 0]
    offset = (weights * np.where(used, pairs.difference_deg, 0.0)).sum(axis=-1)
    return offset, np.maximum(at_first[..., 0] - (weights * with_now).sum(axis=-1), 0.0)


def _scatter(pairs: RailPairs, seat: Seat) -> FloatArray:
    """Weighted sum of squares of the pairs about their mean, whatever the prior."""
    grown, used = _grown(pairs, seat), pairs.used
    both = used[..., :, None] & used[..., None, :]
    covariance = _with_own(np.where(both, np.minimum(grown[..., :, None], grown[..., None, :]), 0.0), pairs)
    ones = used.astype(np.float64)
    weights = np.linalg.solve(covariance, ones[..., None])[..., 0]
    total = np.where(used.any(axis=-1), weights.sum(axis=-1), 1.0)
    mean = (weights * np.where(used, pairs.difference_deg, 0.0)).sum(axis=-1) / total
    left = np.where(used, pairs.difference_deg - mean[..., None], 0.0)
    return (left * np.linalg.solve(covariance, left[..., None])[..., 0]).sum(axis=-1)


def _with_own(shared: FloatArray, pairs: RailPairs) -> FloatArray:
    """Covariance of the pairs: what they share and what is each one's own; padding stands alone."""
    own = np.where(pairs.used, pairs.u_deg**2, 1.0)
    return shared + own[..., None] * np.eye(own.shape[-1])


def _grown(pairs: RailPairs, seat: Seat) -> FloatArray:
    """Variance that the walk has added since each pair."""
    years = pairs.days / _DAYS_PER_YEAR
    return pairs.removals * (seat.u_removal_deg**2)[..., None] + years * (seat.u_year_deg**2)[..., None]
