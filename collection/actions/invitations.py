"""Writes about invitations: sent, sent again, withdrawn, accepted. Only the link's mail ever holds the token."""

import datetime
import secrets
from collections.abc import Callable, Sequence
from functools import partial
from uuid import UUID

from allauth.account.models import EmailAddress
from django.db import transaction

from collection import access
from collection.access import must_own
from collection.actions.people import NO_SITE
from collection.actions.record import (
    ActionRefused,
    Actor,
    Author,
    already_done,
    change,
    hold_people,
    note,
    values,
    was_written,
)
from collection.models import Invitation, Membership, Organization, User
from collection.models.base import hash_of
from collection.models.people import VIEWER
from collection.presets import INVITATION_AGAIN_MINUTES, INVITATION_DAYS, INVITATIONS_A_DAY
from collection.queries.people import has_account, is_address_of, unsure_beside

#: Brings a link to the person who is invited: called with the invitation and its token, once both are stored.
Send = Callable[[Invitation, str], None]

LASTS = datetime.timedelta(days=INVITATION_DAYS)
AGAIN = datetime.timedelta(minutes=INVITATION_AGAIN_MINUTES)
GONE = "This link no longer works. Ask for a new one."


@transaction.atomic
def send_invitation(*, by: Author, email: str, role: str, send: Send, sites: Sequence[UUID] = ()) -> Invitation:
    """Invite someone by e-mail to join as an owner, a technician or a viewer of these sites; as an owner.

    Refuses who belongs here or is invited already, a site viewer without sites, and more than a day's worth.
    """
    if found := already_done(Invitation, by):
        return found
    must_own(hold_people(by))
    if role == VIEWER and not sites:
        raise ActionRefused(NO_SITE, field="sites")
    opened = access.sites_for(by.member, sites) if role == VIEWER else []
    _refuse_known(by, email)
    token = secrets.token_urlsafe(32)
    invitation = Invitation(
        id=by.key, email=email, role=role, token_sha256=hash_of(token), expires_at=by.at + LASTS, **by.stamp()
    )
    invitation.save(force_insert=True)
    invitation.sites.set(opened)
    note(by, invitation, "added", old={}, new={**values(invitation), "sites": sorted(str(site.pk) for site in opened)})
    transaction.on_commit(partial(send, invitation, token))
    return invitation


@transaction.atomic
def send_invitation_again(*, by: Author, invitation: Invitation, version: int, send: Send) -> Invitation:
    """Send another link, which works from now; the one before it dies.

    Refuses a stale edit, an invitation that ended, and to send twice within a few minutes.
    """
    must_own(hold_people(by))
    invitation.refresh_from_db()
    if was_written(by.member.organization_id, by.write):
        return invitation
    _refuse_ended(invitation)
    if by.at < invitation.expires_at - LASTS + AGAIN:
        raise ActionRefused(f"It was sent a moment ago. Wait {INVITATION_AGAIN_MINUTES} minutes, then send it again.")
    token = secrets.token_urlsafe(32)
    fields = {"token_sha256": hash_of(token), "expires_at": by.at + LASTS}
    sent = change(by, invitation, version=version, verb="sent again", **fields)
    transaction.on_commit(partial(send, sent, token))
    return sent


@transaction.atomic
def withdraw_invitation(*, by: Author, invitation: Invitation, version: int) -> Invitation:
    """Let the link of an invitation work no more. Refuses a stale edit and an invitation that ended."""
    must_own(hold_people(by))
    invitation.refresh_from_db()
    if was_written(by.member.organization_id, by.write):
        return invitation
    _refuse_ended(invitation)
    return change(by, invitation, version=version, verb="withdrawn", withdrawn_at=by.at)


@transaction.atomic
def accept_invitation(
    *, user: User, invitation: Invitation, at: datetime.datetime, key: UUID, sent: UUID | None = None
) -> Membership:
    """Let someone join as they were invited; sent twice, they join once. The link proves the address.

    Refuses an invitation that ended or is for another address, and who belongs to the organization already.
    """
    Organization.objects.select_for_update(no_key=True).get(pk=invitation.organization_id)
    invitation.refresh_from_db()
    mine = Membership.objects.filter(organization_id=invitation.organization_id, user=user, ended_at__isnull=True)
    standing = mine.select_related("organization", "user").first()
    if standing and invitation.accepted_by_id == user.pk:
        return standing
    if not invitation.is_open(at):
        raise ActionRefused(GONE)
    if not is_address_of(user=user, email=invitation.email):
        raise ActionRefused(f"This invitation is for {invitation.email}. Sign in with that address.")
    if standing:
        raise ActionRefused("You belong to this organization already. An owner can change what you do there.")
    _prove(user, invitation.email)
    return _join(user, invitation, at, key, sent)


@transaction.atomic
def accept_with_account(
    *, invitation: Invitation, password: str, at: datetime.datetime, key: UUID, sent: UUID | None = None
) -> Membership:
    """Make an account for the invited address and let it join, as one write. The link proved the address.

    Refuses an invitation that ended, and an address that has an account.
    """
    if has_account(email=invitation.email):
        raise ActionRefused(f"{invitation.email} has an account already. Sign in with it.")
    user = User.objects.create_user(invitation.email, password)
    EmailAddress.objects.create(user=user, email=user.email, primary=True, verified=True)
    return accept_invitation(user=user, invitation=invitation, at=at, key=key, sent=sent)


def _prove(user: User, email: str) -> None:
    """Confirm the address. If nobody had before, a stranger may have made the account in its name and put addresses of
    their own beside it, to choose a new password by later: those go.
    """
    EmailAddress.objects.filter(user=user, email__in=unsure_beside(user=user, email=email)).delete()
    if not EmailAddress.objects.filter(user=user, email__iexact=email, verified=True).exists():
        EmailAddress.objects.update_or_create(user=user, email=user.email, defaults={"verified": True, "primary": True})


def _join(user: User, invitation: Invitation, at: datetime.datetime, key: UUID, sent: UUID | None) -> Membership:
    """Store the membership and that the invitation was accepted, each with its line in the history."""
    organization = invitation.organization
    member = Membership.objects.create(organization=organization, user=user, role=invitation.role, created_at=at)
    sites = list(invitation.sites.all())
    member.sites.set(sites)
    by = Actor(member=member, at=at, key=key, sent=sent)
    note(by, member, "joined", old={}, new={**values(member), "sites": sorted(str(site.pk) for site in sites)})
    old = {"accepted_at": None, "accepted_by": None}
    Invitation.objects.for_org(organization).filter(pk=invitation.pk).update(
        accepted_at=at, accepted_by=user, version=invitation.version + 1
    )
    note(by, invitation, "accepted", old=old, new={"accepted_at": at, "accepted_by": user})
    return member


def _refuse_known(by: Author, email: str) -> None:
    """Refuse an address that belongs here or is invited, and more invitations than a day's worth."""
    belongs = Membership.objects.filter(organization_id=by.member.organization_id, ended_at__isnull=True)
    if belongs.filter(user__email__iexact=email).exists():
        raise ActionRefused(f"{email} belongs to the organization already.", field="email")
    mine = Invitation.objects.for_org(by.member.organization_id)
    if mine.filter(email=email, accepted_at__isnull=True, withdrawn_at__isnull=True).exists():
        raise ActionRefused(f"{email} is invited already. Send that invitation again, or withdraw it.", field="email")
    if mine.filter(created_at__gt=by.at - datetime.timedelta(days=1)).count() >= INVITATIONS_A_DAY:
        raise ActionRefused(f"That would be more than {INVITATIONS_A_DAY} invitations in a day. Go on tomorrow.")


def _refuse_ended(invitation: Invitation) -> None:
    if not invitation.is_standing:
        ended = "accepted" if invitation.accepted_at else "withdrawn"
        raise ActionRefused(f"This invitation was {ended} meanwhile. Invite the person again if they should join.")
