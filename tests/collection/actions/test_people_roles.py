"""Changing what a colleague does, ending a membership, leaving, handing over; and that an owner always remains."""

import datetime
import uuid
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404

from collection.actions.people import change_colleague, end_membership, hand_over, leave_organization
from collection.actions.record import ActionRefused, Actor, Author, StaleEdit
from collection.models import Change, Membership
from tests import factories as make
from tests.factories import NOON
from tests.surveying import author
from tests.worlds import Cast, TernTaproom


def lines_of(member: Membership) -> list[Change]:
    return list(Change.objects.filter(row_id=member.pk).order_by("created_at", "id"))


def again(member: Membership) -> Membership:
    return Membership.objects.get(pk=member.pk)


def actor(member: Membership, why: str = "") -> Actor:
    return Actor(member=member, at=NOON, key=uuid.uuid4(), why=why)


def test_a_technician_becomes_a_site_viewer_of_named_sites(taproom: TernTaproom) -> None:
    bob = taproom.people.bob
    by = author(taproom.people.alice)
    changed = change_colleague(by=by, colleague=bob, version=1, role="viewer", sites=[taproom.site.pk])
    assert (changed.role, changed.version, list(changed.sites.all())) == ("viewer", 2, [taproom.site])
    (line,) = lines_of(bob)
    assert (line.verb, line.noun, line.created_by) == ("changed", "membership", taproom.people.alice.user)
    assert line.old == {"role": "technician", "sites": []}
    assert line.new == {"role": "viewer", "sites": [str(taproom.site.pk)]}


def test_a_site_viewer_who_becomes_a_technician_loses_the_list_of_sites(taproom: TernTaproom) -> None:
    vera = taproom.people.vera
    change_colleague(by=author(taproom.people.alice), colleague=vera, version=1, role="technician")
    assert (again(vera).role, vera.sites.count()) == ("technician", 0)
    assert lines_of(vera)[0].old == {"role": "viewer", "sites": [str(taproom.site.pk)]}


def test_other_sites_alone_are_a_change_and_the_same_are_none(taproom: TernTaproom) -> None:
    vera, ferry = taproom.people.vera, make.SiteFactory(member=taproom.people.alice, name="Ferry Hall")
    how: dict[str, Any] = {"by": author(taproom.people.alice), "colleague": vera, "role": "viewer"}
    change_colleague(**how, version=1, sites=[taproom.site.pk])
    assert (again(vera).version, lines_of(vera)) == (1, [])
    change_colleague(**how, version=1, sites=[ferry.pk])
    assert (again(vera).version, list(vera.sites.all())) == (2, [ferry])
    (line,) = lines_of(vera)
    assert (line.old, line.new) == ({"sites": [str(taproom.site.pk)]}, {"sites": [str(ferry.pk)]})


def test_a_site_viewer_needs_a_site_of_this_organization(taproom: TernTaproom) -> None:
    bob, theirs = taproom.people.bob, make.SiteFactory(member=taproom.people.charlie)
    how: dict[str, Any] = {"by": author(taproom.people.alice), "colleague": bob, "version": 1, "role": "viewer"}
    with pytest.raises(ActionRefused, match="Choose the sites") as refused:
        change_colleague(**how, sites=[])
    assert refused.value.field == "sites"
    for foreign in (theirs.pk, uuid.uuid4()):
        with pytest.raises(Http404):
            change_colleague(**how, sites=[taproom.site.pk, foreign])
    assert (again(bob).role, lines_of(bob)) == ("technician", [])


def test_no_stale_change_passes_and_the_same_write_counts_once(people: Cast) -> None:
    by = author(people.alice)
    for _ in range(2):
        change_colleague(by=by, colleague=people.bob, version=1, role="owner")
    assert (again(people.bob).version, len(lines_of(people.bob))) == (2, 1)
    for act in (lambda by: change_colleague(by=by, colleague=people.bob, version=1, role="technician"),
                lambda by: end_membership(by=by, colleague=people.bob, version=1),
                lambda by: hand_over(by=by, colleague=people.bob, version=1)):  # fmt: skip
        with pytest.raises(StaleEdit):
            act(author(people.alice))
    assert (again(people.bob).role, again(people.bob).ended_at) == ("owner", None)


@pytest.mark.parametrize("who", ["bob", "charlie"])
def test_only_an_owner_of_this_organization_decides(people: Cast, who: str) -> None:
    by = author(getattr(people, who))
    if who == "charlie":
        by = author(make.MembershipFactory(organization=people.alice.organization, role="technician"))
    for act in (change_colleague, end_membership, hand_over):
        how = {"role": "owner"} if act is change_colleague else {}
        with pytest.raises(PermissionDenied):
            act(by=by, colleague=people.bob, version=1, **how)  # type: ignore[operator]
    assert again(people.bob).role == "technician"


def test_an_owner_who_was_demoted_meanwhile_decides_nothing_more(people: Cast) -> None:
    """The page was opened, and even the request begun, while Alice was an owner."""
    by = author(people.alice)
    Membership.objects.filter(pk=people.bob.pk).update(role="owner")
    Membership.objects.filter(pk=people.alice.pk).update(role="technician")
    with pytest.raises(PermissionDenied):
        change_colleague(by=by, colleague=people.bob, version=1, role="technician")
    Membership.objects.filter(pk=people.alice.pk).update(role="owner", ended_at=NOON)
    with pytest.raises(PermissionDenied, match="not belong"):
        end_membership(by=by, colleague=people.bob, version=1)
    assert again(people.bob).role == "owner"


def test_an_ended_membership_is_kept_with_who_and_why(people: Cast) -> None:
    by = author(people.alice, why="Moved away.")
    for _ in range(2):
        end_membership(by=by, colleague=people.bob, version=1)
    assert (again(people.bob).ended_at, again(people.bob).role) == (NOON, "technician")
    (line,) = lines_of(people.bob)
    assert (line.verb, line.why, line.created_by) == ("ended", "Moved away.", people.alice.user)
    assert (line.old, line.new) == ({"ended_at": None}, {"ended_at": str(NOON)})
    with pytest.raises(ActionRefused, match="not belong"):
        change_colleague(by=author(people.alice), colleague=people.bob, version=2, role="owner")


def test_the_last_owner_stays_an_owner(people: Cast) -> None:
    alice, at = people.alice, NOON + datetime.timedelta(hours=1)
    refused = "alice@example.org is the last owner, and an organization needs one. Make another member an owner first."
    for act in (lambda: change_colleague(by=author(alice), colleague=alice, version=1, role="technician"),
                lambda: end_membership(by=author(alice), colleague=alice, version=1),
                lambda: leave_organization(by=actor(alice))):  # fmt: skip
        with pytest.raises(ActionRefused) as told:
            act()
        assert told.value.reason == refused
    change_colleague(by=author(alice), colleague=people.bob, version=1, role="owner")
    left = leave_organization(by=Actor(member=alice, at=at, key=uuid.uuid4()))
    assert (left.ended_at, again(people.bob).role) == (at, "owner")


def test_an_ended_owner_is_none_who_remains(people: Cast) -> None:
    make.MembershipFactory(organization=people.alice.organization, ended_at=NOON)
    make.MembershipFactory(organization=people.charlie.organization)
    with pytest.raises(ActionRefused, match="last owner"):
        leave_organization(by=actor(people.alice))


@pytest.mark.parametrize("who", ["bob", "vera"])
def test_anyone_else_may_leave_and_the_history_says_so(people: Cast, who: str) -> None:
    member = getattr(people, who)
    leave_organization(by=actor(member, why="Too far."))
    assert again(member).ended_at == NOON
    (line,) = lines_of(member)
    assert (line.verb, line.created_by, line.why) == ("left", member.user, "Too far.")
    with pytest.raises(PermissionDenied):
        leave_organization(by=actor(member))
    assert len(lines_of(member)) == 1


def test_a_site_viewer_is_still_no_author(people: Cast) -> None:
    """Leaving is open to them, and nothing else."""
    with pytest.raises(PermissionDenied):
        Author(member=people.vera, at=NOON, key=uuid.uuid4())


def test_an_organization_is_handed_over_as_one_write(taproom: TernTaproom) -> None:
    alice, vera, by = taproom.people.alice, taproom.people.vera, author(taproom.people.alice)
    given = hand_over(by=by, colleague=vera, version=1)
    assert (given.role, again(alice).role, vera.sites.count()) == ("owner", "technician", 0)
    assert {line.write for line in (*lines_of(alice), *lines_of(vera))} == {by.write}
    assert lines_of(alice)[0].new == {"role": "technician"}
    assert lines_of(vera)[0].new == {"role": "owner", "sites": []}
    with pytest.raises(PermissionDenied):
        hand_over(by=author(again(alice)), colleague=given, version=2)


def test_nothing_is_handed_over_to_oneself_or_to_who_left(people: Cast) -> None:
    with pytest.raises(ActionRefused, match="owner already"):
        hand_over(by=author(people.alice), colleague=people.alice, version=1)
    Membership.objects.filter(pk=people.bob.pk).update(ended_at=NOON)
    with pytest.raises(ActionRefused, match="not belong"):
        hand_over(by=author(people.alice), colleague=people.bob, version=1)
    assert again(people.alice).role == "owner"
