"""Ways of reading: what a person can do with a level, and what a slope's uncertainty is afterwards.

the same way again    the readings so far count too: fresh parts fall with 1/sqrt(n)
zero checked          they count too, with the zero put right
end for end           a new set of reversed pairs: no zero
square edge           pairs along a square edge, or with a longer base: hardly any misalignment
better instrument     pairs along a square edge with another level: less accuracy error, a finer display
"""

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import BoolArray, flags
from leveling.errors import BadInput
from leveling.instruments import Budget, Instrument, reading_budget
from leveling.verdicts_machine import Measured
from leveling.verdicts_parts import Parts
from leveling.verdicts_shapes import Spread, even_together


@dataclass(frozen=True)
class Means:
    """What a person can do to know a machine better, and on which board, the same for all rows, each field scalar.

    Attributes: ``most_readings`` [count] tilts that one takes at most in a direction, 1 to 20. ``u_zero_deg``
    [degree] standard uncertainty of a zero just checked. ``alignment_deg`` [degree] largest misalignment along a
    square edge. ``accuracy_deg`` [degree] of the best instrument that can be had, 0 for none but the one at hand.
    ``u_gap_mm`` [mm] of a feeler, standard. ``gap_spread_mm`` [mm] how large a gap nobody looked for usually is,
    standard. ``step_mm`` [mm] height of an eighth of a turn of a leg; ``base_mm`` and ``track_mm`` [mm] between the
    feet. Common practice, no source. ``wave_along_deg``, ``wave_across_deg`` [degree] how far the board's slope at
    one spot is off the whole board's, standard; a new spot for each tilt, the same for both halves of a pair.

    Raises BadInput if a field is out of its range.
    """

    most_readings: int = 8
    u_zero_deg: float = 0.02
    alignment_deg: float = 0.2
    accuracy_deg: float = 0.02
    u_gap_mm: float = 0.02
    gap_spread_mm: float = 1.0
    step_mm: float = 0.2
    base_mm: float = 1300.0
    track_mm: float = 560.0
    wave_along_deg: float = 0.0
    wave_across_deg: float = 0.0

    def __post_init__(self) -> None:
        if self.most_readings not in range(1, 21):
            raise BadInput("most_readings", "is no whole number from 1 to 20", "Give how often one reads at most")
        for item in fields(self)[1:]:
            positive = item.name.startswith(("u_gap", "gap", "step", "base", "track"))
            finite(item.name, getattr(self, item.name), low=0, high=1e5, above=positive)


DEFAULT_MEANS = Means()


@dataclass(frozen=True)
class Way:
    """A way of reading, each field scalar.

    Attributes: ``afresh`` [yes or no] a new set instead of more of the same. ``pairs`` [yes or no] end for end.
    ``zero_checked`` [yes or no] the zero was just checked. ``square`` [yes or no] along a square edge.
    ``accuracy_deg`` [degree] stated limit of another instrument, 0 for the one at hand.
    """

    afresh: bool = False
    pairs: bool = False
    zero_checked: bool = False
    square: bool = False
    accuracy_deg: float = 0.0


@dataclass(frozen=True)
class Surveyed:
    """What a survey of a machine found and how it was taken, each field shape (...).

    Attributes: ``pitch_deg``, ``roll_deg`` [degree], ``twist_mm`` [mm] values, any number where unknown. ``pitch``,
    ``roll`` [degree] their Parts. ``u_twist_mm`` [mm] standard uncertainty, a number or a Spread. ``twist_known``
    [yes or no] somebody looked at the feet. ``instrument`` [degree] the level. ``reversed_pair`` [yes or no] the
    tilts were taken end for end.

    Raises BadInput if a number is not finite or out of range.
    """

    pitch_deg: FloatArray
    pitch: Parts
    roll_deg: FloatArray
    roll: Parts
    twist_mm: FloatArray
    u_twist_mm: FloatArray | Spread
    twist_known: BoolArray
    instrument: Instrument
    reversed_pair: BoolArray

    def __post_init__(self) -> None:
        for name in ("pitch_deg", "roll_deg"):
            value = finite(name, getattr(self, name), low=-89.9, high=89.9, unit="degrees")
            object.__setattr__(self, name, value)
        object.__setattr__(self, "twist_mm", finite("twist_mm", self.twist_mm, unit="mm"))
        if not isinstance(self.u_twist_mm, Spread):
            object.__setattr__(self, "u_twist_mm", finite("u_twist_mm", self.u_twist_mm, low=0, unit="mm"))
        for name in ("twist_known", "reversed_pair"):
            object.__setattr__(self, name, flags(name, getattr(self, name)))

    @property
    def measured(self) -> Measured:
        """The values with the shapes of their errors [degree, mm], as the verdict takes them."""
        return Measured(
            pitch_deg=self.pitch_deg,
            u_pitch_deg=self.pitch.spread,
            roll_deg=self.roll_deg,
            u_roll_deg=self.roll.spread,
            twist_mm=self.twist_mm,
            u_twist_mm=self.u_twist_mm,
            pitch_known=self.pitch.known,
            roll_known=self.roll.known,
            twist_known=self.twist_known,
        )


@dataclass(frozen=True)
class Known:
    """What would be known of a slope, each field shape (...) [degree].

    Attributes: ``parts`` of the uncertainty afterwards. ``moved_deg`` standard deviation of how far the value will
    move from the one known now, 0 where nothing was known. ``moved_even_deg`` the rectangular part of that, standard.
    """

    parts: Parts
    moved_deg: FloatArray
    moved_even_deg: FloatArray


def budget_in_a_way(*, surveyed: Surveyed, way: Way, along: bool, means: Means = DEFAULT_MEANS) -> Budget:
    """Return the budget of one tilt taken in a way.

    Parameters
    ----------
    surveyed : Surveyed, each field shape (...) [degree]
        The level, how it was used, and the slopes as far as known.
    way : Way, scalar [yes or no]
        How the tilt will be taken.
    along : bool, scalar [yes or no]
        Along the playfield, not across.
    means : Means, scalar [degree]
        What a zero check and a square edge leave, and the board's wave.

    Returns
    -------
    Budget, each field shape (...) [degree]
        As ``instruments.reading_budget``; another instrument shows half its accuracy as its step, if that is finer.

    Raises
    ------
    BadInput
        If the shapes do not fit.

    Examples
    --------
    >>> level = Instrument(resolution_deg=0.1, accuracy_deg=0.1, alignment_deg=1, repeat_deg=0.02, zero_deg=0,
    ...                    u_zero_deg=0.05)
    >>> one = Parts(readings=1)
    >>> survey = Surveyed(pitch_deg=6.5, pitch=one, roll_deg=0, roll=one, twist_mm=0, u_twist_mm=0.01,
    ...                   twist_known=True, instrument=level, reversed_pair=False)
    >>> now, square = (budget_in_a_way(surveyed=survey, way=way, along=False) for way in (Way(), Way(square=True)))
    >>> float(now.alignment_deg), float(square.alignment_deg)  # doctest: +NUMBER
    (0.065, 0.013)

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    level = surveyed.instrument
    if way.zero_checked:
        level = replace(level, u_zero_deg=np.minimum(level.u_zero_deg, means.u_zero_deg))
    if way.square:
        level = replace(level, alignment_deg=np.minimum(level.alignment_deg, means.alignment_deg))
    if way.accuracy_deg:
        step = np.minimum(level.resolution_deg, way.accuracy_deg / 2)
        level = replace(level, accuracy_deg=np.full_like(step, way.accuracy_deg), resolution_deg=step)
    pairs = surveyed.reversed_pair | way.pairs
    budget = reading_budget(
        instrument=level, along=along, reversed_pair=pairs, pitch_deg=surveyed.pitch_deg, roll_deg=surveyed.roll_deg
    )
    wave_deg = means.wave_along_deg if along else means.wave_across_deg
    return replace(budget, repeat_deg=np.hypot(budget.repeat_deg, wave_deg))


def known_after(*, now: Parts, one: Budget, readings: ArrayLike, way: Way) -> Known:
    """Return what would be known of a slope after more tilts in one direction.

    Parameters
    ----------
    now : Parts, each field shape (...) [degree]
        What is known now.
    one : Budget, each field shape (...) [degree]
        Of one tilt in the new way, as ``budget_in_a_way`` gives it.
    readings : array_like, shape (...) [count]
        How many more, 0 or more.
    way : Way, scalar [yes or no]
        Whether they stand alone, and whether the zero was checked.

    Returns
    -------
    Known, each field shape (...) [degree]
        With no more tilts only a zero check changes anything.

    Raises
    ------
    BadInput
        If a number is negative or not finite, or the shapes do not fit.

    Notes
    -----
    Tilts of one way count alike. Old and new errors that are not shared move the value: all but the accuracy when
    the same level is laid down in a new way, only the fresh parts when it is laid down in the same way.

    Examples
    --------
    >>> one = Budget(repeat_deg=0.06, accuracy_deg=0.05)
    >>> after = known_after(now=Parts(readings=1, repeat_deg=0.06, accuracy_deg=0.05), one=one, readings=3, way=Way())
    >>> float(after.parts.repeat_deg), float(after.parts.accuracy_deg)  # doctest: +NUMBER
    (0.03, 0.05)

    References
    ----------
    JCGM 100:2008 (GUM), 5.1.2. Derived in DEVELOPERS.md, Geometry.
    """
    more = finite("readings", readings, low=0)
    before = np.where(way.afresh & (more > 0), 0.0, now.readings)
    count = before + more
    some, old = np.maximum(count, 1), before / np.maximum(count, 1)
    new = more / some
    each = new / np.sqrt(np.maximum(more, 1))
    laid = np.sqrt(np.maximum(one.u_fresh_deg**2 - one.alignment_deg**2, 0))
    zero = np.where(before > 0, now.zero_deg, one.zero_deg)
    parts = Parts(
        readings=count,
        alignment_deg=np.hypot(old * now.alignment_deg, each * one.alignment_deg),
        repeat_deg=np.hypot(old * now.repeat_deg, each * laid),
        rounding_deg=old * now.rounding_deg + new * one.repeating_deg,
        zero_deg=np.minimum(zero, one.zero_deg) if way.zero_checked else zero,
        accuracy_deg=np.where(before > 0, now.accuracy_deg, one.accuracy_deg),
        feet_deg=now.feet_deg,
    )
    own, even = _moved(now, parts, one, (new, each), way)
    known = now.known & ((new > 0) | way.zero_checked)
    return Known(parts=parts, moved_deg=np.where(known, own, 0.0), moved_even_deg=np.where(known, even, 0.0))


def _moved(
    now: Parts, then: Parts, one: Budget, shares: tuple[FloatArray, FloatArray], way: Way
) -> tuple[FloatArray, FloatArray]:
    """Standard deviation of the move, and its even part."""
    new, each = shares
    lines = [part.alignment_deg / np.maximum(part.readings, 1) ** 0.25 for part in (now, then)]
    if way.afresh:
        squares = now.u_own_deg**2 - now.feet_deg**2 + then.u_own_deg**2 - then.feet_deg**2
        evens = [*lines, now.rounding_deg, then.rounding_deg]
        if way.accuracy_deg:
            squares = squares + now.accuracy_deg**2 + then.accuracy_deg**2
            evens += [now.accuracy_deg, then.accuracy_deg]
        return np.sqrt(squares), even_together(*evens)
    fresh = (new * now.alignment_deg) ** 2 + (new * now.repeat_deg) ** 2 + (each * one.u_fresh_deg) ** 2
    put_right = (now.zero_deg**2 + then.zero_deg**2) if way.zero_checked else 0.0
    return np.sqrt(fresh + put_right), new * lines[0]
