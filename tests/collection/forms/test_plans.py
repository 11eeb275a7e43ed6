"""Forms about leg plans: turns as they were done, out and in, and what is asked of whom."""

from typing import Any

import pytest

from collection.forms.plans import LiftForm, PlanForm, SetAsideForm, SignOffForm

LIFTS = [["RL", "RR"], ["FL", "FR"]]


def lift_form(**typed: Any) -> LiftForm:
    return LiftForm({"lift": "1", **typed}, lifts=LIFTS)


def test_it_reads_fractions_and_the_way() -> None:
    form = lift_form(turns_rl="6 1/2", way_rl="out", turns_rr="¾", way_rr="in")
    assert form.is_valid(), form.errors
    assert form.values == {"lift": 1, "turned": {"RL": (6.5, "6 1/2"), "RR": (-0.75, "¾")}}


def test_as_shown_needs_no_numbers() -> None:
    form = lift_form(as_shown="on")
    assert form.is_valid(), form.errors
    assert form.values == {"lift": 1, "turned": None}


def test_it_asks_for_every_leg_of_the_lift() -> None:
    form = lift_form(turns_rl="2", way_rl="out", way_rr="in")
    assert not form.is_valid()
    assert form.errors["turns_rr"] == ["Write how many turns, or 0 if you left it."]
    assert "turns_fl" not in form.errors


def test_a_leg_that_was_left_is_nothing() -> None:
    form = lift_form(turns_rl="0", way_rl="in", turns_rr="2", way_rr="in")
    assert form.is_valid(), form.errors
    assert form.values["turned"] == {"RL": (0.0, "0"), "RR": (-2.0, "2")}


def test_a_turned_leg_needs_its_way() -> None:
    form = lift_form(turns_rl="2", turns_rr="0", way_rr="out")
    assert not form.is_valid()
    assert list(form.errors) == ["way_rl"]


@pytest.mark.parametrize("text", ["1,5", "-2", "nan", "1e3", "201", "6 3/2", "６", "2 turns"])
def test_it_refuses_turns_it_cannot_read(text: str) -> None:
    form = lift_form(turns_rl=text, way_rl="out", turns_rr="0", way_rr="out")
    assert not form.is_valid()
    assert list(form.errors) == ["turns_rl"]


@pytest.mark.parametrize("lift", ["", "0", "3", "one", "9" * 30])
def test_it_refuses_a_lift_that_cannot_be(lift: str) -> None:
    assert "lift" in LiftForm({"lift": lift, "as_shown": "on"}, lifts=LIFTS).errors


def test_a_plan_starts_from_survey_or_floor_with_a_known_step() -> None:
    form = PlanForm({"source": "floor", "steps_per_turn": "8", "front_reachable": "on"})
    assert form.is_valid(), form.errors
    assert form.values == {
        "source": "floor", "front_reachable": True, "rear_reachable": False, "on_dollies": False,
        "steps_per_turn": 8, "even_if_in_spec": False,
    }  # fmt: skip
    assert set(PlanForm({"source": "guess", "steps_per_turn": "5"}).errors) == {"source", "steps_per_turn"}


def test_a_sign_off_knows_its_items_and_set_aside_asks_why() -> None:
    assert SignOffForm({"tasks": ["locknuts", "feet_marked"], "remark": ""}).is_valid()
    assert "tasks" in SignOffForm({"tasks": ["coffee"]}).errors
    assert "why" in SetAsideForm({"why": "  "}).errors
