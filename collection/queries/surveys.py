"""Reads about surveys: what can be chosen, the live answer, one survey with the working behind its numbers."""

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db import models
from django.db.models import F, Max, Q

from collection import presets
from collection.access import visible
from collection.arrays.surveys import assess, inputs_of, readings_of, recomputed
from collection.arrays.surveys_means import Means, means_of
from collection.arrays.surveys_remedies import remedy_of
from collection.arrays.surveys_results import Assessment, Judged, TiltUsed
from collection.arrays.surveys_twist import end_rolls, end_tilts, ends_of
from collection.models import Instrument, Machine, Membership, Plan, Reading, Spec, Survey
from collection.models.instruments import EVENT_WORDS
from collection.queries.instruments import zero_of
from collection.queries.surveys_remedies import certificate_line, daily_words, decides_words, kind_words
from collection.queries.surveys_working import SlopeWorking, workings_of
from collection.queries.vials import pairs_of

MAKE_A_PLAN = "Make a leg plan"
NOTHING = "Nothing to turn"

#: Why a direction (`{way}`) is not known though something was read, as what to do about it.
LACKS_WORDS = {
    "block": "Put the bubble on an angle block, or read along with something else: alone it tells no pitch",
    "steeper_block": "Put the bubble on a steeper block: the rear is still high",
    "flatter_block": "Put the bubble on a flatter block: the front is high now",
    "vial_unknown": "Read {way} with something else: this vial is not learned yet",
    "vial_beyond": "Read {way} with something else: the bubble is beyond what its vial was learned for",
    "time": "Time it again: no rolling ball does this over that run",
    "aside": "Measure again how far it went aside: no playfield leans that far",
}

#: Why roll is unsure, and what to do, where it may have been read askew; by the kind of instrument.
ASKEW_WORDS = {
    "digital_level": "the level may lie askew: butt it against a straight edge",
    "bubble": "the bubble may lie askew: butt it against a straight edge",
    "blocks": "the bubble may lie askew: butt it against a straight edge",
    "ball": "its run may lie askew: measure mark and line from the same rail",
}

#: Where the next reading in a direction tells most, best first.
NEXT_SPOTS = {"along": ("middle", "left", "right"), "across": ("lower_centre", "upper_centre", "middle")}


@dataclass(frozen=True)
class AnswerBar:
    """One quantity against the spec: slopes in degrees, the gap in mm. ``value`` is None while it is not known.

    ``half`` is half of the interval that holds 95 %; None takes the error as normal.
    """

    kind: str
    value: float | None
    u: float
    tol: float
    verdict: str
    want: float = 0.0
    foot: str = ""
    half: float | None = None

    @property
    def spread(self) -> float:
        """Half of the interval that holds 95 %."""
        return presets.K95 * self.u if self.half is None else self.half


@dataclass(frozen=True)
class Answer:
    """What the readings say so far against the spec, and what to do next.

    ``unclear`` if the readings contradict each other, so that no leg should be turned by them; ``turn_first`` if only
    turning the legs toward the middle decides.
    """

    assessment: Assessment | None
    spec: Spec
    next_step: str
    advice: list[str]
    unclear: bool = False
    turn_first: bool = False

    @property
    def bars(self) -> list[AnswerBar]:
        """Pitch, roll and gap against the spec; what was not read has no value."""
        found, spec = self.assessment, self.spec
        if found is None:
            return []
        pitch = found.pitch_deg if found.pitch.known else None
        roll = found.roll_deg if found.roll.known else None
        gap = found.gap_mm if found.feet_checked else None
        marks = [judged.verdict if judged.measured else "not_measured" for judged in found.quantities]
        return [
            AnswerBar("pitch", pitch, found.u_pitch_deg, spec.pitch_tolerance_deg, marks[0],
                      want=spec.pitch_deg, half=found.half_pitch_deg),
            AnswerBar("roll", roll, found.u_roll_deg, spec.roll_tolerance_deg, marks[1], half=found.half_roll_deg),
            AnswerBar("gap", gap, found.u_gap_mm, spec.gap_tolerance_mm, marks[2], foot=found.light,
                      half=found.half_gap_mm),
        ]  # fmt: skip

    @property
    def verdict_found(self) -> Judged:
        """The verdict on the machine, of a survey that was stored."""
        if self.assessment is None:
            raise ValueError("nothing was read")
        return self.assessment.machine

    @property
    def known_bars(self) -> list[AnswerBar]:
        """Those of the bars that have a value."""
        return [bar for bar in self.bars if bar.value is not None]

    @property
    def is_whole(self) -> bool:
        """Whether there is a reading along and one across, so that the machine can be judged."""
        return self.assessment is not None and self.assessment.pitch.known and self.assessment.roll.known

    @property
    def odd(self) -> list[tuple[int, TiltUsed]]:
        """The readings that do not fit the others, each with its number."""
        tilts = self.assessment.tilts if self.assessment else ()
        return [(number, tilt) for number, tilt in enumerate(tilts, 1) if tilt.is_odd]


@dataclass(frozen=True)
class SurveyPage:
    """One survey with its readings, the working, and its place in the record."""

    survey: Survey
    answer: Answer
    corrected_by: Survey | None
    is_newest: bool
    spec_is_current: bool
    certificate: str = ""

    @property
    def spots(self) -> list[tuple[str, str]]:
        """Each named spot of the playfield with the numbers of the readings taken there."""
        tilts = self.answer.assessment.tilts if self.answer.assessment else ()
        return [
            (spot, " ".join(str(n) for n, tilt in enumerate(tilts, 1) if tilt.reading.spot == spot))
            for spot in presets.SPOTS
        ]

    @property
    def spots_label(self) -> str:
        """The same in words."""
        return "; ".join(f"reading {numbers} {presets.SPOTS[spot].words}" for spot, numbers in self.spots if numbers)

    @property
    def slopes(self) -> list[SlopeWorking]:
        """Pitch and roll as read, each with the tilts behind it."""
        found = self.answer.assessment
        return workings_of(found=found, inputs=self.survey.inputs) if found else []


def instruments_to_use(*, member: Membership, machine: Machine, keep: Sequence[Any] = ()) -> list[Instrument]:
    """Return the live instruments for a machine, those that this person used last first.

    A vial is offered for its own machine only; those that ``keep`` names are offered even if archived.
    """
    live = Q(archived_at__isnull=True) | Q(pk__in=[key for key in keep if key])
    rows = (
        visible(member, Instrument)
        .filter(live, Q(machine__isnull=True) | Q(machine=machine))
        .annotate(
            mine=Max("surveys__measured_at", filter=Q(surveys__created_by=member.user_id)),
            anyone=Max("surveys__measured_at"),
        )
    )
    order = (F("mine").desc(nulls_last=True), F("anyone").desc(nulls_last=True), "name")
    return list(rows.order_by(*order).fetch_mode(models.FETCH_RAISE))


def plans_to_check(*, member: Membership, machine: Machine) -> list[Plan]:
    """Return the leg plans of a machine that a check reading may belong to, newest first."""
    rows = visible(member, Plan).filter(machine=machine, state__in=("open", "turned"))
    return list(rows.order_by("-created_at").fetch_mode(models.FETCH_RAISE))


def current_spec(*, machine: Machine) -> Spec | None:
    """Return what the machine should read now."""
    rows = Spec.objects.for_org(machine.organization_id).filter(machine=machine)
    return rows.order_by("-created_at", "-id").first()


def readings_in(*, survey: Survey) -> list[Reading]:
    """Return the readings of a survey in their order."""
    rows = Reading.objects.for_org(survey.organization_id).filter(survey=survey).order_by("place")
    return list(rows.fetch_mode(models.FETCH_RAISE))


def newest_survey(*, machine: Machine) -> Survey | None:
    """Return the newest survey of a machine that no correction replaced."""
    rows = Survey.objects.for_org(machine.organization_id).filter(machine=machine)
    return rows.filter(corrections__isnull=True).order_by("-measured_at", "-created_at", "-id").first()


def correction_of(*, survey: Survey) -> Survey | None:
    """Return the survey that stands for this one now, through all corrections; None if it stands itself."""
    rows = Survey.objects.for_org(survey.organization_id).filter(machine=survey.machine_id)
    later = dict(rows.filter(supersedes__isnull=False).values_list("supersedes_id", "pk"))
    key = survey.pk
    while key in later:
        key = later[key]
    return None if key == survey.pk else rows.get(pk=key)


def live_answer(
    *,
    machine: Machine,
    spec: Spec,
    instrument: Instrument | None,
    instrument_across: Instrument | None = None,
    readings: Sequence[dict[str, Any]],
    now: datetime.datetime,
    measured_at: datetime.datetime | None = None,
    stance: str = "unknown",
    gap: float = 0.0,
    gap_unit: str = "mm",
    gap_step_turns: float = presets.GAP_STEP_TURNS,
    weights_kg: Sequence[float] = (),
) -> Answer:
    """Return what rows that nobody saved yet would say."""
    if instrument is None:
        return _answer(None, spec, {})
    at = measured_at or now
    across = means_to_read(instrument=instrument_across, at=at) if instrument_across else None
    inputs = inputs_of(
        machine=machine, along=means_to_read(instrument=instrument, at=at), across=across, measured_at=at,
        stance=stance, gap=gap, gap_unit=gap_unit, gap_step_turns=gap_step_turns, weights_kg=weights_kg,
    )  # fmt: skip
    return _answer(assess(readings=readings_of(readings, inputs), inputs=inputs, spec=spec), spec, inputs)


def means_to_read(*, instrument: Instrument, at: datetime.datetime) -> Means:
    """Return an instrument with what was known of it at a time: its zero, or what a vial is learned from."""
    if instrument.kind == "vial":
        return Means(instrument, pairs=pairs_of(vial=instrument, at=at))
    return Means(instrument, zero_of(instrument=instrument, at=at) if instrument.has_zero else None)


def survey_page(*, member: Membership, survey: Survey, newest: Survey | None) -> SurveyPage:
    """Return a survey with the working behind its numbers, made again from what the record keeps.

    ``newest`` is the machine's newest survey.
    """
    spec = current_spec(machine=survey.machine)
    answer = answer_of(survey=survey)
    found = answer.assessment
    return SurveyPage(
        survey=survey,
        answer=answer,
        corrected_by=correction_of(survey=survey),
        is_newest=newest is not None and newest.pk == survey.pk,
        spec_is_current=spec is not None and spec.pk == survey.spec_id,
        certificate=certificate_line(found=found, inputs=survey.inputs, spec=survey.spec) if found else "",
    )


def answer_of(*, survey: Survey, spec: Spec | None = None, found: Assessment | None = None) -> Answer:
    """Return what a survey says against its spec, or a newer one, made again from what the record keeps.

    ``found`` is what it says, if that is at hand.
    """
    spec = spec or survey.spec
    return _answer(found or recomputed(survey, readings_in(survey=survey), spec), spec, survey.inputs)


def next_words(assessment: Assessment) -> str:
    """Return which reading helps most next, in a few words."""
    if not assessment.feet_checked:
        return "Check the feet: press down on each corner"
    direction = assessment.next_direction
    if not direction:
        return "More readings hardly help: use a finer level"
    used = {tilt.reading.spot for tilt in assessment.tilts if tilt.reading.direction == direction}
    fresh = next((spot for spot in NEXT_SPOTS[direction] if spot not in used), None)
    if fresh is None:
        return f"One more reading {direction}, the level laid down afresh"
    return f"One more reading {direction}, {presets.SPOTS[fresh].words}"


def _answer(assessment: Assessment | None, spec: Spec, inputs: dict[str, Any]) -> Answer:
    if assessment is None:
        return Answer(None, spec, "Take one reading along and one across", [])
    for direction, slope in (("along", assessment.pitch), ("across", assessment.roll)):
        if not slope.known:
            lacks = assessment.lacks[direction]
            return Answer(assessment, spec, LACKS_WORDS.get(lacks, "Take one reading {way}").format(way=direction), [])
    if contradicted := _contradicted(assessment, inputs):
        return Answer(assessment, spec, contradicted, _advice(assessment, inputs), unclear=True)
    advice = _advice(assessment, inputs)
    verdict = assessment.machine.verdict
    if verdict != "borderline":
        words = MAKE_A_PLAN if verdict == "out" else NOTHING
        return Answer(assessment, spec, words, [*advice, *_askew(assessment, inputs)])
    if not assessment.feet_checked:
        return Answer(assessment, spec, next_words(assessment), [*advice, *_askew(assessment, inputs)])
    remedy = remedy_of(found=assessment, inputs=inputs, spec=spec)
    if remedy is None:
        words = kind_words(found=assessment, inputs=inputs)
        return Answer(assessment, spec, next_words(assessment), [words, *advice])
    turn_first = remedy.does == "turn"
    return Answer(assessment, spec, decides_words(remedy), [daily_words(remedy), *advice], turn_first=turn_first)


def _contradicted(assessment: Assessment, inputs: dict[str, Any]) -> str:
    """What to read again where readings contradict each other; "" if they do not.

    Roll that differs front and rear is no contradiction but a twist, and only the feet tell whose.
    """
    if not assessment.disagree:
        return ""
    if odd := [str(number) for number, tilt in enumerate(assessment.tilts, 1) if tilt.is_odd]:
        return f"Take reading {odd[0]} again: it looks odd"
    if not (assessment.pitch.agree and _is_twisted(assessment, inputs)):
        return "Read again: the readings differ too much"
    return "" if assessment.feet_checked else next_words(assessment)


def _is_twisted(assessment: Assessment, inputs: dict[str, Any]) -> bool:
    """Whether roll was read at the front and at the rear and differs, but not by more than a board twists."""
    rolls = end_rolls(end_tilts(assessment, inputs))
    ends = ends_of(rolls) if rolls is not None else None
    return ends is not None and ends.differ and ends.apart_deg <= presets.MOST_TWIST_DEG


def _advice(assessment: Assessment, inputs: dict[str, Any]) -> list[str]:
    """What would make the answer surer, most useful first."""
    advice = _zero_advice(assessment, inputs.get("zero_lost", ""))
    if assessment.pitch_deg < 0:
        advice.insert(0, "By this the front is higher than the rear. If it is not, the wrong end was called high.")
    if assessment.disagree and assessment.pitch.agree and _is_twisted(assessment, inputs):
        return [*advice, "Roll differs front and rear: the roll here is their mean, and less sure."]
    if assessment.disagree:
        return [*advice, "The readings differ by more than they should, so the answer is less sure."]
    if not assessment.feet_checked:
        advice.append("How the feet stand is not known: the gap is not judged, and roll may change once all four bear.")
    return advice


def _askew(assessment: Assessment, inputs: dict[str, Any]) -> list[str]:
    """What to do where lying askew is most of why roll is unsure."""
    across = [tilt for tilt in assessment.tilts if tilt.reading.direction == "across"]
    worst = max(across, key=lambda tilt: tilt.u_deg, default=None)
    if assessment.disagree or worst is None or worst.alignment_deg**2 <= 0.4 * worst.u_deg**2:
        return []
    why = ASKEW_WORDS.get(means_of(inputs, "across")["kind"], ASKEW_WORDS["digital_level"])
    return [f"Roll is unsure because {why}."]


def _zero_advice(assessment: Assessment, lost_by: str) -> list[str]:
    """What to do about a level whose last zero check does not count any more; turned end for end, it needs none."""
    if not lost_by or all(tilt.turned for tilt in assessment.tilts):
        return []
    words = f"This level: {EVENT_WORDS[lost_by]} since its last zero check."
    return [f"{words} Check its zero first, or turn it end for end at each reading."]
