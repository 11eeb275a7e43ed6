"""Pages about leg plans: make one, work it lift by lift, print it, sign it off or set it aside."""

from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from collection import access
from collection.actions import plans as actions
from collection.actions.plans import Turned
from collection.forms.base import WriteForm
from collection.forms.plans import TASKS, LiftForm, PlanForm, SetAsideForm, SignOffForm
from collection.models import Plan
from collection.queries import plans as queries
from collection.queries import plans_work as work_queries
from collection.views.doors import acted, author, member_view, page, posted


@member_view("GET", "POST", write=True)
def plan_new(request: Any, pk: UUID) -> HttpResponse:
    """Make a leg plan of a machine, from its newest survey or from floor and legs alone."""
    machine = access.machine_for(request.member, pk)
    start = queries.plan_start(member=request.member, machine=machine)
    form = PlanForm(posted(request), initial={**start.usual, **_asked(request)})
    plan = acted(form, lambda: actions.make_plan(by=author(request, form), machine=machine, **form.values))
    if plan:
        return redirect("plan", pk=plan.pk)
    return page(request, "plans/form.html", {"form": form, "machine": machine, "start": start})


@member_view("GET")
def plan_detail(request: Any, pk: UUID) -> HttpResponse:
    """One leg plan: a card for each lift, what the playfield should read, the work afterwards."""
    return _plan_page(request, access.plan_for(request.member, pk))


@member_view("GET", "POST", write=True)
def plan_turned(request: Any, pk: UUID) -> HttpResponse:
    """Record what was turned in one lift."""
    plan = access.plan_for(request.member, pk)
    if request.method != "POST":
        return redirect("plan", pk=plan.pk)  # this address stays in the bar after a refusal
    form = LiftForm(request.POST, lifts=queries.legs_by_lift(plan=plan), auto_id="lift_%s")

    def record() -> Plan:
        lift, turned = form.values["lift"], form.values["turned"]
        turns_by_leg = None if turned is None else {leg: Turned(*done) for leg, done in turned.items()}
        return actions.record_turns(by=author(request, form), plan=plan, lift=lift, turns_by_leg=turns_by_leg)

    if done := acted(form, record):
        by_hand, next_lift = request.POST.get("then") == "work", form.cleaned_data["lift"] + 1
        anchor = "after" if done.state == "turned" else f"raise-{next_lift}" if by_hand else f"lift-{next_lift}"
        return redirect(f"{reverse('plan_work' if by_hand else 'plan', args=[plan.pk])}#{anchor}")
    return _plan_page(request, plan, lift_form=form)


@member_view("GET")
def plan_work(request: Any, pk: UUID) -> HttpResponse:
    """A leg plan for the hands: step by step in large figures, read aloud by the browser."""
    plan = access.plan_for(request.member, pk)
    work, lifts = work_queries.work_page(member=request.member, plan=plan), queries.legs_by_lift(plan=plan)
    steps = [(step, _record_form(step, lifts)) for step in work.steps]
    forms = {"sign_form": SignOffForm(initial={"tasks": work.seen.tasks_known}, auto_id="sign_%s")}
    return page(request, "plans/work.html", {"plan": plan, "work": work, "seen": work.seen, "steps": steps, **forms})


@member_view("GET")
def plan_sheet(request: Any, pk: UUID) -> HttpResponse:
    """A leg plan on one sheet of paper, which leads back to its page by a QR code."""
    plan = access.plan_for(request.member, pk)
    seen = queries.plan_page(member=request.member, plan=plan)
    problem = work_queries.problem_with(member=request.member, seen=seen)
    address = request.build_absolute_uri(reverse("plan", args=[plan.pk]))
    context = {"plan": plan, "seen": seen, "problem": problem, "address": address, "tasks": TASKS}
    return page(request, "plans/sheet.html", context)


@member_view("GET", "POST", write=True)
def plan_sign_off(request: Any, pk: UUID) -> HttpResponse:
    """Sign a plan off, each item of the work afterwards ticked or a remark given."""
    plan = access.plan_for(request.member, pk)
    if request.method != "POST":
        return redirect("plan", pk=plan.pk)  # this address stays in the bar after a refusal
    form = SignOffForm(request.POST, auto_id="sign_%s")
    if acted(form, lambda: actions.sign_off(by=author(request, form), plan=plan, **form.values)):
        return redirect("plan", pk=plan.pk)
    return _plan_page(request, plan, sign_form=form)


@member_view("GET", "POST", write=True)
def plan_set_aside(request: Any, pk: UUID) -> HttpResponse:
    """Set an unfinished plan aside, with a reason."""
    plan = access.plan_for(request.member, pk)
    if request.method != "POST":
        return redirect("plan", pk=plan.pk)  # this address stays in the bar after a refusal
    form = SetAsideForm(request.POST, auto_id="aside_%s")
    if acted(form, lambda: actions.set_aside(by=author(request, form, why=form.cleaned_data["why"]), plan=plan)):
        return redirect("plan", pk=plan.pk)
    return _plan_page(request, plan, aside_form=form)


def _record_form(step: work_queries.Step, lifts: list[list[str]]) -> LiftForm | None:
    """The form of a step that records a lift."""
    if step.lift is None or step.kind != "record":
        return None
    return LiftForm(initial={"lift": step.lift.number}, lifts=lifts)


def _plan_page(request: Any, plan: Plan, **refused: WriteForm) -> HttpResponse:
    """Show a plan with its forms; the one that was refused keeps what was typed."""
    seen = queries.plan_page(member=request.member, plan=plan)
    form = next(iter(refused.values()), None)
    if isinstance(form, LiftForm) and form.number != seen.typed_now["lift"]:
        refused = {}  # Its lift is no longer the one to work on: the error stays, the fields would name wrong feet.
    problem = work_queries.problem_with(member=request.member, seen=seen)
    forms = {
        "lift_form": LiftForm(initial=seen.typed_now, lifts=queries.legs_by_lift(plan=plan), auto_id="lift_%s"),
        "sign_form": SignOffForm(initial={"tasks": seen.tasks_known}, auto_id="sign_%s"),
        "aside_form": SetAsideForm(auto_id="aside_%s"),
        **refused,
    }
    return page(request, "plans/detail.html", {"plan": plan, "seen": seen, "problem": problem, "form": form, **forms})


def _asked(request: Any) -> dict[str, Any]:
    """What the address asks for: a source, or a plan even if the machine is in spec."""
    source = request.GET.get("source", "")
    asked: dict[str, Any] = {"source": source} if source in ("survey", "floor") else {}
    return {**asked, "even_if_in_spec": request.GET.get("even_if_in_spec") == "on"}
