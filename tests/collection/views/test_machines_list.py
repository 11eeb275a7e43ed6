"""A person looks for machines: by words, by verdict, by site, page by page."""

from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from collection.models import Machine, MachineStatus, Membership
from tests import factories as make
from tests.crowd import crowd
from tests.worlds import TernTaproom

SignIn = Callable[[Membership], Client]
URL = reverse("machines")


@pytest.fixture
def second(taproom: TernTaproom) -> Machine:
    """Tin Kettle in Ferry Hall, out of spec."""
    bay = make.BayFactory(member=taproom.people.alice, floor__site__name="Ferry Hall")
    machine: Machine = make.MachineFactory(member=taproom.people.alice, bay=bay, title="Tin Kettle", code="TK-9")
    MachineStatus.objects.filter(machine=machine).update(verdict="out", next_step="Make a leg plan")
    return machine


def titles(client: Client, **query: str) -> list[str]:
    answer = client.get(URL, query)
    assert answer.status_code == 200
    return [row.machine.title for row in answer.context["machines"]["rows"]]


def test_it_lists_by_title(taproom: TernTaproom, second: Machine, as_member: SignIn) -> None:
    assert titles(as_member(taproom.people.bob)) == ["Lantern Reef", "Tin Kettle"]


@pytest.mark.parametrize("words", ["kettle", "TK-9", "ferry", "  tin "])
def test_it_finds_by_title_code_or_site(taproom: TernTaproom, second: Machine, as_member: SignIn, words: str) -> None:
    assert titles(as_member(taproom.people.bob), q=words) == ["Tin Kettle"]


def test_it_filters_by_verdict_and_by_site(taproom: TernTaproom, second: Machine, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    assert titles(bob, verdict="out") == ["Tin Kettle"]
    assert titles(bob, verdict="never") == ["Lantern Reef"]
    assert titles(bob, site=str(taproom.site.pk)) == ["Lantern Reef"]
    assert titles(bob, site=str(taproom.site.pk), verdict="out") == []


@pytest.mark.parametrize("query", [{"verdict": "superb"}, {"site": "Tern"}, {"page": "many"}, {"q": "\x00"}])
def test_an_odd_address_filters_nothing(
    taproom: TernTaproom, second: Machine, as_member: SignIn, query: dict[str, str]
) -> None:
    assert len(titles(as_member(taproom.people.bob), **query)) == 2


def test_another_organizations_site_shows_nothing(taproom: TernTaproom, as_member: SignIn) -> None:
    theirs = make.SiteFactory(member=taproom.people.charlie)
    assert titles(as_member(taproom.people.bob), site=str(theirs.pk)) == []


def test_each_row_says_place_verdict_and_next_step(taproom: TernTaproom, second: Machine, as_member: SignIn) -> None:
    page = as_member(taproom.people.bob).get(URL).content.decode()
    for words in ("Ferry Hall · Bay", "out of spec", "Make a leg plan", reverse("machine", args=[second.pk])):
        assert words in page


def test_htmx_gets_the_rows_only(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    piece = bob.get(URL, headers={"HX-Request": "true"})
    assert "HX-Request" in piece.headers["Vary"]
    text = piece.content.decode()
    assert text.lstrip().startswith('<div id="machine-rows"')
    assert "<html" not in text
    assert "HX-Request" in bob.get(URL).headers["Vary"]


def test_pages_keep_search_and_filters(taproom: TernTaproom, as_member: SignIn) -> None:
    assert taproom.survey.verdict == "out"
    crowd(taproom, 60)
    page = as_member(taproom.people.bob).get(URL, {"q": "marsh", "verdict": "out"}).content.decode()
    assert "Page 1 of 3" in page  # 25 at once
    assert 'href="?page=2&amp;q=marsh&amp;verdict=out"' in page


def test_it_asks_as_often_for_3_machines_as_for_30(taproom: TernTaproom, as_member: SignIn) -> None:
    assert taproom.survey
    bob = as_member(taproom.people.bob)
    bob.get(URL)
    asked = []
    for more in (2, 27):
        crowd(taproom, more)
        with CaptureQueriesContext(connection) as queries:
            bob.get(URL)
        asked.append(len(queries))
    assert asked[0] == asked[1] <= 10


def test_a_viewer_sees_the_machines_of_her_site_only(taproom: TernTaproom, second: Machine, as_member: SignIn) -> None:
    answer = as_member(taproom.people.vera).get(URL)
    assert [row.machine.title for row in answer.context["machines"]["rows"]] == ["Lantern Reef"]
    assert reverse("machine_new") not in answer.content.decode()


def test_an_empty_book_leads_to_the_first_machine(taproom: TernTaproom, as_member: SignIn) -> None:
    page = as_member(taproom.people.charlie).get(URL).content.decode()
    assert "No machines yet" in page
    assert reverse("machine_new") in page
