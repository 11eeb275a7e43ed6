"""Reads about floors, bays and their slopes."""

import re
from collections.abc import Iterable
from uuid import UUID

from django.db import models
from django.db.models import Count, Prefetch, Q, QuerySet

from collection.access import visible
from collection.arrays.floors import gradient_at
from collection.models import Bay, Floor, FloorReading, FloorSlope, Machine, Membership, Site


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


def floors_and_slopes(*, member: Membership, site: Site) -> list[tuple[Floor, FloorSlope | None]]:
    """Return the live floors of a site by name, each with its newest slope if anyone read the whole of it."""
    rows = FloorSlope.objects.for_org(site.organization_id).filter(floor__site=site, bay=None)
    slopes = {slope.floor_id: slope for slope in rows.order_by("created_at", "id").fetch_mode(models.FETCH_RAISE)}
    return [(floor, slopes.get(floor.pk)) for floor in floors_of(member=member, site=site)]


def as_counted(name: str) -> list[tuple[int, str]]:
    """Return a name as something that sorts as people count: Bay 2 before Bay 10."""
    return [(int(part), "") if part.isdecimal() else (0, part.casefold()) for part in re.split(r"(\d+)", name)]


def bays_in_order(*, member: Membership, floor: Floor) -> list[Bay]:
    """Return the live bays of a floor as people count them, each with its live machines and their status."""
    return sorted(bays_of(member=member, floor=floor), key=lambda bay: as_counted(bay.name))


def bays_of(*, member: Membership, floor: Floor) -> QuerySet[Bay]:
    """Return the live bays of a floor by name, each with its live machines and their status."""
    machines = (
        Machine.objects.for_org(member.organization_id)
        .live()
        .select_related("status__survey", "status__spec")
        .order_by("title")
        .fetch_mode(models.FETCH_RAISE)
    )
    return (
        visible(member, Bay)
        .filter(floor=floor, archived_at__isnull=True)
        .prefetch_related(Prefetch("machines", queryset=machines, to_attr="standing_here"))
        .order_by("name", "id")
        .fetch_mode(models.FETCH_RAISE)
    )


def machines_on(*, member: Membership, bay: Bay) -> QuerySet[Machine]:
    """Return the live machines that stand on a bay."""
    return (
        visible(member, Machine)
        .filter(bay=bay, archived_at__isnull=True)
        .select_related("status")
        .order_by("title", "id")
        .fetch_mode(models.FETCH_RAISE)
    )


def slopes_of(*, floor: Floor, bay: Bay | None = None) -> QuerySet[FloorSlope]:
    """Return the slopes read off a whole floor, or off one bay, newest first, with their readings."""
    readings = FloorReading.objects.for_org(floor.organization_id).fetch_mode(models.FETCH_RAISE)
    return (
        FloorSlope.objects.for_org(floor.organization_id)
        .filter(floor=floor, bay=bay)
        .select_related("instrument", "created_by")
        .prefetch_related(Prefetch("readings", queryset=readings))
        .order_by("-created_at", "-id")
        .fetch_mode(models.FETCH_RAISE)
    )


def gradient_under(*, bay: Bay, slope: FloorSlope | None) -> tuple[float, float] | None:
    """Return the floor's gradient as a machine on this bay has it (right, rear higher), if it was read."""
    return gradient_at(slope=slope, bay=bay) if slope else None


def slopes_by_bay(*, bays: Iterable[Bay]) -> dict[UUID, FloorSlope]:
    """Return the slope that counts on each bay: the bay's own newest, else the newest of its whole floor."""
    bays = list(bays)
    if not bays:
        return {}
    floors = {bay.floor_id for bay in bays}
    rows = (
        FloorSlope.objects.for_org(bays[0].organization_id)
        .filter(floor__in=floors)
        .order_by("created_at", "id")
        .fetch_mode(models.FETCH_RAISE)
    )
    of_bay: dict[UUID, FloorSlope] = {}
    of_floor: dict[UUID, FloorSlope] = {}
    for slope in rows:
        if slope.bay_id:
            of_bay[slope.bay_id] = slope
        else:
            of_floor[slope.floor_id] = slope
    found = {bay.pk: of_bay.get(bay.pk) or of_floor.get(bay.floor_id) for bay in bays}
    return {pk: slope for pk, slope in found.items() if slope}
