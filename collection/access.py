"""The one door to people's data: who acts for which organization, and which rows that member may reach.

A stranger's row looks exactly like an absent one (404). A member who may only read is told so (403).
"""

from collections.abc import Iterable
from typing import Any, TypeVar
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db import models
from django.http import Http404

from collection.models import (
    Bay,
    Floor,
    Instrument,
    Invitation,
    Machine,
    Membership,
    Organization,
    Plan,
    QuickCheck,
    Report,
    ReportLink,
    Site,
    Survey,
    User,
    VialPair,
)
from collection.models.base import hash_of
from collection.models.people import VIEWER

T = TypeVar("T", bound=models.Model)

#: How each table hangs on a site; a table without a site is closed to site viewers.
_SITE_OF: dict[type[models.Model], str] = {
    Site: "id",
    Floor: "site",
    Bay: "floor__site",
    Machine: "bay__floor__site",
    Survey: "machine__bay__floor__site",
    Plan: "machine__bay__floor__site",
    QuickCheck: "machine__bay__floor__site",
    Report: "machine__bay__floor__site",
}


def member_of(user: User, organization_id: str | None) -> Membership | None:
    """Return the membership that the user acts in now: the chosen one if it still stands, else the first."""
    standing = (
        Membership.objects.filter(user=user, ended_at__isnull=True)
        .select_related("organization", "user")
        .order_by("created_at", "id")
    )
    members = list(standing)
    for member in members:
        member.has_others = len(members) > 1
    chosen = (member for member in members if str(member.organization_id) == organization_id)
    return next(chosen, None) or next(iter(members), None)


def visible[T: models.Model](member: Membership, table: type[T]) -> models.QuerySet[T]:
    """Return the rows of a tenant table that this member may read."""
    rows: Any = table._default_manager.all()
    rows = rows.for_org(member.organization_id)
    if member.role != VIEWER:
        return rows
    if table not in _SITE_OF:
        return rows.none()
    return rows.filter(
        **{f"{_SITE_OF[table]}__in": member.sites.through.objects.filter(membership=member).values("site_id")}
    )


def must_write(member: Membership) -> None:
    """Raise 403 unless this member may change things."""
    if not member.may_write:
        raise PermissionDenied("You can read this, but not change it.")


def must_own(member: Membership) -> None:
    """Raise 403 unless this member is an owner."""
    if not member.is_owner:
        raise PermissionDenied("Only an owner of the organization can do this.")


def organization_for(member: Membership, pk: UUID) -> Organization:
    """Return the member's own organization, or 404 for any other."""
    if member.organization_id != pk:
        raise Http404
    return member.organization


def site_for(member: Membership, pk: UUID) -> Site:
    """Return a site that this member may read, or 404."""
    return _one(visible(member, Site), pk)


def sites_for(member: Membership, pks: Iterable[UUID]) -> list[Site]:
    """Return live sites that this member may read; 404 if one of the keys is of no such site."""
    wanted = set(pks)
    found = list(visible(member, Site).live().filter(pk__in=wanted))  # type: ignore[attr-defined]
    if len(found) != len(wanted):
        raise Http404
    return found


def floor_for(member: Membership, pk: UUID) -> Floor:
    """Return a floor with its site, or 404."""
    return _one(visible(member, Floor).select_related("site"), pk)


def bay_for(member: Membership, pk: UUID) -> Bay:
    """Return a bay with its floor and site, or 404."""
    return _one(visible(member, Bay).select_related("floor__site"), pk)


def machine_for(member: Membership, pk: UUID) -> Machine:
    """Return a machine with its bay, floor, site and status, or 404."""
    return _one(visible(member, Machine).select_related("bay__floor__site", "status"), pk)


def instrument_for(member: Membership, pk: UUID) -> Instrument:
    """Return an instrument, or 404."""
    return _one(visible(member, Instrument), pk)


def vial_pair_for(member: Membership, pk: UUID) -> VialPair:
    """Return a pair of a vial with both instruments, or 404."""
    return _one(visible(member, VialPair).select_related("vial", "level"), pk)


def survey_for(member: Membership, pk: UUID) -> Survey:
    """Return a survey with its machine, instrument and spec, or 404."""
    rows = visible(member, Survey).select_related("machine__bay__floor__site", "machine__status", "created_by")
    return _one(rows.select_related("instrument", "instrument_across", "spec", "plan"), pk)


def quick_check_for(member: Membership, pk: UUID) -> QuickCheck:
    """Return a quick check with its machine, level, spec and survey, or 404."""
    related = ("machine__bay__floor__site", "machine__status", "instrument", "spec", "survey__instrument", "created_by")
    return _one(visible(member, QuickCheck).select_related(*related), pk)


def plan_for(member: Membership, pk: UUID) -> Plan:
    """Return a leg plan with its machine, survey and spec, or 404."""
    related = ("machine__bay__floor__site", "machine__status", "survey__instrument", "spec", "signed_off_by")
    return _one(visible(member, Plan).select_related(*related), pk)


def colleague_for(member: Membership, pk: UUID) -> Membership:
    """Return who belongs, or once belonged, to the member's organization, with the person, or 404."""
    mine = Membership.objects.filter(organization_id=member.organization_id)
    return _one(mine.select_related("user", "organization"), pk)


def invitation_for(member: Membership, pk: UUID) -> Invitation:
    """Return an invitation to the member's organization, or 404."""
    return _one(visible(member, Invitation).select_related("organization", "created_by"), pk)


def report_for(member: Membership, pk: UUID) -> Report:
    """Return a report with its machine and who closed it, or 404."""
    related = ("machine__bay__floor__site", "machine__status", "closed_by", "closed_by_survey")
    return _one(visible(member, Report).select_related(*related), pk)


def report_link_for(token: str) -> ReportLink:
    """Return the standing label that carries this secret, with its machine, or 404: nobody needs an account for it.

    The one tenant row that is found without its organization: the secret itself says whose it is.
    """
    rows = ReportLink.objects.filter(token_sha256=hash_of(token), ended_at__isnull=True)
    link: ReportLink | None = rows.filter(machine__archived_at__isnull=True).select_related("machine").first()
    if link is None:
        raise Http404
    return link


def _one[T: models.Model](rows: models.QuerySet[T], pk: UUID) -> T:
    found = rows.filter(pk=pk).first()
    if found is None:
        raise Http404
    return found
