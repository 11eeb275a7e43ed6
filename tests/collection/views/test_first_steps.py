"""The first steps on Today: one at a time, from an empty book to the first leg plan that is signed off."""

import datetime
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from collection.actions.plans import record_turns, sign_off
from collection.models import Instrument, Membership, Plan
from tests import factories as make
from tests.surveying import across, along, author, survey_of
from tests.worlds import Cast, TernTaproom

SignIn = Callable[[Membership], Client]
URL = reverse("today")
MINUTE = datetime.timedelta(minutes=1)


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


def next_step(client: Client) -> str:
    """The address of the one primary button of the first steps."""
    answer = client.get(URL)
    page = answer.content.decode()
    urls = [step["url"] for step in answer.context["steps"] if step["state"] == "next"]
    assert len(urls) == 1
    assert page.count('class="button" href=') == 1
    assert f'href="{urls[0]}"' in page
    return str(urls[0])


def are_gone(client: Client) -> bool:
    return "First steps" not in client.get(URL).content.decode()


def test_an_empty_book_leads_step_by_step(people: Cast, as_member: SignIn) -> None:
    charlie, client = people.charlie, as_member(people.charlie)
    assert next_step(client) == reverse("machine_new")
    machine = make.MachineFactory(member=charlie)
    survey_page = reverse("survey_new", args=[machine.pk])
    assert next_step(client) == f"{reverse('instrument_new')}?next={survey_page}"
    level = make.InstrumentFactory(member=charlie)
    assert next_step(client) == survey_page
    survey = survey_of(machine, by=charlie, instrument=level, readings=[along(6.0), across(0.3, "left")])
    assert next_step(client) == reverse("survey", args=[survey.pk])


def test_a_bay_that_someone_marked_is_where_the_first_machine_goes(people: Cast, as_member: SignIn) -> None:
    bay = make.BayFactory(member=people.charlie)
    assert next_step(as_member(people.charlie)) == f"{reverse('machine_new')}?bay={bay.pk}"


def test_a_plan_is_the_last_step_until_it_is_signed_off(taproom: TernTaproom, bob: Client) -> None:
    plan = taproom.plan
    assert next_step(bob) == reverse("plan", args=[plan.pk])
    for lift in range(1, len(plan.answer["lifts"]) + 1):
        plan = record_turns(by=author(taproom.people.bob, plan.created_at + MINUTE), plan=plan, lift=lift)
    assert next_step(bob) == reverse("plan", args=[plan.pk])
    assert Plan.objects.get().state == "turned"
    sign_off(by=author(taproom.people.bob, plan.created_at + 2 * MINUTE), plan=plan, tasks=[], remark="Later")
    assert are_gone(bob)


def test_a_first_survey_in_spec_needs_no_plan(taproom: TernTaproom, bob: Client) -> None:
    survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument)
    assert are_gone(bob)


def test_one_that_is_too_close_to_say_asks_for_another_survey(taproom: TernTaproom, bob: Client) -> None:
    readings = [along(6.5), across(0.15)]
    survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, readings=readings)
    assert next_step(bob) == reverse("survey_new", args=[taproom.machine.pk])


def test_with_a_second_machine_surveyed_the_list_says_what_is_next(taproom: TernTaproom, bob: Client) -> None:
    assert taproom.survey.verdict == "out"
    assert not are_gone(bob)
    second = make.MachineFactory(member=taproom.people.alice)
    survey_of(second, by=taproom.people.bob, instrument=taproom.instrument, readings=[along(6.0), across(0.4)])
    assert are_gone(bob)


def test_another_organizations_rows_are_no_steps_done(taproom: TernTaproom, as_member: SignIn) -> None:
    assert taproom.plan
    assert next_step(as_member(taproom.people.charlie)) == reverse("machine_new")


def test_an_archived_level_is_asked_for_again(taproom: TernTaproom, bob: Client) -> None:
    assert taproom.survey
    Instrument.objects.filter(pk=taproom.instrument.pk).update(archived_at=timezone.now())
    assert next_step(bob).startswith(reverse("instrument_new"))


def test_a_reader_is_shown_no_steps(taproom: TernTaproom, as_member: SignIn) -> None:
    assert are_gone(as_member(taproom.people.vera))
