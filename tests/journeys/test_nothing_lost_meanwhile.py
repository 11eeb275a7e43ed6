"""Nothing that someone typed is lost while the server is slow, busy, or gone from a browser that keeps nothing."""

import re
import time

import pytest
from playwright.sync_api import BrowserContext, Page, Route, expect
from pytest_django.live_server_helper import LiveServer

from collection import models
from tests.journeys.conftest import serious_findings, sign_in
from tests.journeys.surveying import SENDINGS, SURVEY_PAGE, Typed, must_be_stored, open_form, save, type_survey
from tests.worlds import TernTaproom

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

BOB = "bob@example.org"
FORBIDDEN = "Storage.prototype.setItem = () => { throw new DOMException('no', 'QuotaExceededError'); };"
#: There is room for a word, as a first look finds, and none for a form.
FULL = """
const setItem = Storage.prototype.setItem;
Storage.prototype.setItem = function (name, text) {
  if (text.length > 100) throw new DOMException("full", "QuotaExceededError");
  setItem.call(this, name, text);
};
"""
NOT_SENT = (
    "Not sent: no connection, and this browser keeps nothing on the device. Leave this page open and press Save again."
)


# --- a slow answer ---------------------------------------------------------------------------------------------------


def slow(seconds: float) -> object:
    """A network on which an added reading comes this late."""

    def handle(route: Route) -> None:
        if "add=1" in (route.request.post_data or ""):
            answer = route.fetch()
            time.sleep(seconds)  # the network's, not the test's
            route.fulfill(response=answer)
        else:
            route.continue_()

    return handle


#: Adds a reading, and types, chooses and opens what is there before the answer comes. In the page itself, since
#: the test waits for its own slow network.
TYPE_MEANWHILE = """
() => {
  document.querySelector("#survey-rows button[name=add]").click();
  setTimeout(() => {
    const row = document.querySelector("#reading-1");
    const shows = row.querySelector("input[inputmode=decimal]");
    shows.focus();
    shows.value = "6.1";
    shows.dispatchEvent(new Event("input", { bubbles: true }));
    row.querySelector(".end-rear input").click();
    window.typedAt = document.querySelectorAll("fieldset.reading").length;
  }, 100);
}
"""


def test_what_is_typed_while_a_reading_is_added_stays(form: Page) -> None:
    form.route(SENDINGS, slow(1.5))  # type: ignore[arg-type]
    rows = form.locator("fieldset.reading")
    shows = rows.nth(0).get_by_label(re.compile("It shows"))
    rows.nth(1).get_by_label(re.compile("It shows")).fill("0.3")
    form.evaluate(TYPE_MEANWHILE)
    expect(rows).to_have_count(3)
    assert form.evaluate("window.typedAt") == 2, "it was typed before the answer came"
    expect(shows).to_have_value("6.1")
    expect(shows).to_be_focused()
    expect(rows.nth(0).get_by_label("rear", exact=True).first).to_be_checked()
    expect(rows.nth(1).get_by_label(re.compile("It shows"))).to_have_value("0.3")
    form.reload()
    expect(shows).to_have_value("6.1")


CLICK_ON = """
() => new Promise((done) => {
  let left = 18;
  const again = setInterval(() => {
    document.querySelector("#survey-rows button[name=add]")?.click();
    left -= 1;
    if (left) return;
    clearInterval(again);
    done();
  }, 120);
})
"""


def test_a_button_that_is_pressed_18_times_empties_nothing(form: Page) -> None:
    form.route(SENDINGS, slow(0.3))  # type: ignore[arg-type]
    rows = form.locator("fieldset.reading")
    for place, text in enumerate(("6.1", "0.3")):
        rows.nth(place).get_by_label(re.compile("It shows")).fill(text)
    form.evaluate(CLICK_ON)
    expect(form.locator(".htmx-request")).to_have_count(0)
    for place, text in enumerate(("6.1", "0.3")):
        expect(rows.nth(place).get_by_label(re.compile("It shows"))).to_have_value(text)
    assert rows.count() > 2
    form.unroute_all(behavior="wait")


# --- a browser that keeps nothing, and nobody there -------------------------------------------------------------------


def type_two(page: Page) -> None:
    rows = page.locator("fieldset.reading")
    for place, (text, end) in enumerate((("6.1", "rear"), ("0.3", "left"))):
        rows.nth(place).get_by_label(re.compile("It shows")).fill(text)
        rows.nth(place).get_by_label(end, exact=True).first.check()
    page.get_by_label("All four bear").check()


@pytest.mark.parametrize("script", [FORBIDDEN, FULL], ids=["forbidden", "full"])
def test_offline_with_nothing_kept_the_form_stays(
    script: str, phone: Page, context: BrowserContext, live_server: LiveServer, world: TernTaproom
) -> None:
    phone.add_init_script(script)
    sign_in(phone, live_server.url, BOB)
    open_form(phone, live_server.url, world.machine)
    type_two(phone)
    context.set_offline(True)
    for _ in range(2):
        save(phone)
        expect(phone.get_by_text(NOT_SENT)).to_be_visible()
        expect(phone.locator(".is-busy")).to_have_count(0)
        phone.wait_for_timeout(1_000)  # longer than a form waits before it keeps what was typed
        expect(phone.get_by_text(NOT_SENT)).to_be_visible()
    expect(phone.locator("fieldset.reading").nth(0).get_by_label(re.compile("It shows"))).to_have_value("6.1")
    context.set_offline(False)
    phone.get_by_role("button", name="Save survey").dblclick()
    phone.wait_for_url(SURVEY_PAGE)
    assert models.Survey.objects.count() == 1


def test_signed_out_with_nothing_kept_the_form_stays(
    phone: Page, context: BrowserContext, live_server: LiveServer, world: TernTaproom
) -> None:
    """The browser would show the sign-in page in its place."""
    phone.add_init_script(FORBIDDEN)
    sign_in(phone, live_server.url, BOB)
    open_form(phone, live_server.url, world.machine)
    type_two(phone)
    context.clear_cookies(name="sessionid")
    save(phone)
    expect(phone.get_by_text("Not sent: your sign-in has run out")).to_be_visible()
    sign_in(context.new_page(), live_server.url, BOB)
    save(phone)
    phone.wait_for_url(SURVEY_PAGE)
    assert models.Survey.objects.count() == 1


# --- an untouched form, and a busy server -----------------------------------------------------------------------------


def refused(form: Page) -> None:
    """Press Save and see the server's page of what is wrong."""
    with form.expect_navigation():
        save(form)
    expect(form.get_by_role("alert")).to_contain_text("Nothing is saved yet")


def test_a_form_in_which_nothing_was_typed_is_not_kept(form: Page, live_server: LiveServer) -> None:
    """It is refused, twice; then something is typed into the refused page, and that is kept."""
    for _ in range(2):
        refused(form)
    form.goto(f"{live_server.url}/today/")
    expect(form.get_by_role("navigation").first).to_be_visible()
    expect(form.locator(".kept-bar")).to_have_count(0)
    assert form.evaluate("Object.keys(localStorage).filter((name) => name.startsWith('kept/'))") == []
    open_form(form, live_server.url, models.Machine.objects.get())
    refused(form)
    form.locator("fieldset.reading").nth(0).get_by_label(re.compile("It shows")).fill("6.1")
    refused(form)
    form.goto(f"{live_server.url}/today/")
    expect(form.locator(".kept-bar")).to_contain_text("Begun, not sent: survey of Lantern Reef")


@pytest.mark.parametrize("status", [429, 500, 503])
def test_a_busy_server_is_no_lost_connection(status: int, form: Page) -> None:
    typed = Typed()
    key = type_survey(form, typed)
    form.route(SENDINGS, lambda route: route.fulfill(status=status, body="<h1>Too busy</h1>"))
    save(form)
    expect(form.locator(".kept-line")).to_contain_text("it is sent when the server answers again.")
    expect(form.locator(".kept-bar")).to_contain_text("it is sent when the server answers again.")
    expect(form.get_by_text("connection")).to_have_count(0)
    assert serious_findings(form) == []
    form.unroute(SENDINGS)
    form.get_by_role("button", name="Send now").click()
    form.wait_for_url(SURVEY_PAGE)
    must_be_stored(key, typed)
