"""`manage.py remove_second_factor`: let someone in again who lost their phone, their passkeys and their codes."""

from django.core.management.base import CommandError

from collection.actions.second_factor import remove_second_factor
from collection.management.person import PersonCommand
from collection.models import User


class Command(PersonCommand):
    """Remove the app, the passkeys and the recovery codes of one person."""

    help = "Remove the authenticator app, the passkeys and the recovery codes of one person, who can prove none."

    def done(self, user: User) -> str:
        """Remove them and say so."""
        if not remove_second_factor(user=user):
            raise CommandError(f"{user.email} has no second factor.")
        return f"{user.email} signs in with the password alone now. Ask them to set up a new second factor."
