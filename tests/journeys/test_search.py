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
    expect(phone).to_have_url(f"{live_server.url}{path}?q=kettle&site=")
    assert phone.evaluate("() => document.body.dataset.sameDocument") == "yes"


def test_counts_follow_the_typing_and_the_bar_hides_nothing(
    phone: Page, live_server: LiveServer, taproom: TernTaproom
) -> None:
    make.MachineFactory(member=taproom.people.alice, title="Tin Kettle")
    sign_in(phone, live_server.url, "bob@example.org")
    phone.goto(f"{live_server.url}/machines/")
    counts = phone.get_by_role("navigation", name="Only one verdict").get_by_role("link")
    expect(counts.nth(2)).to_contain_text("2")
    phone.get_by_role("searchbox").press_sequentially("kettle")
    expect(counts.nth(2)).to_contain_text("1")
    counts.nth(2).click()
    expect(phone).to_have_url(f"{live_server.url}/machines/?q=kettle&verdict=never")
    counts.nth(0).click()
    expect(phone.get_by_text("No machine matches")).to_be_visible()
    phone.get_by_role("link", name="Show all machines").click()
    expect(phone.locator(".row-title")).to_have_count(2)
    phone.set_viewport_size({"width": 390, "height": 420})
    assert behind_the_bar(phone) == []


def behind_the_bar(page: Page) -> list[str]:
    """What the keyboard reaches that the bar at the bottom would cover, from the top of the page to its end."""
    hidden, reached = [], 0
    for _ in range(60):
        page.keyboard.press("Tab")
        words = page.evaluate(
            """() => {
              const at = document.activeElement, bar = document.querySelector(".bar-nav");
              if (at === document.body) return null;
              const covered = !bar.contains(at) && at.getBoundingClientRect().bottom > bar.getBoundingClientRect().top;
              return [at.textContent.trim() || at.id, covered];
            }"""
        )
        if words is None:
            break
        reached += 1
        hidden += [words[0]] if words[1] else []
    assert reached > 10
    return hidden
