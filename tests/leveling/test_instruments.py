"""Instruments: signs, misalignment, reversed pairs, zero checks, and budgets that match what really happens."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from leveling.errors import BadInput
from leveling.instruments import (
    HIGH_ENDS_ACROSS,
    HIGH_ENDS_ALONG,
    Budget,
    Instrument,
    misaligned_reading_deg,
    reading_budget,
    signed_tilt_deg,
    standard_from_limit,
)
from leveling.instruments_zeros import reversed_pair, reversed_pair_by_ends, two_peg_zero_deg, zero_check

ANGLE_DEG = 1e-9  # tolerance

PERFECT = Instrument(resolution_deg=0, accuracy_deg=0, alignment_deg=0, repeat_deg=0, zero_deg=0, u_zero_deg=0)


def level(**fields) -> Instrument:
    return replace(PERFECT, **fields)


# Which end is high


def test_rear_and_right_high_are_positive() -> None:
    ends = ["rear", "front", "right", "left", "level"]
    assert signed_tilt_deg([6.5, 6.5, 0.2, 0.2, 0], ends).tolist() == [6.5, -6.5, 0.2, -0.2, 0]
    assert {*HIGH_ENDS_ALONG, *HIGH_ENDS_ACROSS} == set(ends)


def test_zero_has_no_sign_whatever_end_was_named() -> None:
    assert math.copysign(1, signed_tilt_deg(0, "left")) == 1


@pytest.mark.parametrize(
    ("shown", "end", "name"),
    [
        (-0.3, "right", "shown_deg"),  # two signs: which one counts?
        (math.nan, "right", "shown_deg"),
        (90.0, "rear", "shown_deg"),
        (0.3, "level", "high_end"),  # level, but not 0
        (0.3, "back", "high_end"),  # no such end
        (0.3, 1, "high_end"),  # a code instead of a word
        ([0.3, 0.2], ["left", "right", "left"], "shown_deg"),  # shapes
    ],
)
def test_it_refuses_a_reading_that_contradicts_itself(shown, end, name) -> None:
    with pytest.raises(BadInput) as refusal:
        signed_tilt_deg(shown, end)
    assert refusal.value.name == name


# Misalignment

slopes = st.floats(-15, 15)


def turned_by_hand(pitch, roll, psi, along) -> float:
    """Elevation of a level on the plane, with vectors: turn its direction about the plane's normal (Rodrigues)."""
    gx, gy = math.tan(math.radians(roll)), math.tan(math.radians(pitch))
    start = np.array([0, 1, gy]) if along else np.array([1, 0, gx])
    start = start / np.linalg.norm(start)
    normal = np.array([-gx, -gy, 1]) / math.hypot(gx, gy, 1)
    angle = math.radians(psi)
    turned = math.cos(angle) * start + math.sin(angle) * np.cross(normal, start)
    return math.degrees(math.asin(turned[2]))


@given(pitch=slopes, roll=slopes, psi=st.floats(-30, 30), along=st.booleans())
def test_the_misaligned_reading_is_the_turned_vector(pitch, roll, psi, along) -> None:
    reading = misaligned_reading_deg(pitch_deg=pitch, roll_deg=roll, psi_deg=psi, along=along)
    assert reading == pytest.approx(turned_by_hand(pitch, roll, psi, along), abs=1e-10)


@given(pitch=slopes, roll=slopes)
def test_a_square_level_reads_pitch_along_and_roll_across(pitch, roll) -> None:
    readings = misaligned_reading_deg(pitch_deg=pitch, roll_deg=roll, psi_deg=0, along=[True, False])
    assert readings.tolist() == pytest.approx([pitch, roll], abs=ANGLE_DEG)


def test_a_level_board_reads_nothing_however_it_is_turned() -> None:
    turns = np.linspace(-90, 90, 7)
    assert not misaligned_reading_deg(pitch_deg=0, roll_deg=0, psi_deg=turns, along=False).any()


def test_turned_by_a_right_angle_it_reads_the_other_slope() -> None:
    """Right end to the rear: the rear is higher by the pitch. Rear end to the left: the left is lower by the roll."""
    assert misaligned_reading_deg(pitch_deg=6.5, roll_deg=0, psi_deg=90, along=False) == pytest.approx(6.5)
    assert misaligned_reading_deg(pitch_deg=0, roll_deg=2, psi_deg=90, along=True) == pytest.approx(-2)


# Reversed pairs and zeros


@given(tilt=st.floats(-20, 20), zero=st.floats(-5, 5))
def test_turning_end_for_end_takes_out_the_zero(tilt, zero) -> None:
    pair = reversed_pair(r0_deg=tilt + zero, r180_deg=zero - tilt)
    assert (float(pair.tilt_deg), float(pair.zero_deg)) == pytest.approx((tilt, zero), abs=ANGLE_DEG)


@given(tilt=st.floats(-20, 20), zero=st.floats(-5, 5))
def test_naming_the_high_end_both_times_gives_the_same_pair(tilt, zero) -> None:
    own = reversed_pair(r0_deg=tilt + zero, r180_deg=zero - tilt)
    ends = reversed_pair_by_ends(first_deg=tilt + zero, turned_deg=tilt - zero)
    assert float(ends.tilt_deg) == pytest.approx(float(own.tilt_deg), abs=ANGLE_DEG)
    assert float(ends.zero_deg) == pytest.approx(float(own.zero_deg), abs=ANGLE_DEG)


def test_turning_end_for_end_keeps_the_misalignment() -> None:
    """Both readings of a pair lie on the same line of the board, 1 degree off square."""
    line = float(misaligned_reading_deg(pitch_deg=6.5, roll_deg=0, psi_deg=1, along=False))
    pair = reversed_pair(r0_deg=line + 0.4, r180_deg=-line + 0.4)
    assert pair.zero_deg == pytest.approx(0.4, abs=ANGLE_DEG)
    assert pair.tilt_deg == pytest.approx(0.113, abs=0.0005)


def test_a_zero_check_averages_its_pairs_but_not_the_rounding() -> None:
    zero = zero_check(r0_deg=[0.2, 0.2, 0.3], r180_deg=[0.1, 0.0, 0.1], resolution_deg=0.1, repeat_deg=0.06)
    assert zero.zero_deg == pytest.approx(0.15, abs=ANGLE_DEG)
    assert zero.u_zero_deg == pytest.approx(math.hypot(0.1 / math.sqrt(12), 0.06 / math.sqrt(6)), abs=ANGLE_DEG)


def test_a_zero_check_refuses_to_start_from_nothing() -> None:
    for empty in ([], 0.1):
        with pytest.raises(BadInput, match="no pairs"):
            zero_check(r0_deg=empty, r180_deg=empty, resolution_deg=0.1, repeat_deg=0.02)


def test_two_pegs_show_no_zero_when_both_set_ups_agree() -> None:
    assert two_peg_zero_deg(middle_mm=[1500, 1400], end_mm=[1620, 1520], distance_mm=30_000) == 0


def test_two_pegs_find_a_rising_sight_line() -> None:
    """Line rises 0.5 mm per m, B 2 m from the instrument, A 32 m: A reads 16 mm too high, B 1 mm."""
    zero = two_peg_zero_deg(middle_mm=[1500, 1400], end_mm=[1516, 1401], distance_mm=30_000)
    assert zero == pytest.approx(math.degrees(math.atan(0.0005)), abs=ANGLE_DEG)


@pytest.mark.parametrize(
    ("middle", "end", "distance", "name"),
    [
        ([1, 2, 3], [1, 2], 1000, "middle_mm"),  # three readings
        ([1, 2], 5, 1000, "end_mm"),  # one reading
        ([1, 2], [1, 2], 0, "distance_mm"),  # pegs in one spot
        ([1, math.nan], [1, 2], 1000, "middle_mm"),
    ],
)
def test_two_pegs_refuse_bad_input_by_name(middle, end, distance, name) -> None:
    with pytest.raises(BadInput) as refusal:
        two_peg_zero_deg(middle_mm=middle, end_mm=end, distance_mm=distance)
    assert refusal.value.name == name


# The instrument and its budget


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("resolution_deg", -0.1),  # a step is a size
        ("resolution_deg", math.nan),
        ("accuracy_deg", 11),  # that is no level
        ("alignment_deg", 46),  # beyond that it reads the other direction
        ("repeat_deg", math.inf),
        ("zero_deg", -10.5),
        ("u_zero_deg", "small"),
    ],
)
def test_an_instrument_refuses_a_sheet_that_cannot_be(field, value) -> None:
    with pytest.raises(BadInput) as refusal:
        level(**{field: value})
    assert refusal.value.name == field


def test_a_budget_refuses_to_repeat_more_rounding_than_it_has() -> None:
    with pytest.raises(BadInput, match="repeating_deg"):
        Budget(resolution_deg=0.01, repeating_deg=0.02)
    with pytest.raises(BadInput, match="accuracy_deg"):
        Budget(accuracy_deg=-0.1)


def test_the_parts_of_a_budget_add_in_squares() -> None:
    budget = Budget(
        resolution_deg=0.05, repeating_deg=0.03, alignment_deg=0.02, repeat_deg=0.01, accuracy_deg=0.06, zero_deg=0.08
    )
    assert budget.u_fresh_deg == pytest.approx(math.sqrt(0.04**2 + 0.02**2 + 0.01**2), abs=ANGLE_DEG)
    assert budget.u_common_deg == pytest.approx(0.1, abs=ANGLE_DEG)
    assert budget.u_deg == pytest.approx(math.sqrt(0.05**2 + 0.02**2 + 0.01**2 + 0.1**2), abs=ANGLE_DEG)


def test_a_pair_cancels_the_zero_and_halves_the_variance_of_laying_down() -> None:
    tool = level(resolution_deg=0.01, accuracy_deg=0.1, alignment_deg=1, repeat_deg=0.04, u_zero_deg=0.2)
    single, pair = (
        reading_budget(instrument=tool, along=False, reversed_pair=turned, pitch_deg=6.5) for turned in (False, True)
    )
    assert (float(single.zero_deg), float(pair.zero_deg)) == (0.2, 0.0)
    assert pair.repeat_deg**2 == pytest.approx(single.repeat_deg**2 / 2, abs=1e-12)
    assert pair.resolution_deg**2 == pytest.approx(single.resolution_deg**2 / 2, abs=1e-12)  # noise of 4 steps
    assert pair.alignment_deg == single.alignment_deg
    assert pair.accuracy_deg == single.accuracy_deg == pytest.approx(0.1 / math.sqrt(3))


def test_rounding_without_noise_does_not_average() -> None:
    """The display shows the same number again, and a level with zero error 0 the same number turned around."""
    for turned in (False, True):
        budget = reading_budget(instrument=level(resolution_deg=0.1), along=True, reversed_pair=turned, pitch_deg=6.5)
        assert budget.repeating_deg == budget.resolution_deg == pytest.approx(0.1 / math.sqrt(12))


def test_rounding_averages_like_noise_once_there_is_noise() -> None:
    tool = level(resolution_deg=0.1, repeat_deg=np.array([0, 0.01, 0.02, 0.05, 0.1]))
    budget = reading_budget(instrument=tool, along=True, reversed_pair=False, pitch_deg=6.5)
    share = (budget.repeating_deg / budget.resolution_deg) ** 2
    assert share[0] == 1
    assert (np.diff(share) < 0).all()
    assert share[3] < 1e-4  # half a step of noise


def test_alignment_costs_nothing_where_the_board_is_level_crosswise() -> None:
    budget = reading_budget(instrument=level(alignment_deg=5), along=False, reversed_pair=False, pitch_deg=0)
    assert budget.alignment_deg == 0


@pytest.mark.parametrize("along", [True, False])
@pytest.mark.parametrize("largest", [0.5, 1.0, 3.0, 8.0])
def test_the_alignment_part_is_the_rms_error_of_turned_levels(along, largest) -> None:
    """All psi within the limit, evenly: rms of the exact reading against the square one, pitch 6.5, roll 0.4."""
    psi = np.linspace(-largest, largest, 4001)
    slopes_deg = {"pitch_deg": 6.5, "roll_deg": 0.4, "along": along}
    error = misaligned_reading_deg(psi_deg=psi, **slopes_deg) - misaligned_reading_deg(psi_deg=0, **slopes_deg)
    budget = reading_budget(instrument=level(alignment_deg=largest), reversed_pair=False, **slopes_deg)
    assert budget.alignment_deg == pytest.approx(rms(error), rel=0.01)


def rms(values) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


CASES = {
    # along, step, psi, repeat, u of zero, zero known to the budget
    "along, quiet, zero known to be 0": (True, 0.1, 1.0, 0.0, 0.0, 0.0),
    "along, quiet, zero known to be a quarter step": (True, 0.1, 1.0, 0.0, 0.0, 0.025),
    "along, quiet, zero unknown": (True, 0.1, 1.0, 0.0, 0.1, 0.0),
    "along, some noise": (True, 0.1, 1.0, 0.02, 0.05, 0.0),
    "across, square edge": (False, 0.1, 0.3, 0.01, 0.0, 0.0),
    "across, by eye": (False, 0.1, 1.5, 0.03, 0.05, 0.0),
    "across, fine display": (False, 0.01, 0.1, 0.01, 0.05, 0.0),
}


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("case", CASES)
def test_the_budget_is_what_really_happens_on_a_rounding_display(case, turned) -> None:
    """20,000 boards, each read three times: rms error of the mean of three against the budget, within 4 %.

    A line of its own for each laying, both readings of a pair on it; single readings are corrected by a zero check.
    """
    along, step, psi, repeat, u_zero, zero = CASES[case]
    rng = np.random.default_rng(3)
    boards, times = 20_000, 3
    pitch, roll = 6.5 + rng.uniform(-0.5, 0.5, (boards, 1)), rng.uniform(-0.5, 0.5, (boards, 1))
    line = misaligned_reading_deg(
        pitch_deg=pitch, roll_deg=roll, psi_deg=rng.uniform(-psi, psi, (boards, times)), along=along
    )
    true_zero = zero + u_zero * rng.normal(size=(boards, 1))

    def shown(tilt):
        exact = tilt + true_zero + repeat * rng.normal(size=(boards, times))
        return np.round(exact / step) * step

    tilts = reversed_pair(r0_deg=shown(line), r180_deg=shown(-line)).tilt_deg if turned else shown(line) - zero
    errors = tilts - (pitch if along else roll)
    tool = level(resolution_deg=step, alignment_deg=psi, repeat_deg=repeat, zero_deg=zero, u_zero_deg=u_zero)
    budget = reading_budget(instrument=tool, along=along, reversed_pair=turned, pitch_deg=pitch, roll_deg=roll)
    assert rms(budget.u_deg) == pytest.approx(rms(errors), rel=0.04)
    stated = np.sqrt(budget.u_fresh_deg**2 / times + budget.repeating_deg**2 + budget.u_common_deg**2)
    assert rms(stated) == pytest.approx(rms(errors.mean(axis=1)), rel=0.04)


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ({"pitch_deg": math.nan}, "pitch_deg"),
        ({"pitch_deg": 90}, "pitch_deg"),
        ({"roll_deg": -95}, "roll_deg"),
        ({"along": 1}, "along"),  # a number is not a yes
        ({"reversed_pair": "yes"}, "reversed_pair"),
        ({"along": [True, False], "pitch_deg": [1, 2, 3]}, "pitch_deg"),  # shapes
    ],
)
def test_a_budget_refuses_bad_input_by_name(arguments, name) -> None:
    good = {"instrument": PERFECT, "along": True, "reversed_pair": False, "pitch_deg": 6.5}
    with pytest.raises(BadInput) as refusal:
        reading_budget(**{**good, **arguments})
    assert refusal.value.name == name


def test_tiny_steps_and_wide_noise_stay_finite() -> None:
    for step, repeat in ((1e-300, 0.0), (1e-9, 10.0), (10.0, 1e-300), (0.0, 0.0)):
        tool = level(resolution_deg=step, repeat_deg=repeat, u_zero_deg=repeat)
        budget = reading_budget(instrument=tool, along=False, reversed_pair=[True, False], pitch_deg=89)
        assert np.isfinite(budget.u_deg).all()


def test_scalar_one_many_and_none_agree() -> None:
    rng = np.random.default_rng(5)
    shape = (4, 3)
    sheet = {name: rng.uniform(0.01, 0.1, shape) for name in ("resolution_deg", "repeat_deg", "zero_deg", "u_zero_deg")}
    pitch, along, turned = rng.uniform(3, 7, shape), rng.random(shape) < 0.5, rng.random(shape) < 0.5

    def budget_of(index) -> Budget:
        return reading_budget(
            instrument=level(alignment_deg=1, **{name: values[index] for name, values in sheet.items()}),
            along=along[index],
            reversed_pair=turned[index],
            pitch_deg=pitch[index],
        )

    many = budget_of(...)
    for index in np.ndindex(shape):
        assert many.u_deg[index] == pytest.approx(budget_of(index).u_deg, abs=1e-15)
        assert many.u_deg[index] == pytest.approx(
            budget_of(np.s_[index[0] : index[0] + 1, index[1]]).u_deg[0], abs=1e-15
        )
    assert budget_of(np.s_[:0]).u_deg.shape == (0, 3)
    assert misaligned_reading_deg(pitch_deg=[], roll_deg=0, psi_deg=0, along=True).shape == (0,)
    assert signed_tilt_deg([], []).shape == (0,)


def test_type_b_shapes_order_as_they_should() -> None:
    """The more the middle is preferred, the smaller the standard uncertainty behind the same limit."""
    values = [float(standard_from_limit(1, shape)) for shape in ("triangular", "rectangular", "arcsine")]
    assert values == sorted(values)
    with pytest.raises(BadInput, match="shape"):
        standard_from_limit(1, "normal")
    with pytest.raises(BadInput, match="half_width"):
        standard_from_limit(-1, "rectangular")
