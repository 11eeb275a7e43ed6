"""The end of a leg plan: what the record shows is ticked, the rest is asked, and what may come later is said."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from collection.models import Membership, Plan
from tests import factories as make
from tests.surveying import survey_of
from tests.worlds import TernTaproom

SignIn = Callable[[Membership], Client]
TASKS = ["locknuts", "read_again", "tilt_bob", "feet_marked"]
LATER = "so that a move can be predicted"


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


@pytest.fixture
def plan(taproom: TernTaproom) -> Plan:
    assert len(taproom.plan.answer["lifts"]) == 2
    return taproom.plan


def turn(client: Client, plan: Plan, lift: int) -> None:
    answer = client.post(reverse("plan_turned", args=[plan.pk]), {"lift": str(lift), "as_shown": "on"})
    assert answer.status_code == 302


def check(taproom: TernTaproom, plan: Plan) -> None:
    survey_of(
        taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, plan=plan, at=timezone.now()
    )  # fmt: skip


def ticked(client: Client, plan: Plan) -> list[str]:
    form = client.get(reverse("plan", args=[plan.pk])).context["sign_form"]
    return [box.data["value"] for box in form["tasks"] if box.data["selected"]]


def test_reading_again_is_ticked_once_it_was_read_after_the_last_lift(
    taproom: TernTaproom, bob: Client, plan: Plan
) -> None:
    turn(bob, plan, 1)
    check(taproom, plan)  # between the lifts: not the last word
    turn(bob, plan, 2)
    assert ticked(bob, plan) == []
    check(taproom, plan)
    assert ticked(bob, plan) == ["read_again"]
    answer = bob.post(reverse("plan_sign_off", args=[plan.pk]), {"tasks": []})
    assert answer.status_code == 422, "the rest is for a person to say, and a tick can be taken off"


def sign_off(taproom: TernTaproom, client: Client, plan: Plan) -> str:
    for lift in (1, 2):
        turn(client, plan, lift)
    check(taproom, plan)
    assert client.post(reverse("plan_sign_off", args=[plan.pk]), {"tasks": TASKS}).status_code == 302
    return client.get(reverse("plan", args=[plan.pk])).content.decode()


def test_afterwards_the_floor_is_suggested_while_nobody_knows_its_slope(
    taproom: TernTaproom, bob: Client, plan: Plan, as_member: SignIn
) -> None:
    address = reverse("bay_slope", args=[taproom.bay.pk])
    assert LATER not in bob.get(reverse("plan", args=[plan.pk])).content.decode()
    page = sign_off(taproom, bob, plan)
    assert LATER in page
    assert f'href="{address}"' in page
    assert LATER not in as_member(taproom.people.vera).get(reverse("plan", args=[plan.pk])).content.decode()
    make.FloorSlopeFactory(member=taproom.people.alice, floor=taproom.floor)
    assert LATER not in bob.get(reverse("plan", args=[plan.pk])).content.decode()
