"""Reads about people."""

from django.db import models
from django.db.models import Q, QuerySet

from collection.models import Membership, Organization, User
from collection.models.people import VIEWER


def members_of(*, member: Membership) -> QuerySet[Membership]:
    """Return who belongs to the member's organization now, owners first; a site viewer sees no other viewers."""
    rows = Membership.objects.filter(organization_id=member.organization_id, ended_at__isnull=True)
    if member.role == VIEWER:
        rows = rows.filter(~Q(role=VIEWER) | Q(pk=member.pk))
    return rows.select_related("user").order_by("role", "created_at").fetch_mode(models.FETCH_RAISE)


def organizations_of(*, user: User) -> QuerySet[Membership]:
    """Return the user's standing memberships with their organizations, by name."""
    return (
        Membership.objects.filter(user=user, ended_at__isnull=True)
        .select_related("organization")
        .order_by("organization__name")
        .fetch_mode(models.FETCH_RAISE)
    )


def user_by_email(*, email: str) -> User | None:
    """Return the user with this e-mail address, if there is one."""
    return User.objects.filter(email=email).first()


def anyone_keeps_a_book() -> bool:
    """Return whether any organization is stored here."""
    return Organization.objects.exists()
