"""What one action makes when a machine is added at a site by its name: bay, and what is missing of floor and site."""

import uuid
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from collection.actions import machines as actions
from collection.actions.record import ActionRefused, KeyUsed
from collection.models import Bay, Change, Floor, Leg, Machine, Site, Spec, Standing
from tests import factories as make
from tests.collection.actions.test_machines import FIELDS
from tests.surveying import author
from tests.worlds import Cast, TernTaproom

PLACE = {"site_name": "Ferry Hall", "time_zone": "Europe/Lisbon", "surface": "timber"}
TABLES: tuple[Any, ...] = (Site, Floor, Bay, Machine, Leg, Spec, Standing, Change)


def added(member: Any, key: uuid.UUID | None = None, **changes: Any) -> Machine:
    return actions.create_machine_at_site(by=author(member, key=key), pitch_deg=None, **{**PLACE, **FIELDS, **changes})


def counts() -> list[int]:
    return [table.objects.count() for table in TABLES]


def test_an_empty_book_gets_a_site_a_floor_a_bay_and_the_machine(people: Cast) -> None:
    machine = added(people.charlie)
    bay = Bay.objects.get()
    assert (machine.bay, bay.name, bay.floor.name, bay.floor.surface) == (bay, "Bay 1", "Main floor", "timber")
    assert (bay.floor.site.name, bay.floor.site.time_zone) == ("Ferry Hall", "Europe/Lisbon")
    assert Standing.objects.get(machine=machine).bay == bay
    assert {row.organization for table in TABLES for row in table.objects.all()} == {people.charlie.organization}


def test_every_row_leaves_a_line_of_this_author(people: Cast) -> None:
    added(people.charlie)
    lines = Change.objects.filter(created_by=people.charlie.user, verb="added")
    assert sorted(lines.values_list("noun", flat=True)) == sorted(
        ["site", "floor", "bay", "machine", "spec", "standing", *["leg"] * 4]
    )


def test_sent_twice_everything_is_made_once(people: Cast) -> None:
    key = uuid.uuid4()
    first = added(people.charlie, key)
    before = counts()
    assert added(people.charlie, key) == first
    assert counts() == before


def test_a_key_of_another_write_is_refused(taproom: TernTaproom) -> None:
    with pytest.raises(KeyUsed):
        actions.create_machine_at_site(
            by=author(taproom.people.bob, key=taproom.machine.pk), pitch_deg=None, **PLACE, **FIELDS
        )


@pytest.mark.parametrize("name", ["Tern Taproom", "tern taproom"])
def test_a_site_of_that_name_gets_one_more_bay(taproom: TernTaproom, name: str) -> None:
    sites, floors = Site.objects.count(), Floor.objects.count()
    machine = added(taproom.people.bob, site_name=name)
    assert (machine.bay.floor, machine.bay.name) == (taproom.floor, "Bay 2")
    assert (Site.objects.count(), Floor.objects.count()) == (sites, floors)
    assert taproom.floor.surface == "concrete", "what was asked of a new site changes nothing here"


def test_the_same_letters_win_over_the_same_word(taproom: TernTaproom) -> None:
    other = make.SiteFactory(member=taproom.people.alice, name="tern taproom")
    assert added(taproom.people.bob, site_name="tern taproom").bay.floor.site == other
    assert added(taproom.people.bob, site_name="Tern Taproom", code="TK-2").bay.floor.site == taproom.site


def test_bays_are_numbered_on_and_stand_apart_on_the_drawing(people: Cast) -> None:
    bays = [added(people.charlie, code=f"TK-{number}").bay for number in range(20)]
    assert [bay.name for bay in bays] == [f"Bay {number}" for number in range(1, 21)]
    floor = bays[0].floor
    spots = {(bay.x_mm, bay.y_mm) for bay in bays}
    assert len(spots) == 20
    assert all(0 <= x <= floor.width_mm and 0 <= y <= floor.depth_mm for x, y in spots)


def test_a_floor_smaller_than_a_machine_still_takes_one(taproom: TernTaproom) -> None:
    Floor.objects.update(width_mm=500, depth_mm=500)
    bay = added(taproom.people.bob, site_name="Tern Taproom").bay
    assert (bay.x_mm, bay.y_mm) == (500, 0)


def test_an_archived_site_is_not_meant(taproom: TernTaproom) -> None:
    Site.objects.filter(pk=taproom.site.pk).update(archived_at=timezone.now())
    assert added(taproom.people.bob, site_name="Tern Taproom").bay.floor.site != taproom.site


def test_another_organizations_site_is_not_meant(taproom: TernTaproom) -> None:
    site = added(taproom.people.charlie, site_name="Tern Taproom").bay.floor.site
    assert (site.organization, site.pk == taproom.site.pk) == (taproom.people.charlie.organization, False)


def test_which_of_several_floors_is_for_people_to_say(taproom: TernTaproom) -> None:
    make.FloorFactory(member=taproom.people.alice, site=taproom.site, name="Upstairs")
    before = counts()
    with pytest.raises(ActionRefused, match="more than one floor") as refused:
        added(taproom.people.bob, site_name="Tern Taproom")
    assert refused.value.field == "site_name"
    assert counts() == before


@pytest.mark.parametrize("changes", [{"code": "LR-1"}, {"track_front_mm": 1.0}, {"era": "baroque"}])
def test_a_machine_that_cannot_be_leaves_no_site_behind(taproom: TernTaproom, changes: dict[str, Any]) -> None:
    before = counts()
    with pytest.raises(Exception, match=r"."):
        added(taproom.people.bob, **changes)
    assert counts() == before


def test_a_reader_makes_nothing(taproom: TernTaproom) -> None:
    before = counts()
    with pytest.raises(PermissionDenied):
        added(taproom.people.vera)
    assert counts() == before
