"""What follows a survey: one next step, so that its page offers what can really be done."""

from dataclasses import asdict, dataclass, field, replace
from typing import Any
from uuid import UUID

from django.db import models

from collection.access import visible
from collection.arrays.plans import inputs_of, turns_summary, usual_work
from collection.arrays.plans_answers import answers_to
from collection.models import Machine, Membership, Plan, Survey
from collection.queries.plans import plan_start
from collection.queries.plans_page import WORK_THE_PLAN
from collection.queries.quick_checks import ASKS_FOR_A_SURVEY
from collection.queries.response import ResponsePage
from collection.queries.surveys import NOTHING, SurveyPage
from leveling.errors import BadInput

SIGN_OFF = "Sign the leg plan off"
GO_ON = "Go on with the leg plan"
STEP_WORDS = {2: "½", 4: "¼", 6: "⅙", 8: "⅛"}
NOTHING_FITS = "Nothing fits: no turns bring it into spec as it stands"


@dataclass(frozen=True)
class NextStep:
    """What to do after a survey.

    ``does`` is corrected (read the one that stands), older (go to the machine), sign_off, go_on (with ``plan``), done,
    again (survey it), turn (make a leg plan with ``usual``), nothing_fits (``plan`` if one says so already), legs
    (correct an exposure).
    """

    does: str
    words: str = ""
    plan: Plan | None = None
    usual: dict[str, Any] = field(default_factory=dict)

    @property
    def makes_a_plan(self) -> bool:
        """Whether the next step is to store a leg plan."""
        return self.does in ("turn", "nothing_fits") and self.plan is None

    @property
    def how(self) -> str:
        """How the work is taken to be done, in words, so that a wrong guess is seen."""
        ends = [end for end in ("front", "rear") if self.usual[f"{end}_reachable"]]
        lifted = f"{' and '.join(ends) or 'no end'} can be lifted"
        if self.usual["on_dollies"]:
            lifted = "it stands on dollies"
        return f"{lifted}, in steps of {STEP_WORDS[self.usual['steps_per_turn']]} turn"


def unfinished_plan(*, member: Membership, machine: Machine) -> Plan | None:
    """Return the machine's leg plan that is neither signed off nor set aside."""
    key = machine.status.plan_id
    return visible(member, Plan).filter(pk=key).fetch_mode(models.FETCH_RAISE).first() if key else None


def step_after(*, member: Membership, page: SurveyPage, response: ResponsePage, plan: Plan | None) -> NextStep:
    """Return the one next step after a survey, as the machine stands now: the one that lists tell, too.

    ``plan`` is the machine's unfinished one.
    """
    if page.corrected_by:
        return NextStep("corrected")
    if not page.is_newest:
        return NextStep("older")
    machine = response.machine
    if step := _before_all(machine, plan):
        return step
    verdict = page.survey.verdict if page.spec_is_current else machine.status.verdict
    if plan and (step := _with_plan(plan, machine, page.survey, verdict)):
        return step
    if page.answer.unclear:
        return NextStep("again", page.answer.next_step)
    if verdict == "in":
        return NextStep("done", NOTHING)
    if verdict == "out":
        return _to_turn(member, machine, response)
    if page.answer.turn_first and page.spec_is_current:
        return _toward_the_middle(member, machine, page, response)
    return NextStep("again", page.answer.next_step if page.spec_is_current else machine.status.next_step)


def is_read_after(*, plan: Plan, survey: Survey) -> bool:
    """Return whether a survey reads the machine after every lift of a plan, be it called its check or not."""
    return survey.plan_id == plan.pk or (plan.turned_at is not None and survey.measured_at >= plan.turned_at)


def holds_after(*, plan: Plan, survey: Survey, spec_id: UUID | None) -> bool:
    """Return whether an open plan still holds: for this spec, and from this newest survey or, later, from the floor."""
    newest = plan.survey_id == survey.pk if plan.survey_id else survey.created_at <= plan.created_at
    return newest and plan.spec_id == spec_id


def _before_all(machine: Machine, plan: Plan | None) -> NextStep | None:
    """What comes first where a survey no longer tells how its machine stands, or where it is in doubt: by a quick check
    or a report."""
    status = machine.status
    if plan and status.next_step == WORK_THE_PLAN:
        return NextStep("go_on", GO_ON, plan)
    if status.chance is None or status.reported_at or status.next_step in ASKS_FOR_A_SURVEY.values():
        return NextStep("again", status.next_step)
    return None


def _with_plan(plan: Plan, machine: Machine, survey: Survey, verdict: str) -> NextStep | None:
    """What follows while a leg plan is unfinished; None if it asks for nothing, or if another one is due."""
    if plan.state == "turned":
        signs = verdict != "out" and is_read_after(plan=plan, survey=survey)
        return NextStep("sign_off", SIGN_OFF, plan) if signs else None
    if not holds_after(plan=plan, survey=survey, spec_id=machine.status.spec_id):
        return None
    if plan.outcome == "nothing_fits" and verdict == "out":
        return NextStep("nothing_fits", NOTHING_FITS, plan)
    return NextStep("go_on", GO_ON, plan) if plan.outcome == "plan" else None


def _to_turn(member: Membership, machine: Machine, response: ResponsePage, *, closer: bool = False) -> NextStep:
    """What a leg plan would say, worked as usual; ``closer`` for one that turns though the machine may be in spec."""
    start = plan_start(member=member, machine=machine, response=response)
    if start.problem_with("survey"):
        return NextStep("again", start.problem_with("survey"))
    work = replace(usual_work(machine), even_if_in_spec=closer)
    usual = {"source": "survey", **asdict(work)}
    try:
        answer = answers_to([inputs_of(rows=start.rows_for("survey"), work=work)])[0]
    except BadInput:
        return NextStep("turn", usual=usual)  # the action says in words what is wrong
    if closer and answer["outcome"] == "in_spec":
        return NextStep("again")  # no step of a leg brings it nearer
    if answer["outcome"] == "exposure_beyond_travel":
        return NextStep("legs", turns_summary(answer).capitalize())
    if answer["outcome"] == "nothing_fits":
        return NextStep("nothing_fits", NOTHING_FITS, usual=usual)
    return NextStep("turn", turns_summary(answer), usual=usual)


def _toward_the_middle(member: Membership, machine: Machine, page: SurveyPage, response: ResponsePage) -> NextStep:
    """The turns of a machine too near a limit to be judged, where legs can bring it nearer to the middle."""
    step = _to_turn(member, machine, response, closer=True)
    if step.does == "turn":
        turns = f"{step.words[:1].upper()}{step.words[1:]}"
        return replace(step, words=". ".join(filter(None, (page.answer.next_step, turns))))
    if step.does == "nothing_fits" or not step.words:
        return NextStep("again", page.answer.next_step)
    return step  # what stands before any turning: another place, other legs, an exposure
