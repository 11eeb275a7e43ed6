"""A light foot by four scales, in a real browser at 390 px: chosen, typed, followed by the answer, and kept."""

import re

import pytest
from playwright.sync_api import Page, expect

from collection import models
from tests.journeys.conftest import serious_findings
from tests.worlds import TernTaproom

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SHOWN = {"FL": "10", "FR": "38", "RL": "50", "RR": "22"}


def read(form: Page) -> None:
    """Fill in the two readings of a machine that lies as wanted."""
    rows = form.locator("fieldset.reading")
    rows.nth(0).get_by_label(re.compile("It shows")).fill("6.5")
    rows.nth(1).get_by_label(re.compile("It shows")).fill("0")


def test_four_scales_tell_the_light_foot(form: Page, complaints: list[str], world: TernTaproom) -> None:
    """FL - FR - RL + RR = -56 kg: FL is light by 0.75 mm, which the spec of 0.5 mm does not allow."""
    read(form)
    scales = form.get_by_role("group", name="What the four scales show")
    expect(scales).to_be_hidden()
    form.get_by_label("Weighed").check()
    expect(scales).to_be_visible()
    expect(form.get_by_label("Gap under the light foot")).to_be_hidden()
    for foot, text in SHOWN.items():
        scales.get_by_label(f"Under {foot}").fill(text)
    answer = form.locator("#survey-answer")
    expect(answer).to_contain_text(re.compile(r"0\.7\s+mm\s+under\s+FL"))
    expect(answer).to_contain_text("Out of spec")
    assert complaints == []
    assert serious_findings(form) == []
    complaints.clear()  # axe itself bends the policy
    assert form.evaluate("document.documentElement.scrollWidth") <= 390
    form.get_by_role("button", name="Save survey").click()
    form.wait_for_url(re.compile(r"/surveys/[0-9a-f-]{36}/$"))
    expect(
        form.get_by_text("Weighed: FL 10 kg, FR 38 kg, RL 50 kg, RR 22 kg. FL is light by 0.75 mm").first
    ).to_be_visible()
    survey = models.Survey.objects.get()
    assert (survey.stance, survey.light_foot) == ("weighed", "FL")


def test_what_the_scales_showed_survives_a_reload(form: Page) -> None:
    read(form)
    form.get_by_label("Weighed").check()
    for foot, text in SHOWN.items():
        form.get_by_label(f"Under {foot}").fill(text)
    form.reload()
    for foot, text in SHOWN.items():
        expect(form.get_by_label(f"Under {foot}")).to_have_value(text)


def test_the_first_three_feet_alone_are_not_enough(form: Page) -> None:
    read(form)
    form.get_by_label("Weighed").check()
    for foot in ("FL", "FR", "RL"):
        form.get_by_label(f"Under {foot}").fill(SHOWN[foot])
    form.get_by_role("button", name="Save survey").click()
    expect(form.get_by_text("Write what the scale under RR shows").first).to_be_visible()
    expect(form.get_by_label("Under FL")).to_have_value("10")
    assert not models.Survey.objects.exists()
