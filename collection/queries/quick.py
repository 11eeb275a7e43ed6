"""The quick answer as its page shows it. It reads no table: all that it knows stands in its address."""

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from collection import presets
from collection.arrays.quick import Asked, Working, quick_found
from collection.arrays.surveys_results import Assessment
from collection.models.machines import LEGS
from collection.queries.plans_page import LegOfLift, Lift, PlanPage
from collection.queries.surveys import next_words

#: Higher pads under a foot are not steady. Common practice, no source.
MOST_PAD_MM = 25.0
#: The parts of an uncertainty as the engine names them, in words.
_PARTS = {
    "resolution_deg": "The display’s step",
    "alignment_deg": "The level askew",
    "repeat_deg": "Laid down again",
    "accuracy_deg": "The level’s own accuracy",
    "u_deg": "Together",
}


@dataclass(frozen=True)
class Part:
    """One part of the uncertainty of a reading along and of one across, standard [degree]."""

    words: str
    along_deg: float
    across_deg: float


#: The example of the public pages: half a degree too flat and left high, all else as is usual.
EXAMPLE = {"pitch": "6.0", "roll": "0.3", "high": "left"}
EXAMPLE_QUERY = urlencode(EXAMPLE)


@dataclass(frozen=True)
class QuickPage:
    """A leg plan that nobody stored, what it stands on, and the arithmetic."""

    asked: Asked
    seen: PlanPage
    assessment: Assessment
    working: Working

    @property
    def answer(self) -> dict[str, Any]:
        """What the engine answers."""
        answer: dict[str, Any] = self.seen.plan.answer
        return answer

    @property
    def turns(self) -> list[float]:
        """The turns of all four legs in leg order, out positive."""
        return [leg["steps"] / leg["steps_per_turn"] for leg in self.answer["legs"]]

    @property
    def shared(self) -> list[tuple[str, float]]:
        """The same angles from all four legs, the most of them as little as can be; empty where that is out of reach.

        What is added to all four feet changes no angle.
        """
        if self.asked.ends not in ("both", "dollies") or self.asked.front_in:
            return []
        step, middle = 1 / self.asked.steps_per_turn, (max(self.turns) + min(self.turns)) / 2
        common = round(middle / step) * step
        shared = [turns - common for turns in self.turns]
        most_mm = max(map(abs, shared)) * self.asked.lead_mm
        return list(zip(LEGS, shared, strict=True)) if most_mm <= presets.TRAVEL_MM else []

    @property
    def pads(self) -> list[tuple[str, float]]:
        """Pads that lack beside a whole travel, by leg [mm]; empty where they would be too high or out of reach."""
        lowest = min(self.turns)
        lack_mm = [(turns - lowest) * self.asked.lead_mm - presets.TRAVEL_MM for turns in self.turns]
        pads = [(leg, mm) for leg, mm in zip(LEGS, lack_mm, strict=True) if mm > 0]
        shut = {"front": "R", "rear": "F"}.get(self.asked.ends, "")
        fits = all(mm <= MOST_PAD_MM and leg[0] != shut for leg, mm in pads)
        return pads if fits else []

    @property
    def reading_helps(self) -> str:
        """Which reading helps most next, in a few words, where the verdict is not sure; "" where it is."""
        return "" if self.assessment.machine.verdict == "in" else next_words(self.assessment)

    @property
    def offset_deg(self) -> float:
        """How much steeper the playfield usually hangs than its cabinet, by era."""
        return presets.ERAS[self.asked.era].pitch_offset_deg

    @property
    def thread(self) -> str:
        """The thread's name, or "" where someone wrote the height of a turn."""
        return next((name for name, lead in presets.THREADS.items() if lead == self.asked.lead_mm), "")

    @property
    def body_words(self) -> str:
        """The body as people call it, or "" where someone measured it."""
        body = presets.BODIES[self.asked.body]
        own = (self.asked.track_front_mm, self.asked.track_rear_mm, self.asked.base_mm)
        return self.asked.body if own == (body.track_front_mm, body.track_rear_mm, body.base_mm) else ""

    @property
    def parts(self) -> list[Part]:
        """Where the uncertainty of the two readings comes from."""
        along, across = self.assessment.tilts
        return [Part(words, getattr(along, name), getattr(across, name)) for name, words in _PARTS.items()]

    @property
    def level(self) -> dict[str, float]:
        """The level that is taken for granted."""
        return {
            "resolution_deg": presets.RESOLUTION_DEG,
            "accuracy_deg": presets.ACCURACY_DEG,
            "alignment_deg": presets.ALIGNMENT_DEG,
        }


def quick_page(**asked: Any) -> QuickPage:
    """Return the answer to what someone asks; the names are those of ``Asked``."""
    question = Asked(**asked)
    found = quick_found(question)
    lifts = _lifts(found.plan.answer, question.steps_per_turn)
    seen = PlanPage(plan=found.plan, lifts=lifts, checks=[], course=found.plan.answer)
    return QuickPage(asked=question, seen=seen, assessment=found.assessment, working=found.working)


def example() -> QuickPage:
    """Return the answer to the example."""
    body = presets.BODIES["standard"]
    return quick_page(
        pitch_deg=float(EXAMPLE["pitch"]),
        roll_deg=-float(EXAMPLE["roll"]),
        want_deg=presets.ERAS["modern"].pitch_deg,
        era="modern",
        body="standard",
        track_front_mm=body.track_front_mm,
        track_rear_mm=body.track_rear_mm,
        base_mm=body.base_mm,
        lead_mm=presets.THREADS["3/8-16 UNC"],
        steps_per_turn=4,
        ends="both",
        front_in=False,
        stance="all_bearing",
        gap_mm=0.0,
        pitch_tolerance_deg=presets.PITCH_TOLERANCE_DEG,
        roll_tolerance_deg=presets.ROLL_TOLERANCE_DEG,
        gap_tolerance_mm=presets.GAP_TOLERANCE_MM,
        closer=False,
    )


def _lifts(answer: dict[str, Any], steps_per_turn: int) -> list[Lift]:
    """The lifts in order, all of them still to be done."""
    legs = {
        leg["name"]: LegOfLift(
            name=leg["name"],
            turns=leg["steps"] / steps_per_turn,
            height_mm=leg["height_mm"],
            then_mm=leg["exposure_after_mm"],
            done=None,
            travel_mm=presets.TRAVEL_MM,
            exposure_known=leg["exposure_after_mm"] is not None,
        )
        for leg in answer["legs"]
    }
    return [
        Lift(number=number, end=lift["end"], legs=[legs[name] for name in lift["frees"]], stage="now")
        for number, lift in enumerate(answer["lifts"], start=1)
    ]
