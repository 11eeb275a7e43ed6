"""`manage.py start`: bring the database up to date and serve."""

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand

from collection.management.serving import add_port, serve


class Command(BaseCommand):
    """Bring the database up to date, then serve Levelbook on this machine."""

    help = "Bring the database up to date, then serve Levelbook on this machine and say where."

    def add_arguments(self, parser: Any) -> None:
        """Add --port."""
        add_port(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        """Check, migrate, serve."""
        call_command("check")
        call_command("migrate", verbosity=0)
        serve(options["port"], self.stdout.write)
