"""The first page: what needs someone, worst first."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from collection.queries import instruments as instrument_queries
from collection.queries import quick as quick_queries
from collection.queries import today as queries
from collection.queries.machines_list import by_due, by_need
from collection.views.doors import member_view, page
from collection.views.lists import machines_context

#: So many levels stand above the machines; the list of instruments shows all.
MOST_LEVELS = 3


@require_safe
def welcome(request: Any) -> HttpResponse:
    """What Levelbook is, for someone who is not signed in; members go on to Today."""
    if request.user.is_authenticated:
        return redirect("today")
    return render(
        request, "today/welcome.html", {"example": quick_queries.example(), "asked": quick_queries.EXAMPLE_QUERY}
    )


@member_view("GET")
def today(request: Any) -> HttpResponse:
    """Machines by verdict: out of spec, borderline, never surveyed, in spec; for a newcomer the first steps.

    Levels whose zero wants a check come before all machines, since every verdict hangs on them.
    """
    context = {
        **machines_context(request, order=by_need),
        "steps": _told(queries.first_steps(member=request.member)) if request.member.may_write else [],
        "levels_due": instrument_queries.due_of(member=request.member, now=timezone.now(), most=MOST_LEVELS + 1),
        "most_levels": MOST_LEVELS,
    }
    return page(request, "today/list.html", context, piece="today-rows")


@member_view("GET")
def due(request: Any) -> HttpResponse:
    """Machines by the day on which someone should come back."""
    return page(request, "today/due.html", machines_context(request, order=by_due), piece="due-rows")


def _told(steps: list[queries.Step]) -> list[dict[str, str]]:
    """The steps as the page shows them, each with the address where it is done."""
    return [{"words": step.words, "what_for": step.what_for, "state": step.state, "url": _url(step)} for step in steps]


def _url(step: queries.Step) -> str:
    if step.page == "machine_new":
        return f"{reverse(step.page)}?bay={step.row}" if step.row else reverse(step.page)
    if step.page == "instrument_new":
        back = reverse("survey_new", args=[step.row]) if step.row else ""
        return f"{reverse(step.page)}?next={back}" if back else reverse(step.page)
    return reverse(step.page, args=[step.row]) if step.row else ""
