"""The page that makes a leg plan."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from collection import models
from tests import factories as make
from tests.surveying import across, along, survey_of
from tests.worlds import TernTaproom

SignIn = Callable[[models.Membership], Client]
USUAL = {"source": "survey", "front_reachable": "on", "rear_reachable": "on", "steps_per_turn": "4"}


@pytest.fixture
def client(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


@pytest.fixture
def url(taproom: TernTaproom) -> str:
    return reverse("plan_new", kwargs={"pk": taproom.machine.pk})


def test_it_makes_a_plan_and_shows_it(client: Client, url: str, taproom: TernTaproom) -> None:
    survey = taproom.survey
    answer = client.post(url, USUAL)
    plan = models.Plan.objects.get()
    assert (answer.status_code, answer["Location"]) == (302, reverse("plan", kwargs={"pk": plan.pk}))
    assert (plan.survey, plan.created_by) == (survey, taproom.people.bob.user)
    assert plan.inputs["steps_per_turn"] == 4
    page = client.get(answer["Location"])
    assert "Turned as shown" in page.content.decode()


def test_the_form_begins_with_what_bay_and_machine_say(client: Client, url: str, taproom: TernTaproom) -> None:
    taproom.bay.rear_reachable = False
    taproom.bay.save()
    assert taproom.survey
    initial = client.get(url).context["form"].initial
    assert (initial["source"], initial["front_reachable"], initial["rear_reachable"]) == ("survey", True, False)
    assert client.get(url, {"source": "floor"}).context["form"].initial["source"] == "floor"
    assert client.get(url, {"even_if_in_spec": "on"}).context["form"].initial["even_if_in_spec"] is True
    assert client.get(url, {"source": "moon"}).context["form"].initial["source"] == "survey"


def test_what_was_chosen_is_kept_in_the_inputs(client: Client, url: str, taproom: TernTaproom) -> None:
    assert taproom.survey
    client.post(url, {"source": "survey", "rear_reachable": "on", "steps_per_turn": "8", "even_if_in_spec": "on"})
    inputs = models.Plan.objects.get().inputs
    assert (inputs["front_reachable"], inputs["rear_reachable"], inputs["on_dollies"]) == (False, True, False)
    assert (inputs["steps_per_turn"], inputs["even_if_in_spec"]) == (8, True)


def test_with_nothing_to_start_from_it_teaches_the_next_step(client: Client, url: str, taproom: TernTaproom) -> None:
    text = client.get(url).content.decode()
    assert "Nobody has surveyed this machine yet" in text
    assert reverse("survey_new", kwargs={"pk": taproom.machine.pk}) in text
    assert reverse("bay_slope", kwargs={"pk": taproom.bay.pk}) in text
    assert "Work out the turns" not in text


def test_it_asks_for_a_source_only_where_there_are_two(client: Client, url: str, taproom: TernTaproom) -> None:
    assert taproom.survey
    page = client.get(url).content.decode()
    assert '<input type="hidden" name="source" value="survey">' in page
    assert "Start from" not in page
    make.FloorSlopeFactory(member=taproom.people.alice, floor=taproom.floor)
    taproom.machine.legs.update(exposure_mm=20)
    page = client.get(url).content.decode()
    assert "Start from" in page
    assert 'type="hidden" name="source"' not in page


def test_a_refused_source_keeps_what_was_chosen(client: Client, url: str, taproom: TernTaproom) -> None:
    assert taproom.survey
    answer = client.post(url, {**USUAL, "source": "floor", "steps_per_turn": "6", "rear_reachable": ""})
    assert answer.status_code == 422
    assert models.Plan.objects.count() == 0
    form = answer.context["form"]
    assert "slope is not known here" in form.errors["source"][0]
    assert (form["steps_per_turn"].value(), form["rear_reachable"].value()) == ("6", False)


@pytest.mark.parametrize(
    ("field", "value"),
    [("source", ""), ("source", "guess"), ("steps_per_turn", "5"), ("steps_per_turn", "1e3"), ("source", "a\x00b")],
)
def test_it_refuses_what_is_not_offered(client: Client, url: str, taproom: TernTaproom, field: str, value: str) -> None:
    assert taproom.survey
    answer = client.post(url, {**USUAL, field: value})
    assert (answer.status_code, list(answer.context["form"].errors)) == (422, [field])
    assert models.Plan.objects.count() == 0


def test_sent_twice_it_makes_one_plan(client: Client, url: str, taproom: TernTaproom) -> None:
    assert taproom.survey
    key = client.get(url).context["form"]["write_key"].value()
    first, again = (client.post(url, {**USUAL, "write_key": str(key)}) for _ in range(2))
    assert first["Location"] == again["Location"]
    assert models.Plan.objects.count() == 1


def test_the_number_of_queries_does_not_grow_with_the_history(
    client: Client, url: str, taproom: TernTaproom, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    assert taproom.plan
    make.FloorSlopeFactory.create_batch(3, member=taproom.people.alice, floor=taproom.floor)
    client.get(url)  # the first visit notes the device
    with django_assert_max_num_queries(12) as few:
        client.get(url)
    for _ in range(12):
        survey_of(
            taproom.machine,
            by=taproom.people.bob,
            instrument=taproom.instrument,
            readings=[along(6.0), across(0, "level")],
        )
        make.FloorSlopeFactory(member=taproom.people.alice, floor=taproom.floor)
    with django_assert_max_num_queries(12) as many:
        client.get(url)
    assert len(few) == len(many)
