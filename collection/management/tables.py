"""The tables of a book, as this version of the app wants them."""

from django.core.management import call_command

from collection.actions.forecasts import fill_due_dates
from collection.queries.health import pending


def bring_up_to_date() -> None:
    """Migrate if anything waits; to migrate nothing would take a part of each start. Fill what older books lack."""
    if pending():
        call_command("migrate", verbosity=0)
        last = fill_due_dates()
        while last:
            last = fill_due_dates(after=last)
