"""What a machine taught, in words: how it answers to turns, and what was made of the turns before a survey."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from collection.arrays.response import Lesson, other_thread, thread_of
from collection.models import Plan
from collection.models.machines import LEGS

#: From this chance on the other thread is spoken of.
LIKELY = 0.5

_SHORT = {
    "wrong_foot": "a wrong foot was turned",
    "wrong_way": "a foot was turned the wrong way",
    "left_out": "a foot was left out",
    "leg_off": "one foot moved by itself: a cable under it, or a thread that slips",
    "unexplained": "the machine was shoved, or its playfield not seated",
}
_ORDERS = {
    (1, 0, 3, 2): "left and right were mixed up",
    (1, 0, 2, 3): "left and right were mixed up at the front",
    (0, 1, 3, 2): "left and right were mixed up at the rear",
    (2, 3, 0, 1): "front and rear were mixed up",
}


@dataclass(frozen=True)
class TurnsRow:
    """One leg: what the record says was turned, and what the readings look like; turns, out positive."""

    leg: str
    told: float
    like: float

    @property
    def differs(self) -> bool:
        """Whether they are not the same."""
        return self.told != self.like


@dataclass(frozen=True)
class FindingPage:
    """What was made of the turns of one plan and the survey after them, in words."""

    lesson: Lesson
    plan_id: UUID
    survey_id: UUID
    feet_checked: bool

    @property
    def is_fault(self) -> bool:
        """Whether someone should look at the feet."""
        return self.lesson.finding in _SHORT

    @property
    def headline(self) -> str:
        """The finding in one sentence."""
        finding, leg, instead = self.lesson.finding, self.lesson.leg, self.lesson.instead
        if finding == "wrong_foot":
            mixed = _mixed_up(self.lesson)
            return f"It looks as if {f'{instead} was turned instead of {leg}' if leg else mixed}."
        if finding == "wrong_way":
            return f"It looks as if {_was_or_were(self._turned_other_way)} turned the wrong way."
        if finding == "left_out":
            return f"It looks as if {_was_or_were(self._left_out)} not turned."
        if finding == "leg_off":
            return f"One foot did not follow: {leg} moved by what no turn explains."
        return {
            "learned": "The machine answered as its legs were turned.",
            "too_little_moved": "It moved too little to teach anything.",
            "unexplained": "No turn of the legs explains what it reads now.",
        }[finding]

    @property
    def rival(self) -> str:
        """Another finding that explains the readings nearly as well, or ""."""
        return _SHORT.get(self.lesson.rival, "")

    @property
    def advice(self) -> list[str]:
        """What to do about a fault, first things first."""
        if not self.is_fault:
            return []
        first = {
            "leg_off": f"Look at {self.lesson.leg}, no hand under it: a cable, a floor joint, a slipping thread.",
            "unexplained": "See that the playfield is seated, no foot stands on a cable, nobody shoved the machine.",
        }.get(self.lesson.finding, "Look at the feet, and count again how far each leveler is out.")
        press = "Press down on each corner"
        looked = f"{press} again." if self.feet_checked else f"{press} and note the gap: nobody checked the feet."
        return [first, looked]

    @property
    def turns(self) -> list[TurnsRow]:
        """The four legs, as told and as they look."""
        rows = zip(LEGS, self.lesson.told, self.lesson.turned, strict=True)
        return [TurnsRow(leg, told, like) for leg, told, like in rows if told or like]

    @property
    def shows_turns(self) -> bool:
        """Whether the readings look like other turns than those told."""
        return self.is_fault and self.lesson.told != self.lesson.turned

    @property
    def _turned_other_way(self) -> list[str]:
        return [row.leg for row in self.turns if row.told and row.like == -row.told]

    @property
    def _left_out(self) -> list[str]:
        return [row.leg for row in self.turns if row.told and not row.like]


@dataclass(frozen=True)
class AnswerWords:
    """How a machine answers to turns, in words: ``numbers`` as ``Taught`` gives them, with the believed lead."""

    numbers: dict[str, Any]
    lead_mm: float

    @property
    def count(self) -> int:
        """How many set-ups taught it."""
        return int(self.numbers["count"])

    @property
    def set_ups(self) -> str:
        """The same in words."""
        return f"{self.count} set-up" if self.count == 1 else f"{self.count} set-ups"

    @property
    def pitch(self) -> str:
        """Pitch per turn against what the machine's measures say: "3 % less than its measures say"."""
        return _against(_share(self.numbers["pitch_factor"]))

    @property
    def roll(self) -> str:
        """Roll per turn, likewise."""
        return _against(_share(self.numbers["roll_factor"]))

    @property
    def u_pitch(self) -> str:
        """How sure that is, one standard uncertainty, in percent."""
        return _percent(self.numbers["u_pitch_factor"])

    @property
    def u_roll(self) -> str:
        """How sure that is, one standard uncertainty, in percent."""
        return _percent(self.numbers["u_roll_factor"])

    @property
    def sentence(self) -> str:
        """Both in one sentence, without its end."""
        pitch, roll = (_share(self.numbers[f"{mode}_factor"]) for mode in ("pitch", "roll"))
        if pitch == roll:
            return f"This machine answers {f'{pitch} to turns' if pitch else 'to turns'} {_than(pitch)}"
        parts = [f"{share} to {mode}" for mode, share in (("pitch", pitch), ("roll", roll)) if share]
        return f"This machine answers {' and '.join(parts)} {_than(parts[0])}"

    @property
    def thread(self) -> str:
        """What its levelers may be, or ""; only where that is the likelier thread."""
        other = other_thread(self.lead_mm)
        if not other or self.numbers["chance_other"] < LIKELY:
            return ""
        return f"Its levelers may be {other}, not {thread_of(self.lead_mm)}"

    @property
    def chance_other(self) -> float:
        """The chance of that thread."""
        return float(self.numbers["chance_other"])


def answer_words(*, plan: Plan) -> AnswerWords | None:
    """Return how the machine answers as a leg plan reckoned with it; None if it went by the machine's measures."""
    kept = plan.inputs.get("response")
    return AnswerWords(kept, plan.inputs["lead_mm"]) if kept else None


def _mixed_up(lesson: Lesson) -> str:
    """Which feet were taken for which, where more than one was."""
    for order, words in _ORDERS.items():
        if tuple(lesson.told[leg] for leg in order) == lesson.turned:
            return words
    return _SHORT["wrong_foot"]


def _was_or_were(legs: Sequence[str]) -> str:
    words = " and ".join(filter(None, [", ".join(legs[:-1]), *legs[-1:]])) or "a foot"
    return f"{words} {'were' if len(legs) > 1 else 'was'}"


def _share(factor: float) -> str:
    """A factor in words: "3 % less", "2 % more", or "" for as much."""
    percent = round(100 * (factor - 1))
    return f"{abs(percent)}\u00a0% {'less' if percent < 0 else 'more'}" if percent else ""


def _than(share: str) -> str:
    return "than its measures say" if share else "as its measures say"


def _against(share: str) -> str:
    return f"{share} {_than(share)}".strip()


def _percent(u_factor: float) -> str:
    return f"{max(100 * u_factor, 0.1):.1f}\u00a0%"
