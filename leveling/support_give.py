"""Give: what scales can do, and how far a foot with its corner of the cabinet is squeezed by a weight.

      before:  q1 = n . N       leg X turned out by d       after:  q2 = n . N
                                give = n_X d / (q2 - q1)

n is the null vector of [1 x y]; four legs on one plane have q = 0 wherever the weight presses, so q answers to the turn
alone. This holds while all four feet bear both times.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite, last_axis
from leveling.checks_shapes import together
from leveling.contact import LegArray, at_leg, leg_numbers
from leveling.errors import BadInput
from leveling.frame import LEGS_MEANING, null_vector
from leveling.support import Gap

#: What two weighings around one turn teach: the index is the outcome code.
LEARNED, TOO_LITTLE, WRONG_WAY, NOT_BEARING, OTHER_WEIGHT = range(5)
GIVE_OUTCOMES = (
    "learned",
    "the weights changed too little: turn further",
    "the weights changed the wrong way: another leg was turned, or inward",
    "a foot carries nothing in one weighing: let all four bear first",
    "the two weighings do not add to the same weight: weigh again",
)

#: How far a foot with its corner gives under a quarter of the weight, mm: 0.1 to 0.7. Common practice, no source.
USUAL_GIVE_MM = 0.4
USUAL_GIVE_HALF_MM = 0.3

_LEAST_CHANGE = 5.0  # in standard uncertainties: below it the quotient is no longer nearly normal
_DOUBT = 3.0  # for sums, and for a foot that may carry nothing


@dataclass(frozen=True)
class Scale:
    """What scales can do, in the unit of weight that they show, each field with the batch shape (...).

    ``resolution`` [unit of weight] is the step of the display. ``accuracy_share`` [1] is the stated limit of error as
    a part of the reading. ``repeat`` [unit of weight] is the standard deviation of setting the foot down again: a leg
    that pushes sideways, a foot off the middle. The defaults are common practice, no source.

    Raises BadInput if a number is not finite or negative.
    """

    resolution: FloatArray
    accuracy_share: FloatArray
    repeat: FloatArray

    def __init__(self, resolution: ArrayLike = 0.1, accuracy_share: ArrayLike = 0.01, repeat: ArrayLike = 0.2) -> None:
        for name, value in (("resolution", resolution), ("accuracy_share", accuracy_share), ("repeat", repeat)):
            object.__setattr__(self, name, finite(name, value, low=0))

    @property
    def u_each(self) -> FloatArray:
        """Standard uncertainty of one reading that has nothing to do with its size [unit of weight]."""
        return np.hypot(self.resolution / np.sqrt(12), self.repeat)

    @property
    def u_share(self) -> FloatArray:
        """Standard uncertainty of one scale's own error as a part of the reading [1]."""
        return self.accuracy_share / np.sqrt(3)


@dataclass(frozen=True)
class Give:
    """How far one foot with its corner is squeezed by one unit of weight, each field with the batch shape (...).

    ``mm_per_unit`` [mm per unit of weight], above 0, and ``u_mm_per_unit`` [mm per unit of weight], its standard
    uncertainty.

    Raises BadInput if a number is not finite or out of range.
    """

    mm_per_unit: FloatArray
    u_mm_per_unit: FloatArray

    def __post_init__(self) -> None:
        give = finite("mm_per_unit", self.mm_per_unit, low=0, above=True, unit="mm per unit of weight")
        u_give = finite("u_mm_per_unit", self.u_mm_per_unit, low=0, unit="mm per unit of weight")
        object.__setattr__(self, "mm_per_unit", give)
        object.__setattr__(self, "u_mm_per_unit", u_give)


@dataclass(frozen=True)
class LearnedGive:
    """What one turn between two weighings taught, each field with the batch shape (...).

    ``outcome`` is the index into ``GIVE_OUTCOMES``. ``give`` [mm per unit of weight] is the learned one, or the usual
    one where nothing could be learned. ``twist_mm`` and ``u_twist_mm`` [mm]: the twist after the turn, told from both
    weighings together; 0 where nothing was learned.
    """

    outcome: LegArray
    give: Give
    twist_mm: FloatArray
    u_twist_mm: FloatArray


def usual_give(weight: ArrayLike) -> Give:
    """Return how far a foot gives when nobody has measured it.

    Parameters
    ----------
    weight : array_like, shape (...) [unit of weight]
        Weight of the whole machine, above 0.

    Returns
    -------
    Give, each shape (...) [mm per unit of weight]
        0.1 to 0.7 mm under a quarter of the weight, each as likely.

    Raises
    ------
    BadInput
        If a weight is not finite or not above 0.

    Examples
    --------
    >>> give = usual_give(120)
    >>> float(give.mm_per_unit), float(give.u_mm_per_unit)  # doctest: +NUMBER
    (0.01333, 0.00577)

    References
    ----------
    Sizes: common practice, no source. Rectangular distribution: JCGM 100:2008 (GUM), 4.3.7.
    """
    quarter = finite("weight", weight, low=0, above=True) / 4
    return Give(mm_per_unit=USUAL_GIVE_MM / quarter, u_mm_per_unit=USUAL_GIVE_HALF_MM / np.sqrt(3) / quarter)


def learn_give(
    *, before: ArrayLike, after: ArrayLike, leg: ArrayLike, raised: Gap, scale: Scale, feet_mm: ArrayLike
) -> LearnedGive:
    """Return how far the feet give, from weighing, turning one leg out, and weighing again.

    Parameters
    ----------
    before, after : array_like, shape (..., 4) [unit of weight]
        What the same scale shows under FL, FR, RL, RR before and after the turn.
    leg : array_like of int, shape (...) [leg number]
        The leg that was turned out.
    raised : Gap, each shape (...) [mm]
        By how much, as ``support.gap_from_turns`` gives it, above 0.
    scale : Scale, each field shape (...) [unit of weight, 1]
        What the scales can do; each foot stays on the same one.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of the feet.

    Returns
    -------
    LearnedGive, each shape (...) [code, mm per unit of weight, mm]
        Outcome, give, twist after the turn.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, a shape is wrong, no leg was turned, or three feet are in line.

    Notes
    -----
    For weights of these two weighings take ``twist_mm``: the give was made from them and errs together with them.
    A scale's own error as a part of the reading is the same both times.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> from leveling.support import gap_from_turns
    >>> feet = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
    >>> taught = learn_give(before=[14, 34, 46, 26], after=[22, 26, 38, 34], leg=0,
    ...                     raised=gap_from_turns(0.25, lead_mm=1.5875, u_turns=0.02), scale=Scale(), feet_mm=feet)
    >>> GIVE_OUTCOMES[int(taught.outcome)], float(taught.give.mm_per_unit)  # doctest: +NUMBER
    ('learned', 0.0124)

    References
    ----------
    Derived in DEVELOPERS.md, Geometry. Propagation: JCGM 100:2008 (GUM), 5.1.2.
    """
    chosen = leg_numbers("leg", leg)
    if (chosen < 0).any():
        raise BadInput("leg", "names no leg", "Name the leg that was turned: 0 FL, 1 FR, 2 RL, 3 RR")
    height = finite("raised", raised.gap_mm, low=0, above=True, unit="mm")
    n1, n2, null, u_each, u_share, turned = together(
        before=last_axis("before", finite("before", before), 4, LEGS_MEANING),
        after=last_axis("after", finite("after", after), 4, LEGS_MEANING),
        feet_mm=null_vector(feet_mm),
        scale=scale.u_each[..., None],
        share=scale.u_share[..., None],
        leg=at_leg(chosen),
    )
    pushed = (null * turned).sum(axis=-1) * height
    q1, q2 = (null * n1).sum(axis=-1), (null * n2).sum(axis=-1)
    change, u_fresh = q2 - q1, np.sqrt((null**2 * u_each**2).sum(axis=-1))
    u_change = np.sqrt(2 * u_fresh**2 + ((null * u_share * (n2 - n1)) ** 2).sum(axis=-1))
    u_sum = np.sqrt((2 * u_each**2 + (u_share * (n2 - n1)) ** 2).sum(axis=-1))
    sums = np.abs((n2 - n1).sum(axis=-1)) > _DOUBT * u_sum
    empty = (np.minimum(n1, n2) <= _DOUBT * u_each).any(axis=-1)
    small = np.abs(change) < _LEAST_CHANGE * u_change
    outcome = np.select(
        [empty, sums, small, change * pushed < 0], [NOT_BEARING, OTHER_WEIGHT, TOO_LITTLE, WRONG_WAY], 0
    )
    learned = outcome == LEARNED
    safe = np.where(learned, change, 1.0)
    give, part = np.where(learned, pushed / safe, 1.0), raised.u_gap_mm / height
    twist = give * q2
    shared = null * u_share * (q1[..., None] * n2 - q2[..., None] * n1)  # one scale errs alike both times
    u_ratio = np.sqrt(u_fresh**2 * (q1**2 + q2**2) + (shared**2).sum(axis=-1)) / np.abs(safe)
    usual = usual_give(np.where(n1.sum(axis=-1) > 0, n1.sum(axis=-1), 1.0))
    return LearnedGive(
        outcome=outcome.astype(np.intp),
        give=Give(
            mm_per_unit=np.where(learned, give, usual.mm_per_unit),
            u_mm_per_unit=np.where(learned, give * np.hypot(part, u_change / safe), usual.u_mm_per_unit),
        ),
        twist_mm=np.where(learned, twist, 0.0),
        u_twist_mm=np.where(learned, np.hypot(give * u_ratio, twist * part), 0.0),
    )
