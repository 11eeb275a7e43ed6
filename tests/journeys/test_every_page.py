"""Every page in every state, in a real browser, light and dark, on a narrow phone, a phone and a laptop.

axe finds nothing (WCAG A and AA up to 2.2, and best practice), every text has a contrast of 4.5 as it is rendered,
every target is 44 px or a link in a sentence, nothing is wider than the window or cut, nothing complains or leaves.
"""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page
from pytest_django.live_server_helper import LiveServer

from tests import factories as make
from tests.collection.access.table import ROWS
from tests.sights import measuring, pages, worlds
from tests.sights.clashes import clashes
from tests.sights.pages import Sight
from tests.sights.people import people
from tests.sights.quick_checks import quick_checks
from tests.sights.reports import reports
from tests.sights.response import taught
from tests.sights.second_factor import second_factor

pytestmark = [pytest.mark.browser, pytest.mark.long, pytest.mark.django_db(transaction=True)]

#: WCAG 2.2, criterion 1.4.10: 320 px without scrolling sideways.
NARROW = 320


class Looker:
    """Goes from sight to sight with a window for each person, and keeps what is wrong."""

    def __init__(self, browser: Browser, base: str) -> None:
        self.browser, self.base = browser, base
        self.windows: dict[str, tuple[Page, list[str]]] = {}
        self.seen: set[str] = set()

    def look(self, sights: Iterator[Sight]) -> dict[str, list[str]]:
        """Return the faults of each sight that has any."""
        return {sight.name: faults for sight in sights if (faults := self._faults(sight))}

    def _faults(self, sight: Sight) -> list[str]:
        self.seen.add(sight.page)
        page, complaints = self._window(sight)
        complaints.clear()
        page.emulate_media(color_scheme="light")
        faults = sight.reach(page, self.base)
        faults += complaints  # before axe, which bends the policy itself
        measuring.open_all(page)
        for width, themes in (
            (measuring.PHONE, measuring.THEMES),
            (NARROW, ("light",)),
            (measuring.LAPTOP, ("light",)),
        ):
            for _, found in measuring.measures(page, width, themes):
                faults += found
        faults += measuring.findings(page)
        return faults

    def _window(self, sight: Sight) -> tuple[Page, list[str]]:
        key = sight.who.email if sight.who else ""
        if key not in self.windows:
            context = self.browser.new_context(reduced_motion="reduce")
            context.set_default_timeout(15_000)
            if sight.who:
                context.add_cookies([pages.cookie_of(sight.who, self.base)])  # type: ignore[list-item]
            page = context.new_page()
            self.windows[key] = (page, measuring.complaints(page))
        return self.windows[key]

    def close(self) -> None:
        """Close the windows."""
        for page, _ in self.windows.values():
            page.context.close()


@pytest.fixture
def looker(browser: Browser, live_server: LiveServer) -> Iterator[Looker]:
    """Yield someone who looks at pages."""
    found = Looker(browser, live_server.url)
    yield found
    found.close()


def test_every_page_with_what_it_shows(looker: Looker) -> None:
    world = worlds.full()
    assert looker.look(pages.public(world)) == {}
    assert looker.look(pages.shown(world)) == {}
    wanted = {row.name for row in ROWS if 200 in row.answers.get("GET", ())} - set(pages.NO_PAGES)
    assert wanted <= looker.seen


def test_leg_plans_of_every_kind_and_links_from_a_mail(looker: Looker) -> None:
    world = worlds.full()
    plans = worlds.plans_of_every_kind(world)
    assert looker.look(pages.plans(plans, world.people.alice.user)) == {}
    assert looker.look(pages.special(world)) == {}


def test_a_survey_on_four_scales(looker: Looker) -> None:
    world = worlds.full()
    assert looker.look(pages.other_kinds(worlds.surveys_of_other_kinds(world), world.people.alice.user)) == {}
    assert looker.look(pages.weighed(worlds.weighed(world), world.people.alice.user)) == {}
    assert looker.look(pages.twisted(worlds.twisted(world), world.people.alice.user)) == {}


def test_levels_however_their_zero_stands(looker: Looker) -> None:
    world = worlds.full()
    assert looker.look(pages.levels(world, worlds.levels_of_every_kind(world))) == {}


def test_instruments_of_every_kind(looker: Looker) -> None:
    world = worlds.full()
    assert looker.look(pages.kinds(world, worlds.kinds_of_instruments(world))) == {}


def test_quick_checks_in_every_state(looker: Looker) -> None:
    assert looker.look(quick_checks(worlds.full())) == {}


def test_labels_and_reports_in_every_state(looker: Looker) -> None:
    assert looker.look(reports(worlds.full())) == {}


def test_what_is_made_of_turns(looker: Looker) -> None:
    assert looker.look(taught(worlds.full())) == {}


def test_people_and_their_invitations(looker: Looker) -> None:
    assert looker.look(people(worlds.full())) == {}


def test_a_second_factor_and_devices(looker: Looker) -> None:
    assert looker.look(second_factor(worlds.full())) == {}


def test_edits_that_met_anothers(looker: Looker) -> None:
    world = worlds.full()
    for name in ("Bay 2", "Bay 3"):
        make.BayFactory(member=world.people.alice, floor=world.floor, name=name)
    assert looker.look(clashes(world)) == {}
    assert "machine_move" in looker.seen


def test_every_page_of_an_empty_book(looker: Looker) -> None:
    assert looker.look(pages.empty(worlds.bare(), worlds.fresh())) == {}


def test_every_form_that_is_refused_and_every_error(looker: Looker) -> None:
    world = worlds.full()
    assert looker.look(pages.refused(world)) == {}
    assert looker.look(pages.troubles(world)) == {}
    wanted = {row.name for row in ROWS if 422 in row.answers.get("POST", ())} - set(pages.NO_PAGES)
    assert wanted - {pages.NO_FORM} <= looker.seen


def test_names_as_long_as_they_may_be(looker: Looker) -> None:
    world = worlds.long_names()
    assert looker.look(pages.about_things(pages.shown(world, "long"))) == {}
