"""The whole job on a phone of 390 px, from an empty database to a leg plan that is signed off.

A person with one digital level and one crooked floor follows what the pages offer. Each step stands for itself, and
before each of them the rest of the journey is tried without it, on a copy of all that is there: it must then fail.
"""

import re
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

import pytest
from django.core.management import call_command
from django.db import connection
from playwright.sync_api import Error, Page, expect
from pytest_django.live_server_helper import LiveServer

from collection.models import Plan, Survey
from tests.factories import PASSWORD
from tests.journeys.conftest import PATIENCE_MS, PHONE

pytestmark = [pytest.mark.browser, pytest.mark.journey, pytest.mark.django_db(transaction=True)]

#: A name that no bay gets by itself.
BAY = "By the bar"


def start_a_book(page: Page) -> None:
    page.get_by_role("link", name="Start a book").click()
    page.get_by_label("E-mail").fill("erin@example.org")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_label("Name of your organization").fill("Saltmarsh Route")
    page.get_by_role("button", name="Start the book").click()
    expect(page.get_by_role("heading", name="First steps")).to_be_visible()


def add_a_site(page: Page) -> None:
    follow(page, "Sites", "Add your first site")
    page.get_by_label("Name").fill("Tern Taproom")
    page.get_by_role("button", name="Save site").click()
    expect(page.get_by_role("heading", name="Tern Taproom")).to_be_visible()


def draw_the_floor(page: Page) -> None:
    follow(page, "Sites", "Tern Taproom", "Add the first floor")
    page.get_by_label("Name").fill("Main room")
    page.get_by_role("button", name="Save floor").click()
    expect(page.get_by_text("slope not read yet")).to_be_visible()


def read_the_slope(page: Page) -> None:
    """The floor rises 0.3 degree toward the back wall and 0.2 toward the left wall."""
    follow(page, "Sites", "Tern Taproom", "Main room", "Read the slope")
    page.get_by_label("Slope").nth(0).fill("0.3")
    page.get_by_label("Slope").nth(1).fill("0.2")
    page.get_by_label("Rises toward the").nth(1).select_option("left wall")
    page.get_by_role("button", name="Save slope").click()
    expect(page.get_by_text(re.compile("falls 0.36° toward the front")).first).to_be_visible()


def mark_a_bay(page: Page) -> None:
    follow(page, "Sites", "Tern Taproom", "Main room", "Add the first bay")
    page.get_by_label("Name").fill(BAY)
    page.get_by_role("button", name="Save bay").click()
    expect(page.get_by_role("heading", name=BAY)).to_be_visible()


def add_a_machine(page: Page) -> None:
    first_step(page, "Add your first machine")
    page.get_by_label("Title").fill("Lantern Reef")
    page.get_by_label("Code").fill("LR-1")
    page.get_by_role("button", name="Add machine").click()
    expect(page.get_by_role("heading", name="Lantern Reef")).to_be_visible()


def add_the_level(page: Page) -> None:
    first_step(page, "Add your level")
    page.get_by_label("Name").fill("230 mm digital level")
    page.get_by_role("button", name="Save and go on").click()
    expect(page.get_by_role("heading", name="Survey Lantern Reef")).to_be_visible()


def survey_the_machine(page: Page) -> None:
    """Two readings: 6.0 degrees of pitch, and left high 0.3. The answer comes while one types."""
    first_step(page, "Survey the machine")
    read(page, along="6.0", across="0.3", high="left")
    expect(page.locator("#survey-answer")).to_contain_text("left high")
    save(page)
    expect(page.get_by_text("Out of spec").first).to_be_visible()


def make_a_leg_plan(page: Page) -> None:
    follow(page, "Machines", "Lantern Reef", "Choose how")
    page.get_by_role("button", name="Work out the turns").click()
    expect(page.get_by_role("heading", name=re.compile("Lift 1 of"))).to_be_visible()
    expect(page.get_by_text("Travel is not checked")).to_be_visible()


def turn_the_legs(page: Page) -> None:
    open_the_plan(page)
    expect(page.locator("article.lift").first).to_be_visible()  # or the lifts of the page before are counted: none
    lifts = page.locator("article.lift").count()
    for turned in range(1, lifts + 1):
        page.get_by_role("button", name="Turned as shown").click()
        # A second press before the next page is there is a double tap, which records nothing.
        expect(page.locator(".turned-word")).to_have_count(turned)
    expect(page.get_by_role("link", name="Take the check reading")).to_be_visible()


def read_again(page: Page) -> None:
    open_the_plan(page)
    page.get_by_role("link", name="Take the check reading").click()
    read(page, along="6.5", across="0.0", high="level")
    save(page)
    expect(page.get_by_text("In spec").first).to_be_visible()


def sign_off(page: Page) -> None:
    open_the_plan(page)
    expect(page.get_by_role("heading", name="Check reading")).to_be_visible()
    for task in ("Locknuts", "Read again", "Tilt bob", "Feet marked"):
        page.get_by_label(re.compile(task)).check()
    page.get_by_role("button", name="Sign off").click()
    expect(page.get_by_role("heading", name="Signed off")).to_be_visible()


STEPS: tuple[Callable[[Page], None], ...] = (
    start_a_book,
    add_a_site,
    draw_the_floor,
    read_the_slope,
    mark_a_bay,
    add_a_machine,
    add_the_level,
    survey_the_machine,
    make_a_leg_plan,
    turn_the_legs,
    read_again,
    sign_off,
)


def first_step(page: Page, words: str) -> None:
    """Take the next of the first steps that Today offers."""
    follow(page, "Today")
    page.locator(".first-steps").get_by_role("link", name=words).click()


def follow(page: Page, *names: str) -> None:
    """Go from link to link by their names."""
    for name in names:
        page.get_by_role("link", name=name, exact=True).first.click()


def open_the_plan(page: Page) -> None:
    follow(page, "Machines", "Lantern Reef")
    page.locator("a[href^='/plans/']").first.click()


def read(page: Page, *, along: str, across: str, high: str) -> None:
    """Fill the two readings that a survey starts with, and say that all four feet bear."""
    rows = page.locator("fieldset.reading")
    rows.nth(0).get_by_label(re.compile("It shows")).fill(along)
    rows.nth(0).get_by_label("rear", exact=True).first.check()
    rows.nth(1).get_by_label(re.compile("It shows")).fill(across)
    rows.nth(1).get_by_label(high, exact=True).first.check()
    page.get_by_label("All four bear").check()


def save(page: Page) -> None:
    """Save the survey, and wait for its own page: the live answer says the verdict before anything is stored."""
    page.get_by_role("button", name="Save survey").click()
    page.wait_for_url(re.compile(r"/surveys/[0-9a-f-]{36}/$"))


def record_is_complete(page: Page) -> None:
    """What someone finds afterwards: in spec today, the bay's fall, the plan with its check, all in the record."""
    follow(page, "Today")
    expect(page.get_by_text("Nothing to turn").or_(page.get_by_text("in spec")).first).to_be_visible()
    follow(page, "Sites", "Tern Taproom", "Main room", BAY)
    expect(page.get_by_text(re.compile("The floor falls 0.36°"))).to_be_visible()
    plan = Plan.objects.get()
    check = Survey.objects.get(plan=plan)
    assert (plan.state, check.verdict, check.purpose) == ("signed_off", "in", "check")
    assert plan.adjustments.count() > 0


@pytest.mark.long
def test_the_whole_job_on_a_phone_takes_each_of_its_steps(phone: Page, live_server: LiveServer) -> None:
    phone.goto(live_server.url)
    for place, step in enumerate(STEPS):
        with a_copy(phone, wait_ms=IMPATIENT_MS) as copy:
            must_fail(copy, STEPS[place + 1 :], without=step)
        if step is survey_the_machine:  # a copy lacks nothing: from here the whole rest goes well
            with a_copy(phone, wait_ms=PATIENT_MS) as copy:
                take(copy, STEPS[place:])
        step(phone)
        assert phone.evaluate("document.documentElement.scrollWidth") <= 390, step.__name__
    record_is_complete(phone)


#: How a journey ends that misses a step.
FAILURES = (Error, AssertionError, Plan.DoesNotExist, Survey.DoesNotExist)


#: How long to wait for what will not come, and for what will.
IMPATIENT_MS, PATIENT_MS = 1_500, 8_000


@contextmanager
def a_copy(page: Page, *, wait_ms: int) -> Iterator[Page]:
    """Yield the page as it stands in a window of its own; afterwards undo all that was stored from there."""
    assert page.context.browser
    stored = connection.creation.serialize_db_to_string()
    kept = page.context.storage_state()
    context = page.context.browser.new_context(storage_state=kept, viewport=PHONE, reduced_motion="reduce")
    try:
        copy = context.new_page()
        copy.goto(page.url)
        context.set_default_timeout(wait_ms)
        expect.set_options(timeout=wait_ms)
        yield copy
    finally:
        expect.set_options(timeout=PATIENCE_MS)
        context.close()
        call_command("flush", verbosity=0, interactive=False, inhibit_post_migrate=True)
        connection.creation.deserialize_db_from_string(stored)


def must_fail(page: Page, steps: Iterable[Callable[[Page], None]], *, without: Callable[[Page], None]) -> None:
    try:
        take(page, steps)
    except FAILURES:
        return
    pytest.fail(f"nothing misses the step {without.__name__}")


def take(page: Page, steps: Iterable[Callable[[Page], None]]) -> None:
    """Take the steps in order, then look at the record."""
    for step in steps:
        step(page)
    record_is_complete(page)
