"""What happens around every view: who acts, and how a refusal is told."""

import datetime
import logging
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.auth import logout
from django.core.cache import cache
from django.core.exceptions import BadRequest, ValidationError
from django.db import OperationalError
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.middleware.security import SecurityMiddleware
from django.shortcuts import render
from django.utils import timezone
from django.utils.cache import add_never_cache_headers, patch_cache_control

from collection.access import member_of
from collection.actions.devices import see_device
from collection.actions.record import ActionRefused, StaleEdit
from collection.queries.devices import signed_in_since

#: A device's last visit is noted so often at most, so that pages which are only read hardly ever write.
DEVICE_SEEN_EVERY_S = 60 * 60
#: A session ends by itself so long after it began, however often it is used (ASVS 5.0, 7.3.2; how long is our choice).
LONGEST_SESSION = datetime.timedelta(days=90)
#: What every answer carries besides Django's own headers: nothing of ours is for another site's pages, and no page
#: asks for a camera, a microphone or the place where someone stands.
HEADERS = {
    "X-Frame-Options": settings.X_FRAME_OPTIONS,
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}


class HeadersMiddleware(SecurityMiddleware):
    """Gives every answer its headers, also those by which the middleware further in refuses or redirects."""

    def process_request(self, request: HttpRequest) -> None:
        """Leave redirects to Django's own, further in."""

    def process_response(self, request: HttpRequest, response: HttpResponse) -> HttpResponse:
        """Add what is not there yet."""
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        return super().process_response(request, response)


logger = logging.getLogger(__name__)

#: What SQLite and PostgreSQL say of a write that they undid for want of room, time or a sound disk. A failed sync is
#: not among them: after one, nobody knows.
_UNDONE_BY_SQLITE = ("SQLITE_FULL", "SQLITE_IOERR_WRITE", "SQLITE_IOERR_TRUNCATE", "SQLITE_BUSY", "SQLITE_READONLY")
_UNDONE_BY_POSTGRESQL = ("40", "53", "55")


class PlainTextMiddleware:
    """Reads what is sent as UTF-8 only, which our own pages send, and keeps what members see out of shared caches."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if (request.content_params or {}).get("charset", "utf-8").lower() != "utf-8":
            request.encoding = "utf-8"  # so that the page that tells it can be made
            raise BadRequest("Send text as UTF-8.")
        # No cookie of ours holds a NUL, and PostgreSQL takes none, not even to look for a session.
        request.COOKIES = {name: value for name, value in request.COOKIES.items() if "\x00" not in value}
        response = self.get_response(request)
        if not response.has_header("Cache-Control"):
            # Stored by the person's own browser at most, and asked for again each time.
            patch_cache_control(response, private=True, no_cache=True)
        return response


class MemberMiddleware:
    """Puts the acting membership on the request, read afresh each time so that removal acts at once."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        chosen = request.session.get("organization") if user.is_authenticated else None
        request.member = member_of(user, chosen) if user.is_authenticated else None  # type: ignore[attr-defined]
        return self.get_response(request)


def device_key(session_key: str | None) -> str:
    """Return where the cache keeps that a device was here lately."""
    return f"device-seen-{session_key}"


class DeviceMiddleware:
    """Notes that a signed-in device was here, once an hour; the account library would write on every page.

    One that has been signed in for too long is signed out then.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        key = request.session.session_key
        if request.user.is_authenticated and cache.add(device_key(key), True, DEVICE_SEEN_EVERY_S):
            since = signed_in_since(session_key=key or "")
            if since and timezone.now() - since > LONGEST_SESSION:
                logout(request)
            else:
                see_device(request=request)
        return self.get_response(request)


class AccountPagesMiddleware:
    """Holds the account library's pages to our rules: GET, HEAD and POST only, nothing stored by the browser, and
    422 for a form with errors."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        was_known = request.user.is_authenticated
        response = self.get_response(request)
        if _is_account_page(request):
            add_never_cache_headers(response)  # recovery codes and addresses of mail have no place on a disk
        if was_known and not request.user.is_authenticated:
            # Who uses this device next must not find the pages with Back. What waits to be sent stays: no "storage".
            response.headers["Clear-Site-Data"] = '"cache"'
        return response

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> HttpResponse | None:
        """Refuse other methods: the library takes PUT for POST."""
        if _is_account_page(request) and request.method not in ("GET", "HEAD", "POST"):
            return HttpResponseNotAllowed(["GET", "HEAD", "POST"])
        return None

    def process_template_response(self, request: HttpRequest, response: Any) -> Any:
        """Answer 422, not 200, when a form comes back with what is wrong."""
        shown = [(response.context_data or {}).get(name) for name in ("form", "webauthn_form")]
        if _is_account_page(request) and response.status_code == 200 and any(form and form.errors for form in shown):
            response.status_code = 422
        return response

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Tell in a page what the library raised where no form could show it, such as a secret nobody can read."""
        if not _is_account_page(request) or not isinstance(exception, ValidationError):
            return None
        return render(request, "422.html", {"reason": " ".join(exception.messages)}, status=422)


def _is_account_page(request: HttpRequest) -> bool:
    name = request.resolver_match.url_name if request.resolver_match else None
    return (name or "").startswith(("account_", "mfa_"))


class RefusalMiddleware:
    """Tells a refusal that no form could show: 409 for a stale edit, 503 for a full disk, else 422."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Answer an ActionRefused with its page, and so a write that the database undid."""
        if isinstance(exception, OperationalError) and _is_undone(exception.__cause__):
            logger.error("The database did not take a write: %s", exception, exc_info=exception)
            return render(request, "503.html", status=503)
        if not isinstance(exception, ActionRefused):
            return None
        status = 409 if isinstance(exception, StaleEdit) else 422
        return render(request, f"{status}.html", {"reason": exception.reason}, status=status)


def _is_undone(error: BaseException | None) -> bool:
    """Return whether a database's own error says that nothing of the write is left."""
    if (state := getattr(error, "sqlstate", None)) is not None:
        return str(state).startswith(_UNDONE_BY_POSTGRESQL)
    return getattr(error, "sqlite_errorname", None) in _UNDONE_BY_SQLITE
