"""A stranger's first ten minutes on a phone: from opening the app with nothing in it to a leg plan signed off.

Each click, text, choice and key is one input. Every page says what is next; the hand follows its one primary button.
"""

import re

import pytest
from playwright.sync_api import Locator, Page, expect
from pytest_django.live_server_helper import LiveServer

from collection.models import Bay, Instrument, Machine, Plan, Site, Survey
from tests.factories import PASSWORD
from tests.journeys.hand import Hand

pytestmark = [pytest.mark.browser, pytest.mark.journey, pytest.mark.django_db(transaction=True)]

#: No more than this may be asked of a stranger; the long way of test_main_job.py takes 69.
MOST_INPUTS = 35
#: One of the zones whose offset is a whole number of hours; nobody's default.
ZONE = "Pacific/Auckland"


@pytest.fixture
def browser_context_args(browser_context_args: dict[str, object]) -> dict[str, object]:
    """Open pages as a phone far from Greenwich does."""
    return {**browser_context_args, "timezone_id": ZONE}


def start_a_book(hand: Hand) -> None:
    page = hand.page
    hand.click(page.get_by_role("main").get_by_role("link", name="Start a book"))
    hand.fill(page.get_by_label("E-mail"), "erin@example.org")
    hand.fill(page.get_by_label("Password"), PASSWORD)
    hand.fill(page.get_by_label("Name of your organization"), "Saltmarsh Route")
    hand.click(page.get_by_role("button", name="Start the book"))
    expect(page.get_by_role("heading", name="First steps")).to_be_visible()


def add_a_machine(hand: Hand) -> None:
    page = hand.page
    hand.click(primary(page, "Add your first machine"))
    hand.fill(page.get_by_label("Title"), "Lantern Reef")
    hand.fill(page.get_by_label("Where it stands"), "Tern Taproom")
    assert page.get_by_label("Time zone").input_value() == ZONE
    hand.click(page.get_by_role("button", name="Add machine"))
    expect(page.get_by_role("heading", name="Lantern Reef")).to_be_visible()


def add_the_level(hand: Hand) -> None:
    page = hand.page
    hand.click(primary(page, "Survey now"))
    hand.click(primary(page, "Add your level"))
    hand.click(page.get_by_role("button", name="Save and go on"))
    expect(page.get_by_role("heading", name="Survey Lantern Reef")).to_be_visible()


def read(hand: Hand, *, along: str, across: str, high: str) -> None:
    """The two readings that a survey asks for; along, the rear is taken to be high."""
    page = hand.page
    rows = page.locator("fieldset.reading")
    hand.fill(rows.nth(0).get_by_label(re.compile("It shows")), along)
    hand.fill(rows.nth(1).get_by_label(re.compile("It shows")), across)
    hand.choose(rows.nth(1).get_by_label(high, exact=True).first)
    hand.choose(page.get_by_label("All four bear"))
    hand.click(page.get_by_role("button", name="Save survey"))


def turn_the_legs(hand: Hand) -> None:
    page = hand.page
    hand.click(primary(page, "Work out the turns"))
    expect(page.get_by_role("heading", name=re.compile("Lift 1 of"))).to_be_visible()
    for turned in range(1, page.locator("article.lift").count() + 1):
        hand.click(page.get_by_role("button", name="Turned as shown"))
        expect(page.locator(".turned-word")).to_have_count(turned)


def sign_off(hand: Hand) -> None:
    page = hand.page
    hand.click(primary(page, "Sign the leg plan off"))
    for task in ("Locknuts", "Tilt bob", "Feet marked"):
        hand.choose(page.get_by_label(re.compile(task)))
    expect(page.get_by_label(re.compile("Read again"))).to_be_checked()
    hand.click(page.get_by_role("button", name="Sign off"))
    expect(page.get_by_role("heading", name="Signed off")).to_be_visible()


def primary(page: Page, words: str) -> Locator:
    """The one primary button of the page, which must say these words."""
    found = page.get_by_role("main").locator("a.button:not(.quiet), button:not(.quiet):not(.plain):not(.danger)")
    expect(found).to_have_count(1)
    expect(found).to_have_text(words)
    return found


def test_from_nothing_to_a_plan_that_is_signed_off(phone: Page, live_server: LiveServer) -> None:
    phone.goto(live_server.url)
    hand = Hand(phone)
    start_a_book(hand)
    add_a_machine(hand)
    add_the_level(hand)
    read(hand, along="6.0", across="0.3", high="left")
    expect(phone.get_by_text("Out of spec").first).to_be_visible()
    turn_the_legs(hand)
    hand.click(phone.get_by_role("link", name="Take the check reading"))
    read(hand, along="6.5", across="0.0", high="level")
    expect(phone.get_by_text("In spec").first).to_be_visible()
    sign_off(hand)
    print("\n".join([*hand.done, f"inputs: {hand.inputs}"]))  # noqa: T201  (the count is the result)
    the_record_holds_it_all()
    assert hand.inputs <= MOST_INPUTS, hand.done


def the_record_holds_it_all() -> None:
    plan = Plan.objects.get()
    first, check = Survey.objects.order_by("measured_at")
    assert (plan.state, plan.survey, plan.remark) == ("signed_off", first, "")
    assert plan.tasks_done == ["locknuts", "read_again", "tilt_bob", "feet_marked"]
    assert [first.readings.count(), check.readings.count()] == [2, 2]
    assert (check.plan, check.purpose, check.verdict) == (plan, "check", "in")
    assert plan.adjustments.count() > 0
    site, bay, machine = Site.objects.get(), Bay.objects.get(), Machine.objects.get()
    assert (site.name, site.time_zone, machine.bay, bay.floor.site) == ("Tern Taproom", ZONE, bay, site)
    assert Instrument.objects.get().resolution_deg == 0.1
