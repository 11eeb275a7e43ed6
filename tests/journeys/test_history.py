"""An owner changes a machine's name and says why, and finds it again: on the machine's history and on everything's."""

import pytest
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from tests.journeys.conftest import sign_in
from tests.worlds import TernTaproom

pytestmark = [pytest.mark.browser, pytest.mark.journey, pytest.mark.django_db(transaction=True)]


def test_a_changed_name_is_found_again_with_its_reason(
    phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    sign_in(phone, live_server.url, "alice@example.org")
    phone.goto(f"{live_server.url}/machines/{world.machine.pk}/")
    expect(phone.get_by_role("link", name="History")).to_be_visible()
    phone.goto(f"{live_server.url}/machines/{world.machine.pk}/edit/")
    phone.get_by_label("Title").fill("Lantern Reef II")
    phone.get_by_label("Reason").fill("A second one came.")
    phone.get_by_role("button", name="Save machine").click()
    expect(phone.get_by_role("heading", name="Lantern Reef II")).to_be_visible()

    phone.get_by_role("link", name="History").click()
    expect(phone.get_by_role("heading", name="History of Lantern Reef II")).to_be_visible()
    line = phone.get_by_role("listitem").filter(has_text="A second one came.").first
    expect(line).to_contain_text("Title: Lantern Reef → became Lantern Reef II")
    expect(line).to_contain_text("alice@example.org")

    phone.goto(f"{live_server.url}/organization/")
    phone.get_by_role("link", name="History", exact=True).click()
    expect(phone.get_by_role("heading", name="History", exact=True)).to_be_visible()
    phone.get_by_label("What").select_option("Machines")
    phone.get_by_label("Who").select_option("alice@example.org")
    phone.get_by_role("button", name="Show", exact=True).click()
    expect(phone.get_by_role("listitem").filter(has_text="A second one came.").first).to_be_visible()
    phone.get_by_label("What").select_option("Sites")
    phone.get_by_role("button", name="Show", exact=True).click()
    expect(phone.get_by_role("heading", name="Nothing fits")).to_be_visible()
    phone.get_by_role("link", name="Show all").click()
    phone.get_by_role("link", name="Lantern Reef II").first.click()
    expect(phone.get_by_role("heading", name="Lantern Reef II")).to_be_visible()
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390
