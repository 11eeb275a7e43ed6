"""What happens around every view: who acts, and how a refusal is told."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from collection.access import member_of
from collection.actions.record import ActionRefused, StaleEdit


class MemberMiddleware:
    """Puts the acting membership on the request, read afresh each time so that removal acts at once."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        chosen = request.session.get("organization") if user.is_authenticated else None
        request.member = member_of(user, chosen) if user.is_authenticated else None  # type: ignore[attr-defined]
        return self.get_response(request)


class RefusalMiddleware:
    """Tells a refusal that no form could show: 409 for a stale edit, else 422, with the reason and nothing saved."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Answer an ActionRefused with its page."""
        if not isinstance(exception, ActionRefused):
            return None
        status = 409 if isinstance(exception, StaleEdit) else 422
        return render(request, f"{status}.html", {"reason": exception.reason}, status=status)
