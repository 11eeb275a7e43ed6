r"""Weights: which foot is light, and how far to turn it, from a scale under each foot.

      N_FL ---- N_FR       q = n . N, n the null vector of [1 x y]; 4 q = N_FL - N_FR - N_RL + N_RR for a rectangle
       |   \  /   |
       |   /  \   |        Wherever the weight presses, both diagonals carry the same while the legs lie on one plane:
      N_RL ---- N_RR       q tells of twist alone. q > 0: FL and RR stand too tall, FR or RL is light.

While all four feet bear, twist = q x give, where the give is how far a foot with its corner of the cabinet is squeezed
by one unit of weight (1/k of four equal springs: 4 q = 4 k twist). A leg turned out by d changes q by n_X d / give:
one turn between two weighings teaches the give. A foot that carries nothing may hang by any gap: weights cannot tell.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite, last_axis
from leveling.checks_shapes import BoolArray, together
from leveling.contact import ALL_BEAR, LegArray, at_leg
from leveling.frame import LEGS_MEANING, null_vector
from leveling.support_give import Give, Scale

#: What four weights say: the index is the outcome code.
EVEN, LIGHT, FLOATS, WRONG_SUM, NEGATIVE, TWO_EMPTY = range(6)
WEIGHT_OUTCOMES = (
    "the diagonals carry alike",
    "one foot is light but bears",
    "one foot carries nothing: the gap under it needs a feeler or turns",
    "the four weights do not add to the known weight: weigh again",
    "a scale shows less than nothing: set its zero and weigh again",
    "two feet of one end or side carry nothing: look at the scales, or the machine tips",
)

_COVER = 2.0  # standard uncertainties from which an imbalance is told
_DOUBT = 3.0  # and from which weights are disbelieved, or a foot carries something


@dataclass(frozen=True)
class Weighed:
    """What four weights say, each field with the batch shape (...).

    ``outcome`` is the index into ``WEIGHT_OUTCOMES``. ``light`` is the leg number of the light foot or ``ALL_BEAR``.
    ``imbalance`` and ``u_imbalance`` [unit of weight]: 4 n . N, for a rectangle FL - FR - RL + RR. ``twist_mm`` and
    ``u_twist_mm`` [mm]: the twist that the weights show, which where a foot carries nothing is only the least it can
    be. ``short_mm`` and ``u_short_mm`` [mm]: how far to turn the light foot out until the diagonals carry alike, for a
    rectangle 4 x twist; where it carries nothing, on top of the gap under it. All numbers are 0 where the outcome
    disbelieves the weights; ``short_mm`` is 0 where the diagonals carry alike, and its uncertainty then what may be.
    """

    outcome: LegArray
    light: LegArray
    imbalance: FloatArray
    u_imbalance: FloatArray
    twist_mm: FloatArray
    u_twist_mm: FloatArray
    short_mm: FloatArray
    u_short_mm: FloatArray


def weigh_feet(
    readings: ArrayLike,
    *,
    scale: Scale,
    feet_mm: ArrayLike,
    give: Give,
    known_weight: ArrayLike | None = None,
    u_weight: ArrayLike = 0.0,
) -> Weighed:
    """Return which foot is light and how far to turn it out, from what each foot carries.

    Parameters
    ----------
    readings : array_like, shape (..., 4) [unit of weight]
        What the scales under FL, FR, RL, RR show. All four feet must stand equally raised: on four alike scales, or
        one scale and three blocks of its height.
    scale : Scale, each field shape (...) [unit of weight, 1]
        What the scales can do.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of the feet.
    give : Give, each field shape (...) [mm per unit of weight]
        How far a foot with its corner is squeezed; ``usual_give`` if nobody knows, or ``learn_give``.
    known_weight : array_like or None, shape (...) [unit of weight]
        Weight of the machine if it is known; None leaves the sum unchecked.
    u_weight : array_like, shape (...) [unit of weight]
        Standard uncertainty of the known weight.

    Returns
    -------
    Weighed, each shape (...) [code, leg number, unit of weight, mm]
        Outcome, light foot, imbalance, twist, how short the foot is.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, a shape is wrong, or three feet are in line.

    Notes
    -----
    An imbalance is told from two standard uncertainties, a wrong sum or a negative reading from three. A foot within
    three of nothing counts as carrying nothing. Each scale errs by itself; in the sum all may err alike. Of a short
    diagonal the foot that would come off first is named.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> from leveling.support_give import usual_give
    >>> feet = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
    >>> found = weigh_feet([19, 29, 41, 31], scale=Scale(), feet_mm=feet, give=usual_give(120))
    >>> WEIGHT_OUTCOMES[int(found.outcome)], int(found.light)
    ('one foot is light but bears', 0)
    >>> float(found.imbalance), float(found.twist_mm), float(found.short_mm)  # doctest: +NUMBER
    (-20.0, -0.0667, 0.2667)

    References
    ----------
    Four springs: 4 q = 4 k twist, derived in DEVELOPERS.md, Geometry. Propagation with the second-order term of the
    product: JCGM 100:2008 (GUM), 5.1.2, note.
    """
    shown = last_axis("readings", finite("readings", readings), 4, LEGS_MEANING)
    shown, null, u_each, u_share = together(
        readings=shown, feet_mm=null_vector(feet_mm), scale=scale.u_each[..., None], share=scale.u_share[..., None]
    )
    q = (null * shown).sum(axis=-1)
    u_q = np.sqrt((null**2 * (u_each**2 + (u_share * shown) ** 2)).sum(axis=-1))
    light, empty = _light(null, shown, q, u_each)
    outcome = _outcome(np.abs(q) > _COVER * u_q, empty, (shown < -_DOUBT * u_each).any(axis=-1))
    if known_weight is not None:
        known = finite("known_weight", known_weight, low=0, above=True)
        u_known = finite("u_weight", u_weight, low=0)
        u_sum = np.sqrt((u_each**2).sum(axis=-1) + (u_share[..., 0] * shown.sum(axis=-1)) ** 2 + u_known**2)
        outcome = np.where(
            (np.abs(shown.sum(axis=-1) - known) > _DOUBT * u_sum) & (outcome != NEGATIVE), WRONG_SUM, outcome
        )
    told = outcome <= FLOATS
    light = np.where((outcome == LIGHT) | (outcome == FLOATS), light, ALL_BEAR).astype(np.intp)
    twist = q * give.mm_per_unit
    u_twist = np.sqrt((give.mm_per_unit * u_q) ** 2 + (q * give.u_mm_per_unit) ** 2 + (u_q * give.u_mm_per_unit) ** 2)
    alike = light == ALL_BEAR
    arm = np.where(alike, np.abs(null).min(axis=-1), np.abs((null * at_leg(light)).sum(axis=-1)))
    return Weighed(
        outcome=outcome.astype(np.intp),
        light=light,
        imbalance=np.where(told, 4 * q, 0.0),
        u_imbalance=np.where(told, 4 * u_q, 0.0),
        twist_mm=np.where(told, twist, 0.0),
        u_twist_mm=np.where(told, u_twist, 0.0),
        short_mm=np.where(told & ~alike, np.abs(twist) / arm, 0.0),
        u_short_mm=np.where(told, np.where(alike, np.hypot(twist, u_twist), u_twist) / arm, 0.0),
    )


def _light(null: FloatArray, shown: FloatArray, q: FloatArray, u_each: FloatArray) -> tuple[LegArray, BoolArray]:
    """The foot that comes off first, and which feet carry nothing."""
    empty = shown <= _DOUBT * u_each
    candidate = np.where(empty.any(axis=-1, keepdims=True), empty, null * q[..., None] < 0)
    return np.argmin(np.where(candidate, shown / np.abs(null), np.inf), axis=-1).astype(np.intp), empty


def _outcome(uneven: BoolArray, empty: BoolArray, negative: BoolArray) -> LegArray:
    """The outcome code from the weights alone."""
    one_diagonal = ~empty[..., [0, 3]].any(axis=-1) | ~empty[..., [1, 2]].any(axis=-1)
    some = empty.any(axis=-1)
    return np.select([negative, some & ~one_diagonal, some, uneven], [NEGATIVE, TWO_EMPTY, FLOATS, LIGHT], EVEN).astype(
        np.intp
    )
