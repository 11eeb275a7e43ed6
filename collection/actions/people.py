"""Writes about people: founding an organization, choosing its units, who belongs to it and as what."""

import datetime
from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import F, QuerySet

from collection import access
from collection.access import must_own
from collection.actions.record import (
    ActionRefused,
    Actor,
    Author,
    KeyUsed,
    hold_people,
    note,
    refuse_stale,
    values,
    was_written,
)
from collection.models import Membership, Organization, Site, User
from collection.models.people import OWNER, TECHNICIAN, VIEWER

NO_SITE = "Choose the sites that a site viewer may read."


@transaction.atomic
def found_organization(
    *, user: User, name: str, at: datetime.datetime, key: UUID, sent: UUID | None = None
) -> Membership:
    """Make an organization with this user as its owner; sent twice, it is made once."""
    found = Membership.objects.filter(pk=key, user=user).first()
    if found and was_written(found.organization_id, sent or key):
        return found
    if found or Membership.objects.filter(pk=key).exists():
        raise KeyUsed
    organization = Organization.objects.create(name=name, created_at=at)
    member = Membership.objects.create(pk=key, organization=organization, user=user, role=OWNER, created_at=at)
    by = Author(member=member, at=at, key=key, sent=sent)
    note(by, organization, "founded", old={}, new=values(organization))
    note(by, member, "added", old={}, new={**values(member), "sites": []})
    return member


@transaction.atomic
def change_organization(*, by: Author, version: int, **fields: Any) -> Organization:
    """Change the organization's name or units, as its owner. Raises StaleEdit if someone else was first."""
    must_own(by.member)
    organization = Organization.objects.select_for_update().get(pk=by.member.organization_id)
    if organization.version != version:
        refuse_stale(by, organization)
        return organization
    old = {name: getattr(organization, name) for name in fields if getattr(organization, name) != fields[name]}
    if old:
        Organization.objects.filter(pk=organization.pk).update(version=F("version") + 1, **fields)
        note(by, organization, "changed", old=old, new={name: fields[name] for name in old})
        organization.refresh_from_db()
    return organization


@transaction.atomic
def change_colleague(
    *, by: Author, colleague: Membership, version: int, role: str, sites: Sequence[UUID] = ()
) -> Membership:
    """Give a member another role, and a site viewer the sites to read, as an owner.

    Refuses a stale edit, someone who left, a site viewer without sites, and to leave nobody who is an owner.
    """
    held = _opened(by, hold_people(by), colleague, version)
    if held is None:
        return colleague
    if role == VIEWER and not sites:
        raise ActionRefused(NO_SITE, field="sites")
    opened = access.sites_for(by.member, sites) if role == VIEWER else []
    if role != OWNER:
        _refuse_without_owner(held)
    return _give(by, held, role=role, sites=opened)


@transaction.atomic
def end_membership(*, by: Author, colleague: Membership, version: int) -> Membership:
    """Let a member belong to the organization no more, as an owner; what they did stays in the history.

    Refuses a stale edit, someone who left, and to leave nobody who is an owner.
    """
    held = _opened(by, hold_people(by), colleague, version)
    return _end(by, held, "ended") if held else colleague


@transaction.atomic
def leave_organization(*, by: Actor) -> Membership:
    """End one's own membership, which every member may. Refuses the last owner."""
    return _end(by, hold_people(by), "left")


@transaction.atomic
def hand_over(*, by: Author, colleague: Membership, version: int) -> Membership:
    """Make another member an owner and become a technician oneself, as one write.

    Refuses a stale edit, someone who left, and oneself.
    """
    giver = hold_people(by)
    held = _opened(by, giver, colleague, version)
    if held is None:
        return colleague
    if held.pk == giver.pk:
        raise ActionRefused("You are an owner already. Choose another member.")
    _give(by, giver, role=TECHNICIAN, sites=[])
    return _give(by, held, role=OWNER, sites=[])


@transaction.atomic
def create_user(*, email: str) -> User:
    """Make a user who cannot sign in until somebody sets a password."""
    return User.objects.create_user(email)


@transaction.atomic
def set_password(*, user: User, password: str) -> None:
    """Give a user a new password."""
    user.set_password(password)
    user.save(update_fields=["password"])


def _opened(by: Author, actor: Membership, colleague: Membership, version: int) -> Membership | None:
    """Let an owner read a member again as the page showed them; None if this very write was done before.

    That comes first: it may have been this write by which the owner became a technician.
    """
    if was_written(by.member.organization_id, by.write):
        return None
    must_own(actor)
    held = _same(by, colleague).select_related("user", "organization").get()
    if held.ended_at:
        raise ActionRefused("They do not belong to the organization any more. If they should, invite them again.")
    if held.version != version:
        refuse_stale(by, held)
    return held


def _same(by: Actor, member: Membership) -> QuerySet[Membership]:
    """Return that very membership, if it is one of the organization that its author acts for."""
    return Membership.objects.filter(organization_id=by.member.organization_id, pk=member.pk)


def _give(by: Author, member: Membership, *, role: str, sites: Sequence[Site]) -> Membership:
    """Give a member this role and these sites, if they have others; leave a line in the history."""
    old = {"role": member.role, "sites": sorted(str(pk) for pk in member.sites.values_list("pk", flat=True))}
    new = {"role": role, "sites": sorted(str(site.pk) for site in sites)}
    if old != new:
        new = {name: value for name, value in new.items() if old[name] != value}
        _same(by, member).update(role=role, version=F("version") + 1)
        member.sites.set(sites)
        note(by, member, "changed", old={name: old[name] for name in new}, new=new)
        member.refresh_from_db()
    return member


def _end(by: Actor, member: Membership, verb: str) -> Membership:
    _refuse_without_owner(member)
    _same(by, member).update(ended_at=by.at, version=F("version") + 1)
    note(by, member, verb, old={"ended_at": None}, new={"ended_at": by.at})
    member.refresh_from_db()
    return member


def _refuse_without_owner(member: Membership) -> None:
    """Refuse to take an owner away if there is no other."""
    owners = Membership.objects.filter(organization_id=member.organization_id, role=OWNER, ended_at__isnull=True)
    if member.role == OWNER and not owners.exclude(pk=member.pk).exists():
        raise ActionRefused(
            f"{member.user.email} is the last owner, and an organization needs one. Make another member an owner first."
        )
