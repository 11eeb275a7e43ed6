"""Pages about instruments and the checks of their zero."""

from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import Resolver404, resolve

from collection import access
from collection.actions import instruments as actions
from collection.actions.instruments import Shown
from collection.forms import instruments as forms
from collection.models import Instrument
from collection.queries import instruments as queries
from collection.views.doors import acted, author, member_view, page, paginated, posted, search_words


@member_view("GET")
def instrument_list(request: Any) -> HttpResponse:
    """All instruments, each with its newest zero."""
    search = search_words(request)
    rows = paginated(request, queries.instruments_of(member=request.member, search=search))
    return page(request, "instruments/list.html", {"rows": rows, "search": search}, piece="instrument-rows")


@member_view("GET", "POST", write=True)
def instrument_new(request: Any) -> HttpResponse:
    """Add an instrument; for someone who came from a survey, the way leads back there."""
    survey_of = _machine_to_survey(request.GET.get("next", ""))
    form = forms.InstrumentForm(posted(request), initial={"name": queries.unused_name(member=request.member)})
    instrument = acted(form, lambda: actions.create_instrument(by=author(request, form), **form.values))
    if instrument and survey_of:
        return redirect("survey_new", pk=survey_of)
    if instrument:
        return redirect("instrument", pk=instrument.pk)
    return page(request, "instruments/form.html", {"form": form, "survey_of": survey_of})


@member_view("GET")
def instrument_detail(request: Any, pk: UUID) -> HttpResponse:
    """One instrument: what it is, its zero now, and every check of it."""
    instrument = access.instrument_for(request.member, pk)
    rows = paginated(request, queries.zero_checks_of(instrument=instrument))
    context = {"instrument": instrument, "rows": rows, "newest": rows[0] if rows.number == 1 and rows else None}
    return page(request, "instruments/detail.html", context)


@member_view("GET", "POST", write=True)
def instrument_edit(request: Any, pk: UUID) -> HttpResponse:
    """Change an instrument's name, unit or how sure it is."""
    instrument = access.instrument_for(request.member, pk)
    form = forms.InstrumentEditForm(posted(request), initial=_typed(instrument))
    saved = acted(
        form,
        lambda: actions.change_instrument(
            by=author(request, form), instrument=instrument, version=form.cleaned_data["version"], **form.values
        ),
    )
    if saved:
        return redirect("instrument", pk=instrument.pk)
    return page(request, "instruments/form.html", {"form": form, "instrument": instrument})


@member_view("GET", "POST", write=True)
def instrument_zero(request: Any, pk: UUID) -> HttpResponse:
    """Check an instrument's zero: two readings of one line, turned end for end between them."""
    instrument = access.instrument_for(request.member, pk)
    form = forms.ZeroForm(posted(request), initial={"unit": instrument.unit})
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
    return page(request, "instruments/zero_form.html", {"form": form, "instrument": instrument})


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


def _typed(instrument: Instrument) -> dict[str, Any]:
    """Return what a person would have typed to describe the instrument."""
    numbers = {name: f"{getattr(instrument, name):.10g}" for name in ("base_mm", "alignment_deg", "repeat_deg")}
    return {
        "name": instrument.name,
        "kind": instrument.kind,
        "unit": instrument.unit,
        "version": instrument.version,
        "resolution": forms.as_typed(instrument.resolution_deg, instrument.unit),
        "accuracy": forms.as_typed(instrument.accuracy_deg, instrument.unit),
        **numbers,
    }
