"""Reads about response: what happened to a machine, the steps in its record, and what they taught.

survey . turns . turns . survey ............ survey
before   of one plan     after: the first one after the last turn, the machine not moved between
"""

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import models
from django.db.models import QuerySet

from collection.arrays.response import Four, StepRows, Taught, taught_by
from collection.models import Adjustment, Machine, Plan, Reading, Standing, Survey
from collection.queries.response_words import AnswerWords, FindingPage

#: The newest of so many steps are reckoned with: more hardly make a machine better known.
MOST_STEPS = 6
#: A survey longer after the one before tells more of drift than of turns. Common practice, no source.
SOON = datetime.timedelta(days=14)


@dataclass(frozen=True)
class Work:
    """What was turned by one plan, from the first leg to the last."""

    plan: Plan
    rows: list[Adjustment]

    @property
    def begins(self) -> datetime.datetime:
        """When the first leg was turned."""
        return min(row.turned_at for row in self.rows)

    @property
    def ends(self) -> datetime.datetime:
        """When the last one was, so far."""
        return max(row.turned_at for row in self.rows)

    @property
    def turns(self) -> Four:
        """Turns by leg order, out positive."""
        at = [float(sum(row.turns for row in self.rows if row.place == place)) for place in range(4)]
        return at[0], at[1], at[2], at[3]


@dataclass(frozen=True)
class Record:
    """What happened to one machine: its surveys that stand and what each plan turned, oldest first; where it stood."""

    machine: Machine
    surveys: list[Survey]
    works: list[Work]
    standings: list[tuple[datetime.datetime, UUID | None]]

    @property
    def newest(self) -> Survey | None:
        """The newest survey."""
        return self.surveys[-1] if self.surveys else None

    def moved_since(self, at: datetime.datetime, bay_id: UUID | None) -> bool:
        """Whether the machine, on this bay then, stands elsewhere now, or stood elsewhere meanwhile."""
        later = [bay for moved_at, bay in self.standings if moved_at > at]
        return any(bay != bay_id for bay in (self.machine.bay_id, *later))

    def turned_since(self, survey: Survey) -> bool:
        """Whether a leg was turned after a survey."""
        return any(work.ends > survey.measured_at for work in self.works)


@dataclass(frozen=True)
class ResponsePage:
    """How one machine answers to turns, and what was made of each step."""

    record: Record
    taught: Taught
    findings: list[FindingPage]

    @property
    def machine(self) -> Machine:
        """The machine."""
        return self.record.machine

    @property
    def words(self) -> AnswerWords | None:
        """How it answers, in words; None while nothing was learned."""
        return AnswerWords(self.taught.numbers, self.machine.lead_mm) if self.taught.count else None

    @property
    def newest(self) -> FindingPage | None:
        """What was made of the newest step."""
        return self.findings[-1] if self.findings else None

    def after(self, survey: Survey) -> FindingPage | None:
        """What was made of the turns before this survey, if it is the one that they were checked by."""
        return next((found for found in self.findings if found.survey_id == survey.pk), None)

    def of_plan(self, plan: Plan) -> FindingPage | None:
        """What was made of the turns of this plan, if a survey followed them."""
        return next((found for found in self.findings if found.plan_id == plan.pk), None)


def record_of(
    *, machine: Machine, surveys: Sequence[Survey] | None = None, standings: Sequence[Standing] | None = None
) -> Record:
    """Return what happened to a machine. Surveys (with their spec) and standings may be at hand, newest first."""
    org = machine.organization_id
    if surveys is None:
        surveys = list(surveys_of(machine=machine))
    stood = (
        list(Standing.objects.for_org(org).filter(machine=machine).values_list("created_at", "bay_id"))
        if standings is None
        else [(standing.created_at, standing.bay_id) for standing in standings]
    )
    return Record(machine=machine, surveys=[*reversed(surveys)], works=_works_of(machine), standings=stood)


def surveys_of(*, machine: Machine) -> QuerySet[Survey]:
    """Return the surveys of a machine that stand, newest first, each with its spec, instrument and who took it."""
    rows = Survey.objects.for_org(machine.organization_id).filter(machine=machine, corrections__isnull=True)
    return (
        rows.select_related("spec", "instrument", "created_by")
        .order_by("-measured_at", "-created_at", "-id")
        .fetch_mode(models.FETCH_RAISE)
    )


def response_of(*, record: Record) -> ResponsePage:
    """Return how a machine answers to turns, worked out from its surveys and what was turned between them."""
    found = _steps_of(record)[-MOST_STEPS:]
    # No survey has the machine's key: a page asks the database as often where there is no step.
    surveys = {record.machine.pk, *(survey.pk for step in found for survey in (step.rows.before, step.rows.after))}
    readings = Reading.objects.for_org(record.machine.organization_id).filter(survey__in=surveys).order_by("place")
    taught = taught_by(machine=record.machine, steps=[step.rows for step in found], readings=list(readings))
    findings = [
        FindingPage(lesson, step.plan_id, step.rows.after.pk, step.rows.after.stance != "unknown")
        for step, lesson in zip(found, taught.lessons, strict=True)
    ]
    return ResponsePage(record, taught, findings)


@dataclass(frozen=True)
class _Found:
    plan_id: UUID
    rows: StepRows


def _steps_of(record: Record) -> list[_Found]:
    """The steps of a machine's record, oldest first, but those under another lead than today's."""
    works, surveys = record.works, record.surveys
    ends: list[datetime.datetime | None] = [None, *(work.ends for work in works)]
    begins: list[datetime.datetime | None] = [*(work.begins for work in works[1:]), None]
    found = []
    for work, last, following in zip(works, ends, begins, strict=False):
        before = _newest(surveys, since=last, until=work.begins)
        after = _first(surveys, since=work.ends, until=following)
        same_lead = work.plan.inputs["lead_mm"] == record.machine.lead_mm
        if before and after and same_lead and _is_one_step(before, after, record.standings):
            found.append(_Found(work.plan.pk, StepRows(before, work.turns, after, work.plan.inputs["steps_per_turn"])))
    return found


def _works_of(machine: Machine) -> list[Work]:
    rows = (
        Adjustment.objects.for_org(machine.organization_id)
        .filter(plan__machine=machine)
        .exclude(turns=0)
        .select_related("plan")
        .defer("plan__answer")
    )
    by_plan: dict[UUID, list[Adjustment]] = {}
    for row in rows:
        by_plan.setdefault(row.plan_id, []).append(row)
    works = [Work(rows[0].plan, rows) for rows in by_plan.values()]
    return sorted(works, key=lambda work: work.begins)


def _newest(surveys: Sequence[Survey], *, since: datetime.datetime | None, until: datetime.datetime) -> Survey | None:
    """The newest survey before the first turn, and after the turns before that."""
    return next(
        (
            each
            for each in reversed(surveys)
            if each.measured_at < until and (since is None or each.measured_at >= since)
        ),
        None,
    )


def _first(surveys: Sequence[Survey], *, since: datetime.datetime, until: datetime.datetime | None) -> Survey | None:
    """The first survey after the last turn, and before the next turns."""
    return next(
        (each for each in surveys if each.measured_at >= since and (until is None or each.measured_at < until)), None
    )


def _is_one_step(before: Survey, after: Survey, standings: Sequence[tuple[datetime.datetime, Any]]) -> bool:
    """Whether the machine stood in one place from one survey to the other, and not for too long."""
    places = [bay for at, bay in standings if before.measured_at < at <= after.measured_at]
    stayed = all(bay == before.bay_id for bay in (after.bay_id, *places))
    return stayed and after.measured_at - before.measured_at <= SOON
