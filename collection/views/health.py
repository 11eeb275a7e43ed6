"""Pages about the server's health: one word for a monitor, and what an owner may know."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from collection.queries import health as queries
from collection.views.doors import member_view, page


@require_safe
@never_cache
def health(request: HttpRequest) -> HttpResponse:
    """Say to a monitor, which has no account, whether the server is ready: 200 or 503, and no more than that."""
    ready = queries.is_ready()
    word, status = ("ok\n", 200) if ready else ("not ready\n", 503)
    return HttpResponse(word, status=status, content_type="text/plain; charset=utf-8")


@member_view("GET", owner=True)
def organization_health(request: Any) -> HttpResponse:
    """What this book's server stands on, for an owner."""
    lines = queries.health_of(member=request.member, now=timezone.now())
    return page(request, "health/page.html", {"lines": lines, "to_look_at": sum(not line.fine for line in lines)})
