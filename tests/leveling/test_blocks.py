"""Angle blocks with a bubble: between two blocks, level on one, and sets that contradict one another."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leveling.errors import BadInput
from leveling.instruments_blocks import Blocks, pitch_from_blocks
from leveling.instruments_bubbles import NOT_LOOKED, Bubble
from leveling.instruments_looks import BETWEEN, CONTRADICTED, NO_IDEA_U_DEG, NO_LOOKS, ONE_SIDED, Belief

OF_U = 0.003  # the integration's own error, as a share of the standard uncertainty


def bubble(sensitivity=0.1, own=0.0, alignment=0.0, repeat=0.0) -> Bubble:
    return Bubble(sensitivity_deg=sensitivity, own_error_deg=own, alignment_deg=alignment, repeat_deg=repeat)


def pitch(words, blocks, *, tolerance=0.0, of=None, **more):
    return pitch_from_blocks(
        high_end=words, blocks=Blocks(angle_deg=blocks, tolerance_deg=tolerance), bubble=of or bubble(), **more
    )


def test_the_pitch_lies_between_the_two_blocks_less_the_bubbles_dead_zone() -> None:
    """Rear still high on 6, front high on 7: 6.1 to 6.9, rectangular (GUM 4.3.7: half width over sqrt 3)."""
    found = pitch(["rear", "front"], [6.0, 7.0])
    assert found.angle_deg == pytest.approx(6.5, abs=1e-9)
    assert found.u_deg == pytest.approx(0.4 / math.sqrt(3), rel=OF_U)
    assert (found.low_deg, found.high_deg) == (pytest.approx(6.12, abs=0.002), pytest.approx(6.88, abs=0.002))
    assert found.outcome == BETWEEN


def test_level_on_a_block_is_its_angle_give_or_take_the_dead_zone() -> None:
    found = pitch(["level"], [6.5])
    assert found.angle_deg == pytest.approx(6.5, abs=1e-9)
    assert found.u_deg == pytest.approx(0.1 / math.sqrt(3), rel=OF_U)


def test_the_interval_repeats_so_repeating_does_not_average_it() -> None:
    budget = pitch(["rear", "front"], [6.0, 7.0]).budget
    assert budget.repeating_deg == budget.resolution_deg
    assert budget.u_fresh_deg == pytest.approx(0, abs=1e-9)


def test_level_on_two_blocks_is_where_both_are_level() -> None:
    """Within 0.1 of 6.40 and of 6.55: 6.45 to 6.50."""
    found = pitch(["level", "level"], [6.40, 6.55])
    assert found.angle_deg == pytest.approx(6.475, abs=1e-9)
    assert found.u_deg == pytest.approx(0.025 / math.sqrt(3), rel=OF_U)


def test_the_blocks_own_tolerance_widens_the_answer() -> None:
    """A sum of independent errors for one block: s^2/3 + a^2/3."""
    found = pitch(["level"], [6.5], tolerance=0.1)
    assert found.u_deg == pytest.approx(math.hypot(0.1, 0.1) / math.sqrt(3), rel=OF_U)
    assert found.budget.zero_deg == pytest.approx(0.1 / math.sqrt(3), rel=OF_U)


def test_a_block_tried_twice_keeps_its_error() -> None:
    once = pitch(["level"], [6.5], tolerance=0.2, of=bubble(sensitivity=0.02))
    twice = pitch(["level", "level"], [6.5, 6.5], tolerance=0.2, of=bubble(sensitivity=0.02))
    assert twice.u_deg == pytest.approx(once.u_deg, rel=0.01)


def test_turning_the_bubble_on_a_block_takes_out_its_own_error() -> None:
    wrong = bubble(own=0.3)
    once = pitch(["level"], [6.5], of=wrong)
    both = pitch(["level", "level"], [6.5, 6.5], of=wrong, turned=[False, True])
    assert both.u_deg < 0.5 * once.u_deg


@given(true=st.floats(4.2, 8.8), seen=st.floats(0.02, 0.2))
@settings(max_examples=50, deadline=None)
def test_the_truth_lies_inside_whatever_a_sharp_eye_answers(true, seen) -> None:
    blocks = np.arange(4.0, 9.1, 0.5)
    words = np.where(true - blocks > seen, "rear", np.where(blocks - true > seen, "front", "level"))
    found = pitch(words, blocks, of=bubble(sensitivity=seen))
    half = (found.high_deg - found.low_deg) / 1.9  # the whole interval, of which 95 % is stated
    assert abs(true - found.angle_deg) <= half + 0.005
    assert found.outcome == BETWEEN


def test_more_blocks_never_widen_a_sharp_answer() -> None:
    wide = pitch(["rear", "front"], [6.0, 7.0])
    narrow = pitch(["rear", "front", "rear"], [6.0, 7.0, 6.4])
    assert narrow.u_deg < wide.u_deg
    assert narrow.angle_deg == pytest.approx((6.5 + 6.9) / 2, abs=1e-9)


def test_contradictory_answers_get_a_word_and_do_not_stop_the_others() -> None:
    """Above 7 and below 6 at once; on one block both ends high; the third row is sound."""
    found = pitch([["rear", "front"], ["rear", "front"], ["rear", "front"]], [[7.0, 6.0], [6.5, 6.5], [6.0, 7.0]])
    assert found.outcome.tolist() == [CONTRADICTED, CONTRADICTED, BETWEEN]
    assert found.u_deg[:2].tolist() == pytest.approx([NO_IDEA_U_DEG] * 2, rel=1e-12)
    assert found.u_deg[2] < 0.24


def test_a_contradiction_within_the_tolerances_is_none() -> None:
    found = pitch(["rear", "front"], [6.5, 6.4], tolerance=0.2, of=bubble(sensitivity=0.05))
    assert found.outcome == BETWEEN
    assert found.angle_deg == pytest.approx(6.45, abs=1e-6)


def test_steeper_than_all_blocks_is_a_limit_and_no_number() -> None:
    found = pitch([["rear", "rear"], ["front", NOT_LOOKED], [NOT_LOOKED] * 2], [6.0, 7.0])
    assert found.outcome.tolist() == [ONE_SIDED, ONE_SIDED, NO_LOOKS]
    assert found.low_deg.tolist() == pytest.approx([7.1, -90, -90], abs=1e-12)
    assert found.high_deg.tolist() == pytest.approx([90, 5.9, 90], abs=1e-12)
    assert found.u_deg.tolist() == pytest.approx([NO_IDEA_U_DEG] * 3, rel=1e-12)


def test_a_belief_makes_a_limit_a_number() -> None:
    found = pitch(["rear"], [7.0], belief=Belief(mean_deg=6.5, u_deg=0.5))
    assert found.outcome == ONE_SIDED
    assert 7.1 < found.angle_deg < 7.6


@pytest.mark.parametrize(
    ("make", "name"),
    [
        (lambda: pitch(["right"], [6.5]), "high_end"),  # across
        (lambda: pitch(["rear", "front", "rear"], [6.0, 7.0]), "angle_deg"),  # three answers, two blocks
        (lambda: pitch(["rear"], 6.5), "angle_deg"),  # no axis of blocks
        (lambda: pitch(["rear"], [-1]), "angle_deg"),  # laid the wrong way round is another block
        (lambda: pitch(["rear"], [math.nan]), "angle_deg"),
        (lambda: pitch(["rear"], [6.5], tolerance=-0.1), "tolerance_deg"),
        (lambda: pitch(["rear"], [6.5], turned=["yes"]), "turned"),
    ],
)
def test_it_refuses_what_no_block_says(make, name) -> None:
    with pytest.raises(BadInput) as refusal:
        make()
    assert refusal.value.name == name
