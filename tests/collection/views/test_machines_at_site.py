"""A person without floors or bays adds a machine by its title and the name of a site."""

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from collection.models import Bay, Floor, Machine, Membership, Site
from tests import factories as make
from tests.worlds import Cast, TernTaproom

SignIn = Callable[[Membership], Client]
URL = reverse("machine_new")
TABLES: tuple[Any, ...] = (Site, Floor, Bay, Machine)


def shown(client: Client, **typed: str) -> dict[str, str]:
    """What a browser sends from the page as it is shown, with what was typed into it."""
    form = client.get(URL).context["form"]
    values = {field.name: field.value() for field in form}
    return {name: str(value) for name, value in values.items() if value not in (None, False)} | typed


def counts() -> list[int]:
    return [table.objects.count() for table in TABLES]


def test_a_title_and_a_site_are_enough(people: Cast, as_member: SignIn) -> None:
    charlie = as_member(people.charlie)
    answer = charlie.post(URL, shown(charlie, title="Tin Kettle", site_name="Ferry Hall"))
    machine = Machine.objects.get()
    assert answer.url == reverse("machine", args=[machine.pk])
    assert (machine.title, machine.code, machine.era, machine.body) == ("Tin Kettle", "M-1", "modern", "standard")
    bay = Bay.objects.get()
    assert (machine.bay, bay.name, bay.floor.name, bay.floor.surface) == (bay, "Bay 1", "Main floor", "concrete")
    assert (bay.floor.site.name, bay.floor.site.time_zone) == ("Ferry Hall", "UTC"), "no script chose another zone"


def test_zone_and_floor_are_shown_and_may_be_chosen(people: Cast, as_member: SignIn) -> None:
    charlie = as_member(people.charlie)
    page = charlie.get(URL).content.decode()
    assert page.count("data-own-zone") == 1
    assert "collection/zone.js" in page
    charlie.post(
        URL, shown(charlie, title="Tin Kettle", site_name="Ferry Hall", time_zone="Asia/Tokyo", surface="timber")
    )
    assert (Site.objects.get().time_zone, Floor.objects.get().surface) == ("Asia/Tokyo", "timber")


def test_a_zone_that_was_typed_is_left_alone_by_the_script(people: Cast, as_member: SignIn) -> None:
    charlie = as_member(people.charlie)
    answer = charlie.post(URL, shown(charlie, title="", site_name="Ferry Hall", time_zone="UTC"))
    assert answer.status_code == 422
    assert "data-own-zone" not in answer.content.decode()
    assert answer.context["form"]["site_name"].value() == "Ferry Hall"
    assert counts() == [0, 0, 0, 0]


def test_the_zone_of_the_newest_site_is_the_next_ones_too(people: Cast, as_member: SignIn) -> None:
    make.SiteFactory(member=people.charlie, time_zone="America/Lima")
    page = as_member(people.charlie).get(URL).content.decode()
    assert '<option value="America/Lima" selected>' in page
    assert "data-own-zone" not in page


def test_sent_twice_everything_is_made_once(people: Cast, as_member: SignIn) -> None:
    charlie = as_member(people.charlie)
    sent = shown(charlie, title="Tin Kettle", site_name="Ferry Hall", write_key=str(uuid.uuid4()))
    answers = {charlie.post(URL, sent).url for _ in range(2)}
    assert answers == {reverse("machine", args=[sent["write_key"]])}
    assert counts() == [1, 1, 1, 1]


def test_the_only_site_is_offered_again_and_gets_one_more_bay(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    page = bob.get(URL)
    assert page.context["form"]["site_name"].value() == "Tern Taproom"
    assert '<option value="Tern Taproom">' in page.content.decode()
    bob.post(URL, shown(bob, title="Tin Kettle"))
    assert Machine.objects.get(title="Tin Kettle").bay.name == "Bay 2"
    assert Site.objects.count() == 1


def test_without_a_site_it_stands_nowhere_yet(people: Cast, as_member: SignIn) -> None:
    charlie = as_member(people.charlie)
    assert charlie.post(URL, shown(charlie, title="Tin Kettle")).status_code == 302
    assert counts() == [0, 0, 0, 1]
    assert Machine.objects.get().bay is None


def test_where_bays_are_free_another_site_is_a_step_away(taproom: TernTaproom, as_member: SignIn) -> None:
    free = make.BayFactory(member=taproom.people.alice, floor=taproom.floor, name="Bay 2")
    bob = as_member(taproom.people.bob)
    page = bob.get(URL).content.decode()
    assert "It stands at another site" in page
    bob.post(URL, shown(bob, title="Tin Kettle", bay=str(free.pk)))
    assert Machine.objects.get(title="Tin Kettle").bay == free
    make.BayFactory(member=taproom.people.alice, floor=taproom.floor, name="Bay 3")
    bob.post(URL, shown(bob, title="Marsh Weather", site_name="Ferry Hall"))
    assert Machine.objects.get(title="Marsh Weather").bay.floor.site.name == "Ferry Hall"


def test_a_bay_and_a_site_at_once_are_refused(taproom: TernTaproom, as_member: SignIn) -> None:
    free = make.BayFactory(member=taproom.people.alice, floor=taproom.floor, name="Bay 2")
    bob, before = as_member(taproom.people.bob), counts()
    answer = bob.post(URL, shown(bob, title="Tin Kettle", bay=str(free.pk), site_name="Ferry Hall"))
    assert answer.status_code == 422
    assert answer.context["form"].errors["site_name"] == ["Choose a free bay or name a site, not both."]
    assert "<details open>" in answer.content.decode(), "the field with the error must show"
    assert counts() == before


def test_a_site_with_two_floors_says_what_to_do(taproom: TernTaproom, as_member: SignIn) -> None:
    make.FloorFactory(member=taproom.people.alice, site=taproom.site, name="Upstairs")
    bob, before = as_member(taproom.people.bob), counts()
    answer = bob.post(URL, shown(bob, title="Tin Kettle", site_name="Tern Taproom"))
    assert answer.status_code == 422
    assert "Tern Taproom has more than one floor" in answer.content.decode()
    assert counts() == before


@pytest.mark.parametrize(
    ("field", "text"),
    [("site_name", "x" * 81), ("site_name", "\x00"), ("site_name", "\u202egnol"), ("time_zone", "Mars/Olympus"),
     ("time_zone", "../etc"), ("surface", "jelly")],
)  # fmt: skip
def test_it_refuses_and_keeps_what_was_typed(people: Cast, as_member: SignIn, field: str, text: str) -> None:
    charlie = as_member(people.charlie)
    answer = charlie.post(URL, shown(charlie, **{"title": "Tin Kettle", "site_name": "Ferry Hall", field: text}))
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {field}
    assert answer.context["form"][field].value() == text
    assert counts() == [0, 0, 0, 0]


def test_markup_in_a_sites_name_stays_text(people: Cast, as_member: SignIn) -> None:
    charlie = as_member(people.charlie)
    charlie.post(URL, shown(charlie, title="Tin Kettle", site_name='"><script>alert(1)</script>'))
    page = charlie.get(URL).content.decode()
    assert "<script>alert" not in page
    assert Site.objects.get().name == '"><script>alert(1)</script>'
