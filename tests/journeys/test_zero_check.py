"""A level's zero on a phone: checked in three steps, lost by a drop, found again; with scripts and without."""

import datetime
from collections.abc import Iterator

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect
from pytest_django.live_server_helper import LiveServer

from collection.models import InstrumentEvent, Survey, ZeroCheck
from tests.journeys.conftest import PATIENCE_MS, PHONE, findings, sign_in
from tests.journeys.hand import Hand
from tests.journeys.surveying import SURVEY_PAGE
from tests.surveying import author
from tests.worlds import TernTaproom

pytestmark = [pytest.mark.browser, pytest.mark.journey, pytest.mark.django_db(transaction=True)]

SAYS_SO = "ropped since its last zero check: check its zero first"


@pytest.fixture
def still(browser: Browser) -> Iterator[Page]:
    """Yield a phone's page that runs no script."""
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)  # type: ignore[arg-type]
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    yield page
    context.close()


def read_both(hand: Hand, first: tuple[str, str], turned: tuple[str, str]) -> None:
    """Type what the level shows, laid down and turned."""
    for name, (shows, side) in (("first", first), ("turned", turned)):
        hand.fill(hand.page.locator(f"#id_{name}"), shows)
        hand.choose(hand.page.locator(f"input[name={name}_high][value={side}]"))


def test_a_check_takes_five_inputs_and_shows_the_zero_before_it_is_saved(
    phone: Page, live_server: LiveServer, taproom: TernTaproom
) -> None:
    sign_in(phone, live_server.url, taproom.people.bob.user.email)
    phone.goto(f"{live_server.url}/instruments/{taproom.instrument.pk}/zero/")
    assert findings(phone) == []
    hand, found = Hand(phone), phone.locator("#zero-found")
    expect(found).to_contain_text("The zero shows here")
    read_both(hand, ("0.3", "right"), ("0.1", "right"))
    expect(found).to_contain_text("0.10°, marked end high")
    assert findings(phone) == []
    assert not ZeroCheck.objects.exists()
    hand.click(phone.get_by_role("button", name="Save the check"))
    expect(phone.get_by_text("Checked today")).to_be_visible()
    assert hand.inputs == 5, hand.done
    check = ZeroCheck.objects.get()
    assert (check.first_text, check.first_high, check.reversed_text, check.reversed_high) == (
        "0.3", "right", "0.1", "right",
    )  # fmt: skip
    assert check.zero_deg == pytest.approx(0.1, abs=1e-12)


def test_a_drop_is_told_everywhere_until_the_zero_is_checked_again(
    phone: Page, live_server: LiveServer, taproom: TernTaproom
) -> None:
    ZeroCheck.objects.create(
        instrument=taproom.instrument, unit="deg", first_text="0", first_high="level", reversed_text="0",
        reversed_high="level", zero_deg=0, u_zero_deg=0.03, engine_version="1",
        checked_at=timezone.now() - datetime.timedelta(days=2), **author(taproom.people.bob).stamp(),
    )  # fmt: skip
    sign_in(phone, live_server.url, taproom.people.bob.user.email)
    phone.get_by_role("navigation").get_by_role("link", name="Instruments").click()
    phone.get_by_role("link", name=taproom.instrument.name).click()
    expect(phone.get_by_text("Checked 2 days ago")).to_be_visible()
    phone.get_by_role("link", name="Dropped, new battery, repaired?").click()
    assert findings(phone) == []
    phone.get_by_label("Dropped or knocked").check()
    phone.get_by_label("Note").fill("Off the bar")
    phone.get_by_role("button", name="Save what happened").click()
    expect(phone.get_by_text("Not known")).to_be_visible()
    assert InstrumentEvent.objects.get().note == "Off the bar"
    assert findings(phone) == []
    survey_says_so(phone, live_server.url, taproom)
    phone.get_by_role("navigation", name="Main").get_by_role("link", name="Today").click()
    expect(phone.get_by_text(SAYS_SO)).to_be_visible()
    phone.get_by_role("link", name=taproom.instrument.name).click()
    read_both(Hand(phone), ("0.6", "right"), ("0.4", "left"))
    expect(phone.locator("#zero-found")).to_contain_text("It moved: 2 days ago it was none to tell")
    phone.get_by_role("button", name="Save the check").click()
    expect(phone.get_by_text("0.50°, marked end high").first).to_be_visible()
    phone.get_by_role("navigation", name="Main").get_by_role("link", name="Today").click()
    expect(phone.get_by_text("Zero checks due")).to_have_count(0)


def survey_says_so(page: Page, base: str, taproom: TernTaproom) -> None:
    """The survey page says so before a reading is taken, and the answer with it; the survey is less sure for it."""
    page.goto(f"{base}/machines/{taproom.machine.pk}/surveys/new/")
    expect(page.get_by_text(SAYS_SO)).to_be_visible()
    rows = page.locator("fieldset.reading")
    for place, (shows, end) in enumerate((("6.5", "rear"), ("0.1", "left"))):
        rows.nth(place).locator("input[name$=-value]").first.fill(shows)
        rows.nth(place).locator(f"input[name$=-high_end][value={end}]").first.check()
    expect(page.locator("#survey-answer")).to_contain_text("Check its zero first, or turn it end for end")
    page.get_by_label("All four bear").check()
    page.get_by_role("button", name="Save survey").click()
    page.wait_for_url(SURVEY_PAGE)
    assert Survey.objects.get().inputs["instrument"]["u_zero_deg"] == 0.2  # presets.py: common practice, no source


def test_without_script_the_same_page_shows_the_zero_and_saves_it(
    still: Page, live_server: LiveServer, taproom: TernTaproom
) -> None:
    sign_in(still, live_server.url, taproom.people.bob.user.email)
    still.goto(f"{live_server.url}/instruments/{taproom.instrument.pk}/zero/")
    read_both(Hand(still), ("0.3", "left"), ("0.1", "left"))
    still.get_by_role("button", name="Show the zero").click()
    expect(still.locator("#zero-found")).to_contain_text("0.10°, other end high")
    expect(still.locator("#id_first")).to_have_value("0.3")
    expect(still.locator("input[name=turned_high][value=left]")).to_be_checked()
    assert not ZeroCheck.objects.exists()
    still.get_by_role("button", name="Save the check").click()
    expect(still.get_by_text("Checked today")).to_be_visible()
    still.get_by_role("link", name="Dropped, new battery, repaired?").click()
    still.get_by_label("Battery changed").check()
    still.get_by_role("button", name="Save what happened").click()
    expect(still.get_by_text("Battery changed since its last zero check: check its zero first.")).to_be_visible()
    assert InstrumentEvent.objects.get().kind == "battery"
