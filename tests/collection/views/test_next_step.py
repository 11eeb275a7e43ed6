"""One next step, told alike: by the list, the machine's page, the survey's page and the page of its leg plan."""

import datetime
import html
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from collection.actions.machines import move_machine
from collection.actions.plans import make_plan, record_turns
from collection.models import Machine, MachineStatus, Plan, Survey
from tests import factories as make
from tests.factories import NOON
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom, glass_read, two_lifts

MINUTE = datetime.timedelta(minutes=1)
IN_SPEC = [along(6.5, turned_value=6.5), across(0, "level", turned_value=0)]
OUT = [along(6.1), across(0.3, "left")]
NEAR = [along(6.69, turned_value=6.69), across(0, "level", turned_value=0)] * 3
ODD = [along(6.5), along(6.5), along(7.6), across(0, "level")]
APART = [along(6.0), along(7.0), across(0.3, "left")]
PRIMARY = re.compile(
    r'<a class="button" href="[^"]*">(?P<link>[^<]*)</a>|<button type="submit">(?P<button>[^<]*)</button>'
)
NEXT = re.compile(r'<p class="next"><span>Next</span> <b>(.*?)</b>', re.DOTALL)
#: A button of the survey's page that the machine's page words otherwise.
ON_THE_MACHINES_PAGE = {"Survey again": "Survey now", "Done: go to Lantern Reef": "Survey now"}
#: What a list tells in its own words, by what the survey's page says.
IN_A_LIST = {
    "Go on with the leg plan": ("1 lift", "2 lifts", "Work the leg plan"),
    "Nothing fits: no turns bring it into spec as it stands": ("No turns bring it into spec",),
}


class History:
    """What happens at one machine, ten minutes apart."""

    def __init__(self, taproom: TernTaproom) -> None:
        self.taproom, self.bob, self.now = taproom, taproom.people.bob, NOON
        self.plan: Any = None

    def by(self) -> Any:
        self.now += 10 * MINUTE
        return author(self.bob, self.now)

    def survey(self, readings: list[dict[str, Any]], **more: Any) -> Survey:
        at = self.by().at
        level = self.taproom.instrument
        return survey_of(self.taproom.machine, by=self.bob, instrument=level, readings=readings, at=at, **more)

    def check(self, readings: list[dict[str, Any]], **more: Any) -> Survey:
        return self.survey(readings, plan=self.plan, **more)

    def make_plan(self, source: str = "survey") -> None:
        self.plan = make_plan(by=self.by(), machine=Machine.objects.get(), source=source)

    def turn(self, lift: int = 0) -> None:
        for each in [lift] if lift else range(1, len(self.plan.answer["lifts"]) + 1):
            self.plan = record_turns(by=self.by(), plan=self.plan, lift=each)

    def work(self) -> None:
        self.survey(OUT)
        self.make_plan()
        self.turn()

    def first_of_two_lifts(self) -> None:
        self.plan = two_lifts(self.taproom).plan
        self.turn(1)

    def check_as_told(self) -> None:
        """A reading after the first lift finds what the plan told, rocking as it may until the last one."""
        told = self.plan.answer["states"][1]
        roll = told["roll_deg"]
        readings = [along(told["pitch_deg"]), across(abs(roll), "right" if roll > 0 else "left")]
        self.check(readings, stance=told["foot"], gap=told["gap_mm"], gap_text=f"{told['gap_mm']:.1f}")

    def move(self) -> None:
        machine = Machine.objects.get()
        bay = make.BayFactory(member=self.taproom.people.alice, floor=self.taproom.floor)
        move_machine(by=self.by(), machine=machine, version=machine.version, bay=bay.pk, why="")

    def read_glass(self, days: int = 0) -> None:
        last = Survey.objects.latest("measured_at")
        glass_read(self.taproom, 5.3, (0.1, "left"), at=self.by().at, pair_with=last)
        if days:
            self.read_glass_again(days)

    def read_glass_again(self, days: int) -> None:
        glass_read(self.taproom, 5.3, (0.1, "left"), at=self.by().at + datetime.timedelta(days))

    def want(self, pitch_deg: str) -> None:
        spec = {"pitch_tolerance_deg": "0.2", "roll_tolerance_deg": "0.15", "gap_tolerance_mm": "0.5", "why": "Faster"}
        client, version = client_of(self.taproom), str(self.taproom.machine.specs.count())
        typed = {"pitch_deg": pitch_deg, "version": version, **spec}
        client.post(reverse("machine_spec", args=[self.taproom.machine.pk]), typed)

    def plan_from_floor(self) -> None:
        member = self.taproom.people.alice
        make.FloorSlopeFactory(member=member, floor=self.taproom.floor, bay=self.taproom.bay, gx=0, gy=0.2)
        self.taproom.machine.legs.update(exposure_mm=20)
        self.make_plan("floor")


def client_of(taproom: TernTaproom) -> Client:
    client = Client()
    client.force_login(taproom.people.bob.user)
    return client


def words_of(part: str) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", "", part))).strip()


def primary(page: str) -> str:
    found = [each["link"] or each["button"] for each in PRIMARY.finditer(page)]
    assert len(found) == 1, found
    return found[0]


def next_words(page: str) -> str:
    found = NEXT.search(page)
    return words_of(found[1]) if found else ""


#: What happened, then what a list says is next, and the one button of the survey's page.
HISTORIES: dict[str, tuple[Callable[[History], object], str, str]] = {
    "in spec": (lambda h: h.survey(IN_SPEC), "Nothing to turn", "Done: go to Lantern Reef"),
    "an odd reading": (lambda h: h.survey(ODD), "Take reading 3 again: it looks odd", "Survey again"),
    "readings that differ": (lambda h: h.survey(APART), "Read again: the readings differ too much", "Survey again"),
    "feet unknown": (lambda h: h.survey(IN_SPEC, stance="unknown"), "Check the feet", "Survey again"),
    "out of spec": (lambda h: h.survey(OUT), "2 lifts", "Work out the turns"),
    "too near a limit": (lambda h: h.survey(NEAR), "It lies too near the limit", "Work out the turns"),
    "moved, in spec before": (lambda h: (h.survey(IN_SPEC), h.move()), "Moved since the last survey", "Survey again"),
    "moved, with a plan": (lambda h: (h.survey(OUT), h.make_plan(), h.move()), "Moved since", "Survey again"),
    "moved after its check": (lambda h: (h.work(), h.check(IN_SPEC), h.move()), "Moved since", "Survey again"),
    "a plan in hand": (lambda h: (h.survey(OUT), h.make_plan()), "2 lifts", "Go on with the leg plan"),
    "a plan for another spec": (lambda h: (h.survey(OUT), h.make_plan(), h.want("7")), "2 lifts", "Work out the turns"),
    "another spec, borderline": (lambda h: (h.survey(IN_SPEC), h.want("6.7")), "Read with a level", "Survey again"),
    "turned": (lambda h: h.work(), "Legs turned: read again", "Survey again"),
    "checked, in spec": (lambda h: (h.work(), h.check(IN_SPEC)), "Sign the leg plan off", "Sign the leg plan off"),
    "checked, out of spec": (lambda h: (h.work(), h.check(OUT)), "2 lifts", "Work out the turns"),
    "checked, unclear": (lambda h: (h.work(), h.check(APART)), "Read again", "Survey again"),
    "read after the turns": (lambda h: (h.work(), h.survey(IN_SPEC)), "Sign the leg plan off", "Sign the leg plan off"),
    "read after them, out": (lambda h: (h.work(), h.survey(OUT)), "2 lifts", "Work out the turns"),
    "between two lifts": (lambda h: h.first_of_two_lifts(), "Work the leg plan", "Go on with the leg plan"),
    "checked between them, out": (
        lambda h: (h.first_of_two_lifts(), h.check_as_told()),
        "Work the leg plan",
        "Go on with the leg plan",
    ),
    "checked between them, in": (
        lambda h: (h.first_of_two_lifts(), h.check(IN_SPEC)),
        "Nothing to turn",
        "Done: go to Lantern Reef",
    ),
    "checked between, then turned": (
        lambda h: (h.first_of_two_lifts(), h.check(OUT), h.turn(2)),
        "Legs turned: read again",
        "Survey again",
    ),
    "a plan that turns nothing": (lambda h: (h.survey(NEAR), h.make_plan()), "It lies too near", "Work out the turns"),
    "quick check, long ago": (
        lambda h: (h.survey(IN_SPEC), h.read_glass(400)),
        "Survey it: too long ago for quick checks",
        "Survey again",
    ),
    "quick check after its check": (
        lambda h: (h.work(), h.check(IN_SPEC), h.read_glass(400)),
        "Survey it: too long ago",
        "Survey again",
    ),
    "in spec, a plan from the floor fits nothing": (
        lambda h: (h.survey(IN_SPEC), h.plan_from_floor()),
        "Nothing to turn",
        "Done: go to Lantern Reef",
    ),
    "surveyed after a plan from the floor": (
        lambda h: (h.plan_from_floor(), h.survey(OUT)),
        "2 lifts",
        "Work out the turns",
    ),
}


@pytest.mark.parametrize("name", HISTORIES)
def test_list_machine_and_survey_tell_the_same_next_step(taproom: TernTaproom, name: str) -> None:
    happens, listed, button = HISTORIES[name]
    happens(History(taproom))
    status, client = MachineStatus.objects.get(), client_of(taproom)
    assert status.next_step.startswith(listed)
    machine = client.get(reverse("machine", args=[status.machine_id])).content.decode()
    survey = client.get(reverse("survey", args=[status.survey_id])).content.decode()
    assert primary(survey) == button
    assert primary(machine) == ON_THE_MACHINES_PAGE.get(button, button)
    told = next_words(survey)
    assert next_words(machine).lower() == words_of(status.next_step).lower()
    assert told.startswith(status.next_step[:1].upper() + status.next_step[1:]) or status.next_step.startswith(
        IN_A_LIST.get(told, ("nowhere",))
    )


def test_after_a_check_that_finds_it_out_the_plan_leads_to_it(taproom: TernTaproom) -> None:
    history = History(taproom)
    history.work()
    check = history.check(OUT)
    page = client_of(taproom).get(reverse("plan", args=[history.plan.pk])).content.decode()
    assert f'<a href="{reverse("survey", args=[check.pk])}">see what its check asks for</a>' in page
    assert '<button class="quiet" type="submit">Sign off</button>' in page
    assert "Next: <a" not in page.replace("Next: <a href=" + f'"{reverse("survey", args=[check.pk])}"', "")


def test_a_reading_between_the_lifts_is_not_the_one_after_the_work(taproom: TernTaproom) -> None:
    """It was taken for it, so that the plan asked to be signed off unread."""
    history = History(taproom)
    history.first_of_two_lifts()
    history.check(OUT)
    history.turn(2)
    for name in ("plan", "plan_work"):
        page = client_of(taproom).get(reverse(name, args=[history.plan.pk])).content.decode()
        assert "Take the check reading" in page
    history.check(IN_SPEC)
    assert (
        "Take the check reading" not in client_of(taproom).get(reverse("plan", args=[history.plan.pk])).content.decode()
    )


def test_a_survey_after_the_last_lift_counts_as_its_check(taproom: TernTaproom) -> None:
    history = History(taproom)
    history.work()
    survey = history.survey(IN_SPEC)
    page = client_of(taproom).get(reverse("plan", args=[history.plan.pk])).content.decode()
    assert "Take the check reading" not in page
    assert f'<a class="row-title" href="{reverse("survey", args=[survey.pk])}">' in page
    assert Plan.objects.get().state == "turned"


def test_a_reading_between_the_lifts_that_finds_it_in_spec_ends_the_plan(taproom: TernTaproom) -> None:
    """The survey's page said "Nothing to turn", and the plan's went on with the next lift."""
    history, words = History(taproom), "set this plan aside</a>, or turn on"
    history.first_of_two_lifts()
    client, address = client_of(taproom), reverse("plan", args=[history.plan.pk])
    assert words not in client.get(address).content.decode()
    history.check(IN_SPEC)
    page = client.get(address).content.decode()
    assert words in page
    assert '<a class="button quiet" href="' + reverse("plan_work", args=[history.plan.pk]) in page
    history.turn(2)
    assert words not in client.get(address).content.decode()


BEFORE_THE_PLAN: dict[str, Callable[[History], object]] = {
    "turns that no check explains": lambda h: (h.first_of_two_lifts(), h.check(OUT)),
    "a quick check, long ago": lambda h: (h.survey(OUT), h.read_glass(), h.make_plan(), h.read_glass_again(400)),
}


@pytest.mark.parametrize("name", BEFORE_THE_PLAN)
def test_a_plan_that_is_not_next_says_what_is(taproom: TernTaproom, name: str) -> None:
    """Lists told another step, and the plan's page went on with its lifts."""
    history = History(taproom)
    BEFORE_THE_PLAN[name](history)
    page = client_of(taproom).get(reverse("plan", args=[history.plan.pk])).content.decode()
    assert "Something else comes first.</strong> " in page
    step = MachineStatus.objects.get().next_step
    assert step.lower() in words_of(page).lower()
    assert f'<a class="button quiet" href="{reverse("plan_work", args=[history.plan.pk])}"' in page


def test_a_plan_that_is_next_is_gone_on_with(taproom: TernTaproom) -> None:
    history = History(taproom)
    history.first_of_two_lifts()
    history.check_as_told()
    client = client_of(taproom)
    page = client.get(reverse("plan", args=[history.plan.pk])).content.decode()
    assert "Something else comes first" not in page
    assert f'<a class="button" href="{reverse("plan_work", args=[history.plan.pk])}"' in page
