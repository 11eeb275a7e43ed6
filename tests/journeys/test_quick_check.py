"""The glass stays in, on a phone: learned beside two surveys, then two numbers and a verdict; a survey is due later."""

import datetime

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from collection import models
from tests.journeys.conftest import findings, sign_in
from tests.journeys.hand import Hand
from tests.surveying import across, along, survey_of
from tests.worlds import TernTaproom, glass_read

pytestmark = [pytest.mark.browser, pytest.mark.journey, pytest.mark.django_db(transaction=True)]

IN_SPEC = [along(6.5, turned_value=6.5), across(0, "level", turned_value=0, turned_high_end="level")]


def surveyed(world: TernTaproom, ago: datetime.timedelta) -> models.Survey:
    at = timezone.now() - ago
    return survey_of(world.machine, by=world.people.bob, instrument=world.instrument, readings=IN_SPEC, at=at)


def read(hand: Hand, along_shows: str, across_shows: str, side: str = "") -> None:
    """Type what the level shows on the glass."""
    hand.fill(hand.page.get_by_label("Along, it shows"), along_shows)
    hand.fill(hand.page.get_by_label("Across, it shows"), across_shows)
    if side:
        hand.choose(hand.page.locator(f"input[name=roll_high][value={side}]"))


def test_learned_beside_a_survey_and_then_two_numbers_give_a_verdict(
    phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    month = datetime.timedelta(days=30)
    older = surveyed(world, month)
    glass_read(world, 5.3, (0, "level"), at=older.measured_at + datetime.timedelta(minutes=5), pair_with=older)
    survey = surveyed(world, datetime.timedelta(minutes=10))
    sign_in(phone, live_server.url, world.people.bob.user.email)
    hand, says = Hand(phone), phone.locator("#quick-says")
    phone.goto(f"{live_server.url}/surveys/{survey.pk}/")
    hand.click(phone.get_by_role("link", name="Read it too, 20 seconds"))
    assert findings(phone) == []
    read(hand, "5.3", "0")
    expect(says).to_contain_text("Along, the glass reads −1.20° against the playfield")
    hand.click(phone.get_by_role("button", name="Save"))
    expect(phone.get_by_role("heading", name="Glass beside the survey")).to_be_visible()
    assert hand.inputs == 4, hand.done

    hand.click(phone.get_by_role("main").get_by_role("link", name="Quick check"))
    expect(says).to_contain_text("The verdict shows here")
    read(hand, "5.4", "0")
    expect(says).to_contain_text("In spec")
    expect(says).to_contain_text("No survey is due")
    assert findings(phone) == []
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390
    read(hand, "5.9", "0.4", "left")
    expect(says).to_contain_text("Out of spec")
    expect(says).to_contain_text("Survey it before legs are turned")
    hand.click(phone.get_by_role("button", name="Save"))
    expect(phone.get_by_role("heading", name="How do we know?")).to_be_visible()
    assert findings(phone) == []
    check = models.QuickCheck.objects.get(survey__isnull=True)
    assert (check.pitch_text, check.roll_text, check.roll_high, check.verdict) == ("5.9", "0.4", "left", "out")
    phone.get_by_role("navigation", name="Main").get_by_role("link", name="Today").click()
    expect(phone.get_by_text("Survey it: a quick check finds it out of spec")).to_be_visible()


def test_a_pair_of_long_ago_gives_a_verdict_and_asks_for_a_survey(
    phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    for days in (430, 400):
        old = surveyed(world, datetime.timedelta(days=days))
        glass_read(world, 5.3, (0, "level"), at=old.measured_at + datetime.timedelta(minutes=5), pair_with=old)
    sign_in(phone, live_server.url, world.people.bob.user.email)
    phone.goto(f"{live_server.url}/machines/{world.machine.pk}/")
    phone.get_by_role("main").get_by_role("link", name="Quick check").click()
    read(Hand(phone), "5.3", "0")
    says = phone.locator("#quick-says")
    expect(says).to_contain_text("A survey is due. The glass was last read beside a survey too long ago.")
    expect(says).to_contain_text("pitch ±")
    phone.reload()
    expect(phone.get_by_label("Along, it shows")).to_have_value("5.3")
