"""What the page of a survey offers next: one button, and only what can really be done."""

import datetime
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from collection.actions.machines import move_machine
from collection.actions.plans import make_plan, record_turns
from collection.models import Bay, Leg, Machine, MachineStatus, Membership, Plan, Survey
from tests import factories as make
from tests.factories import NOON
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom

SignIn = Callable[[Membership], Client]
MINUTE = datetime.timedelta(minutes=1)
#: The one primary button of the page: a link, or the button of a form.
PRIMARY = re.compile(
    r'<a class="button" href="(?P<href>[^"]*)">(?P<link>[^<]*)</a>|<button type="submit">(?P<button>[^<]*)<'
)


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


def page_of(client: Client, survey: Survey) -> str:
    answer = client.get(reverse("survey", args=[survey.pk]))
    assert answer.status_code == 200
    return answer.content.decode()


def primary(client: Client, survey: Survey) -> tuple[str, str]:
    """The words of the one primary button and where it leads ("" for a form)."""
    found = list(PRIMARY.finditer(page_of(client, survey)))
    assert len(found) == 1, found
    return found[0]["link"] or found[0]["button"], found[0]["href"] or ""


def press(client: Client, survey: Survey) -> Any:
    """Send the form of the page as a browser does."""
    answer = client.get(reverse("survey", args=[survey.pk]))
    action = re.search(r'<form method="post" action="([^"]*)">', answer.content.decode())
    assert action
    sent = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', answer.content.decode()))
    return client.post(action[1], sent), sent


def surveyed(taproom: TernTaproom, *readings: dict, at: datetime.datetime = NOON) -> Survey:
    return survey_of(
        taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, readings=list(readings) or None, at=at
    )


def test_out_of_spec_one_press_makes_the_plan_as_it_is_usually_worked(taproom: TernTaproom, bob: Client) -> None:
    Machine.objects.update(on_dollies=True, steps_per_turn=8)
    survey = taproom.survey
    assert primary(bob, survey) == ("Work out the turns", "")
    assert "it stands on dollies, in steps of ⅛ turn" in page_of(bob, survey)
    answer, _ = press(bob, survey)
    plan = Plan.objects.get()
    assert answer.url == reverse("plan", args=[plan.pk])
    assert (plan.source, plan.survey, plan.outcome) == ("survey", survey, "plan")
    asked = [plan.inputs[name] for name in ("front_reachable", "rear_reachable", "on_dollies", "steps_per_turn")]
    assert asked == [True, True, True, 8]
    assert not plan.inputs["even_if_in_spec"]


def test_the_choices_are_a_click_away(taproom: TernTaproom, bob: Client) -> None:
    page = page_of(bob, taproom.survey)
    assert "front and rear can be lifted, in steps of ¼ turn" in page
    assert f'<a href="{reverse("plan_new", args=[taproom.machine.pk])}">Choose otherwise</a>' in page


def test_pressed_twice_it_makes_one_plan(taproom: TernTaproom, bob: Client) -> None:
    survey = taproom.survey
    answer, sent = press(bob, survey)
    again = bob.post(reverse("plan_new", args=[taproom.machine.pk]), sent)
    assert again.url == answer.url
    assert Plan.objects.count() == 1


def test_an_unfinished_plan_of_this_survey_is_gone_on_with(taproom: TernTaproom, bob: Client) -> None:
    plan = taproom.plan
    assert primary(bob, taproom.survey) == ("Go on with the leg plan", reverse("plan", args=[plan.pk]))


def test_a_turned_plan_of_its_check_is_to_be_signed_off(taproom: TernTaproom, bob: Client) -> None:
    plan, by = taproom.plan, taproom.people.bob
    for lift in range(1, len(plan.answer["lifts"]) + 1):
        plan = record_turns(by=author(by, plan.created_at + MINUTE), plan=plan, lift=lift)
    check = survey_of(taproom.machine, by=by, instrument=taproom.instrument, plan=plan, at=plan.created_at + 2 * MINUTE)
    assert primary(bob, check) == ("Sign the leg plan off", f"{reverse('plan', args=[plan.pk])}#sign-off")


def test_a_check_that_finds_it_out_of_spec_leads_to_another_plan(taproom: TernTaproom, bob: Client) -> None:
    """What was turned stays in the record; the plan is set aside as the newer one is made."""
    plan, by = taproom.plan, taproom.people.bob
    for lift in range(1, len(plan.answer["lifts"]) + 1):
        plan = record_turns(by=author(by, plan.created_at + MINUTE), plan=plan, lift=lift)
    check = survey_of(
        taproom.machine, by=by, instrument=taproom.instrument, plan=plan, at=plan.created_at + 2 * MINUTE,
        readings=[along(6.0), across(0.4)],
    )  # fmt: skip
    assert primary(bob, check) == ("Work out the turns", "")
    assert MachineStatus.objects.get().next_step.startswith("2 lifts")
    press(bob, check)
    plan.refresh_from_db()
    assert (plan.state, plan.remark) == ("set_aside", "A newer plan was made.")


def test_too_near_a_limit_the_turns_toward_the_middle_are_one_press_away(taproom: TernTaproom, bob: Client) -> None:
    pairs = [along(6.69, turned_value=6.69), across(0, "level", turned_value=0)] * 3
    survey = surveyed(taproom, *pairs)
    assert survey.verdict == "borderline"
    assert "turn the legs toward the middle, then read along" in page_of(bob, survey)
    assert primary(bob, survey) == ("Work out the turns", "")
    answer, _ = press(bob, survey)
    plan = Plan.objects.get()
    assert answer.url == reverse("plan", args=[plan.pk])
    assert (plan.outcome, plan.inputs["even_if_in_spec"]) == ("plan", True)


def test_what_stands_before_turning_toward_the_middle_is_told_first(taproom: TernTaproom, bob: Client) -> None:
    survey = surveyed(taproom, *[along(6.69, turned_value=6.69), across(0, "level", turned_value=0)] * 3)
    Leg.objects.filter(place=0).update(exposure_mm=60, travel_mm=41)
    assert primary(bob, survey) == ("Correct the legs", reverse("machine_legs", args=[taproom.machine.pk]))
    Leg.objects.filter(place=0).update(exposure_mm=20)
    bay, machine = make.BayFactory(member=taproom.people.alice, floor=taproom.floor), Machine.objects.get()
    move_machine(
        by=author(taproom.people.bob, NOON + MINUTE), machine=machine, version=machine.version, bay=bay.pk, why=""
    )
    assert primary(bob, survey) == ("Survey again", reverse("survey_new", args=[machine.pk]))
    assert "Moved since the last survey: survey it again" in page_of(bob, survey)


def test_where_nothing_fits_it_says_so_and_no_plan_is_offered(taproom: TernTaproom, bob: Client) -> None:
    Bay.objects.update(front_reachable=False, rear_reachable=False)
    survey = surveyed(taproom, along(6.0), across(0.4))
    page = page_of(bob, survey)
    assert "Nothing fits: no turns bring it into spec as it stands" in page
    for words in ("Make a leg plan", "Work out the turns"):
        assert words not in page
    assert primary(bob, survey) == ("See what would help", "")
    assert MachineStatus.objects.get().next_step == "No turns bring it into spec: see what would help"
    answer, _ = press(bob, survey)
    plan = Plan.objects.get()
    assert (plan.outcome, answer.url) == ("nothing_fits", reverse("plan", args=[plan.pk]))
    assert primary(bob, survey) == ("See what would help", answer.url), "it leads to the plan that says so"
    assert MachineStatus.objects.get().next_step == "No turns bring it into spec: its leg plan says what would help"


def test_the_machines_page_offers_the_same(taproom: TernTaproom, bob: Client) -> None:
    address = reverse("machine", args=[taproom.machine.pk])
    assert taproom.survey
    assert "Work out the turns" in bob.get(address).content.decode()
    Bay.objects.update(front_reachable=False, rear_reachable=False)
    page = bob.get(address).content.decode()
    assert "Work out the turns" not in page
    assert '<button type="submit">See what would help</button>' in page
    press(bob, taproom.survey)
    plan = Plan.objects.get()
    link = f'<a class="button" href="{reverse("plan", args=[plan.pk])}">See what would help</a>'
    assert link in bob.get(address).content.decode()


def test_an_impossible_exposure_is_corrected_first(taproom: TernTaproom, bob: Client) -> None:
    Leg.objects.filter(place=0).update(exposure_mm=60, travel_mm=41)
    survey = surveyed(taproom, along(6.0), across(0.4))
    assert "A leveler is out beyond its travel: correct the legs" in page_of(bob, survey)
    assert primary(bob, survey) == ("Correct the legs", reverse("machine_legs", args=[taproom.machine.pk]))


def test_a_machine_that_was_moved_is_surveyed_again(taproom: TernTaproom, bob: Client) -> None:
    survey = taproom.survey
    other = make.BayFactory(member=taproom.people.alice, floor=taproom.floor)
    machine = Machine.objects.get()
    move_machine(
        by=author(taproom.people.bob, NOON + MINUTE), machine=machine, version=machine.version, bay=other.pk, why=""
    )
    assert primary(bob, survey) == ("Survey again", reverse("survey_new", args=[machine.pk]))
    assert "Moved since the last survey: survey it again" in page_of(bob, survey)


def test_a_plan_of_an_older_survey_does_not_stand_in_the_way(taproom: TernTaproom, bob: Client) -> None:
    assert taproom.plan
    newer = surveyed(taproom, along(6.0), across(0.5, "left"), at=NOON + 10 * MINUTE)
    assert primary(bob, newer) == ("Work out the turns", "")


def test_a_verdict_of_another_day_does_not_lead(taproom: TernTaproom, bob: Client) -> None:
    """In spec once, but more is wanted now: what counts is how it stands against the spec of today."""
    survey = surveyed(taproom)
    bob.post(
        reverse("machine_spec", args=[taproom.machine.pk]),
        {"pitch_deg": "7.5", "pitch_tolerance_deg": "0.2", "roll_tolerance_deg": "0.15", "gap_tolerance_mm": "0.5",
         "why": "Faster play", "version": "1"},
    )  # fmt: skip
    assert primary(bob, survey) == ("Work out the turns", "")


def test_a_reader_reads_what_is_next_and_is_offered_nothing(taproom: TernTaproom, as_member: SignIn) -> None:
    page = page_of(as_member(taproom.people.vera), taproom.survey)
    assert "2 lifts" in page
    assert not PRIMARY.search(page)
    assert "Choose otherwise" not in page


def test_it_asks_the_database_a_fixed_number_of_times(taproom: TernTaproom, bob: Client) -> None:
    """Of an out-of-spec survey the turns are reckoned too; many older surveys and plans cost nothing more."""
    asked = []
    for hour in range(1, 4):
        survey = surveyed(taproom, along(6.0), across(0.4), at=NOON + datetime.timedelta(hours=hour))
        bob.get(reverse("survey", args=[survey.pk]))
        with CaptureQueriesContext(connection) as queries:
            page_of(bob, survey)
        asked.append(len(queries))
        make_plan(by=author(taproom.people.bob, survey.measured_at + MINUTE), machine=taproom.machine, source="survey")
    assert len(set(asked[1:])) == 1
    assert max(asked) <= 15
