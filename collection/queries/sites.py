"""Reads about sites."""

from typing import Any
from uuid import UUID

from django.db import models
from django.db.models import Count, Q, QuerySet

from collection.access import visible
from collection.models import Machine, Membership, Site
from collection.queries.floors import as_counted
from collection.queries.machines import machines_of


def sites_of(*, member: Membership, search: str = "") -> QuerySet[Site]:
    """Return the live sites by name, each with its numbers of floors and machines, and of machines by verdict."""
    rows = visible(member, Site).filter(archived_at__isnull=True)
    if search:
        rows = rows.filter(Q(name__icontains=search) | Q(address__icontains=search))
    return (
        rows.annotate(
            floor_count=Count("floors", distinct=True, filter=Q(floors__archived_at__isnull=True)),
            machine_count=_machines(),
            out_count=_machines("out"),
            borderline_count=_machines("borderline"),
            never_count=_machines("never"),
        )
        .order_by("name", "id")
        .fetch_mode(models.FETCH_RAISE)
    )


def sites_in_order(*, member: Membership, search: str = "") -> list[Site]:
    """Return the same sites as people count them: Stop 2 before Stop 10."""
    return sorted(sites_of(member=member, search=search), key=lambda site: as_counted(site.name))


def site_names(*, member: Membership) -> list[tuple[UUID, str]]:
    """Return the keys and names of the live sites as people count them, to choose from."""
    rows = visible(member, Site).filter(archived_at__isnull=True).values_list("pk", "name")
    return sorted(rows, key=lambda row: as_counted(row[1]))


def machines_at(*, member: Membership, site: Site) -> list[Machine]:
    """Return the live machines of a site as one walks past them: by floor, then by bay, Bay 2 before Bay 10."""
    rows = machines_of(member=member, site=site.pk)
    return sorted(rows, key=_on_the_way)


def _on_the_way(machine: Machine) -> tuple[Any, ...]:
    names = (machine.bay.floor.name, machine.bay.name) if machine.bay else ("", "")
    return *map(as_counted, names), machine.title


def _machines(verdict: str = "") -> Count:
    """How many live machines stand at a site; only those with this verdict, if one is given."""
    live = Q(floors__bays__machines__archived_at__isnull=True)
    if verdict:
        live &= Q(floors__bays__machines__status__verdict=verdict)
    return Count("floors__bays__machines", distinct=True, filter=live)
