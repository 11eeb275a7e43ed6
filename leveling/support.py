"""Support: which foot is light and by how much, from what a person can find without a scale.

A feeler under the foot and the turns until it bears give the gap; pressing down on each corner gives only the
sign of the twist. What a gap means for the plane of the feet is in ``contact``.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import flags
from leveling.contact import ALL_BEAR, LegArray, leg_numbers
from leveling.errors import BadInput
from leveling.frame import LEGS_MEANING

#: What pressing down on each corner can say: the index is the outcome code.
PUSH_OUTCOMES = (
    "one corner gives: its foot is light",
    "it rocks over a diagonal: the light foot is one of two, the front one is likelier",
    "no corner gives: all feet bear",
    "neighbouring corners give: a soft floor or a loose leg, so press again",
)


#: More air than this is not a light foot but a leg that is off.
_WIDEST_GAP_MM = 100.0


@dataclass(frozen=True)
class Stance:
    """On which feet a machine stands, each field with the batch shape (...).

    ``light`` is the leg number of the light foot (0 FL, 1 FR, 2 RL, 3 RR) or ``ALL_BEAR``. ``gap_mm`` [mm]
    is the air under it, 0 where all feet bear. ``u_gap_mm`` [mm] is its standard uncertainty; where all feet
    bear it is how large a gap of either sign may have gone unnoticed.

    Raises BadInput if a number is not finite or out of range, a leg number is none, or all bear yet there is a gap.
    """

    light: LegArray
    gap_mm: FloatArray
    u_gap_mm: FloatArray

    def __post_init__(self) -> None:
        light = leg_numbers("light", self.light)
        gap = finite("gap_mm", self.gap_mm, low=0, high=_WIDEST_GAP_MM, unit="mm")
        u_gap = finite("u_gap_mm", self.u_gap_mm, low=0, unit="mm")
        if ((light == ALL_BEAR) & (gap > 0)).any():
            raise BadInput("gap_mm", "is above 0 where all feet bear", "Name the light foot, or give gap 0")
        for name, value in zip(("light", "gap_mm", "u_gap_mm"), np.broadcast_arrays(light, gap, u_gap), strict=True):
            object.__setattr__(self, name, value)


@dataclass(frozen=True)
class Gap:
    """Air under a light foot, each field with the batch shape (...).

    ``gap_mm`` [mm] is the best estimate, ``u_gap_mm`` [mm] its standard uncertainty.
    """

    gap_mm: FloatArray
    u_gap_mm: FloatArray


@dataclass(frozen=True)
class Push:
    """What pressing each corner said, each field with the batch shape (...).

    ``outcome`` is the index into ``PUSH_OUTCOMES``. ``twist_sign`` [1] is -1, 0 or 1. ``light`` is the light
    foot, or the likelier of the two, as a leg number, or ``ALL_BEAR`` where none is known.
    """

    outcome: LegArray
    twist_sign: LegArray
    light: LegArray


def gap_from_turns(turns: ArrayLike, *, lead_mm: ArrayLike, u_turns: ArrayLike = 0.1) -> Gap:
    """Return the gap from the turns out until the light foot just bears.

    Parameters
    ----------
    turns : array_like, shape (...) [turn]
        Turns out, from the stance that was surveyed, at least 0.
    lead_mm : array_like, shape (...) [mm]
        Height per full turn of that leveler, above 0.
    u_turns : array_like, shape (...) [turn]
        Standard uncertainty of "it bears now". A tenth of a turn: common practice, no source.

    Returns
    -------
    Gap, each shape (...) [mm]
        Gap and its standard uncertainty.

    Raises
    ------
    BadInput
        If a number is not finite or out of range.

    Examples
    --------
    >>> gap = gap_from_turns(0.5, lead_mm=1.5875)
    >>> float(gap.gap_mm), float(gap.u_gap_mm)
    (0.79375, 0.15875)

    References
    ----------
    Gap = turns x lead, derived in DEVELOPERS.md, Geometry.
    """
    turn = finite("turns", turns, low=0, unit="turns")
    lead = finite("lead_mm", lead_mm, low=0, above=True, unit="mm")
    u_turn = finite("u_turns", u_turns, low=0, unit="turns")
    return Gap(gap_mm=turn * lead, u_gap_mm=u_turn * lead * np.ones_like(turn))


def gap_from_feeler(goes_mm: ArrayLike, stops_mm: ArrayLike) -> Gap:
    """Return the gap between the thickest feeler that goes under the foot and the next one that does not.

    Parameters
    ----------
    goes_mm : array_like, shape (...) [mm]
        Thickest blade or stack that slides under, 0 if none does.
    stops_mm : array_like, shape (...) [mm]
        Thinnest one that does not, above 0 and at least ``goes_mm``.

    Returns
    -------
    Gap, each shape (...) [mm]
        The middle, and half the width over sqrt 3.

    Raises
    ------
    BadInput
        If a thickness is not finite or out of range, or the blade that stops is the thinner one.

    Examples
    --------
    >>> gap = gap_from_feeler(0.40, 0.45)
    >>> float(gap.gap_mm), float(gap.u_gap_mm)  # doctest: +NUMBER
    (0.425, 0.0144)

    References
    ----------
    Rectangular distribution: JCGM 100:2008 (GUM), 4.3.7.
    """
    goes = finite("goes_mm", goes_mm, low=0, unit="mm")
    stops = finite("stops_mm", stops_mm, low=0, above=True, unit="mm")
    if (stops < goes).any():
        raise BadInput("stops_mm", "is thinner than the blade that goes", "Swap the two thicknesses")
    return Gap(gap_mm=(goes + stops) / 2, u_gap_mm=(stops - goes) / 2 / np.sqrt(3))


def turns_to_bear(gap_mm: ArrayLike, *, lead_mm: ArrayLike) -> FloatArray:
    """Return the turns out that bring the light foot down onto the floor.

    Parameters
    ----------
    gap_mm : array_like, shape (...) [mm]
        Air under the light foot, at least 0.
    lead_mm : array_like, shape (...) [mm]
        Height per full turn of that leveler, above 0.

    Returns
    -------
    ndarray, shape (...) [turn]
        Turns out.

    Raises
    ------
    BadInput
        If a number is not finite or out of range.

    Examples
    --------
    >>> float(turns_to_bear(0.79375, lead_mm=1.5875))
    0.5

    References
    ----------
    Turns = gap / lead, derived in DEVELOPERS.md, Geometry.
    """
    lead = finite("lead_mm", lead_mm, low=0, above=True, unit="mm")
    return finite("gap_mm", gap_mm, low=0, unit="mm") / lead


def push_test(gives: ArrayLike) -> Push:
    """Return what pressing down on each corner in turn says: a sign, never an amount.

    Parameters
    ----------
    gives : array_like of bool, shape (..., 4) [yes or no]
        Whether the corner moved down under the hand: FL, FR, RL, RR.

    Returns
    -------
    Push, each shape (...) [code, 1, leg number]
        Outcome, sign of the twist, light foot.

    Raises
    ------
    BadInput
        If the last axis is not four or an entry is not yes or no.

    Notes
    -----
    At rest the light foot hangs, so its corner gives when pressed. If both ends of a diagonal give, the
    weight sits near the diagonal it rocks over, and the machine tips either way; the front foot is named,
    since the weight is toward the rear. A push also leans the machine and squeezes the floor, so look at the roll of
    the rear pair too.

    Examples
    --------
    >>> push = push_test([[True, False, False, False], [False, True, True, False]])
    >>> push.light.tolist(), push.twist_sign.tolist(), push.outcome.tolist()
    ([0, 1], [-1, 1], [0, 1])

    References
    ----------
    Signs derived in DEVELOPERS.md, Geometry; pressing the corners is common practice, no source.
    """
    corners = flags("gives", gives)
    if corners.ndim == 0 or corners.shape[-1] != 4:
        raise BadInput("gives", f"has shape {corners.shape}", f"Give 4 on the last axis: {LEGS_MEANING}")
    fl, fr, rl, rr = (corners[..., leg] for leg in range(4))
    negative, positive = fl | rr, fr | rl
    outcome = np.select([negative & positive, ~negative & ~positive, (fl & rr) | (fr & rl)], [3, 2, 1], 0).astype(
        np.intp
    )
    sign = np.where(outcome == 3, 0, positive.astype(np.intp) - negative)
    first = np.argmax(corners, axis=-1)  # the front foot of a diagonal comes first in leg order
    return Push(outcome=outcome, twist_sign=sign, light=np.where(sign == 0, ALL_BEAR, first))


def stance_of(light: ArrayLike, gap: Gap) -> Stance:
    """Return the stance from which foot is light and the gap that was found.

    Parameters
    ----------
    light : array_like of int, shape (...) [leg number]
        The light foot, or ``ALL_BEAR`` where no foot seemed light.
    gap : Gap, each shape (...) [mm]
        The gap under it; where all seemed to bear, the gap that could have gone unnoticed.

    Returns
    -------
    Stance, each shape (...) [leg number, mm]
        Where all bear, the gap is 0 and its uncertainty is the root mean square of what could be there.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or an entry is not a leg number.

    Examples
    --------
    >>> blade = gap_from_feeler([0.4, 0.0], [0.45, 0.05])  # under FR a blade goes, elsewhere not the thinnest
    >>> stance = stance_of([1, ALL_BEAR], blade)
    >>> stance.gap_mm.tolist(), stance.u_gap_mm.tolist()  # doctest: +NUMBER
    ([0.425, 0.0], [0.0144, 0.0289])

    References
    ----------
    Second moment about zero, JCGM 100:2008 (GUM), C.2.12 and 4.3.7.
    """
    leg = leg_numbers("light", light)
    bears = leg == ALL_BEAR
    u_gap = np.where(bears, np.hypot(gap.gap_mm, gap.u_gap_mm), gap.u_gap_mm)
    return Stance(light=leg, gap_mm=np.where(bears, 0.0, gap.gap_mm), u_gap_mm=u_gap)
