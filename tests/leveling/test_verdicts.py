"""The verdict: chance, daily rule, certificate rule, and the three quantities of a machine together."""

import math
from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from leveling.errors import BadInput
from leveling.verdicts import (
    BORDERLINE,
    CERTIFICATE_WORDS,
    DAILY_WORDS,
    IN_SPEC,
    NOT_MEASURED,
    NOT_PROVEN,
    OUT_OF_SPEC,
    PROVEN_IN,
    PROVEN_OUT,
    Rule,
    Verdict,
    chance_inside,
    judge,
    provable,
)
from leveling.verdicts_machine import Measured, Spec, judge_machine

CHANCE = 1e-12  # tolerance


# Chance


@given(value=st.floats(-3, 3), u=st.floats(0.05, 2), low=st.floats(-3, 0), width=st.floats(0, 3))
def test_inside_and_outside_make_one(value, u, low, width) -> None:
    high = low + width
    below = chance_inside(value=value, u=u, low=-math.inf, high=low)
    above = chance_inside(value=value, u=u, low=high, high=math.inf)
    assert below + above + chance_inside(value=value, u=u, low=low, high=high) == pytest.approx(1, abs=CHANCE)


@given(value=st.floats(-3, 3), u=st.floats(0.05, 2))
def test_it_is_the_normal_distribution_mirrored_or_not(value, u) -> None:
    chance = chance_inside(value=value, u=u, low=-0.4, high=0.4)
    assert chance == pytest.approx(norm.cdf(0.4, value, u) - norm.cdf(-0.4, value, u), abs=CHANCE)
    assert chance == pytest.approx(float(chance_inside(value=-value, u=u, low=-0.4, high=0.4)), abs=CHANCE)


def test_far_outside_keeps_its_digits_on_both_sides() -> None:
    """20 standard deviations above the limit: 2.754e-89, not a difference of two ones."""
    above = chance_inside(value=20, u=1, low=-math.inf, high=0)
    below = chance_inside(value=-20, u=1, low=0, high=math.inf)
    assert above == below == pytest.approx(norm.sf(20), rel=1e-9)


def test_an_exactly_known_value_is_in_or_out() -> None:
    """Limits belong to the spec: a value on the limit is in."""
    values = [0.19, 0.2, 0.21, -0.2, -0.21]
    assert chance_inside(value=values, u=0, low=-0.2, high=0.2).tolist() == [1, 1, 0, 1, 0]


def test_extreme_numbers_stay_chances() -> None:
    for value, u in ((1e308, 1e-308), (-1e308, 1e308), (0, 1e-308)):
        verdict = judge(value=value, u=u, low=-1e308, high=0.5)
        assert 0 <= verdict.chance <= 1
        assert 0 <= verdict.best_chance <= 1


# Daily rule


def daily(value, u=0.05, tolerance=0.2, **options) -> int:
    return int(judge(value=value, u=u, low=-tolerance, high=tolerance, **options).daily)


def test_the_daily_rule_follows_the_chance() -> None:
    assert daily(0.0) == IN_SPEC
    assert daily(0.2 - 0.05 * norm.ppf(0.61)) == IN_SPEC
    assert daily(0.2 - 0.05 * norm.ppf(0.59)) == BORDERLINE
    assert daily(0.2) == BORDERLINE
    assert daily(0.2 + 0.05 * norm.ppf(0.59)) == BORDERLINE
    assert daily(0.2 + 0.05 * norm.ppf(0.61)) == OUT_OF_SPEC


def test_a_poor_instrument_alone_condemns_nothing() -> None:
    """In the middle of the limits, yet the chance is only 0.31: measure again, not out of spec."""
    verdict = judge(value=0, u=0.5, low=-0.2, high=0.2)
    assert verdict.chance == pytest.approx(0.3108, abs=0.0001)
    assert verdict.daily == BORDERLINE
    assert verdict.certificate == NOT_PROVEN
    assert daily(0.25, u=0.5) == OUT_OF_SPEC


def test_the_thresholds_are_the_organizations() -> None:
    strict = Rule(in_from=0.9, out_below=0.1)
    value = 0.2 - 0.05 * norm.ppf(0.8)
    assert daily(value) == IN_SPEC
    assert daily(value, rule=strict) == BORDERLINE
    assert daily(0.2 + 0.05 * norm.ppf(0.8), rule=strict) == BORDERLINE


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("in_from", 0.49),  # in spec although out is likelier
        ("in_from", 1.0),  # never in spec
        ("out_below", 0.51),
        ("out_below", 0.0),
        ("confidence", 0.79),
        ("confidence", 1.0),
        ("confidence", math.nan),
    ],
)
def test_a_rule_refuses_thresholds_that_make_no_sense(field, value) -> None:
    with pytest.raises(BadInput) as refusal:
        Rule(**{field: value})
    assert refusal.value.name == field


# Certificate rule


def certificate(value, u=0.02, tolerance=0.2, **options) -> int:
    return int(judge(value=value, u=u, low=-tolerance, high=tolerance, **options).certificate)


def test_the_guard_band_of_a_wide_tolerance_is_1_645_u() -> None:
    """One-sided, 95 %: proven in up to high - 1.645 u, proven out from high + 1.645 u (both sides alike)."""
    guard = 1.645 * 0.02
    for side in (1, -1):
        assert certificate(side * (0.2 - guard - 1e-5)) == PROVEN_IN
        assert certificate(side * (0.2 - guard + 1e-4)) == NOT_PROVEN
        assert certificate(side * (0.2 + guard - 1e-4)) == NOT_PROVEN
        assert certificate(side * (0.2 + guard + 1e-5)) == PROVEN_OUT


def test_a_narrow_tolerance_needs_1_960_u_in_the_middle() -> None:
    """Both tails count: 0.95 inside needs 1.960 u, although the one-sided guard band alone would take 1.645."""
    assert provable(tolerance=[1.959, 1.961], u=1).tolist() == [False, True]
    assert certificate(0, u=1, tolerance=1.7) == NOT_PROVEN
    assert certificate(0, u=1, tolerance=1.97) == PROVEN_IN


@given(value=st.floats(-1, 1), u=st.floats(0.001, 0.5), tolerance=st.floats(0.01, 0.5))
def test_proven_is_never_milder_than_daily_and_never_unprovable(value, u, tolerance) -> None:
    verdict = judge(value=value, u=u, low=-tolerance, high=tolerance)
    if verdict.certificate == PROVEN_IN:
        assert verdict.daily == IN_SPEC
        assert verdict.chance >= 0.95
        assert verdict.provable
        assert provable(tolerance=tolerance, u=u)
    if verdict.certificate == PROVEN_OUT:
        assert verdict.daily == OUT_OF_SPEC
        assert verdict.chance <= 0.05


def test_a_higher_confidence_asks_for_more() -> None:
    value = 0.2 - 0.02 * norm.ppf(0.97)
    assert certificate(value) == PROVEN_IN
    assert certificate(value, rule=Rule(confidence=0.99)) == NOT_PROVEN


def test_one_sided_limits_can_always_be_proven() -> None:
    assert judge(value=0, u=5, low=-math.inf, high=1).provable


def test_what_was_not_measured_is_neither_in_nor_out() -> None:
    verdict = judge(value=[0, 9], u=0.05, low=-0.2, high=0.2, known=False)
    assert verdict.daily.tolist() == [NOT_MEASURED] * 2
    assert verdict.certificate.tolist() == [NOT_PROVEN] * 2
    assert verdict.chance.tolist() == [0, 0]
    assert not verdict.provable.any()


# A machine

SPEC = Spec(pitch_deg=6.5, pitch_tolerance_deg=0.2, roll_tolerance_deg=0.15, gap_tolerance_mm=0.5)


def machine(**changes):
    good = {"pitch_deg": 6.5, "u_pitch_deg": 0.06, "roll_deg": 0, "u_roll_deg": 0.05, "twist_mm": 0, "u_twist_mm": 0.03}
    return judge_machine(measured=Measured(**{**good, **changes}), spec=SPEC)


def test_the_machines_chance_is_the_product_of_the_three() -> None:
    verdict = machine(pitch_deg=6.6, roll_deg=-0.1, twist_mm=0.1)
    parts = [float(part.chance) for part in (verdict.pitch, verdict.roll, verdict.twist)]
    assert verdict.machine.chance == pytest.approx(math.prod(parts), abs=CHANCE)
    assert sum(parts) - 2 <= verdict.machine.chance <= min(parts)


def test_a_machine_in_the_middle_is_in_spec_and_proven() -> None:
    verdict = machine()
    assert verdict.machine.daily == IN_SPEC
    assert verdict.machine.certificate == PROVEN_IN
    assert verdict.machine.provable


@pytest.mark.parametrize("change", [{"pitch_deg": 6.2}, {"roll_deg": -0.3}, {"twist_mm": 0.25}, {"twist_mm": -0.25}])
def test_one_quantity_out_puts_the_machine_out(change) -> None:
    verdict = machine(**change)
    assert verdict.machine.daily == OUT_OF_SPEC
    assert verdict.machine.certificate == PROVEN_OUT


def test_three_fair_chances_are_borderline_not_out() -> None:
    """Each quantity inside and in spec by itself; the product is below 0.4, but no value lies outside."""
    verdict = machine(pitch_deg=6.66, roll_deg=0.12, twist_mm=0.11)
    assert [int(part.daily) for part in (verdict.pitch, verdict.roll, verdict.twist)] == [IN_SPEC] * 3
    assert verdict.machine.chance < 0.4
    assert verdict.machine.daily == BORDERLINE


def test_each_proven_is_not_enough_the_machine_must_be() -> None:
    near = 6.7 - 0.06 * norm.ppf(0.96), 0.15 - 0.05 * norm.ppf(0.96), 0.125 - 0.03 * norm.ppf(0.96)
    verdict = machine(pitch_deg=near[0], roll_deg=near[1], twist_mm=near[2])
    assert [int(part.certificate) for part in (verdict.pitch, verdict.roll, verdict.twist)] == [PROVEN_IN] * 3
    assert verdict.machine.certificate == NOT_PROVEN


def test_the_gap_tolerance_is_four_times_that_of_the_twist() -> None:
    assert SPEC.twist_tolerance_mm == pytest.approx(0.125)
    assert machine(twist_mm=0.124, u_twist_mm=0).twist.chance == 1
    assert machine(twist_mm=0.126, u_twist_mm=0).twist.chance == 0


def test_a_machine_with_something_unmeasured_is_never_in_spec() -> None:
    verdict = machine(roll_known=False)
    assert verdict.machine.daily == NOT_MEASURED
    assert verdict.machine.certificate == NOT_PROVEN
    assert verdict.machine.chance == pytest.approx(float(verdict.pitch.chance * verdict.twist.chance), abs=CHANCE)
    assert not verdict.machine.provable


def test_a_machine_is_out_by_what_was_measured_even_if_the_rest_was_not() -> None:
    verdict = machine(pitch_deg=5.9, roll_known=False, twist_known=False)
    assert verdict.machine.daily == OUT_OF_SPEC
    assert verdict.machine.certificate == PROVEN_OUT


def test_a_machine_of_which_nothing_was_measured_has_no_chance_to_show() -> None:
    verdict = machine(pitch_known=False, roll_known=False, twist_known=False)
    assert verdict.machine.chance == 0
    assert verdict.machine.daily == NOT_MEASURED


def test_the_chance_of_a_verdict_comes_true() -> None:
    """100,000 true machines, measured with the stated u: of those told 0.7 to 0.8, 75 % are inside. Flat prior."""
    rng = np.random.default_rng(41)
    truth = rng.uniform(-0.6, 0.6, 100_000)
    verdict = judge(value=truth + 0.1 * rng.normal(size=truth.size), u=0.1, low=-0.2, high=0.2)
    inside = np.abs(truth) <= 0.2
    for low in (0.1, 0.4, 0.7):
        told = (verdict.chance >= low) & (verdict.chance < low + 0.1)
        assert inside[told].mean() == pytest.approx(verdict.chance[told].mean(), abs=0.02)
    assert inside[verdict.daily == OUT_OF_SPEC].mean() < 0.4 < 0.6 < inside[verdict.daily == IN_SPEC].mean()


# Contracts


def test_every_code_has_its_words() -> None:
    assert DAILY_WORDS[IN_SPEC] == "in spec"
    assert DAILY_WORDS[OUT_OF_SPEC] == "out of spec"
    assert DAILY_WORDS[BORDERLINE] == "borderline"
    assert DAILY_WORDS[NOT_MEASURED] == "not measured"
    assert [CERTIFICATE_WORDS[code] for code in (PROVEN_IN, PROVEN_OUT, NOT_PROVEN)] == [
        "proven in",
        "proven out",
        "not proven",
    ]


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ({"value": math.nan}, "value"),
        ({"value": math.inf}, "value"),
        ({"u": -0.1}, "u"),
        ({"u": math.inf}, "u"),
        ({"low": math.nan}, "low"),
        ({"low": math.inf, "high": math.inf}, "low"),  # nothing is above everything
        ({"high": "none"}, "high"),
        ({"high": -0.3}, "low"),  # crossed limits
        ({"known": 1}, "known"),
        ({"value": [1, 2, 3], "u": [0.1, 0.2]}, "value"),  # shapes
    ],
)
def test_it_refuses_bad_input_by_name(arguments, name) -> None:
    good = {"value": 0.1, "u": 0.05, "low": -0.2, "high": 0.2}
    with pytest.raises(BadInput) as refusal:
        judge(**{**good, **arguments})
    assert refusal.value.name == name


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("pitch_deg", 25),  # no playfield is so steep
        ("pitch_tolerance_deg", 0),  # nothing could pass
        ("roll_tolerance_deg", -0.1),
        ("gap_tolerance_mm", math.nan),
    ],
)
def test_a_spec_refuses_what_no_machine_can_meet(field, value) -> None:
    good = {item.name: float(getattr(SPEC, item.name)) for item in fields(SPEC)}
    with pytest.raises(BadInput) as refusal:
        Spec(**{**good, field: value})
    assert refusal.value.name == field


def test_a_measurement_refuses_what_is_no_number() -> None:
    for change in ({"pitch_deg": math.nan}, {"u_roll_deg": -1}, {"twist_known": "yes"}):
        with pytest.raises(BadInput) as refusal:
            machine(**change)
        assert refusal.value.name in change


def test_shapes_that_do_not_fit_are_refused() -> None:
    with pytest.raises(BadInput, match="measured"):
        machine(pitch_deg=[6.5, 6.6], roll_deg=[0, 0, 0])


def test_scalar_one_many_and_none_agree() -> None:
    rng = np.random.default_rng(51)
    shape = (3, 4)
    values = {
        "pitch_deg": 6.5 + 0.2 * rng.normal(size=shape),
        "roll_deg": 0.15 * rng.normal(size=shape),
        "twist_mm": 0.1 * rng.normal(size=shape),
        "roll_known": rng.random(shape) < 0.8,
    }
    many = machine(**values)
    for index in np.ndindex(shape):
        single = machine(**{name: array[index] for name, array in values.items()})
        one = machine(**{name: array[index][None] for name, array in values.items()})
        for part in ("pitch", "roll", "twist", "machine"):
            for item in fields(Verdict):
                expected = getattr(getattr(single, part), item.name)
                batch = np.broadcast_to(getattr(getattr(many, part), item.name), shape)
                assert batch[index] == pytest.approx(expected, abs=1e-15)
                assert np.ravel(getattr(getattr(one, part), item.name))[0] == pytest.approx(expected, abs=1e-15)
    assert machine(pitch_deg=[]).machine.daily.shape == (0,)
    assert provable(tolerance=[], u=0.1).shape == (0,)
