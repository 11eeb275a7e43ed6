"""Reads about floors, bays and their slopes."""

from django.db import models
from django.db.models import Count, Q, QuerySet

from collection.access import visible
from collection.models import Floor, Membership, Site


def floors_of(*, member: Membership, site: Site) -> QuerySet[Floor]:
    """Return the live floors of a site by name, each with its numbers of bays and machines."""
    machines = Q(bays__machines__archived_at__isnull=True)
    return (
        visible(member, Floor)
        .filter(site=site, archived_at__isnull=True)
        .annotate(
            bay_count=Count("bays", distinct=True, filter=Q(bays__archived_at__isnull=True)),
            machine_count=Count("bays__machines", distinct=True, filter=machines),
        )
        .order_by("name", "id")
        .fetch_mode(models.FETCH_RAISE)
    )
