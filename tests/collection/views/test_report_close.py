"""What was reported shows wherever machines are listed, until a survey or a reason closes it."""

import datetime
import uuid
from collections.abc import Callable
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from collection import models
from collection.actions.reports import make_label, report_problem
from tests import factories as make
from tests.collection.forms.test_hostile_posts import fields_of
from tests.factories import NOON
from tests.reporting import surveyed, told
from tests.surveying import author, sent
from tests.worlds import TernTaproom

SignIn = Callable[[models.Membership], Client]
HOUR, DAY = datetime.timedelta(hours=1), datetime.timedelta(days=1)


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


@pytest.fixture
def reported(taproom: TernTaproom) -> TernTaproom:
    """In spec by a survey the day before, then reported."""
    surveyed(taproom, NOON - DAY)
    assert taproom.report
    return taproom


def test_the_machines_page_says_when_what_and_how_it_ends(reported: TernTaproom, bob: Client) -> None:
    answer = bob.get(reverse("machine", args=[reported.machine.pk]))
    html = answer.content.decode().replace("\u00a0", " ")
    assert "Reported Mon 4 May 2026, 13:00: rolls left</strong>, by the label on it" in html
    assert "A survey taken after it closes it." in html
    assert reverse("report_close", args=[reported.report.pk]) in html
    assert '<p class="next"><span>Next</span> <b>Survey it</b></p>' in html
    assert answer.context["step"].does == "again", "so that surveying is the first button"


def test_a_report_told_again_says_how_often(reported: TernTaproom, bob: Client) -> None:
    told(reported, at=NOON + DAY)
    html = bob.get(reverse("machine", args=[reported.machine.pk])).content.decode().replace("\u00a0", " ")
    assert "told 2 times, last Tue 5 May 2026, 12:00" in html


def test_who_may_only_read_sees_it_and_cannot_close_it(reported: TernTaproom, as_member: SignIn) -> None:
    html = as_member(reported.people.vera).get(reverse("machine", args=[reported.machine.pk])).content.decode()
    assert "rolls left" in html
    assert reverse("report_close", args=[reported.report.pk]) not in html


def test_today_puts_it_first_with_the_reason(reported: TernTaproom, bob: Client) -> None:
    out = make.MachineFactory(member=reported.people.alice, title="Brass Snail")
    models.MachineStatus.objects.filter(machine=out).update(verdict="out", chance=0.01)
    answer = bob.get(reverse("today"))
    titles = [row.machine.title for row in answer.context["machines"]["rows"]]
    assert titles == ["Lantern Reef", "Brass Snail"]
    html = answer.content.decode()
    assert html.index("<h2>Reported</h2>") < html.index("<h2>Out of spec</h2>")
    assert "<h2>In spec</h2>" not in html
    assert '<span class="row-due">Reported: rolls left</span>' in html
    assert '<span class="row-next">Survey it</span>' in html


def test_among_those_reported_the_longest_waiting_is_first(reported: TernTaproom, bob: Client) -> None:
    other = make.MachineFactory(member=reported.people.alice, title="Anchor Light")
    link = make_label(by=author(reported.people.alice), machine=other)
    report_problem(link=link, problem="moved", key=uuid.uuid4(), at=NOON + 2 * HOUR)
    rows = bob.get(reverse("today")).context["machines"]["rows"]
    assert [row.machine.title for row in rows] == ["Lantern Reef", "Anchor Light"]


@pytest.mark.parametrize("name", ["machines", "site", "site_sheet", "bay"])
def test_every_list_of_machines_says_it(reported: TernTaproom, bob: Client, name: str) -> None:
    noun = {"site": reported.site, "site_sheet": reported.site, "bay": reported.bay}.get(name)
    html = bob.get(reverse(name, args=[noun.pk] if noun else [])).content.decode()
    assert "eported: rolls left" in html
    assert "Survey it" in html


def test_a_survey_closes_it_and_the_machines_page_says_so(reported: TernTaproom, bob: Client) -> None:
    page = sent(reported.instrument.pk, ("along", "6.5", "rear"), ("across", "0.1", "left"))
    with time_machine.travel(NOON + 2 * HOUR):
        survey = bob.post(reverse("survey_new", args=[reported.machine.pk]), page)
        html = bob.get(reverse("machine", args=[reported.machine.pk])).content.decode()
        today = bob.get(reverse("today")).content.decode()
    assert "by the label on it" not in html
    assert f'<a href="{survey.url}">answered by a survey</a>' in html
    assert "<h2>Reported</h2>" not in today


def test_closing_wants_a_reason_which_the_page_keeps(reported: TernTaproom, bob: Client) -> None:
    url = reverse("report_close", args=[reported.report.pk])
    machine = reverse("machine", args=[reported.machine.pk])
    empty = bob.post(url, {"why": ""})
    assert empty.status_code == 422
    assert "Write a word or two here." in empty.content.decode()
    form: dict[str, Any] = fields_of(bob.get(url).content.decode()).sent | {"why": "A dented ball."}
    for _ in range(2):
        answer = bob.post(url, form)
        assert (answer.status_code, answer.url) == (302, machine)
    html = bob.get(machine).content.decode()
    assert "A dented ball." in html
    assert "by the label on it" not in html
    late = bob.post(url, {"why": "Again."})
    assert late.status_code == 422
    assert "closed already" in late.content.decode()
