"""The list by due date: who is first, what stands together, what narrows it, and what Today says of it."""

import datetime
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from collection import models
from tests import factories as make
from tests.collection.views.test_today import machine
from tests.crowd import crowd
from tests.surveying import survey_of
from tests.worlds import TernTaproom

SignIn = Callable[[models.Membership], Client]
URL = reverse("due")
DAY = datetime.timedelta(days=1)


def due_in(days: float | None, row: models.Machine, quantity: str = "roll") -> None:
    at = None if days is None else timezone.now() + days * DAY
    models.MachineStatus.objects.filter(machine=row).update(due_at=at, due_quantity=quantity)


@pytest.fixture
def route(taproom: TernTaproom) -> TernTaproom:
    """One machine for each span of time, and Lantern Reef, which nobody surveyed."""
    for title, days in (("Later", 90), ("Now", -3), ("Month", 20), ("Week", 5)):
        due_in(days, machine(taproom, title, "in", 0.95))
    return taproom


def test_the_sooner_the_higher_and_what_nobody_can_tell_comes_last(route: TernTaproom, as_member: SignIn) -> None:
    answer = as_member(route.people.bob).get(URL)
    rows = answer.context["machines"]["rows"].object_list
    assert [row.machine.title for row in rows] == ["Now", "Week", "Month", "Later", "Lantern Reef"]
    assert [row.due_group for row in rows] == ["now", "week", "month", "later", "never"]
    page = answer.content.decode()
    heads = [page.index(f"<h2>{words}") for words in ("Due now", "Within a week", "Within a month", "Later",
                                                     "No date yet")]  # fmt: skip
    assert heads == sorted(heads)
    assert page.count(" for its roll") == 4
    assert page.count("due since") == 1


def test_it_narrows_by_words_and_site(route: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(route.people.bob)
    answer = bob.get(URL, {"q": "mont"}, headers={"HX-Request": "true"})
    assert [row.machine.title for row in answer.context["machines"]["rows"]] == ["Month"]
    assert answer.content.decode().lstrip().startswith('<div id="due-rows"')
    answer = bob.get(URL, {"site": str(route.site.pk)})
    assert [row.machine.title for row in answer.context["machines"]["rows"]] == ["Lantern Reef"]


def test_a_viewer_sees_her_site_alone(route: TernTaproom, as_member: SignIn) -> None:
    rows = as_member(route.people.vera).get(URL).context["machines"]["rows"]
    assert [row.machine.title for row in rows] == ["Lantern Reef"]


def test_an_empty_book_says_what_will_stand_here(as_member: SignIn, people: object) -> None:
    owner = make.MembershipFactory(organization=make.OrganizationFactory(), role="owner")
    assert "Once one is surveyed" in as_member(owner).get(URL).content.decode()


def test_today_puts_what_is_due_this_week_before_the_rest_in_spec(route: TernTaproom, as_member: SignIn) -> None:
    answer = as_member(route.people.bob).get(reverse("today"))
    rows = answer.context["machines"]["rows"].object_list
    assert [(row.need, row.machine.title) for row in rows] == [
        ("never", "Lantern Reef"), ("due", "Now"), ("due", "Week"), ("in", "Later"), ("in", "Month"),
    ]  # fmt: skip
    assert "<h2>In spec, but due by next week" in answer.content.decode()
    assert URL in answer.content.decode()


def test_a_survey_sets_its_date_and_turning_takes_it_away(taproom: TernTaproom, as_member: SignIn) -> None:
    status = models.MachineStatus.objects.get(machine=taproom.machine)
    assert status.due_at is None
    survey = survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument)
    status.refresh_from_db()
    assert status.due_at
    assert status.due_at > survey.measured_at
    assert status.due_quantity in ("pitch", "roll", "gap")
    row = as_member(taproom.people.bob).get(URL).context["machines"]["rows"].object_list[0]
    shown = as_member(taproom.people.bob).get(reverse("machine", args=[taproom.machine.pk])).context["seen"].forecast
    assert row.due_on == shown.due_on, "the list and the machine's page say the same"


def test_it_asks_as_often_for_3_machines_as_for_30(taproom: TernTaproom, as_member: SignIn) -> None:
    assert taproom.survey
    bob = as_member(taproom.people.bob)
    asked = []
    for more in (2, 27):
        crowd(taproom, more)
        bob.get(URL)
        with CaptureQueriesContext(connection) as queries:
            bob.get(URL)
        asked.append(len(queries))
    assert asked[0] == asked[1] <= 9
