"""The pages by which an owner decides about people, by which one leaves, and how a removed person is out at once."""

import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from collection import models
from tests import factories as make
from tests.collection.access.table import ROWS
from tests.collection.forms.test_hostile_posts import fields_of
from tests.factories import NOON, PASSWORD
from tests.worlds import TernTaproom

SignIn = Callable[[models.Membership], Client]


@pytest.fixture
def alice(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.alice)


def opened(client: Client, url: str) -> dict[str, str]:
    return fields_of(client.get(url).content.decode()).sent


def test_an_owner_makes_a_technician_a_site_viewer_and_it_acts_on_the_next_request(
    taproom: TernTaproom, alice: Client, as_member: SignIn
) -> None:
    ferry = make.SiteFactory(member=taproom.people.alice, name="Ferry Hall")
    bob = as_member(taproom.people.bob)
    assert bob.get(reverse("site", args=[ferry.pk])).status_code == 200
    url = reverse("colleague_edit", args=[taproom.people.bob.pk])
    page = opened(alice, url)
    assert page["role"] == "technician"
    answer = alice.post(url, page | {"role": "viewer", "sites": [str(taproom.site.pk)]})
    assert answer.url == reverse("organization")
    assert bob.get(reverse("site", args=[taproom.site.pk])).status_code == 200
    assert bob.get(reverse("site", args=[ferry.pk])).status_code == 404
    assert bob.get(reverse("site_new")).status_code == 403
    assert "bob@example.org" in alice.get(reverse("organization")).content.decode()
    assert "Tern Taproom" in alice.get(reverse("organization")).content.decode()


def test_a_site_viewer_without_sites_is_refused_at_the_field(taproom: TernTaproom, alice: Client) -> None:
    url = reverse("colleague_edit", args=[taproom.people.bob.pk])
    told = alice.post(url, opened(alice, url) | {"role": "viewer"})
    assert told.status_code == 422
    assert "Choose the sites that a site viewer may read." in told.context["form"].errors["sites"]
    for foreign in (str(make.SiteFactory(member=taproom.people.charlie).pk), str(uuid.uuid4()), "x"):
        told = alice.post(url, opened(alice, url) | {"role": "viewer", "sites": [foreign]})
        assert (told.status_code, set(told.context["form"].errors)) == (422, {"sites"})
    assert models.Membership.objects.get(pk=taproom.people.bob.pk).role == "technician"


def test_two_owners_change_one_person(taproom: TernTaproom, alice: Client, as_member: SignIn) -> None:
    """The loser sees what the other put there, and can save over it."""
    other = as_member(make.MembershipFactory(organization=taproom.people.alice.organization))
    url = reverse("colleague_edit", args=[taproom.people.bob.pk])
    first, second = opened(alice, url), opened(other, url)
    viewer = {"role": "viewer", "sites": [str(taproom.site.pk)]}
    assert alice.post(url, first | viewer).status_code == 302
    told = other.post(url, second | {"role": "owner"})
    html = told.content.decode()
    assert told.status_code == 409
    assert "Role: Site viewer" in html
    assert "Sites: Tern Taproom" in html
    assert other.post(url, fields_of(html).sent).status_code == 302
    assert models.Membership.objects.get(pk=taproom.people.bob.pk).role == "owner"


def test_the_last_owner_is_told_what_to_do(taproom: TernTaproom, alice: Client) -> None:
    url = reverse("colleague_edit", args=[taproom.people.alice.pk])
    told = alice.post(url, opened(alice, url) | {"role": "technician"})
    assert told.status_code == 422
    assert "Make another member an owner first." in told.content.decode()
    leave = reverse("organization_leave")
    told = alice.post(leave, opened(alice, leave))
    assert (told.status_code, alice.get(reverse("today")).status_code) == (422, 200)
    assert "Make another member an owner first." in told.content.decode()


def test_an_owner_ends_their_own_membership_by_leaving(taproom: TernTaproom, alice: Client) -> None:
    url = reverse("colleague_end", args=[taproom.people.alice.pk])
    assert alice.get(url).url == reverse("organization_leave")
    assert alice.post(url, {"why": "x", "version": "1"}).url == reverse("organization_leave")


def test_a_membership_is_ended_with_a_reason_and_the_person_is_out(
    taproom: TernTaproom, alice: Client, as_member: SignIn
) -> None:
    bob, member = as_member(taproom.people.bob), taproom.people.bob
    url = reverse("colleague_end", args=[member.pk])
    page = opened(alice, url)
    assert bob.get(reverse("today")).status_code == 200
    assert alice.post(url, page).status_code == 422, "without a reason"
    assert bob.get(reverse("today")).status_code == 200
    done = alice.post(url, page | {"why": "Moved away."}, follow=True)
    assert "bob@example.org does not belong to Saltmarsh Route any more." in done.content.decode()
    assert bob.get(reverse("today")).url == reverse("organization_new")
    assert models.Change.objects.get(row_id=member.pk).why == "Moved away."
    again = alice.post(url, page | {"why": "Moved away."})
    assert again.status_code == 302, "the same page sent twice"
    assert alice.get(url).status_code == alice.get(reverse("colleague_edit", args=[member.pk])).status_code == 404
    assert alice.post(url, page | {"why": "Once more.", "write_key": str(uuid.uuid4())}).status_code == 422


def test_an_organization_is_handed_over(taproom: TernTaproom, alice: Client, as_member: SignIn) -> None:
    bob, url = as_member(taproom.people.bob), reverse("colleague_hand_over", args=[taproom.people.bob.pk])
    page = opened(alice, url)
    assert alice.post(url, page).status_code == 422, "without the tick"
    done = alice.post(url, page | {"sure": "on"}, follow=True)
    assert "bob@example.org is an owner now, and you are a technician." in done.content.decode()
    assert alice.get(reverse("organization_edit")).status_code == 403
    assert bob.get(reverse("organization_edit")).status_code == 200


@pytest.mark.parametrize("who", ["bob", "vera"])
def test_a_member_leaves_and_lands_in_the_other_organization(taproom: TernTaproom, as_member: SignIn, who: str) -> None:
    member = getattr(taproom.people, who)
    barn = make.MembershipFactory(user=member.user, organization__name="Hollow Barn", role="technician")
    client, url = as_member(member), reverse("organization_leave")
    client.post(reverse("organization_choose"), {"organization": str(taproom.site.organization_id)})
    left = client.post(url, opened(client, url) | {"why": "Too far."}, follow=True)
    assert "You left Saltmarsh Route." in left.content.decode()
    assert left.wsgi_request.member.pk == barn.pk  # type: ignore[attr-defined]
    line = models.Change.objects.get(row_id=member.pk)
    assert (line.verb, line.why, line.created_by) == ("left", "Too far.", member.user)


def test_switching_says_where_one_works_now(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    assert "Switch" not in bob.get(reverse("sites")).content.decode()
    barn = make.MembershipFactory(user=taproom.people.bob.user, organization__name="Hollow Barn", role="viewer")
    assert "Switch" in bob.get(reverse("sites")).content.decode()
    there = bob.post(reverse("organization_choose"), {"organization": str(barn.organization_id)}, follow=True)
    assert "You work in Hollow Barn now, as site viewer." in there.content.decode()
    assert "Switch" in there.content.decode()


def test_whose_sign_in_ran_out_before_switching_finds_the_button_again(taproom: TernTaproom) -> None:
    """Bug of 2026-11-29: signing in on the way led to an address that takes a button's press alone, an empty page."""
    url, client = reverse("organization_choose"), Client()
    asked = client.post(url, {"organization": str(taproom.organization.pk)})
    typed = {"login": taproom.people.bob.user.email, "password": PASSWORD}
    answer = client.post(asked.url, typed, follow=True)
    assert (answer.redirect_chain[-1][0], answer.status_code) == (reverse("organization"), 200)


def test_only_owners_see_what_owners_do(taproom: TernTaproom, as_member: SignIn) -> None:
    assert taproom.invitation
    shown = {who: as_member(getattr(taproom.people, who)).get(reverse("organization")).content.decode()
             for who in ("alice", "bob", "vera")}  # fmt: skip
    for words in ("Invite someone", "wren@example.org", "Withdraw", "/people/"):
        assert [words in shown[who] for who in ("alice", "bob", "vera")] == [True, False, False], words


#: Every page with a form of its own, but those of the account, for which no organization matters.
FORMS = [row for row in ROWS if 422 in row.answers.get("POST", ()) and 200 in row.answers.get("GET", ())
         and not row.name.startswith("account_") and row.name not in ("organization_new", "report")]  # fmt: skip
TABLES: tuple[Any, ...] = (
    models.Site, models.Floor, models.Bay, models.Machine, models.Leg, models.Spec, models.Instrument, models.Survey,
    models.Plan, models.FloorSlope, models.ZeroCheck, models.InstrumentEvent, models.Invitation, models.Change,
)  # fmt: skip


def stored(organization: models.Organization) -> list[Any]:
    rows = [list(table.objects.filter(organization=organization).order_by("pk").values()) for table in TABLES]
    people = models.Membership.objects.filter(organization=organization).order_by("pk").values()
    return [*rows, list(people), list(models.Organization.objects.filter(pk=organization.pk).values())]


def test_what_was_opened_before_a_removal_is_written_nowhere(taproom: TernTaproom, as_member: SignIn) -> None:
    """Bob owns two organizations. Pages of the first, sent after he was removed from it, change neither."""
    bob, typed = taproom.people.bob, {"name": "Typed", "title": "Typed", "email": "typed@example.org", "role": "owner",
                                      "why": "Typed", "sure": "on"}  # fmt: skip
    assert all((taproom.plan, taproom.vial_pair, taproom.quick_check, taproom.colleague, taproom.invitation))
    models.Membership.objects.filter(pk=bob.pk).update(role="owner")
    barn = make.MembershipFactory(user=bob.user, organization__name="Hollow Barn", created_at=NOON)
    client = as_member(bob)
    client.post(reverse("organization_choose"), {"organization": str(taproom.site.organization_id)})
    pages = {row.name: (row.address(taproom), opened(client, row.address(taproom))) for row in FORMS}
    assert len(pages) >= 25
    models.Membership.objects.filter(pk=bob.pk).update(ended_at=NOON)
    before = stored(bob.organization), stored(barn.organization)
    for name, (url, sent) in pages.items():
        answer = client.post(url, sent | typed)
        assert answer.status_code in (404, 422), name
        if answer.status_code == 422:
            assert "opened for another organization" in answer.content.decode(), name
        assert (stored(bob.organization), stored(barn.organization)) == before, name
    assert client.get(reverse("today")).wsgi_request.member.pk == barn.pk  # type: ignore[attr-defined]


def test_a_removed_person_without_another_organization_begins_anew(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    bob.post(reverse("organization_choose"), {"organization": str(taproom.site.organization_id)}, follow=True)
    models.Membership.objects.filter(pk=taproom.people.bob.pk).update(ended_at=NOON)
    for name in ("today", "sites", "machines", "organization", "organization_leave"):
        assert bob.get(reverse(name)).url == reverse("organization_new"), name
    page = bob.get(reverse("organization_new")).content.decode()
    assert not re.search(r"Saltmarsh|Tern Taproom", page)
