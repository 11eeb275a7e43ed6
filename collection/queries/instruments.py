"""Reads about instruments and the checks of their zero."""

from django.db import models
from django.db.models import OuterRef, QuerySet, Subquery

from collection.access import visible
from collection.models import Instrument, Membership, ZeroCheck

#: The name that is offered for an instrument, as presets.py describes it.
USUAL_NAME = "Digital level, 0.1°"


def instruments_of(*, member: Membership, search: str = "") -> QuerySet[Instrument]:
    """Return the live instruments by name, each with its newest zero, how sure that is, and when it was checked."""
    rows = visible(member, Instrument).filter(archived_at__isnull=True)
    if search:
        rows = rows.filter(name__icontains=search)
    newest = (
        ZeroCheck.objects.for_org(member.organization_id)
        .filter(instrument=OuterRef("pk"))
        .order_by("-checked_at", "-id")
    )
    return (
        rows.annotate(
            zero_deg=Subquery(newest.values("zero_deg")[:1]),
            u_zero_deg=Subquery(newest.values("u_zero_deg")[:1]),
            zero_checked_at=Subquery(newest.values("checked_at")[:1]),
        )
        .order_by("name", "id")
        .fetch_mode(models.FETCH_RAISE)
    )


def zero_checks_of(*, instrument: Instrument) -> QuerySet[ZeroCheck]:
    """Return the zero checks of an instrument, newest first, each with the person who made it."""
    return (
        ZeroCheck.objects.for_org(instrument.organization_id)
        .filter(instrument=instrument)
        .select_related("created_by")
        .order_by("-checked_at", "-id")
        .fetch_mode(models.FETCH_RAISE)
    )


def unused_name(*, member: Membership) -> str:
    """Return the usual name of an instrument, with a number if one is called so already."""
    rows = visible(member, Instrument).filter(archived_at__isnull=True, name__startswith=USUAL_NAME)
    taken = set(rows.values_list("name", flat=True))
    names = (USUAL_NAME, *(f"{USUAL_NAME} ({number})" for number in range(2, len(taken) + 2)))
    return next(name for name in names if name not in taken)
