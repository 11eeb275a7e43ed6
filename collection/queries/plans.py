"""Reads about leg plans: what one can start from, its lifts with what was turned, its checks, its history."""

import datetime
from contextlib import suppress
from dataclasses import asdict, dataclass
from typing import Any
from uuid import UUID

from django.db import models
from django.db.models import QuerySet

from collection.access import visible
from collection.arrays.plans import PlanRows, usual_work
from collection.arrays.plans_answers import as_turned
from collection.arrays.response import Taught
from collection.models import Adjustment, FloorSlope, Leg, Machine, Membership, Plan, Spec, Standing, Survey
from collection.queries.floors import slopes_by_bay
from collection.queries.plans_page import LegOfLift, Lift, PlanPage
from collection.queries.response import ResponsePage, record_of, response_of
from collection.queries.response_words import answer_words
from leveling.errors import BadInput


@dataclass(frozen=True)
class PlanStart:
    """What a leg plan of a machine can start from now, and what stands against it ("" if nothing does)."""

    machine: Machine
    legs: list[Leg]
    spec: Spec
    survey: Survey | None
    slope: FloorSlope | None
    survey_problem: str
    floor_problem: str
    taught: Taught

    def problem_with(self, source: str) -> str:
        """Why a plan cannot start from this source, with the remedy; "" if it can."""
        return self.survey_problem if source == "survey" else self.floor_problem

    @property
    def best_source(self) -> str:
        """The survey if it describes the machine as it stands, else floor and legs, else ""."""
        return next((source for source in ("survey", "floor") if not self.problem_with(source)), "")

    @property
    def usual(self) -> dict[str, Any]:
        """How a plan of this machine is usually asked for."""
        return {"source": self.best_source or "survey", **asdict(usual_work(self.machine))}

    def rows_for(self, source: str) -> PlanRows:
        """The rows that the engine needs for this source."""
        survey = self.survey if source == "survey" else None
        slope = self.slope if source == "floor" else None
        return PlanRows(
            machine=self.machine, legs=self.legs, spec=self.spec, survey=survey, slope=slope, taught=self.taught
        )


def plan_page(*, member: Membership, plan: Plan) -> PlanPage:
    """Return everything that the page of one plan shows."""
    lifts = lifts_of(plan=plan)
    course: dict[str, Any] = plan.answer
    if any(leg.changed for lift in lifts for leg in lift.legs):
        # Someone may record turns that no machine stands after; the page then tells what the plan said.
        with suppress(BadInput):
            course = as_turned(inputs=plan.inputs, lifts=[lift.really_turned for lift in lifts])
    record = record_of(machine=plan.machine)
    bay = plan.machine.bay if plan.state == "signed_off" else None
    unread = bay is not None and not slopes_by_bay(bays=[bay])
    return PlanPage(
        plan=plan, lifts=lifts, course=course, slope_unread=unread,
        checks=[survey for survey in record.surveys if _is_check(plan, survey)],
        moved=plan.state == "open" and record.moved_since(plan.created_at, _bay_of(plan)),
        answers=answer_words(plan=plan),
        finding=response_of(record=record).of_plan(plan),
    )  # fmt: skip


def plan_start(*, member: Membership, machine: Machine, response: ResponsePage | None = None) -> PlanStart:
    """Return what a plan of this machine can start from, as it stands now; its response may be at hand."""
    found = response or response_of(record=record_of(machine=machine))
    legs = list(Leg.objects.for_org(member.organization_id).filter(machine=machine).order_by("place"))
    spec = Spec.objects.for_org(member.organization_id).filter(machine=machine).latest("created_at")
    survey = found.record.newest
    slope = slopes_by_bay(bays=[machine.bay]).get(machine.bay.pk) if machine.bay else None
    moved = survey is not None and found.record.moved_since(survey.measured_at, survey.bay_id)
    turned = survey is not None and found.record.turned_since(survey)
    return PlanStart(
        machine=machine,
        legs=legs,
        spec=spec,
        survey=survey,
        slope=slope,
        survey_problem=_survey_problem(survey, moved, turned),
        floor_problem=_floor_problem(machine, legs, slope),
        taught=found.taught,
    )


def standing_surveys(*, member: Membership, machine: Machine) -> QuerySet[Survey]:
    """Return the surveys of a machine that no correction replaced, newest first, with their instruments."""
    return (
        visible(member, Survey)
        .filter(machine=machine, corrections__isnull=True)
        .select_related("instrument", "created_by")
        .order_by("-measured_at", "-created_at")
        .fetch_mode(models.FETCH_RAISE)
    )


def plans_of(*, member: Membership, machine: Machine) -> QuerySet[Plan]:
    """Return the plans of a machine, newest first."""
    return (
        visible(member, Plan)
        .filter(machine=machine)
        .select_related("survey", "created_by", "signed_off_by")
        .order_by("-created_at", "-id")
        .fetch_mode(models.FETCH_RAISE)
    )


def lifts_of(*, plan: Plan) -> list[Lift]:
    """Return the lifts of a plan in order, each with its legs and what was turned."""
    done = _adjustments(plan)
    travels = {leg.name: leg for leg in Leg.objects.for_org(plan.organization_id).filter(machine=plan.machine_id)}
    recorded = {adjustment.lift for adjustment in done.values()}
    lifts = []
    for number, lift in enumerate(plan.answer["lifts"], start=1):
        legs = [
            LegOfLift(
                name=leg["name"],
                turns=leg["steps"] / plan.inputs["steps_per_turn"],
                height_mm=leg["height_mm"],
                then_mm=leg["exposure_after_mm"],
                done=done.get(leg["name"]),
                travel_mm=travels[leg["name"]].travel_mm,
                exposure_known=plan.inputs["exposures_mm"][place] is not None,
            )
            for place, leg in enumerate(plan.answer["legs"])
            if leg["name"] in lift["frees"]
        ]
        lifts.append(Lift(number=number, end=lift["end"], legs=legs, stage=_stage(plan, number, recorded)))
    return lifts


def legs_by_lift(*, plan: Plan) -> list[list[str]]:
    """Return the names of the legs that each lift frees, in order."""
    return [list(lift["frees"]) for lift in plan.answer["lifts"]]


def moved_since(*, machine: Machine, bay_id: UUID | None, at: datetime.datetime) -> bool:
    """Return whether a machine that stood on this bay then stands elsewhere now, or stood elsewhere meanwhile."""
    rows = Standing.objects.for_org(machine.organization_id).filter(machine=machine, created_at__gt=at)
    return any(stood != bay_id for stood in (machine.bay_id, *rows.values_list("bay_id", flat=True)))


def moved_from(*, plan: Plan) -> bool:
    """Return whether the machine was moved after a plan was made, which then tells turns for another place."""
    return moved_since(machine=plan.machine, bay_id=_bay_of(plan), at=plan.created_at)


def turned_since(*, survey: Survey) -> bool:
    """Return whether a leg was turned by a plan after a survey, which then no longer tells how the machine stands."""
    rows = Adjustment.objects.for_org(survey.organization_id).filter(plan__machine=survey.machine_id)
    return rows.filter(turned_at__gt=survey.measured_at).exclude(turns=0).exists()


def is_begun(*, plan: Plan) -> bool:
    """Return whether a lift of a plan is recorded."""
    return Adjustment.objects.for_org(plan.organization_id).filter(plan=plan).exists()


def turned_by_another(*, plan: Plan) -> bool:
    """Return whether legs were turned by another plan that was recorded after this one was made from a survey."""
    rows = Adjustment.objects.for_org(plan.organization_id).filter(plan__machine=plan.machine_id).exclude(plan=plan)
    return rows.filter(created_at__gt=plan.created_at).exclude(turns=0).exists()


def _bay_of(plan: Plan) -> UUID | None:
    """Where the machine stood when the plan was made."""
    return UUID(plan.inputs["bay"]) if plan.inputs["bay"] else None


def _is_check(plan: Plan, survey: Survey) -> bool:
    """Whether a survey checks a plan: called so, or taken after its last lift and before its sign-off."""
    if survey.plan_id or plan.turned_at is None or plan.state not in ("turned", "signed_off"):
        return survey.plan_id == plan.pk
    return plan.turned_at <= survey.measured_at <= (plan.signed_off_at or survey.measured_at)


def _adjustments(plan: Plan) -> dict[str, Adjustment]:
    rows = Adjustment.objects.for_org(plan.organization_id).filter(plan=plan).select_related("created_by")
    names = [leg["name"] for leg in plan.answer["legs"]]
    return {names[row.place]: row for row in rows}


def _stage(plan: Plan, number: int, recorded: set[int]) -> str:
    if number in recorded:
        return "done"
    if plan.state != "open":
        return "left"
    return "now" if number == len(recorded) + 1 else "later"


def _survey_problem(survey: Survey | None, moved: bool, turned: bool) -> str:
    if survey is None:
        return "Nobody has surveyed this machine yet. Survey it first."
    if moved:
        return "The machine was moved after its newest survey. Survey it where it stands now."
    if turned:
        return "Legs were turned after the newest survey. Survey it as it stands now."
    return ""


def _floor_problem(machine: Machine, legs: list[Leg], slope: FloorSlope | None) -> str:
    if machine.bay_id is None:
        return "The machine stands on no bay. Put it on one first."
    if slope is None:
        return "The floor's slope is not known here. Read it off once, for the bay or the floor."
    unknown = [leg.name for leg in legs if leg.exposure_mm is None]
    if unknown:
        verb = "is" if len(unknown) == 1 else "are"
        return f"Nobody has measured how far {_listed(unknown)} {verb} out. Write that down first."
    return ""


def _listed(names: list[str]) -> str:
    """Names as a person lists them: "FL, FR and RL"."""
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))
