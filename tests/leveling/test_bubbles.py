"""A plain bubble: limits, the belief cut off at them, end for end, and rows that cannot be."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import truncnorm

from leveling.errors import BadInput
from leveling.instruments import Budget
from leveling.instruments_bubbles import NOT_LOOKED, Bubble, bubble_budget, bubble_limits, tilt_from_bubble
from leveling.instruments_looks import (
    AGAINST_BELIEF,
    BETWEEN,
    CONTRADICTED,
    LOOK_OUTCOMES,
    NO_IDEA_U_DEG,
    NO_LOOKS,
    ONE_SIDED,
    Belief,
    weigh_looks,
)

OF_U = 0.003  # the integration's own error, as a share of the standard uncertainty
HALF_A_DEGREE = Belief(mean_deg=np.array(0.0), u_deg=np.array(0.5))


def bubble(sensitivity=0.2, own=0.0, alignment=0.0, repeat=0.0) -> Bubble:
    return Bubble(sensitivity_deg=sensitivity, own_error_deg=own, alignment_deg=alignment, repeat_deg=repeat)


def across(words, *, of=None, belief=HALF_A_DEGREE, turned=False, pitch_deg=6.5):
    return tilt_from_bubble(
        high_end=words, bubble=of or bubble(), along=False, pitch_deg=pitch_deg, belief=belief, turned=turned
    )


# Limits and the budget of "level"


def test_level_is_an_interval_and_a_side_is_a_limit() -> None:
    limits = bubble_limits(["level", "right", "rear", "left", "front", NOT_LOOKED], sensitivity_deg=0.2)
    assert limits.low_deg.tolist() == [-0.2, 0.2, 0.2, -math.inf, -math.inf, -math.inf]
    assert limits.high_deg.tolist() == [0.2, math.inf, math.inf, -0.2, -0.2, math.inf]


def test_level_is_zero_give_or_take_the_sensitivity_rectangular() -> None:
    """JCGM 100:2008 (GUM) 4.3.7: a/sqrt 3."""
    budget = bubble_budget(bubble=bubble(sensitivity=0.3), along=True, pitch_deg=0)
    assert budget.u_deg == pytest.approx(0.3 / math.sqrt(3), rel=1e-12)


def test_looking_at_the_same_bubble_again_does_not_average_the_dead_zone() -> None:
    budget = bubble_budget(bubble=bubble(repeat=0.05), along=False, pitch_deg=6.5)
    assert budget.repeating_deg == budget.resolution_deg
    assert budget.u_fresh_deg == pytest.approx(0.05, rel=1e-12)


def test_misalignment_costs_across_and_not_along() -> None:
    """Derived, no published figure: 1 degree, rectangular, at 6.5 degrees of pitch is 0.065 degree across."""
    crooked = bubble(alignment=1.0)
    budget = bubble_budget(bubble=crooked, along=[False, True], pitch_deg=6.5)
    assert budget.alignment_deg.tolist() == pytest.approx([0.0654, 0.0004], abs=1e-4)


# With what was believed before


@pytest.mark.parametrize(("mean", "width"), [(0.0, 0.5), (0.3, 0.5), (0.1, 0.05), (0.0, 5.0)])
@pytest.mark.parametrize("word", ["level", "right", "left"])
def test_a_perfect_bubble_cuts_the_belief_off_at_its_limits(mean, width, word) -> None:
    """Against scipy.stats.truncnorm, another implementation of the truncated normal distribution."""
    low, high = {"level": (-0.2, 0.2), "right": (0.2, math.inf), "left": (-math.inf, -0.2)}[word]
    found = across([word], belief=Belief(mean_deg=mean, u_deg=width))
    if found.outcome == AGAINST_BELIEF:
        assert (low - mean) / width > 4.5 or (mean - high) / width > 4.5
        return
    cut = truncnorm((low - mean) / width, (high - mean) / width, loc=mean, scale=width)
    assert found.u_deg == pytest.approx(cut.std(), rel=OF_U)
    assert found.angle_deg == pytest.approx(cut.mean(), abs=OF_U * cut.std())
    assert found.low_deg == pytest.approx(cut.ppf(0.025), abs=OF_U * cut.std())
    assert found.high_deg == pytest.approx(cut.ppf(0.975), abs=OF_U * cut.std())


def test_errors_add_to_the_interval_as_variances_when_nothing_is_believed() -> None:
    """A sum of independent errors: s^2/3 + o^2/3 + f^2."""
    beside = Budget(accuracy_deg=0.1 / math.sqrt(3), repeat_deg=0.05)
    found = weigh_looks(low_deg=[-0.2], high_deg=[0.2], budget=beside)
    assert found.u_deg == pytest.approx(math.sqrt(0.2**2 / 3 + 0.1**2 / 3 + 0.05**2), rel=OF_U)
    assert found.budget.accuracy_deg == pytest.approx(0.1 / math.sqrt(3), rel=OF_U)
    assert found.budget.repeat_deg == pytest.approx(0.05, rel=OF_U)
    assert found.budget.repeating_deg == pytest.approx(0.2 / math.sqrt(3), rel=0.01)


def test_a_bubble_that_sees_nothing_leaves_the_belief() -> None:
    found = across(["level"], of=bubble(sensitivity=10))
    assert found.u_deg == pytest.approx(0.5, rel=OF_U)


def test_no_look_leaves_the_belief_and_says_so() -> None:
    found = across([NOT_LOOKED, NOT_LOOKED])
    assert (found.angle_deg, found.outcome) == (pytest.approx(0, abs=1e-9), NO_LOOKS)
    assert found.u_deg == pytest.approx(0.5, rel=OF_U)


words_across = st.lists(st.sampled_from(["level", "right", "left", NOT_LOOKED]), min_size=1, max_size=4)
MIRROR = {"right": "left", "left": "right"}


@given(words=words_across, data=st.data())
@settings(max_examples=50, deadline=None)
def test_in_the_mirror_right_is_left(words, data) -> None:
    turned = data.draw(st.lists(st.booleans(), min_size=len(words), max_size=len(words)))
    real = bubble(own=0.1, alignment=1, repeat=0.03)
    here = across(words, of=real, turned=turned)
    there = across([MIRROR.get(word, word) for word in words], of=real, turned=turned)
    assert here.angle_deg == pytest.approx(-there.angle_deg, abs=1e-9)
    assert here.low_deg == pytest.approx(-there.high_deg, abs=1e-9)
    assert here.u_deg == pytest.approx(there.u_deg, abs=1e-9)
    assert here.outcome == there.outcome


def test_the_order_of_looks_does_not_matter() -> None:
    real = bubble(own=0.1, repeat=0.05)
    one = across(["level", "right", "level"], of=real, turned=[True, False, False])
    other = across(["right", "level", "level"], of=real, turned=[False, False, True])
    assert one.angle_deg == pytest.approx(other.angle_deg, abs=1e-12)


def test_turning_end_for_end_tells_the_bubbles_own_error_from_the_tilt() -> None:
    """Right high the usual way, left high turned: the bubble is wrong, the board is level."""
    wrong = bubble(sensitivity=0.1, own=0.3)
    same_way = across(["right", "right"], of=wrong)
    turned = across(["right", "left"], of=wrong, turned=[False, True])
    assert turned.angle_deg == pytest.approx(0, abs=1e-9)
    assert turned.outcome == BETWEEN
    assert same_way.angle_deg > 0.3
    assert turned.u_deg < 0.5 * same_way.u_deg


def test_a_tilt_on_the_edge_may_be_seen_either_way() -> None:
    found = across(["level", "right", "level", "right"], of=bubble(repeat=0.05))
    assert found.outcome == BETWEEN
    assert found.angle_deg == pytest.approx(0.2, abs=0.02)


def test_a_row_that_cannot_be_gets_a_word_and_does_not_stop_the_others() -> None:
    """A sharp bubble cannot see both ends high; 3 degrees of roll is not believed of a floor known to 0.5."""
    found = across(
        [["level"] * 2, ["right", "left"], ["right", NOT_LOOKED]], belief=Belief(mean_deg=[0, 0, -3], u_deg=0.5)
    )
    assert found.outcome.tolist() == [BETWEEN, CONTRADICTED, AGAINST_BELIEF]
    assert found.u_deg[1:].tolist() == pytest.approx([NO_IDEA_U_DEG] * 2, rel=1e-12)
    assert found.u_deg[0] < 0.12
    assert len(LOOK_OUTCOMES) == 5


def test_the_belief_of_one_side_alone_is_told() -> None:
    assert across(["right", "right"]).outcome == ONE_SIDED


def test_one_row_and_many_give_the_same() -> None:
    rows = [["level", "right"], ["left", "left"], [NOT_LOOKED, "right"]] * 700  # more than are worked out at once
    real = bubble(own=0.1, alignment=1, repeat=0.03)
    many = across(rows, of=real, turned=[False, True])
    for at in (0, 1, 2, 2099):
        one = across(rows[at], of=real, turned=[False, True])
        assert one.angle_deg == pytest.approx(many.angle_deg[at], abs=1e-12)
        assert one.budget.u_deg == pytest.approx(many.u_deg[at], abs=1e-12)


def test_no_rows_give_no_answers() -> None:
    assert across(np.empty((0, 2), dtype="U5")).angle_deg.shape == (0,)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"high_end": ["up"]}, "high_end"),  # no such word
        ({"high_end": ["rear"]}, "high_end"),  # an end of the other direction
        ({"high_end": "level"}, "high_end"),  # no axis of looks
        ({"pitch_deg": math.nan}, "pitch_deg"),
        ({"along": "no"}, "along"),  # a word is no yes or no
        ({"turned": [0]}, "turned"),  # a number is no yes or no
        ({"turned": [True, False, True]}, "low_deg"),  # more turns than looks
    ],
)
def test_it_refuses_what_no_bubble_says(change, name) -> None:
    given_ = {"high_end": ["level", "right"], "bubble": bubble(), "along": False, "pitch_deg": 6.5}
    with pytest.raises(BadInput) as refusal:
        tilt_from_bubble(**(given_ | {"belief": HALF_A_DEGREE} | change))
    assert refusal.value.name == name


@pytest.mark.parametrize(
    ("make", "name"),
    [
        (lambda: bubble(sensitivity=0), "sensitivity_deg"),  # nobody sees everything
        (lambda: bubble(own=-0.1), "own_error_deg"),
        (lambda: bubble(alignment=46), "alignment_deg"),
        (lambda: bubble(repeat=math.inf), "repeat_deg"),
        (lambda: Belief(mean_deg=0, u_deg=0), "u_deg"),  # one who knows need not look
        (lambda: Belief(mean_deg=math.nan, u_deg=1), "mean_deg"),
        (lambda: weigh_looks(low_deg=[0.2], high_deg=[0.1], budget=Budget()), "low_deg"),  # the wrong way round
        (lambda: weigh_looks(low_deg=[math.nan], high_deg=[0.1], budget=Budget()), "low_deg"),
        (lambda: weigh_looks(low_deg=0.0, high_deg=0.1, budget=Budget()), "low_deg"),  # no axis of looks
    ],
)
def test_it_refuses_a_bubble_or_a_belief_that_cannot_be(make, name) -> None:
    with pytest.raises(BadInput) as refusal:
        make()
    assert refusal.value.name == name
