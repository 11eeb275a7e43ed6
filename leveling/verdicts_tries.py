"""Tries: the remedies that can be named, each in all its details, the cheapest first."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

from leveling.checks import FloatArray
from leveling.checks_shapes import BoolArray, IntArray
from leveling.verdicts_ways import DEFAULT_MEANS, Means, Way

#: Remedies, and in words.
(
    DECIDED, CHECK_FEET, READ_AGAIN, END_FOR_END, CHECK_ZERO, SQUARE_EDGE, BETTER_INSTRUMENT, TURN_LEGS,
    TURN_AND_BETTER, NO_REMEDY,
) = range(10)  # fmt: skip
REMEDIES = (
    "nothing: it is decided",
    "measure the gap under the light foot",
    "read again, laying the level down afresh each time",
    "read again, turning the level end for end each time",
    "check the zero of the level",
    "read again along a square edge or with a longer base, end for end each time",
    "read with a better instrument",
    "no reading decides soon: turn the legs toward the middle, then read",
    "read with a better instrument, turn the legs toward the middle by that, then read again",
    "nothing that can be had decides: this tolerance needs a better instrument",
)

#: What a remedy costs beside its readings, counted in readings. Common practice, no source.
_EXTRA = {CHECK_ZERO: 6, BETTER_INSTRUMENT: 1000, TURN_LEGS: 2000, TURN_AND_BETTER: 3000}
_EDGE = 4
_FINER = 0.7


@dataclass(frozen=True)
class Remedy:
    """What decides a verdict, each field shape (...).

    Attributes: ``code`` [code] index into REMEDIES. ``more_along``, ``more_across`` [count] tilts to take.
    ``check_feet`` [yes or no] measure the gap too. ``pairs``, ``zero_first``, ``square`` [yes or no] take the tilts
    end for end, after a zero check, along a square edge. ``turn`` [yes or no] turn the legs toward the middle first;
    ``closely`` [yes or no] as near as the steps allow. ``accuracy_deg`` [degree] stated limit that the instrument
    needs, 0 if the one at hand will do. ``u_pitch_deg``, ``u_roll_deg`` [degree] uncertainty afterwards. ``chance``
    [1] of deciding, below ENOUGH if nothing does better.
    """

    code: IntArray
    more_along: IntArray
    more_across: IntArray
    check_feet: BoolArray
    pairs: BoolArray
    zero_first: BoolArray
    square: BoolArray
    turn: BoolArray
    closely: BoolArray
    accuracy_deg: FloatArray
    u_pitch_deg: FloatArray
    u_roll_deg: FloatArray
    chance: FloatArray


@dataclass(frozen=True)
class Try:
    """One remedy in all its details, each field scalar.

    Attributes: ``code`` [code] index into REMEDIES. ``way`` [yes or no] of reading. ``along``, ``across`` [count]
    tilts to take. ``closely`` [yes or no] legs turned as near as the steps allow.
    """

    code: int
    way: Way
    along: int = 0
    across: int = 0
    closely: bool = False

    @property
    def kind(self) -> tuple[int, Way, bool]:
        """What tries that differ only in number and accuracy share [code, yes or no]."""
        return self.code, replace(self.way, accuracy_deg=0.0), self.closely

    @property
    def turn(self) -> bool:
        """Legs are turned [yes or no]."""
        return self.code in (TURN_LEGS, TURN_AND_BETTER)

    @property
    def effort(self) -> float:
        """What it costs [reading]."""
        extra = _EXTRA.get(self.code, 0) + _EDGE * self.way.square + 2.0 * self.closely
        if self.way.accuracy_deg:
            extra += 100 / self.way.accuracy_deg**0.5
        return extra + (self.along + self.across) * (2 if self.way.pairs else 1)


def all_tries(means: Means = DEFAULT_MEANS) -> list[Try]:
    """Return all remedies that can be named, the cheapest first.

    Parameters
    ----------
    means : Means, scalar [degree, mm]
        What can be done.

    Returns
    -------
    list of Try, each scalar [code, count]
        In order of effort.

    Raises
    ------
    BadInput
        Never; ``means`` has checked itself.

    Notes
    -----
    A reading counts 1, end for end 2; a zero check 6 more, a square edge 4; another instrument comes after all that,
    the least accurate first; then turning the legs; then both. Common practice, no source.

    Examples
    --------
    >>> tries = all_tries()
    >>> REMEDIES[tries[0].code], tries[-1].code == TURN_AND_BETTER
    ('measure the gap under the light foot', True)

    References
    ----------
    Common practice, no source.
    """
    counts = [count for count in (0, 1, 2, 4, 8, 16) if count <= means.most_readings]
    at_hand = {
        READ_AGAIN: Way(),
        CHECK_ZERO: Way(zero_checked=True),
        END_FOR_END: Way(afresh=True, pairs=True),
        SQUARE_EDGE: Way(afresh=True, pairs=True, square=True),
    }
    tries = [Try(CHECK_FEET, Way())]
    for code, way in at_hand.items():
        tries += [Try(code, way, *count) for count in product(counts, counts) if any(count) or way.zero_checked]
    same = replace(at_hand[READ_AGAIN], afresh=True)
    for way, count, closely in product((same, *list(at_hand.values())[2:]), counts[1:], (False, True)):
        tries.append(Try(TURN_LEGS, way, count, count, closely))
    for accuracy_deg, count in product(_accuracies(means), counts[2:]):
        better = replace(at_hand[SQUARE_EDGE], accuracy_deg=accuracy_deg)
        tries.append(Try(BETTER_INSTRUMENT, better, count, count))
        tries += [Try(TURN_AND_BETTER, better, count, count, closely) for closely in (False, True)]
    return sorted(tries, key=lambda tried: tried.effort)


def _accuracies(means: Means) -> Iterator[float]:
    """Stated limits of better and better instruments."""
    accuracy_deg = 0.5
    while accuracy_deg > means.accuracy_deg > 0:
        yield round(accuracy_deg, 3)
        accuracy_deg *= _FINER
    if means.accuracy_deg > 0:
        yield means.accuracy_deg
