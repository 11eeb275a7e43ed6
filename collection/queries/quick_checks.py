"""Reads about quick checks: what one rests on, what can be learned now, the page of one, the newest of a machine."""

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import models
from django.db.models import F, Max, Q

from collection.access import visible
from collection.arrays.instruments import shown_deg
from collection.arrays.quick_checks import (
    Basis,
    LevelThen,
    Pair,
    QuickAnswer,
    Surveyed,
    inputs_of,
    judged,
    judged_again,
    pair_inputs,
)
from collection.models import (
    Instrument,
    InstrumentEvent,
    Machine,
    Membership,
    QuickCheck,
    Reading,
    Spec,
    Survey,
)
from collection.models.instruments import KINDS_WITH_ZERO
from collection.queries.instruments import zero_of
from collection.queries.plans import moved_since, turned_since
from collection.queries.surveys import AnswerBar, newest_survey

#: A survey and its reading on rail or glass are of one visit: at most this far apart.
PAIR_WITHIN = datetime.timedelta(days=1)
#: So many pairs of a place are looked at, the newest first.
_MOST_LOOKED_AT = 40
#: What a newer quick check asks for, by why a survey is due.
ASKS_FOR_A_SURVEY = {
    "out": "Survey it: a quick check finds it out of spec",
    "doubtful": "Survey it: a quick check cannot tell",
    "pairs_disagree": "Survey it: glass or rail sits otherwise than before",
    "glass_was_out": "Survey it: the glass was out too often for quick checks",
    "long_ago": "Survey it: too long ago for quick checks",
    "offset_unsure": "Survey it: how glass or rail sits is not sure enough",
}


@dataclass(frozen=True)
class QuickStart:
    """What a quick check of a machine can start from: pairs of each place, and a survey that one can be read beside.

    ``why_no_pair`` says why there is none of these now.
    """

    pairs: dict[str, int]
    survey: Survey | None
    why_no_pair: str

    @property
    def is_paired(self) -> bool:
        """Whether there is a pair of any place."""
        return any(self.pairs.values())


@dataclass(frozen=True)
class QuickSoFar:
    """What readings that nobody saved yet say: an answer, or what they would teach [degree, rail less playfield]."""

    answer: QuickAnswer | None
    spec: Spec
    lesson: tuple[float, float] | None = None

    @property
    def bars(self) -> list[AnswerBar]:
        """Pitch and roll against the spec."""
        return bars_of(self.answer, self.spec) if self.answer else []


@dataclass(frozen=True)
class PairUsed:
    """One pair as a check used it: its row, the difference in both directions [degree], removals and days since."""

    check: QuickCheck
    pitch_deg: float
    u_pitch_deg: float
    roll_deg: float
    u_roll_deg: float
    removals: int
    days: float


@dataclass(frozen=True)
class QuickPage:
    """One quick check with its working; of a pair what it taught."""

    check: QuickCheck
    answer: QuickAnswer | None
    pairs: list[PairUsed]
    lesson: tuple[float, float] | None

    @property
    def bars(self) -> list[AnswerBar]:
        """Pitch and roll against the spec."""
        return bars_of(self.answer, self.check.spec) if self.answer else []


def bars_of(answer: QuickAnswer, spec: Spec) -> list[AnswerBar]:
    """Return the bars of pitch and roll; the gap cannot be seen from rail or glass."""
    pitch, roll = answer.pitch, answer.roll
    return [
        AnswerBar("pitch", pitch.angle_deg, pitch.u_deg, spec.pitch_tolerance_deg, pitch.verdict, want=spec.pitch_deg),
        AnswerBar("roll", roll.angle_deg, roll.u_deg, spec.roll_tolerance_deg, roll.verdict),
    ]


def levels_to_use(*, member: Membership, machine: Machine) -> list[Instrument]:
    """Return the live levels that show a number: first the one that read this machine's rail or glass last."""
    rows = (
        visible(member, Instrument)
        .filter(archived_at__isnull=True, kind__in=KINDS_WITH_ZERO)
        .annotate(used=Max("surveys__measured_at", filter=Q(surveys__machine=machine)))
        .order_by(F("used").desc(nulls_last=True), "name", "id")
    )
    last = QuickCheck.objects.for_org(machine.organization_id).filter(machine=machine).order_by("-measured_at")
    first = last.values_list("instrument_id", flat=True).first()
    return sorted(rows.fetch_mode(models.FETCH_RAISE), key=lambda level: level.pk != first)


def start_of(*, machine: Machine, at: datetime.datetime) -> QuickStart:
    """Return what a quick check of a machine can start from at a time."""
    rows = QuickCheck.objects.for_org(machine.organization_id).filter(machine=machine, survey__isnull=False)
    counts = dict(rows.order_by().values_list("place").annotate(n=models.Count("pk")))
    survey = newest_survey(machine=machine)
    why = why_no_pair(machine=machine, survey=survey, at=at)
    return QuickStart({place: counts.get(place, 0) for place in ("glass", "rail")}, None if why else survey, why)


def why_no_pair(*, machine: Machine, survey: Survey | None, at: datetime.datetime) -> str:
    """Return why rail or glass, read at a time, cannot be paired with a survey, with the remedy; "" if they can."""
    if survey is None:
        return "Nobody has surveyed this machine yet. Survey it first, then read rail or glass."
    if abs(at - survey.measured_at) > PAIR_WITHIN:
        return "Its newest survey is more than a day old. Survey it, then read rail or glass at the same visit."
    if turned_since(survey=survey):
        return "Legs were turned since its newest survey. Survey it as it stands now, then read rail or glass."
    if moved_since(machine=machine, bay_id=survey.bay_id, at=survey.measured_at):
        return "The machine was moved since its newest survey. Survey it where it stands now, then read rail or glass."
    return ""


def basis_of(
    *, machine: Machine, instrument: Instrument, place: str, spec: Spec, at: datetime.datetime, alone: bool = False
) -> Basis:
    """Return what a quick check at a time rests on; ``alone`` leaves out pairs and surveys."""
    zero = zero_of(instrument=instrument, at=at)
    level = LevelThen(instrument.pk, _Events(machine.organization_id, {instrument.pk}).by(instrument.pk, at))
    if alone:
        return Basis(place, instrument, zero, level, at, spec)
    rows = QuickCheck.objects.for_org(machine.organization_id).filter(
        machine=machine, place=place, survey__isnull=False, measured_at__lte=at
    )
    checks = list(rows.order_by("-measured_at", "-created_at", "-id")[:_MOST_LOOKED_AT])
    last, stands = newest_survey(machine=machine), _standing(machine)
    beside = {check.pk: stands.get(check.survey_id, check.survey_id) for check in checks}
    surveyed = _surveyed(machine, {*beside.values()} | ({last.pk} if last else set()))
    events = _Events(machine.organization_id, {check.instrument_id for check in checks})
    times = Survey.objects.for_org(machine.organization_id).filter(machine=machine, corrections__isnull=True)
    out = list(times.filter(measured_at__lte=at).values_list("pk", "measured_at"))
    pairs: dict[UUID, Pair] = {}
    for check in checks:  # the newest reading beside a survey counts, so that a slip of the hand can be read again
        key = beside[check.pk]
        removals = sum(pk != key and when > check.measured_at for pk, when in out)
        then = LevelThen(check.instrument_id, events.by(check.instrument_id, check.measured_at))
        pairs.setdefault(key, Pair(check, then, surveyed[key], removals))
    changed = last is not None and (
        turned_since(survey=last) or moved_since(machine=machine, bay_id=last.bay_id, at=last.measured_at)
    )
    known = surveyed[last.pk] if last else None
    return Basis(place, instrument, zero, level, at, spec, list(pairs.values()), known, changed)


def so_far(
    *,
    machine: Machine,
    spec: Spec,
    now: datetime.datetime,
    instrument: Instrument,
    place: str,
    shown: tuple[tuple[float, str], tuple[float, str]],
    unit: str,
    pair_with: Survey | None,
) -> QuickSoFar:
    """Return what two readings, each a number and its high end, would say; nothing is stored."""
    basis = basis_of(
        machine=machine, instrument=instrument, place=place, spec=spec, at=now, alone=pair_with is not None
    )
    rail = rail_of(basis, shown, unit)
    if pair_with is not None:
        return QuickSoFar(None, spec, _lesson(rail, pair_with))
    return QuickSoFar(judged(place=place, rail_deg=rail, inputs=inputs_of(basis), spec=spec), spec)


def rail_of(basis: Basis, shown: tuple[tuple[float, str], tuple[float, str]], unit: str) -> tuple[float, float]:
    """Return the tilts along and across without the level's zero [degree]."""
    zero_deg = pair_inputs(basis)["instrument"]["zero_deg"]
    along, across = (shown_deg(number, unit=unit, high_end=end) - zero_deg for number, end in shown)
    return along, across


def quick_check_page(*, check: QuickCheck) -> QuickPage:
    """Return one quick check with its working, made again from what the record keeps."""
    keys = [UUID(key) for key in check.inputs.get("pairs", [])]
    rows = QuickCheck.objects.for_org(check.organization_id).filter(pk__in=keys).select_related("survey", "instrument")
    found = {row.pk: row for row in rows.fetch_mode(models.FETCH_RAISE)}
    ways = check.inputs.get("ways", {})
    pairs = [
        PairUsed(
            check=found[key],
            pitch_deg=ways["pitch"]["difference_deg"][place],
            u_pitch_deg=ways["pitch"]["u_deg"][place],
            roll_deg=ways["roll"]["difference_deg"][place],
            u_roll_deg=ways["roll"]["u_deg"][place],
            removals=ways["pitch"]["removals"][place],
            days=ways["pitch"]["days"][place],
        )
        for place, key in enumerate(keys)
    ]
    survey = check.survey
    if survey is not None:
        stands = _standing(check.machine).get(survey.pk)
        survey = Survey.objects.for_org(check.organization_id).get(pk=stands) if stands else survey
    rail = (check.pitch_rail_deg, check.roll_rail_deg)
    return QuickPage(check, judged_again(check), pairs, _lesson(rail, survey) if survey else None)


def newest_check(*, machine: Machine) -> QuickCheck | None:
    """Return the newest quick check of a machine that judged it; pairs judge nothing."""
    rows = QuickCheck.objects.for_org(machine.organization_id).filter(machine=machine, survey__isnull=True)
    return (
        rows.select_related("instrument", "spec", "created_by").order_by("-measured_at", "-created_at", "-id").first()
    )


def survey_since(*, check: QuickCheck) -> Survey | None:
    """Return the newest survey of its machine, if it was taken after a quick check."""
    survey = newest_survey(machine=check.machine)
    return survey if survey and survey.measured_at > check.measured_at else None


@dataclass(frozen=True)
class QuickCard:
    """The newest quick check of a machine, for its page."""

    check: QuickCheck
    is_newest: bool

    @property
    def bars(self) -> list[AnswerBar]:
        """Pitch and roll against the spec of its day, with the marks that they had."""
        answer = judged_again(self.check)
        return bars_of(answer, self.check.spec) if answer else []


def quick_card(*, machine: Machine, survey: Survey | None) -> QuickCard | None:
    """Return the newest quick check of a machine, and whether it is newer than its newest survey."""
    check = newest_check(machine=machine)
    return QuickCard(check, survey is None or check.measured_at > survey.measured_at) if check else None


def can_learn(*, survey: Survey, at: datetime.datetime) -> bool:
    """Return whether rail or glass can be read beside this newest survey of its machine now, and was not yet."""
    if why_no_pair(machine=survey.machine, survey=survey, at=at):
        return False
    return not QuickCheck.objects.for_org(survey.organization_id).filter(survey=survey).exists()


class _Events:
    """When something happened to levels: asked once."""

    def __init__(self, organization: UUID, instruments: set[UUID]) -> None:
        rows = InstrumentEvent.objects.for_org(organization).filter(instrument__in=instruments)
        self._rows = list(rows.values_list("instrument_id", "happened_at")) if instruments else []

    def by(self, instrument: UUID, at: datetime.datetime) -> int:
        """How often something had happened to a level by a time."""
        return sum(key == instrument and when <= at for key, when in self._rows)


def _lesson(rail: tuple[float, float], survey: Survey) -> tuple[float, float]:
    """What rail or glass reads more than the playfield, as the board read."""
    return rail[0] - survey.pitch_read_deg, rail[1] - survey.roll_read_deg


def _standing(machine: Machine) -> dict[UUID, UUID]:
    """Each corrected survey of a machine with the one that stands for it now."""
    rows = Survey.objects.for_org(machine.organization_id).filter(machine=machine, supersedes__isnull=False)
    later = dict(rows.values_list("supersedes_id", "pk"))
    found = {}
    for key in later:
        stands = later[key]
        while stands in later:
            stands = later[stands]
        found[key] = stands
    return found


def _surveyed(machine: Machine, keys: set[UUID]) -> dict[UUID, Surveyed]:
    """Surveys with their readings and levels."""
    organization = machine.organization_id
    surveys = list(Survey.objects.for_org(organization).filter(pk__in=keys).select_related("spec"))
    readings: dict[UUID, list[Reading]] = {key: [] for key in keys}
    for reading in Reading.objects.for_org(organization).filter(survey__in=keys).order_by("place"):
        readings[reading.survey_id].append(reading)
    used = {key for survey in surveys for key in (survey.instrument_id, survey.instrument_across_id) if key}
    events = _Events(organization, used)
    return {survey.pk: Surveyed(survey, readings[survey.pk], _levels(survey, events)) for survey in surveys}


def _levels(survey: Any, events: _Events) -> tuple[LevelThen, LevelThen]:
    keys: Sequence[UUID] = (survey.instrument_id, survey.instrument_across_id or survey.instrument_id)
    along, across = (LevelThen(key, events.by(key, survey.measured_at)) for key in keys)
    return along, across
