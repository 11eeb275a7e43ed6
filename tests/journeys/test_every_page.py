"""Every page in a real browser, on a phone's width, light and dark: nothing serious for axe, nothing off the policy."""

import pytest
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from tests.collection.access.table import ROWS
from tests.journeys.conftest import serious_findings, sign_in
from tests.worlds import TernTaproom

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

READ_BY_ALICE = [row for row in ROWS if row.answers.get("GET", (0,))[-1] == 200]
READ_BY_ANYONE = [row for row in ROWS if row.answers.get("GET", (0,))[0] == 200]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_has_a_serious_finding(
    scheme: str, page: Page, complaints: list[str], live_server: LiveServer, taproom: TernTaproom
) -> None:
    page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
    addresses = [row.address(taproom) for row in READ_BY_ANYONE]
    found = look(page, live_server.url, addresses, complaints)
    sign_in(page, live_server.url, taproom.people.alice.user.email)
    addresses = [row.address(taproom) for row in READ_BY_ALICE]
    found |= look(page, live_server.url, addresses, complaints)
    assert len(addresses) >= 30
    assert found == {}


def look(page: Page, base: str, addresses: list[str], complaints: list[str]) -> dict[str, list[str]]:
    """Return what is wrong with each page: overflow, policy complaints, serious findings of axe."""
    found = {}
    for address in addresses:
        complaints.clear()
        page.goto(base + address, wait_until="load")
        wrong = list(complaints)
        if page.evaluate("document.documentElement.scrollWidth > window.innerWidth"):
            wrong.append("wider than the phone")
        wrong += serious_findings(page)  # axe itself bends the policy, so complaints are read before
        if wrong:
            found[address] = wrong
    return found
