"""The status row of a machine: what lists show, remade from the record by every action that changes it."""

from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from collection.arrays.forecasts import due_of
from collection.arrays.plans import PlanRows, plans_of_many, turns_summary
from collection.arrays.surveys_results import Assessment
from collection.models import Leg, Machine, MachineStatus, Plan, Spec, Survey
from collection.presets import DUE_CHANCE
from collection.queries.forecasts import MOST_SURVEYS, watched_of
from collection.queries.plans import is_begun, moved_since, turned_since
from collection.queries.plans_page import WORK_THE_PLAN
from collection.queries.quick_checks import ASKS_FOR_A_SURVEY, newest_check
from collection.queries.reports import open_reports
from collection.queries.response import record_of, response_of, surveys_of
from collection.queries.surveys import MAKE_A_PLAN, Answer, answer_of, current_spec, newest_survey
from collection.queries.surveys_next import SIGN_OFF, holds_after, is_read_after

SURVEY_IT = "Survey it"
SURVEY_AGAIN = "Moved since the last survey: survey it again"
OFF_THE_FLOOR = "Off the floor: survey it where it stands next"
READ_AGAIN = "Legs turned: read again"
CORRECT_THE_LEGS = "A leveler is out beyond its travel: correct the legs"
NOTHING_FITS_NOW = "No turns bring it into spec: see what would help"
NOTHING_FITS = "No turns bring it into spec: its leg plan says what would help"
LONGEST_STEP = 200
NOT_DUE: dict[str, Any] = {"due_at": None, "due_quantity": ""}


@dataclass(frozen=True)
class Fresh:
    """A survey that was stored just now, with what it says against its spec."""

    survey: Survey
    found: Assessment


@transaction.atomic
def refresh_status(*, machine: Machine, fresh: Fresh | None = None) -> None:
    """Remake the status of a machine from its newest survey that stands, its spec and its unfinished plan.

    A survey says nothing about another place, nor about legs turned since: once moved or turned, the machine is
    borderline until it is read again. What a ``fresh`` survey says is not worked out a second time. A report changes no
    verdict; it asks for a survey.
    """
    survey, spec = newest_survey(machine=machine), current_spec(machine=machine)
    plan = _unfinished_plan(machine)
    moved = survey is not None and moved_since(machine=machine, bay_id=survey.bay_id, at=survey.measured_at)
    status = _verdict(machine, survey, spec, plan, moved=moved, fresh=fresh)
    reports = list(open_reports(machine=machine))
    if reports and status["chance"] is not None and status["next_step"] != WORK_THE_PLAN:
        status["next_step"] = SURVEY_IT  # where there is no chance, or work under way, a survey is due anyway
    MachineStatus.objects.for_org(machine.organization_id).filter(machine=machine).update(
        survey=survey,
        spec=spec,
        plan=plan,
        moved_since_survey=moved,
        reported=", ".join(report.problem_words for report in reports),
        reported_at=reports[0].created_at if reports else None,
        **status,
    )


def _verdict(
    machine: Machine,
    survey: Survey | None,
    spec: Spec | None,
    plan: Plan | None,
    *,
    moved: bool,
    fresh: Fresh | None,
) -> dict[str, Any]:
    """Verdict, chance and next step. ``moved`` says whether the machine was moved after the survey."""
    if survey is None or spec is None:
        return {"verdict": "never", "chance": None, "next_step": SURVEY_IT, **NOT_DUE}
    if moved:
        step = SURVEY_AGAIN if machine.bay_id else OFF_THE_FLOOR
        return {"verdict": "borderline", "chance": None, "next_step": step, **NOT_DUE}
    if turned_since(survey=survey):
        step = WORK_THE_PLAN if plan and _is_in_work(plan, survey, spec) else READ_AGAIN
        return {"verdict": "borderline", "chance": None, "next_step": step, **NOT_DUE}
    at_hand = fresh.found if fresh and fresh.survey.pk == survey.pk and survey.spec_id == spec.pk else None
    answer = answer_of(survey=survey, spec=spec, found=at_hand)
    judged = answer.verdict_found
    said = {"verdict": judged.verdict, "chance": judged.chance, **_due(machine, spec, answer)}
    asked = _asked_by_quick_check(machine, survey, judged.verdict)
    if asked:
        return {**said, "next_step": asked}
    step = _plan_step(plan, survey, spec, answer) if plan else ""
    step = (step or answer.next_step)[:LONGEST_STEP]
    if step == MAKE_A_PLAN:
        step = _turns_step(machine, survey, spec)
    return {**said, "next_step": step}


def _due(machine: Machine, spec: Spec, answer: Answer) -> dict[str, Any]:
    """The beginning of the day at its site from which on the machine is due, and what is most likely out."""
    rows = Machine.objects.for_org(machine.organization_id).select_related("bay__floor__site")
    placed = rows.get(pk=machine.pk)  # whoever calls may hold it without its bay
    surveys = list(surveys_of(machine=placed)[:MOST_SURVEYS])
    watched = watched_of(record=record_of(machine=placed, surveys=surveys), spec=spec, found=answer.assessment)
    if watched is None or placed.bay is None:
        return NOT_DUE
    due = due_of(watched=watched, most=DUE_CHANCE)
    zone = ZoneInfo(placed.bay.floor.site.time_zone)
    day = due.at.astimezone(zone).replace(hour=0, minute=0, second=0, microsecond=0)
    return {"due_at": day, "due_quantity": due.quantity}


def _asked_by_quick_check(machine: Machine, survey: Survey, verdict: str) -> str:
    """The survey that a newer quick check asks for; "" if none, or if it only repeats that the machine is out.

    The verdict stays the survey's, which is surer and sees the gap.
    """
    check = newest_check(machine=machine)
    if check is None or check.measured_at <= survey.measured_at or check.due == verdict == "out":
        return ""
    return ASKS_FOR_A_SURVEY.get(check.due, "")


def _plan_step(plan: Plan, survey: Survey, spec: Spec, answer: Answer) -> str:
    """The next step of an unfinished plan; "" if another one is due, or if it turns nothing."""
    verdict = answer.verdict_found.verdict
    if plan.state == "turned" and is_read_after(plan=plan, survey=survey):
        return "" if verdict == "out" else SIGN_OFF
    if plan.state == "turned":
        return READ_AGAIN
    if survey.plan_id == plan.pk and plan.spec_id == spec.pk:
        return WORK_THE_PLAN if _goes_on(plan, survey, answer) else ""
    if plan.outcome == "in_spec" or not holds_after(plan=plan, survey=survey, spec_id=spec.pk):
        return ""
    if plan.outcome == "nothing_fits":
        return NOTHING_FITS if verdict == "out" else ""
    return turns_summary(plan.answer)[:LONGEST_STEP]


def _is_in_work(plan: Plan, survey: Survey, spec: Spec) -> bool:
    """Whether lifts are left of a plan that was begun, and neither a newer survey nor another spec asks for another."""
    checked = survey.plan_id == plan.pk and plan.spec_id == spec.pk
    holds = checked or holds_after(plan=plan, survey=survey, spec_id=spec.pk)
    return plan.state == "open" and holds and is_begun(plan=plan)


def _goes_on(plan: Plan, survey: Survey, answer: Answer) -> bool:
    """Whether a check between two lifts leaves their plan as it is: the verdict is due after the last one.

    It does not where the machine is in spec already, where its readings contradict each other, or where it seems that
    other turns were made than told.
    """
    if answer.verdict_found.verdict == "in" or answer.unclear:
        return False
    finding = response_of(record=record_of(machine=plan.machine)).after(survey)
    return finding is None or not finding.is_fault


def _turns_step(machine: Machine, survey: Survey, spec: Spec) -> str:
    """The turns that a leg plan would ask for, in one line, so that a list tells what the work is."""
    legs = list(Leg.objects.for_org(machine.organization_id).filter(machine=machine).order_by("place"))
    taught = response_of(record=record_of(machine=machine)).taught
    answer = plans_of_many(rows=[PlanRows(machine=machine, legs=legs, spec=spec, survey=survey, taught=taught)])[0]
    steps = {"nothing_fits": NOTHING_FITS_NOW, "exposure_beyond_travel": CORRECT_THE_LEGS, "in_spec": MAKE_A_PLAN}
    return steps.get(answer["outcome"], turns_summary(answer)[:LONGEST_STEP])


def _unfinished_plan(machine: Machine) -> Plan | None:
    rows = Plan.objects.for_org(machine.organization_id).filter(machine=machine, state__in=("open", "turned"))
    return rows.order_by("-created_at", "-id").first()
