"""What every list of machines shares: what was asked for, the counts that filter, the rows of one page."""

from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone

from collection.models import Machine, Site
from collection.queries import machines_list as queries
from collection.queries.machines_list import Asked
from collection.views.doors import paginated, search_words

#: Few enough that a slow phone paints them at once, and that a thumb reaches the end.
ROWS_AT_ONCE = 25


def machine_rows(
    request: Any, *, order: Callable[..., QuerySet[Machine]] = queries.listed, at: Site | None = None
) -> dict[str, Any]:
    """Return what a list of machines shows; ``at`` keeps it to one site, whatever the address says."""
    asked = _asked(request, at)
    rows = paginated(request, order(member=request.member, asked=asked), ROWS_AT_ONCE)
    rows.object_list = queries.rows_of(machines=rows.object_list, now=asked.now, at_site=at is not None)
    counts = queries.verdict_counts(member=request.member, asked=asked)
    chosen = None if at else asked.site
    return {
        "rows": rows,
        "counts": counts,
        "tally": [_tally(word, count, asked, chosen) for word, count in counts.items()],
        "search": asked.search,
        "verdict": asked.verdict,
        "site": chosen,
        "site_name": queries.site_name(member=request.member, site=chosen) if chosen else "",
        "keep": _query(verdict=asked.verdict, site=chosen),
        "is_filtered": bool(asked.search or asked.verdict or chosen),
    }


def machines_context(request: Any, *, order: Callable[..., QuerySet[Machine]] = queries.listed) -> dict[str, Any]:
    """Return what a page that lists all machines shows: the rows, the sites to choose from, whether there is any."""
    machines = machine_rows(request, order=order)
    return {
        "machines": machines,
        "sites": queries.site_choices(member=request.member),
        "any_machines": machines["is_filtered"] or any(machines["counts"].values()),
    }


def uuid_of(text: str) -> UUID | None:
    """Return the key that an address names, or None where it is none."""
    try:
        return UUID(text)
    except ValueError:
        return None


def _asked(request: Any, at: Site | None) -> Asked:
    verdict = request.GET.get("verdict", "")
    return Asked(
        now=timezone.now(),
        search=search_words(request),
        verdict=verdict if verdict in queries.NEED else "",
        site=at.pk if at else uuid_of(request.GET.get("site", "")),
    )


def _tally(word: str, count: int, asked: Asked, site: UUID | None) -> dict[str, Any]:
    """One count with its address: it narrows the list to its verdict, or widens it again if it did."""
    is_current = word == asked.verdict
    query = _query(q=asked.search, verdict="" if is_current else word, site=site)
    return {"verdict": word, "count": count, "url": f"?{query}", "is_current": is_current}


def _query(**parts: Any) -> str:
    return urlencode({name: value for name, value in parts.items() if value})
