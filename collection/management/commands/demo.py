"""`manage.py demo`: build our invented operation, print what is out of spec with the turns for each, serve."""

import secrets
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.template.loader import render_to_string
from django.utils import timezone

from collection.access import member_of
from collection.actions.people import create_user, set_password
from collection.checks.serving import stop_if_broken
from collection.demo import cast
from collection.demo.build import build
from collection.demo.table import out_of_spec
from collection.management.serving import add_port, serve
from collection.management.tables import bring_up_to_date
from collection.models import Membership
from collection.queries.machines_list import verdict_counts
from collection.queries.people import anyone_keeps_a_book, user_by_email


class Command(BaseCommand):
    """Build the demo once, print its table, then serve it with the sign-in printed."""

    requires_system_checks = []  # asked below, once and with the database
    help = "Build our invented operation, print what is out of spec with the turns, and serve it."

    def add_arguments(self, parser: Any) -> None:
        """Add --port and --no-serve."""
        add_port(parser)
        parser.add_argument("--no-serve", action="store_true", help="stop after the table")

    def handle(self, *args: Any, **options: Any) -> None:
        """Migrate, build if it is not there yet, print, serve."""
        stop_if_broken()
        bring_up_to_date()
        member = self._member()
        context = {"rows": out_of_spec(member=member), "counts": verdict_counts(member=member)}
        self.stdout.write(render_to_string("demo/table.txt", context))
        if options["no_serve"]:
            return
        password = secrets.token_urlsafe(9)
        set_password(user=member.user, password=password)
        self.stdout.write(f"\nSign in as {cast.EMAIL} with the password {password} (new at each start).")
        serve(options["port"], self.stdout.write)

    @transaction.atomic
    def _member(self) -> Membership:
        """Return the demo's owner; refuse to mix the demo with somebody's own book."""
        user = user_by_email(email=cast.EMAIL)
        if user is None:
            if anyone_keeps_a_book():
                raise CommandError("This book holds somebody's own work. Leave LEVELBOOK_DATA and DATABASE_URL unset.")
            self.stdout.write("Building two years of an invented operation:")
            user = create_user(email=cast.EMAIL)
            return build(user=user, now=timezone.now(), say=self.stdout.write)
        member = member_of(user, None)
        if member is None:
            raise CommandError("The demo has lost its owner. Delete its folder, var/demo, and run this again.")
        return member
