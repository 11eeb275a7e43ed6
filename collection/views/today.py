"""The first page: what needs someone, worst first."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from collection.queries import machines as machine_queries
from collection.queries import today as queries
from collection.views.doors import member_view, page, paginated, search_words


@require_safe
def welcome(request: Any) -> HttpResponse:
    """What Levelbook is, for someone who is not signed in; members go on to Today."""
    if request.user.is_authenticated:
        return redirect("today")
    return render(request, "today/welcome.html")


@member_view("GET")
def today(request: Any) -> HttpResponse:
    """Machines by verdict: out of spec, borderline, never surveyed, in spec; for a newcomer the first steps."""
    search = search_words(request)
    rows = paginated(request, machine_queries.machines_by_need(member=request.member, search=search))
    rows.object_list = machine_queries.rows_of(machines=rows.object_list)
    counts = machine_queries.verdict_counts(member=request.member)
    context = {
        "rows": rows,
        "search": search,
        "counts": counts,
        "any_machines": any(counts.values()),
        "steps": _told(queries.first_steps(member=request.member)) if request.member.may_write else [],
    }
    return page(request, "today/list.html", context, piece="today-rows")


def _told(steps: list[queries.Step]) -> list[dict[str, str]]:
    """The steps as the page shows them, each with the address where it is done."""
    return [{"words": step.words, "what_for": step.what_for, "state": step.state, "url": _url(step)} for step in steps]


def _url(step: queries.Step) -> str:
    if step.noun == "machine":
        return f"{reverse('machine_new')}?bay={step.under}" if step.under else reverse("machine_new")
    if step.noun in ("site", "instrument"):
        return reverse(f"{step.noun}_new")
    return reverse(f"{step.noun}_new", args=[step.under]) if step.under else ""
