"""What commands about one person share: they are named by the address that they sign in with."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from collection.models import User
from collection.queries.people import user_by_email


class PersonCommand(BaseCommand):
    """Finds the person, and leaves it to the command what is done to them."""

    def add_arguments(self, parser: Any) -> None:
        """Add the person's address."""
        parser.add_argument("email", help="the address that the person signs in with")

    def handle(self, *args: Any, **options: Any) -> None:
        """Find the person and act, or raise CommandError."""
        user = user_by_email(email=options["email"].lower())
        if user is None:
            raise CommandError(f"No account has the address {options['email']}.")
        self.stdout.write(self.done(user))

    def done(self, user: User) -> str:
        """Do it, and return what to say of it."""
        raise NotImplementedError
