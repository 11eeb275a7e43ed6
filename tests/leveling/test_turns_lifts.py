"""The plan as a person works: which end first, what stands in between, and what one turn does."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from leveling.contact import ALL_BEAR, rest
from leveling.errors import BadInput
from leveling.frame import foot_positions, heights_to_modes, modes_to_heights
from leveling.turns import PlanRequest, plan_legs
from leveling.turns_lifts import Lift, after_lifts, degrees_per_turn

LEAD_MM = 1.5875  # ASME B1.1, 3/8-16 UNC
FL, FR = 0, 1


def request(**changes: Any) -> PlanRequest:
    usual = {
        "feet_mm": foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300),
        "pitch_deg": 6.0,
        "roll_deg": 0.4,
        "twist_mm": 0.3,
        "want_pitch_deg": 6.5,
        "pitch_tol_deg": 0.2,
        "roll_tol_deg": 0.15,
        "twist_tol_mm": 0.125,
        "lead_mm": LEAD_MM,
    }
    return PlanRequest(**(usual | changes))


def random_rows() -> PlanRequest:
    rng = np.random.default_rng(12)
    return request(
        feet_mm=foot_positions(track_front_mm=540, track_rear_mm=600, base_mm=rng.uniform(1200, 1400, 200)),
        pitch_deg=rng.normal(6.5, 0.6, 200),
        roll_deg=rng.normal(0, 0.4, 200),
        twist_mm=rng.normal(0, 0.4, 200),
        pitch_offset_deg=rng.normal(0, 0.5, 200),
    )


@pytest.mark.parametrize(("pitch_deg", "expected"), [(0.0, 0.0700), (6.5, 0.0691)])
def test_one_turn_of_both_rear_levelers(pitch_deg, expected):
    """Derived, no published figure: lead 1.5875 mm over a base of 1300 mm, near level and at 6.5 degrees."""
    turn = degrees_per_turn(feet_mm=request().feet_mm, lead_mm=LEAD_MM, pitch_deg=pitch_deg)
    assert float(turn.pitch_rear_pair_deg) == pytest.approx(expected, abs=5e-5)


def test_a_quarter_turn_of_one_leg():
    """Derived: a quarter turn of one rear leg is 0.0087 degree of pitch, of any leg 0.0203 degree of roll at 560 mm."""
    turn = degrees_per_turn(feet_mm=request().feet_mm, lead_mm=LEAD_MM / 4)
    assert float(turn.pitch_rear_leg_deg) == pytest.approx(0.0087, abs=5e-5)
    assert float(turn.roll_front_leg_deg) == pytest.approx(0.0203, abs=5e-5)
    assert float(turn.roll_rear_leg_deg) == pytest.approx(0.0203, abs=5e-5)


def test_from_6_0_to_6_5_takes_about_7_turns_of_both_rear_legs():
    turn = degrees_per_turn(feet_mm=request().feet_mm, lead_mm=LEAD_MM, pitch_deg=6.25)
    assert 0.5 / float(turn.pitch_rear_pair_deg) == pytest.approx(7.2, abs=0.1)


def test_the_last_reading_is_the_plans():
    asked = random_rows()
    plan = plan_legs(asked)
    lifts = after_lifts(asked, plan)
    np.testing.assert_allclose(lifts.pitch_deg[:, 1], plan.pitch_deg, atol=1e-10)  # degree
    np.testing.assert_allclose(lifts.roll_deg[:, 1], plan.roll_deg, atol=1e-10)  # degree
    np.testing.assert_allclose(lifts.twist_mm[:, 1], plan.twist_mm, atol=1e-10)  # mm
    assert np.array_equal(lifts.steps.sum(axis=1), plan.steps)


def test_each_lift_frees_its_own_end_and_their_number_is_the_plans():
    asked = random_rows()
    plan = plan_legs(asked)
    lifts = after_lifts(asked, plan)
    assert np.array_equal((lifts.lift != Lift.NONE).sum(axis=1), plan.lifts)
    for code, others in ((Lift.FRONT, slice(2, 4)), (Lift.REAR, slice(0, 2)), (Lift.NONE, slice(0, 4))):
        assert not lifts.steps[lifts.lift == code][:, others].any()
    assert not (lifts.lift[:, 0] == lifts.lift[:, 1])[plan.lifts == 2].any()


def test_the_order_leaves_the_smaller_gap_in_between():
    asked = random_rows()
    plan = plan_legs(asked)
    lifts = after_lifts(asked, plan)
    two = plan.lifts == 2
    assert two.sum() > 50
    step_mm = LEAD_MM / 4
    other_first = plan.steps - lifts.steps[:, 0]
    twist = heights_to_modes(other_first * step_mm, asked.feet_mm).twist_mm + asked.twist_mm
    assert (np.abs(lifts.twist_mm[:, 0]) <= np.abs(twist) + 1e-9)[two].all()
    assert {int(code) for code in lifts.lift[two, 0]} == {Lift.FRONT, Lift.REAR}


def test_the_gap_in_between_is_what_a_rigid_cabinet_shows():
    """Against three-point contact: the same foot floats by the same gap."""
    asked = random_rows()
    plan = plan_legs(asked)
    lifts = after_lifts(asked, plan)
    heights = modes_to_heights(heights_to_modes(np.zeros((200, 4)), asked.feet_mm), asked.feet_mm)
    start = heights_to_modes(heights, asked.feet_mm)
    for lift in (0, 1):
        gx, gy = (np.tan(np.radians(angle[:, lift])) for angle in (lifts.roll_deg, lifts.pitch_deg))
        modes = replace(start, gx=gx, gy=gy, twist_mm=lifts.twist_mm[:, lift])
        stands = rest(modes_to_heights(modes, asked.feet_mm), feet_mm=asked.feet_mm)
        np.testing.assert_allclose(lifts.gap_mm[:, lift], stands.gap_mm, atol=1e-9)  # mm
        floats = stands.gap_mm > 1e-9
        assert np.array_equal(lifts.light[floats, lift], stands.light[floats])


def test_a_gap_is_four_times_the_twist_under_a_front_foot():
    """Derived: gap = 4 x twist for a rectangle; FR and RL are the short pair where the twist is positive."""
    asked = request(pitch_deg=6.5, roll_deg=0.0, twist_mm=[0.05, -0.05, 0.0])
    lifts = after_lifts(asked, plan_legs(asked))
    assert lifts.light[:, 0].tolist() == [FR, FL, ALL_BEAR]
    np.testing.assert_allclose(lifts.gap_mm[:, 0], [0.2, 0.2, 0.0], atol=1e-12)  # mm


def test_a_machine_in_spec_is_not_lifted():
    asked = request(pitch_deg=6.5, roll_deg=0.0, twist_mm=0.0)
    lifts = after_lifts(asked, plan_legs(asked))
    assert lifts.lift.tolist() == [Lift.NONE, Lift.NONE]


def test_on_dollies_there_is_one_lift_of_all_feet():
    asked = request(on_dollies=True)
    lifts = after_lifts(asked, plan_legs(asked))
    assert lifts.lift.tolist() == [Lift.ALL, Lift.NONE]


def test_where_both_orders_are_alike_the_rear_goes_first():
    """Pitch only, out of the middle of the travel of short levelers: both pairs move, and no order leaves a gap."""
    asked = request(
        pitch_deg=6.0, roll_deg=0.0, twist_mm=0.0,
        exposure_mm=[5.0] * 4, exposure_known=[True] * 4, travel_mm=[12.0] * 4,
    )  # fmt: skip
    lifts = after_lifts(asked, plan_legs(asked))
    assert lifts.lift.tolist() == [Lift.REAR, Lift.FRONT]
    assert lifts.gap_mm.tolist() == [0, 0]


def test_it_refuses_the_plan_of_another_request():
    with pytest.raises(BadInput, match="plan"):
        after_lifts(request(pitch_deg=[6.0, 6.1]), plan_legs(request()))


@pytest.mark.parametrize(("name", "value"), [("lead_mm", 0.0), ("pitch_deg", 46.0), ("roll_deg", np.nan)])
def test_degrees_per_turn_refuses_what_no_machine_has(name, value):
    with pytest.raises(BadInput) as refused:
        degrees_per_turn(**({"feet_mm": request().feet_mm, "lead_mm": LEAD_MM} | {name: value}))
    assert refused.value.name == name
