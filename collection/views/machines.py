"""Pages about machines, their legs, their spec and where they stand."""

from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.http import Http404, HttpResponse
from django.shortcuts import redirect

from collection import access
from collection.actions import machines as actions
from collection.forms import machines as forms
from collection.queries import machines as queries
from collection.views.doors import acted, author, member_view, page, paginated, posted, search_words


@member_view("GET")
def machine_list(request: Any) -> HttpResponse:
    """All machines by title; the address may name a verdict, a site and words to search for."""
    search = search_words(request)
    verdict, site = forms.known_verdict(request.GET.get("verdict", "")), _uuid(request.GET.get("site", ""))
    machines = queries.machines_of(member=request.member, search=search, verdict=verdict, site=site)
    rows = paginated(request, machines)
    rows.object_list = queries.rows_of(machines=rows.object_list)
    keep = urlencode({name: value for name, value in (("verdict", verdict), ("site", site)) if value})
    context = {
        "rows": rows,
        "filled": bool(rows.paginator.count or search or keep),
        "search": search,
        "keep": keep,
        "verdict": verdict,
        "verdicts": forms.VERDICTS,
        "site": site,
        "sites": queries.site_choices(member=request.member),
    }
    return page(request, "machines/list.html", context, piece="machine-rows")


@member_view("GET", "POST", write=True)
def machine_new(request: Any) -> HttpResponse:
    """Add a machine, on a bay if the address names one."""
    bay = _bay_of_address(request)
    initial = {"bay": bay.pk if bay else None, "code": queries.unused_code(member=request.member)}
    form = forms.MachineNewForm(posted(request), initial=initial, bays=queries.free_bays(member=request.member))
    machine = acted(form, lambda: actions.create_machine(by=author(request, form), **form.values))
    if machine:
        return redirect("machine", pk=machine.pk)
    return page(request, "machines/form.html", {"form": form, "bay": bay})


@member_view("GET")
def machine_detail(request: Any, pk: UUID) -> HttpResponse:
    """One machine: how it stands now, its legs, its history and what to do next."""
    machine = access.machine_for(request.member, pk)
    context = {"machine": machine, "seen": queries.machine_page(member=request.member, machine=machine)}
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
    form = forms.SpecForm(posted(request), initial=forms.typed_spec(specs[0]))
    saved = acted(form, lambda: actions.set_spec(by=author(request, form), machine=machine, **form.values))
    if saved:
        return redirect("machine", pk=machine.pk)
    return page(request, "machines/spec_form.html", {"form": form, "machine": machine, "specs": specs})


@member_view("GET", "POST", write=True)
def machine_move(request: Any, pk: UUID) -> HttpResponse:
    """Put a machine on another bay, or off the floor."""
    machine = access.machine_for(request.member, pk)
    form = forms.MoveForm(
        posted(request),
        initial={"version": machine.version},
        bays=queries.free_bays(member=request.member),
        on_a_bay=machine.bay_id is not None,
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


def _bay_of_address(request: Any) -> Any:
    """The bay that the address names, if any; one that is not ours is as absent as one that never was."""
    text = request.GET.get("bay", "")
    if not text:
        return None
    key = _uuid(text)
    if key is None:
        raise Http404
    return access.bay_for(request.member, key)


def _uuid(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None
