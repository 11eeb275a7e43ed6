"""A roll that differs front and rear, on the page of its survey: what it means, and whose twist it is."""

import datetime
import html
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from collection import models
from collection.actions.surveys import correct_survey
from tests.factories import NOON, InstrumentFactory, MachineFactory
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom

Sign = Callable[[models.Membership], Client]
HUNG = {"stance": "FL", "gap": 0.8, "gap_text": "0.8"}
TITLE = "Roll at the front and at the rear"


@pytest.fixture
def bob(as_member: Sign, taproom: TernTaproom) -> Client:
    return as_member(taproom.people.bob)


@pytest.fixture
def level(taproom: TernTaproom) -> models.Instrument:
    """A long level against a good edge, so that three spots an end tell a tenth of a degree."""
    return InstrumentFactory(member=taproom.people.alice, resolution_deg=0.05, alignment_deg=0.2, base_mm=450)


def read(
    taproom: TernTaproom, level: models.Instrument, front_deg: float, rear_deg: float, *, hours: float = 0, **seen: Any
) -> models.Survey:
    """Bob reads across at three spots at the front and three at the rear; positive = right high."""
    rows = [along(6.5, spot="middle")]
    for end, roll in (("lower", front_deg), ("upper", rear_deg)):
        side = "right" if roll > 0 else "left" if roll < 0 else "level"
        rows += [across(abs(roll), side, spot=f"{end}_{spot}") for spot in ("left", "centre", "right")]
    at = NOON + datetime.timedelta(hours=hours)
    return survey_of(taproom.machine, by=taproom.people.bob, instrument=level, readings=rows, at=at, **seen)


def piece_of(client: Client, survey: models.Survey) -> str:
    """The words of the part about both ends, or nothing."""
    answer = client.get(reverse("survey", args=[survey.pk]))
    assert answer.status_code == 200
    found = re.search(r'<section[^>]*id="end-rolls".*?</section>', answer.content.decode(), re.DOTALL)
    words = found.group().replace("</dt>", " ") if found else ""
    return " ".join(html.unescape(re.sub(r"<[^>]*>", "", words)).split())


def test_both_ends_are_told_with_how_far_they_differ(taproom: TernTaproom, bob: Client, level: Any) -> None:
    words = piece_of(bob, read(taproom, level, 0.1, 0.5, **HUNG))
    assert "At the front: right high 0.10°, at the rear: right high 0.50°. They differ by 0.40° ± 0.0" in words
    assert "FL hangs, so the cabinet may be wrung. Let all four feet bear, then read both ends again" in words


@pytest.mark.parametrize(
    ("seen", "told"),
    [
        ({"stance": "unknown"}, "Nobody checked the feet, so the cabinet may be wrung."),
        ({"stance": "all_bearing"}, "All four feet bear, so this is the board’s own twist"),
        (
            {"stance": "weighed", "weights_kg": (19, 29, 41, 31), "weights_text": ("19 kg", "29 kg", "41 kg", "31 kg")},
            "FL is light, so the cabinet may be wrung.",
        ),
        (
            {"stance": "weighed", "weights_kg": (0, 35, 45, 30), "weights_text": ("0 kg", "35 kg", "45 kg", "30 kg")},
            "FL hangs, so the cabinet may be wrung.",
        ),
        (
            {"stance": "weighed", "weights_kg": (24, 24, 36, 36), "weights_text": ("24 kg", "24 kg", "36 kg", "36 kg")},
            "All four feet bear, so this is the board’s own twist",
        ),
    ],
)
def test_what_a_difference_means_hangs_on_the_feet(
    taproom: TernTaproom, bob: Client, level: Any, seen: dict[str, Any], told: str
) -> None:
    assert told in piece_of(bob, read(taproom, level, -0.2, 0.3, **seen))


def test_ends_that_agree_are_said_to_agree(taproom: TernTaproom, bob: Client, level: Any) -> None:
    words = piece_of(bob, read(taproom, level, 0.1, 0.1, **HUNG))
    assert "no more than the readings leave open." in words
    assert "wrung" not in words


@pytest.mark.parametrize("spots", [("lower_centre", "lower_left"), ("upper_centre", "middle"), ("", "")])
def test_nothing_is_told_where_one_end_was_not_read(taproom: TernTaproom, bob: Client, spots: tuple[str, str]) -> None:
    rows = [along(6.5), *(across(0.4, spot=spot) for spot in spots)]
    survey = survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, readings=rows, **HUNG)
    assert piece_of(bob, survey) == ""


@pytest.mark.parametrize(
    ("before", "after", "headline", "reason"),
    [
        ((0.1, 0.7), (0.3, 0.3), "The cabinet was wrung by its feet.", "That went when all four feet bore"),
        ((0.1, 0.6), (0.0, 0.5), "The board is twisted.", "Turning legs does not change a twisted board."),
        ((0.1, 1.1), (0.2, 0.7), "The board is twisted, and the cabinet was wrung", "Part of it went"),
        ((0.1, 0.2), (0.1, 0.1), "Whose twist it is cannot be told yet.", "several times each"),
    ],
)
def test_two_surveys_tell_whose_twist_it_is(
    taproom: TernTaproom, bob: Client, level: Any, before: Any, after: Any, headline: str, reason: str
) -> None:
    """Both pages say the same: that of the survey with the light foot, and that of the one after."""
    first, second = read(taproom, level, *before, **HUNG), read(taproom, level, *after, hours=1)
    for survey in (first, second):
        words = piece_of(bob, survey)
        assert headline in words
        assert reason in words
        assert "may be wrung" not in words
    assert reverse("survey", args=[first.pk]) in bob.get(reverse("survey", args=[second.pk])).content.decode()


def test_both_parts_are_shown_with_how_sure_they_are(taproom: TernTaproom, bob: Client, level: Any) -> None:
    """Apart by 1.0 before and 0.5 after: 0.5 stays, and 0.5 went."""
    read(taproom, level, 0.1, 1.1, **HUNG)
    words = piece_of(bob, read(taproom, level, 0.2, 0.7, hours=1))
    assert re.search(r"Board rear against front: right high 0\.50° ± 0\.\d\d°", words)
    assert re.search(r"Cabinet rear against front: right high 0\.50° ± 0\.\d\d°", words)


def test_very_sure_readings_can_say_neither(taproom: TernTaproom, bob: Client) -> None:
    """Less than 0.1 degree in both parts, two u included, with a level that reads to a hundredth."""
    fine = InstrumentFactory(
        member=taproom.people.alice, resolution_deg=0.01, alignment_deg=0.02, repeat_deg=0.005, base_mm=500
    )
    read(taproom, fine, 0.10, 0.10, **HUNG)
    assert "Neither board nor cabinet is twisted." in piece_of(bob, read(taproom, fine, 0.10, 0.10, hours=1))


def test_the_newest_survey_that_can_tell_is_taken(taproom: TernTaproom, bob: Client, level: Any) -> None:
    read(taproom, level, 0.1, 2.0, **HUNG)
    newest = read(taproom, level, 0.1, 0.6, hours=1, **HUNG)
    elsewhere = [along(6.5), across(0.1, spot="lower_left"), across(0.1, spot="upper_left")]
    survey_of(taproom.machine, by=taproom.people.bob, instrument=level, readings=elsewhere,
              at=NOON + datetime.timedelta(hours=2), **HUNG)  # fmt: skip
    centre = [along(6.5), across(0.3, spot="lower_centre"), across(0.3, spot="upper_centre")]
    after = survey_of(taproom.machine, by=taproom.people.bob, instrument=level, readings=centre,
                      at=NOON + datetime.timedelta(hours=3))  # fmt: skip
    page = bob.get(reverse("survey", args=[after.pk])).content.decode()
    told = re.search(r'id="end-rolls".*?</section>', page, re.DOTALL).group()
    assert reverse("survey", args=[newest.pk]) in told
    assert "Cabinet" in told


def test_a_light_foot_afterwards_tells_nothing_about_before(taproom: TernTaproom, bob: Client, level: Any) -> None:
    bore = read(taproom, level, 0.3, 0.3)
    hung = read(taproom, level, 0.1, 0.6, hours=1, **HUNG)
    assert "wrung by its feet" not in piece_of(bob, bore)
    assert "may be wrung" in piece_of(bob, hung)


def test_a_survey_that_was_corrected_does_not_count(taproom: TernTaproom, bob: Client, level: Any) -> None:
    wrong, after = read(taproom, level, 0.1, 0.9, **HUNG), read(taproom, level, 0.3, 0.3, hours=1)
    assert "The cabinet was wrung" in piece_of(bob, after)
    correct_survey(
        by=author(taproom.people.bob, NOON + datetime.timedelta(hours=2), why="It stood on all four."), survey=wrong,
        instrument=level, stance="all_bearing",
        readings=[along(6.5), across(0.1, spot="lower_centre"), across(0.9, spot="upper_centre")],
    )  # fmt: skip
    assert "The cabinet was wrung" not in piece_of(bob, after)
    assert "may be wrung" in piece_of(bob, wrong)  # its own page says what it said


def test_another_machine_tells_nothing(taproom: TernTaproom, bob: Client, level: Any) -> None:
    hung = read(taproom, level, 0.1, 0.9, **HUNG)
    rows = [along(6.5), across(0.3, spot="lower_centre"), across(0.3, spot="upper_centre")]
    other = MachineFactory(member=taproom.people.alice, title="Tin Kettle")
    bore = survey_of(other, by=taproom.people.bob, instrument=level, readings=rows, at=NOON + datetime.timedelta(1))
    assert "may be wrung" in piece_of(bob, hung)
    assert "no more than the readings leave open" in piece_of(bob, bore)


def test_a_reader_may_see_it_and_a_stranger_nothing(taproom: TernTaproom, as_member: Sign, level: Any) -> None:
    survey = read(taproom, level, 0.1, 0.5, **HUNG)
    assert TITLE in piece_of(as_member(taproom.people.vera), survey)
    assert as_member(taproom.people.charlie).get(reverse("survey", args=[survey.pk])).status_code == 404


def test_a_slope_is_shown_in_the_organizations_unit(taproom: TernTaproom, bob: Client, level: Any) -> None:
    models.Organization.objects.update(angle_unit="mm_per_m")
    words = piece_of(bob, read(taproom, level, 0.1, 0.5, **HUNG))
    assert "differ by 7.0 mm/m" in words  # tan(0.4 degree) x 1000 = 6.98


def test_it_asks_the_database_as_often_with_many_surveys(
    taproom: TernTaproom, bob: Client, level: Any, django_assert_max_num_queries: Callable[..., Any]
) -> None:
    asked = []
    bob.get(reverse("acting"))  # the first visit notes the device
    for hours in range(12):
        read(taproom, level, 0.1, 0.5, hours=2 * hours, **HUNG)
        after = read(taproom, level, 0.1, 0.1, hours=2 * hours + 1)
        if hours in (1, 11):
            with django_assert_max_num_queries(30) as counted:
                assert "wrung by its feet" in piece_of(bob, after)
            asked.append(len(counted))
    assert asked[0] == asked[1]


def test_the_form_says_where_to_read(taproom: TernTaproom, bob: Client) -> None:
    page = bob.get(reverse("survey_new", args=[taproom.machine.pk])).content.decode()
    assert "Read across at the front and at the rear to see a twist." in page


@pytest.mark.parametrize("seen", [{"stance": "all_bearing"}, HUNG], ids=["all bear", "a foot hangs"])
def test_a_twist_is_no_contradiction_and_the_turns_are_offered(
    taproom: TernTaproom, bob: Client, level: Any, seen: dict[str, Any]
) -> None:
    survey = read(taproom, level, -0.1, 1.2, **seen)
    page = bob.get(reverse("survey", args=[survey.pk])).content.decode()
    assert "Roll differs front and rear: the roll here is their mean, and less sure." in page
    assert "differ too much" not in page
    assert "Work out the turns" in page


def test_a_twist_on_feet_that_nobody_checked_asks_for_the_feet(taproom: TernTaproom, bob: Client, level: Any) -> None:
    survey = read(taproom, level, -0.1, 1.2, stance="unknown")
    page = bob.get(reverse("survey", args=[survey.pk])).content.decode()
    assert "Check the feet: press down on each corner" in page
    assert "Work out the turns" not in page


def test_pitch_that_differs_is_still_a_contradiction(taproom: TernTaproom, bob: Client, level: Any) -> None:
    rows = [along(6.0), along(7.5), *(across(roll, spot=f"{end}_centre") for end, roll in (("lower", 0), ("upper", 1)))]
    survey = survey_of(taproom.machine, by=taproom.people.bob, instrument=level, readings=rows)
    page = bob.get(reverse("survey", args=[survey.pk])).content.decode()
    assert "Read again: the readings differ too much" in page
    assert "Work out the turns" not in page


def test_more_than_a_board_twists_is_a_wrong_reading(taproom: TernTaproom, bob: Client, level: Any) -> None:
    """3 was typed for 0.3 at the rear, three times."""
    survey = read(taproom, level, 0.2, 3.0, stance="all_bearing")
    page = bob.get(reverse("survey", args=[survey.pk])).content.decode()
    assert "Read again: the readings differ too much" in page
    assert "Work out the turns" not in page
