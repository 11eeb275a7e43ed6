"""A vial on a phone: added from its machine's page, taught by three pairs, and its strip printed at true size."""

import re

import pytest
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from collection.models import Instrument, VialPair
from tests.journeys.conftest import findings, sign_in
from tests.worlds import TernTaproom

pytestmark = [pytest.mark.browser, pytest.mark.journey, pytest.mark.django_db(transaction=True)]

#: CSS pixels in a millimetre (CSS Values 4, absolute lengths: 96 to the inch).
PX_PER_MM = 96 / 25.4


def add_pair(phone: Page, shown: str, lines: str, side: str) -> None:
    """Read bubble and level at the same moment."""
    phone.get_by_role("link", name="Add a pair").first.click()
    phone.get_by_label("The level shows").fill(shown)
    phone.locator("input[name=high_end][value=rear]").check()
    phone.get_by_label(re.compile("^Lines from the middle")).fill(lines)
    phone.locator(f"input[name=side][value={side}]").check()
    expect(phone.locator("#vial-so-far")).to_contain_text("With this pair")
    phone.get_by_role("button", name="Save the pair").click()
    phone.wait_for_url(re.compile(r"/instruments/[0-9a-f-]{36}/$"))


def test_a_vial_is_taught_and_says_where_its_bubble_belongs(
    phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    """0.5 degree a line through 6.25 in the middle: the wanted 6.5 belongs half a line to the rear."""
    sign_in(phone, live_server.url, world.people.bob.user.email)
    phone.goto(f"{live_server.url}/machines/{world.machine.pk}/")
    phone.get_by_role("link", name="Add its vial").click()
    phone.get_by_role("button", name="Add vial").click()
    expect(phone.get_by_text("Not learned yet").first).to_be_visible()
    add_pair(phone, "5.8", "1", "front")
    expect(phone.get_by_text("One pair tells one place only.")).to_be_visible()
    add_pair(phone, "6.3", "0", "middle")
    add_pair(phone, "6.8", "1", "rear")
    expect(phone.get_by_text(re.compile(r"1 line = 0\.50°"))).to_be_visible()
    expect(phone.get_by_text("Learned from 3 pairs")).to_be_visible()
    assert findings(phone) == []
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390
    phone.get_by_label(re.compile("^Lines from the middle")).fill("0.5")
    phone.locator("input[name=side][value=front]").check()
    phone.get_by_role("button", name="Show the angle").click()
    expect(phone.locator("#vial-read")).to_contain_text("6.05°")
    assert VialPair.objects.count() == 3

    phone.get_by_role("link", name="Strip to print").click()
    phone.get_by_label("From one line to the next").fill("8")
    phone.get_by_role("button", name="Draw it").click()
    expect(phone.get_by_text("belongs 0.4 lines to the rear")).to_be_visible()
    assert findings(phone) == []
    phone.emulate_media(media="print")
    bar, strip = phone.get_by_role("img", name="A bar of 50 mm"), phone.get_by_role("img", name=re.compile("^Strip of"))
    for drawing, wide_mm in ((bar, 52), (strip, 2 * (2 * 8 + 10))):
        box = drawing.bounding_box()
        assert box is not None
        assert box["width"] / PX_PER_MM == pytest.approx(wide_mm, abs=0.2)
    assert Instrument.objects.get(kind="vial").machine == world.machine
