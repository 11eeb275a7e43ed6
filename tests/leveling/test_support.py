"""Which foot is light and by how much, from turns, a feeler or a hand on the corner."""

import numpy as np
import pytest

from leveling.contact import ALL_BEAR
from leveling.errors import BadInput
from leveling.support import PUSH_OUTCOMES, Stance, gap_from_feeler, gap_from_turns, push_test, stance_of, turns_to_bear

FL, FR, RL, RR = range(4)
LEAD_MM = 1.5875  # ASME B1.1, 3/8-16 UNC: 16 threads per inch


def test_turns_to_bear_are_gap_over_lead_and_back():
    gap = gap_from_turns([0.0, 0.25, 1.0], lead_mm=LEAD_MM)
    np.testing.assert_allclose(gap.gap_mm, [0, 0.396875, 1.5875], atol=1e-12)  # mm
    np.testing.assert_allclose(turns_to_bear(gap.gap_mm, lead_mm=LEAD_MM), [0, 0.25, 1.0], atol=1e-14)
    np.testing.assert_allclose(gap.u_gap_mm, 0.15875, atol=1e-12)  # a tenth of a turn


def test_a_feeler_bounds_the_gap_from_both_sides():
    """Type B, rectangular: half-width / sqrt 3, JCGM 100:2008 4.3.7."""
    gap = gap_from_feeler([0.0, 0.4], [0.05, 0.6])
    np.testing.assert_allclose(gap.gap_mm, [0.025, 0.5], atol=1e-15)
    np.testing.assert_allclose(gap.u_gap_mm, [0.025 / np.sqrt(3), 0.1 / np.sqrt(3)], atol=1e-15)


@pytest.mark.parametrize(
    ("gives", "sign", "light", "words"),
    [
        ([1, 0, 0, 0], -1, FL, "one corner"),
        ([0, 1, 0, 0], 1, FR, "one corner"),
        ([0, 0, 1, 0], 1, RL, "one corner"),
        ([0, 0, 0, 1], -1, RR, "one corner"),
        ([1, 0, 0, 1], -1, FL, "diagonal"),  # the weight is toward the rear
        ([0, 1, 1, 0], 1, FR, "diagonal"),
        ([0, 0, 0, 0], 0, ALL_BEAR, "no corner"),
        ([1, 1, 0, 0], 0, ALL_BEAR, "neighbouring"),
        ([1, 1, 1, 1], 0, ALL_BEAR, "neighbouring"),
    ],
)
def test_the_push_test_tells_the_sign_and_the_foot(gives, sign, light, words):
    push = push_test(np.array(gives, dtype=bool))
    assert (push.twist_sign, push.light) == (sign, light)
    assert words in PUSH_OUTCOMES[int(push.outcome)]


def test_the_push_test_reads_a_batch_like_single_rows():
    rows = np.random.default_rng(1).integers(0, 2, (40, 4)).astype(bool)
    together = push_test(rows)
    alone = [push_test(row) for row in rows]
    assert together.light.tolist() == [int(push.light) for push in alone]
    assert together.outcome.tolist() == [int(push.outcome) for push in alone]
    assert push_test(np.zeros((0, 4), dtype=bool)).light.shape == (0,)


def test_a_stance_broadcasts_and_keeps_its_numbers():
    stance = Stance(light=[ALL_BEAR, FL, FR], gap_mm=[0, 0.4, 1.2], u_gap_mm=0.1)
    assert stance.light.tolist() == [-1, 0, 1]
    assert stance.u_gap_mm.tolist() == [0.1, 0.1, 0.1]


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: Stance(light=ALL_BEAR, gap_mm=0.3, u_gap_mm=0.1), "gap_mm"),  # all bear, yet a gap
        (lambda: Stance(light=FL, gap_mm=-0.3, u_gap_mm=0.1), "gap_mm"),  # air is not negative
        (lambda: Stance(light=FL, gap_mm=0.3, u_gap_mm=np.nan), "u_gap_mm"),
        (lambda: Stance(light=7, gap_mm=0.3, u_gap_mm=0.1), "light"),
        (lambda: gap_from_turns(-1, lead_mm=LEAD_MM), "turns"),
        (lambda: gap_from_turns(1, lead_mm=0), "lead_mm"),
        (lambda: turns_to_bear(1, lead_mm=np.inf), "lead_mm"),
        (lambda: gap_from_feeler(0.5, 0.4), "stops_mm"),  # the blades were swapped
        (lambda: push_test([True, False, False]), "gives"),  # three corners
        (lambda: push_test([1, 0, 0, 0]), "gives"),  # a number is no yes
    ],
)
def test_it_refuses_bad_input_by_name(call, name):
    with pytest.raises(BadInput) as refused:
        call()
    assert refused.value.name == name


def test_a_stance_from_a_feeler_knows_what_it_could_not_notice():
    """A uniform gap from 0 to s of either sign: root mean square s / sqrt 3."""
    stance = stance_of([FR, ALL_BEAR], gap_from_feeler([0.4, 0.0], [0.45, 0.05]))
    np.testing.assert_allclose(stance.gap_mm, [0.425, 0.0], atol=1e-15)
    np.testing.assert_allclose(stance.u_gap_mm, [0.025 / np.sqrt(3), 0.05 / np.sqrt(3)], atol=1e-15)
