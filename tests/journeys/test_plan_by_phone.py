"""A leg plan in the hand: worked on a phone, and printed on one sheet."""

import re

import pytest
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from collection import models
from tests.journeys.conftest import serious_findings, sign_in
from tests.worlds import TernTaproom, tern_taproom, two_lifts

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def world() -> TernTaproom:
    return two_lifts(tern_taproom())


def test_a_plan_is_worked_lift_by_lift(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    sign_in(phone, live_server.url, "bob@example.org")
    phone.goto(f"{live_server.url}/plans/{world.plan.pk}/")
    assert serious_findings(phone) == []
    phone.get_by_text("I turned something else").click()
    first = phone.get_by_label("Rear left: turns")
    first.fill("6 1/2 turns")
    phone.get_by_role("button", name="Record these turns").click()
    expect(phone.get_by_role("alert")).to_contain_text("Nothing is saved yet")
    expect(first).to_have_value("6 1/2 turns")
    assert serious_findings(phone) == []
    first.fill("1 3/4")
    phone.get_by_role("button", name="Record these turns").click()
    phone.wait_for_url("**#lift-2")
    expect(phone.get_by_text("· turned")).to_have_count(1)
    for box in phone.locator("#lift-2").get_by_role("checkbox").all():
        box.check()
    phone.get_by_role("button", name="Turned as shown").click()
    phone.wait_for_url("**#after")
    expect(phone.get_by_role("link", name="Take the check reading")).to_be_visible()
    phone.get_by_role("button", name="Sign off").click()
    expect(phone.get_by_role("alert")).to_contain_text("Tick each item, or say in the remark why it is left")
    phone.get_by_label("Locknuts tight").check()
    phone.get_by_label("Remark").fill("The rest on Thursday.")
    phone.get_by_role("button", name="Sign off").click()
    expect(phone.get_by_role("heading", name="Signed off")).to_be_visible()
    rows = models.Adjustment.objects.filter(plan=world.plan)
    assert {row.text for row in rows} >= {"1 3/4", "as shown"}


def test_a_plan_prints_on_one_sheet(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    """A4, with cautions, large turns and boxes to tick, and without buttons."""
    sign_in(phone, live_server.url, "bob@example.org")
    phone.goto(f"{live_server.url}/plans/{world.plan.pk}/")
    sheet = phone.pdf(format="A4")
    assert len(re.findall(rb"/Type\s*/Page\b", sheet)) == 1
    phone.emulate_media(media="print")
    for words in ("Before you lift", "Two people or a lift aid.", "Lift 2 of 2", "Tern Taproom, Bay 1"):
        expect(phone.get_by_text(words).first).to_be_visible()
    for button in ("Turned as shown", "Record these turns", "Set aside"):
        expect(phone.get_by_role("button", name=button)).to_be_hidden()
