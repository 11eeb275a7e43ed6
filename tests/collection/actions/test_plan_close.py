"""Closing a leg plan: signed off with its list, or set aside with a reason."""

import datetime
from typing import Any

import pytest

from collection import models
from collection.actions.plans import make_plan, record_turns, set_aside, sign_off
from collection.actions.record import ActionRefused, Author
from collection.models.plans import TASKS
from tests.factories import NOON
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom

HOUR = datetime.timedelta(hours=1)


def bob(taproom: TernTaproom, hours: float = 6, **more: Any) -> Author:
    return author(taproom.people.bob, NOON + hours * HOUR, **more)


@pytest.fixture
def turned(taproom: TernTaproom) -> models.Plan:
    """Bob's plan with every lift recorded."""
    plan = taproom.plan
    for lift in range(1, len(plan.answer["lifts"]) + 1):
        plan = record_turns(by=bob(taproom, lift), plan=plan, lift=lift)
    return plan


def status(taproom: TernTaproom) -> models.MachineStatus:
    return models.MachineStatus.objects.get(machine=taproom.machine)


def check(taproom: TernTaproom, plan: models.Plan | None, hours: float) -> models.Survey:
    readings = [along(6.5, spot="middle"), across(0, "level", spot="lower_centre")]
    return survey_of(
        taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, readings=readings, plan=plan,
        at=NOON + hours * HOUR,
    )  # fmt: skip


def test_it_is_signed_off_with_every_item(taproom: TernTaproom, turned: models.Plan) -> None:
    sign_off(by=bob(taproom), plan=turned, tasks=list(TASKS))
    turned.refresh_from_db()
    assert (turned.state, turned.signed_off_at, turned.signed_off_by) == (
        "signed_off", NOON + 6 * HOUR, taproom.people.bob.user,
    )  # fmt: skip
    assert turned.tasks_done == list(TASKS)


def test_an_item_left_needs_a_remark(taproom: TernTaproom, turned: models.Plan) -> None:
    with pytest.raises(ActionRefused) as refused:
        sign_off(by=bob(taproom), plan=turned, tasks=["locknuts"])
    assert refused.value.field == "remark"
    sign_off(by=bob(taproom), plan=turned, tasks=["locknuts"], remark="No marker at hand.")
    turned.refresh_from_db()
    assert (turned.tasks_done, turned.remark) == (["locknuts"], "No marker at hand.")


def test_it_refuses_before_all_lifts_are_turned(taproom: TernTaproom) -> None:
    with pytest.raises(ActionRefused, match="Not every lift is recorded"):
        sign_off(by=bob(taproom), plan=taproom.plan, tasks=list(TASKS))
    taproom.plan.refresh_from_db()
    assert taproom.plan.state == "open"


def test_in_spec_is_signed_off_without_turning(taproom: TernTaproom) -> None:
    check(taproom, None, hours=0)
    plan = make_plan(by=bob(taproom, 1), machine=taproom.machine, source="survey")
    sign_off(by=bob(taproom, 2), plan=plan, tasks=[])
    plan.refresh_from_db()
    assert (plan.outcome, plan.state) == ("in_spec", "signed_off")


def test_signed_off_twice_changes_nothing(taproom: TernTaproom, turned: models.Plan) -> None:
    sign_off(by=bob(taproom), plan=turned, tasks=list(TASKS))
    lines = models.Change.objects.count()
    sign_off(by=bob(taproom, 7), plan=turned, tasks=[], remark="again")
    turned.refresh_from_db()
    assert (turned.signed_off_at, turned.remark, models.Change.objects.count()) == (NOON + 6 * HOUR, "", lines)
    with pytest.raises(ActionRefused, match="signed off"):
        sign_off(by=author(taproom.people.alice, NOON + 8 * HOUR), plan=turned, tasks=list(TASKS))


def test_without_a_check_reading_a_fresh_survey_is_wanted(taproom: TernTaproom, turned: models.Plan) -> None:
    sign_off(by=bob(taproom), plan=turned, tasks=list(TASKS))
    found = status(taproom)
    assert (found.next_step, found.verdict, found.chance) == ("Legs turned: read again", "borderline", None)


def test_a_check_reading_after_the_turning_is_the_fresh_survey(taproom: TernTaproom, turned: models.Plan) -> None:
    check(taproom, turned, hours=5)
    sign_off(by=bob(taproom), plan=turned, tasks=list(TASKS))
    assert (status(taproom).next_step, status(taproom).verdict) == ("Nothing to turn", "in")


def test_it_is_set_aside_with_a_reason_and_keeps_what_was_turned(taproom: TernTaproom) -> None:
    record_turns(by=bob(taproom, 1), plan=taproom.plan, lift=1)
    rows = models.Adjustment.objects.count()
    with pytest.raises(ActionRefused) as refused:
        set_aside(by=bob(taproom), plan=taproom.plan)
    assert refused.value.field == "why"
    set_aside(by=bob(taproom, why="The jack is broken."), plan=taproom.plan)
    taproom.plan.refresh_from_db()
    assert (taproom.plan.state, taproom.plan.remark) == ("set_aside", "The jack is broken.")
    assert models.Adjustment.objects.count() == rows
    assert status(taproom).plan is None
    assert status(taproom).next_step == "Legs turned: read again"


def test_set_aside_twice_changes_nothing(taproom: TernTaproom) -> None:
    set_aside(by=bob(taproom, why="The jack is broken."), plan=taproom.plan)
    lines = models.Change.objects.count()
    set_aside(by=bob(taproom, why="Another reason."), plan=taproom.plan)
    taproom.plan.refresh_from_db()
    assert (taproom.plan.remark, models.Change.objects.count()) == ("The jack is broken.", lines)


def test_a_signed_off_plan_cannot_be_set_aside(taproom: TernTaproom, turned: models.Plan) -> None:
    sign_off(by=bob(taproom), plan=turned, tasks=list(TASKS))
    with pytest.raises(ActionRefused, match="signed off"):
        set_aside(by=bob(taproom, why="Too late."), plan=turned)
