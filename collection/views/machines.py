"""Pages about machines, their legs, their spec and where they stand."""

from typing import Any
from uuid import UUID

from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from collection import access
from collection.actions import machines as actions
from collection.forms import machines as forms
from collection.forms.plans import PlanForm
from collection.models import Machine, Membership
from collection.queries import machines as queries
from collection.queries import quick_checks as quick_queries
from collection.queries.reports import reports_of
from collection.queries.surveys_next import NextStep, step_after
from collection.queries.vials import vials_of
from collection.views.doors import acted, author, member_view, page, posted
from collection.views.lists import machines_context, uuid_of


@member_view("GET")
def machine_list(request: Any) -> HttpResponse:
    """All machines by title; the address may name a verdict, a site and words to search for."""
    return page(request, "machines/list.html", machines_context(request), piece="machine-rows")


@member_view("GET", "POST", write=True)
def machine_new(request: Any) -> HttpResponse:
    """Add a machine: on a free bay (the address may name one), or at a site by name, which may be new."""
    bay, bays = _bay_of_address(request), queries.free_bays(member=request.member)
    sites = queries.newest_sites(member=request.member)
    initial = {
        "bay": bay.pk if bay else None,
        "code": queries.unused_code(member=request.member),
        **({"site_name": sites[0][0]} if len(sites) == 1 and not bays else {}),
        **({"time_zone": sites[0][1]} if sites else {}),
    }
    form = forms.MachineNewForm(posted(request), initial=initial, bays=bays, sites=[name for name, _ in sites])

    def add() -> Machine:
        act = actions.create_machine_at_site if form.at_a_site else actions.create_machine
        return act(by=author(request, form), **form.values)

    machine = acted(form, add)
    if machine:
        return redirect("machine", pk=machine.pk)
    return page(request, "machines/form.html", {"form": form, "bay": bay})


@member_view("GET")
def machine_detail(request: Any, pk: UUID) -> HttpResponse:
    """One machine: how it stands now, its legs, its history and what to do next."""
    machine = access.machine_for(request.member, pk)
    seen = queries.machine_page(member=request.member, machine=machine, now=timezone.now())
    step = _step(request.member, seen)
    plan_form = PlanForm(initial=step.usual) if step else None
    context = {"machine": machine, "seen": seen, "step": step, "plan_form": plan_form}
    context["quick"] = quick_queries.quick_card(machine=machine, survey=seen.survey)
    vials = vials_of(machine=machine) if request.member.may_write else []  # instruments are closed to readers
    context |= {"reports": reports_of(machine=machine), "vials": vials}
    return page(request, "machines/detail.html", context)


@member_view("GET", "POST", write=True)
def machine_edit(request: Any, pk: UUID) -> HttpResponse:
    """Change what a machine is: its names, body and thread."""
    machine = access.machine_for(request.member, pk)
    form = forms.MachineEditForm(posted(request), initial=forms.typed_machine(machine))
    saved = acted(
        form,
        lambda: actions.change_machine(
            by=author(request, form), machine=machine, version=form.cleaned_data["version"], **form.values
        ),
    )
    if saved:
        return redirect("machine", pk=machine.pk)
    return page(request, "machines/form.html", {"form": form, "machine": machine})


@member_view("GET", "POST", write=True)
def machine_legs(request: Any, pk: UUID) -> HttpResponse:
    """Change the four legs; the address or the form says whether exposures are in mm or in turns."""
    machine = access.machine_for(request.member, pk)
    unit = request.POST.get("exposure_unit") or request.GET.get("unit")
    form = forms.LegsForm(
        posted(request),
        initial={"version": machine.version},
        legs=[forms.leg_numbers(leg) for leg in queries.legs_of(machine=machine)],
        lead_mm=machine.lead_mm,
        unit=unit if unit in forms.EXPOSURE_UNITS else "mm",
    )
    saved = acted(
        form,
        lambda: actions.change_legs(
            by=author(request, form), machine=machine, version=form.cleaned_data["version"], **form.values
        ),
    )
    if saved:
        return redirect("machine", pk=machine.pk)
    return page(request, "machines/legs_form.html", {"form": form, "machine": machine})


@member_view("GET", "POST", write=True)
def machine_spec(request: Any, pk: UUID) -> HttpResponse:
    """Say what a machine should read from now on, and why; every earlier spec stays in view."""
    machine = access.machine_for(request.member, pk)
    specs = list(queries.specs_of(machine=machine))
    form = forms.SpecForm(posted(request), initial={**forms.typed_spec(specs[0]), "version": len(specs)})
    saved = acted(
        form,
        lambda: actions.set_spec(
            by=author(request, form), machine=machine, version=form.cleaned_data["version"], **form.values
        ),
    )
    if saved:
        return redirect("machine", pk=machine.pk)
    return page(request, "machines/spec_form.html", {"form": form, "machine": machine, "specs": specs})


@member_view("GET", "POST", write=True)
def machine_move(request: Any, pk: UUID) -> HttpResponse:
    """Put a machine on another bay, or off the floor."""
    machine = access.machine_for(request.member, pk)
    if forms.stays(request.POST):
        return redirect("machine", pk=machine.pk)
    bay = machine.bay
    form = forms.MoveForm(
        posted(request),
        initial={"version": machine.version},
        bays=queries.free_bays(member=request.member),
        stands=(str(bay.pk), f"{bay.floor.site.name}, {bay.name}") if bay else (forms.OFF, "on no bay"),
    )
    moved = acted(
        form,
        lambda: actions.move_machine(
            by=author(request, form), machine=machine, version=form.cleaned_data["version"], **form.values
        ),
    )
    if moved:
        return redirect("machine", pk=machine.pk)
    context = {"form": form, "machine": machine, "standings": queries.standings_of(machine=machine)}
    return page(request, "machines/move_form.html", context)


def _step(member: Membership, seen: queries.MachinePage) -> NextStep | None:
    """What follows the newest survey; None before the first."""
    if seen.how is None:
        return None
    return step_after(member=member, page=seen.how, response=seen.response, plan=seen.unfinished_plan)


def _bay_of_address(request: Any) -> Any:
    """The bay that the address names, if any; one that is not ours is as absent as one that never was."""
    text = request.GET.get("bay", "")
    if not text:
        return None
    key = uuid_of(text)
    if key is None:
        raise Http404
    return access.bay_for(request.member, key)
