"""The frame: four heights are height, pitch, roll and twist, no more and no less."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from leveling.errors import BadInput
from leveling.frame import (
    LEGS,
    Modes,
    foot_positions,
    heights_to_modes,
    modes_to_heights,
    null_vector,
    plane_response,
)

HEIGHT_MM = 1e-9  # tolerances
GRADIENT = 1e-12

RECTANGLE = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
NARROW_FRONT = foot_positions(track_front_mm=520, track_rear_mm=600, base_mm=1300)

heights = st.lists(st.floats(-50, 50), min_size=4, max_size=4)


def test_the_leg_order_is_front_left_first() -> None:
    assert LEGS == ("FL", "FR", "RL", "RR")
    assert NARROW_FRONT.tolist() == [[-260, 0], [260, 0], [-300, 1300], [300, 1300]]


@given(z=heights)
def test_four_heights_survive_the_way_to_modes_and_back(z) -> None:
    for feet in (RECTANGLE, NARROW_FRONT):
        assert modes_to_heights(heights_to_modes(z, feet), feet) == pytest.approx(z, abs=HEIGHT_MM)


@given(z=heights)
def test_a_rectangle_follows_the_hand_formulas(z) -> None:
    """Rectangular feet, derived by hand: gradients from the mean ends and sides, twist from the diagonals."""
    fl, fr, rl, rr = z
    modes = heights_to_modes(z, RECTANGLE)
    assert modes.gy == pytest.approx(((rl + rr) - (fl + fr)) / (2 * 1300), abs=GRADIENT)
    assert modes.gx == pytest.approx(((fr + rr) - (fl + rl)) / (2 * 560), abs=GRADIENT)
    assert modes.twist_mm == pytest.approx((fl - fr - rl + rr) / 4, abs=HEIGHT_MM)
    assert modes.height_mm == pytest.approx(sum(z) / 4, abs=HEIGHT_MM)


@given(h=st.floats(-50, 50), gx=st.floats(-0.2, 0.2), gy=st.floats(-0.2, 0.2))
def test_feet_in_one_plane_have_no_twist(h, gx, gy) -> None:
    for feet in (RECTANGLE, NARROW_FRONT):
        modes = heights_to_modes(h + gx * feet[:, 0] + gy * feet[:, 1], feet)
        assert modes.twist_mm == pytest.approx(0, abs=HEIGHT_MM)
        assert (float(modes.gx), float(modes.gy)) == pytest.approx((gx, gy), abs=GRADIENT)


def test_twist_alone_leaves_height_pitch_and_roll_at_zero() -> None:
    for feet in (RECTANGLE, NARROW_FRONT):
        z = modes_to_heights(Modes(*(np.array(value) for value in (0.0, 0.0, 0.0, 0.4))), feet)
        again = heights_to_modes(z, feet)
        assert (float(again.height_mm), float(again.gx), float(again.gy)) == pytest.approx((0, 0, 0), abs=1e-12)
        assert again.twist_mm == pytest.approx(0.4, abs=HEIGHT_MM)


def test_a_foot_short_by_the_gap_is_a_twist_of_a_quarter() -> None:
    """Gap under a floating foot = 4 x twist on a rectangle: shorten FL by 2 mm, the plane of the others is level."""
    assert heights_to_modes([-2, 0, 0, 0], RECTANGLE).twist_mm == pytest.approx(-0.5, abs=HEIGHT_MM)


@pytest.mark.parametrize("feet", [RECTANGLE, NARROW_FRONT, NARROW_FRONT[[0, 1, 2, 3]] + [7.0, -3.0]])
def test_the_null_vector_is_blind_to_every_plane(feet) -> None:
    n = null_vector(feet)
    plane = np.column_stack([np.ones(4), feet])
    assert n @ plane == pytest.approx([0, 0, 0], abs=1e-10)
    assert np.abs(n).sum() == pytest.approx(1, abs=1e-12)
    assert n[0] > 0


def test_mirroring_the_heights_turns_roll_and_twist_around() -> None:
    z = [1.0, 2.0, 3.0, 5.0]
    modes, mirrored = heights_to_modes(z, RECTANGLE), heights_to_modes([2.0, 1.0, 5.0, 3.0], RECTANGLE)
    assert mirrored.gx == pytest.approx(-modes.gx, abs=GRADIENT)
    assert mirrored.twist_mm == pytest.approx(-modes.twist_mm, abs=HEIGHT_MM)
    assert mirrored.gy == pytest.approx(modes.gy, abs=GRADIENT)


def test_right_side_higher_and_rear_higher_are_positive() -> None:
    assert heights_to_modes([0, 1, 0, 1], RECTANGLE).roll_deg > 0
    assert heights_to_modes([0, 0, 1, 1], RECTANGLE).pitch_deg > 0


def test_one_turn_of_both_rear_levelers_moves_the_pitch_by_the_hand_worked_angle() -> None:
    """DESIGN check values, derived: lead 1.5875 mm, B = 1300 mm: 0.0700 degree near level, 0.0691 at 6.5."""
    turn = 1.5875
    near_level = heights_to_modes([0, 0, turn, turn], RECTANGLE).pitch_deg
    assert near_level == pytest.approx(0.0700, abs=0.00005)
    rise = 1300 * math.tan(math.radians(6.5))
    steep = heights_to_modes([0, 0, rise + turn, rise + turn], RECTANGLE).pitch_deg - 6.5
    assert steep == pytest.approx(0.0691, abs=0.00005)


def test_a_quarter_turn_of_one_leg_moves_pitch_and_roll_by_the_hand_worked_angles() -> None:
    """DESIGN check values, derived: 0.0087 degree of pitch; W = 560 mm: 0.0203 degree of roll."""
    modes = heights_to_modes([0, 0, 0, 1.5875 / 4], RECTANGLE)
    assert modes.pitch_deg == pytest.approx(0.0087, abs=0.00005)
    assert modes.roll_deg == pytest.approx(0.0203, abs=0.00005)


def test_the_response_of_the_plane_is_its_change_per_millimetre() -> None:
    response = plane_response(NARROW_FRONT)
    for leg in range(4):
        modes = heights_to_modes(np.eye(4)[leg], NARROW_FRONT)
        assert response[:, leg] == pytest.approx([modes.gx, modes.gy], abs=GRADIENT)


def test_scalar_one_many_and_none_agree() -> None:
    rng = np.random.default_rng(7)
    z = rng.normal(size=(3, 5, 4))
    bases = 1300 + 50 * rng.random((3, 5))
    feet = foot_positions(track_front_mm=560, track_rear_mm=580, base_mm=bases)
    many = heights_to_modes(z, feet)
    for index in np.ndindex(3, 5):
        single = heights_to_modes(z[index], feet[index])
        one = heights_to_modes(z[index][None], feet[index][None])
        for name in ("height_mm", "gx", "gy", "twist_mm"):
            assert getattr(many, name)[index] == pytest.approx(getattr(single, name), abs=1e-14)
            assert getattr(one, name).tolist() == [float(getattr(single, name))]
    assert heights_to_modes(np.zeros((0, 4)), RECTANGLE).twist_mm.shape == (0,)
    assert modes_to_heights(heights_to_modes(np.zeros((0, 4)), RECTANGLE), RECTANGLE).shape == (0, 4)


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: foot_positions(track_front_mm=0, track_rear_mm=560, base_mm=1300), "track_front_mm"),  # no width
        (lambda: foot_positions(track_front_mm=560, track_rear_mm=-1, base_mm=1300), "track_rear_mm"),  # negative
        (lambda: foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=math.nan), "base_mm"),
        (lambda: heights_to_modes([0, 0, 0], RECTANGLE), "heights_mm"),  # three legs
        (lambda: heights_to_modes([0, 0, 0, math.inf], RECTANGLE), "heights_mm"),
        (lambda: heights_to_modes([0, 0, 0, 0], RECTANGLE[:3]), "feet_mm"),  # three positions
        (lambda: null_vector([[0, 0], [1, 0], [2, 0], [0, 1]]), "feet_mm"),  # three feet in a line
        (lambda: null_vector(np.zeros((4, 2))), "feet_mm"),  # all in one spot
        (lambda: plane_response([[0, 0], [1, 1], [2, 2], [3, 3]]), "feet_mm"),  # all in one line
        (lambda: null_vector(np.zeros((4, 3))), "feet_mm"),  # x, y, z
    ],
)
def test_it_refuses_bad_input_by_name(call, name) -> None:
    with pytest.raises(BadInput) as refusal:
        call()
    assert refusal.value.name == name
