"""Pages about instruments, the checks of their zero, and what happens to them."""

from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import Resolver404, resolve
from django.utils import timezone

from collection import access
from collection.actions import instruments as actions
from collection.actions.instruments import Shown
from collection.forms import instruments as forms
from collection.models import Instrument
from collection.queries import instruments as queries
from collection.views.doors import acted, author, member_view, page, paginated, posted, search_words
from collection.views.vials import vial_detail, vial_edit

#: Checks and events of one instrument on one page.
ROWS_AT_ONCE = 25


@member_view("GET")
def instrument_list(request: Any) -> HttpResponse:
    """All instruments, each with how its zero stands."""
    search = search_words(request)
    rows = paginated(request, queries.instruments_of(member=request.member, search=search))
    rows.object_list = queries.rows_of(instruments=list(rows.object_list), now=timezone.now())
    return page(request, "instruments/list.html", {"rows": rows, "search": search}, piece="instrument-rows")


@member_view("GET", "POST", write=True)
def instrument_new(request: Any) -> HttpResponse:
    """Add an instrument of the kind that the address names; who came from a survey goes on with it."""
    survey_of = _machine_to_survey(request.GET.get("next", ""))
    kind = forms.kind_asked(sent=posted(request), address=request.GET)
    name = queries.unused_name(member=request.member, kind=kind)
    form = forms.InstrumentForm(posted(request), kind=kind, initial={"name": name})
    instrument = acted(form, lambda: actions.create_instrument(by=author(request, form), **form.values))
    if instrument and survey_of:
        return redirect("survey_new", pk=survey_of)
    if instrument:
        return redirect("instrument", pk=instrument.pk)
    context = {"form": form, "survey_of": survey_of, "kinds": forms.KINDS, "kind": kind}
    return page(request, "instruments/form.html", {**context, "of_a_machine": _asks_for_a_vial(request)})


@member_view("GET")
def instrument_detail(request: Any, pk: UUID) -> HttpResponse:
    """One instrument: what it is, how sure it is, its zero if it has one, what happened to it, how to care for it."""
    instrument = access.instrument_for(request.member, pk)
    if instrument.kind == "vial":
        return vial_detail(request, instrument)
    seen = queries.instrument_page(instrument=instrument, now=timezone.now())
    with timezone.override(ZoneInfo(seen.zone)):
        rows = paginated(request, seen.history, ROWS_AT_ONCE)
        return page(request, "instruments/detail.html", {"instrument": instrument, "seen": seen, "rows": rows})


@member_view("GET", "POST", write=True)
def instrument_edit(request: Any, pk: UUID) -> HttpResponse:
    """Change an instrument's name, what it is asked, and its kind while it was never used."""
    instrument = access.instrument_for(request.member, pk)
    if instrument.kind == "vial":
        return vial_edit(request, instrument)
    kind = forms.kind_asked(sent=posted(request), address=request.GET, otherwise=instrument.kind)
    used = queries.is_used(instrument=instrument)
    form = forms.InstrumentEditForm(
        posted(request), kind=instrument.kind if used else kind, fixed=used,
        initial=forms.typed_instrument(instrument, instrument.kind if used else kind),
        stored=forms.typed_instrument(instrument, instrument.kind),
    )  # fmt: skip
    saved = acted(
        form,
        lambda: actions.change_instrument(
            by=author(request, form), instrument=instrument, version=form.cleaned_data["version"], **form.values
        ),
    )
    if saved:
        return redirect("instrument", pk=instrument.pk)
    context = {"form": form, "instrument": instrument, "kinds": [] if used else forms.KINDS, "kind": kind}
    return page(request, "instruments/form.html", context)


@member_view("GET", "POST", write=True)
def instrument_zero(request: Any, pk: UUID) -> HttpResponse:
    """Check an instrument's zero: two readings of one line, turned end for end between. "Show" saves nothing."""
    instrument = access.instrument_for(request.member, pk)
    if not instrument.has_zero:
        raise Http404
    form = forms.ZeroForm(posted(request), initial={"unit": instrument.unit})
    if "show" in request.POST:
        return _zero_page(request, instrument, forms.ZeroForm(initial=forms.typed_again(request.POST)), form.so_far)
    checked = acted(
        form,
        lambda: actions.check_zero(
            by=author(request, form),
            instrument=instrument,
            unit=form.cleaned_data["unit"],
            first=_shown(form, "first"),
            turned=_shown(form, "turned"),
        ),
    )
    if checked:
        return redirect("instrument", pk=instrument.pk)
    return _zero_page(request, instrument, form)


@member_view("GET", "POST", write=True)
def instrument_event(request: Any, pk: UUID) -> HttpResponse:
    """Record that a level was dropped, got a new battery or was repaired, or that a vial was moved."""
    instrument = access.instrument_for(request.member, pk)
    if not instrument.has_zero and instrument.kind != "vial":
        raise Http404
    zone, place = queries.place_of(instrument=instrument)
    with timezone.override(ZoneInfo(zone)):
        form = forms.EventForm(posted(request), place=place, kind=instrument.kind)
        event = acted(
            form, lambda: actions.record_event(by=author(request, form), instrument=instrument, **form.values)
        )
        if event:
            return redirect("instrument", pk=instrument.pk)
        return page(request, "instruments/event_form.html", {"form": form, "instrument": instrument})


def _zero_page(
    request: Any, instrument: Instrument, form: forms.ZeroForm, typed: dict[str, Any] | None = None
) -> HttpResponse:
    """The three steps of a zero check, with what the readings typed so far would give."""
    row = queries.rows_of(instruments=[instrument], now=timezone.now())[0]
    so_far = queries.zero_so_far(row=row, **typed) if typed else None
    context = {"form": form, "instrument": instrument, "row": row, "so_far": so_far}
    context["is_too_large"] = so_far is not None and abs(so_far.found.zero_deg) > actions.MOST_ZERO_DEG
    return page(request, "instruments/zero_form.html", context, piece="zero-found")


def _machine_to_survey(text: str) -> UUID | None:
    """Return the machine whose survey page an address names, or None for every other address.

    Nobody is sent to the address itself: the way back is made anew from the machine, so it cannot lead elsewhere.
    """
    try:
        found = resolve(text)
    except Resolver404:
        return None
    return found.kwargs["pk"] if found.url_name == "survey_new" else None


def _shown(form: forms.ZeroForm, name: str) -> Shown:
    return Shown(form.text_of(name), form.cleaned_data[name], form.cleaned_data[f"{name}_high"])


def _asks_for_a_vial(request: Any) -> bool:
    """Whether someone looks for the vial of a machine here: it is added on the machine's own page."""
    return request.method == "GET" and request.GET.get("kind") == "vial"
