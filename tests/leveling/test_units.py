"""Units at the door: slopes and lengths come in as read and go out as wanted."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from leveling.errors import BadInput
from leveling.units import (
    LEAD_MM,
    LENGTH_UNITS,
    MM_PER_INCH,
    SLOPE_UNITS,
    length_in,
    length_mm,
    slope_deg,
    slope_in,
)

ANGLE_DEG = 1e-12  # tolerance
LENGTH_MM = 1e-9


@given(angle=st.floats(-60, 60), unit=st.sampled_from(SLOPE_UNITS))
def test_a_slope_survives_the_way_there_and_back(angle: float, unit: str) -> None:
    assert slope_deg(slope_in(angle, unit), unit) == pytest.approx(angle, abs=60 * ANGLE_DEG)


@given(length=st.floats(-1e5, 1e5), unit=st.sampled_from(LENGTH_UNITS))
def test_a_length_survives_the_way_there_and_back(length: float, unit: str) -> None:
    assert length_mm(length_in(length, unit), unit) == pytest.approx(length, abs=LENGTH_MM)


def test_a_half_turn_of_the_sign_turns_only_the_sign() -> None:
    for unit in SLOPE_UNITS:
        assert slope_deg(-2.5, unit) == -slope_deg(2.5, unit)


def test_the_same_slope_in_four_units_is_one_angle() -> None:
    """Rise 1 over run 12: 1 inch per foot, 83.33 mm per m, 8.333 percent, atan(1/12)."""
    angle = math.degrees(math.atan(1 / 12))
    for value, unit in ((1, "in_per_ft"), (1000 / 12, "mm_per_m"), (100 / 12, "percent"), (angle, "deg")):
        assert slope_deg(value, unit) == pytest.approx(angle, abs=ANGLE_DEG), unit


def test_it_keeps_a_steep_gradient_below_ninety_degrees() -> None:
    assert slope_deg(1e300, "percent") == pytest.approx(90)
    assert slope_deg(100, "percent") == pytest.approx(45, abs=ANGLE_DEG)


def test_scalar_one_many_and_none_agree() -> None:
    many = np.linspace(-70, 70, 12).reshape(3, 4)
    for unit in SLOPE_UNITS:
        scalars = [[float(slope_deg(value, unit)) for value in row] for row in many]
        assert slope_deg(many, unit).tolist() == scalars
        assert slope_deg(many[:1, :1], unit).tolist() == [[scalars[0][0]]]
        assert slope_deg(np.zeros((0, 4)), unit).shape == (0, 4)


def test_it_knows_the_leads_of_the_levelers_by_name() -> None:
    assert set(LEAD_MM) == {"3/8-16 UNC", "M10x1.5"}
    assert LEAD_MM["3/8-16 UNC"] * 16 == pytest.approx(MM_PER_INCH, abs=LENGTH_MM)


@pytest.mark.parametrize(
    ("function", "value", "unit", "name"),
    [
        (slope_deg, math.nan, "deg", "value"),  # not a number
        (slope_deg, math.inf, "percent", "value"),  # not finite
        (slope_deg, 90.0, "deg", "value"),  # a wall has no slope
        (slope_deg, -90.0, "deg", "value"),
        (slope_deg, "steep", "deg", "value"),  # words
        (slope_deg, [1.0, None], "deg", "value"),  # a hole in the row
        (slope_deg, 1.0, "degrees", "unit"),  # no such unit
        (slope_in, 90.0, "percent", "angle_deg"),
        (slope_in, math.nan, "mm_per_m", "angle_deg"),
        (slope_in, 1.0, "", "unit"),
        (length_mm, math.nan, "mm", "value"),
        (length_mm, 1.0, "ft", "unit"),
        (length_in, -math.inf, "in", "length_mm"),
        (length_in, 1.0, "MM", "unit"),
    ],
)
def test_it_refuses_bad_input_by_name(function, value, unit, name) -> None:
    with pytest.raises(BadInput) as refusal:
        function(value, unit)
    assert refusal.value.name == name
    assert refusal.value.remedy
