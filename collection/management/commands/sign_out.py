"""`manage.py sign_out`: end what is signed in to somebody's account, such as on a phone that was lost."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from collection.actions.devices import end_everywhere
from collection.queries.people import user_by_email


class Command(BaseCommand):
    """Sign one person out on every device."""

    help = "Sign one person out on every device. Whoever knows the password may sign in again."

    def add_arguments(self, parser: Any) -> None:
        """Add the person's address."""
        parser.add_argument("email", help="the address that the person signs in with")

    def handle(self, *args: Any, **options: Any) -> None:
        """Sign out and say on how many devices."""
        user = user_by_email(email=options["email"].lower())
        if user is None:
            raise CommandError(f"No account has the address {options['email']}.")
        count = end_everywhere(user=user)
        self.stdout.write(f"{user.email} is signed out on {count} {'device' if count == 1 else 'devices'}.")
