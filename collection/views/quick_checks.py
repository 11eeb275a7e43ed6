"""Pages about quick checks: take one with the glass on, or learn from one; see what it says."""

from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from collection import access
from collection.actions import quick_checks as actions
from collection.actions.instruments import Shown
from collection.forms.quick_checks import QuickCheckForm, typed_again
from collection.models import Machine, QuickCheck
from collection.queries import quick_checks as queries
from collection.queries.surveys import current_spec, newest_survey
from collection.views.doors import acted, author, member_view, page, posted


@member_view("GET", "POST", write=True)
def quick_check_new(request: Any, pk: UUID) -> HttpResponse:
    """Read glass or rail: the verdict follows the typing. "Show" saves nothing."""
    machine = access.machine_for(request.member, pk)
    start = queries.start_of(machine=machine, at=timezone.now())
    # what waited on a device may have been read beside a survey that is no longer fresh: the action decides
    survey = newest_survey(machine=machine) if request.method == "POST" else start.survey
    choices: dict[str, Any] = {
        "levels": queries.levels_to_use(member=request.member, machine=machine),
        "survey": survey,
    }
    form = QuickCheckForm(posted(request), **choices, initial=_first_values(request, start, choices["levels"]))
    with timezone.override(_zone(machine)):
        if "show" in request.POST:
            fresh = QuickCheckForm(**choices, initial=typed_again(request.POST))
            return _taking(request, machine, start, fresh, form.so_far)
        check = acted(form, lambda: _record(request, machine, form))
        if check:
            return redirect("quick_check", pk=check.pk)
        return _taking(request, machine, start, form)


@member_view("GET")
def quick_check_detail(request: Any, pk: UUID) -> HttpResponse:
    """One quick check: what it says, how it came about, and what next; or what a pair taught."""
    check = access.quick_check_for(request.member, pk)
    with timezone.override(_zone(check.machine)):
        seen = queries.quick_check_page(check=check)
        context = {"check": check, "machine": check.machine, "seen": seen, "since": queries.survey_since(check=check)}
        return page(request, "quick_checks/detail.html", context)


def _record(request: Any, machine: Machine, form: QuickCheckForm) -> QuickCheck:
    data = form.cleaned_data
    pitch, roll = (Shown(form.text_of(name), data[name], data[f"{name}_high"]) for name in ("pitch", "roll"))
    kept = {name: data[name] for name in ("instrument", "place", "unit", "pair_with")}
    return actions.record_quick_check(by=author(request, form), machine=machine, pitch=pitch, roll=roll, **kept)


def _first_values(request: Any, start: queries.QuickStart, levels: Any) -> dict[str, Any]:
    """Where pairs are; to learn, if the address says so or nothing was learned yet."""
    place = "rail" if start.pairs["rail"] > start.pairs["glass"] else "glass"
    learns = start.survey is not None and ("learn" in request.GET or not start.is_paired)
    pair_with = str(start.survey.pk) if learns and start.survey else ""
    return {"place": place, "pair_with": pair_with, "instrument": str(levels[0].pk) if levels else ""}


def _taking(
    request: Any,
    machine: Machine,
    start: queries.QuickStart,
    form: QuickCheckForm,
    typed: dict[str, Any] | None = None,
) -> HttpResponse:
    spec = current_spec(machine=machine)
    so_far = queries.so_far(machine=machine, spec=spec, now=timezone.now(), **typed) if typed and spec else None
    context = {"form": form, "machine": machine, "start": start, "spec": spec, "so_far": so_far}
    return page(request, "quick_checks/form.html", context | {"typed": typed}, piece="quick-says")


def _zone(machine: Machine) -> ZoneInfo:
    return ZoneInfo(machine.bay.floor.site.time_zone if machine.bay else "UTC")
