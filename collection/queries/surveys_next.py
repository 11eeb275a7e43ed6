"""What follows a survey: one next step, so that its page offers what can really be done."""

from dataclasses import asdict, dataclass, field, replace
from typing import Any

from django.db import models

from collection.access import visible
from collection.arrays.plans import inputs_of, turns_summary, usual_work
from collection.arrays.plans_answers import answers_to
from collection.models import Machine, Membership, Plan, Survey
from collection.queries.plans import plan_start
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


def step_after(*, member: Membership, page: SurveyPage, response: ResponsePage) -> NextStep:
    """Return the one next step after a survey, as the machine stands now."""
    survey = page.survey
    if page.corrected_by:
        return NextStep("corrected")
    if not page.is_newest:
        return NextStep("older")
    machine = survey.machine
    verdict = survey.verdict if page.spec_is_current else machine.status.verdict
    if survey.plan and survey.plan.state == "turned" and verdict != "out":
        return NextStep("sign_off", SIGN_OFF, survey.plan)
    if plan := _plan_from(member, machine, survey):
        return _go_on(plan)
    if verdict == "in":
        return NextStep("done", NOTHING)
    if page.answer.unclear:
        return NextStep("again", page.answer.next_step)
    if verdict == "out":
        return _to_turn(member, machine, response)
    if page.answer.turn_first and page.spec_is_current:
        return _toward_the_middle(member, machine, page, response)
    return NextStep("again", page.answer.next_step)


def step_to_turn(*, member: Membership, machine: Machine, page: SurveyPage, response: ResponsePage) -> NextStep | None:
    """Return how a machine that is out of spec comes to its turns, by its newest survey; None if that comes later."""
    if machine.status.verdict != "out" or page.answer.unclear:
        return None
    plan = _plan_from(member, machine, page.survey)
    step = _go_on(plan) if plan else _to_turn(member, machine, response)
    return step if step.does in ("go_on", "turn", "nothing_fits") else None


def _go_on(plan: Plan) -> NextStep:
    return (
        NextStep("nothing_fits", NOTHING_FITS, plan)
        if plan.outcome == "nothing_fits"
        else NextStep("go_on", GO_ON, plan)
    )


def _plan_from(member: Membership, machine: Machine, survey: Survey) -> Plan | None:
    """The machine's unfinished leg plan, if it was made from this survey and turns something or says what stops it."""
    plan = machine.status.plan_id
    if plan is None:
        return None
    rows = visible(member, Plan).filter(pk=plan, survey=survey, outcome__in=("plan", "nothing_fits"))
    return rows.fetch_mode(models.FETCH_RAISE).first()


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
