"""From opening the app to a correct set of turns without account: six inputs at most, counted; shared by address."""

import math
import re

import pytest
from playwright.sync_api import Browser, Page, expect
from pytest_django.live_server_helper import LiveServer

from tests.journeys.conftest import PHONE, findings
from tests.journeys.hand import Hand

pytestmark = [pytest.mark.browser, pytest.mark.journey, pytest.mark.django_db(transaction=True)]

MOST_INPUTS = 6
#: Everything to press is 44 px high, but links inside a sentence (WCAG 2.2, 2.5.8 lets those be).
SMALL_TARGETS = """() => [...document.querySelectorAll(
    "main :is(button, .button, summary, label.chip, label.check, label.step)"
)].filter(it => it.checkVisibility() && it.getBoundingClientRect().height < 44).map(it => it.outerHTML.slice(0, 90))"""
LEGS = ("FL", "FR", "RL", "RR")
FRACTIONS = {"": 0.0, "¼": 0.25, "½": 0.5, "¾": 0.75}


def turns_on(page: Page) -> dict[str, float]:
    """Read the turns as a person does: leg, way and figure of each step, out positive."""
    names = {"Front left": "FL", "Front right": "FR", "Rear left": "RL", "Rear right": "RR"}
    read = dict.fromkeys(LEGS, 0.0)
    for step in page.locator("#quick-answer .step > span").all_inner_texts():
        found = re.fullmatch(r"(\w+ \w+) (out|in)\s(\d*)\s?([¼½¾]?)\sturns?", step)
        assert found, step
        leg, way, whole, part = found.groups()
        read[names[leg]] = (1 if way == "out" else -1) * (int(whole or 0) + FRACTIONS[part])
    return read


def stands_after(pitch_deg: float, roll_deg: float, turns: dict[str, float]) -> tuple[float, float, float]:
    """Return pitch, roll and gap after these turns, on paper: 1.5875 mm a turn (ASME B1.1), 560 by 1300 mm.

    The cabinet's own pitch is 5.3 degrees less than the playfield's (common practice, a modern machine).
    """
    fl, fr, rl, rr = (turns[leg] * 1.5875 for leg in LEGS)
    gy = math.tan(math.radians(pitch_deg - 5.3)) + (rl + rr - fl - fr) / 2600
    gx = math.tan(math.radians(roll_deg)) + (fr + rr - fl - rl) / 1120
    return math.degrees(math.atan(gy)) + 5.3, math.degrees(math.atan(gx)), abs(fl - fr - rl + rr)


def is_right(turns: dict[str, float]) -> bool:
    """Whether 6.0 degrees, left high 0.3, comes into the usual spec by these turns: 6.5 +- 0.2, 0.15, gap 0.5 mm."""
    pitch, roll, gap = stands_after(6.0, -0.3, turns)
    return abs(pitch - 6.5) <= 0.2 and abs(roll) <= 0.15 and gap <= 0.5


def ask(hand: Hand) -> None:
    """The stranger's way: one link, three answers, one button."""
    page = hand.page
    hand.click(page.get_by_role("link", name="Quick answer").first)
    hand.fill(page.get_by_label("Pitch now"), "6.0")
    hand.fill(page.get_by_label("Roll now"), "0.3")
    hand.choose(page.get_by_label("left", exact=True))


def test_a_stranger_gets_the_turns_in_six_inputs(phone: Page, live_server: LiveServer) -> None:
    phone.goto(live_server.url)
    hand = Hand(phone)
    ask(hand)
    hand.click(phone.get_by_role("button", name="Show the turns"))
    phone.wait_for_url("**/quick/?*#turns")
    expect(phone.get_by_role("heading", name="The turns")).to_be_in_viewport()
    assert hand.inputs <= MOST_INPUTS, hand.done
    turns = turns_on(phone)
    assert is_right(turns), turns
    assert not is_right(dict.fromkeys(LEGS, 0.0))  # as it stands it is not right,
    assert not is_right({**turns, "FL": -turns["FL"]})  # and one leg turned the wrong way would not be
    assert phone.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def test_the_answer_follows_the_typing_and_the_address_holds_it(
    phone: Page, live_server: LiveServer, browser: Browser
) -> None:
    phone.goto(live_server.url)
    hand = Hand(phone)
    ask(hand)
    expect(phone.get_by_role("heading", name="The turns")).to_be_visible()
    assert hand.inputs <= MOST_INPUTS - 1, hand.done
    phone.wait_for_url("**/quick/?pitch=6.0&roll=0.3&high=left*")
    expect(phone.get_by_label("Pitch now")).to_have_value("6.0")
    answer = phone.locator("#quick-answer").inner_text()
    assert is_right(turns_on(phone))
    for scripts in (True, False):
        context = browser.new_context(viewport=PHONE, java_script_enabled=scripts)  # type: ignore[arg-type]
        friend = context.new_page()
        friend.goto(phone.url)
        if scripts:
            friend.wait_for_function("() => document.documentElement.classList.contains('is-ready')")
            assert friend.locator("#quick-answer").inner_text() == answer
        assert turns_on(friend) == turns_on(phone)
        context.close()


def test_it_works_without_javascript(browser: Browser, live_server: LiveServer) -> None:
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)  # type: ignore[arg-type]
    page = context.new_page()
    page.goto(live_server.url)
    hand = Hand(page)
    ask(hand)
    hand.click(page.get_by_role("button", name="Show the turns"))
    expect(page.get_by_role("heading", name="The turns")).to_be_visible()
    assert hand.inputs <= MOST_INPUTS, hand.done
    assert is_right(turns_on(page))
    context.close()


def test_a_person_works_it_by_keyboard(phone: Page, live_server: LiveServer) -> None:
    """Tab through, arrows for the side, Enter to send."""
    phone.goto(f"{live_server.url}/quick/")
    phone.get_by_label("Pitch now").focus()
    phone.keyboard.type("6.0")
    phone.keyboard.press("Tab")
    phone.keyboard.type("0.3")
    phone.keyboard.press("Tab")
    phone.keyboard.press("Space")
    expect(phone.get_by_label("left", exact=True)).to_be_checked()
    phone.keyboard.press("Enter")
    phone.wait_for_url("**/quick/?*#turns")
    assert is_right(turns_on(phone))


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    "address",
    [
        "/", "/guide/", "/quick/", "/quick/?pitch=6.0&roll=0.3&high=left",
        "/quick/?pitch=6,0&roll=0.3&high=&body=other", "/quick/?pitch=6.5&high=level",
        "/quick/?pitch=6&roll=0.3&high=left&ends=front",
        "/quick/?pitch=105&roll=4&high=right&shows=mm_per_m&stance=FL&gap_mm=1.6",
    ],
)  # fmt: skip
def test_axe_finds_nothing_in_any_state(phone: Page, live_server: LiveServer, address: str, scheme: str) -> None:
    phone.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    phone.goto(live_server.url + address, wait_until="load")
    for summary in phone.locator("main summary").all():
        if not summary.evaluate("it => it.parentElement.open"):
            summary.click()
    assert phone.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert phone.evaluate(SMALL_TARGETS) == []
    assert findings(phone) == []


def test_the_link_can_be_copied(phone: Page, live_server: LiveServer) -> None:
    phone.context.grant_permissions(["clipboard-read", "clipboard-write"])
    phone.goto(f"{live_server.url}/quick/?pitch=6.0&roll=0.3&high=left")
    phone.get_by_role("button", name="Copy the link").click()
    expect(phone.get_by_role("button", name="Copied")).to_be_visible()
    copied = phone.evaluate("() => navigator.clipboard.readText()")
    assert copied.startswith(f"{live_server.url}/quick/?pitch=6.0&roll=0.3&high=left")
