"""`manage.py sign_out`: end what is signed in to somebody's account, such as on a phone that was lost."""

from collection.actions.devices import end_everywhere
from collection.management.person import PersonCommand
from collection.models import User


class Command(PersonCommand):
    """Sign one person out on every device."""

    help = "Sign one person out on every device. Whoever knows the password may sign in again."

    def done(self, user: User) -> str:
        """Sign out and say on how many devices."""
        count = end_everywhere(user=user)
        return f"{user.email} is signed out on {count} {'device' if count == 1 else 'devices'}."
