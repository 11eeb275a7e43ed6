"""The first page: what needs someone, worst first."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render

from collection.queries import machines as queries
from collection.views.doors import member_view, page, paginated, search_words


def welcome(request: Any) -> HttpResponse:
    """What Levelbook is, for someone who is not signed in; members go on to Today."""
    if request.user.is_authenticated:
        return redirect("today")
    return render(request, "today/welcome.html")


@member_view("GET")
def today(request: Any) -> HttpResponse:
    """Machines by verdict: out of spec, borderline, never surveyed, in spec."""
    search = search_words(request)
    rows = paginated(request, queries.machines_by_need(member=request.member, search=search))
    context = {"rows": rows, "search": search, "counts": queries.verdict_counts(member=request.member)}
    return page(request, "today/list.html", context, piece="today-rows")
