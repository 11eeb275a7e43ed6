"""Types one survey as a person does, and looks whether exactly that was stored."""

import re
from dataclasses import dataclass

from playwright.sync_api import Page, Route, expect

from collection import models

SENDINGS = "**/surveys/new/"
SURVEY_PAGE = re.compile(r"/surveys/[0-9a-f-]{36}/$")


@dataclass(frozen=True)
class Typed:
    """A survey of three readings: one along, two across, the last in a row that was added."""

    along: str = "6.1"
    across: str = "0.3"
    again: str = "0.20"
    note: str = "Carpet edge, “left” & low"

    @property
    def readings(self) -> list[tuple[str, str, str, str]]:
        """What must be stored: direction, text, high end, spot."""
        return [
            ("along", self.along, "rear", "middle"),
            ("across", self.across, "left", "lower_centre"),
            ("across", self.again, "left", "upper_left"),
        ]


def no_answer(route: Route) -> None:
    """Let a sending go nowhere."""
    if route.request.method == "POST":
        route.abort("connectionreset")
    else:
        route.continue_()


def open_form(page: Page, base: str, machine: models.Machine) -> None:
    """Open a fresh survey form."""
    page.goto(f"{base}/machines/{machine.pk}/surveys/new/")


def type_survey(page: Page, typed: Typed) -> str:
    """Fill the form, with an added row, a tick and a closed part opened, and return the key of its write."""
    rows = page.locator("fieldset.reading")
    page.get_by_role("button", name="Add a reading").click()
    expect(rows).to_have_count(3)
    page.get_by_label("Balls out").check()
    for place, (_, text, end, spot) in enumerate(typed.readings):
        rows.nth(place).get_by_label(re.compile("It shows")).fill(text)
        rows.nth(place).get_by_label(end, exact=True).first.check()
        rows.nth(place).locator(f"input[value={spot}]").check()
    page.get_by_label("All four bear").check()
    page.get_by_text("Another time, or a note").click()
    page.get_by_label("Note").fill(typed.note)
    page.wait_for_function("words => Object.values(localStorage).some((item) => item.includes(words))", arg="Carpet")
    return key_of(page)


def key_of(page: Page) -> str:
    """Return the key of the form's write."""
    return page.locator("#survey-form input[name=write_key]").input_value()


def must_show(page: Page, typed: Typed) -> None:
    """Fail unless the form shows again exactly what was typed."""
    rows = page.locator("fieldset.reading")
    expect(rows).to_have_count(3)
    for place, (way, text, end, spot) in enumerate(typed.readings):
        expect(rows.nth(place).get_by_label(re.compile("It shows"))).to_have_value(text)
        for chosen in (way, end, spot):
            expect(rows.nth(place).locator(f"input[value={chosen}]").first).to_be_checked()
    expect(page.get_by_label("Balls out")).to_be_checked()
    expect(page.get_by_label("All four bear")).to_be_checked()
    expect(page.get_by_label("Note")).to_have_value(typed.note)
    expect(page.get_by_label("Note")).to_be_visible()


def save(page: Page) -> None:
    """Press the form's button."""
    page.get_by_role("button", name="Save survey").click()


def must_be_stored(key: str, typed: Typed) -> models.Survey:
    """Fail unless the survey of this key holds exactly what was typed; return it."""
    survey = models.Survey.objects.get(pk=key)
    rows = survey.readings.order_by("place")
    assert [(row.direction, row.text, row.high_end, row.spot) for row in rows] == typed.readings
    assert (survey.note, survey.stance, survey.preconditions) == (typed.note, "all_bearing", ["balls_out"])
    return survey
