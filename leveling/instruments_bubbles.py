"""A plain bubble: it says "level" or which end is high, never a number.

( |  o  | )     the bubble seen from above; a person first sees it leave the middle at its sensitivity s
 left  right
                "level"       tilt between -s and s
                "right high"  tilt above s, which alone is only a limit
"""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import BoolArray, flags, together
from leveling.errors import BadInput
from leveling.instruments import (
    HIGH_ENDS_ACROSS,
    HIGH_ENDS_ALONG,
    Budget,
    Instrument,
    reading_budget,
    signed_tilt_deg,
    standard_from_limit,
)
from leveling.instruments_looks import Belief, Estimate, weigh_looks

#: The word of a look that was not taken, so that rows with fewer looks fit into one batch.
NOT_LOOKED = "not looked"


@dataclass(frozen=True)
class Bubble:
    """A bubble without lines, and the person who looks at it; each field shape (...).

    Attributes: ``sensitivity_deg`` [degree] tilt at which a person first sees it leave the middle, above 0 and at most
    10. ``own_error_deg`` [degree] largest tilt at which it stands in the middle though it should not, 0 to 10:
    rectangular, the same in all looks. ``alignment_deg`` [degree] largest misalignment each time it is laid down, 0 to
    45: rectangular. ``repeat_deg`` [degree] standard deviation from look to look, 0 to 10: the eye, laying it down, and
    the waves of the board if it is laid elsewhere.

    Raises BadInput if a field is not finite or out of its range.
    """

    sensitivity_deg: FloatArray
    own_error_deg: FloatArray
    alignment_deg: FloatArray
    repeat_deg: FloatArray

    def __post_init__(self) -> None:
        for item in fields(self):
            value = finite(
                item.name,
                getattr(self, item.name),
                low=0,
                high=45 if item.name == "alignment_deg" else 10,
                unit="degrees",
                above=item.name == "sensitivity_deg",
            )
            object.__setattr__(self, item.name, value)


@dataclass(frozen=True)
class TiltLimits:
    """Between which tilts a look puts the playfield, nothing else being wrong, each field shape (...).

    Attributes: ``low_deg`` and ``high_deg`` [degree], positive = rear or right side higher; -inf or inf for none.
    """

    low_deg: FloatArray
    high_deg: FloatArray


def bubble_limits(high_end: ArrayLike, *, sensitivity_deg: ArrayLike) -> TiltLimits:
    """Return the limits of the tilt from what a person sees.

    Parameters
    ----------
    high_end : array_like of str, shape (...) [words]
        "rear", "front", "right" or "left" for the end that is high, "level", or "not looked".
    sensitivity_deg : array_like, shape (...) [degree]
        Tilt at which a person first sees the bubble leave the middle, above 0 and at most 10.

    Returns
    -------
    TiltLimits, each field shape (...) [degree]
        From -s to s for "level", beyond s for a side, none for a look not taken.

    Raises
    ------
    BadInput
        If a word is unknown, a number is not finite or out of range, or the shapes do not fit.

    Examples
    --------
    >>> limits = bubble_limits(["level", "right", "left"], sensitivity_deg=0.2)
    >>> limits.low_deg.tolist(), limits.high_deg.tolist()
    ([-0.2, 0.2, -inf], [0.2, inf, -0.2])

    References
    ----------
    Definition of sensitivity, derived in DEVELOPERS.md, Geometry.
    """
    words = np.asarray(high_end)
    missing = words == NOT_LOOKED
    ends = np.where(missing, "level", words)
    side = signed_tilt_deg(np.where(ends == "level", 0.0, 1.0), ends)
    seen = finite("sensitivity_deg", sensitivity_deg, low=0, high=10, unit="degrees", above=True)
    side, missing, seen = together(high_end=side, missing=missing, sensitivity_deg=seen)
    return TiltLimits(
        low_deg=np.where(missing | (side < 0), -np.inf, np.where(side > 0, seen, -seen)),
        high_deg=np.where(missing | (side > 0), np.inf, np.where(side < 0, -seen, seen)),
    )


def bubble_budget(*, bubble: Bubble, along: ArrayLike, pitch_deg: ArrayLike, roll_deg: ArrayLike = 0.0) -> Budget:
    """Return the uncertainty budget of one "level": tilt 0, nothing believed before.

    Parameters
    ----------
    bubble : Bubble, each field shape (...) [degree]
        The bubble.
    along : array_like of bool, shape (...) [yes or no]
        Laid along (front to rear), not across.
    pitch_deg, roll_deg : array_like, shape (...) [degree]
        The board's slopes, above -90 and below 90, as far as known: they set what misalignment costs.

    Returns
    -------
    Budget, each field shape (...) [degree]
        ``resolution_deg`` is s/sqrt 3 and comes back each time it is laid on the same slope: a bubble that says
        level twice says nothing new. ``accuracy_deg`` is its own error, ``repeat_deg`` the eye.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the shapes do not fit.

    Examples
    --------
    >>> bubble = Bubble(sensitivity_deg=0.2, own_error_deg=0.1, alignment_deg=1, repeat_deg=0.02)
    >>> budget = bubble_budget(bubble=bubble, along=False, pitch_deg=6.5)
    >>> float(budget.resolution_deg), float(budget.alignment_deg), float(budget.u_deg)  # doctest: +NUMBER
    (0.115, 0.0654, 0.146)

    References
    ----------
    Rectangular distribution: JCGM 100:2008 (GUM), 4.3.7. Misalignment derived in DEVELOPERS.md, Geometry.
    """
    none = np.zeros(())
    as_instrument = Instrument(
        resolution_deg=none,
        accuracy_deg=bubble.own_error_deg,
        alignment_deg=bubble.alignment_deg,
        repeat_deg=bubble.repeat_deg,
        zero_deg=none,
        u_zero_deg=none,
    )
    beside = reading_budget(
        instrument=as_instrument, along=along, reversed_pair=False, pitch_deg=pitch_deg, roll_deg=roll_deg
    )
    dead = standard_from_limit(bubble.sensitivity_deg, "rectangular")
    dead, alignment, repeat, accuracy = together(
        sensitivity_deg=dead,
        alignment_deg=beside.alignment_deg,
        repeat_deg=beside.repeat_deg,
        accuracy_deg=beside.accuracy_deg,
    )
    return Budget(
        resolution_deg=dead,
        repeating_deg=dead,
        alignment_deg=alignment,
        repeat_deg=repeat,
        accuracy_deg=accuracy,
    )


def tilt_from_bubble(
    *,
    high_end: ArrayLike,
    bubble: Bubble,
    along: ArrayLike,
    pitch_deg: ArrayLike,
    belief: Belief,
    turned: ArrayLike = False,
) -> Estimate:
    """Return the tilt from looks at a bubble together with what was believed before.

    Parameters
    ----------
    high_end : array_like of str, shape (..., k) [words]
        What each of k looks said: "level", "right" or "left" of a bubble laid across, "rear" or "front" of one laid
        along, "not looked" to fill up a row.
    bubble : Bubble, each field shape (...) [degree]
        The bubble.
    along : array_like of bool, shape (...) [yes or no]
        Laid along (front to rear), not across.
    pitch_deg : array_like, shape (...) [degree]
        Pitch of the board as far as known, above -90 and below 90: it sets what misalignment costs across.
    belief : Belief, each field shape (...) [degree]
        What was thought of this tilt before looking.
    turned : array_like of bool, shape (..., k) [yes or no]
        Turned end for end on the board for this look; the words stay those of the machine's ends.

    Returns
    -------
    Estimate, each field shape (...) [degree]
        Mean, 95 % interval, budget; ``outcome`` as in ``instruments_looks.LOOK_OUTCOMES``.

    Raises
    ------
    BadInput
        If a word is unknown or names an end of the other direction, a number is not finite or out of range, or the
        shapes do not fit.

    Notes
    -----
    With a perfect bubble this is the normal distribution of the belief cut off at the limits (truncated normal). One
    look leans on the belief; a side alone does so wholly, which ``outcome`` says. The answer holds the belief: do
    not combine it with other readings of the same slope; ``bubble_budget`` is "level" without belief, for that. Rather
    believe too little than too much: with tilts twice as far spread as believed, only 79 % of the 95 % intervals of
    ``tests/benchmarks/bench_humble.py`` contained the truth; half as far, 94 %.

    Examples
    --------
    >>> bubble = Bubble(sensitivity_deg=0.2, own_error_deg=0, alignment_deg=0, repeat_deg=0)
    >>> found = tilt_from_bubble(high_end=[["level"], ["right"]], bubble=bubble, along=False, pitch_deg=6.5,
    ...                          belief=Belief(mean_deg=0, u_deg=0.5))
    >>> found.angle_deg.round(2).tolist(), found.outcome.tolist()
    ([0.0, 0.53], [0, 1])

    References
    ----------
    N. L. Johnson, S. Kotz and N. Balakrishnan, Continuous Univariate Distributions 1, 2nd ed., 1994, chapter 13,
    section 10.1 (truncated normal; from memory).
    """
    words, lengthwise = np.asarray(high_end), flags("along", along)
    _refuse_the_other_direction(words, lengthwise)
    limits = bubble_limits(words, sensitivity_deg=_per_look(bubble.sensitivity_deg))
    budget = bubble_budget(bubble=bubble, along=lengthwise, pitch_deg=pitch_deg)
    beside = Budget(
        alignment_deg=_per_look(budget.alignment_deg),
        repeat_deg=_per_look(budget.repeat_deg),
        accuracy_deg=_per_look(budget.accuracy_deg),
    )
    return weigh_looks(low_deg=limits.low_deg, high_deg=limits.high_deg, budget=beside, turned=turned, belief=belief)


def _per_look(value: FloatArray) -> FloatArray:
    return value[..., None]


def _refuse_the_other_direction(words: FloatArray, along: BoolArray) -> None:
    if words.ndim == 0:
        raise BadInput("high_end", "has no axis of looks", "Give a row of words, one for each look")
    words, lengthwise = together(high_end=words, along=along[..., None])
    fits = np.where(lengthwise, np.isin(words, HIGH_ENDS_ALONG), np.isin(words, HIGH_ENDS_ACROSS))
    if not (fits | (words == NOT_LOOKED)).all():
        raise BadInput(
            "high_end",
            "names no end of that direction",
            f"Along give {', '.join(HIGH_ENDS_ALONG)}; across {', '.join(HIGH_ENDS_ACROSS)}; or {NOT_LOOKED}",
        )
