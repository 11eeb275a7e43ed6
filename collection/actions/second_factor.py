"""Taking a second factor away from outside, for a person who lost everything that could prove it."""

from allauth.mfa.models import Authenticator
from django.db import transaction

from collection.models import User


@transaction.atomic
def remove_second_factor(*, user: User) -> int:
    """Remove the app, the passkeys and the recovery codes of a person; return how many there were."""
    count, _ = Authenticator.objects.filter(user=user).delete()
    return count
