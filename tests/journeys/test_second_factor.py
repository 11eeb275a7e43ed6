"""A second factor on a phone: set up, signed in with; a passkey of the browser's own; a device signed out from afar."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect
from pytest_django.live_server_helper import LiveServer

from tests.codes import fresh_code
from tests.factories import PASSWORD
from tests.journeys.conftest import findings, sign_in
from tests.journeys.keys import Keys
from tests.worlds import TernTaproom

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
#: A code must still be good when the busy server reads it.
LEAST_S = 8


@pytest.fixture
def bob(phone: Page, live_server: LiveServer, world: TernTaproom) -> Page:
    """Bob at the page of his account's second factor, found from the organization."""
    sign_in(phone, live_server.url, "bob@example.org")
    phone.goto(f"{live_server.url}/organization/")
    phone.get_by_role("link", name="Second factor and passkeys").click()
    expect(phone.get_by_text("Off. Whoever has your password can sign in.")).to_be_visible()
    return phone


@pytest.fixture
def authenticator(phone: Page) -> Iterator[Any]:
    """A phone that holds passkeys and knows its owner's finger: the browser's own, over its developer protocol."""
    talk = phone.context.new_cdp_session(phone)
    talk.send("WebAuthn.enable")
    options = {
        "protocol": "ctap2", "transport": "internal", "hasResidentKey": True, "hasUserVerification": True,
        "isUserVerified": True, "automaticPresenceSimulation": True,
    }  # fmt: skip
    made = talk.send("WebAuthn.addVirtualAuthenticator", {"options": options})
    yield lambda verified: talk.send(
        "WebAuthn.setUserVerified", {"authenticatorId": made["authenticatorId"], "isUserVerified": verified}
    )
    talk.detach()


def prove_it(page: Page) -> None:
    """Type the password where the page asks who it is."""
    expect(page.get_by_role("heading", name="Is it you?")).to_be_visible()
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Go on").click()


def sign_out(page: Page, base: str) -> None:
    page.goto(f"{base}/accounts/logout/")
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()


def type_password(page: Page) -> None:
    page.get_by_label("E-mail").fill("bob@example.org")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("main").get_by_role("button", name="Sign in", exact=True).click()


def test_codes_of_an_app_and_of_paper(bob: Page, live_server: LiveServer) -> None:
    bob.get_by_role("link", name="Set up the app").click()
    prove_it(bob)
    expect(bob.get_by_role("img", name="QR code with the key for the app")).to_be_visible()
    assert findings(bob) == []
    key = bob.locator("#app-key").inner_text()
    bob.get_by_role("textbox", name="Code").fill("000000")
    bob.get_by_role("button", name="Turn it on").click()
    expect(bob.get_by_role("alert")).to_contain_text("wrong or too old")
    assert bob.locator("#app-key").inner_text() == key, "the app has this key already"
    bob.get_by_role("textbox", name="Code").fill(fresh_code(key, LEAST_S))
    bob.keyboard.press("Enter")
    expect(bob.get_by_role("heading", name="Recovery codes")).to_be_visible()
    paper = [text.replace("\xa0", " ") for text in bob.locator(".paper-codes li").all_inner_texts()]
    assert len(paper) == 10
    assert findings(bob) == []

    sign_out(bob, live_server.url)
    type_password(bob)
    expect(bob.get_by_role("heading", name="One more step")).to_be_visible()
    assert findings(bob) == []
    bob.get_by_role("textbox", name="Code").fill(fresh_code(key, LEAST_S))
    bob.get_by_role("button", name="Sign in").click()
    bob.wait_for_url("**/today/")

    sign_out(bob, live_server.url)
    type_password(bob)
    code = re.search(r"\d{4} \d{4}", paper[0])
    assert code
    bob.get_by_role("textbox", name="Code").fill(code[0])
    bob.keyboard.press("Enter")
    bob.wait_for_url("**/today/")
    bob.goto(f"{live_server.url}/accounts/second-factor/")
    expect(bob.get_by_text("9 left.")).to_be_visible()


def test_a_passkey_instead_of_the_password(bob: Page, live_server: LiveServer, authenticator: Any) -> None:
    bob.get_by_role("link", name="Add a passkey").click()
    prove_it(bob)
    expect(bob.get_by_role("heading", name="Add a passkey")).to_be_visible()
    assert findings(bob) == []
    bob.get_by_label("Name").fill("Phone")
    bob.get_by_role("button", name="Add it").click()
    expect(bob.get_by_role("heading", name="Recovery codes")).to_be_visible()

    sign_out(bob, live_server.url)
    assert findings(bob) == []
    authenticator(False)
    bob.get_by_role("button", name="Use a passkey").click()
    expect(bob.get_by_role("alert")).to_contain_text("did not give a passkey")
    authenticator(True)
    bob.get_by_role("button", name="Use a passkey").click()
    bob.wait_for_url("**/today/")

    bob.goto(f"{live_server.url}/accounts/second-factor/webauthn/")
    expect(bob.get_by_text("last used")).to_be_visible()
    bob.get_by_role("link", name="Remove Phone").click()
    expect(bob.get_by_role("heading", name="Is it you?")).to_be_visible()
    bob.get_by_role("link", name="Use a passkey instead").click()
    bob.get_by_role("button", name="Use a passkey").click()
    bob.get_by_role("button", name="Remove it").click()
    expect(bob.get_by_text("You have no passkey")).to_be_visible()

    sign_out(bob, live_server.url)
    bob.get_by_role("button", name="Use a passkey").click()
    expect(bob.get_by_text("This passkey was not accepted")).to_be_visible()


def test_at_an_address_without_a_name_it_says_why_not(
    phone: Page, live_server: LiveServer, authenticator: Any, world: TernTaproom
) -> None:
    """Browsers give passkeys to names only: Web Authentication asks for a valid domain."""
    phone.goto(live_server.url.replace("localhost", "127.0.0.1") + "/accounts/login/")
    phone.get_by_role("button", name="Use a passkey").click()
    expect(phone.get_by_role("alert")).to_contain_text("or localhost on this computer")


def test_a_passkey_after_the_password_leads_to_the_page_that_was_asked_for(
    bob: Page, live_server: LiveServer, authenticator: Any
) -> None:
    bob.get_by_role("link", name="Add a passkey").click()
    prove_it(bob)
    bob.get_by_label("It signs me in without my password").uncheck()
    bob.get_by_role("button", name="Add it").click()
    expect(bob.get_by_role("heading", name="Recovery codes")).to_be_visible()
    sign_out(bob, live_server.url)
    bob.goto(f"{live_server.url}/machines/")
    type_password(bob)
    expect(bob.get_by_role("heading", name="One more step")).to_be_visible()
    bob.get_by_role("button", name="Use a passkey instead").click()
    bob.wait_for_url("**/machines/")


def test_set_up_and_signed_in_by_keyboard_alone(bob: Page, live_server: LiveServer) -> None:
    keys = Keys(bob)
    keys.tab_to("^Set up the app$")
    keys.enter()
    keys.tab_to("^Password")
    keys.type(PASSWORD)
    keys.tab_to("^Go on$")
    keys.enter()
    key = bob.locator("#app-key").inner_text()
    keys.tab_to("^Code")
    keys.type(fresh_code(key, LEAST_S))
    keys.tab_to("^Turn it on$")
    keys.enter()
    expect(bob.get_by_role("heading", name="Recovery codes")).to_be_visible()
    sign_out(bob, live_server.url)
    type_password(bob)
    expect(bob.get_by_role("heading", name="One more step")).to_be_visible()
    keys.tab_to("^Code")
    keys.type(fresh_code(key, LEAST_S))
    keys.tab_to("^Sign in$")
    keys.enter()
    expect(bob.get_by_role("heading", name="Today")).to_be_visible()
    assert keys.faults == []


def test_a_device_is_signed_out_from_another(
    phone: Page, live_server: LiveServer, world: TernTaproom, browser: Browser
) -> None:
    elsewhere = browser.new_context(user_agent="Mozilla/5.0 (Windows NT 10.0; rv:140.0) Gecko/20100101 Firefox/140.0")
    desk = elsewhere.new_page()
    sign_in(desk, live_server.url, "bob@example.org")
    sign_in(phone, live_server.url, "bob@example.org")
    phone.goto(f"{live_server.url}/organization/")
    phone.get_by_role("link", name="Devices").click()
    expect(phone.get_by_text("this device")).to_be_visible()
    assert findings(phone) == []
    phone.get_by_role("button", name="Sign out on Firefox on Windows").click()
    prove_it(phone)
    expect(phone.get_by_text("That device is signed out.")).to_be_visible()
    expect(phone.get_by_text("No other device is signed in.")).to_be_visible()
    desk.get_by_role("link", name="Machines").first.click()
    expect(desk.get_by_role("heading", name="Sign in")).to_be_visible()
    elsewhere.close()
