"""The steps of a leg plan read aloud, with a speech engine that only writes down what it is asked to say."""

import pytest
from django.urls import reverse
from playwright.sync_api import BrowserContext, Page, expect
from pytest_django.live_server_helper import LiveServer

from collection.templatetags.spoken import spoken_turns
from tests.journeys.conftest import sign_in
from tests.journeys.working import forward, press, watch
from tests.worlds import TernTaproom, tern_taproom, two_lifts

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NAMES = {"FL": "Front left", "FR": "Front right", "RL": "Rear left", "RR": "Rear right"}

#: In place of the browser's engine: it keeps what is said and cancelled, in order, and what voice was taken.
ENGINE = """
window.heard = [];
class Utterance extends EventTarget { constructor(text) { super(); this.text = text; } }
Object.defineProperty(window, "SpeechSynthesisUtterance", { value: Utterance });
Object.defineProperty(window, "speechSynthesis", { value: {
  getVoices: () => [
    { lang: "de-DE", localService: true, name: "other" }, { lang: "en-US", localService: false, name: "far" },
    { lang: "en-GB", localService: true, name: "near" },
  ],
  speak: (speech) => { window.last = speech; window.heard.push(speech.text); },
  cancel: () => window.heard.push("(stop)"),
} });
"""
NO_ENGINE = """
delete window.speechSynthesis; delete window.SpeechSynthesisUtterance;
Object.defineProperty(window, "speechSynthesis", { value: undefined });
"""


@pytest.fixture
def world() -> TernTaproom:
    return two_lifts(tern_taproom())


def at_work(page: Page, live_server: LiveServer, world: TernTaproom, script: str = ENGINE) -> Page:
    """The page under the machine, with this engine in place of the browser's."""
    watch(page)
    page.add_init_script(script)
    sign_in(page, live_server.url, "bob@example.org")
    page.goto(live_server.url + reverse("plan_work", args=[world.plan.pk]))
    return page


def heard(page: Page) -> list[str]:
    """What was said since this was asked last, without the stops."""
    said: list[str] = page.evaluate("() => window.heard.splice(0).filter((words) => words !== '(stop)')")
    return said


def expected(world: TernTaproom) -> list[str]:
    """The words of every step up to the record of the first lift, from the plan itself."""
    plan = world.plan
    lift = plan.answer["lifts"][0]
    legs = {leg["name"]: leg["steps"] / leg["steps_per_turn"] for leg in plan.answer["legs"]}
    turns = [
        f"{NAMES[leg]}: {spoken_turns(legs[leg])}. {'Clockwise' if legs[leg] > 0 else 'Counterclockwise'}, "
        "looking down on the foot."
        for leg in lift["legs"]
    ]
    planned = ", ".join(f"{NAMES[leg].lower()} {spoken_turns(legs[leg])}" for leg in lift["legs"])
    return [
        "Before you lift. Two people or a lift aid. No hand, foot or head under a machine that is held up by hand. "
        "Glass off, power off, plug pulled. The screen shows all cautions.",
        f"Lift one of two. Raise the {lift['end']} a few millimetres, on a jack or a stand. Nobody holds it by hand. "
        "Then loosen the locknuts.",
        *turns,
        f"Look that nothing is under it. Set the {lift['end']} down slowly. It may rock until the last lift is done.",
        f"Write down what you turned. Planned were {planned}. If that is so, record this lift.",
    ]


def test_it_is_silent_until_it_is_asked(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    at_work(phone, live_server, world)
    expect(phone.get_by_role("button", name="Read aloud: off")).to_be_visible()
    expect(phone.get_by_role("button", name="Say it again")).to_be_hidden()
    forward(phone)
    assert heard(phone) == []


def test_each_step_is_said_once_in_order(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    at_work(phone, live_server, world).get_by_role("button", name="Read aloud: off").click()
    said = heard(phone)
    for _ in expected(world)[1:]:
        forward(phone)
        said += heard(phone)
    assert said == expected(world)
    assert any("turns out" in words or "turn out" in words for words in said)


def test_the_space_bar_and_the_arrows_turn_the_steps(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    words = expected(world)
    at_work(phone, live_server, world).get_by_role("button", name="Read aloud: off").click()
    phone.locator("h1").click()  # the focus is on nothing
    heard(phone)
    # Forward at a person's pace (a press within half a second of a new step is not meant for it); back at any.
    for key, place in ((" ", 1), ("Enter", 2), ("ArrowRight", 3), ("ArrowLeft", 2), ("ArrowLeft", 1), (" ", 2)):
        press(phone, key)
        assert heard(phone) == [words[place]], key


def test_it_repeats_and_stops_and_is_turned_off(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    words = expected(world)
    at_work(phone, live_server, world).get_by_role("button", name="Read aloud: off").click()
    assert phone.evaluate("() => window.heard") == ["(stop)", words[0]], "what is still being said is cut off first"
    heard(phone)
    for _ in range(2):
        phone.get_by_role("button", name="Say it again").click()
        assert heard(phone) == [words[0]]
    phone.keyboard.press("Escape")
    assert phone.evaluate("() => window.heard.splice(0)") == ["(stop)"]
    phone.get_by_role("button", name="Read aloud: on").click()
    assert phone.evaluate("() => window.heard.splice(0)") == ["(stop)"]
    expect(phone.get_by_role("button", name="Read aloud: off")).to_be_visible()
    forward(phone)
    assert heard(phone) == []


def test_a_voice_of_the_device_is_taken(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    at_work(phone, live_server, world).get_by_role("button", name="Read aloud: off").click()
    assert phone.evaluate("() => [window.last.lang, window.last.voice.name]") == ["en", "near"]


def test_it_goes_on_without_network(
    phone: Page, context: BrowserContext, live_server: LiveServer, world: TernTaproom
) -> None:
    """Nothing is asked of the server between the first step and the record."""
    at_work(phone, live_server, world).get_by_role("button", name="Read aloud: off").click()
    context.set_offline(True)
    asked: list[str] = []
    phone.on("request", lambda request: asked.append(request.url))
    said = heard(phone)
    for _ in expected(world)[1:]:
        forward(phone)
        said += heard(phone)
    assert said == expected(world)
    assert asked == []


def test_it_is_remembered_and_a_refusal_of_the_browser_is_told(
    phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    """A page that nobody touched yet may not speak: browsers say not-allowed."""
    at_work(phone, live_server, world).get_by_role("button", name="Read aloud: off").click()
    phone.reload()
    expect(phone.get_by_role("button", name="Read aloud: on")).to_be_visible()
    assert heard(phone) == [expected(world)[0]]
    refuse = "(error) => window.last.dispatchEvent(Object.assign(new Event('error'), { error }))"
    phone.evaluate(refuse, "not-allowed")
    expect(phone.get_by_text("the browser waits for a tap before it reads")).to_be_visible()
    phone.evaluate(refuse, "voice-unavailable")
    expect(phone.get_by_text("This browser’s voice does not answer.")).to_be_visible()
    phone.evaluate("() => window.last.dispatchEvent(new Event('start'))")
    expect(phone.get_by_text("does not answer")).to_be_hidden()
    phone.evaluate(refuse, "interrupted")
    expect(phone.get_by_text("does not answer")).to_be_hidden()


def test_a_browser_that_cannot_speak_says_so(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    at_work(phone, live_server, world, NO_ENGINE)
    expect(phone.get_by_text("This browser cannot read aloud.")).to_be_visible()
    expect(phone.get_by_role("button", name="Read aloud")).to_have_count(0)
    forward(phone)
    expect(phone.get_by_role("heading", name="Raise the")).to_be_visible()
