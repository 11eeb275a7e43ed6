"""`manage.py remove_second_factor`: let someone in again who lost their phone, their passkeys and their codes."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from collection.actions.second_factor import remove_second_factor
from collection.queries.people import user_by_email


class Command(BaseCommand):
    """Remove the app, the passkeys and the recovery codes of one person."""

    help = "Remove the authenticator app, the passkeys and the recovery codes of one person, who can prove none."

    def add_arguments(self, parser: Any) -> None:
        """Add the person's address."""
        parser.add_argument("email", help="the address that the person signs in with")

    def handle(self, *args: Any, **options: Any) -> None:
        """Remove them and say so."""
        user = user_by_email(email=options["email"].lower())
        if user is None:
            raise CommandError(f"No account has the address {options['email']}.")
        if not remove_second_factor(user=user):
            raise CommandError(f"{user.email} has no second factor.")
        self.stdout.write(f"{user.email} signs in with the password alone now. Ask them to set up a new second factor.")
