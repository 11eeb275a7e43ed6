"""Under the machine in a real browser: step by step, turns corrected in one tap, recorded, nothing lost on the way."""

import re

import pytest
from django.urls import reverse
from playwright.sync_api import BrowserContext, Page, expect
from pytest_django.live_server_helper import LiveServer

from collection import models
from collection.actions.plans import make_plan
from tests.journeys.conftest import serious_findings, sign_in
from tests.journeys.working import forward, press, record, see, watch
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom, tern_taproom, two_lifts

pytestmark = [pytest.mark.browser, pytest.mark.long, pytest.mark.django_db(transaction=True)]

#: In place of the browser's wake lock: each one asked for can be let go by the test.
WAKE_LOCK = """
window.locks = [];
Object.defineProperty(navigator, "wakeLock", { value: { request: async (kind) => {
  if (window.refuse) throw new Error("low battery");
  const lock = Object.assign(new EventTarget(), { kind });
  window.locks.push(lock);
  return lock;
} } });
"""
NO_WAKE_LOCK = "Object.defineProperty(navigator, 'wakeLock', { value: undefined });"

#: In place of the browser's voice: one that says nothing.
SILENT = """
window.SpeechSynthesisUtterance = class extends EventTarget {};
Object.defineProperty(window, "speechSynthesis", { value: { getVoices: () => [], speak() {}, cancel() {} } });
"""


@pytest.fixture
def world() -> TernTaproom:
    return two_lifts(tern_taproom())


def at_work(page: Page, live_server: LiveServer, world: TernTaproom, script: str = "") -> Page:
    watch(page)
    if script:
        page.add_init_script(script)
    sign_in(page, live_server.url, "bob@example.org")
    page.goto(live_server.url + reverse("plan_work", args=[world.plan.pk]))
    return page


def to_the_record(page: Page, world: TernTaproom, lift: int = 1) -> None:
    """From a lift's first step (before the first one, from the cautions) to its record."""
    forward(page, 2 + len(world.plan.answer["lifts"][lift - 1]["legs"]) + (lift == 1))
    expect(page.get_by_role("heading", name="What did you turn?")).to_be_visible()


def turned(world: TernTaproom) -> dict[str, tuple[float, str]]:
    """What the record holds: turns and text by leg."""
    names = ("FL", "FR", "RL", "RR")
    return {names[row.place]: (row.turns, row.text) for row in models.Adjustment.objects.filter(plan=world.plan)}


def planned(world: TernTaproom) -> dict[str, float]:
    return {leg["name"]: leg["steps"] / 4 for leg in world.plan.answer["legs"]}


def test_one_step_fills_the_screen_and_a_knuckle_hits_the_button(
    phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    at_work(phone, live_server, world)
    seen = []
    for _ in range(4):
        expect(phone.locator("[data-step]:visible")).to_have_count(1)
        seen.append(phone.locator("[data-where]").inner_text())
        box = phone.get_by_role("button", name="Done, next").bounding_box()
        assert box is not None
        assert box["height"] >= 88
        assert box["y"] + box["height"] <= 844
        forward(phone, 1)
    steps = phone.locator("[data-step]").count()
    assert [re.findall(r"Step (\d+) of (\d+)", words)[0] for words in seen] == [
        (str(n), str(steps)) for n in (1, 2, 3, 4)
    ]
    phone.get_by_role("button", name="Back").click()
    expect(phone.locator("[data-where]")).to_contain_text(f"Step 4 of {steps}")
    expect(phone.get_by_role("checkbox", name="Done")).to_be_checked()


def test_figures_are_large_and_only_one_foot_is_marked(
    phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    at_work(phone, live_server, world)
    forward(phone, 2)
    step = phone.locator("[data-step]:visible")
    figure = step.locator(".work-figure b")
    assert figure.evaluate("(text) => parseFloat(getComputedStyle(text).fontSize)") >= 80
    expect(step.locator(".foot-turned")).to_have_count(1)
    leg = world.plan.answer["lifts"][0]["legs"][0]
    expect(step.locator(".foot-name-turned")).to_have_text(leg)


def test_ticks_and_corrections_survive_a_reload(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    at_work(phone, live_server, world)
    to_the_record(phone, world)
    phone.get_by_role("button", name=re.compile("¼ more")).first.click()
    phone.reload()
    expect(phone.get_by_role("heading", name="What did you turn?")).to_be_visible()
    expect(phone.get_by_text("¼ more than planned")).to_have_count(1)
    for _ in range(2):
        phone.get_by_role("button", name="Back").click()
        expect(phone.get_by_role("checkbox", name="Done")).to_be_checked()


def test_turned_as_planned_is_one_tap(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    at_work(phone, live_server, world)
    to_the_record(phone, world)
    assert turned(world) == {}, "reaching the step records nothing"
    record(phone)
    expect(phone.get_by_role("heading", name="Raise the front")).to_be_visible()
    legs = world.plan.answer["lifts"][0]["legs"]
    assert turned(world) == {leg: (planned(world)[leg], "as shown") for leg in legs}


def test_what_was_turned_otherwise_is_one_tap_a_quarter(
    phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    """The rear is planned out: one quarter less there, and the other rear foot, which was to be left, a quarter in."""
    at_work(phone, live_server, world)
    (leg,) = world.plan.answer["lifts"][0]["legs"]
    other = {"RL": "RR", "RR": "RL"}[leg]
    to_the_record(phone, world)
    names = {"RL": "rear left", "RR": "rear right"}
    phone.get_by_role("button", name=f"¼ less at the {names[leg]}").click()
    expect(phone.get_by_text("¼ less than planned")).to_be_visible()
    phone.get_by_role("button", name=f"¼ in at the {names[other]}").click()
    expect(phone.get_by_text("in ¼ turn")).to_be_visible()
    record(phone)
    expect(phone.get_by_role("heading", name="Raise the front")).to_be_visible()
    found = turned(world)
    assert found[leg][0] == planned(world)[leg] - 0.25
    assert found[other] == (-0.25, "1/4")
    assert "as shown" not in {text for _, text in found.values()}


def test_corrected_back_and_forth_is_as_shown_again(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    at_work(phone, live_server, world)
    to_the_record(phone, world)
    for name in ("¼ more", "¼ more", "¼ less", "¼ less"):
        phone.get_by_role("button", name=re.compile(name)).first.click()
    record(phone)
    expect(phone.get_by_role("heading", name="Raise the front")).to_be_visible()
    assert {text for _, text in turned(world).values()} == {"as shown"}


def test_recorded_without_network_the_work_goes_on_and_each_lift_arrives_once(
    phone: Page, context: BrowserContext, live_server: LiveServer, world: TernTaproom
) -> None:
    at_work(phone, live_server, world)
    context.set_offline(True)
    to_the_record(phone, world)
    phone.get_by_role("button", name=re.compile("¼ more")).first.click()
    record(phone)
    expect(phone.get_by_text("Not sent yet. Kept on this device")).to_be_visible()
    forward(phone, 1)
    to_the_record(phone, world, lift=2)
    record(phone)
    expect(phone.get_by_text("Not sent yet. Kept on this device").last).to_be_visible()
    forward(phone, 1)
    expect(phone.get_by_role("heading", name="After the work")).to_be_visible()
    assert turned(world) == {}
    context.set_offline(False)
    expect(phone.get_by_role("link", name="Take the check reading")).to_be_visible()
    first, second = (lift["legs"] for lift in world.plan.answer["lifts"])
    found = turned(world)
    assert found[first[0]][0] == planned(world)[first[0]] + 0.25
    assert {leg: found[leg][0] for leg in second} == {leg: planned(world)[leg] for leg in second}


def test_from_the_cautions_to_the_sign_off_by_keyboard_alone(
    phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    """Space goes on, and on a record it only goes to the button: one more press is meant."""
    at_work(phone, live_server, world)
    for lift in world.plan.answer["lifts"]:
        title = phone.locator("[data-step]:visible [data-title]")
        expect(title).to_have_count(1)  # the script is at work
        for _ in range(12):
            if title.inner_text() == "What did you turn?":
                break
            press(phone, "Space")
        assert title.inner_text() == "What did you turn?"
        before = models.Adjustment.objects.count()
        press(phone, "Space")
        expect(phone.get_by_role("button", name="Record this lift")).to_be_focused()
        assert models.Adjustment.objects.count() == before
        press(phone, "Space")
        name = "After the work" if lift["end"] == "front" else "Raise the front"
        expect(phone.get_by_role("heading", name=name)).to_be_visible()
    assert models.Plan.objects.get(pk=world.plan.pk).state == "turned"
    boxes = phone.get_by_role("checkbox")
    ticked = 0
    for _ in range(30):
        phone.keyboard.press("Tab")
        at = phone.evaluate("[document.activeElement.type, document.activeElement.textContent.trim()]")
        if at[0] == "checkbox":
            phone.keyboard.press("Space")
            ticked += 1
        elif at[1] == "Sign off":
            phone.keyboard.press("Enter")
            break
    assert ticked == 4
    expect(boxes.first).to_be_hidden()
    expect(phone.get_by_role("heading", name="Signed off")).to_be_visible()


def test_a_key_that_is_held_down_goes_one_step(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    at_work(phone, live_server, world)
    see(phone)
    for _ in range(5):
        phone.keyboard.down("ArrowRight")  # pressed again without going up, it repeats
    phone.keyboard.up("ArrowRight")
    expect(phone.locator("[data-where]")).to_contain_text("Step 2 of")


def test_a_space_on_a_button_is_that_button(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    at_work(phone, live_server, world)
    forward(phone, 2)
    phone.get_by_role("button", name="Back").focus()
    phone.keyboard.press("Space")
    expect(phone.locator("[data-where]")).to_contain_text("Step 2 of")


def test_a_double_tap_goes_one_step(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    """Each step is seen, and so is the record: "Record this lift" comes where "Done, next" was."""
    at_work(phone, live_server, world)
    where, bar = phone.locator("[data-where]"), phone.get_by_role("button", name="Done, next")
    steps = 2 + len(world.plan.answer["lifts"][0]["legs"]) + 1
    for step in range(steps):
        expect(where).to_contain_text(f"Step {step + 1} of")
        see(phone)
        bar.dblclick()
    expect(phone.get_by_role("heading", name="What did you turn?")).to_be_visible()
    phone.locator("[data-next]").click()
    see(phone)
    assert turned(world) == {}
    record(phone)
    expect(phone.get_by_role("heading", name="Raise the front")).to_be_visible()


def test_a_knee_that_drums_on_the_space_bar_records_nothing(
    phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    """At the last step before the record, and again at the record itself."""
    at_work(phone, live_server, world)
    forward(phone, 1 + len(world.plan.answer["lifts"][0]["legs"]) + 1)
    phone.locator("h1").click()  # the focus is on nothing
    for name in ("Set the rear down", "What did you turn?"):
        expect(phone.locator("[data-step]:visible [data-title]")).to_have_text(name)
        see(phone)
        for _ in range(6):
            phone.keyboard.press("Space", delay=15)
    expect(phone.get_by_role("heading", name="What did you turn?")).to_be_visible()
    expect(phone.get_by_role("button", name="Record this lift")).to_be_focused()
    see(phone)
    assert turned(world) == {}


@pytest.mark.parametrize("name", ["Back", "Read aloud: off", "Say it again"])
def test_after_a_tap_on_a_tool_the_space_bar_goes_on(
    name: str, phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    at_work(phone, live_server, world, SILENT)
    forward(phone, 2)
    if name == "Say it again":
        phone.get_by_role("button", name="Read aloud: off").click()
    phone.get_by_role("button", name=name).click()
    at = 2 if name == "Back" else 3
    expect(phone.locator("[data-where]")).to_contain_text(f"Step {at} of")
    press(phone, "Space")
    expect(phone.locator("[data-where]")).to_contain_text(f"Step {at + 1} of")


def test_a_tool_that_was_reached_by_key_keeps_the_space_bar(
    phone: Page, live_server: LiveServer, world: TernTaproom
) -> None:
    at_work(phone, live_server, world, SILENT)
    phone.get_by_role("button", name="Read aloud: off").focus()
    for words in ("Read aloud: on", "Read aloud: off"):
        press(phone, "Space")
        expect(phone.get_by_role("button", name=words)).to_be_focused()
    expect(phone.locator("[data-where]")).to_contain_text("Step 1 of")


def test_the_screen_stays_on_and_is_asked_again(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    at_work(phone, live_server, world, WAKE_LOCK)
    words = phone.locator("[data-awake]")
    expect(words).to_have_text("The screen stays on.")
    phone.evaluate("() => window.locks[0].dispatchEvent(new Event('release'))")
    expect(words).to_have_text("The screen may go dark.")
    phone.evaluate("() => document.dispatchEvent(new Event('visibilitychange'))")
    expect(words).to_have_text("The screen stays on.")
    assert phone.evaluate("() => window.locks.map((lock) => lock.kind)") == ["screen", "screen"]
    phone.evaluate("() => { window.refuse = true; document.dispatchEvent(new Event('visibilitychange')) }")
    expect(words).to_have_text("The screen may go dark: the device keeps it from staying on.")


def test_a_browser_without_a_wake_lock_says_so(phone: Page, live_server: LiveServer, world: TernTaproom) -> None:
    at_work(phone, live_server, world, NO_WAKE_LOCK)
    expect(phone.locator("[data-awake]")).to_have_text("The screen may go dark: this browser cannot keep it on.")


#: A small phone, a phone in the dark, a laptop.
WINDOWS = (((360, 640), "light"), ((390, 844), "dark"), ((1280, 800), "light"))


def test_no_step_has_a_finding_or_is_wider_than_the_window(
    phone: Page, complaints: list[str], live_server: LiveServer, world: TernTaproom
) -> None:
    at_work(phone, live_server, world)
    titles = []
    for lift in (1, 2, 3):
        while True:
            titles.append(phone.locator("[data-step]:visible [data-title]").inner_text())
            look_in_all_windows(phone, complaints, titles[-1])
            if titles[-1] in ("What did you turn?", "After the work"):
                break
            forward(phone, 1)
        if lift < 3:
            phone.get_by_role("button", name=re.compile("¼ more")).first.click()
            look_in_all_windows(phone, complaints, f"corrected, lift {lift}")
            record(phone)
            # For a moment the new page shows all its steps, until its script hides all but one.
            title = phone.locator("[data-step]:visible [data-title]")
            expect(title.filter(has_text="What did you turn?")).to_have_count(0)
            expect(title).to_have_count(1)
    assert titles[-1] == "After the work"


def look_in_all_windows(phone: Page, complaints: list[str], step: str) -> None:
    """Ask axe and measure the width of one step in each window; what the page itself complained of comes first."""
    assert complaints == [], step
    for (width, height), scheme in WINDOWS:
        phone.set_viewport_size({"width": width, "height": height})
        phone.emulate_media(color_scheme=scheme, reduced_motion="reduce")  # type: ignore[arg-type]
        assert serious_findings(phone) == [], (step, width, scheme)
        assert phone.evaluate("document.documentElement.scrollWidth <= innerWidth"), (step, width)
    complaints.clear()  # axe itself bends the policy


def test_the_list_without_a_script_has_no_finding(
    phone: Page, complaints: list[str], live_server: LiveServer, world: TernTaproom
) -> None:
    """The script is kept away, and axe looks at what is left."""
    phone.route(re.compile(r"/(work|aloud)\.js"), lambda route: route.abort())
    at_work(phone, live_server, world)
    steps = phone.locator("[data-step]")
    expect(steps.last).to_be_visible()
    assert len(phone.locator("[data-step]:visible").all()) == steps.count()
    expect(phone.get_by_role("button", name="Turned as shown: record lift 1")).to_be_visible()
    expect(phone.get_by_role("button", name="Done, next")).to_be_hidden()
    assert serious_findings(phone) == []
    complaints.clear()


def test_on_dollies_in_eighths_one_lift_frees_all_four(phone: Page, live_server: LiveServer) -> None:
    """The machine's own step is offered, and what is sent is read as it was shown."""
    taproom = tern_taproom()
    work = {"front_reachable": True, "rear_reachable": True, "on_dollies": True, "steps_per_turn": 8}
    readings = [along(6.1), across(0.4, "left")]
    bob = taproom.people.bob
    watch(phone)
    survey_of(taproom.machine, by=bob, instrument=taproom.instrument, readings=readings)
    plan = make_plan(by=author(bob), machine=taproom.machine, source="survey", even_if_in_spec=False, **work)
    sign_in(phone, live_server.url, "bob@example.org")
    phone.goto(live_server.url + reverse("plan_work", args=[plan.pk]))
    forward(phone, 1)
    expect(phone.get_by_role("heading", name="Raise the machine")).to_be_visible()
    forward(phone, 2 + len(plan.answer["lifts"][0]["legs"]))
    expect(phone.get_by_role("button", name=re.compile("⅛"))).to_have_count(8)
    for name in ("front left", "front right", "rear left", "rear right"):
        phone.get_by_role("button", name=re.compile(f"⅛ (more|out) at the {name}")).click()
    record(phone)
    expect(phone.get_by_role("heading", name="After the work")).to_be_visible()
    legs = {place: leg["steps"] / 8 for place, leg in enumerate(plan.answer["legs"])}
    found = {row.place: row.turns for row in models.Adjustment.objects.filter(plan=plan)}
    assert found == {place: turns + (0.125 if turns >= 0 else -0.125) for place, turns in legs.items()}
