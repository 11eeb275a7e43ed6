"""Two people edit one row: the second sees both values of each field that both touch, chooses, and nothing is lost."""

from collections.abc import Callable
from typing import Any
from unittest import mock

import pytest
from django.core import signing
from django.test import Client
from django.urls import get_resolver, reverse

from collection import models
from collection.actions.machines import move_machine
from collection.forms.base import EditForm
from tests import factories as make
from tests.collection.access.table import ROWS
from tests.collection.forms.test_hostile_posts import fields_of
from tests.surveying import author
from tests.worlds import TernTaproom

SignIn = Callable[[models.Membership], Client]

#: Every page that edits a row: a field that only Alice changes, one that only Bob does, one that both do (Alice's value
#: first); each what the page sends before and after.
PAGES: list[tuple[str, str, tuple[str, str], tuple[str, str], tuple[str, str, str]]] = [
    ("site_edit", "site", ("notes", "Ring twice."), ("name", "Tern Vault"), ("address", "4 Mudflat Lane", "6 Mudflat")),
    ("floor_edit", "floor", ("name", "Cellar"), ("surface", "timber"), ("depth_mm", "6100", "6200")),
    ("bay_edit", "bay", ("name", "By the bar"), ("heading_deg", "90"), ("x_mm", "1100", "1200")),
    ("machine_edit", "machine", ("base_mm", "1310"), ("era", "early_solid_state"), ("title", "Tin Kettle", "Moth")),
    ("machine_legs", "machine", ("FL_pad_mm", "3"), ("RR_length_mm", "730"), ("FR_exposure_mm", "13", "14")),
    (
        "machine_spec",
        "machine",
        ("pitch_deg", "6.4"),
        ("gap_tolerance_mm", "0.7"),
        ("roll_tolerance_deg", "0.3", "0.2"),
    ),
    ("instrument_edit", "instrument", ("name", "Red level"), ("alignment_deg", "0.5"), ("base_mm", "240", "250")),
    ("instrument_edit", "vial", ("name", "The vial"), ("deg_per_line", "0.4"), ("middle_deg", "6.4", "6.6")),
    ("organization_edit", "", ("name", "Saltmarsh"), ("angle_unit", "mm_per_m"), ("length_unit", "in", "in")),
]
NAMES = [f"{page}-{noun}" for page, noun, *_ in PAGES]


def opened(client: Client, url: str) -> dict[str, str]:
    """What a page would send as it stands."""
    return fields_of(client.get(url).content.decode()).sent


def page_of(answer: Any) -> dict[str, str]:
    """What a page that came back would send: the choices as they are made for the person, and what was typed."""
    return fields_of(answer.content.decode()).sent


@pytest.fixture
def alice(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.alice)


@pytest.fixture
def bob(taproom: TernTaproom) -> Client:
    """Bob, who is an owner here, since owners alone change the organization."""
    models.Membership.objects.filter(pk=taproom.people.bob.pk).update(role="owner")
    client = Client()
    client.force_login(taproom.people.bob.user)
    return client


def address(taproom: TernTaproom, name: str, noun: str) -> str:
    return reverse(name, args=[getattr(taproom, noun).pk] if noun else [])


def lines_of(user: models.User) -> int:
    return models.Change.objects.filter(created_by=user).exclude(verb="added").count()


def test_every_page_that_edits_is_here() -> None:
    """Pages of the access table whose form remembers a version, but those of a move, which has tests of its own."""
    edits = {name for name, *_ in PAGES} | {"machine_move", "colleague_edit"}
    named = {row.name for row in ROWS if row.name.endswith("_edit")} | {"machine_legs", "machine_spec", "machine_move"}
    assert named == edits
    assert {entry.name for entry in get_resolver().url_patterns if hasattr(entry, "name")} >= edits


def subclasses(of: type[Any]) -> set[str]:
    return {each.__name__ for each in of.__subclasses__()} | {
        n for each in of.__subclasses__() for n in subclasses(each)
    }


def test_every_form_that_edits_is_one_of_these(taproom: TernTaproom, alice: Client) -> None:
    """A new edit form without a row above fails here."""
    shown = {type(alice.get(address(taproom, name, noun)).context["form"]).__name__ for name, noun, *_ in PAGES}
    others = {"MoveForm", "ColleagueForm"}  # tried below
    without = {"ReasonForm", "EndForm", "HandOverForm", "InvitationEditForm"}  # nothing of a row stands in them
    assert subclasses(EditForm) - others - without == shown


@pytest.mark.parametrize(("name", "noun", "mine", "theirs", "both"), PAGES, ids=NAMES)
def test_each_field_goes_its_own_way(
    taproom: TernTaproom, alice: Client, bob: Client, name: str, noun: str,
    mine: tuple[str, str], theirs: tuple[str, str], both: tuple[str, str, str],
) -> None:  # fmt: skip
    url, why = address(taproom, name, noun), {"why": "Plays better."} if name == "machine_spec" else {}
    page, theirs_page = opened(alice, url) | why, opened(bob, url) | why
    field, my_value, their_value = both
    assert bob.post(url, theirs_page | dict([theirs]) | {field: their_value}).status_code == 302
    now, lines = opened(alice, url), models.Change.objects.count()

    told = alice.post(url, page | dict([mine]) | {field: my_value})
    same = my_value == their_value
    assert told.status_code == 409
    assert models.Change.objects.count() == lines
    assert opened(alice, url).items() >= {k: v for k, v in now.items() if k in (field, mine[0], theirs[0])}.items()
    asked = told.context["form"].clashes
    assert set(asked) == ({theirs[0]} if same else {theirs[0], field})
    assert asked[theirs[0]].picked == "theirs"
    assert "bob@example.org" in told.content.decode()
    assert same or asked[field].picked == "yours"

    saved = alice.post(url, page_of(told) | why)
    assert saved.status_code == 302, saved.context["form"].errors
    merged = opened(alice, url)
    assert {each: merged[each] for each in (mine[0], theirs[0], field)} == dict([mine, theirs, (field, my_value)])
    untouched = merged.keys() - {
        mine[0],
        theirs[0],
        field,
        "write_key",
        "version",
        "opened_with",
        "csrfmiddlewaretoken",
    }
    assert {each: merged[each] for each in untouched} == {each: now[each] for each in untouched}
    assert {line.created_by.email for line in models.Change.objects.select_related("created_by")} >= {
        "alice@example.org", "bob@example.org",
    }  # fmt: skip


@pytest.mark.parametrize(("name", "noun", "mine", "theirs", "both"), PAGES, ids=NAMES)
def test_theirs_can_be_taken_and_a_third_change_is_asked_again(
    taproom: TernTaproom, alice: Client, bob: Client, name: str, noun: str,
    mine: tuple[str, str], theirs: tuple[str, str], both: tuple[str, str, str],
) -> None:  # fmt: skip
    url, why = address(taproom, name, noun), {"why": "Plays better."} if name == "machine_spec" else {}
    page = opened(alice, url) | why
    assert bob.post(url, opened(bob, url) | why | dict([theirs])).status_code == 302
    told = alice.post(url, page | dict([mine, (theirs[0], page[theirs[0]])]))
    assert told.status_code == 409
    answered = page_of(told) | why
    assert answered[f"merge-{theirs[0]}"] == "theirs"

    assert bob.post(url, opened(bob, url) | why | {both[0]: both[2]}).status_code == 302
    again = alice.post(url, answered)
    assert again.status_code == 409
    assert set(again.context["form"].clashes) == {both[0]}
    assert again.context["form"].clashes[both[0]].picked == "theirs"
    assert alice.post(url, page_of(again) | why).status_code == 302
    merged = opened(alice, url)
    assert {each: merged[each] for each in (mine[0], theirs[0], both[0])} == dict([mine, theirs, (both[0], both[2])])


def test_yours_can_be_kept_over_theirs_where_only_they_changed(
    taproom: TernTaproom, alice: Client, bob: Client
) -> None:
    url = reverse("bay_edit", args=[taproom.bay.pk])
    page = opened(alice, url)
    closed = opened(bob, url)
    del closed["rear_reachable"]
    assert bob.post(url, closed).status_code == 302
    told = alice.post(url, page | {"name": "By the bar"})
    assert told.status_code == 409
    clash = told.context["form"].clashes["rear_reachable"]
    assert (clash.yours, clash.theirs, clash.picked) == (["yes"], ["no"], "theirs")
    assert alice.post(url, page_of(told) | {"merge-rear_reachable": "yours"}).status_code == 302
    taproom.bay.refresh_from_db()
    assert (taproom.bay.name, taproom.bay.rear_reachable, taproom.bay.version) == ("By the bar", True, 3)


def test_a_tick_of_theirs_is_taken(taproom: TernTaproom, alice: Client, bob: Client) -> None:
    url = reverse("bay_edit", args=[taproom.bay.pk])
    page = opened(alice, url)
    closed = opened(bob, url)
    del closed["rear_reachable"]
    assert bob.post(url, closed).status_code == 302
    told = alice.post(url, page | {"name": "By the bar"})
    assert alice.post(url, page_of(told)).status_code == 302
    taproom.bay.refresh_from_db()
    assert (taproom.bay.name, taproom.bay.rear_reachable) == ("By the bar", False)


def test_what_touches_no_field_of_the_page_asks_nothing(taproom: TernTaproom, alice: Client) -> None:
    """Bob moves the machine while Alice writes its title: neither is in the other's way."""
    free = make.BayFactory(member=taproom.people.alice, floor=taproom.floor)
    url = reverse("machine_edit", args=[taproom.machine.pk])
    page = opened(alice, url)
    move_machine(by=author(taproom.people.bob), machine=taproom.machine, version=1, bay=free.pk, why="")
    assert alice.post(url, page | {"title": "Tin Kettle"}).status_code == 302
    taproom.machine.refresh_from_db()
    assert (taproom.machine.title, taproom.machine.bay, taproom.machine.version) == ("Tin Kettle", free, 3)


def test_the_same_change_by_both_asks_nothing(taproom: TernTaproom, alice: Client, bob: Client) -> None:
    url = reverse("floor_edit", args=[taproom.floor.pk])
    page, theirs = opened(alice, url), opened(bob, url)
    assert bob.post(url, theirs | {"depth_mm": "6100"}).status_code == 302
    assert alice.post(url, page | {"depth_mm": "6100.0"}).status_code == 302
    taproom.floor.refresh_from_db()
    assert (taproom.floor.depth_mm, taproom.floor.version) == (6100, 2)


@pytest.mark.parametrize("shown", ["", "nonsense", "touched", "\x00"])
def test_without_what_the_page_showed_every_difference_is_asked(
    taproom: TernTaproom, alice: Client, bob: Client, shown: str
) -> None:
    url = reverse("site_edit", args=[taproom.site.pk])
    page = opened(alice, url)
    carried = page["opened_with"][:-3] + "abc" if shown == "touched" else shown
    assert bob.post(url, page | {"address": "6 Mudflat Lane"}).status_code == 302
    told = alice.post(url, page | {"notes": "Ring twice.", "opened_with": carried})
    if shown == "\x00":  # refused before anything else
        assert told.status_code == 422
        return
    assert told.status_code == 409
    assert {name: clash.picked for name, clash in told.context["form"].clashes.items()} == {
        "address": "yours", "notes": "yours",
    }  # fmt: skip


def test_an_answer_without_its_page_is_asked_again(taproom: TernTaproom, alice: Client, bob: Client) -> None:
    """Whatever a body claims, theirs is taken from a page of ours alone."""
    url = reverse("site_edit", args=[taproom.site.pk])
    page = opened(alice, url)
    assert bob.post(url, page | {"address": "6 Mudflat Lane"}).status_code == 302
    forged = signing.dumps({"version": 2, "parts": {"address": {"address": "Nowhere"}}}, key="another", salt="x")
    told = alice.post(url, page | {"merge-address": "theirs", "merge-with": forged})
    assert told.status_code == 409
    assert models.Site.objects.get(pk=taproom.site.pk).address == "6 Mudflat Lane"


def test_what_is_merged_is_checked_as_a_whole(taproom: TernTaproom, alice: Client, bob: Client) -> None:
    """Bob shortens the travel, Alice writes a longer exposure: together they make no sense, and that is told."""
    url = reverse("machine_legs", args=[taproom.machine.pk])
    page, theirs = opened(alice, url), opened(bob, url)
    assert bob.post(url, theirs | {"FL_travel_mm": "20"}).status_code == 302
    told = alice.post(url, page | {"FL_exposure_mm": "30"})
    assert told.status_code == 409
    refused = alice.post(url, page_of(told))
    assert refused.status_code == 422
    assert refused.context["form"]["FL_exposure_mm"].value() == "30"
    assert "more than its travel" in refused.content.decode()


def test_turns_recorded_meanwhile_are_theirs(taproom: TernTaproom, alice: Client, bob: Client) -> None:
    url = reverse("machine_legs", args=[taproom.machine.pk])
    page = opened(alice, url)
    turned = reverse("plan_turned", args=[taproom.plan.pk])
    assert bob.post(turned, {"lift": "1", "as_shown": "on"}).status_code == 302
    exposures = list(taproom.machine.legs.order_by("place").values_list("exposure_mm", flat=True))
    told = alice.post(url, page | {"FL_pad_mm": "3"})
    assert told.status_code == 409
    clashes = told.context["form"].clashes.values()
    assert clashes
    assert {clash.picked for clash in clashes} == {"theirs"}
    assert {clash.by for clash in clashes} == {"bob@example.org"}
    assert alice.post(url, page_of(told)).status_code == 302
    assert list(taproom.machine.legs.order_by("place").values_list("exposure_mm", flat=True)) == exposures
    assert taproom.machine.legs.get(place=0).pad_mm == 3


def test_a_unit_goes_with_its_numbers(taproom: TernTaproom, alice: Client, bob: Client) -> None:
    """0.05 was meant in degrees: it is never kept beside another unit."""
    url = reverse("instrument_edit", args=[taproom.instrument.pk])
    page, theirs = opened(alice, url), opened(bob, url)
    mm = {"unit": "mm_per_m", "resolution": "1", "accuracy": "1"}
    assert bob.post(url, theirs | mm).status_code == 302
    told = alice.post(url, page | {"resolution": "0.05"})
    assert told.status_code == 409
    clash = told.context["form"].clashes["unit"]
    assert set(told.context["form"].clashes) == {"unit", "resolution", "accuracy"}
    assert clash.picked == "yours"
    assert len(clash.theirs) == 3
    taken = alice.post(url, page_of(told) | {"merge-unit": "theirs"})
    assert taken.status_code == 302
    assert {name: opened(alice, url)[name] for name in mm} == mm


@pytest.mark.parametrize("chosen", ["yours", "theirs"])
def test_an_instrument_made_another_kind_meanwhile(
    taproom: TernTaproom, alice: Client, bob: Client, chosen: str
) -> None:
    url = reverse("instrument_edit", args=[taproom.instrument.pk])
    page = opened(alice, url)
    as_blocks = fields_of(bob.get(f"{url}?kind=blocks").content.decode()).sent
    assert bob.post(url, as_blocks | {"block_tolerance_deg": "0.2"}).status_code == 302
    told = alice.post(url, page | {"name": "Red level", "repeat_deg": "0.02"})
    assert told.status_code == 409
    clash = next(iter(told.context["form"].clashes.values()))
    assert (clash.key, clash.picked) == ("kind", "yours")
    assert "Kind: Angle blocks with a bubble" in clash.theirs
    assert alice.post(url, page_of(told) | {"merge-kind": chosen}).status_code == 302
    taproom.instrument.refresh_from_db()
    level = taproom.instrument
    assert level.name == "Red level"
    assert (level.kind, level.repeat_deg, level.block_tolerance_deg) == (
        ("digital_level", 0.02, 0.2) if chosen == "yours" else ("blocks", 0.03, 0.2)
    )


@pytest.mark.parametrize("chosen", ["yours", "theirs"])
def test_two_people_move_one_machine(taproom: TernTaproom, alice: Client, bob: Client, chosen: str) -> None:
    one, other = (make.BayFactory(member=taproom.people.alice, floor=taproom.floor, name=n) for n in ("Bay 2", "Bay 3"))
    url = reverse("machine_move", args=[taproom.machine.pk])
    page, theirs = opened(alice, url), opened(bob, url)
    assert bob.post(url, theirs | {"bay": str(one.pk)}).status_code == 302
    told = alice.post(url, page | {"bay": str(other.pk), "why": "Swap"})
    assert told.status_code == 409
    clash = told.context["form"].clashes["bay"]
    assert clash.yours == ["Bay 3"] or "Bay 3" in clash.yours[0]
    assert "Bay 2" in clash.theirs[0]
    assert clash.by == "bob@example.org"
    assert alice.post(url, page_of(told) | {"merge-bay": chosen}).status_code == 302
    taproom.machine.refresh_from_db()
    assert taproom.machine.bay == (other if chosen == "yours" else one)
    assert models.Standing.objects.filter(machine=taproom.machine).count() == (2 if chosen == "yours" else 1)


def test_a_row_read_just_before_the_others_write_is_read_anew(taproom: TernTaproom, alice: Client, bob: Client) -> None:
    """Between what the view reads and what it writes, Bob's edit is stored: Alice sees his value all the same."""
    url = reverse("site_edit", args=[taproom.site.pk])
    page, theirs = opened(alice, url), opened(bob, url)
    written: list[int] = []

    def just_before(member: models.Membership, pk: Any) -> models.Site:
        read = models.Site.objects.get(pk=pk)
        if member.user_id == taproom.people.alice.user_id and not written:
            written.append(0)
            written[0] = bob.post(url, theirs | {"address": "6 Mudflat Lane"}).status_code
        return read

    with mock.patch("collection.access.site_for", side_effect=just_before):
        told = alice.post(url, page | {"address": "4 Mudflat Lane"})
    assert written == [302]
    assert told.status_code == 409
    assert told.context["form"].clashes["address"].theirs == ["6 Mudflat Lane"]


def test_a_piece_asked_by_script_is_answered_alike(taproom: TernTaproom, alice: Client, bob: Client) -> None:
    url = reverse("site_edit", args=[taproom.site.pk])
    page, theirs = opened(alice, url), opened(bob, url)
    assert bob.post(url, theirs | {"address": "6 Mudflat Lane"}).status_code == 302
    told = alice.post(url, page | {"address": "4 Mudflat Lane"}, headers={"HX-Request": "true"})
    assert told.status_code == 409
    assert page_of(told)["merge-address"] == "yours"


def test_a_kept_sending_is_asked_and_then_acknowledged(taproom: TernTaproom, alice: Client, bob: Client) -> None:
    """What a device keeps is no different: 409 with the page, and 201 once it was chosen."""
    url, keep = reverse("machine_legs", args=[taproom.machine.pk]), {"X-Keep": taproom.people.alice.signature}
    page, theirs = opened(alice, url), opened(bob, url)
    assert bob.post(url, theirs | {"FL_exposure_mm": "13"}).status_code == 302
    told = alice.post(url, page | {"FL_exposure_mm": "14"}, headers=keep)
    assert (told.status_code, told.has_header("X-Kept")) == (409, False)
    assert alice.post(url, page_of(told), headers=keep).status_code == 201
    assert taproom.machine.legs.get(place=0).exposure_mm == 14


def test_the_page_asks_the_database_a_fixed_number_of_times(
    taproom: TernTaproom, alice: Client, bob: Client, django_assert_max_num_queries: Any
) -> None:
    url = reverse("machine_legs", args=[taproom.machine.pk])
    page, theirs = opened(alice, url), opened(bob, url)
    assert bob.post(url, theirs | {"FL_exposure_mm": "13", "RR_pad_mm": "2"}).status_code == 302
    with django_assert_max_num_queries(25):
        assert alice.post(url, page | {"FL_exposure_mm": "14"}).status_code == 409


@pytest.mark.parametrize(("chosen", "role", "sites"), [("yours", "viewer", 2), ("theirs", "technician", 0)])
def test_a_role_goes_with_its_sites(
    taproom: TernTaproom, alice: Client, bob: Client, chosen: str, role: str, sites: int
) -> None:
    """Alice opens another site to Vera, whom Bob makes a technician meanwhile."""
    vera, ferry = taproom.people.vera, make.SiteFactory(member=taproom.people.alice, name="Ferry Hall")
    url = reverse("colleague_edit", args=[vera.pk])
    page = opened(alice, url)
    assert bob.post(url, opened(bob, url) | {"role": "technician", "sites": []}).status_code == 302
    both = {"sites": [str(taproom.site.pk), str(ferry.pk)]}
    told = alice.post(url, page | both)
    assert told.status_code == 409
    assert {name: clash.leader for name, clash in told.context["form"].clashes.items()} == {
        "role": "role",
        "sites": "role",
    }
    seen = told.content.decode()
    assert "Ferry Hall" in seen
    assert "Technician" in seen
    assert all(f'type="hidden" name="sites" value="{key}"' in seen for key in both["sites"])
    assert alice.post(url, page_of(told) | both | {"merge-role": chosen}).status_code == 302
    vera.refresh_from_db()
    assert (vera.role, vera.sites.count()) == (role, sites)
