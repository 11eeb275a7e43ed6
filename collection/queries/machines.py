"""Reads about machines."""

from uuid import UUID

from django.db import models
from django.db.models import Case, Count, IntegerField, Q, QuerySet, Value, When

from collection.access import visible
from collection.models import Machine, Membership

NEED = ("out", "borderline", "never", "in")


def machines_of(
    *, member: Membership, search: str = "", verdict: str = "", site: UUID | None = None
) -> QuerySet[Machine]:
    """Return the live machines by title, each with its place, status, newest survey, spec and open plan."""
    rows = visible(member, Machine).filter(archived_at__isnull=True)
    if search:
        rows = rows.filter(
            Q(title__icontains=search) | Q(code__icontains=search) | Q(bay__floor__site__name__icontains=search)
        )
    if verdict:
        rows = rows.filter(status__verdict=verdict)
    if site:
        rows = rows.filter(bay__floor__site=site)
    return (
        rows.select_related("bay__floor__site", "status__survey", "status__spec", "status__plan")
        .order_by("title", "id")
        .fetch_mode(models.FETCH_RAISE)
    )


def machines_by_need(*, member: Membership, search: str = "") -> QuerySet[Machine]:
    """Return the live machines, those that need someone first."""
    need = Case(
        *(When(status__verdict=word, then=Value(place)) for place, word in enumerate(NEED)),
        output_field=IntegerField(),
        default=Value(len(NEED)),
    )
    rows = machines_of(member=member, search=search)
    return rows.annotate(need=need).order_by("need", "status__chance", "title", "id")


def verdict_counts(*, member: Membership) -> dict[str, int]:
    """Return how many live machines have each verdict."""
    rows = visible(member, Machine).filter(archived_at__isnull=True)
    found = dict(rows.values_list("status__verdict").annotate(n=Count("id")).order_by())
    return {word: found.get(word, 0) for word in NEED}
