"""Faults: what people may have done at the legs instead of what they were told.

      told              FL +2  .   RL +2  .         every story is a set of true turns,
      left for right     .  FR +2   .  RR +2        or a foot that moved by itself
      one wrong way     FL -2  .   RL +2  .
      one foot wrong     .     .   RL +4  .         a story that comes to what was told
      one left out       .     .   RL +2  .         has no weight
      one foot off      FL +2 + anything, RL +2

How often each happens is common practice, no source: about one set of turns in twenty is not as told.
"""

from dataclasses import dataclass
from enum import IntEnum
from itertools import permutations

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite, last_axis
from leveling.contact import ALL_BEAR
from leveling.frame import LEGS_MEANING

#: How far a foot goes that slips or stands on something, standard deviation [mm]. Common practice, no source.
U_LEG_OFF_MM = 5.0


class Finding(IntEnum):
    """What is made of a set of turns and the reading after it."""

    LEARNED = 0
    NOTHING_TURNED = 1
    TOO_LITTLE_MOVED = 2
    WRONG_FOOT = 3
    WRONG_WAY = 4
    LEFT_OUT = 5
    LEG_OFF = 6
    UNEXPLAINED = 7


FINDING_WORDS = (
    "learned: the machine answered as its legs were turned",
    "nothing was turned, so nothing can be learned",
    "it moved too little to learn from: less than three times the uncertainty of the change",
    "not learned: it reads as if the wrong foot was turned",
    "not learned: it reads as if a foot was turned the wrong way",
    "not learned: it reads as if a foot was left out",
    "not learned: one foot moved by what no turn explains, such as a slipped thread or a foot on a cable",
    "not learned: no turn of the legs explains the change; was the machine shoved, or the playfield not seated?",
)

# Share of all sets of turns, divided among the stories of a kind. Common practice, no source.
_SHARES = {
    Finding.WRONG_FOOT: 0.02,
    Finding.WRONG_WAY: 0.02,
    Finding.LEFT_OUT: 0.006,
    Finding.LEG_OFF: 0.002,
    Finding.UNEXPLAINED: 0.002,
}
_ENDS = ((0, 1), (2, 3), (0, 1, 2, 3))


@dataclass(frozen=True)
class Story:
    """One way to have gone about it, each field with the batch shape (...).

    ``finding`` [code] is the ``Finding`` it stands for. ``turns``, shape (..., 4) [turn], what was truly turned.
    ``weight`` [1], how often, 0 where it comes to what was told. ``leg`` and ``instead`` [leg number] name the foot
    concerned and the one turned in its place, shape (), ``ALL_BEAR`` for several or none. ``loose``, shape (4,)
    [yes or no]: legs that moved by themselves, by any amount.
    """

    finding: Finding
    turns: FloatArray
    weight: FloatArray
    leg: int = ALL_BEAR
    instead: int = ALL_BEAR
    loose: tuple[bool, ...] = (False,) * 4


def stories_of(turns: ArrayLike) -> tuple[Story, ...]:
    """Return what may have been turned where these turns were told; the first story is "as told".

    Parameters
    ----------
    turns : array_like, shape (..., 4) [turn]
        What was told for FL, FR, RL, RR, out positive.

    Returns
    -------
    tuple of Story, each shape (...) [turn, 1]
        As told, wrong foot, wrong way, left out, one foot off, unexplained.

    Raises
    ------
    BadInput
        If a number is not finite or there are not four.

    Examples
    --------
    >>> stories = stories_of([2.0, 0.0, 2.0, 0.0])
    >>> stories[0].turns.tolist(), stories[1].turns.tolist()  # the turns of FL made at FR
    ([2.0, 0.0, 2.0, 0.0], [0.0, 2.0, 2.0, 0.0])
    >>> float(stories[0].weight)
    0.95

    References
    ----------
    Shares: common practice, no source.
    """
    told = last_axis("turns", finite("turns", turns, unit="turns"), 4, LEGS_MEANING)
    others = [*_wrong_foot(told), *_wrong_way(told), *_left_out(told), *_off(told)]
    number = {finding: sum(story.finding == finding for story in others) for finding in _SHARES}
    weighed = []
    for story in others:
        differs = (story.turns != told).any(axis=-1) | any(story.loose)
        share = _SHARES[story.finding] / number[story.finding]
        weighed.append(Story(story.finding, story.turns, share * differs, story.leg, story.instead, story.loose))
    as_told = Story(Finding.LEARNED, told, np.full(told.shape[:-1], 1 - sum(_SHARES.values())))
    return (as_told, *weighed)


def _story(finding: Finding, turns: FloatArray, leg: int = ALL_BEAR, instead: int = ALL_BEAR) -> Story:
    return Story(finding, turns, np.zeros(turns.shape[:-1]), leg, instead)


def _wrong_foot(told: FloatArray) -> list[Story]:
    """Left for right at both ends or at one, front for rear, and each foot's turns made at another one."""
    orders = ((1, 0, 3, 2), (1, 0, 2, 3), (0, 1, 3, 2), (2, 3, 0, 1))
    # One foot first: where two stories are the same turns, it is the one that is told.
    stories = []
    for leg, instead in permutations(range(4), 2):
        turns = told.copy()
        turns[..., instead] += told[..., leg]
        turns[..., leg] = 0
        stories.append(_story(Finding.WRONG_FOOT, turns, leg, instead))
    return stories + [_story(Finding.WRONG_FOOT, told[..., list(order)]) for order in orders]


def _wrong_way(told: FloatArray) -> list[Story]:
    one = [_story(Finding.WRONG_WAY, told * _but((leg,), -1), leg) for leg in range(4)]
    return one + [_story(Finding.WRONG_WAY, told * _but(end, -1)) for end in _ENDS]


def _left_out(told: FloatArray) -> list[Story]:
    one = [_story(Finding.LEFT_OUT, told * _but((leg,), 0), leg) for leg in range(4)]
    return one + [_story(Finding.LEFT_OUT, told * _but(end, 0)) for end in _ENDS]


def _off(told: FloatArray) -> list[Story]:
    """Turned as told, but one foot, or all of them, moved as well."""
    nothing = np.zeros(told.shape[:-1])
    one = [
        Story(Finding.LEG_OFF, told, nothing, leg, loose=tuple(other == leg for other in range(4))) for leg in range(4)
    ]
    return [*one, Story(Finding.UNEXPLAINED, told, nothing, loose=(True,) * 4)]


def _but(legs: tuple[int, ...], factor: float) -> FloatArray:
    """One for each leg, but ``factor`` for these."""
    return np.where(np.isin(np.arange(4), legs), factor, 1.0)
