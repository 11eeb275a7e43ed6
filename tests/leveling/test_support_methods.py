"""A feeler, turns, pressing the corners and four weights become one stance, or it is told that they cannot."""

import numpy as np
import pytest

from leveling.contact import ALL_BEAR
from leveling.errors import BadInput
from leveling.frame import foot_positions
from leveling.support import Gap, gap_from_feeler, push_test
from leveling.support_give import Give, Scale
from leveling.support_loads import elastic_loads
from leveling.support_methods import (
    AMOUNTS_DISAGREE,
    BEARS,
    BEARS_LIGHTLY,
    FEET_DISAGREE,
    HANGS,
    HANGS_UNMEASURED,
    NOTHING_TOLD,
    U_FEEL_MM,
    U_UNCHECKED_MM,
    U_UNNOTICED_MM,
    combine_methods,
    u_counted_turns,
)
from leveling.support_weights import weigh_feet

FL, FR, RL, RR = range(4)
FEET = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
LEAD_MM = 1.5875  # ASME B1.1, 3/8-16 UNC: 16 threads per inch
NOBODY = {"light": [], "gap": Gap(np.zeros(0), np.zeros(0))}
GIVE = Give(np.array(1 / 75), np.array(0.001))


def gaps(*found):
    """Gaps beside each other on the last axis."""
    return Gap(*(np.stack([getattr(gap, name) for gap in found], axis=-1) for name in ("gap_mm", "u_gap_mm")))


def less_feel(*u_mm):
    """Uncertainties that come to these once the hand's feel is added."""
    return np.sqrt(np.array(u_mm) ** 2 - U_FEEL_MM**2)


def press(*legs):
    return push_test(np.isin(np.arange(4), legs))


def scales(readings):
    return weigh_feet(readings, scale=Scale(), feet_mm=FEET, give=GIVE)


def combine(**case):
    return combine_methods(**(NOBODY | {"feet_mm": FEET} | case))


def test_two_gaps_average_by_inverse_variance():
    """Weighted mean, JCGM 100:2008 (GUM) 5.1.2, by hand: (60 + 17.5)/(100 + 25) = 0.62, u = 1/sqrt 125."""
    found = combine(light=[FL, FL], gap=Gap(np.array([0.6, 0.7]), less_feel(0.1, 0.2)))
    assert (found.outcome, found.light, found.stance.light) == (HANGS, FL, FL)
    np.testing.assert_allclose(found.stance.gap_mm, 0.62, atol=1e-12)  # mm
    np.testing.assert_allclose(found.stance.u_gap_mm, 0.1 / np.sqrt(1.25), atol=1e-12)
    np.testing.assert_allclose(found.short_mm, 0.62, atol=1e-12)  # without weights: until it bears


def test_air_and_squeeze_together_are_how_short_the_foot_is():
    """Round trip through four springs: FL short by 2 mm hangs; the feeler finds the air, the scales the rest."""
    truth = elastic_loads(
        weight=120, load_mm=[0, 780], feet_mm=FEET, stiffness_per_mm=np.full(4, 75.0), heights_mm=[-2.0, 0, 0, 0]
    )
    air = Gap(truth.gap_mm[None], np.array([0.02]))
    found = combine(light=[FL], gap=air, weighed=scales(truth.loads), push=press(FL))
    assert (found.outcome, found.light) == (HANGS, FL)
    np.testing.assert_allclose(found.stance.gap_mm, truth.gap_mm, atol=1e-12)
    np.testing.assert_allclose(found.short_mm, 2.0, atol=1e-9)
    assert found.u_short_mm > 0.02  # the give of the feet is not known exactly


def test_a_light_foot_that_bears_has_no_air_but_turns_to_go():
    found = combine(weighed=scales([19, 29, 41, 31]))
    assert (found.outcome, found.light, found.stance.light) == (BEARS_LIGHTLY, FL, ALL_BEAR)
    assert (found.stance.gap_mm, found.stance.u_gap_mm) == (0.0, 0.0)
    np.testing.assert_allclose(found.short_mm, 20 / 75, atol=1e-12)


@pytest.mark.parametrize(
    ("case", "outcome", "light", "u_gap_mm"),
    [
        ({}, NOTHING_TOLD, ALL_BEAR, U_UNCHECKED_MM),
        ({"push": press()}, BEARS, ALL_BEAR, U_UNNOTICED_MM),
        ({"push": press(FR)}, HANGS_UNMEASURED, FR, U_UNCHECKED_MM / 2),
        ({"push": press(FL, FR)}, NOTHING_TOLD, ALL_BEAR, U_UNCHECKED_MM),  # neighbours give: press again
        ({"weighed": scales([0, 48, 60, 12])}, HANGS_UNMEASURED, FL, U_UNCHECKED_MM / 2),
        ({"weighed": scales([0, 0, 60, 60])}, NOTHING_TOLD, ALL_BEAR, U_UNCHECKED_MM),  # disbelieved
        ({"weighed": scales([24, 24, 36, 36])}, BEARS, ALL_BEAR, 0.0),
        ({"weighed": scales([24, 24, 36, 36]), "push": press(FL)}, BEARS, ALL_BEAR, 0.0),  # weights know better
        (
            {"light": [ALL_BEAR], "gap": gaps(gap_from_feeler(0, 0.05))},
            BEARS,
            ALL_BEAR,
            np.hypot(0.05 / np.sqrt(3), U_FEEL_MM),
        ),
    ],
)
def test_one_method_alone_says_what_it_can(case, outcome, light, u_gap_mm):
    found = combine(**case)
    assert (found.outcome, found.light) == (outcome, light)
    np.testing.assert_allclose(found.stance.u_gap_mm, u_gap_mm, atol=1e-12)


def test_a_foot_that_touches_without_carrying_is_light_and_does_not_hang():
    """The scale reads nothing and the thinnest blade does not go: what is left to turn is the squeeze."""
    found = combine(
        light=[ALL_BEAR], gap=gaps(gap_from_feeler(0, 0.05)), weighed=scales([0, 48, 60, 12]), push=press(FL)
    )
    assert (found.outcome, found.light, found.stance.light) == (BEARS_LIGHTLY, FL, ALL_BEAR)
    np.testing.assert_allclose(found.short_mm, 96 / 75, atol=1e-12)  # D/k


@pytest.mark.parametrize(
    "case",
    [
        {"light": [FL], "gap": gaps(gap_from_feeler(0.4, 0.45)), "push": press(FR)},
        {"light": [FR], "gap": gaps(gap_from_feeler(0.4, 0.45)), "weighed": scales([0, 48, 60, 12])},
        {"light": [FL], "gap": gaps(gap_from_feeler(0.4, 0.45)), "weighed": scales([24, 24, 36, 36])},  # but it bears
        {"weighed": scales([0, 48, 60, 12]), "push": press(RL)},
        {"light": [FL, FR], "gap": gaps(gap_from_feeler(0.4, 0.45), gap_from_feeler(0.4, 0.45))},
    ],
)
def test_methods_that_name_different_diagonals_are_told_and_not_averaged(case):
    found = combine(**case)
    assert (found.outcome, found.light, found.stance.light) == (FEET_DISAGREE, ALL_BEAR, ALL_BEAR)
    assert (found.short_mm, found.stance.gap_mm) == (0, 0)
    assert found.stance.u_gap_mm >= (0.4 if "light" in case else U_UNNOTICED_MM)


def test_feet_of_one_diagonal_do_not_contradict_each_other():
    """A machine that rocks may hang on either foot of its short diagonal; the gap was measured under this one."""
    found = combine(light=[RR], gap=gaps(gap_from_feeler(0.4, 0.45)), push=press(FL, RR))
    assert (found.outcome, found.light) == (HANGS, RR)


def test_amounts_that_differ_too_much_are_told_and_widened():
    """Birge: u of the mean times the square root of chi2 over degrees of freedom; two of 0.1 that differ by 0.8."""
    found = combine(light=[FL, FL], gap=Gap(np.array([0.4, 1.2]), less_feel(0.1, 0.1)))
    assert found.outcome == AMOUNTS_DISAGREE
    np.testing.assert_allclose(found.stance.u_gap_mm, 0.4, atol=1e-12)  # half the difference
    agreeing = combine(light=[FL, FL], gap=Gap(np.array([0.7, 0.9]), less_feel(0.1, 0.1)))
    assert agreeing.outcome == HANGS
    np.testing.assert_allclose(agreeing.stance.u_gap_mm, 0.1 / np.sqrt(2), atol=1e-12)


def test_the_alarm_of_amounts_is_false_in_one_of_a_hundred():
    rng = np.random.default_rng(71)
    seen = Gap(1.5 + rng.normal(0, 0.1, (20_000, 3)), less_feel(0.1, 0.1, 0.1))
    found = combine(light=np.full(3, FR), gap=seen)
    assert (found.outcome == AMOUNTS_DISAGREE).mean() == pytest.approx(0.01, abs=0.0025)  # 3.5 sigma of 20,000
    inside = np.abs(found.stance.gap_mm - 1.5) <= 1.96 * found.stance.u_gap_mm
    assert inside.mean() > 0.945


def test_turns_counted_more_finely_are_surer_down_to_what_a_hand_feels():
    """Rectangular within the step, JCGM 100:2008 (GUM) 4.3.7; 0.05 turn of feel: common practice, no source."""
    u = u_counted_turns([1e-6, 0.125, 0.25])
    np.testing.assert_allclose(u**2 - 0.05**2, np.array([0, 0.125, 0.25]) ** 2 / 12, atol=1e-12)  # turn^2


def test_left_out_gaps_may_hold_anything():
    seen = Gap(np.array([0.6, np.nan]), np.array([0.1, -1.0]))
    found = combine(light=[FL, 17], gap=seen, used=[True, False])
    np.testing.assert_allclose(found.stance.gap_mm, 0.6, atol=1e-12)


def test_scalar_one_many_and_none_agree():
    rng = np.random.default_rng(72)
    light = rng.integers(-1, 4, (8, 2))
    seen = Gap(rng.uniform(0, 1, (8, 2)), np.full((8, 2), 0.1))
    gives, rows = rng.integers(0, 2, (8, 4)).astype(bool), rng.uniform(0, 60, (8, 4))
    many = combine(light=light, gap=seen, push=push_test(gives), weighed=scales(rows))
    for row in range(8):
        one = combine(
            light=light[row],
            gap=Gap(seen.gap_mm[row], seen.u_gap_mm[row]),
            push=push_test(gives[row]),
            weighed=scales(rows[row]),
        )
        assert (one.outcome, one.light) == (many.outcome[row], many.light[row])
        np.testing.assert_allclose([one.short_mm, one.u_short_mm], [many.short_mm[row], many.u_short_mm[row]])
    none = combine(light=np.zeros((0, 2)), gap=Gap(np.zeros((0, 2)), np.zeros((0, 2))), push=push_test(gives[:0]))
    assert none.short_mm.shape == (0,)


@pytest.mark.parametrize(
    ("case", "name"),
    [
        ({"light": [7], "gap": Gap(np.ones(1), np.ones(1))}, "light"),  # no such leg
        ({"light": [FL], "gap": Gap(-np.ones(1), np.ones(1))}, "gap"),  # air is not negative
        ({"light": [FL], "gap": Gap(np.ones(1), np.array([np.nan]))}, "gap"),
        ({"light": [FL], "gap": Gap(np.ones(1), np.ones(1)), "used": [1]}, "used"),  # a number is no yes
        ({"light": FL, "gap": Gap(np.array(1.0), np.array(1.0))}, "light"),  # no axis of methods
        ({"light": [FL, FR], "gap": Gap(np.ones(3), np.ones(3))}, "light"),  # shapes do not fit
        ({"feet_mm": np.zeros((4, 2))}, "feet_mm"),
    ],
)
def test_it_refuses_bad_input_by_name(case, name):
    with pytest.raises(BadInput) as refused:
        combine(**case)
    assert refused.value.name == name


@pytest.mark.parametrize("step", [0, -0.25, 2, np.nan])
def test_it_refuses_a_step_that_nobody_counts_in(step):
    with pytest.raises(BadInput) as refused:
        u_counted_turns(step)
    assert refused.value.name == "step_turns"
