"""The quick check with the glass on: a verdict in 20 seconds, how likely it is false, and when a survey is due."""

from dataclasses import replace

import numpy as np
import pytest

from leveling.errors import BadInput
from leveling.instruments import Budget
from leveling.verdicts import BORDERLINE, IN_SPEC, NOT_MEASURED, NOT_PROVEN, OUT_OF_SPEC, PROVEN_OUT
from leveling.verdicts_machine import Spec
from leveling.verdicts_quick import (
    DOUBTFUL,
    DUE_WORDS,
    GLASS_WAS_OUT,
    LONG_AGO,
    NEVER_PAIRED,
    NOT_DUE,
    OFFSET_UNSURE,
    OUT,
    PAIRS_DISAGREE,
    QuickLimits,
    false_rates,
    quick_check,
)
from leveling.verdicts_quick_slopes import Belief, QuickSlope, quick_slope
from leveling.verdicts_rail import LearnedOffset
from leveling.verdicts_shapes import normal_spread
from tests.benchmarks.bench_quick_check import CASES, line_of

SPEC = Spec(pitch_deg=6.5, pitch_tolerance_deg=0.2, roll_tolerance_deg=0.15, gap_tolerance_mm=0.5)
CASES_BY_NAME = {case.name: case for case in CASES}


def slope(angle, u=0.03, **changes):
    usual = {
        "u_offset_deg": np.array(0.02),
        "pairs": np.array(2),
        "agree": np.array(True),
        "removals": np.array(1.0),
        "days": np.array(30.0),
    }
    return QuickSlope(angle_deg=np.asarray(angle), spread=normal_spread(u), **(usual | changes))


def check(pitch=6.5, roll=0.0, u=0.03, limits=None, **changes):
    more = {} if limits is None else {"limits": limits}
    return quick_check(pitch=slope(pitch, u, **changes), roll=slope(roll, u, **changes), spec=SPEC, **more)


def learned(**changes):
    usual = {
        "offset_deg": -1.2,
        "u_deg": 0.03,
        "survey_deg": 0.06,
        "survey_accuracy_deg": 0.06,
        "transfer_deg": 0.05,
        "transfer_accuracy_deg": 0.0,
        "pairs": 2,
        "agree": True,
        "removals": 1.0,
        "days": 30.0,
    }
    return LearnedOffset(**{name: np.asarray(value) for name, value in (usual | changes).items()})


# The slope from rail or glass


def test_the_offset_is_taken_off():
    got = quick_slope(rail_deg=5.3, budget=Budget(repeat_deg=0.02), learned=learned(), same_level=True)
    assert got.angle_deg == pytest.approx(6.5, abs=1e-12)


def test_the_same_level_brings_no_new_error_and_another_brings_its_own():
    """Squares worked by hand: scatter 0.02, offset 0.03; then the surveys' 0.06, or own 0.1 and transfer 0.05."""
    budget = Budget(repeat_deg=0.02, accuracy_deg=0.08, zero_deg=0.06)
    got = quick_slope(rail_deg=5.3, budget=budget, learned=learned(), same_level=[True, False])
    scatter = 0.02**2 + 0.03**2
    expected = np.sqrt([scatter + 0.06**2, scatter + 0.08**2 + 0.06**2 + 0.05**2])
    np.testing.assert_allclose(got.spread.u, expected, atol=1e-12)
    np.testing.assert_allclose(got.spread.even, [0.06, 0.08], atol=1e-12)


def test_it_is_never_surer_than_the_surveys_it_was_learned_from():
    got = quick_slope(rail_deg=5.3, budget=Budget(), learned=learned(u_deg=0.0), same_level=True)
    assert got.spread.u >= 0.06


def test_a_belief_pulls_by_its_weight():
    """Reading 6.9 +- 0.1 against 6.5 +- 0.1: 6.7 +- 0.1/sqrt 2, worked by hand."""
    exact = learned(u_deg=0.0, survey_deg=0.0, survey_accuracy_deg=0.0)
    belief = Belief(angle_deg=np.array(6.5), u_deg=np.array([0.1, 45.0]))
    got = quick_slope(rail_deg=5.7, budget=Budget(repeat_deg=0.1), learned=exact, same_level=True, belief=belief)
    assert got.angle_deg.tolist() == pytest.approx([6.7, 6.9], abs=1e-5)
    assert got.spread.u.tolist() == pytest.approx([0.1 / np.sqrt(2), 0.1], abs=1e-5)


# The verdict


def test_pitch_and_roll_make_the_verdict_and_twist_does_not():
    loose = replace(SPEC, gap_tolerance_mm=np.array(50.0))
    tight = replace(SPEC, gap_tolerance_mm=np.array(1e-6))
    verdicts = [quick_check(pitch=slope(6.55), roll=slope(0.02), spec=spec) for spec in (loose, tight)]
    assert verdicts[0].machine.chance == verdicts[1].machine.chance
    assert verdicts[0].machine.daily == IN_SPEC
    assert verdicts[0].machine.chance == pytest.approx(verdicts[0].pitch.chance * verdicts[0].roll.chance, abs=1e-12)


def test_nothing_is_ever_proven_in_from_the_glass():
    verdict = check(u=0.001)
    assert verdict.machine.daily == IN_SPEC
    assert verdict.machine.certificate == NOT_PROVEN
    assert not verdict.machine.provable
    assert check(pitch=7.5, u=0.001).machine.certificate == PROVEN_OUT


def test_the_chance_of_a_false_verdict_is_told():
    verdict = check(pitch=[6.5, 7.0, 6.72], u=0.05)
    assert verdict.machine.daily.tolist() == [IN_SPEC, OUT_OF_SPEC, OUT_OF_SPEC]
    chance = verdict.machine.chance
    np.testing.assert_allclose(verdict.false_chance, [1 - chance[0], chance[1], chance[2]], atol=1e-12)
    border = check(pitch=6.695, u=0.05)
    assert (border.machine.daily, border.false_chance) == (BORDERLINE, 0.0)


def test_a_machine_that_was_never_paired_is_not_measured():
    verdict = check(pairs=np.array(0))
    assert (verdict.machine.daily, verdict.due) == (NOT_MEASURED, NEVER_PAIRED)


def test_rates_are_the_means_of_the_chances():
    verdict = check(pitch=[6.5, 6.6, 6.9, 6.7], u=0.06)
    rates = false_rates(verdict)
    said = verdict.machine.daily == IN_SPEC
    assert (rates.said_in, rates.said_out) == (said.sum(), 1)
    assert rates.false_in == pytest.approx((1 - verdict.machine.chance[said]).mean(), abs=1e-12)
    assert false_rates(check()).said_out == 0
    assert false_rates(check()).false_out == 0.0


# When a survey is due


@pytest.mark.parametrize(
    ("changes", "due"),
    [
        ({}, NOT_DUE),
        ({"agree": np.array(False)}, PAIRS_DISAGREE),
        ({"removals": np.array(11.0)}, GLASS_WAS_OUT),
        ({"removals": np.array(10.0)}, NOT_DUE),  # the limit itself still counts
        ({"days": np.array(366.0)}, LONG_AGO),
        ({"u_offset_deg": np.array(0.1)}, OFFSET_UNSURE),  # of a roll tolerance of 0.15: two thirds
        ({"pitch": 7.0}, OUT),
        ({"pitch": 6.695, "u": 0.05}, DOUBTFUL),
        ({"pitch": 6.66, "u": 0.07}, DOUBTFUL),  # in spec, but with a chance below 0.7
        ({"removals": np.array(99.0), "days": np.array(999.0), "pitch": 7.0}, GLASS_WAS_OUT),  # the first reason
    ],
)
def test_a_survey_is_due_for_a_reason(changes, due):
    verdict = check(**changes)
    assert DUE_WORDS[int(verdict.due)] == DUE_WORDS[due]


def test_the_limits_are_the_owners():
    assert check(removals=np.array(3.0), limits=QuickLimits(removals=2)).due == GLASS_WAS_OUT
    assert check(days=np.array(500.0), limits=QuickLimits(days=700)).due == NOT_DUE


# Rates over simulated checks: some lines of ``bench_quick_check``


@pytest.mark.parametrize("name", ["glass, even, same level", "rail, even, same level", "glass, kept, told, same level"])
def test_stated_rates_of_false_verdicts_are_met(name):
    """10,000 checks: within three binomial standard deviations."""
    line = line_of(CASES_BY_NAME[name], count=10_000, seed=3)
    assert abs(line["z_in"]) < 3
    assert abs(line["z_out"]) < 3
    assert line["said_in"] > 0.01
    assert 0.935 <= line["held_pitch"] <= 0.975
    assert 0.935 <= line["held_roll"] <= 0.975


def test_another_level_is_no_surer_and_its_rates_are_no_worse_than_stated():
    line = line_of(CASES_BY_NAME["glass, kept, told, another level"], count=4000, seed=3)
    same = line_of(CASES_BY_NAME["glass, kept, told, same level"], count=4000, seed=3)
    assert line["u_pitch_deg"] > same["u_pitch_deg"]
    assert line["false_in"] < line["stated_in"] + 0.05
    assert line["z_out"] < 3


def test_this_check_can_fail():
    """Told nothing of machines that are kept near spec, it calls them out too often: the stated rate is not met."""
    line = line_of(CASES_BY_NAME["glass, kept, same level"], count=4000, seed=3)
    assert line["z_out"] > 5


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: QuickLimits(false_chance=0.9), "false_chance"),
        (lambda: QuickLimits(offset_share=0.0), "offset_share"),
        (lambda: QuickLimits(days=np.nan), "days"),
        (lambda: Belief(angle_deg=np.array(6.5), u_deg=np.array(-0.1)), "u_deg"),
        (lambda: slope(np.nan), "angle_deg"),
        (lambda: quick_slope(rail_deg=50, budget=Budget(), learned=learned(), same_level=True), "rail_deg"),
        (lambda: quick_slope(rail_deg=5, budget=Budget(), learned=learned(), same_level=1), "same_level"),
    ],
)
def test_bad_input_is_refused_by_name(call, name):
    with pytest.raises(BadInput) as refusal:
        call()
    assert refusal.value.name == name
