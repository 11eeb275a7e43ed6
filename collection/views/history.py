"""Pages of the history: all that was done in an organization, and what was done to one thing."""

from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode
from uuid import UUID
from zoneinfo import ZoneInfo

from django.http import HttpResponse
from django.utils import timezone

from collection import access
from collection.forms.history import HistoryForm
from collection.queries import history as queries
from collection.queries.history import Asked
from collection.queries.history_words import KINDS
from collection.views.doors import member_view, page, paginated

#: Things with a history of their own, by the word that their address has.
_DOORS: dict[str, Callable[[Any, UUID], Any]] = {
    "organization": access.organization_for,
    "site": access.site_for,
    "floor": access.floor_for,
    "bay": access.bay_for,
    "machine": access.machine_for,
    "instrument": access.instrument_for,
    "survey": access.survey_for,
    "plan": access.plan_for,
    "quick_check": access.quick_check_for,
}
NOUNS = tuple(_DOORS)


@member_view("GET", owner=True)
def history(request: Any) -> HttpResponse:
    """All that was done in the organization, newest first, for its owners; the address may narrow it."""
    people = queries.people_of(member=request.member)
    asked = {name: request.GET[name] for name in HistoryForm.base_fields if request.GET.get(name)}
    form = HistoryForm(asked, people=people, kinds=[(kind, words) for kind, (words, _) in KINDS.items()])
    zone = queries.zone_of(member=request.member)
    with timezone.override(ZoneInfo(zone)):
        context: dict[str, Any] = {"form": form, "zone": zone, "keep": urlencode(asked), "is_filtered": bool(asked)}
        if form.is_valid():
            found = queries.lines_of(member=request.member, asked=Asked(**form.cleaned_data), zone=zone)
            context["rows"] = _told(request, found)
        return page(request, "history/list.html", context)


@member_view("GET", write=True)
def thing(request: Any, noun: str, pk: UUID) -> HttpResponse:
    """What was done to one thing and what belongs to it, newest first."""
    row = _DOORS[noun](request.member, pk)
    zone = queries.zone_about(member=request.member, noun=noun, row=row)
    with timezone.override(ZoneInfo(zone)):
        rows = _told(request, queries.lines_about(member=request.member, noun=noun, row=row))
        heading = queries.heading_of(member=request.member, noun=noun, row=row)
        return page(request, "history/detail.html", {**heading, "rows": rows, "zone": zone})


def _told(request: Any, found: Any) -> Any:
    """One page of lines, in words."""
    rows = paginated(request, found)
    rows.object_list = queries.told(member=request.member, lines=list(rows.object_list))
    return rows
