"""Nothing that someone typed is lost: reload, no connection, a closed tab, a refusal, a lost answer.

Each survey is stored once, with exactly what was typed, and until then the page says "Not sent yet". A journey counts
only because it fails on a planted fault: at the end of the file the same steps lose the text where the device keeps
nothing, and store two surveys where each sending has a key of its own.
"""

import datetime
import re
import uuid
from collections.abc import Callable
from urllib.parse import parse_qsl, urlencode

import pytest
from django.utils import timezone
from playwright.sync_api import BrowserContext, Page, Route, expect
from pytest_django.live_server_helper import LiveServer

from collection import models
from tests.journeys.conftest import serious_findings, sign_in
from tests.journeys.surveying import (
    SENDINGS,
    SURVEY_PAGE,
    Typed,
    key_of,
    must_be_stored,
    must_show,
    no_answer,
    open_form,
    save,
    type_survey,
)
from tests.worlds import TernTaproom

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

BOB = "bob@example.org"


def test_a_reload_brings_back_what_was_typed(form: Page) -> None:
    typed, since = Typed(), re.compile(r"Here again, as of \d\d:\d\d: your unsent survey of Lantern Reef")
    key = type_survey(form, typed)
    for _ in range(2):
        form.reload()
        expect(form.get_by_text(since)).to_be_visible()
        must_show(form, typed)
        assert key_of(form) == key
    expect(form.locator("#survey-answer")).to_contain_text("left high")
    assert serious_findings(form) == []
    save(form)
    form.wait_for_url(SURVEY_PAGE)
    must_be_stored(key, typed)
    assert models.Survey.objects.count() == 1
    form.go_back()
    form.reload()
    expect(form.locator("fieldset.reading")).to_have_count(2)
    expect(form.locator(".kept-line, .kept-bar")).to_have_count(0)


def test_the_last_word_before_a_reload_is_kept(form: Page) -> None:
    """No pause for the draft to be written in."""
    form.get_by_text("Another time, or a note").click()
    form.get_by_label("Note").fill("Gone in a blink")
    form.reload()
    expect(form.get_by_label("Note")).to_have_value("Gone in a blink")
    expect(form.get_by_label("Note")).to_be_visible()


def test_offline_it_waits_and_is_sent_when_online(form: Page, context: BrowserContext) -> None:
    typed = Typed()
    key = type_survey(form, typed)
    context.set_offline(True)
    save(form)
    expect(form.locator(".kept-bar")).to_contain_text("Not sent yet: survey of Lantern Reef")
    expect(form.locator(".kept-line")).to_contain_text("Kept on this device; it is sent when the server answers again.")
    assert serious_findings(form) == []
    form.get_by_role("button", name="Send now").click()
    expect(form.locator(".kept-bar")).to_contain_text("Not sent yet")
    assert models.Survey.objects.count() == 0
    context.set_offline(False)
    form.wait_for_url(SURVEY_PAGE)
    must_be_stored(key, typed)
    assert models.Survey.objects.count() == 1
    expect(form.locator(".kept-bar")).to_have_count(0)


def test_it_can_be_changed_while_it_waits(form: Page, context: BrowserContext) -> None:
    key = type_survey(form, Typed())
    context.set_offline(True)
    save(form)
    form.get_by_role("button", name="Change it").click()
    form.get_by_label("Note").fill("Another word")
    context.set_offline(False)
    save(form)
    form.wait_for_url(SURVEY_PAGE)
    must_be_stored(key, Typed(note="Another word"))
    assert models.Survey.objects.count() == 1


def test_it_is_told_on_every_page_and_counts_from_when_it_was_sent_off(form: Page, live_server: LiveServer) -> None:
    """Sent off four hours ago without a connection, it was measured four hours ago."""
    typed = Typed()
    key = type_survey(form, typed)
    form.route(SENDINGS, no_answer)
    save(form)
    expect(form.locator(".kept-line")).to_contain_text("Not sent yet")
    four_hours_ago(form)
    form.goto(f"{live_server.url}/today/")
    expect(form.locator(".kept-bar")).to_contain_text("Not sent yet: survey of Lantern Reef")
    form.unroute(SENDINGS)
    form.get_by_role("button", name="Send now").click()
    expect(form.locator(".kept-bar")).to_contain_text("Sent: survey of Lantern Reef")
    survey = must_be_stored(key, typed)
    assert abs(timezone.now() - datetime.timedelta(hours=4) - survey.measured_at) < datetime.timedelta(minutes=2)
    form.get_by_role("link", name="Open it").click()
    form.wait_for_url(SURVEY_PAGE)
    expect(form.locator(".kept-bar")).to_have_count(0)


def four_hours_ago(page: Page) -> None:
    """Let what waits have been sent off four hours ago."""
    page.evaluate(
        """() => {
          for (const name of Object.keys(localStorage)) {
            const item = JSON.parse(localStorage.getItem(name));
            if (item.typed_at) item.typed_at = new Date(Date.now() - 4 * 3600 * 1000).toISOString();
            localStorage.setItem(name, JSON.stringify(item));
          }
        }"""
    )


def test_a_new_tab_is_offered_what_a_closed_one_left(
    form: Page, context: BrowserContext, live_server: LiveServer, world: TernTaproom
) -> None:
    typed = Typed()
    key = type_survey(form, typed)
    other = context.new_page()
    open_form(other, live_server.url, world.machine)
    expect(other.locator("fieldset.reading")).to_have_count(2)
    expect(other.locator(".kept-line")).to_have_count(0)  # it is open in the first tab
    form.close()
    other.reload()
    other.get_by_role("button", name="Bring it back").click()
    must_show(other, typed)
    save(other)
    other.wait_for_url(SURVEY_PAGE)
    must_be_stored(key, typed)
    assert models.Survey.objects.count() == 1


def test_start_afresh_loses_nothing_and_throwing_away_asks_once_more(form: Page) -> None:
    type_survey(form, Typed())
    form.reload()
    form.get_by_role("button", name="Start afresh").click()
    expect(form.get_by_text("Kept on this device since")).to_be_visible()
    expect(form.locator("fieldset.reading")).to_have_count(2)
    form.get_by_role("button", name="Bring it back").click()
    must_show(form, Typed())
    form.get_by_role("button", name="Start afresh").click()
    form.get_by_role("button", name="Throw it away").click()
    form.get_by_role("button", name="Throw it away for good?").click()
    form.reload()
    expect(form.locator("#survey-form")).to_be_visible()
    expect(form.locator(".kept-line")).to_have_count(0)


def test_a_refusal_leads_to_the_form_with_what_is_wrong(form: Page, live_server: LiveServer) -> None:
    """Sent off without saying how the feet stand; the refusal comes while another page is open."""
    typed = Typed()
    key = type_survey(form, typed)
    form.get_by_label("FR is light").check()
    form.route(SENDINGS, no_answer)
    save(form)
    expect(form.locator(".kept-bar")).to_contain_text("Not sent yet")
    form.goto(f"{live_server.url}/today/")
    form.unroute(SENDINGS)
    form.get_by_role("button", name="Send now").click()
    expect(form.locator(".kept-bar")).to_contain_text("Not accepted: survey of Lantern Reef")
    expect(form.locator(".kept-bar")).to_contain_text("Measure the gap under the light foot")
    four_hours_ago(form)
    form.get_by_role("link", name="See what is wrong").click()
    expect(form.get_by_role("alert")).to_contain_text("Nothing is saved yet")
    expect(form.locator("#id_gap_error, .field-error").first).to_be_visible()
    form.get_by_label("All four bear").check()
    must_show(form, typed)
    save(form)
    form.wait_for_url(SURVEY_PAGE)
    survey = must_be_stored(key, typed)
    assert timezone.now() - survey.measured_at > datetime.timedelta(hours=3)
    assert models.Survey.objects.count() == 1
    expect(form.locator(".kept-bar")).to_have_count(0)


def test_a_refusal_at_once_is_the_servers_own_page(form: Page) -> None:
    typed = Typed(across="0,3")
    type_survey(form, typed)
    save(form)
    expect(form.get_by_role("alert")).to_contain_text("Nothing is saved yet")
    must_show(form, typed)
    form.locator("fieldset.reading").nth(1).get_by_label(re.compile("It shows")).fill("0.3")
    key = key_of(form)
    save(form)
    form.wait_for_url(SURVEY_PAGE)
    must_be_stored(key, Typed())
    assert models.Survey.objects.count() == 1


def test_pressed_twice_it_is_sent_and_stored_once(form: Page) -> None:
    sendings: list[str] = []
    form.on("request", lambda request: sendings.append(request.url) if "x-keep" in request.headers else None)
    key = type_survey(form, Typed())
    form.get_by_role("button", name="Save survey").dblclick()
    form.wait_for_url(SURVEY_PAGE)
    must_be_stored(key, Typed())
    assert (models.Survey.objects.count(), len(sendings)) == (1, 1)


def test_turns_recorded_offline_are_sent_once_and_the_next_lift_follows(
    phone: Page, context: BrowserContext, live_server: LiveServer, world: TernTaproom
) -> None:
    world.machine.legs.filter(place__gte=2).update(exposure_mm=33)
    plan = world.plan
    assert len(plan.answer["lifts"]) == 2
    sign_in(phone, live_server.url, BOB)
    phone.goto(f"{live_server.url}/plans/{plan.pk}/")
    context.set_offline(True)
    phone.get_by_role("button", name="Turned as shown").click()
    expect(phone.locator(".kept-bar")).to_contain_text("Not sent yet: turns of lift 1")
    assert models.Adjustment.objects.count() == 0
    context.set_offline(False)
    phone.wait_for_url("**#lift-2")
    expect(phone.get_by_text("· turned")).to_have_count(1)
    expect(phone.locator("#lift-2")).to_be_in_viewport()
    expect(phone.locator(".kept-bar")).to_have_count(0)
    rows = models.Adjustment.objects.filter(plan=plan)
    assert {row.lift for row in rows} == {1}
    assert rows.count() == models.Adjustment.objects.count()


def test_a_slope_comes_back_with_its_added_reading(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    """Here "Add a reading" is a page of its own, which comes back from the server with what was typed."""
    sign_in(phone, live_server.url, BOB)
    phone.goto(f"{live_server.url}/floors/{world.floor.pk}/slope/")
    phone.get_by_label("Slope").nth(0).fill("0.3")
    phone.get_by_role("button", name="Add a reading").click()
    phone.get_by_label("Slope").nth(2).fill("0.25")
    phone.goto(f"{live_server.url}/today/")
    expect(phone.locator(".kept-bar")).to_contain_text("Begun, not sent: slope of Main room")
    phone.get_by_role("link", name="Go on").click()
    expect(phone.get_by_label("Slope").nth(0)).to_have_value("0.3")
    expect(phone.get_by_label("Slope").nth(2)).to_have_value("0.25")


# --- an answer that was lost, and the planted faults -----------------------------------------------------------------


def lost_once(change: Callable[[str], str]) -> Callable[[Route], None]:
    """Let the first sending reach the server and drop its answer; ``change`` may plant a fault into each."""
    seen: list[str] = []

    def handle(route: Route) -> None:
        if route.request.method != "POST" or "x-keep" not in route.request.headers:
            route.continue_()
            return
        seen.append(route.request.url)
        answer = route.fetch(post_data=change(route.request.post_data or ""))
        if len(seen) == 1:
            assert answer.status == 201
            route.abort("connectionreset")
        else:
            route.fulfill(response=answer)

    return handle


def as_it_is(body: str) -> str:
    return body


def with_a_key_of_its_own(body: str) -> str:
    """The planted fault: each sending of the same write has another key."""
    return urlencode([(name, str(uuid.uuid4()) if name == "write_key" else text) for name, text in parse_qsl(body)])


@pytest.mark.parametrize(("change", "stored"), [(as_it_is, 1), (with_a_key_of_its_own, 2)])
def test_an_answer_that_was_lost(form: Page, change: Callable[[str], str], stored: int) -> None:
    """The survey was stored but nobody heard of it: sent again it is the same one. Without its key it would be two."""
    typed = Typed()
    key = type_survey(form, typed)
    form.route(SENDINGS, lost_once(change))
    save(form)
    expect(form.locator(".kept-bar")).to_contain_text("Not sent yet")
    assert models.Survey.objects.count() == 1
    form.get_by_role("button", name="Send now").click()
    form.wait_for_url(SURVEY_PAGE)
    assert models.Survey.objects.count() == stored
    if stored == 1:
        must_be_stored(key, typed)


FORBID = "Storage.prototype.setItem = () => { throw new DOMException('no', 'QuotaExceededError'); };"


def test_where_nothing_can_be_kept_the_page_says_so_and_works(
    phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    """Also the planted fault of the reload: without drafts it loses the text."""
    phone.add_init_script(FORBID)
    sign_in(phone, live_server.url, BOB)
    open_form(phone, live_server.url, world.machine)
    expect(phone.get_by_text("This browser keeps nothing on the device")).to_be_visible()
    rows = phone.locator("fieldset.reading")
    rows.nth(0).get_by_label(re.compile("It shows")).fill("6.1")
    phone.reload()
    expect(rows.nth(0).get_by_label(re.compile("It shows"))).to_have_value("")
    for place, (text, end) in enumerate((("6.1", "rear"), ("0.3", "left"))):
        rows.nth(place).get_by_label(re.compile("It shows")).fill(text)
        rows.nth(place).get_by_label(end, exact=True).first.check()
    phone.get_by_label("All four bear").check()
    save(phone)
    phone.wait_for_url(SURVEY_PAGE)
    assert models.Survey.objects.count() == 1
