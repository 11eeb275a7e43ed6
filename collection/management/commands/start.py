"""`manage.py start`: bring the database up to date and serve."""

from typing import Any

from django.core.management.base import BaseCommand

from collection.checks.serving import stop_if_broken
from collection.management.serving import add_port, serve
from collection.management.tables import bring_up_to_date


class Command(BaseCommand):
    """Bring the database up to date, then serve Levelbook on this machine."""

    requires_system_checks = []  # asked below, once and with the database
    help = "Bring the database up to date, then serve Levelbook on this machine and say where."

    def add_arguments(self, parser: Any) -> None:
        """Add --port."""
        add_port(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        """Check, migrate, serve."""
        stop_if_broken()
        bring_up_to_date()
        serve(options["port"], self.stdout.write)
