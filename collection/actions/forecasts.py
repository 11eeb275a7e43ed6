"""Writes of forecasts: the due dates of machines that were surveyed before there were any."""

from uuid import UUID

from django.db import transaction

from collection.actions.status import refresh_status
from collection.models import Machine

AT_ONCE = 100


@transaction.atomic
def fill_due_dates(*, after: UUID | None = None) -> UUID | None:
    """Give some machines on the floor their due date whose survey stands and that have none; return the last of them.

    They come by their keys, a few at a time ``after`` the last one, so that it may be stopped at any moment.
    """
    lacking = Machine.objects.filter(
        archived_at__isnull=True, bay__isnull=False, status__chance__isnull=False, status__due_at__isnull=True
    )
    lacking = lacking.filter(pk__gt=after) if after else lacking
    last = None
    for machine in lacking.select_related("bay__floor__site").order_by("pk")[:AT_ONCE]:
        refresh_status(machine=machine)
        last = machine.pk
    return last
