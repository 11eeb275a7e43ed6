"""Writes about people: founding an organization, choosing its units."""

import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import F

from collection.access import must_own
from collection.actions.record import Author, KeyUsed, note, refuse_stale, was_written
from collection.models import Membership, Organization, User
from collection.models.people import OWNER


@transaction.atomic
def found_organization(
    *, user: User, name: str, at: datetime.datetime, key: UUID, sent: UUID | None = None
) -> Membership:
    """Make an organization with this user as its owner; sent twice, it is made once."""
    found = Membership.objects.filter(pk=key).first()
    if found:
        if found.user_id != user.pk or not was_written(found.organization_id, sent or key):
            raise KeyUsed
        return found
    organization = Organization.objects.create(name=name, created_at=at)
    member = Membership.objects.create(pk=key, organization=organization, user=user, role=OWNER, created_at=at)
    note(Author(member=member, at=at, key=key, sent=sent), organization, "founded", old={}, new={"name": name})
    return member


@transaction.atomic
def change_organization(*, by: Author, version: int, **fields: Any) -> Organization:
    """Change the organization's name or units, as its owner. Raises StaleEdit if someone else was first."""
    must_own(by.member)
    organization = Organization.objects.select_for_update().get(pk=by.member.organization_id)
    if organization.version != version:
        refuse_stale(by)
        return organization
    old = {name: getattr(organization, name) for name in fields if getattr(organization, name) != fields[name]}
    if old:
        Organization.objects.filter(pk=organization.pk).update(version=F("version") + 1, **fields)
        note(by, organization, "changed", old=old, new={name: fields[name] for name in old})
        organization.refresh_from_db()
    return organization


@transaction.atomic
def create_user(*, email: str) -> User:
    """Make a user who cannot sign in until somebody sets a password."""
    return User.objects.create_user(email)


@transaction.atomic
def set_password(*, user: User, password: str) -> None:
    """Give a user a new password."""
    user.set_password(password)
    user.save(update_fields=["password"])
