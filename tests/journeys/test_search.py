"""Typing into a list's search field swaps the list, without a reload and without a complaint."""

import pytest
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from tests import factories as make
from tests.journeys.conftest import sign_in
from tests.worlds import TernTaproom

pytestmark = [pytest.mark.browser, pytest.mark.journey, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("path", ["/machines/", "/today/"])
def test_typing_narrows_the_list(phone: Page, live_server: LiveServer, taproom: TernTaproom, path: str) -> None:
    """Check fix for typing that swapped nothing, found 2026-11-25: htmx 4 read only half of the trigger."""
    make.MachineFactory(member=taproom.people.alice, title="Tin Kettle")
    sign_in(phone, live_server.url, "bob@example.org")
    phone.goto(live_server.url + path)
    expect(phone.locator(".row-title")).to_have_count(2)
    phone.evaluate("() => { document.body.dataset.sameDocument = 'yes' }")
    phone.get_by_role("searchbox").press_sequentially("kettle")
    expect(phone.locator(".row-title")).to_have_text(["Tin Kettle"])
    expect(phone).to_have_url(f"{live_server.url}{path}?q=kettle" + ("&verdict=&site=" if "machines" in path else ""))
    assert phone.evaluate("() => document.body.dataset.sameDocument") == "yes"


def test_a_verdict_chosen_narrows_the_list(phone: Page, live_server: LiveServer, taproom: TernTaproom) -> None:
    sign_in(phone, live_server.url, "bob@example.org")
    phone.goto(f"{live_server.url}/machines/")
    phone.get_by_label("Verdict").select_option(label="Out of spec")
    expect(phone.get_by_text("No machine matches")).to_be_visible()
    phone.get_by_label("Verdict").select_option(label="Never surveyed")
    expect(phone.locator(".row-title")).to_have_text(["Lantern Reef"])
