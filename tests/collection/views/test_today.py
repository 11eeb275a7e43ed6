"""The first page: what needs someone, worst first."""

import re
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from collection.models import Machine, MachineStatus, Membership
from tests import factories as make
from tests.crowd import crowd
from tests.worlds import TernTaproom

SignIn = Callable[[Membership], Client]
URL = reverse("today")


def machine(taproom: TernTaproom, title: str, verdict: str, chance: float | None) -> Machine:
    made: Machine = make.MachineFactory(member=taproom.people.alice, title=title)
    MachineStatus.objects.filter(machine=made).update(verdict=verdict, chance=chance)
    return made


def test_it_shows_the_worst_first_in_groups_with_counts(taproom: TernTaproom, as_member: SignIn) -> None:
    for title, verdict, chance in (
        ("Tin Kettle", "in", 0.9), ("Paper Lighthouse", "out", 0.3), ("Marsh Weather", "borderline", 0.5),
        ("Brass Snail", "out", 0.01),
    ):  # fmt: skip
        machine(taproom, title, verdict, chance)
    answer = as_member(taproom.people.bob).get(URL)
    titles = [row.machine.title for row in answer.context["machines"]["rows"]]
    assert titles == ["Brass Snail", "Paper Lighthouse", "Marsh Weather", "Lantern Reef", "Tin Kettle"]
    page = answer.content.decode()
    places = [page.index(f"<h2>{words}</h2>") for words in ("Out of spec", "Borderline", "Never surveyed", "In spec")]
    assert places == sorted(places)
    tally = [(tile["count"], tile["url"]) for tile in answer.context["machines"]["tally"]]
    assert tally == [(2, "?verdict=out"), (1, "?verdict=borderline"), (1, "?verdict=never"), (1, "?verdict=in")]
    assert re.search(r'href="\?verdict=out"><b><svg.*?</svg>2</b> out of spec</a>', page)


def test_a_row_says_place_bars_verdict_and_next_step(taproom: TernTaproom, as_member: SignIn) -> None:
    assert taproom.survey.verdict == "out"
    page = as_member(taproom.people.bob).get(URL).content.decode()
    for words in ("Tern Taproom · Bay 1", "left high", "out of spec", "2 lifts"):
        assert words in page
    assert page.count('class="figure bar-picture"') == 2, "the gap is no news where all feet bear"


def test_an_archived_machine_does_not_show(taproom: TernTaproom, as_member: SignIn) -> None:
    Machine.objects.filter(pk=taproom.machine.pk).update(archived_at=timezone.now())
    answer = as_member(taproom.people.bob).get(URL)
    assert list(answer.context["machines"]["rows"]) == []
    assert answer.context["machines"]["counts"] == {"out": 0, "borderline": 0, "never": 0, "in": 0}


def test_a_viewer_sees_her_site_and_no_first_steps(taproom: TernTaproom, as_member: SignIn) -> None:
    machine(taproom, "Tin Kettle", "out", 0.1)  # at another site
    answer = as_member(taproom.people.vera).get(URL)
    assert [row.machine.title for row in answer.context["machines"]["rows"]] == ["Lantern Reef"]
    assert answer.context["machines"]["counts"]["out"] == 0
    assert "First steps" not in answer.content.decode()


def test_search_and_htmx(taproom: TernTaproom, as_member: SignIn) -> None:
    machine(taproom, "Tin Kettle", "out", 0.1)
    answer = as_member(taproom.people.bob).get(URL, {"q": "kettle"}, headers={"HX-Request": "true"})
    assert [row.machine.title for row in answer.context["machines"]["rows"]] == ["Tin Kettle"]
    assert answer.content.decode().lstrip().startswith('<div id="today-rows"')
    assert "HX-Request" in answer.headers["Vary"]


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


@pytest.mark.django_db
def test_the_welcome_page_leads_to_sign_up_and_sign_in() -> None:
    page = Client().get(reverse("welcome")).content.decode()
    assert reverse("account_signup") in page
    assert reverse("account_login") in page
