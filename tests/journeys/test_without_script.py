"""The whole main job in a browser that runs no script: the long way, with every form the pages offer for it."""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect
from pytest_django.live_server_helper import LiveServer

from collection.models import Floor, Machine, Plan, Survey
from tests.factories import PASSWORD
from tests.journeys.conftest import PATIENCE_MS, PHONE

pytestmark = [pytest.mark.browser, pytest.mark.journey, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def still(browser: Browser) -> Iterator[Page]:
    """Yield a phone's page that runs no script."""
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)  # type: ignore[arg-type]
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    yield page
    context.close()


def test_the_whole_job_without_script(still: Page, live_server: LiveServer) -> None:
    still.goto(live_server.url)
    start_a_book(still)
    describe_the_place(still)
    describe_the_machine(still)
    add_the_level(still)
    survey_with_a_third_reading(still)
    work_the_plan(still)
    check_and_sign_off(still)
    the_record_is_complete()


def test_scripts_are_off(still: Page, live_server: LiveServer) -> None:
    """What only a script can do must not happen here, or this file would prove nothing."""
    still.goto(live_server.url)
    expect(still.locator("[data-theme-button]")).to_be_hidden()
    expect(still.locator("html.is-ready")).to_have_count(0)


def start_a_book(page: Page) -> None:
    page.get_by_role("link", name="Start a book").first.click()
    page.get_by_label("E-mail").fill("erin@example.org")
    page.get_by_label("Password").fill("short")
    press(page, "Start the book")
    expect(page.get_by_role("alert")).to_contain_text("Nothing is saved yet")
    expect(page.get_by_label("E-mail")).to_have_value("erin@example.org")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_label("Name of your organization").fill("Saltmarsh Route")
    press(page, "Start the book")
    expect(page.get_by_role("heading", name="Today")).to_be_visible()


def describe_the_place(page: Page) -> None:
    follow(page, "Sites", re.compile("Add your first site"))
    page.get_by_label("Name").fill("Tern Taproom")
    press(page, "Save site")
    follow(page, re.compile("Add (the first|a) floor"))
    page.get_by_label("Name").fill("Main room")
    press(page, "Save floor")
    follow(page, "Read the slope")
    page.get_by_label("Slope").nth(0).fill("0.3")
    page.get_by_label("Slope").nth(1).fill("0.2")
    page.get_by_label("Rises toward the").nth(1).select_option("left wall")
    press(page, "Save slope")
    expect(page.get_by_text(re.compile("falls 0.36° toward the front")).first).to_be_visible()
    follow(page, re.compile("Add (a|the first) bay"))
    page.get_by_label("Name").fill("Bay 1")
    press(page, "Save bay")
    expect(page.get_by_role("heading", name="Bay 1")).to_be_visible()


def describe_the_machine(page: Page) -> None:
    follow(page, "Machines", re.compile("Add (your first|a) machine"))
    page.get_by_label("Title").fill("Lantern Reef")
    bay = page.get_by_label(re.compile("^Where it stands(?!: site)"))
    bay.select_option(label=bay.locator("option", has_text="Bay 1").first.inner_text())
    press(page, "Add machine")
    expect(page.get_by_role("heading", name="Lantern Reef")).to_be_visible()


def add_the_level(page: Page) -> None:
    follow(page, "Instruments", re.compile("Add (your level|an instrument)"))
    page.get_by_label("Name").fill("230 mm digital level")
    press(page, re.compile("Add instrument|Save and go on"))
    follow(page, "Check its zero")
    for place, side in enumerate(("right", "left")):
        page.get_by_role("main").get_by_role("textbox").nth(place).fill("0.2")
        page.get_by_label(side, exact=True).nth(place).check()
    press(page, "Save the check")
    expect(page.get_by_role("heading", name="230 mm digital level")).to_be_visible()


def survey_with_a_third_reading(page: Page) -> None:
    """Two readings, a third that is added, the answer before it is saved.

    The level shows 0.2 too high at its marked end, which lies to the rear or the right: 6.0 is 5.8, and 0.3 and 0.4
    with the left side high are 0.5 and 0.6, in the mean 0.55.
    """
    follow(page, "Machines", "Lantern Reef", "Survey now")
    rows = page.locator("fieldset.reading")
    read(page, 0, shows="6.0", end="rear")
    read(page, 1, shows="0.3", end="left")
    press(page, "Add a reading")
    expect(rows).to_have_count(3)
    expect(rows.nth(0).get_by_label(re.compile("It shows"))).to_have_value("6.0")
    expect(rows.nth(1).get_by_label("left", exact=True).first).to_be_checked()
    read(page, 2, shows="0.4", end="left", way="across")
    page.get_by_label("All four bear").check()
    press(page, "Show the answer")
    expect(page.locator("#survey-answer")).to_contain_text("5.80°")
    expect(page.locator("#survey-answer")).to_contain_text(re.compile(r"left high\s0.55°"))
    assert not Survey.objects.exists()
    expect(page.get_by_label("All four bear")).to_be_checked()
    press(page, "Save survey")
    expect(page.get_by_text("Out of spec").first).to_be_visible()


def work_the_plan(page: Page) -> None:
    follow(page, "Machines", "Lantern Reef")
    page.get_by_role("main").get_by_role("link", name=re.compile("^(Leg plan|Make a leg plan|Work out)")).or_(
        page.get_by_role("main").get_by_role("button", name="Work out the turns")
    ).first.click()
    if "/plans/new/" in page.url:
        press(page, "Work out the turns")
    expect(page.get_by_role("heading", name=re.compile("Lift 1 of"))).to_be_visible()
    # The first lift in other words than planned, to see that the fields take them; the others as shown.
    lifts = Plan.objects.get().answer["lifts"]
    page.get_by_text("I turned something else").click()
    own = page.locator("#other-turns")
    fields = own.get_by_label(re.compile("turns$"))
    typed = [fields.nth(place).input_value() for place in range(fields.count())]
    fields.nth(0).fill("six and a half")
    own.get_by_role("button", name="Record these turns").click()
    expect(page.get_by_role("alert")).to_contain_text("Nothing is saved yet")
    expect(fields.nth(0)).to_have_value("six and a half")
    fields.nth(0).fill(typed[0])
    own.get_by_role("button", name="Record these turns").click()
    for _ in lifts[1:]:
        press(page, "Turned as shown")
    expect(page.get_by_role("link", name="Take the check reading")).to_be_visible()


def check_and_sign_off(page: Page) -> None:
    follow(page, "Take the check reading")
    read(page, 0, shows="6.7", end="rear")  # 6.5 and level, with the zero of this level
    read(page, 1, shows="0.2", end="right")
    page.get_by_label("All four bear").check()
    press(page, "Save survey")
    expect(page.get_by_text("In spec").first).to_be_visible()
    follow(page, "Machines", "Lantern Reef")
    page.locator("main a[href^='/plans/']").first.click()
    press(page, "Sign off")
    expect(page.get_by_role("alert")).to_contain_text("Tick each item, or say in the remark why it is left")
    for task in ("Locknuts", "Read again", "Tilt bob", "Feet marked"):
        page.get_by_label(re.compile(task)).check()
    press(page, "Sign off")
    expect(page.get_by_role("heading", name="Signed off")).to_be_visible()


def the_record_is_complete() -> None:
    plan, machine, floor = Plan.objects.get(), Machine.objects.get(), Floor.objects.get()
    first, check = Survey.objects.order_by("created_at")
    assert (plan.state, plan.survey, check.plan, check.verdict) == ("signed_off", first, plan, "in")
    assert [first.readings.count(), check.readings.count()] == [3, 2]
    assert (machine.bay.floor, machine.bay.name) == (floor, "Bay 1")
    assert plan.adjustments.count() == sum(len(lift["legs"]) for lift in plan.answer["lifts"])


def read(page: Page, place: int, *, shows: str, end: str, way: str = "") -> None:
    """Fill one row of the survey's form."""
    row = page.locator("fieldset.reading").nth(place)
    if way:
        row.get_by_label(way, exact=True).check()
    row.get_by_label(re.compile("It shows")).fill(shows)
    row.get_by_label(end, exact=True).first.check()


def follow(page: Page, *names: str | re.Pattern[str]) -> None:
    """Go from link to link by their names."""
    for name in names:
        page.get_by_role("link", name=name, exact=isinstance(name, str)).first.click()


def press(page: Page, name: str | re.Pattern[str]) -> None:
    """Press a button of the page by its words."""
    page.get_by_role("main").get_by_role("button", name=name).first.click()
