"""People at the same moment: an organization keeps an owner, an invitation makes one member, one account, one mail."""

import uuid
from typing import Any

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse

from collection import models
from tests import factories as make
from tests.collection.actions.test_races import AT_ONCE, client_of, together
from tests.worlds import TernTaproom, tern_taproom

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def taproom(transactional_db: None) -> TernTaproom:
    return tern_taproom()


@pytest.fixture
def owners(taproom: TernTaproom) -> list[models.Membership]:
    """Alice and as many more owners as press at once."""
    organization = taproom.people.alice.organization
    return [taproom.people.alice, *(make.MembershipFactory(organization=organization) for _ in range(AT_ONCE - 1))]


def remaining(taproom: TernTaproom) -> int:
    rows = models.Membership.objects.filter(organization=taproom.site.organization, role="owner", ended_at=None)
    return rows.count()


def test_all_owners_leave_at_once_and_one_stays(taproom: TernTaproom, owners: list[models.Membership]) -> None:
    clients = [client_of(owner) for owner in owners]
    answers = together(*(lambda c=client: c.post(reverse("organization_leave"), {}) for client in clients))
    assert sorted(answer.status_code for answer in answers) == [302] * (AT_ONCE - 1) + [422]
    assert remaining(taproom) == 1


@pytest.mark.parametrize(
    ("name", "typed"),
    [("colleague_edit", {"role": "technician"}), ("colleague_end", {"why": "A quarrel."})],
    ids=["demoted", "ended"],
)
def test_two_owners_are_rid_of_each_other_at_once(
    taproom: TernTaproom, owners: list[models.Membership], name: str, typed: dict[str, str]
) -> None:
    pair = owners[:2]
    models.Membership.objects.filter(pk__in=[owner.pk for owner in owners[2:]]).update(role="technician")
    pages = [(client_of(one), reverse(name, args=[other.pk])) for one, other in (pair, pair[::-1])]
    page = typed | {"version": "1"}
    answers = together(*(lambda c=client, u=url: c.post(u, page) for client, url in pages))
    assert sorted(answer.status_code for answer in answers) in ([302, 302], [302, 403])
    assert remaining(taproom) == 1


def test_an_owner_leaves_while_another_hands_over(taproom: TernTaproom, owners: list[models.Membership]) -> None:
    models.Membership.objects.filter(pk__in=[owner.pk for owner in owners[2:]]).update(role="technician")
    giver, leaver = client_of(owners[0]), client_of(owners[1])
    url = reverse("colleague_hand_over", args=[owners[1].pk])
    together(
        lambda: giver.post(url, {"sure": "on", "version": "1"}), lambda: leaver.post(reverse("organization_leave"), {})
    )
    assert remaining(taproom) == 1


def test_one_invitation_accepted_many_times_at_once(taproom: TernTaproom) -> None:
    models.Invitation.objects.filter(pk=taproom.invitation.pk).update(expires_at="2100-01-01T00:00Z")
    wren, clients = make.UserFactory(email="wren@example.org"), [Client() for _ in range(AT_ONCE)]
    for client in clients:
        client.force_login(wren)
        opened(client, taproom.invitation)
    answers = together(*(lambda c=client: c.post(reverse("invitation_accept"), {}) for client in clients))
    assert [answer.url for answer in answers] == [reverse("today")] * AT_ONCE
    assert models.Membership.objects.filter(user=wren).count() == 1


def test_one_account_made_many_times_at_once(taproom: TernTaproom) -> None:
    """One of them is in; the others are told to sign in, or find the link used."""
    models.Invitation.objects.filter(pk=taproom.invitation.pk).update(expires_at="2100-01-01T00:00Z")
    clients = [Client() for _ in range(AT_ONCE)]
    for client in clients:
        opened(client, taproom.invitation)
    page = {"email": "wren@example.org", "password": "salt on the sill"}
    answers = together(*(lambda c=client: c.post(reverse("invitation_account"), page) for client in clients))
    codes = sorted(answer.status_code for answer in answers)
    assert codes[0] == 302, codes
    assert set(codes[1:]) <= {404, 422}, codes
    assert models.User.objects.filter(email="wren@example.org").count() == 1
    assert models.Membership.objects.filter(user__email="wren@example.org").count() == 1


def test_one_page_of_an_invitation_pressed_many_times_at_once(taproom: TernTaproom) -> None:
    page = {"email": "linnet@example.org", "role": "technician", "write_key": str(uuid.uuid4())}
    clients = [client_of(taproom.people.alice) for _ in range(AT_ONCE)]
    answers = together(*(lambda c=client: c.post(reverse("invitation_new"), page) for client in clients))
    assert [answer.status_code for answer in answers] == [302] * AT_ONCE
    assert (models.Invitation.objects.count(), len(mail.outbox)) == (1, 1)


def opened(client: Client, invitation: models.Invitation) -> None:
    """Let a client have opened the link of this invitation, whose token nobody knows."""
    session: Any = client.session
    session["invitation"] = invitation.token_sha256
    session.save()
