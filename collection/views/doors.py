"""The doors of every view: who may come in, by which method, and how a form becomes an action."""

import datetime
from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar
from uuid import UUID, uuid5

from django.contrib.auth.views import redirect_to_login
from django.core.paginator import Page, Paginator
from django.db import IntegrityError
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.cache import patch_vary_headers

from collection.access import must_own, must_write
from collection.actions.record import ActionRefused, Actor, Author, KeyUsed, StaleEdit
from collection.forms.base import EditForm, WriteForm
from collection.forms.merges import with_answers
from collection.models import Membership
from collection.queries.edits import lines_by_column

View = Callable[..., HttpResponse]
#: What a page says of itself when it sends what it keeps on the device: who typed it, and how long ago it was sent
#: off, in whole seconds by the device's own clock. An age, since a device's clock may be wrong.
KEEP, WAITED = "X-Keep", "X-Keep-Waited"
#: The answer's sign that the write is stored: only then the device lets go of it.
KEPT = "X-Kept"
T = TypeVar("T")
ROWS_PER_PAGE = 50
#: How often a view reads anew when others write the same row at the same moment.
_READ_AGAIN = 3


class MemberRequest(HttpRequest):
    """A request whose member is known."""

    member: Membership


def member_view(*methods: str, write: bool = False, owner: bool = False) -> Callable[[View], View]:
    """Let members in, by these methods: others go to the login or to founding an organization.

    ``write`` closes the view to site viewers, ``owner`` to everyone but owners (403).
    """

    def wrap(view: View) -> View:
        @wraps(view)
        def guarded(request: Any, *args: Any, **kwargs: Any) -> HttpResponse:
            if request.method not in methods and not (request.method == "HEAD" and "GET" in methods):
                return HttpResponseNotAllowed(methods)
            if not request.user.is_authenticated:
                return HttpResponse(status=401) if _by_script(request) else redirect_to_login(request.get_full_path())
            if is_kept(request) and (request.member is None or request.headers[KEEP] != request.member.signature):
                return HttpResponse(status=412)
            if request.member is None:
                return redirect("organization_new")
            if write:
                must_write(request.member)
            if owner:
                must_own(request.member)
            answer = _answered(view, request, *args, **kwargs)
            return _acknowledged(answer) if is_kept(request) and answer.has_header("Location") else answer

        return guarded

    return wrap


def _answered(view: View, request: Any, *args: Any, **kwargs: Any) -> HttpResponse:
    """Run the view; again if another write was stored between what it read and what it wrote."""
    for _ in range(_READ_AGAIN):
        try:
            return view(request, *args, **kwargs)
        except StaleEdit:
            continue
    return view(request, *args, **kwargs)


def pressed(back: str) -> Callable[[View], View]:
    """Take what a button sends. Who comes by its address alone, such as from signing in on the way, finds the button
    again on the page ``back``.
    """

    def wrap(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if request.method in ("GET", "HEAD"):
                return redirect(back)
            if request.method != "POST":
                return HttpResponseNotAllowed(("GET", "HEAD", "POST"))
            return view(request, *args, **kwargs)

        return guarded

    return wrap


def is_kept(request: HttpRequest) -> bool:
    """Return whether the device keeps what is sent here until it is acknowledged."""
    return request.method == "POST" and KEEP in request.headers


def _by_script(request: Any) -> bool:
    """Whether no person would see the login page that a redirect leads to."""
    return is_kept(request) or bool(getattr(request, "htmx", False))


def _acknowledged(answer: HttpResponse) -> HttpResponse:
    """Say in one answer, which nothing on the way could make by chance, that the write is stored and where."""
    return HttpResponse(status=201, headers={"Location": answer["Location"], KEPT: "yes"})


def _waited(request: HttpRequest) -> datetime.timedelta:
    """Return for how long a kept sending lay on the device."""
    text = request.headers.get(WAITED, "0") if is_kept(request) else "0"
    if not (text.isascii() and text.isdecimal() and len(text) <= 9):
        raise ActionRefused("This was sent without saying clearly how long ago it was typed. Send it again.")
    return datetime.timedelta(seconds=int(text))


def posted(request: HttpRequest) -> Any:
    """Return what was sent for a form to check, with the answers of a merge put in; None for a page only shown."""
    return with_answers(request.POST) if request.method == "POST" else None


def author(request: Any, form: WriteForm, why: str = "") -> Author:
    """Return who writes, now, with the form's key and the fingerprint of what was sent; ``why`` is the form's, if any.

    Raises ActionRefused if the page was opened for another organization, which the person left meanwhile.
    """
    return Author(**_asks(request, form, why))


def actor(request: Any, form: WriteForm, why: str = "") -> Actor:
    """Return the same of anyone, may they write or not."""
    return Actor(**_asks(request, form, why))


def _asks(request: Any, form: WriteForm, why: str) -> dict[str, Any]:
    if form.cleaned_data.get("opened_for") not in (None, request.member.organization_id):
        raise ActionRefused("This page was opened for another organization. Change back to it, or open the page again.")
    return {
        "member": request.member, "at": timezone.now(), "key": form.key, "sent": fingerprint(request, form),
        "why": why or form.cleaned_data.get("why", ""), "waited": _waited(request),
    }  # fmt: skip


def fingerprint(request: Any, form: WriteForm) -> UUID:
    """Return what is the same only for the same page sent again with the same words.

    Someone may go back, change a word and send again: that is another write, and must not be taken for the first.
    """
    sent = sorted((name, values) for name, values in request.POST.lists() if name != "csrfmiddlewaretoken")
    return uuid5(form.key, repr((request.path, sent)))


def acted[T](form: WriteForm, act: Callable[[], T]) -> T | None:
    """Run the action if the form is valid; None means that the page must be shown again, with what is wrong."""
    if not form.is_valid():
        return None
    try:
        return _twice(act)
    except StaleEdit as stale:
        return _merged(form, act, stale)
    except ActionRefused as refused:
        _tell(form, refused)
        return None


def _merged[T](form: WriteForm, act: Callable[[], T], stale: StaleEdit) -> T | None:
    """Ask about what someone else changed since the page was opened; if that is nothing on this page, run the action.

    Raises the refusal again if the form does not show the newest row yet.
    """
    if not isinstance(form, EditForm) or form.is_behind:
        raise stale
    if form.clash(lines_by_column(member=stale.member, row_id=stale.row.pk)):
        form.add_error(None, stale.reason)
        return None
    form.cleaned_data["version"] = form.version_now
    try:
        return act()
    except StaleEdit:
        raise
    except ActionRefused as refused:
        _tell(form, refused)
        return None


def _tell(form: WriteForm, refused: ActionRefused) -> None:
    """Say in the form why its action was refused."""
    form.add_error(refused.field if refused.field in form.fields else None, refused.reason)
    if isinstance(refused, KeyUsed):
        form.renew_key()


def _twice[T](act: Callable[[], T]) -> T:
    """Run the action; again if something stood against it, which may be a write of this very moment.

    If that was the same page pressed twice, the second run finds it done; else it says in words what is wrong.
    """
    try:
        return act()
    except (IntegrityError, ActionRefused):
        return act()


def page(request: HttpRequest, template: str, context: dict[str, Any], piece: str = "") -> HttpResponse:
    """Render a page, or its named piece when htmx asks; 422 with a form that was refused, 409 if it was stale."""
    form = context.get("form")
    if form is not None and "opened_for" in form.fields:
        form.fields["opened_for"].initial = request.member.organization_id  # type: ignore[attr-defined]
    refused = form is not None and form.is_bound and bool(form.errors)
    status = 200 if not refused else 409 if getattr(form, "stale", False) else 422
    name = f"{template}#{piece}" if piece and getattr(request, "htmx", False) else template
    response = render(request, name, context, status=status)
    if piece:
        patch_vary_headers(response, ["HX-Request"])
    return response


def paginated(request: HttpRequest, rows: QuerySet[Any] | list[Any], at_once: int = ROWS_PER_PAGE) -> Page[Any]:
    """Return the page of a list that the address names; an odd number means the nearest page."""
    return Paginator(rows, at_once).get_page(request.GET.get("page", "1")[:9])


def search_words(request: HttpRequest) -> str:
    """Return what was typed into the list's search field, without characters that no name holds."""
    return request.GET.get("q", "")[:80].replace("\x00", "").strip()
