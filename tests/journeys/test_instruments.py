"""One survey with each instrument, in a real browser at 390 px: the rows ask what it shows, and the answer follows."""

import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from collection import models
from tests import factories as make
from tests.journeys.conftest import serious_findings, sign_in
from tests.journeys.surveying import open_form
from tests.worlds import TernTaproom

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def opened(phone: Page, live_server: LiveServer, world: TernTaproom, **kinds: dict[str, Any]) -> None:
    """Bob's survey form, with some more instruments to choose from."""
    for kind, columns in kinds.items():
        make.InstrumentFactory(member=world.people.alice, name=f"our {kind}", **columns)
    sign_in(phone, live_server.url, "bob@example.org")
    open_form(phone, live_server.url, world.machine)


def choose(page: Page, name: str) -> Any:
    """Choose the instrument for both directions; return the rows."""
    page.get_by_label("Instrument", exact=True).select_option(label=name)
    return page.locator("fieldset.reading")


def say(row: Any, end: str) -> None:
    row.locator(".ends").first.get_by_label(end, exact=True).check()


def save(page: Page) -> models.Survey:
    page.get_by_label("All four bear").check()
    page.get_by_role("button", name="Save survey").click()
    page.wait_for_url(re.compile(r"/surveys/[0-9a-f-]{36}/$"))
    return models.Survey.objects.latest("created_at")


def test_blocks_with_a_bubble(phone: Page, live_server: LiveServer, world: TernTaproom, complaints: list[str]) -> None:
    opened(phone, live_server, world, blocks={"kind": "blocks", "sensitivity_deg": 0.05, "accuracy_deg": 0.05})
    rows = choose(phone, "our blocks, angle blocks with a bubble")
    expect(phone.get_by_text("lay a block under the bubble")).to_be_visible()
    rows.nth(0).locator(".reading-shows input").fill("6.25")
    say(rows.nth(0), "rear")
    expect(rows.nth(1).locator(".reading-shows")).to_be_hidden()
    say(rows.nth(1), "level")
    answer = phone.locator("#survey-answer")
    expect(answer).to_contain_text("Put the bubble on a steeper block")
    phone.get_by_role("button", name="Add a reading").click()
    expect(rows).to_have_count(3)
    rows.nth(2).get_by_label("along", exact=True).check()
    rows.nth(2).locator(".reading-shows input").fill("6.75")
    say(rows.nth(2), "front")
    expect(answer).to_contain_text("6.5")
    assert complaints == []
    assert serious_findings(phone) == []
    complaints.clear()  # axe itself bends the policy
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390
    survey = save(phone)
    assert survey.pitch_read_deg == pytest.approx(6.5, abs=0.02)
    expect(phone.get_by_text("pitch is more than")).to_be_visible()


def test_a_filmed_ball(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    opened(phone, live_server, world, ball={"kind": "ball", "film_hz": 240, "alignment_deg": 0.2})
    rows = choose(phone, "our ball, rolling ball")
    expect(rows.nth(0).get_by_text("Frames it took")).to_be_visible()
    expect(rows.nth(0).locator(".ends").first).to_be_hidden()
    rows.nth(0).locator(".reading-shows input").fill("256")
    expect(rows.nth(1).get_by_text("Went aside by, mm")).to_be_visible()
    rows.nth(1).locator(".reading-shows input").fill("3")
    say(rows.nth(1), "left")
    expect(phone.locator("#survey-answer")).to_contain_text("left high")
    survey = save(phone)
    assert survey.pitch_read_deg == pytest.approx(6.5, abs=0.05)
    assert survey.roll_read_deg < 0


def test_a_bubble_across_beside_a_level_along(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    opened(phone, live_server, world, bubble={"kind": "bubble"})
    rows = choose(phone, f"{world.instrument.name}, shows °")
    phone.get_by_text("Across with another instrument").click()
    phone.get_by_label("Across, read with").select_option(label="our bubble, plain bubble")
    rows.nth(0).locator(".reading-shows input").fill("6.5")
    expect(rows.nth(1).locator(".reading-shows")).to_be_hidden()
    say(rows.nth(1), "right")
    expect(phone.locator("#survey-answer")).to_contain_text("right high")
    survey = save(phone)
    assert survey.instrument_across is not None
    assert survey.roll_read_deg > 0
