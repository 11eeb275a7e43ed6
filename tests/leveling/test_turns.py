"""The leg plan in cases worked by hand: what it turns, what it leaves alone, and what it says of the result."""

from dataclasses import fields
from typing import Any

import numpy as np
import pytest

from leveling.frame import foot_positions, heights_to_modes
from leveling.turns import LegPlan, Outcome, PlanRequest, plan_legs

LEAD_MM = 1.5875  # ASME B1.1, 3/8-16 UNC: 16 threads per inch
STEP_MM = LEAD_MM / 4
BASE_MM, TRACK_MM = 1300.0, 560.0
PITCH_STEP = float(np.degrees(STEP_MM / (2 * BASE_MM)))  # degree, one step of one leg near level
ROLL_STEP = float(np.degrees(STEP_MM / (2 * TRACK_MM)))
TWIST_STEP = STEP_MM / 4  # mm


def request(**changes: Any) -> PlanRequest:
    """A usual machine with the default tolerances, in spec unless changed: pitch 0.2, roll 0.15 degree, gap 0.5 mm."""
    usual = {
        "feet_mm": foot_positions(track_front_mm=TRACK_MM, track_rear_mm=TRACK_MM, base_mm=BASE_MM),
        "pitch_deg": 6.5,
        "roll_deg": 0.0,
        "twist_mm": 0.0,
        "want_pitch_deg": 6.5,
        "pitch_tol_deg": 0.2,
        "roll_tol_deg": 0.15,
        "twist_tol_mm": 0.125,
        "lead_mm": LEAD_MM,
    }
    return PlanRequest(**(usual | changes))


def plan(**changes: Any) -> LegPlan:
    return plan_legs(request(**changes))


def test_a_machine_in_spec_is_left_alone():
    answer = plan(pitch_deg=6.69, roll_deg=-0.14, twist_mm=0.12)
    assert answer.outcome == Outcome.ALREADY_IN_SPEC
    assert (answer.steps == 0).all()
    assert (answer.lifts, answer.legs, answer.total_steps) == (0, 0, 0)
    assert bool(answer.in_tolerance)
    assert float(answer.pitch_deg) == pytest.approx(6.69, abs=1e-12)


def test_exactly_on_the_tolerance_is_in_spec():
    assert plan(pitch_deg=6.7, roll_deg=0.15, twist_mm=-0.125).outcome == Outcome.ALREADY_IN_SPEC
    assert plan(pitch_deg=6.7 + 1e-6).outcome == Outcome.PLAN


def test_it_plans_in_spec_too_when_asked():
    answer = plan(pitch_deg=6.69, even_if_in_spec=True)
    assert answer.outcome == Outcome.PLAN
    assert abs(float(answer.pitch_deg) - 6.5) <= float(answer.pitch_aim_deg)


def test_it_turns_nothing_when_asked_but_in_aim():
    assert plan(pitch_deg=6.52, even_if_in_spec=True).outcome == Outcome.ALREADY_IN_SPEC


def test_from_6_0_to_6_5_takes_about_7_turns_of_a_pair_in_one_lift():
    """Derived: (tan 6.5 - tan 6.0) x 1300 / 1.5875 = 7.23 turns of both rear legs, less what the class gives."""
    answer = plan(pitch_deg=6.0)
    assert answer.turns.tolist() == [-7.0, -7.0, 0.0, 0.0]  # the front in is as good as the rear out, and lighter
    rear = plan(pitch_deg=6.0, front_reachable=False)
    assert rear.turns.tolist() == [0.0, 0.0, 7.0, 7.0]
    assert (rear.lifts, rear.legs, rear.total_steps, rear.aim_class) == (1, 2, 56, 1)


def test_one_high_corner_is_cured_by_its_own_leg():
    """RR too tall by 4 steps: pitch +4, roll +4, twist +4 units; four steps in at RR undo all three."""
    heights = np.array([0, 0, 0, 4 * STEP_MM])
    modes = heights_to_modes(heights, request().feet_mm)
    gy = np.tan(np.radians(6.5)) + float(modes.gy)
    answer = plan(pitch_deg=np.degrees(np.arctan(gy)), roll_deg=modes.roll_deg, twist_mm=modes.twist_mm)
    assert answer.steps.tolist() == [0, 0, 0, -4]
    assert (answer.lifts, answer.legs, answer.aim_class) == (1, 1, 0)
    assert float(answer.pitch_deg) == pytest.approx(6.5, abs=1e-9)
    assert float(answer.twist_mm) == pytest.approx(0, abs=1e-12)


def test_a_rocking_machine_comes_to_bear():
    """Twist -0.4 mm: FL floats by 4 x 0.4 = 1.6 mm. Afterwards at most one unit, a gap of one step, is left."""
    answer = plan(twist_mm=-0.4)
    assert answer.outcome == Outcome.PLAN
    assert abs(4 * float(answer.twist_mm)) <= STEP_MM
    assert abs(float(answer.roll_deg)) <= 0.05
    assert abs(float(answer.pitch_deg) - 6.5) <= 0.2 / 3


def test_between_equal_plans_the_front_is_turned():
    answer = plan(pitch_deg=6.0, roll_deg=0.0)
    assert not answer.steps[2:].any()


def test_the_aim_is_a_third_of_the_tolerance_or_one_unit_at_the_wanted_angle():
    wide, tight = plan(), plan(pitch_tol_deg=0.01, roll_tol_deg=0.01, twist_tol_mm=0.01)
    assert float(wide.pitch_aim_deg) == pytest.approx(0.2 / 3, abs=1e-12)
    assert float(wide.roll_aim_deg) == pytest.approx(0.05, abs=1e-12)
    assert float(wide.twist_aim_mm) == pytest.approx(TWIST_STEP, abs=1e-12)  # 0.125/3 is less than one unit
    assert float(tight.pitch_aim_deg) == pytest.approx(PITCH_STEP * np.cos(np.radians(6.5)) ** 2, abs=1e-12)
    assert float(tight.roll_aim_deg) == pytest.approx(ROLL_STEP, abs=1e-12)


def test_a_plan_never_ends_outside_a_tolerance_finer_than_one_unit():
    """Roll tolerance half a unit: the aim of one unit alone would let the plan stop outside the spec."""
    answer = plan(roll_deg=np.arange(1, 40) * 0.01, roll_tol_deg=0.55 * ROLL_STEP)
    planned = answer.outcome == Outcome.PLAN
    assert planned.sum() > 20
    assert (np.abs(answer.roll_deg[planned]) <= 0.55 * ROLL_STEP + 1e-12).all()


def test_the_offset_between_playfield_and_cabinet_enters_the_angle():
    """A playfield 3 degrees steeper than its cabinet: the cabinet is flatter, so a turn does a little more."""
    answer = plan(pitch_deg=6.0, pitch_offset_deg=3.0)
    gy = np.tan(np.radians(6.0 - 3.0)) + np.tan(np.radians(PITCH_STEP)) * answer.total_steps
    assert float(answer.pitch_deg) == pytest.approx(3.0 + np.degrees(np.arctan(gy)), abs=1e-8)


def test_a_mirrored_machine_gets_the_mirrored_plan():
    rng = np.random.default_rng(5)
    angles = {"pitch_deg": rng.normal(6.5, 0.4, 200), "roll_deg": rng.normal(0, 0.3, 200)}
    exposure, twist = rng.uniform(5, 36, (200, 4)), rng.normal(0, 0.4, 200)
    known = {"exposure_known": [True] * 4, "even_if_in_spec": True}
    left = plan(**angles, twist_mm=twist, exposure_mm=exposure, **known)
    mirrored = angles | {"roll_deg": -angles["roll_deg"]}
    right = plan(**mirrored, twist_mm=-twist, exposure_mm=exposure[:, [1, 0, 3, 2]], **known)
    for name in ("outcome", "lifts", "legs", "aim_class", "total_steps"):
        assert (getattr(left, name) == getattr(right, name)).all(), name
    assert (np.abs(left.worst_share - right.worst_share) < 1e-9).all()


def test_travel_is_kept_and_known_exposures_follow_the_turns():
    exposure = np.array([2.0, 38.0, 20.0, 20.0])
    answer = plan(pitch_deg=6.0, exposure_mm=exposure, exposure_known=[True] * 4)
    assert answer.outcome == Outcome.PLAN
    assert answer.steps.tolist() == [0, 0, 28, 28]  # the front has no room to go in
    np.testing.assert_allclose(answer.exposure_after_mm, exposure + answer.steps * STEP_MM, atol=1e-12)
    assert bool(answer.travel_claimed)


def test_travel_is_not_claimed_for_a_turned_leg_whose_exposure_is_not_known():
    known = [False, True, True, True]
    answer = plan(pitch_deg=6.0, exposure_mm=[0, 20, 20, 20], exposure_known=known)
    assert answer.steps[0] < 0
    assert not bool(answer.travel_claimed)
    assert answer.exposure_after_mm[0] == 0
    rear = plan(pitch_deg=6.0, exposure_mm=[0, 20, 20, 20], exposure_known=known, front_reachable=False)
    assert rear.steps[0] == 0
    assert bool(rear.travel_claimed)


def test_an_end_that_cannot_be_reached_is_not_turned():
    rng = np.random.default_rng(6)
    rows = {"pitch_deg": rng.normal(6.5, 0.5, 100), "roll_deg": rng.normal(0, 0.3, 100)}
    assert not plan(**rows, rear_reachable=False).steps[:, 2:].any()
    assert not plan(**rows, front_reachable=False).steps[:, :2].any()
    assert not plan(**rows, front_reachable=False, rear_reachable=False).steps.any()


def test_on_dollies_one_lift_frees_all_four_feet():
    rows = {"pitch_deg": 6.1, "roll_deg": 0.4, "twist_mm": 0.3}
    two, one = plan(**rows), plan(**rows, on_dollies=True)
    assert (two.lifts, one.lifts) == (2, 1)
    assert one.legs <= two.legs


def test_an_exposure_beyond_its_travel_stops_that_row_only():
    exposure = [[10.0, 10, 10, 10], [10, 10, 10, 41.5], [-0.5, 10, 10, 10]]
    answer = plan(pitch_deg=[6.0, 6.0, 6.0], exposure_mm=exposure, exposure_known=[True] * 4)
    beyond = Outcome.EXPOSURE_BEYOND_TRAVEL
    assert answer.outcome.tolist() == [Outcome.PLAN, beyond, beyond]
    assert not answer.steps[1:].any()


def test_an_exposure_that_is_not_known_may_hold_any_number():
    answer = plan(pitch_deg=6.0, exposure_mm=[99.0, -5, 0, 0], exposure_known=[False] * 4)
    assert answer.outcome == Outcome.PLAN


@pytest.mark.parametrize("step_turns", [1 / 2, 1 / 4, 1 / 6, 1 / 8])
def test_turns_are_whole_steps(step_turns):
    answer = plan(pitch_deg=5.7, roll_deg=0.31, twist_mm=0.2, step_turns=step_turns)
    np.testing.assert_allclose(answer.turns, answer.steps * step_turns, atol=1e-15)
    assert answer.outcome == Outcome.PLAN


def test_unequal_tracks_make_no_difference_to_pure_pitch():
    feet = foot_positions(track_front_mm=500, track_rear_mm=600, base_mm=BASE_MM)
    assert plan(pitch_deg=6.0, feet_mm=feet).steps.tolist() == plan(pitch_deg=6.0).steps.tolist()


def test_one_row_a_batch_of_one_and_many_agree():
    rng = np.random.default_rng(7)
    rows = {
        "pitch_deg": rng.normal(6.5, 0.6, (5, 8)),
        "roll_deg": rng.normal(0, 0.3, (5, 8)),
        "twist_mm": rng.normal(0, 0.4, (5, 8)),
        "exposure_mm": rng.uniform(0, 41, (5, 8, 4)),
    }
    known = {"exposure_known": [True] * 4, "rear_reachable": rng.random(8) < 0.7}
    many = plan(**rows, **known)
    for i, j in ((0, 0), (2, 5), (4, 7)):
        one = plan(
            **{k: v[i, j] for k, v in rows.items()},
            exposure_known=[True] * 4,
            rear_reachable=known["rear_reachable"][j],
        )
        single = plan(
            **{k: v[i, j : j + 1] for k, v in rows.items()},
            exposure_known=[True] * 4,
            rear_reachable=known["rear_reachable"][j],
        )
        for field in fields(LegPlan):
            value = getattr(many, field.name)[i, j]
            assert getattr(one, field.name).shape == value.shape
            assert np.array_equal(getattr(one, field.name), value), field.name
            assert np.array_equal(getattr(single, field.name)[0], value), field.name


def test_none_at_all_is_a_batch_too():
    answer = plan(pitch_deg=np.zeros((0, 3)))
    assert answer.outcome.shape == (0, 3)
    assert answer.steps.shape == (0, 3, 4)


def test_cases_cut_into_parts_get_the_same_plans(monkeypatch):
    rng = np.random.default_rng(8)
    rows = {
        "pitch_deg": rng.normal(6.5, 1, 300),
        "roll_deg": rng.normal(0, 0.4, 300),
        "twist_mm": rng.normal(0, 0.5, 300),
    }
    known = {"exposure_mm": rng.uniform(0, 41, (300, 4)), "exposure_known": [True] * 4, "roll_tol_deg": 0.6}
    whole = plan(**rows, **known)
    monkeypatch.setattr("leveling.turns_lattice._POINTS_AT_ONCE", 7)
    parts = plan(**rows, **known)
    for field in fields(LegPlan):
        assert np.array_equal(getattr(whole, field.name), getattr(parts, field.name)), field.name


def test_any_numbers_within_range_get_finite_answers():
    """Warnings are errors in this suite, so a division by zero or an overflow fails here."""
    rng = np.random.default_rng(9)
    n = 400
    travel = rng.uniform(0, 60, (n, 4))
    answer = plan(
        feet_mm=foot_positions(
            track_front_mm=rng.uniform(200, 900, n),
            track_rear_mm=rng.uniform(200, 900, n),
            base_mm=rng.uniform(400, 2000, n),
        ),
        pitch_deg=rng.uniform(-30, 30, n),
        roll_deg=rng.uniform(-30, 30, n),
        twist_mm=rng.uniform(-100, 100, n),
        pitch_offset_deg=rng.uniform(-15, 15, n),
        want_pitch_deg=rng.uniform(-15, 15, n),
        pitch_tol_deg=10 ** rng.uniform(-2, 0, n),
        roll_tol_deg=10 ** rng.uniform(-2, 0, n),
        twist_tol_mm=10 ** rng.uniform(-2, 0, n),
        lead_mm=rng.uniform(1, 3, n),
        exposure_mm=travel * rng.uniform(0, 1, (n, 4)),
        exposure_known=rng.random((n, 4)) < 0.9,
        travel_mm=travel,
        front_reachable=rng.random(n) < 0.8,
        rear_reachable=rng.random(n) < 0.8,
        on_dollies=rng.random(n) < 0.2,
    )
    for field in fields(LegPlan):
        assert np.isfinite(getattr(answer, field.name)).all(), field.name
