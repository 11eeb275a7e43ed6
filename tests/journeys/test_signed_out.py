"""Who takes the device after someone signed out finds nothing with Back, though browsers keep whole pages for it."""

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import BrowserType, Page, expect
from pytest_django.live_server_helper import LiveServer

from tests.conftest import CHROMIUM
from tests.journeys.conftest import PATIENCE_MS, PHONE, sign_in
from tests.worlds import TernTaproom

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def keeper(browser_type: BrowserType, browser_type_launch_args: dict[str, Any]) -> Iterator[Page]:
    """The whole browser, which keeps pages for Back as people's does; in other tests it is told not to."""
    whole = {**browser_type_launch_args, "executable_path": CHROMIUM}
    browser = browser_type.launch(**whole, ignore_default_args=["--disable-back-forward-cache"], channel=None)
    page = browser.new_page(viewport=PHONE)
    page.set_default_timeout(PATIENCE_MS)
    yield page
    browser.close()


def test_back_shows_no_page_of_the_book(keeper: Page, live_server: LiveServer, world: TernTaproom) -> None:
    base = live_server.url
    sign_in(keeper, base, "bob@example.org")
    keeper.goto(f"{base}/machines/{world.machine.pk}/")
    keeper.evaluate("() => { document.body.dataset.kept = 'whole' }")
    keeper.goto(f"{base}/accounts/logout/")
    keeper.go_back(wait_until="commit")
    expect(keeper.locator("body[data-kept=whole]"), "this browser keeps pages").to_contain_text("Lantern Reef")
    keeper.go_forward(wait_until="commit")
    keeper.get_by_role("main").get_by_role("button", name="Sign out").click()
    keeper.wait_for_url("**/accounts/login/")
    keeper.evaluate("() => history.go(-2)")  # past the question, to the machine
    keeper.wait_for_url("**/accounts/login/?next=**")
    expect(keeper.get_by_role("heading", level=1)).to_be_visible()
    expect(keeper.get_by_text("Lantern Reef")).to_have_count(0)
