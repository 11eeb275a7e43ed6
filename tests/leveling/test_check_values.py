"""Published values that the engine must reproduce, each with its source beside it: angles, readings, verdicts."""

import math

import pytest

from leveling.frame import foot_positions, heights_to_modes
from leveling.instruments import Instrument, misaligned_reading_deg, reading_budget, standard_from_limit
from leveling.instruments_zeros import reversed_pair, two_peg_zero_deg
from leveling.units import LEAD_MM, MM_PER_INCH, slope_deg
from leveling.verdicts import PROVEN_IN, PROVEN_OUT, chance_inside, judge

# Units and threads


def test_one_millimetre_per_metre_is_0_0572958_degree() -> None:
    """Definition: atan 0.001, in degrees."""
    assert slope_deg(1, "mm_per_m") == pytest.approx(0.0572958, abs=5e-8)


def test_one_in_48_is_1_1935_degrees() -> None:
    """2010 ADA Standards, slope 1:48 (the ratio is published, the angle is its arctangent): 0.25 inch per foot."""
    assert slope_deg(0.25, "in_per_ft") == pytest.approx(1.1935, abs=5e-5)


def test_an_eighth_of_an_inch_per_foot_is_0_597_degree() -> None:
    """Common practice for garage floors, no source; the angle is arithmetic."""
    assert slope_deg(0.125, "in_per_ft") == pytest.approx(0.597, abs=5e-4)


def test_a_3_8_16_thread_rises_1_5875_mm_per_turn() -> None:
    """ASME B1.1: 3/8-16 UNC has 16 threads per inch of 25.4 mm."""
    assert LEAD_MM["3/8-16 UNC"] == pytest.approx(1.5875, abs=1e-12)


def test_the_two_threads_differ_by_5_8_percent_per_turn() -> None:
    """ASME B1.1 3/8-16 UNC against ISO 261 M10x1.5: 1.5875/1.5 = 1.058."""
    assert LEAD_MM["3/8-16 UNC"] / LEAD_MM["M10x1.5"] - 1 == pytest.approx(0.058, abs=5e-4)


@pytest.mark.parametrize(
    ("name", "outside_mm", "pitch_diameter_mm", "inside_mm", "digit_mm"),
    [
        ("3/8-16 UNC", 0.375 * MM_PER_INCH, 0.3344 * MM_PER_INCH, 0.3073 * MM_PER_INCH, 0.00005 * MM_PER_INCH),
        ("M10x1.5", 10.0, 9.026, 8.376, 0.0005),
    ],
)
def test_our_lead_cuts_the_published_thread(name, outside_mm, pitch_diameter_mm, inside_mm, digit_mm) -> None:
    """ASME B1.1: 3/8-16 UNC 0.3344 and 0.3073 in; ISO 724 (number from memory): M10x1.5 9.026 and 8.376 mm.

    Basic profile (ISO 68-1, from memory): flanks of 60 degrees, the sharp V of height H = P sqrt(3)/2 cut by H/8
    outside and H/4 inside, so the pitch diameter lies 3/4 H and the inner one 5/4 H below the outside. The other
    thread's lead misses both.
    """
    for other, lead_mm in LEAD_MM.items():
        sharp_mm = lead_mm * math.sqrt(3) / 2
        misses = [outside_mm - 0.75 * sharp_mm - pitch_diameter_mm, outside_mm - 1.25 * sharp_mm - inside_mm]
        assert all((abs(miss) <= digit_mm) == (other == name) for miss in misses)


def test_one_turn_of_both_rear_levelers_is_0_0700_degree() -> None:
    """Derived, no published figure: atan(1.5875/1300) near level, base 1300 mm."""
    feet = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
    modes = heights_to_modes([0, 0, LEAD_MM["3/8-16 UNC"], LEAD_MM["3/8-16 UNC"]], feet)
    assert modes.pitch_deg == pytest.approx(0.0700, abs=5e-5)


# Readings


def test_type_b_shapes() -> None:
    """JCGM 100:2008 (GUM) 4.3.7, 4.3.9: a/sqrt 3 rectangular, a/sqrt 6 triangular; arcsine a/sqrt 2."""
    assert standard_from_limit(1, "rectangular") == pytest.approx(0.5774, abs=5e-5)
    assert standard_from_limit(1, "triangular") == pytest.approx(0.4082, abs=5e-5)
    assert standard_from_limit(1, "arcsine") == pytest.approx(0.7071, abs=5e-5)


def test_one_degree_of_misalignment_is_0_113_degree_of_false_roll() -> None:
    """Derived, no published figure: asin(sin 1 sin 6.5), pitch 6.5 degrees, roll 0. Along: 0.001 degree."""
    across = misaligned_reading_deg(pitch_deg=6.5, roll_deg=0, psi_deg=1, along=False)
    along = misaligned_reading_deg(pitch_deg=6.5, roll_deg=0, psi_deg=1, along=True)
    assert across == pytest.approx(0.113, abs=5e-4)
    assert 6.5 - along == pytest.approx(0.001, abs=1e-4)


def test_what_a_display_of_a_tenth_can_do() -> None:
    """Derived: resolution 0.05/sqrt 3 = 0.029; up to 1 degree of misalignment, 0.113/sqrt 3 = 0.065 in roll."""
    level = Instrument(resolution_deg=0.1, accuracy_deg=0.1, alignment_deg=1, repeat_deg=0, zero_deg=0, u_zero_deg=0)
    budget = reading_budget(instrument=level, along=False, reversed_pair=False, pitch_deg=6.5)
    assert budget.resolution_deg == pytest.approx(0.029, abs=5e-4)
    assert budget.alignment_deg == pytest.approx(0.065, abs=5e-4)
    assert budget.accuracy_deg == pytest.approx(0.1 / math.sqrt(3), abs=1e-12)


def test_reversal_cancels_the_zero_and_not_the_misalignment() -> None:
    """Derived: r0 = t + z, r180 = -t + z, both on a line 1 degree off square at 6.5 degrees of pitch."""
    line = float(misaligned_reading_deg(pitch_deg=6.5, roll_deg=0.2, psi_deg=1, along=False))
    pair = reversed_pair(r0_deg=line + 0.35, r180_deg=-line + 0.35)
    assert pair.zero_deg == pytest.approx(0.35, abs=1e-12)
    assert pair.tilt_deg == pytest.approx(0.2 + 0.113, abs=5e-4)


def test_the_two_peg_test_of_a_surveyors_level() -> None:
    """Textbook example: 1.476/1.432 m from the middle, 1.556/1.472 m from one end, 40 m: 0.001 m/m = 0.0573 degree."""
    zero = two_peg_zero_deg(middle_mm=[1476, 1432], end_mm=[1556, 1472], distance_mm=40_000)
    assert math.tan(math.radians(zero)) == pytest.approx(0.001, abs=1e-9)
    assert zero == pytest.approx(0.0573, abs=5e-5)


# Verdicts


@pytest.mark.parametrize(
    ("value", "u", "low", "high", "published", "digits"),
    [
        (-5.47, 0.05, -math.inf, -5.40, 0.919, 5e-4),  # upper limit only
        (507, 10, 490, math.inf, 0.955, 6e-4),  # lower limit only: 0.95543
        (13.6, 1.8, 12.5, 16.3, 0.66, 5e-3),  # both limits
    ],
)
def test_the_chance_of_conformity(value, u, low, high, published, digits) -> None:
    """JCGM 106:2012, clause 7, examples (inputs from memory, arithmetic reproduced)."""
    assert chance_inside(value=value, u=u, low=low, high=high) == pytest.approx(published, abs=digits)


def test_the_default_guard_band_is_1_645_u() -> None:
    """ISO 14253-1:2017 (from memory): 95 %, one-sided guard band 1.645 u on either side of the limit."""
    beyond = judge(value=[1.6448, 1.6449], u=1, low=-math.inf, high=0)
    within = judge(value=[-1.6449, -1.6448], u=1, low=-math.inf, high=0)
    assert (beyond.certificate == PROVEN_OUT).tolist() == [False, True]
    assert (within.certificate == PROVEN_IN).tolist() == [True, False]
