"""A real browser on a phone's width, which remembers every complaint about the content policy."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect
from pytest_django.live_server_helper import LiveServer

from tests.factories import PASSWORD
from tests.journeys.surveying import open_form
from tests.worlds import TernTaproom, tern_taproom

AXE = Path(__file__).parents[1] / "data" / "vendor" / "axe-core" / "axe.min.js"
PHONE = {"width": 390, "height": 844}
#: As long as a busy machine with two processors may need for a page, with three browsers at work.
PATIENCE_MS = 20_000
expect.set_options(timeout=PATIENCE_MS)

#: axe's impacts that we never accept.
SERIOUS = ("serious", "critical")
ALL_IMPACTS = ("minor", "moderate", *SERIOUS)


@pytest.fixture
def browser_context_args(browser_context_args: dict[str, object]) -> dict[str, object]:
    """Open pages as wide as a phone."""
    return {**browser_context_args, "viewport": PHONE, "reduced_motion": "reduce"}


@pytest.fixture
def complaints(context: BrowserContext) -> list[str]:
    """Return the list that fills with script errors, policy reports and requests that leave the origin."""
    found: list[str] = []

    def listen(page: Page) -> None:
        page.on("pageerror", lambda error: found.append(f"script: {error}"))
        page.on("console", lambda message: found.append(message.text) if _is_a_complaint(message.text) else None)

    def outside(url: str) -> bool:
        return not url.startswith(("http://localhost", "http://127.0.0.1", "data:", "blob:", "about:"))

    context.on("page", listen)
    context.on("request", lambda request: found.append(f"left: {request.url}") if outside(request.url) else None)
    return found


def _is_a_complaint(text: str) -> bool:
    return "Content Security Policy" in text or "Uncaught" in text or "Refused to" in text


@pytest.fixture
def phone(page: Page, complaints: list[str]) -> Iterator[Page]:
    """Yield a page of 390 px; after the test it must have raised no complaint."""
    page.set_default_timeout(PATIENCE_MS)
    yield page
    assert complaints == []


def sign_in(page: Page, base: str, email: str) -> None:
    """Sign in through the login page."""
    page.goto(f"{base}/accounts/login/")
    page.get_by_label("E-mail").fill(email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("main").get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/today/")


@pytest.fixture
def world(transactional_db: None) -> TernTaproom:
    """Alice's Tern Taproom with one machine, as a server in another thread sees it."""
    return tern_taproom()


@pytest.fixture
def form(phone: Page, live_server: LiveServer, world: TernTaproom) -> Page:
    """Bob's survey form of Lantern Reef, on his phone."""
    sign_in(phone, live_server.url, "bob@example.org")
    open_form(phone, live_server.url, world.machine)
    return phone


def serious_findings(page: Page) -> list[str]:
    """Return what axe finds serious on the page as it stands, WCAG A and AA up to 2.2."""
    return findings(page, SERIOUS)


def findings(page: Page, impacts: tuple[str, ...] = ALL_IMPACTS) -> list[str]:
    """Return what axe finds on the page as it stands, WCAG A and AA up to 2.2 and best practice, by impact."""
    page.evaluate(AXE.read_text())
    report = page.evaluate(
        """() => axe.run({runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]})"""
    )
    return [
        f"{finding['id']}: {node['html'][:160]}"
        for finding in report["violations"]
        if finding["impact"] in impacts
        for node in finding["nodes"]
    ]
