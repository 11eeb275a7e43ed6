"""Pages about people in their states: whoever opens the link of an invitation, and lists with many kinds of people."""

import datetime
from collections.abc import Iterator
from typing import Any

from allauth.account.models import EmailAddress
from django.urls import reverse
from django.utils import timezone

from collection import models
from collection.actions.invitations import send_invitation
from tests import factories as make
from tests.sights.pages import Sight
from tests.surveying import author
from tests.worlds import TernTaproom

OPEN, ACCEPT, ACCOUNT = "invitation_open", reverse("invitation_accept"), reverse("invitation_account")


def people(world: TernTaproom) -> Iterator[Sight]:
    """Yield the organization's page with people of every kind, and each page of an invitation that works."""
    cast = world.people
    alice, bob = cast.alice, cast.bob
    known = make.UserFactory(email=f"known.{alice.user.email}"[:200])
    also = EmailAddress.objects.create(user=bob.user, email=f"also.{bob.user.email}", verified=True)
    wren = invite(world, f"wren.{alice.user.email}"[:200])
    linnet = invite(world, known.email, role="viewer", sites=[world.site.pk])
    again = invite(world, also.email)
    invite(world, f"late.{alice.user.email}"[:200], role="owner", days_ago=30)
    walt = make.MembershipFactory(organization=alice.organization, role="viewer", user__email="walt@example.org")
    make.MembershipFactory(user=alice.user, organization__name="Hollow Barn", created_at=timezone.now())

    yield Sight("organization", "people", alice.user, reverse("organization"))
    yield Sight("organization", "technician", bob.user, reverse("organization"))
    yield Sight("today", "several-organizations", alice.user, reverse("today"))
    yield Sight("colleague_edit", "oneself", alice.user, reverse("colleague_edit", args=[alice.pk]))
    yield Sight("colleague_edit", "viewer", alice.user, reverse("colleague_edit", args=[walt.pk]))
    yield Sight("invitation_accept", "new", None, wren)
    yield Sight("invitation_account", "new", None, ACCOUNT)
    yield Sight("invitation_account", "error", None, ACCOUNT, 422, sends=ACCOUNT)
    yield Sight("invitation_accept", "known", None, linnet)
    yield Sight("invitation_accept", "theirs", known, linnet)
    yield Sight("invitation_accept", "somebody-else", cast.charlie.user, wren)
    yield Sight("invitation_accept", "standing", bob.user, again)
    yield Sight("invitation_open", "gone", cast.charlie.user, reverse(OPEN, args=["no-such-token"]), 404)


def invite(world: TernTaproom, email: str, *, days_ago: float = 0, **how: Any) -> str:
    """Let Alice invite somebody; return the address of the link."""
    tokens: list[str] = []

    def keep(invitation: models.Invitation, token: str) -> None:
        tokens.append(token)

    at = timezone.now() - datetime.timedelta(days=days_ago)
    send_invitation(by=author(world.people.alice, at), email=email, **{"role": "technician", "send": keep, **how})
    return reverse(OPEN, args=[tokens[0]])
