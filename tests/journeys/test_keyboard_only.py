"""A survey taken, and a leg plan made, worked and signed off, by keyboard alone on a phone's width.

WCAG 2.2: 2.1.1 keyboard, 2.4.1 bypass blocks, 2.4.3 focus order, 2.4.7 focus visible, 2.4.11 focus not obscured.
"""

import pytest
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from collection.models import Plan, Survey
from tests.factories import PASSWORD
from tests.journeys.keys import Keys
from tests.worlds import TernTaproom

pytestmark = [pytest.mark.browser, pytest.mark.journey, pytest.mark.django_db(transaction=True)]

NAMES = {"FL": "Front left", "FR": "Front right", "RL": "Rear left", "RR": "Rear right"}


def test_survey_and_plan_by_keyboard(phone: Page, live_server: LiveServer, taproom: TernTaproom) -> None:
    keys = Keys(phone)
    sign_in(keys, live_server.url, taproom.people.bob.user.email)
    keys.tab_to("Lantern Reef")
    keys.enter()
    keys.tab_to("Survey now")
    keys.enter()
    survey(keys, along="6.0", across="0.3", high="left")
    expect(phone.get_by_text("Out of spec").first).to_be_visible()
    keys.tab_to("^(Work out the turns|Make a leg plan|Leg plan)$")
    keys.enter()
    if "/plans/new/" in phone.url:
        keys.tab_to("Work out the turns")
        keys.enter()
    turn(keys)
    keys.tab_to("Take the check reading")
    keys.enter()
    survey(keys, along="6.5", across="0", high="level")
    sign_off(keys, live_server.url)
    assert keys.faults == []
    plan = Plan.objects.get()
    assert (plan.state, plan.tasks_done) == ("signed_off", ["locknuts", "read_again", "tilt_bob", "feet_marked"])
    assert [row.verdict for row in Survey.objects.order_by("created_at")] == ["out", "in"]


def sign_in(keys: Keys, base: str, email: str) -> None:
    """The first stop of every page is the link that skips to its content; back and forth lead to the same place."""
    keys.page.goto(f"{base}/accounts/login/")
    keys.press("Tab")
    skip = keys.look()
    assert skip
    assert skip["words"] == "Go to the page’s content"
    assert min(float(str(skip["wide"])), float(str(skip["tall"]))) >= 44
    keys.press("Enter")
    assert keys.page.evaluate("document.activeElement.id") == "main"
    keys.tab_to("^E-mail")
    assert len(keys.stops) == 2, "the skip link leads past the header"
    keys.type(email)
    keys.tab_to("^Password")
    keys.tab_to("^E-mail", backwards=True)
    keys.tab_to("^Password")
    keys.type(PASSWORD)
    keys.tab_to("^Sign in$")
    keys.enter()
    expect(keys.page.get_by_role("heading", name="Today")).to_be_visible()


def survey(keys: Keys, *, along: str, across: str, high: str) -> None:
    """Two readings and how the feet bear; the answer comes while one types."""
    keys.tab_to("It shows, reading 1")
    keys.type(along)
    keys.choose("^rear$", legend="reading 1$")
    keys.tab_to("It shows, reading 2")
    keys.type(across)
    keys.choose(f"^{high}$", legend="reading 2$")
    keys.choose("All four bear", legend="feet")
    expect(keys.page.locator("#survey-answer .bars")).to_be_visible()
    keys.tab_to("^Save survey$")
    keys.enter()


def turn(keys: Keys) -> None:
    """Tick each leg of each lift with Space, then say that it was turned as shown."""
    lifts = Plan.objects.get().answer["lifts"]
    for lift in lifts:
        for leg in lift["legs"]:
            name = NAMES[leg]
            keys.tab_to(f"^{name} ")
            keys.press("Space")
            stop = keys.look(moves=False)
            assert stop
            assert stop["checked"]
        keys.tab_to("^Turned as shown$")
        keys.enter()


def sign_off(keys: Keys, base: str) -> None:
    """Go back to the plan and tick the work afterwards."""
    plan = Plan.objects.get()
    if f"/plans/{plan.pk}/" not in keys.page.url:
        keys.page.goto(f"{base}/plans/{plan.pk}/")
    for task in ("Locknuts", "Read again", "Tilt bob", "Feet marked"):
        keys.tab_to(task)
        stop = keys.look(moves=False)
        assert stop
        if not stop["checked"]:
            keys.press("Space")
    keys.tab_to("^Sign off$")
    keys.enter()
    expect(keys.page.get_by_role("heading", name="Signed off")).to_be_visible()


@pytest.mark.parametrize(
    ("planted", "told"),
    [
        ("*:focus-visible, *:focus-visible::after, .control:focus-within { outline: none !important }", "no visible"),
        ("input, a, button { position: relative; left: -9999px }", "out of sight"),
        ("main, .form { display: flex; flex-direction: column-reverse }", "went up"),
    ],
)  # fmt: skip
def test_what_keys_look_for_is_found(planted: str, told: str, page: Page, live_server: LiveServer) -> None:
    """A page whose focus cannot be seen, lies out of sight, or goes up, is told."""
    page.goto(f"{live_server.url}/accounts/login/")
    page.evaluate(
        "words => { const sheet = new CSSStyleSheet(); sheet.replaceSync(words);"
        " document.adoptedStyleSheets = [sheet] }",
        planted,
    )
    keys = Keys(page)
    for _ in range(8):
        keys.press("Tab")
        keys.look()
    assert [fault for fault in keys.faults if told in fault]
