"""Recording turns, lift by lift: the record, the exposures, the order, the travel."""

import datetime
from dataclasses import replace
from typing import Any

import pytest

from collection import models
from collection.actions.plans import Turned, make_plan, record_turns, set_aside
from collection.actions.record import ActionRefused
from collection.models.base import AppendOnlyError
from collection.queries.plans_work import is_stale
from tests import factories as make
from tests.factories import NOON
from tests.surveying import author
from tests.worlds import TernTaproom

HOUR = datetime.timedelta(hours=1)
LEAD_MM = 1.5875


@pytest.fixture
def plan(taproom: TernTaproom) -> models.Plan:
    """Two lifts of Bob's open plan: neither lift alone could bring it in."""
    taproom.machine.legs.filter(place__gte=2).update(exposure_mm=33)
    lifts = taproom.plan.answer["lifts"]
    assert len(lifts) == 2
    return taproom.plan


def bob(taproom: TernTaproom, hours: float = 1, **more: Any) -> Any:
    return author(taproom.people.bob, NOON + hours * HOUR, **more)


def exposures(plan: models.Plan) -> list[float | None]:
    return list(plan.machine.legs.order_by("place").values_list("exposure_mm", flat=True))


def planned(plan: models.Plan, lift: int) -> dict[str, float]:
    return {leg["name"]: leg["steps"] / 4 for leg in plan.answer["legs"] if leg["lift"] == lift}


def test_as_shown_stores_a_row_for_each_planned_leg(taproom: TernTaproom, plan: models.Plan) -> None:
    before = exposures(plan)
    record_turns(by=bob(taproom), plan=plan, lift=1)
    rows = models.Adjustment.objects.filter(plan=plan)
    names = ("FL", "FR", "RL", "RR")
    assert {names[row.place]: row.turns for row in rows} == planned(plan, 1)
    assert {(row.lift, row.text, row.lead_mm) for row in rows} == {(1, "as shown", LEAD_MM)}
    for leg, was, now in zip(plan.answer["legs"], before, exposures(plan), strict=True):
        moved = leg["height_mm"] if leg["lift"] == 1 else 0
        assert now == pytest.approx(was + moved, abs=1e-9)


def test_exposures_leave_a_line_in_the_history(taproom: TernTaproom, plan: models.Plan) -> None:
    record_turns(by=bob(taproom), plan=plan, lift=1)
    lines = models.Change.objects.filter(noun="leg", verb="turned")
    assert lines.count() == len(planned(plan, 1))
    assert all(line.old["exposure_mm"] != line.new["exposure_mm"] for line in lines)


def test_an_unknown_exposure_stays_unknown(taproom: TernTaproom, plan: models.Plan) -> None:
    taproom.machine.legs.all().update(exposure_mm=None)
    record_turns(by=bob(taproom), plan=plan, lift=1)
    assert exposures(plan) == [None] * 4


def test_after_the_last_lift_it_is_turned(taproom: TernTaproom, plan: models.Plan) -> None:
    assert record_turns(by=bob(taproom, 1), plan=plan, lift=1).state == "open"
    done = record_turns(by=bob(taproom, 2), plan=plan, lift=2)
    assert (done.state, done.turned_at) == ("turned", NOON + 2 * HOUR)
    status = models.MachineStatus.objects.get(machine=taproom.machine)
    assert status.next_step == "Legs turned: read again"


def test_other_turns_are_recorded_as_typed(taproom: TernTaproom, plan: models.Plan) -> None:
    frees = plan.answer["lifts"][0]["frees"]
    turned = {frees[0]: Turned(1.5, "1 1/2"), frees[1]: Turned(-0.25, "¼")}
    record_turns(by=bob(taproom), plan=plan, lift=1, turns_by_leg=turned)
    rows = models.Adjustment.objects.filter(plan=plan).order_by("place")
    assert [(row.turns, row.text) for row in rows] == [(1.5, "1 1/2"), (-0.25, "¼")]


def test_a_planned_leg_that_was_left_is_recorded_as_nothing(taproom: TernTaproom, plan: models.Plan) -> None:
    before = exposures(plan)
    record_turns(by=bob(taproom), plan=plan, lift=1, turns_by_leg={})
    rows = models.Adjustment.objects.filter(plan=plan)
    assert {row.turns for row in rows} == {0.0}
    assert len(rows) == len(planned(plan, 1))
    assert exposures(plan) == before


def test_sent_twice_it_is_recorded_once(taproom: TernTaproom, plan: models.Plan) -> None:
    by = bob(taproom)
    record_turns(by=by, plan=plan, lift=1)
    once = exposures(plan), models.Change.objects.count(), models.Adjustment.objects.count()
    record_turns(by=by, plan=plan, lift=1)
    assert (exposures(plan), models.Change.objects.count(), models.Adjustment.objects.count()) == once


def test_the_record_of_turns_is_append_only(taproom: TernTaproom, plan: models.Plan) -> None:
    record_turns(by=bob(taproom), plan=plan, lift=1)
    row = models.Adjustment.objects.filter(plan=plan).first()
    row.turns = 9
    with pytest.raises(AppendOnlyError):
        row.save()


def refusal(taproom: TernTaproom, plan: models.Plan, lift: int = 1, **turned: Turned) -> ActionRefused:
    before = exposures(plan), models.Adjustment.objects.count(), models.Change.objects.count()
    with pytest.raises(ActionRefused) as refused:
        record_turns(by=bob(taproom, 5), plan=plan, lift=lift, turns_by_leg=turned or None)
    assert (exposures(plan), models.Adjustment.objects.count(), models.Change.objects.count()) == before
    return refused.value


def test_it_refuses_the_second_lift_before_the_first(taproom: TernTaproom, plan: models.Plan) -> None:
    assert refusal(taproom, plan, lift=2).reason == "Record lift 1 first: lifts go in order."


def test_it_refuses_a_lift_recorded_by_someone_else(taproom: TernTaproom, plan: models.Plan) -> None:
    record_turns(by=bob(taproom), plan=plan, lift=1)
    assert "recorded already" in refusal(taproom, plan, lift=1).reason


@pytest.mark.parametrize("lift", [0, 3, -1])
def test_it_refuses_a_lift_that_the_plan_has_not(taproom: TernTaproom, plan: models.Plan, lift: int) -> None:
    assert refusal(taproom, plan, lift=lift).reason == "This plan has 2 lifts."


def test_it_refuses_legs_that_the_lift_does_not_free(taproom: TernTaproom, plan: models.Plan) -> None:
    stray = plan.answer["lifts"][1]["frees"][0]
    assert f"{stray} is not free in lift 1" in refusal(taproom, plan, **{stray: Turned(1, "1")}).reason


def test_it_refuses_turns_beyond_travel_by_field_with_the_remedy(taproom: TernTaproom, plan: models.Plan) -> None:
    """33 mm out of 41 leaves 8 mm, 5.04 turns; 33 mm in is 20.8 turns. ASME B1.1: 16 threads per inch."""
    rear = next(lift for lift in (1, 2) if plan.answer["lifts"][lift - 1]["end"] == "rear")
    if rear == 2:
        record_turns(by=bob(taproom), plan=plan, lift=1)
    out = refusal(taproom, plan, lift=rear, RL=Turned(5.25, "5.25"), RR=Turned(0, "0"))
    assert out.field == "turns_rl"
    assert out.reason.startswith("RL has only 8.0 mm of its 41 mm travel left.")
    into = refusal(taproom, plan, lift=rear, RL=Turned(0, "0"), RR=Turned(-21, "21"))
    assert into.field == "turns_rr"
    assert into.reason.startswith("RR has only 33.0 mm to go in.")
    assert "machine's legs page" in into.reason
    record_turns(
        by=bob(taproom, 6), plan=plan, lift=rear, turns_by_leg={"RL": Turned(5, "5"), "RR": Turned(-20.75, "20.75")}
    )


def test_it_refuses_more_than_any_leveler_goes(taproom: TernTaproom, plan: models.Plan) -> None:
    """95 turns of 1.5875 mm are 151 mm, 94 are 149 mm. No stem is that long: common practice, no source."""
    taproom.machine.legs.all().update(exposure_mm=None)
    first, second = plan.answer["lifts"][0]["frees"]
    refused = refusal(taproom, plan, **{first: Turned(95, "95"), second: Turned(0, "0")})
    assert refused.field == f"turns_{first.lower()}"
    assert "151 mm, further than any leveler goes" in refused.reason
    record_turns(by=bob(taproom, 6), plan=plan, lift=1, turns_by_leg={first: Turned(94, "94")})


def test_it_refuses_after_a_move(taproom: TernTaproom, plan: models.Plan) -> None:
    taproom.machine.bay = make.BayFactory(member=taproom.people.alice, floor=taproom.floor)
    taproom.machine.save()
    assert "moved after this plan" in refusal(taproom, plan).reason


def test_it_refuses_a_plan_that_is_closed(taproom: TernTaproom, plan: models.Plan) -> None:
    set_aside(by=bob(taproom, why="Sold."), plan=plan)
    assert "set aside" in refusal(taproom, plan).reason


def test_on_dollies_one_lift_frees_all_four(taproom: TernTaproom) -> None:
    taproom.machine.on_dollies = True
    taproom.machine.save()
    plan = taproom.plan
    assert [lift["end"] for lift in plan.answer["lifts"]] == ["all"]
    assert record_turns(by=bob(taproom), plan=plan, lift=1).state == "turned"


def test_the_nearest_result_can_be_worked_where_nothing_fits(taproom: TernTaproom) -> None:
    taproom.machine.legs.filter(place__gte=2).update(exposure_mm=41)
    taproom.machine.legs.filter(place__lt=2).update(exposure_mm=2)
    survey = taproom.survey
    plan = make_plan(by=bob(taproom, key=survey.pk), machine=taproom.machine, source="survey")
    assert plan.outcome == "nothing_fits"
    for lift in range(1, len(plan.answer["lifts"]) + 1):
        plan = record_turns(by=bob(taproom, lift), plan=plan, lift=lift)
    assert plan.state == "turned"


def test_what_was_turned_before_a_plan_was_set_aside_is_kept_when_it_arrives_later(
    taproom: TernTaproom, plan: models.Plan
) -> None:
    """Found 2026-11-25: a phone without connection held a lift, and the plan was set aside in the office."""
    set_aside(by=bob(taproom, why="Moved to the back room."), plan=plan)
    with pytest.raises(ActionRefused, match="set aside"):
        record_turns(by=bob(taproom, 2), plan=plan, lift=1)
    late = replace(bob(taproom, 3), waited=2.5 * HOUR)
    before = exposures(plan)
    record_turns(by=late, plan=plan, lift=1)
    record_turns(by=late, plan=plan, lift=1)
    plan.refresh_from_db()
    rows = models.Adjustment.objects.filter(plan=plan)
    assert plan.state == "set_aside"
    assert rows.count() == len(planned(plan, 1))
    assert {row.turned_at for row in rows} == {max(NOON + 0.5 * HOUR, plan.created_at)}
    assert exposures(plan) != before
    assert models.MachineStatus.objects.get(machine=plan.machine).next_step == "Legs turned: read again"


def test_a_plan_made_before_late_turns_arrived_is_not_to_be_worked(taproom: TernTaproom, plan: models.Plan) -> None:
    set_aside(by=bob(taproom, why="Another pitch is wanted."), plan=plan)
    newer = make_plan(by=bob(taproom, 1.5), machine=plan.machine, source="survey")
    assert not is_stale(member=taproom.people.bob, plan=newer)
    record_turns(by=replace(bob(taproom, 3), waited=2.5 * HOUR), plan=plan, lift=1)
    assert is_stale(member=taproom.people.bob, plan=newer)
    assert models.MachineStatus.objects.get(machine=plan.machine).next_step == "Legs turned: read again"
