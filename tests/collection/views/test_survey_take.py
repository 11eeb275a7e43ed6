"""Someone takes a survey: rows, the live answer, saving; nothing typed is lost."""

import datetime
import uuid
from collections.abc import Callable
from urllib.parse import urlencode

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from collection.models import Membership, Reading, Spec, Survey
from tests import factories as make
from tests.surveying import sent, survey_of
from tests.worlds import TernTaproom

SignIn = Callable[[Membership], Client]
ALONG, ACROSS = ("along", "6.5", "rear"), ("across", "0.1", "left")


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


@pytest.fixture
def url(taproom: TernTaproom) -> str:
    return reverse("survey_new", args=[taproom.machine.pk])


def plain(taproom: TernTaproom, **more: str) -> dict[str, str]:
    return sent(taproom.instrument.pk, ALONG, ACROSS) | more


def test_it_saves_and_shows_the_survey(taproom: TernTaproom, bob: Client, url: str) -> None:
    answer = bob.post(url, plain(taproom, note="Carpet edge"))
    survey = Survey.objects.get()
    assert (answer.status_code, answer.url) == (302, reverse("survey", args=[survey.pk]))
    assert (survey.created_by, survey.note, survey.stance) == (taproom.people.bob.user, "Carpet edge", "all_bearing")
    assert Reading.objects.filter(survey=survey).count() == 2


def test_sent_twice_it_saves_once(taproom: TernTaproom, bob: Client, url: str) -> None:
    key = str(uuid.uuid4())
    answers = [bob.post(url, plain(taproom, write_key=key)) for _ in range(2)]
    assert {answer.url for answer in answers} == {reverse("survey", args=[key])}
    assert Survey.objects.count() == 1


def test_bad_input_saves_nothing_and_loses_nothing(taproom: TernTaproom, bob: Client, url: str) -> None:
    typed = plain(taproom, note="Loose bolt", gap="0,8", stance="FR") | {"readings-1-value": "0,1"}
    answer = bob.post(url, typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert Survey.objects.count() == 0
    for kept in ('value="0,1"', 'value="0,8"', 'value="Loose bolt"', 'value="6.5"'):
        assert kept in page, kept
    assert page.count("Write a point for the decimals") >= 3  # at both fields, and in the answer


def test_a_refusal_of_the_action_stands_on_the_page(taproom: TernTaproom, bob: Client, url: str) -> None:
    answer = bob.post(url, sent(taproom.instrument.pk, ALONG))
    assert answer.status_code == 422
    assert "Take one reading across the playfield" in answer.content.decode()
    assert Survey.objects.count() == 0


@pytest.mark.parametrize("htmx", [False, True])
def test_another_row_comes_with_everything_kept_and_nothing_saved(
    taproom: TernTaproom, bob: Client, url: str, htmx: bool
) -> None:
    typed = plain(taproom, add="1") | {"readings-1-value": "0,1"}
    answer = bob.post(url, typed, headers={"HX-Request": "true"} if htmx else {})
    page = answer.content.decode()
    assert answer.status_code == 200
    assert 'value="0,1"' in page
    assert page.count('class="card reading"') == 3
    assert ("<html" in page) != htmx
    assert 'name="readings-TOTAL_FORMS" value="3"' in page
    assert Survey.objects.count() == 0


@pytest.mark.parametrize("way", ["htmx", "button", "answer page"])
def test_the_live_answer_tells_verdict_and_next_reading(taproom: TernTaproom, bob: Client, url: str, way: str) -> None:
    live = reverse("survey_answer", args=[taproom.machine.pk])
    typed = sent(taproom.instrument.pk, ("along", "6.0", "rear"), ("across", "0.4", "right"))
    if way == "htmx":
        answer = bob.post(live, typed, headers={"HX-Request": "true"})
    else:
        answer = bob.post(url if way == "button" else live, typed | {"show": "1"})
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "Out of spec" in page
    assert "Make a leg plan" in page
    assert "right high" in page
    assert ("<html" in page) == (way != "htmx")
    assert Survey.objects.count() == 0


def test_the_live_answer_tells_softly_what_is_not_clear(taproom: TernTaproom, bob: Client) -> None:
    typed = plain(taproom, stance="") | {"readings-1-value": "−0.1"}
    answer = bob.post(reverse("survey_answer", args=[taproom.machine.pk]), typed, headers={"HX-Request": "true"})
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "Reading 2: Leave the minus out" in page
    assert "Take one reading across" in page
    assert "6.5" in page
    assert "This field is required" not in page  # what was not reached yet is no fault


def test_the_odd_reading_is_named(taproom: TernTaproom, bob: Client) -> None:
    rows = [ALONG, *(("across", value, "left") for value in ("0.1", "0.1", "0.2", "1.5"))]
    page = bob.post(
        reverse("survey_answer", args=[taproom.machine.pk]), sent(taproom.instrument.pk, *rows)
    ).content.decode()
    assert "Reading 5 looks odd" in page
    assert "Take reading 5 again" in page


def test_times_are_those_of_the_site(taproom: TernTaproom, bob: Client, url: str) -> None:
    """Tokyo is nine hours ahead of UTC and has no summer time."""
    taproom.site.time_zone = "Asia/Tokyo"
    taproom.site.save()
    with time_machine.travel("2026-05-05T00:00:00Z", tick=False):
        bob.post(url, plain(taproom, measured_at="2026-05-04T20:00"))
        page = bob.get(reverse("survey", args=[Survey.objects.get().pk])).content.decode()
    assert Survey.objects.get().measured_at == datetime.datetime(2026, 5, 4, 11, 0, tzinfo=datetime.UTC)
    assert "20:00" in page


def test_a_time_to_come_is_refused(taproom: TernTaproom, bob: Client, url: str) -> None:
    answer = bob.post(url, plain(taproom, measured_at="2099-01-01T00:00"))
    assert answer.status_code == 422
    assert "still to come" in answer.content.decode()


def test_the_level_used_last_comes_first(taproom: TernTaproom, bob: Client, url: str) -> None:
    other = make.InstrumentFactory(member=taproom.people.alice, name="A long level")
    make.InstrumentFactory(member=taproom.people.alice, name="An archived one", archived_at=taproom.site.created_at)
    survey_of(taproom.machine, by=taproom.people.bob, instrument=other)
    survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, at=make.NOON.replace(hour=13))
    form = bob.get(url).context["form"]
    assert [name for _, name in form.fields["instrument"].choices] == [
        "230 mm digital level, shows °",
        "A long level, shows °",
    ]
    assert form["instrument"].value() == str(taproom.instrument.pk)


def test_without_a_level_it_asks_for_one(taproom: TernTaproom, bob: Client, url: str) -> None:
    taproom.instrument.archived_at = taproom.site.created_at
    taproom.instrument.save()
    page = bob.get(url).content.decode()
    assert "First, your level" in page
    assert reverse("instrument_new") in page


def test_it_checks_the_plan_that_was_turned(taproom: TernTaproom, bob: Client, url: str) -> None:
    plan = taproom.plan
    plan.state = "turned"
    plan.save()
    page = bob.get(url)
    assert page.context["form"]["plan"].value() == str(plan.pk)
    bob.post(url, plain(taproom, plan=str(plan.pk)))
    survey = Survey.objects.get(plan=plan)
    assert survey.purpose == "check"


def test_strangers_instruments_and_plans_cannot_be_named(taproom: TernTaproom, bob: Client, url: str) -> None:
    theirs = make.InstrumentFactory(member=taproom.people.charlie)
    for fault in ({"instrument": str(theirs.pk)}, {"plan": str(uuid.uuid4())}, {"instrument": "\x00"}):
        assert bob.post(url, plain(taproom, **fault)).status_code == 422
    assert Survey.objects.count() == 0


@pytest.mark.parametrize("name", ["survey_new", "survey_answer"])
def test_doors(taproom: TernTaproom, as_member: SignIn, name: str) -> None:
    url, typed = reverse(name, args=[taproom.machine.pk]), plain(taproom)
    answers = {
        "anonymous": Client().post(url, typed).status_code,
        "stranger": as_member(taproom.people.charlie).post(url, typed).status_code,
        "reader": as_member(taproom.people.vera).post(url, typed).status_code,
        "wrong method": as_member(taproom.people.bob).put(url).status_code,
    }
    assert answers == {"anonymous": 302, "stranger": 404, "reader": 403, "wrong method": 405}
    assert Survey.objects.count() == 0


@pytest.mark.parametrize("text", ["\x00", "\ud800", "9" * 100_000, str(2**63), "\u202e0.3", "<b>"])
def test_odd_text_is_never_a_server_error(taproom: TernTaproom, bob: Client, url: str, text: str) -> None:
    everywhere = dict.fromkeys(plain(taproom, note="", gap="", plan="", write_key=""), text)
    for typed in (everywhere, plain(taproom, note=text * 300), plain(taproom, stance="FR", gap=text)):
        body = urlencode(typed, errors="surrogatepass")
        answer = bob.post(url, body, content_type="application/x-www-form-urlencoded")
        assert answer.status_code in (400, 422)
    assert Survey.objects.count() == 0


@pytest.mark.parametrize("count", [3, 30])
def test_it_asks_the_database_as_often_with_many_rows(
    taproom: TernTaproom, bob: Client, url: str, count: int, django_assert_num_queries: Callable
) -> None:
    for _ in range(count):
        make.InstrumentFactory(member=taproom.people.alice)
    bob.get(url)  # the first visit notes the device
    with django_assert_num_queries(8):
        assert bob.get(url).status_code == 200
    rows = [ALONG, ACROSS] * 12 if count == 30 else [ALONG, ACROSS]
    typed = sent(taproom.instrument.pk, *rows)
    with django_assert_num_queries(10):
        assert bob.post(reverse("survey_answer", args=[taproom.machine.pk]), typed).status_code == 200
    assert Spec.objects.count() == 1
