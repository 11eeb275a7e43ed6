"""Pages about surveys: take one, see what it says, correct it."""

from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from collection import access
from collection.actions import surveys as actions
from collection.forms.plans import PlanForm
from collection.forms.surveys import CorrectionForm, SurveyForm, typed_again, typed_survey
from collection.models import Machine
from collection.queries import instruments as instrument_queries
from collection.queries import surveys as queries
from collection.queries.quick_checks import can_learn
from collection.queries.response import record_of, response_of
from collection.queries.surveys_next import step_after, unfinished_plan
from collection.queries.surveys_twist import ends_page
from collection.views.doors import acted, author, member_view, page, posted


@member_view("GET", "POST", write=True)
def survey_new(request: Any, pk: UUID) -> HttpResponse:
    """Take a survey of a machine. "Add a reading" and "Show the answer" save nothing."""
    machine = access.machine_for(request.member, pk)
    with timezone.override(_zone(machine)):
        choices = _choices(request, machine)
        form = SurveyForm(posted(request), **choices, initial=_first_values(request, **choices))
        if _asks_first(request):
            return _again(request, machine, form, choices)
        survey = acted(form, lambda: actions.record_survey(by=author(request, form), machine=machine, **form.values))
        if survey:
            return redirect("survey", pk=survey.pk)
        return page(request, "surveys/form.html", _shown(request, machine, form))


@member_view("POST", write=True)
def survey_answer(request: Any, pk: UUID) -> HttpResponse:
    """What the readings typed so far say: the piece that follows the typing. Nothing is saved."""
    machine = access.machine_for(request.member, pk)
    with timezone.override(_zone(machine)):
        choices = _choices(request, machine)
        return _again(request, machine, SurveyForm(request.POST, **choices), choices)


@member_view("GET")
def survey_detail(request: Any, pk: UUID) -> HttpResponse:
    """One survey: verdict, each reading as it was typed, the working, and what next."""
    survey = access.survey_for(request.member, pk)
    with timezone.override(_zone(survey.machine)):
        response = response_of(record=record_of(machine=survey.machine))
        seen = queries.survey_page(member=request.member, survey=survey, newest=response.record.newest)
        plan = unfinished_plan(member=request.member, machine=survey.machine)
        step = step_after(member=request.member, page=seen, response=response, plan=plan)
        context = {"survey": survey, "machine": survey.machine, "seen": seen, "step": step}
        context["finding"] = response.after(survey)
        context["can_learn"] = seen.is_newest and can_learn(survey=survey, at=timezone.now())
        context["ends"] = ends_page(page=seen)
        return page(request, "surveys/detail.html", {**context, "plan_form": PlanForm(initial=step.usual)})


@member_view("GET", "POST", write=True)
def survey_correct(request: Any, pk: UUID) -> HttpResponse:
    """Correct a survey by a new one, with the reason; of a corrected survey, the one that stands is corrected."""
    survey = access.survey_for(request.member, pk)
    standing = queries.correction_of(survey=survey)
    if standing and request.method != "POST":
        return redirect("survey_correct", pk=standing.pk)
    machine = survey.machine
    with timezone.override(_zone(machine)):
        instruments = queries.instruments_to_use(
            member=request.member, machine=machine, keep=(survey.instrument_id, survey.instrument_across_id)
        )
        choices: dict[str, Any] = {"instruments": instruments, "body": machine.body}
        typed = typed_survey(survey, queries.readings_in(survey=survey))
        form = CorrectionForm(posted(request), **choices, **typed)
        if _asks_first(request):
            return _again(request, machine, form, choices, survey=survey)
        made = acted(form, lambda: actions.correct_survey(by=_corrector(request, form), survey=survey, **form.values))
        if made:
            return redirect("survey", pk=made.pk)
        return page(request, "surveys/form.html", _shown(request, machine, form, survey=survey))


def _choices(request: Any, machine: Machine) -> dict[str, Any]:
    return {
        "instruments": queries.instruments_to_use(member=request.member, machine=machine),
        "plans": queries.plans_to_check(member=request.member, machine=machine),
        "body": machine.body,
    }


def _first_values(request: Any, *, instruments: Any, plans: Any, body: str) -> dict[str, Any]:
    """The level used last, and the leg plan to check: the one that the address names, or one that was turned."""
    asked = request.GET.get("plan", "")
    plan = next((plan for plan in plans if str(plan.pk) == asked or (not asked and plan.state == "turned")), None)
    return {"instrument": str(instruments[0].pk) if instruments else "", "plan": str(plan.pk) if plan else ""}


def _asks_first(request: Any) -> bool:
    return request.method == "POST" and ("add" in request.POST or "show" in request.POST)


def _again(request: Any, machine: Machine, form: Any, choices: dict[str, Any], **more: Any) -> HttpResponse:
    """The form as it was sent, unchecked, with one more row if asked, and the answer to what is clear so far."""
    one_more = "add" in request.POST
    fresh = type(form)(**choices, **typed_again(request.POST, one_more=one_more))
    context = {**_shown(request, machine, form, **more), "form": fresh}
    return page(request, "surveys/form.html", context, piece="survey-rows" if one_more else "survey-answer")


def _shown(request: Any, machine: Machine, form: Any, **more: Any) -> dict[str, Any]:
    spec = queries.current_spec(machine=machine)
    answer = None
    if form.is_bound and spec:
        answer = queries.live_answer(machine=machine, spec=spec, now=timezone.now(), **form.so_far)
    doubts = form.doubts if form.is_bound else []
    due = [] if request.htmx else instrument_queries.due_of(member=request.member, now=timezone.now(), most=3)
    found = {"machine": machine, "spec": spec, "form": form, "answer": answer, "doubts": doubts, "levels_due": due}
    return {**found, **more}


def _corrector(request: Any, form: CorrectionForm) -> Any:
    return author(request, form, why=form.cleaned_data["why"])


def _zone(machine: Machine) -> ZoneInfo:
    return ZoneInfo(machine.bay.floor.site.time_zone if machine.bay else "UTC")
