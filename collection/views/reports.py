"""Pages about reports: the label of a machine, what strangers see of it, and closing what they told.

Strangers have no account. Whoever knows the secret in the address may report, and is shown nothing of the book: the
same page for every machine, for everyone.
"""

from collections.abc import Callable
from functools import wraps
from typing import Any
from uuid import UUID

from allauth.core import ratelimit
from django.http import Http404, HttpResponse, HttpResponseNotAllowed
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.views.decorators.csrf import csrf_exempt

from collection import access
from collection.actions import reports as actions
from collection.forms import reports as forms
from collection.presets import REPORTS_WITHIN
from collection.queries import reports as queries
from collection.views.doors import View, acted, author, member_view, page, posted


def stranger_view(*methods: str) -> Callable[[View], View]:
    """Let everyone in, by these methods, as nobody; neither browsers nor search engines keep the page or its address.

    No token guards the form: it would come with a cookie, and the right to report comes with the address alone.
    """

    def wrap(view: View) -> View:
        @csrf_exempt
        @wraps(view)
        def guarded(request: Any, *args: Any, **kwargs: Any) -> HttpResponse:
            request.member = None  # a member sees what a stranger sees
            if request.method in methods or (request.method == "HEAD" and "GET" in methods):
                answer = view(request, *args, **kwargs)
            else:
                answer = HttpResponseNotAllowed(methods)
            add_never_cache_headers(answer)
            answer["Referrer-Policy"] = "no-referrer"
            answer["X-Robots-Tag"] = "noindex, nofollow"
            return answer

        return guarded

    return wrap


@stranger_view("GET", "POST")
def report(request: Any, token: str) -> HttpResponse:
    """What is wrong with this machine? One press, and it is told."""
    try:
        link = access.report_link_for(token)
    except Http404:
        return _ended(request)
    form = forms.ReportForm(posted(request))
    if not form.is_valid():
        return page(request, "reports/form.html", {"form": form})
    if not ratelimit.consume(request, action="report"):
        return _too_often(request)
    try:
        actions.report_problem(link=link, key=form.key, at=timezone.now(), **form.values)
    except actions.LabelEnded:
        return _ended(request)
    except actions.ReportedOften:
        return _too_often(request)
    return redirect("report_thanks")


@stranger_view("GET")
def report_thanks(request: Any) -> HttpResponse:
    """Thank you; its address holds no secret."""
    return page(request, "reports/thanks.html", {})


@member_view("GET", "POST", write=True)
def machine_label(request: Any, pk: UUID) -> HttpResponse:
    """The label of a machine: make one, print it, replace it."""
    machine = access.machine_for(request.member, pk)
    link = queries.standing_link(machine=machine)
    form = forms.LabelForm(posted(request), initial={"replaces": link.pk if link else None})
    made = acted(form, lambda: actions.make_label(by=author(request, form), machine=machine, **form.values))
    if made:
        return redirect("machine_label", pk=machine.pk)
    known = link is not None and link.can_be_printed
    address = request.build_absolute_uri(reverse("report", args=[link.token])) if link and known else ""
    context = {"form": form, "machine": machine, "link": link, "address": address}
    answer = page(request, "reports/label.html", context)
    add_never_cache_headers(answer)  # it shows the secret
    return answer


@member_view("GET", "POST", write=True)
def report_close(request: Any, pk: UUID) -> HttpResponse:
    """Close a report that needs no survey, with the reason."""
    told = access.report_for(request.member, pk)
    form = forms.CloseForm(posted(request))
    closed = acted(form, lambda: actions.close_report(by=author(request, form, form.cleaned_data["why"]), report=told))
    if closed:
        return redirect("machine", pk=told.machine_id)
    return page(request, "reports/close_form.html", {"form": form, "report": told, "machine": told.machine})


def _ended(request: Any) -> HttpResponse:
    """The same answer to every address that leads nowhere."""
    answer = page(request, "reports/ended.html", {})
    answer.status_code = 404
    return answer


def _too_often(request: Any) -> HttpResponse:
    answer = page(request, "reports/too_often.html", {})
    answer.status_code = 429
    answer["Retry-After"] = str(int(REPORTS_WITHIN.total_seconds()))
    return answer
