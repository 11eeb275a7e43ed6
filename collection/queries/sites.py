"""Reads about sites."""

from django.db import models
from django.db.models import Count, Q, QuerySet

from collection.access import visible
from collection.models import Membership, Site


def sites_of(*, member: Membership, search: str = "") -> QuerySet[Site]:
    """Return the live sites by name, each with its numbers of floors, machines, and machines out of spec."""
    rows = visible(member, Site).filter(archived_at__isnull=True)
    if search:
        rows = rows.filter(Q(name__icontains=search) | Q(address__icontains=search))
    machines = Q(floors__bays__machines__archived_at__isnull=True)
    return (
        rows.annotate(
            floor_count=Count("floors", distinct=True),
            machine_count=Count("floors__bays__machines", distinct=True, filter=machines),
            out_count=Count(
                "floors__bays__machines",
                distinct=True,
                filter=machines & Q(floors__bays__machines__status__verdict="out"),
            ),
        )
        .order_by("name", "id")
        .fetch_mode(models.FETCH_RAISE)
    )
