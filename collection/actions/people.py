"""Writes about people: founding an organization, choosing its units."""

import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from collection.access import must_own
from collection.actions.record import ActionRefused, StaleEdit
from collection.models import Membership, Organization, User
from collection.models.people import OWNER


@transaction.atomic
def found_organization(*, user: User, name: str, at: datetime.datetime, key: UUID) -> Membership:
    """Make an organization with this user as its owner; sent twice with one key, it is made once."""
    found = Membership.objects.filter(pk=key).first()
    if found and found.user_id != user.pk:
        raise ActionRefused("This page was used by someone else. Open it again.")
    if found:
        return found
    organization = Organization.objects.create(name=name, created_at=at)
    return Membership.objects.create(pk=key, organization=organization, user=user, role=OWNER, created_at=at)


@transaction.atomic
def change_organization(*, member: Membership, version: int, **fields: Any) -> Organization:
    """Change the organization's name or units, as its owner. Raises StaleEdit if someone else was first."""
    must_own(member)
    changed = Organization.objects.filter(pk=member.organization_id, version=version).update(
        version=version + 1, **fields
    )
    if not changed:
        raise StaleEdit("Someone changed this after you opened it. Check what it says now, then save again.")
    return Organization.objects.get(pk=member.organization_id)


@transaction.atomic
def create_user(*, email: str) -> User:
    """Make a user who cannot sign in until somebody sets a password."""
    return User.objects.create_user(email)


@transaction.atomic
def set_password(*, user: User, password: str) -> None:
    """Give a user a new password."""
    user.set_password(password)
    user.save(update_fields=["password"])
