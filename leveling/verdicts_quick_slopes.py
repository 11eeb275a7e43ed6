"""A slope of the playfield from one reading on rail or glass: what the level errs by now, and what it did before.

same level as in the pairs      reading - offset = playfield + own scatter + the surveys' own error
another level                   ... + this level's error + what the pairs' level was off against the surveys'
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import BoolArray, IntArray, flags, together
from leveling.instruments import Budget
from leveling.verdicts_rail import LearnedOffset
from leveling.verdicts_shapes import Spread


@dataclass(frozen=True)
class Belief:
    """A slope of the playfield before the quick check, each field shape (...) [degree]: how machines like this stand.

    Attributes: ``angle_deg`` what is expected, -45 to 45, such as the last survey. ``u_deg`` standard deviation about
    it, drift since then included, 0 to 45.

    Raises BadInput if a field is not finite or out of its range.
    """

    angle_deg: FloatArray
    u_deg: FloatArray

    def __post_init__(self) -> None:
        for name, low in (("angle_deg", -45.0), ("u_deg", 0.0)):
            value = finite(name, getattr(self, name), low=low, high=45, unit="degrees")
            object.__setattr__(self, name, value)


@dataclass(frozen=True)
class QuickSlope:
    """One slope of the playfield from a reading on rail or glass, each field shape (...).

    Attributes: ``angle_deg`` [degree] of the playfield. ``spread`` [degree] how it may be off. ``u_offset_deg``
    [degree] the learned offset's part. ``pairs`` [count] behind it. ``agree`` [yes or no] they agree. ``removals``
    [count] and ``days`` [day] since the latest pair.

    Raises BadInput if an angle is not finite.
    """

    angle_deg: FloatArray
    spread: Spread
    u_offset_deg: FloatArray
    pairs: IntArray
    agree: BoolArray
    removals: FloatArray
    days: FloatArray

    def __post_init__(self) -> None:
        finite("angle_deg", self.angle_deg, low=-90, high=90, unit="degrees")


def quick_slope(
    *,
    rail_deg: ArrayLike,
    budget: Budget,
    learned: LearnedOffset,
    same_level: ArrayLike,
    belief: Belief | None = None,
) -> QuickSlope:
    """Return a slope of the playfield from one reading on rail or glass and the learned offset.

    Parameters
    ----------
    rail_deg : array_like, shape (...) [degree]
        Signed tilt of rail or glass, -45 to 45, its zero taken out.
    budget : Budget, each field shape (...) [degree]
        Of this reading.
    learned : LearnedOffset, each field shape (...) [degree]
        Rail minus playfield.
    same_level : array_like of bool, shape (...) [yes or no]
        The level that read the rail in the pairs.
    belief : Belief, each field shape (...) [degree]
        The playfield's slope before this reading; without one any slope is as likely.

    Returns
    -------
    QuickSlope, each field shape (...) [degree]
        The playfield's angle and how it may be off.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the shapes do not fit.

    Notes
    -----
    The same level errs now as it did in the pairs, so its accuracy and zero drop out and those of the surveys' level
    stay. Another level brings its own, and what the pairs' level was off against the surveys' stays in the offset. A
    zero that has moved since the pairs belongs into the budget's ``repeat_deg``. A belief b +- v and a reading x +- u
    give b + w (x - b) +- w^(1/2) u with w = v^2/(v^2 + u^2), the even parts of u times w.

    Examples
    --------
    >>> from leveling.verdicts_rail import GLASS_ALONG, RailPairs, learn_offset
    >>> level = Budget(repeat_deg=0.03, accuracy_deg=0.06, zero_deg=0.05)
    >>> pairs = RailPairs(difference_deg=[-1.2], u_deg=0.05, removals=[2], days=[30], used=True)
    >>> learned = learn_offset(pairs=pairs, seat=GLASS_ALONG, survey=Budget(accuracy_deg=0.06), rail=level,
    ...                        one_level=True)
    >>> slope = quick_slope(rail_deg=5.3, budget=level, learned=learned, same_level=[True, False])
    >>> slope.angle_deg.tolist(), slope.spread.u.tolist()  # doctest: +NUMBER
    ([6.499, 6.499], [0.089, 0.113])

    References
    ----------
    JCGM 100:2008 (GUM), 5.2.2: correlated errors. Derived in DEVELOPERS.md, Geometry.
    """
    rail, same = finite("rail_deg", rail_deg, low=-45, high=45, unit="degrees"), flags("same_level", same_level)
    own = np.sqrt(budget.u_fresh_deg**2 + budget.repeating_deg**2 + learned.u_deg**2)
    other = np.hypot(budget.u_common_deg, learned.transfer_deg)
    rail, same, own, other, survey, accuracy, before, even, offset, u_offset = together(
        rail_deg=rail,
        same_level=same,
        own=own,
        other=other,
        survey=learned.survey_deg,
        accuracy=budget.accuracy_deg,
        before=learned.transfer_accuracy_deg,
        even=learned.survey_accuracy_deg,
        offset=learned.offset_deg,
        u_offset=learned.u_deg,
    )
    u, angle = np.hypot(own, np.where(same, survey, other)), rail - offset
    weight = np.ones(())
    if belief is not None:
        angle, u, before_deg, u_before = together(rail_deg=angle, u=u, belief=belief.angle_deg, belief_u=belief.u_deg)
        weight = u_before**2 / np.maximum(u_before**2 + u**2, 1e-300)
        angle = before_deg + weight * (angle - before_deg)
    spread = Spread(
        u=np.sqrt(weight) * u,
        even=weight * np.where(same, even, accuracy),
        even_too=weight * np.where(same, 0.0, before),
    )
    counts = (np.broadcast_to(getattr(learned, name), angle.shape) for name in ("pairs", "agree", "removals", "days"))
    return QuickSlope(angle, spread, np.broadcast_to(u_offset, angle.shape), *counts)
