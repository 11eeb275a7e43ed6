"""Pages about vials: add one to its machine, teach it by pairs, read it, print where its bubble belongs."""

from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from collection import access
from collection.actions import instruments as instrument_actions
from collection.actions import vials as actions
from collection.forms import vials as forms
from collection.models import Instrument
from collection.queries import instruments as instrument_queries
from collection.queries import vials as queries
from collection.views.doors import acted, author, member_view, page, posted

_TYPED = ("reach_lines", "deg_per_line", "middle_deg")


@member_view("GET", "POST", write=True)
def vial_new(request: Any, pk: UUID) -> HttpResponse:
    """Add a vial to the machine that it is built into."""
    machine = access.machine_for(request.member, pk)
    name = instrument_queries.free_name(member=request.member, name=f"Vial of {machine.title}")
    form = forms.VialForm(posted(request), initial={"name": name})
    vial = acted(form, lambda: actions.create_vial(by=author(request, form), machine=machine, **form.values))
    if vial:
        return redirect("instrument", pk=vial.pk)
    return page(request, "vials/form.html", {"form": form, "machine": machine})


def vial_detail(request: Any, vial: Instrument) -> HttpResponse:
    """One vial: what a line means, its pairs, and what the bubble says where it stands now. Called by instruments."""
    machine = access.machine_for(request.member, vial.machine_id)  # type: ignore[arg-type]
    seen = queries.vial_page(vial=vial)
    form = forms.BubbleForm(request.GET if "lines" in request.GET else None, direction=vial.direction)
    read = None
    if form.is_bound and form.is_valid() and seen.known.is_learned:
        read = seen.known.at(_signed(form.cleaned_data))
    context = {"vial": vial, "machine": machine, "seen": seen, "read_form": form, "read": read}
    with timezone.override(ZoneInfo(seen.zone)):
        return page(request, "vials/detail.html", {**context, "leave_out": forms.LeaveOutForm()}, piece="vial-read")


def vial_edit(request: Any, vial: Instrument) -> HttpResponse:
    """Change a vial's name, lines or what its manual says. Called by instruments."""
    machine = access.machine_for(request.member, vial.machine_id)  # type: ignore[arg-type]
    numbers = {name: getattr(vial, name) for name in _TYPED}
    typed = {name: "" if number is None else f"{number:.10g}" for name, number in numbers.items()}
    own = {"name": vial.name, "direction": vial.direction, "version": vial.version}
    form = forms.VialEditForm(posted(request), initial={**own, **typed})
    saved = acted(
        form,
        lambda: instrument_actions.change_instrument(
            by=author(request, form), instrument=vial, version=form.cleaned_data["version"], **form.values
        ),
    )
    if saved:
        return redirect("instrument", pk=vial.pk)
    return page(request, "vials/form.html", {"form": form, "machine": machine, "vial": vial})


@member_view("GET", "POST", write=True)
def vial_pair_new(request: Any, pk: UUID) -> HttpResponse:
    """Read bubble and level at the same moment; "Show" saves nothing."""
    vial = _vial(request, pk)
    levels = list(instrument_queries.levels_of(member=request.member))
    given: dict[str, Any] = {"levels": levels, "direction": vial.direction}
    form = forms.PairForm(posted(request), **given)
    if "show" in request.POST:
        known = form.so_far and queries.known_with(vial=vial, now=timezone.now(), **form.so_far)
        again = forms.PairForm(initial={name: request.POST.get(name) for name in forms.PairForm.base_fields}, **given)
        return _pair_page(request, vial, again, known)
    pair = acted(form, lambda: actions.record_pair(by=author(request, form), vial=vial, **form.values))
    if pair:
        return redirect("instrument", pk=vial.pk)
    return _pair_page(request, vial, form)


@member_view("GET", "POST", write=True)
def vial_pair_leave_out(request: Any, pk: UUID) -> HttpResponse:
    """Leave a wrong pair out, with the reason."""
    pair = access.vial_pair_for(request.member, pk)
    form = forms.LeaveOutForm(posted(request))
    left = acted(form, lambda: actions.leave_out(by=author(request, form, form.cleaned_data["why"]), pair=pair))
    if left:
        return redirect("instrument", pk=pair.vial_id)
    return page(request, "vials/leave_out.html", {"form": form, "pair": pair, "vial": pair.vial})


@member_view("GET")
def vial_strip(request: Any, pk: UUID) -> HttpResponse:
    """A strip to print and lay beside the vial: the bubble belongs here."""
    vial = _vial(request, pk)
    machine = access.machine_for(request.member, vial.machine_id)  # type: ignore[arg-type]
    asked = request.GET if "spacing_mm" in request.GET else None
    form = forms.StripForm(
        asked, reach_lines=vial.reach_lines, initial={"spacing_mm": f"{forms.usual_spacing_mm(vial.reach_lines):g}"}
    )
    context = {"vial": vial, "machine": machine, "strip": queries.strip_of(vial=vial), "spacing_mm": form.asked_mm}
    return page(request, "vials/strip.html", {**context, "form": form, "printed_at": timezone.now()})


def _vial(request: Any, pk: UUID) -> Instrument:
    vial = access.instrument_for(request.member, pk)
    if vial.kind != "vial":
        raise Http404
    return vial


def _pair_page(request: Any, vial: Instrument, form: forms.PairForm, known: Any = None) -> HttpResponse:
    context = {"form": form, "vial": vial, "known": known, "now": queries.known_of(vial=vial)}
    return page(request, "vials/pair_form.html", context, piece="vial-so-far")


def _signed(found: dict[str, Any]) -> float:
    """Where the bubble stands, positive = toward the rear or right."""
    return found["lines"] * (-1.0 if found["side"] in ("front", "left") else 1.0)
