"""The page of one survey, and its correction."""

import datetime
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from collection.models import Membership, Survey
from tests.factories import NOON
from tests.surveying import across, along, sent, survey_of
from tests.worlds import TernTaproom

SignIn = Callable[[Membership], Client]
LATER = NOON + datetime.timedelta(hours=1)


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


def page_of(client: Client, survey: Survey) -> str:
    answer = client.get(reverse("survey", args=[survey.pk]))
    assert answer.status_code == 200
    return answer.content.decode()


def surveyed(taproom: TernTaproom, *readings: dict, **seen: object) -> Survey:
    return survey_of(
        taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, readings=list(readings) or None, **seen
    )


def test_it_shows_each_reading_as_typed_with_its_meaning(taproom: TernTaproom, bob: Client) -> None:
    page = page_of(bob, surveyed(taproom, along(115, unit="mm_per_m", spot="middle"), across(0.3, "left")))
    for words in ("115\u00a0mm/m", "rear high", "Along, middle", "6.56° of pitch", "left high\u00a00.30°", "elsewhere"):
        assert words in page, words


def test_its_sums_can_be_followed(taproom: TernTaproom, bob: Client) -> None:
    """The three parts on the page, squared and added, give the u on the page."""
    survey = surveyed(taproom)
    page = page_of(bob, survey)
    # By hand for one reading along at 6.5: askew hardly counts, so fresh is hypot(0.0289, 0.030, 0.0003) less what
    # rounding repeats. The board's wave, by the sizes in leveling/playfields_waves.py under a base of 230 mm, as slopes
    # in 1/1000: along hypot(0.847 bow, 0.270 twist, 0.217 waves) = 0.915, that is 0.0525 degree; across
    # hypot(0.622, 0.566, 0.217) = 0.868, that is 0.0497. All together along: hypot(0.0289, 0.030, 0.0577, 0.0525).
    assert "= 0.088°" in page
    assert "= 0.109°" in page  # across, with 0.0654 for one degree askew at 6.5 degrees of pitch
    assert all(part in page for part in ("0.065", "0.052", "0.050"))


@pytest.mark.parametrize(
    ("readings", "button", "name"),
    [
        ((along(6.5), across(0, "level")), "Done: go to Lantern Reef", "machine"),
        ((along(6.5), across(0.15)), "Survey again", "survey_new"),
    ],
)
def test_one_button_leads_on(
    taproom: TernTaproom, bob: Client, as_member: SignIn, readings: tuple[dict, ...], button: str, name: str
) -> None:
    survey = surveyed(taproom, *readings)
    link = f'<a class="button" href="{reverse(name, args=[taproom.machine.pk])}">{button}</a>'
    page = page_of(bob, survey)
    assert link in page
    assert page.count('<a class="button"') == 1
    assert 'class="button' not in page_of(as_member(taproom.people.vera), survey)


def test_unchecked_feet_are_said_out_loud(taproom: TernTaproom, bob: Client) -> None:
    page = page_of(bob, surveyed(taproom, stance="unknown"))
    assert "Borderline" in page
    assert "Chance that pitch and roll are in spec" in page
    assert "How the feet stand is not known" in page


def test_the_light_foot_is_named_with_its_gap(taproom: TernTaproom, bob: Client) -> None:
    page = page_of(bob, surveyed(taproom, stance="FR", gap=0.5, gap_text="1/2", gap_unit="turns"))
    assert "FR light, turns until it bears: 1/2" in page
    assert "0.8\u00a0mm under\u00a0FR" in page  # half a turn of 1.5875 mm


def test_it_corrects_with_a_reason(taproom: TernTaproom, bob: Client) -> None:
    old = surveyed(taproom, along(6.5), across(0.6), preconditions=["seated"])
    url = reverse("survey_correct", args=[old.pk])
    form = bob.get(url).context["form"]
    assert [row["value"].value() for row in form.rows.forms] == ["6.5", "0.6"]
    assert form["preconditions"].value() == ["seated"]
    typed = sent(taproom.instrument.pk, ("along", "6.5", "rear"), ("across", "0.1", "right"))
    assert bob.post(url, typed).status_code == 422  # no reason yet
    answer = bob.post(url, typed | {"why": "Typed 0.6 for 0.1"})
    new = Survey.objects.get(supersedes=old)
    assert (answer.status_code, answer.url) == (302, reverse("survey", args=[new.pk]))
    assert (new.measured_at, new.why) == (old.measured_at, "Typed 0.6 for 0.1")
    assert "This survey was corrected" in page_of(bob, old)
    assert "Typed 0.6 for 0.1" in page_of(bob, old)
    assert reverse("survey", args=[old.pk]) in page_of(bob, new)


def test_a_corrected_survey_leads_to_the_one_that_stands(taproom: TernTaproom, bob: Client) -> None:
    old = surveyed(taproom, along(6.5), across(0.6))
    url = reverse("survey_correct", args=[old.pk])
    typed = sent(taproom.instrument.pk, ("along", "6.5", "rear"), ("across", "0.1", "right")) | {"why": "Typing"}
    new = bob.post(url, typed).url.split("/")[2]
    assert bob.get(url).url == reverse("survey_correct", args=[new])
    answer = bob.post(url, typed)
    assert answer.status_code == 422
    assert "corrected before" in answer.content.decode()
    assert Survey.objects.count() == 2


def test_a_correction_keeps_its_page_when_it_asks_for_a_row(taproom: TernTaproom, bob: Client) -> None:
    old = surveyed(taproom)
    url = reverse("survey_correct", args=[old.pk])
    typed = sent(taproom.instrument.pk, ("along", "6.5", "rear"), ("across", "0.1", "right"))
    page = bob.post(url, typed | {"why": "Typing", "add": "1"}).content.decode()
    assert page.count('class="card reading"') == 3
    assert 'value="Typing"' in page
    assert f'action="{url}"' in page


def test_an_older_survey_says_what_came_after(taproom: TernTaproom, bob: Client) -> None:
    first = surveyed(taproom, along(6.0), across(0.4))
    surveyed(taproom, at=LATER)
    page = page_of(bob, first)
    assert "Leg plan</a>" not in page
    assert "Go to Lantern Reef" in page


@pytest.mark.parametrize("name", ["survey", "survey_correct"])
def test_doors(taproom: TernTaproom, as_member: SignIn, name: str) -> None:
    survey = surveyed(taproom)
    url = reverse(name, args=[survey.pk])
    answers = {
        "anonymous": Client().get(url).status_code,
        "stranger": as_member(taproom.people.charlie).get(url).status_code,
        "reader": as_member(taproom.people.vera).get(url).status_code,
        "wrong method": as_member(taproom.people.bob).delete(url).status_code,
    }
    reader = 200 if name == "survey" else 403
    assert answers == {"anonymous": 302, "stranger": 404, "reader": reader, "wrong method": 405}


@pytest.mark.parametrize("count", [3, 22])
def test_it_asks_the_database_as_often_with_many_readings(
    taproom: TernTaproom, bob: Client, count: int, django_assert_num_queries: Callable
) -> None:
    survey = surveyed(taproom, along(6.5), *[across(0.1)] * (count - 1))
    for hour in range(count):
        surveyed(taproom, at=NOON - datetime.timedelta(hours=hour + 1))
    page_of(bob, survey)  # the first visit notes the device
    with django_assert_num_queries(11):
        page_of(bob, survey)
    with django_assert_num_queries(9):
        assert bob.get(reverse("survey_correct", args=[survey.pk])).status_code == 200


def test_a_front_that_is_higher_than_the_rear_is_asked_about(taproom: TernTaproom, bob: Client) -> None:
    """2026-11-25: the wrong end called high read "Nothing fits", and no word of what had happened."""
    words = "If it is not, the wrong end was called high."
    assert words in page_of(bob, surveyed(taproom, along(6.5, "front"), across(0, "level")))
    rows = (("along", "6.5", "front"), ("across", "0.1", "left"))
    live = bob.post(reverse("survey_answer", args=[taproom.machine.pk]), sent(taproom.instrument.pk, *rows))
    assert words in live.content.decode()
    assert words not in page_of(bob, surveyed(taproom, along(0.2), across(0, "level"), at=LATER))


def test_the_u_of_a_reading_stands_before_its_parts(taproom: TernTaproom, bob: Client) -> None:
    """2026-11-25: on a phone it stood last, and was cut."""
    assert '<th scope="col">Reading</th><th class="num" scope="col">u</th>' in page_of(bob, surveyed(taproom))
