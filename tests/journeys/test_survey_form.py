"""The form of a survey in a browser: what it says stands where someone looks."""

import pytest
from django.urls import reverse
from playwright.sync_api import BrowserContext, Page, expect
from pytest_django.live_server_helper import LiveServer

from collection import models
from tests.factories import NOON
from tests.journeys.conftest import sign_in
from tests.journeys.surveying import Typed, open_form, type_survey
from tests.surveying import across, along, survey_of
from tests.worlds import TernTaproom, tern_taproom

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def world() -> TernTaproom:
    return tern_taproom()


@pytest.mark.parametrize("size", [(390, 844), (1280, 720)])
def test_what_is_not_sent_yet_stands_in_sight(
    size: tuple[int, int], phone: Page, context: BrowserContext, live_server: LiveServer, world: TernTaproom
) -> None:
    """Wherever the page was scrolled to; on a laptop the button stands beside the first fields."""
    phone.set_viewport_size({"width": size[0], "height": size[1]})
    sign_in(phone, live_server.url, "bob@example.org")
    open_form(phone, live_server.url, world.machine)
    type_survey(phone, Typed())
    context.set_offline(True)
    phone.get_by_role("button", name="Save survey").click()
    change = phone.get_by_role("button", name="Change it")
    expect(change).to_be_visible()
    for way in ("scrollTo(0, 0)", "scrollTo(0, 300)", "scrollTo(0, document.body.scrollHeight)"):
        phone.evaluate(way)
        expect(change).to_be_in_viewport(ratio=1)
    phone.evaluate("scrollTo(0, 0)")
    change.click()
    expect(phone.locator(".kept-line")).to_have_count(0)
    assert models.Survey.objects.count() == 0


def test_a_correction_begins_with_what_its_readings_say(
    phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    """Even if its level is out of use by now."""
    readings = [along(6.5), across(0.6, "left")]
    old = survey_of(world.machine, by=world.people.bob, instrument=world.instrument, readings=readings)
    models.Instrument.objects.filter(pk=world.instrument.pk).update(archived_at=NOON)
    sign_in(phone, live_server.url, "bob@example.org")
    phone.goto(live_server.url + reverse("survey_correct", args=[old.pk]))
    answer = phone.locator("#survey-answer")
    expect(answer).to_contain_text("Out of spec")
    expect(answer).to_contain_text("left high\u00a00.60°")
    phone.locator("[name=readings-1-value]").fill("0.0")
    phone.locator("[name=readings-1-high_end][value=level]").check()
    expect(answer).to_contain_text("wanted level")
    expect(answer).not_to_contain_text("left high\u00a00.60°")
    assert models.Survey.objects.count() == 1
