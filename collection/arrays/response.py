"""Response: a survey, the turns and the survey after them, to what a machine taught, in plain numbers.

      rows of a machine -> steps, oldest first -> one lesson after another -> Taught -> the next leg plan's inputs

Each step is judged by the machine's base and tracks as they stand today: where they were written down wrongly, a
correction mends the older steps too. A step under another lead is left out, since the legs may hold other levelers.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from collection import presets
from collection.arrays.surveys import Leaning, leaning_of
from collection.arrays.surveys_feet import feet_of
from collection.models import Machine, Reading, Survey
from collection.models.surveys import DIRECTIONS
from leveling.contact import ALL_BEAR
from leveling.errors import BadInput
from leveling.four_feet import FourFeet, Offset
from leveling.frame import LEGS
from leveling.response import CHANCE_OTHER, Response, usual_response
from leveling.response_faults import Finding
from leveling.response_learning import Step, learn_response

Four = tuple[float, float, float, float]
Plain = dict[str, Any]

#: Leads nearer than this are the same thread [mm per turn].
_SAME_MM = 0.005
_EVEN = float(np.sqrt(12))  # the width of an even error over its standard uncertainty


@dataclass(frozen=True)
class StepRows:
    """A survey, the turns of each leg that the record holds (out positive), and the survey after them."""

    before: Survey
    turns: Four
    after: Survey
    steps_per_turn: int


@dataclass(frozen=True)
class Belief:
    """What is believed of how a machine answers to turns, as the engine's ``Response`` but in plain numbers."""

    lead_mm: tuple[float, ...]
    chance: tuple[float, ...]
    mean: tuple[tuple[float, ...], ...]
    covariance: tuple[tuple[tuple[float, ...], ...], ...]

    @property
    def response(self) -> Response:
        """The same for the engine."""
        return Response(*(np.array(each) for each in (self.lead_mm, self.chance, self.mean, self.covariance)))


@dataclass(frozen=True)
class Lesson:
    """What one step told.

    ``finding`` and ``rival`` (or "") are names of the engine's findings; ``turned`` is what the readings look like;
    ``leg`` and ``instead`` name the foot concerned and the one turned in its place, or "".
    """

    finding: str
    rival: str
    leg: str
    instead: str
    told: Four
    turned: Four
    chance_as_told: float
    belief: Belief

    @property
    def is_learned(self) -> bool:
        """Whether the machine's response was moved by this step."""
        return self.finding == "learned"


@dataclass(frozen=True)
class Taught:
    """A machine's response after its steps: ``lessons`` oldest first, one for each step."""

    belief: Belief
    lessons: tuple[Lesson, ...]

    @property
    def count(self) -> int:
        """How many steps taught something."""
        return sum(lesson.is_learned for lesson in self.lessons)

    @property
    def numbers(self) -> Plain:
        """Factors over what the machine's measures say, their standard uncertainties, height per turn, the thread."""
        found = self.belief.response
        names = ("pitch_factor", "u_pitch_factor", "roll_factor", "u_roll_factor", "chance_other")
        told = {name: float(getattr(found, name)) for name in names}
        return {**told, "turn_mm": float(found.lead_factor * found.lead_mm[0]), "count": self.count}

    @property
    def inputs(self) -> Plain:
        """What a leg plan keeps: the belief itself, to compute it again, and its numbers, to show them."""
        belief = {name: _listed(getattr(self.belief, name)) for name in ("lead_mm", "chance", "mean", "covariance")}
        return {**self.numbers, "belief": belief}


def taught_by(*, machine: Machine, steps: Sequence[StepRows], readings: Sequence[Reading]) -> Taught:
    """Return what a machine taught in these steps, oldest first, from what is usual.

    ``readings`` are those of all surveys in the steps.
    """
    belief, lessons = usual_belief(machine), []
    by_survey: dict[Any, list[Reading]] = {}
    for reading in readings:
        by_survey.setdefault(reading.survey_id, []).append(reading)
    feet = feet_of({name: getattr(machine, name) for name in ("track_front_mm", "track_rear_mm", "base_mm")})
    for rows in steps:
        lesson = _lesson(belief, _evidence(rows, by_survey, _tuple(feet)))
        lessons.append(lesson)
        belief = lesson.belief
    return Taught(belief, tuple(lessons))


def usual_belief(machine: Machine) -> Belief:
    """Return what is believed of a machine before it was turned: its measures, the other thread, its offset."""
    other = other_thread(machine.lead_mm)
    response = usual_response(
        lead_mm=machine.lead_mm,
        other_lead_mm=presets.THREADS[other] if other else machine.lead_mm,
        offset=Offset(
            machine.pitch_offset_deg, machine.roll_offset_deg, machine.u_pitch_offset_deg, machine.u_roll_offset_deg
        ),
        chance_other=CHANCE_OTHER if other else 0.0,
    )
    return _belief(response)


def thread_of(lead_mm: float) -> str:
    """Return the name of the thread with this lead, or ""."""
    return next((name for name, lead in presets.THREADS.items() if abs(lead - lead_mm) < _SAME_MM), "")


def other_thread(lead_mm: float) -> str:
    """Return the thread that the legs may hold instead; "" where the lead is that of no usual thread."""
    own = thread_of(lead_mm)
    return next(name for name in presets.THREADS if name != own) if own else ""


def belief_of(kept: Mapping[str, Any]) -> Belief:
    """Return the belief that a leg plan's inputs keep under "response"."""
    return Belief(*(_tuple(kept["belief"][name]) for name in ("lead_mm", "chance", "mean", "covariance")))


def responses_of(kept: Sequence[Mapping[str, Any]]) -> Response:
    """Return the responses that a batch of leg plans keep, as one batch for the engine."""
    beliefs = [belief_of(each) for each in kept]
    columns = ([getattr(belief, name) for belief in beliefs] for name in ("lead_mm", "chance", "mean", "covariance"))
    return Response(*(np.array(column) for column in columns))


@dataclass(frozen=True)
class _Evidence:
    """One step in plain numbers, so that the same step under the same belief is worked out once."""

    before: tuple[Any, ...]
    after: tuple[Any, ...]
    turns: Four
    feet_mm: tuple[Any, ...]
    u_shared_deg: tuple[float, float]
    u_turn: float


@lru_cache(maxsize=2048)
def _lesson(belief: Belief, evidence: _Evidence) -> Lesson:
    try:
        found = learn_response(belief.response, _step(evidence))
    except BadInput:  # the record holds turns after which no machine stands
        return Lesson("unexplained", "", "", "", evidence.turns, evidence.turns, 0.0, belief)
    finding, rival = Finding(int(found.finding)), Finding(int(found.rival))
    return Lesson(
        finding=finding.name.lower(),
        rival="" if rival == Finding.LEARNED else rival.name.lower(),
        leg=_leg(found.leg),
        instead=_leg(found.instead),
        told=evidence.turns,
        turned=_tuple(found.turned),
        chance_as_told=float(found.chance_as_told),
        belief=_belief(found.response),
    )


def _step(evidence: _Evidence) -> Step:
    return Step(
        before=_four(evidence.before),
        turns=evidence.turns,
        after=_four(evidence.after),
        feet_mm=np.array(evidence.feet_mm),
        u_shared_deg=evidence.u_shared_deg,
        u_turn=evidence.u_turn,
    )


def _evidence(rows: StepRows, readings: dict[Any, list[Reading]], feet_mm: tuple[Any, ...]) -> _Evidence:
    seen = [leaning_of(readings=readings[row.pk], inputs=row.inputs) for row in (rows.before, rows.after)]
    before, after = (_plain_four(found.four) for found in seen)
    pitch, roll = (_shared_deg(seen, direction) if _same_means(rows, direction) else 0.0 for direction in DIRECTIONS)
    # Turns are told to the nearest step, so they are off by up to half of one.
    u_turn = 1 / rows.steps_per_turn / _EVEN
    return _Evidence(before, after, rows.turns, feet_mm, (pitch, roll), u_turn)


def _shared_deg(seen: Sequence[Leaning], direction: str) -> float:
    """What is in both surveys alike, standard: the level's own error, and the board's wave where spots are the same."""
    slopes = [found.reads[direction].slope for found in seen]
    first, second = (_wave_by_spot(found, direction) for found in seen)
    wave_deg2 = sum(first[spot] * second[spot] for spot in first if spot in second)
    most_deg2 = min(float(slope.u_deg) ** 2 for slope in slopes)
    return float(np.sqrt(min(min(float(slope.u_common_deg) ** 2 for slope in slopes) + wave_deg2, most_deg2)))


def _wave_by_spot(found: Leaning, direction: str) -> dict[Any, float]:
    """What the wave at each known spot does to the mean of a survey's readings [degree]."""
    pairs, each_deg = found.ways[direction], found.reads[direction].wave_deg
    waves: dict[Any, float] = {}
    for (reading, _), wave_deg in zip(pairs, each_deg, strict=True):
        spot = (reading.spot, reading.x_mm, reading.y_mm)
        if spot != ("", None, None):
            waves[spot] = waves.get(spot, 0.0) + float(wave_deg) / len(pairs)
    return waves


def _same_means(rows: StepRows, direction: str) -> bool:
    """Whether both surveys were read with one instrument under one zero, so that its error is in both alike."""
    keys = []
    for survey in (rows.before, rows.after):
        own = direction == "across" and survey.instrument_across_id is not None
        kept = survey.inputs.get("across", survey.inputs) if own else survey.inputs
        which = survey.instrument_across_id if own else survey.instrument_id
        keys.append((which, kept.get("zero_check", ""), kept.get("zero_lost", "")))
    return keys[0] == keys[1]


def _belief(response: Response) -> Belief:
    return Belief(_tuple(response.lead_mm), _tuple(response.chance), _tuple(response.mean), _tuple(response.covariance))


def _plain_four(four: FourFeet) -> tuple[Any, ...]:
    angles = (float(four.pitch_deg), float(four.roll_deg), float(four.twist_mm))
    return (*angles, _tuple(four.covariance))


def _four(plain: tuple[Any, ...]) -> FourFeet:
    pitch, roll, twist, covariance = (np.array(each) for each in plain)
    return FourFeet(pitch, roll, twist, covariance)


def _leg(number: Any) -> str:
    return "" if int(number) == ALL_BEAR else LEGS[int(number)]


def _tuple(numbers: Any) -> Any:
    """Nested tuples of plain numbers, which can be compared and hashed."""
    if isinstance(numbers, np.ndarray):
        return _tuple(numbers.tolist())
    return tuple(_tuple(each) for each in numbers) if isinstance(numbers, list | tuple) else float(numbers)


def _listed(numbers: Any) -> Any:
    """Nested lists, as JSON gives them back."""
    return [_listed(each) for each in numbers] if isinstance(numbers, tuple) else numbers
