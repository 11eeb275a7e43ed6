"""When no plan fits: what stops it, and whether the remedy would really help."""

from typing import Any

import numpy as np
import pytest

from leveling.frame import foot_positions, heights_to_modes
from leveling.turns import LegPlan, Limit, Outcome, PlanRequest, Remedy, plan_legs

STEP_MM = 1.5875 / 4
USUAL = {
    "feet_mm": foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300),
    "pitch_deg": 6.5,
    "roll_deg": 0.0,
    "twist_mm": 0.0,
    "want_pitch_deg": 6.5,
    "pitch_tol_deg": 0.2,
    "roll_tol_deg": 0.15,
    "twist_tol_mm": 0.125,
    "lead_mm": 1.5875,
    "exposure_mm": [10.0] * 4,
    "exposure_known": [True] * 4,
}


def plan(**changes: Any) -> LegPlan:
    return plan_legs(PlanRequest(**(USUAL | changes)))


def test_a_machine_against_the_wall_is_told_to_come_out():
    """Roll and twist are both off, which one pair alone cannot cure."""
    answer = plan(roll_deg=0.5, twist_mm=0.8, rear_reachable=False)
    assert answer.outcome == Outcome.NOTHING_FITS
    assert (answer.limit, answer.remedy) == (Limit.REAR_NOT_REACHABLE, Remedy.PULL_OUT)
    assert not answer.steps[2:].any()
    assert plan(roll_deg=0.5, twist_mm=0.8).outcome == Outcome.PLAN


@pytest.mark.parametrize(
    ("front", "rear", "limit"),
    [
        (False, True, Limit.FRONT_NOT_REACHABLE),
        (True, False, Limit.REAR_NOT_REACHABLE),
        (False, False, Limit.NEITHER_END_REACHABLE),
    ],
)
def test_the_end_that_cannot_be_reached_is_named(front, rear, limit):
    assert plan(roll_deg=0.5, twist_mm=0.8, front_reachable=front, rear_reachable=rear).limit == limit


def test_a_plan_and_a_machine_in_spec_have_no_limit():
    answer = plan(pitch_deg=[6.5, 6.0])
    assert answer.outcome.tolist() == [Outcome.ALREADY_IN_SPEC, Outcome.PLAN]
    assert not answer.limit.any()
    assert not answer.remedy.any()
    assert not answer.pad_mm.any()


def test_both_rear_legs_at_the_top_get_pads_of_what_lacks():
    """Front 25 whole steps of room (10 mm = 25.2 steps) and rear 2: what the pitch lacks, to within one step."""
    answer = plan(pitch_deg=5.7, exposure_mm=[10.0, 10, 40, 40])
    wanted_mm = (np.tan(np.radians(6.5 - 0.2 / 3)) - np.tan(np.radians(5.7))) * 1300
    lacks_mm = wanted_mm - 27 * STEP_MM
    assert answer.limit in (Limit.RL_AT_TOP, Limit.RR_AT_TOP)
    assert answer.pad_mm[:2].tolist() == [0, 0]
    assert lacks_mm <= answer.pad_mm[2:].mean() < lacks_mm + STEP_MM / 2
    assert abs(answer.pad_mm[2] - answer.pad_mm[3]) <= STEP_MM + 1e-12
    assert answer.remedy == Remedy.PAD
    assert answer.steps.tolist() == [-25, -25, 2, 2]  # the nearest is everything the levelers have


@pytest.mark.parametrize(
    ("pitch_deg", "remedy"), [(5.7, Remedy.PAD), (5.0, Remedy.LONGER_LEVELERS), (3.0, Remedy.ANOTHER_BAY)]
)
def test_the_remedy_grows_with_what_lacks(pitch_deg, remedy):
    answer = plan(pitch_deg=pitch_deg, exposure_mm=[10.0, 10, 40, 40])
    assert answer.remedy == remedy


def test_one_leg_at_its_top_is_named():
    """RL stands 20 steps too low and has 2 left; the others are fully in, so nothing can follow it down."""
    low = heights_to_modes([0, 0, -20 * STEP_MM, 0], USUAL["feet_mm"])
    gy = np.tan(np.radians(6.5)) + low.gy
    answer = plan(
        pitch_deg=np.degrees(np.arctan(gy)), roll_deg=low.roll_deg, twist_mm=low.twist_mm, exposure_mm=[0.0, 0, 40, 0]
    )
    assert answer.limit == Limit.RL_AT_TOP
    assert (answer.pad_mm > 0).tolist() == [False, False, True, False]


def test_one_leg_at_its_bottom_is_named_where_the_other_three_would_need_pads():
    high = heights_to_modes([20 * STEP_MM, 0, 0, 0], USUAL["feet_mm"])
    gy = np.tan(np.radians(6.5)) + high.gy
    answer = plan(
        pitch_deg=np.degrees(np.arctan(gy)),
        roll_deg=high.roll_deg,
        twist_mm=high.twist_mm,
        exposure_mm=[0.0, 41, 41, 41],
    )
    assert answer.limit == Limit.FL_AT_BOTTOM
    assert (answer.pad_mm > 0).tolist() == [False, True, True, True]


def test_a_step_coarser_than_the_tolerances_is_said_and_a_finer_one_helps():
    coarse = {"pitch_deg": 6.53, "roll_deg": 0.03, "twist_mm": 0.05}
    tight = {"pitch_tol_deg": 0.015, "roll_tol_deg": 0.02, "twist_tol_mm": 0.04}
    answer = plan(**coarse, **tight, step_turns=1 / 2)
    assert (answer.outcome, answer.limit) == (Outcome.NOTHING_FITS, Limit.STEP_TOO_COARSE)
    assert answer.remedy == Remedy.FINER_STEP
    assert not answer.pad_mm.any()
    assert float(answer.worst_share) <= 1 + 1e-9  # one unit is always within reach
    assert plan(**coarse, **tight, step_turns=1 / 8).outcome == Outcome.PLAN


def test_an_end_out_of_reach_is_not_blamed_for_a_step_too_coarse():
    """Half a unit of pitch off and a fifth of a unit allowed: no whole steps do, whichever end is turned."""
    unit_deg = np.degrees(STEP_MM / 2600) * np.cos(np.radians(6.5)) ** 2
    answer = plan(pitch_deg=6.5 + unit_deg / 2, pitch_tol_deg=unit_deg / 5, rear_reachable=False)
    assert answer.limit == Limit.STEP_TOO_COARSE


def test_the_nearest_may_be_in_tolerance_though_not_in_aim():
    answer = plan(pitch_deg=6.0, exposure_mm=[8.0, 8, 41, 41])
    assert answer.outcome == Outcome.NOTHING_FITS
    assert bool(answer.in_tolerance)


def machines_out_of_travel() -> dict[str, Any]:
    rng = np.random.default_rng(11)
    return {
        "pitch_deg": rng.normal(6.5, 0.8, 400),
        "roll_deg": rng.normal(0, 0.6, 400),
        "twist_mm": rng.normal(0, 0.8, 400),
        "exposure_mm": rng.uniform(0, 10, (400, 4)),
        "travel_mm": [10.0] * 4,
        "even_if_in_spec": True,
    }


def test_with_the_pads_under_the_feet_a_plan_fits():
    """A pad lifts its corner, so the playfield is read again with it and planned anew."""
    rows = machines_out_of_travel()
    answer = plan(**rows)
    stuck = answer.outcome == Outcome.NOTHING_FITS
    assert stuck.sum() > 50
    lifted = heights_to_modes(answer.pad_mm, USUAL["feet_mm"])
    padded = rows | {
        "pitch_deg": np.degrees(np.arctan(np.tan(np.radians(rows["pitch_deg"])) + lifted.gy)),
        "roll_deg": np.degrees(np.arctan(np.tan(np.radians(rows["roll_deg"])) + lifted.gx)),
        "twist_mm": rows["twist_mm"] + lifted.twist_mm,
    }
    assert (plan(**padded).outcome[stuck] != Outcome.NOTHING_FITS).all()


def test_no_thinner_pads_would_do():
    """Levelers longer by the thickest pad fit every row, levelers longer by one step less fit none."""
    rows = machines_out_of_travel()
    answer = plan(**rows)
    stuck = np.flatnonzero(answer.outcome == Outcome.NOTHING_FITS)
    thickest = answer.pad_mm[stuck].max(axis=1, keepdims=True)
    some = {name: value[stuck] for name, value in rows.items() if isinstance(value, np.ndarray)} | {
        "even_if_in_spec": True
    }
    assert (plan(**some, travel_mm=10 + thickest * np.ones(4)).outcome != Outcome.NOTHING_FITS).all()
    assert (plan(**some, travel_mm=10 + (thickest - STEP_MM) * np.ones(4)).outcome == Outcome.NOTHING_FITS).all()


def test_pads_that_nobody_can_put_under_wait_until_the_machine_is_out():
    answer = plan(pitch_deg=5.0, exposure_mm=[10.0, 10, 40, 40], rear_reachable=False)
    assert answer.limit == Limit.RL_AT_TOP
    assert answer.remedy == Remedy.PULL_OUT
    assert (answer.pad_mm[2:] > 0).all()
