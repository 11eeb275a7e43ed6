"""A technician checks a machine with the glass on: learns once beside a survey, then two numbers and a verdict."""

import datetime
import uuid
from collections.abc import Callable

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from collection import models
from tests import factories as make
from tests.factories import NOON
from tests.harness.number_values import PLAIN
from tests.surveying import across, along, survey_of
from tests.worlds import TernTaproom, glass_read

SignIn = Callable[[models.Membership], Client]
DAY, MINUTE = datetime.timedelta(days=1), datetime.timedelta(minutes=1)
PIECE = {"HX-Request": "true"}


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


@pytest.fixture
def url(taproom: TernTaproom) -> str:
    return reverse("quick_check_new", args=[taproom.machine.pk])


@pytest.fixture
def paired(taproom: TernTaproom) -> TernTaproom:
    """In spec by two surveys, the glass read beside both: 1.2 degrees flatter."""
    for days in (-1, 0):
        at = NOON + days * DAY
        readings = [along(6.5, turned_value=6.5), across(0, "level", turned_value=0, turned_high_end="level")]
        survey = survey_of(
            taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, readings=readings, at=at
        )
        glass_read(taproom, 5.3, (0, "level"), at=at + MINUTE, pair_with=survey)
    return taproom


def typed(taproom: TernTaproom, **more: str) -> dict[str, str]:
    return {
        "place": "glass", "pitch": "5.3", "pitch_high": "rear", "roll": "0", "roll_high": "", "pair_with": "",
        "instrument": str(taproom.instrument.pk), "unit": "", "write_key": str(uuid.uuid4()),
    } | more  # fmt: skip


def newest() -> models.QuickCheck:
    check: models.QuickCheck = models.QuickCheck.objects.latest("created_at")
    return check


@time_machine.travel(NOON + DAY, tick=False)
def test_two_numbers_give_a_verdict(paired: TernTaproom, bob: Client, url: str) -> None:
    answer = bob.post(url, typed(paired))
    check = newest()
    assert answer.url == reverse("quick_check", args=[check.pk])
    kept = (check.pitch_text, check.pitch_high, check.roll_text, check.roll_high, check.unit, check.measured_at)
    assert kept == ("5.3", "rear", "0", "level", "deg", NOON + DAY)
    page = bob.get(answer.url).content.decode()
    for words in ("In spec", "No survey is due", "This verdict is wrong with a chance of", "Learned from 2 pairs"):
        assert words in page
    card = bob.get(reverse("machine", args=[paired.machine.pk])).content.decode()
    assert "Newer than the survey, less sure. No survey is due." in card


@time_machine.travel(NOON + DAY, tick=False)
def test_the_verdict_shows_before_anything_is_saved(paired: TernTaproom, bob: Client, url: str) -> None:
    before = models.QuickCheck.objects.count()
    for headers in ({}, PIECE):
        answer = bob.post(url, typed(paired, pitch="4.6", show="1"), headers=headers)
        page = answer.content.decode()
        assert answer.status_code == 200
        assert "Out of spec" in page
        assert "Survey it before legs are turned." in page
        assert page.lstrip().startswith('<div class="piece answer" id="quick-says"') == bool(headers)
    assert 'value="4.6"' in bob.post(url, typed(paired, pitch="4.6", show="1")).content.decode()
    assert models.QuickCheck.objects.count() == before


@time_machine.travel(NOON + DAY, tick=False)
def test_while_something_is_missing_the_piece_waits(paired: TernTaproom, bob: Client, url: str) -> None:
    answer = bob.post(url, typed(paired, roll="", show="1"), headers=PIECE)
    assert "The verdict shows here once both readings are in" in answer.content.decode()


@time_machine.travel(NOON + 3 * DAY, tick=False)
def test_where_nothing_was_read_together_it_says_so_and_leads_to_a_survey(
    taproom: TernTaproom, bob: Client, url: str
) -> None:
    assert taproom.survey
    page = bob.get(url).content.decode()
    assert "Nobody has read glass and playfield together yet" in page
    assert "more than a day old" in page
    assert reverse("survey_new", args=[taproom.machine.pk]) in page
    answer = bob.post(url, typed(taproom))
    assert answer.status_code == 422
    assert "Nobody has read playfield and glass together yet" in answer.content.decode()
    assert not models.QuickCheck.objects.exists()


@time_machine.travel(NOON + 10 * MINUTE, tick=False)
def test_a_fresh_survey_offers_to_learn_and_the_form_begins_so(taproom: TernTaproom, bob: Client, url: str) -> None:
    survey = taproom.survey
    survey_page = reverse("survey", args=[survey.pk])
    assert f"{url}?learn" in bob.get(survey_page).content.decode()
    shown = bob.get(f"{url}?learn").context["form"]
    assert shown["pair_with"].value() == str(survey.pk)
    told = bob.post(url, typed(taproom, pair_with=str(survey.pk), show="1"), headers=PIECE).content.decode()
    assert "−0.70°" in told  # 5.3 on the glass, 6.0 on the board
    assert bob.post(url, typed(taproom, pair_with=str(survey.pk))).status_code == 302
    assert newest().survey == survey
    page = bob.get(reverse("quick_check", args=[newest().pk])).content.decode()
    assert "What it taught" in page
    assert "−0.70°" in page
    assert f"{url}?learn" not in bob.get(survey_page).content.decode()


def test_an_old_survey_offers_nothing(taproom: TernTaproom, bob: Client, url: str) -> None:
    assert f"{url}?learn" not in bob.get(reverse("survey", args=[taproom.survey.pk])).content.decode()


@time_machine.travel(NOON + 12 * 60 * MINUTE, tick=False)
def test_a_pair_that_waited_on_the_device_counts_as_of_then(taproom: TernTaproom, bob: Client, url: str) -> None:
    """Read ten minutes after the survey, without connection until midnight."""
    headers = {"X-Keep": taproom.people.bob.signature, "X-Keep-Waited": str(12 * 3600 - 600)}
    answer = bob.post(url, typed(taproom, pair_with=str(taproom.survey.pk)), headers=headers)
    assert (answer.status_code, answer["X-Kept"]) == (201, "yes")
    assert newest().measured_at == NOON + 10 * MINUTE


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"pitch": ""}, "pitch"),
        ({"pitch": "-5.3"}, "pitch"),
        ({"pitch": "21"}, "pitch"),
        ({"pitch": "40", "unit": "percent"}, "pitch"),
        ({"pitch_high": ""}, "pitch_high"),
        ({"roll": "0.2"}, "roll_high"),
        ({"roll": "0.2", "roll_high": "level"}, "roll_high"),
        ({"roll": "0.2", "roll_high": "rear"}, "roll_high"),
        ({"place": ""}, "place"),
        ({"place": "apron"}, "place"),
        ({"instrument": "x"}, "instrument"),
        ({"unit": "gon"}, "unit"),
        ({"pair_with": str(uuid.uuid4())}, "pair_with"),
    ],
)
def test_it_refuses_and_keeps_what_was_typed(
    paired: TernTaproom, bob: Client, url: str, more: dict[str, str], field: str
) -> None:
    sent = typed(paired, **more)
    answer = bob.post(url, sent)
    form = answer.context["form"]
    assert answer.status_code == 422
    assert set(form.errors) == {field}
    assert {name: form[name].value() for name in ("pitch", "roll")} == {name: sent[name] for name in ("pitch", "roll")}
    assert models.QuickCheck.objects.count() == 2


def test_no_hostile_number_breaks_it(paired: TernTaproom, bob: Client, url: str) -> None:
    for text, meaning in PLAIN.items():
        answer = bob.post(url, typed(paired, pitch=text, roll=text, roll_high="left", show="1"))
        assert answer.status_code == 200
        assert bob.post(url, typed(paired, pitch=text)).status_code in (
            (422,) if isinstance(meaning, str) else (302, 422)
        )


def test_sent_twice_it_is_kept_once(paired: TernTaproom, bob: Client, url: str) -> None:
    sent = typed(paired)
    assert bob.post(url, sent).url == bob.post(url, sent).url
    assert models.QuickCheck.objects.count() == 3
    assert bob.post(url, sent | {"roll": "0.1", "roll_high": "left"}).status_code == 422


def test_only_levels_that_show_a_number_are_offered(paired: TernTaproom, bob: Client, url: str) -> None:
    make.InstrumentFactory(member=paired.people.alice, name="Bubble", kind="bubble")
    long_level = make.InstrumentFactory(member=paired.people.alice, name="Long", kind="inclinometer", unit="mm_per_m")
    offered = [key for key, _ in bob.get(url).context["form"]["instrument"].field.choices]
    assert offered == [str(paired.instrument.pk), str(long_level.pk)]


def test_without_a_level_it_asks_for_one(paired: TernTaproom, bob: Client, url: str) -> None:
    models.Instrument.objects.update(archived_at=timezone.now())
    assert "First, your level" in bob.get(url).content.decode()


def test_the_unit_is_the_levels_unless_told(paired: TernTaproom, bob: Client, url: str) -> None:
    assert bob.post(url, typed(paired, pitch="92.8", unit="mm_per_m")).status_code == 302
    assert newest().unit == "mm_per_m"
    assert newest().pitch_rail_deg == pytest.approx(5.302, abs=0.001)  # arctangent of 0.0928


def test_pages_ask_as_often_after_two_pairs_as_after_twenty(paired: TernTaproom, bob: Client, url: str) -> None:
    first = glass_read(paired, 5.3, (0, "level"), at=NOON + DAY)
    for days in range(2, 20):
        at = NOON + days * DAY
        survey = survey_of(paired.machine, by=paired.people.bob, instrument=paired.instrument, at=at)
        glass_read(paired, 5.3, (0, "level"), at=at + MINUTE, pair_with=survey)
    last = glass_read(paired, 5.3, (0, "level"), at=NOON + 21 * DAY)
    assert (len(first.inputs["pairs"]), len(last.inputs["pairs"])) == (2, 8)
    asked = []
    bob.get(url)  # the first visit notes the device
    for address in (reverse("quick_check", args=[first.pk]), reverse("quick_check", args=[last.pk]), url):
        with CaptureQueriesContext(connection) as queries:
            assert bob.get(address).status_code == 200
        asked.append(len(queries))
    assert asked[0] == asked[1]
    assert max(asked) <= 12


def test_a_check_that_repeats_the_survey_leads_to_its_turns(taproom: TernTaproom, bob: Client, url: str) -> None:
    """2026-11-25: it asked for another survey, while lists and the machine's page told the turns of the last one."""
    for days in (0, 1):
        survey = survey_of(
            taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, at=NOON + days * DAY,
            readings=[along(6.0, turned_value=6.0), across(0.3, "left", turned_value=0.3)],
        )  # fmt: skip
        glass_read(taproom, 4.8, (0.3, "left"), at=NOON + days * DAY + MINUTE, pair_with=survey)
    check = glass_read(taproom, 4.8, (0.3, "left"), at=NOON + 2 * DAY)
    assert check.due == "out"
    page = bob.get(reverse("quick_check", args=[check.pk])).content.decode()
    machine = reverse("machine", args=[taproom.machine.pk])
    assert f'<a class="button" href="{machine}">Go to Lantern Reef</a>' in page
    for seen in (page, bob.get(machine).content.decode()):
        assert "The survey found it out of spec, too:" in seen
        assert "Survey it before legs are turned" not in seen


def test_a_check_before_the_newest_survey_asks_for_none(paired: TernTaproom, bob: Client) -> None:
    """2026-11-25: the page of an old check went on to ask for the survey that had been taken."""
    check = glass_read(paired, 6.0, (0, "level"), at=NOON + DAY)
    address = reverse("quick_check", args=[check.pk])
    asks = f'<a class="button" href="{reverse("survey_new", args=[paired.machine.pk])}">Survey it</a>'
    assert asks in bob.get(address).content.decode()
    survey = survey_of(paired.machine, by=paired.people.bob, instrument=paired.instrument, at=NOON + 2 * DAY)
    page = bob.get(address).content.decode()
    assert asks not in page
    assert f'It was surveyed since: <a class="quick-pair-link" href="{reverse("survey", args=[survey.pk])}">' in page
