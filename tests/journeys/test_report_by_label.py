"""A label on a machine: its owner prints it, somebody without an account scans it and tells, a survey answers it."""

import io
import re

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader
from pytest_django.live_server_helper import LiveServer

from collection import models
from tests.journeys.conftest import PATIENCE_MS, PHONE, findings, sign_in
from tests.journeys.test_paper import SIZES, SOLID
from tests.surveying import survey_of
from tests.worlds import TernTaproom

pytestmark = [pytest.mark.browser, pytest.mark.journey, pytest.mark.django_db(transaction=True)]
#: The label is a card: 86 mm wide, with a code of 37 mm.
LABEL_MM, CODE_MM = 86, 37
#: A pixel of CSS is 1/96 inch (CSS Values and Units Level 4, 6.2).
PX_PER_MM = 96 / 25.4


@pytest.fixture
def stranger(browser: Browser, live_server: LiveServer) -> Page:
    """Somebody's phone: no account, no cookie, and none accepted; a page of it also runs without scripts."""
    context = browser.new_context(viewport=PHONE, reduced_motion="reduce")  # type: ignore[arg-type]
    context.set_default_timeout(PATIENCE_MS)
    return context.new_page()


def scanned(page: Page, *, full: bool = False) -> list[str]:
    """What a camera reads off the label on the screen, or off the whole page."""
    picture = page.screenshot(full_page=True) if full else page.locator(".label").screenshot()
    return [code.text for code in zxingcpp.read_barcodes(Image.open(io.BytesIO(picture)))]


def label_of(page: Page, base: str, world: TernTaproom) -> str:
    """Open the label's page as Alice and make one; return the address that a camera reads off it."""
    sign_in(page, base, world.people.alice.user.email)
    page.goto(f"{base}/machines/{world.machine.pk}/")
    page.get_by_role("link", name="Label", exact=True).click()
    page.get_by_role("button", name="Make a label").click()
    expect(page.get_by_text("Scan and tell.")).to_be_visible()
    (address,) = scanned(page)
    return address


def test_from_the_label_to_the_survey_that_answers_it(
    phone: Page, stranger: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    survey_of(world.machine, by=world.people.bob, instrument=world.instrument)
    address = label_of(phone, live_server.url, world)
    assert re.fullmatch(re.escape(live_server.url) + r"/report/[\w-]{43}/", address)
    assert findings(phone) == []

    stranger.goto(address)
    expect(stranger.get_by_role("heading", name="What is wrong with this machine?")).to_be_visible()
    assert findings(stranger) == []
    assert stranger.evaluate("document.documentElement.scrollWidth") <= 390
    assert "Lantern Reef" not in stranger.content()
    for button in stranger.get_by_role("main").get_by_role("button").all():
        assert (button.bounding_box() or {"height": 0})["height"] >= 44
    stranger.get_by_role("button", name="The ball rolls to the left").dblclick()
    expect(stranger.get_by_role("heading", name="Thank you")).to_be_visible()
    assert findings(stranger) == []
    assert stranger.context.cookies() == []
    assert models.Report.objects.values("problem", "times").get() == {"problem": "rolls_left", "times": 1}

    phone.goto(f"{live_server.url}/today/")
    first = phone.locator("ul.rows > li.row").first
    expect(phone.get_by_role("heading", name="Reported", exact=True)).to_be_visible()
    expect(first).to_contain_text("Reported: rolls left")
    expect(first).to_contain_text("Survey it")
    assert findings(phone) == []
    first.get_by_role("link").click()
    expect(phone.get_by_text("by the label on it")).to_be_visible()
    assert findings(phone) == []
    phone.get_by_role("main").get_by_role("link", name="Survey now").click()
    rows = phone.locator("fieldset.reading")
    for place, (text, end) in enumerate((("6.5", "rear"), ("0.1", "left"))):
        rows.nth(place).get_by_label(re.compile("It shows")).fill(text)
        rows.nth(place).get_by_label(end, exact=True).first.check()
    phone.get_by_label("All four bear").check()
    phone.get_by_role("button", name="Save survey").click()
    phone.wait_for_url("**/surveys/*-*/")
    phone.goto(f"{live_server.url}/machines/{world.machine.pk}/")
    expect(phone.get_by_role("link", name="answered by a survey")).to_be_visible()
    phone.goto(f"{live_server.url}/today/")
    expect(phone.get_by_role("heading", name="Reported", exact=True)).to_have_count(0)
    assert models.Report.objects.get().closed_by_survey is not None


def test_without_script_and_after_back_nothing_is_lost_or_doubled(
    phone: Page, browser: Browser, live_server: LiveServer, world: TernTaproom
) -> None:
    address = label_of(phone, live_server.url, world)
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)  # type: ignore[arg-type]
    plain = context.new_page()
    plain.set_default_timeout(PATIENCE_MS)
    plain.goto(address)
    plain.get_by_role("button", name="It wobbles").click()
    expect(plain.get_by_role("heading", name="Thank you")).to_be_visible()
    plain.go_back()
    plain.get_by_role("button", name="It wobbles").click()
    expect(plain.get_by_role("heading", name="Thank you")).to_be_visible()
    plain.go_back()
    plain.get_by_role("button", name="It was moved").click()
    expect(plain.get_by_role("heading", name="Thank you")).to_be_visible()
    told = models.Report.objects.order_by("created_at").values_list("problem", "times")
    assert list(told) == [("wobbles", 1), ("moved", 1)]
    context.close()


def test_a_replaced_label_says_so_and_the_address_goes_nowhere_else(
    phone: Page, stranger: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    address = label_of(phone, live_server.url, world)
    asked: list[str] = []
    stranger.on("request", lambda request: asked.append(request.all_headers().get("referer", "")))
    stranger.goto(address)
    stranger.get_by_role("link", name="Guide").click()
    stranger.wait_for_url("**/guide/")
    token = address.rstrip("/").rsplit("/", 1)[1]
    assert not [referer for referer in asked if token in referer]
    phone.get_by_role("button", name="Replace the label").click()
    phone.wait_for_function("old => !document.body.innerHTML.includes(old)", arg=token)
    assert scanned(phone) != [address]
    stranger.goto(address)
    expect(stranger.get_by_role("heading", name="This label is no longer in use")).to_be_visible()
    assert findings(stranger) == []


@pytest.mark.parametrize("paper", SIZES)
def test_it_prints_on_one_sheet_in_its_true_size(
    paper: str, phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    """Only the label: no button, no address in words, and a code that a camera reads."""
    address = label_of(phone, live_server.url, world)
    phone.emulate_media(media="print")
    phone.set_viewport_size({"width": 720, "height": 1000})
    for part, wide_mm in ((".label", LABEL_MM), (".label .code", CODE_MM)):
        box = phone.locator(part).bounding_box()
        assert box is not None
        assert box["width"] / PX_PER_MM == pytest.approx(wide_mm, abs=0.5)
    assert scanned(phone, full=True) == [address]
    sheets = PdfReader(io.BytesIO(phone.pdf(format=paper))).pages
    assert len(sheets) == 1
    text = re.sub(r"\s+", " ", sheets[0].extract_text())
    for words in ("Something wrong?", "Scan and tell.", "Lantern Reef LR-1"):
        assert words in text
    for words in ("Replace", "Print", "Back to", "See the page", "Today", "lift"):
        assert words not in text


def test_with_the_longest_names_it_stays_a_card_that_scans(
    phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    models.Machine.objects.update(title=SOLID, code="W" * 20)
    address = label_of(phone, live_server.url, world)
    phone.emulate_media(media="print", color_scheme="dark")
    box = phone.locator(".label").bounding_box()
    assert box is not None
    assert box["height"] / PX_PER_MM < 65
    assert phone.evaluate(
        "document.querySelector('.label').scrollWidth <= document.querySelector('.label').clientWidth"
    )
    assert scanned(phone, full=True) == [address]
