"""Which foot is light, and how far to turn it, from a scale under each foot."""

import numpy as np
import pytest

from leveling.contact import ALL_BEAR, light_foot
from leveling.errors import BadInput
from leveling.frame import foot_positions, heights_to_modes
from leveling.support import turns_to_bear
from leveling.support_give import Give, Scale, usual_give
from leveling.support_loads import elastic_loads
from leveling.support_weights import EVEN, FLOATS, LIGHT, NEGATIVE, TWO_EMPTY, WRONG_SUM, weigh_feet

FL, FR, RL, RR = range(4)
FEET = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
EXACT = Scale(resolution=0.0, accuracy_share=0.0, repeat=1e-9)
K_PER_MM = 75.0
GIVE = Give(mm_per_unit=np.array(1 / K_PER_MM), u_mm_per_unit=np.array(0.0))


def stood(heights_mm, *, load_mm=(0, 780), feet=FEET, k=K_PER_MM):
    return elastic_loads(
        weight=120, load_mm=load_mm, feet_mm=feet, stiffness_per_mm=np.full(4, k), heights_mm=heights_mm
    )


def test_one_short_foot_as_worked_by_hand():
    """Derived, no published figure: W 4, k 1, FL short by 0.4: FL 0.9, FR 1.1, RL 1.1, RR 0.9; 4 k twist = -0.4."""
    found = weigh_feet(
        [0.9, 1.1, 1.1, 0.9], scale=EXACT, feet_mm=FEET, give=Give(np.array(1.0), np.array(0.0)), known_weight=4
    )
    assert found.outcome == LIGHT
    np.testing.assert_allclose(found.imbalance, -0.4, atol=1e-12)  # unit of weight
    np.testing.assert_allclose(found.twist_mm, -0.1, atol=1e-12)
    np.testing.assert_allclose(found.short_mm, 0.4, atol=1e-12)


@pytest.mark.parametrize(
    ("leg", "height_mm", "light"), [(FL, -0.4, FL), (FR, -0.4, FR), (RR, -0.4, FL), (RL, -0.4, FR)]
)
def test_the_light_foot_is_the_front_one_of_the_short_diagonal(leg, height_mm, light):
    """The weight is toward the rear, so of the short pair the front foot comes off first."""
    found = weigh_feet(stood(np.eye(4)[leg] * height_mm).loads, scale=EXACT, feet_mm=FEET, give=GIVE)
    assert (found.outcome, found.light) == (LIGHT, light)
    np.testing.assert_allclose(found.short_mm, 0.4, atol=1e-9)


def test_turning_the_light_foot_out_by_what_it_says_evens_the_diagonals():
    """Round trip on 500 machines whose four feet all bear, of unequal track, loads anywhere near the middle."""
    rng = np.random.default_rng(61)
    feet = foot_positions(
        track_front_mm=rng.uniform(480, 620, 500), track_rear_mm=rng.uniform(500, 700, 500), base_mm=1300
    )
    load = np.stack([rng.uniform(-40, 40, 500), rng.uniform(650, 850, 500)], axis=-1)
    heights = rng.normal(0, 0.15, (500, 4))
    truth = stood(heights, load_mm=load, feet=feet)
    found = weigh_feet(truth.loads, scale=EXACT, feet_mm=feet, give=GIVE, known_weight=120)
    bears = truth.light == ALL_BEAR
    assert bears.sum() > 300
    np.testing.assert_allclose(found.twist_mm[bears], heights_to_modes(heights, feet).twist_mm[bears], atol=1e-9)
    out = np.where(np.arange(4) == found.light[:, None], found.short_mm[:, None], 0.0)
    after = weigh_feet(
        stood(heights + out, load_mm=load, feet=feet).loads, scale=EXACT, feet_mm=feet, give=GIVE, known_weight=120
    )
    np.testing.assert_allclose(after.imbalance[bears], 0, atol=1e-7)  # kg
    np.testing.assert_array_equal(found.light[bears], light_foot(found.twist_mm, feet_mm=feet, load_mm=load)[bears])


def test_a_foot_that_carries_nothing_needs_the_gap_beside_the_weights():
    """What the weights show is what comes on top of the air: air + that = how short the foot is."""
    truth = stood([-2.0, 0, 0, 0])
    found = weigh_feet(truth.loads, scale=EXACT, feet_mm=FEET, give=GIVE)
    assert (found.outcome, found.light, truth.light) == (FLOATS, FL, FL)
    assert 0 < found.short_mm < 2.0
    np.testing.assert_allclose(found.short_mm + truth.gap_mm, 2.0, atol=1e-9)


def test_turns_to_even_the_diagonals_are_the_shortness_over_the_lead():
    found = weigh_feet([19, 29, 41, 31], scale=Scale(), feet_mm=FEET, give=GIVE)
    assert float(turns_to_bear(found.short_mm, lead_mm=1.5875)) == pytest.approx(
        20 / 75 / 1.5875
    )  # D/k, ASME B1.1 lead


@pytest.mark.parametrize(
    ("readings", "outcome", "light"),
    [
        ([24, 24, 36, 36], EVEN, ALL_BEAR),
        ([24.2, 24.0, 36.0, 36.1], EVEN, ALL_BEAR),  # within what the scales can tell
        ([19, 29, 41, 31], LIGHT, FL),
        ([0.1, 47.9, 60, 12], FLOATS, FL),
        ([0.0, 60, 60, 0.2], FLOATS, FL),  # the weight on the other diagonal: the machine tips either way
        ([24, 24, 36, 46], WRONG_SUM, ALL_BEAR),
        ([-2, 49, 61, 12], NEGATIVE, ALL_BEAR),
        ([0, 0, 60, 60], TWO_EMPTY, ALL_BEAR),
        ([0, 60, 0, 60], TWO_EMPTY, ALL_BEAR),
    ],
)
def test_it_says_what_the_weights_say(readings, outcome, light):
    found = weigh_feet(readings, scale=Scale(), feet_mm=FEET, give=usual_give(120), known_weight=120, u_weight=1)
    assert (found.outcome, found.light) == (outcome, light)
    if outcome > FLOATS:
        assert (found.twist_mm, found.u_twist_mm, found.short_mm, found.imbalance) == (0, 0, 0, 0)


def test_swapping_left_and_right_swaps_the_foot_and_the_sign():
    left = weigh_feet([19, 29, 41, 31], scale=Scale(), feet_mm=FEET, give=usual_give(120))
    right = weigh_feet([29, 19, 31, 41], scale=Scale(), feet_mm=FEET, give=usual_give(120))
    assert (left.light, right.light) == (FL, FR)
    np.testing.assert_allclose(left.twist_mm, -right.twist_mm, atol=1e-15)
    np.testing.assert_allclose(left.u_short_mm, right.u_short_mm, atol=1e-15)


def test_pounds_and_kilograms_tell_the_same_millimetres():
    """International avoirdupois pound, 0.45359237 kg exactly (NIST SP 811, 2008, Appendix B.8)."""
    kg = np.array([19.0, 29.0, 41.0, 31.0])
    in_kg = weigh_feet(kg, scale=Scale(0.1, 0.01, 0.2), feet_mm=FEET, give=usual_give(120))
    pound = 0.45359237
    in_lb = weigh_feet(
        kg / pound, scale=Scale(0.1 / pound, 0.01, 0.2 / pound), feet_mm=FEET, give=usual_give(120 / pound)
    )
    np.testing.assert_allclose(in_lb.short_mm, in_kg.short_mm, rtol=1e-12)
    np.testing.assert_allclose(in_lb.u_short_mm, in_kg.u_short_mm, rtol=1e-12)


def test_the_uncertainty_of_the_imbalance_is_the_scatter_of_many_weighings():
    """Monte Carlo of the scales: each its own error, each setting afresh, rounded to the display."""
    rng = np.random.default_rng(62)
    loads = stood([-0.3, 0, 0, 0]).loads
    gain = 1 + rng.uniform(-0.01, 0.01, (40_000, 4))
    shown = np.round((loads * gain + rng.normal(0, 0.2, (40_000, 4))) / 0.1) * 0.1
    found = weigh_feet(shown, scale=Scale(), feet_mm=FEET, give=GIVE)
    assert found.u_imbalance.mean() == pytest.approx(found.imbalance.std(), rel=0.02)
    assert found.u_twist_mm.mean() == pytest.approx(found.twist_mm.std(), rel=0.02)


def test_scalar_one_many_and_none_agree():
    rng = np.random.default_rng(63)
    rows = rng.uniform(0, 60, (6, 4))
    call = {"scale": Scale(), "feet_mm": FEET, "give": GIVE}
    many = weigh_feet(rows, **call)
    for row in range(6):
        one = weigh_feet(rows[row], **call)
        assert (one.outcome, one.light, one.short_mm) == (many.outcome[row], many.light[row], many.short_mm[row])
    assert weigh_feet(np.zeros((0, 4)), **call).short_mm.shape == (0,)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"readings": [1, 2, 3]}, "readings"),
        ({"readings": [1, 2, 3, np.nan]}, "readings"),
        ({"readings": np.ones((2, 4)), "scale": Scale(resolution=[0.1, 0.1, 0.1])}, "readings"),  # batches do not fit
        ({"known_weight": 0}, "known_weight"),
        ({"known_weight": 120, "u_weight": -1}, "u_weight"),
        ({"feet_mm": np.zeros((4, 2))}, "feet_mm"),
    ],
)
def test_it_refuses_bad_input_by_name(change, name):
    good = {"readings": [24, 24, 36, 36], "scale": Scale(), "feet_mm": FEET, "give": GIVE}
    call = good | change
    with pytest.raises(BadInput) as refused:
        weigh_feet(call.pop("readings"), **call)
    assert refused.value.name == name
