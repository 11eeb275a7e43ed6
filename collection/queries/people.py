"""Reads about people."""

from allauth.account.models import EmailAddress
from django.db import models
from django.db.models import Q, QuerySet

from collection.models import Membership, Organization, User
from collection.models.people import VIEWER


def members_of(*, member: Membership) -> QuerySet[Membership]:
    """Return who belongs to the member's organization now, owners first, each with the sites opened to them.

    A site viewer sees no other viewers.
    """
    rows = Membership.objects.filter(organization_id=member.organization_id, ended_at__isnull=True)
    if member.role == VIEWER:
        rows = rows.filter(~Q(role=VIEWER) | Q(pk=member.pk))
    rows = rows.select_related("user").prefetch_related("sites")
    return rows.order_by("role", "created_at").fetch_mode(models.FETCH_RAISE)


def organizations_of(*, user: User) -> QuerySet[Membership]:
    """Return the user's standing memberships with their organizations, by name."""
    return (
        Membership.objects.filter(user=user, ended_at__isnull=True)
        .select_related("organization")
        .order_by("organization__name")
        .fetch_mode(models.FETCH_RAISE)
    )


def standing_of(*, user: User, organization: Organization) -> Membership | None:
    """Return the user's standing membership in an organization, if there is one."""
    return Membership.objects.filter(user=user, organization=organization, ended_at__isnull=True).first()


def user_by_email(*, email: str) -> User | None:
    """Return who signs in with this address, if anyone: it is their first one, or another that they confirmed."""
    confirmed = EmailAddress.objects.filter(email__iexact=email, verified=True)
    return User.objects.filter(email=email).first() or User.objects.filter(pk__in=confirmed.values("user")).first()


def has_account(*, email: str) -> bool:
    """Return whether somebody signs in with this address."""
    confirmed = EmailAddress.objects.filter(email__iexact=email, verified=True)
    return User.objects.filter(email__iexact=email).exists() or confirmed.exists()


def is_address_of(*, user: User, email: str) -> bool:
    """Return whether this is the user's first address, or another one that they confirmed."""
    confirmed = EmailAddress.objects.filter(user=user, email__iexact=email, verified=True)
    return user.email.lower() == email.lower() or confirmed.exists()


def why_not_first(*, user: User, email: str) -> str:
    """Return why an address cannot be the user's first one, or nothing if it can."""
    confirmed = EmailAddress.objects.filter(user=user, verified=True)
    if email.lower() not in confirmed.values_list("email", flat=True):
        return "Confirm the address first, then make it the first one."
    if User.objects.filter(email__iexact=email).exclude(pk=user.pk).exists():
        return f"{email} is the first address of another account. Make another one the first there, then try again."
    return ""


def unsure_beside(*, user: User, email: str) -> list[str]:
    """Return a user's other addresses if nobody ever confirmed this one: who made the account may not be its owner."""
    theirs = EmailAddress.objects.filter(user=user)
    if theirs.filter(email__iexact=email, verified=True).exists():
        return []
    return list(theirs.exclude(email__iexact=email).order_by("email").values_list("email", flat=True))


def anyone_keeps_a_book() -> bool:
    """Return whether any organization is stored here."""
    return Organization.objects.exists()
