"""How a machine rests on four heights, and what its feet carry."""

import numpy as np
import pytest

from leveling.contact import ALL_BEAR, at_leg, foot_loads, light_foot, load_point, rest
from leveling.errors import BadInput
from leveling.frame import foot_positions, heights_to_modes, null_vector, plane_response

FL, FR, RL, RR = range(4)
SQUARE = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
TAPERED = foot_positions(track_front_mm=520, track_rear_mm=640, base_mm=1250)


@pytest.mark.parametrize(
    ("short_leg", "twist_mm", "light"),
    [
        (FL, -0.1, FL),  # FL short: twist below 0, and the weight keeps RR down
        (RR, -0.1, FL),  # RR short: same sign, and the weight sits on RR's side, so FL rises off the floor
        (FR, 0.1, FR),
        (RL, 0.1, FR),
    ],
)
def test_it_lets_a_front_foot_float_whichever_leg_is_short(short_leg, twist_mm, light):
    heights = -0.4 * at_leg(short_leg)
    stood = rest(heights, feet_mm=SQUARE)
    assert heights_to_modes(heights, SQUARE).twist_mm == pytest.approx(twist_mm, abs=1e-12)  # mm
    assert stood.light == light
    assert stood.gap_mm == pytest.approx(0.4, abs=1e-12)  # mm


def test_the_gap_is_four_times_the_twist():
    """Derived: for a rectangle the gap under the floating foot is 4 x twist."""
    rng = np.random.default_rng(1)
    heights = rng.normal(0, 2, (1000, 4))
    twist = heights_to_modes(heights, SQUARE).twist_mm
    np.testing.assert_allclose(rest(heights, feet_mm=SQUARE).gap_mm, 4 * np.abs(twist), atol=1e-12)


def test_the_rear_pair_alone_sets_the_roll():
    """With the weight toward the rear a front foot floats, so the roll is that of the line RL-RR."""
    rng = np.random.default_rng(2)
    heights = rng.normal(0, 2, (1000, 4))
    stood = rest(heights, feet_mm=SQUARE)
    np.testing.assert_allclose(stood.gx, (heights[:, RR] - heights[:, RL]) / 560, atol=1e-14)


def test_a_rigid_cabinet_differs_from_the_four_foot_plane_by_two_twists_over_track():
    """Derived: 2 twist / W in roll, 0.16 degree at 0.8 mm and W = 560."""
    heights = np.array([0.8, -0.8, -0.8, 0.8])  # twist 0.8 mm, plane level
    stood = rest(heights, feet_mm=SQUARE)
    assert stood.roll_deg == pytest.approx(np.degrees(2 * 0.8 / 560), abs=1e-6)
    assert stood.roll_deg == pytest.approx(0.16, abs=0.005)


@pytest.mark.parametrize("feet", [SQUARE, TAPERED], ids=["square", "tapered"])
def test_three_feet_touch_and_the_fourth_hangs_by_the_gap(feet):
    """Independent of the formulas: build the cabinet's plane and look at its height over each foot."""
    rng = np.random.default_rng(3)
    for heights in rng.normal(0, 2, (200, 4)):
        stood = rest(heights, feet_mm=feet)
        over = feet @ [float(stood.gx), float(stood.gy)]
        air = over - heights
        air -= air[[leg for leg in range(4) if leg != stood.light]].mean()
        np.testing.assert_allclose(air, stood.gap_mm * at_leg(stood.light), atol=1e-11)


def test_weight_on_the_front_makes_a_rear_foot_float():
    twist = np.array([-0.3, 0.3])
    load = load_point(SQUARE, rear_share=0.3)
    assert light_foot(twist, feet_mm=SQUARE, load_mm=load).tolist() == [RR, RL]


def test_a_load_on_the_diagonal_keeps_the_rear_foot_down():
    middle = SQUARE.mean(axis=0)
    assert light_foot([-0.3, 0.3], feet_mm=SQUARE, load_mm=middle).tolist() == [FL, FR]


def test_no_twist_leaves_all_four_down():
    plane = 3 + SQUARE @ [0.001, 0.1]
    stood = rest(np.round(plane, 6), feet_mm=SQUARE)
    assert stood.gap_mm == pytest.approx(0, abs=1e-5)  # mm
    level = rest(np.zeros(4), feet_mm=SQUARE)
    assert level.light == ALL_BEAR
    assert level.gap_mm == 0


def test_loads_of_four_springs_in_leg_order():
    """Derived: load at (0.5 a, 0.25 b) gives .0625 .3125 .1875 .4375."""
    feet = foot_positions(track_front_mm=2, track_rear_mm=2, base_mm=2)  # a = b = 1, centre at y = 1
    found = foot_loads(weight=1, load_mm=[0.5, 1.25], feet_mm=feet)
    np.testing.assert_allclose(found.loads, [0.0625, 0.3125, 0.1875, 0.4375], atol=1e-14)
    assert found.outcome == 0


def test_one_short_foot_moves_the_loads_alternating_around_the_table():
    """Derived: W 4, k 1, d 0.4, FL short: FL 0.9, FR 1.1, RL 1.1, RR 0.9."""
    feet = foot_positions(track_front_mm=2, track_rear_mm=2, base_mm=2)
    found = foot_loads(weight=4, load_mm=[0, 1], feet_mm=feet, stiffness_per_mm=1, heights_mm=[-0.4, 0, 0, 0])
    np.testing.assert_allclose(found.loads, [0.9, 1.1, 1.1, 0.9], atol=1e-14)


def test_the_diagonals_carry_half_each_wherever_the_load_is():
    """Derived, and no lift-off while |x/a| + |y/b| <= 1."""
    rng = np.random.default_rng(4)
    u, v = rng.uniform(-1, 1, (2, 500))
    x, y = (u + v) / 2, (u - v) / 2  # everywhere in |x| + |y| <= 1
    feet = foot_positions(track_front_mm=2, track_rear_mm=2, base_mm=2)
    found = foot_loads(weight=1, load_mm=np.stack([x, y + 1], axis=-1), feet_mm=feet)
    np.testing.assert_allclose(found.loads[:, FL] + found.loads[:, RR], 0.5, atol=1e-13)
    assert (found.loads >= -1e-13).all()
    assert (found.outcome == 0).all()
    outside = foot_loads(weight=1, load_mm=[0.6, 1.6], feet_mm=feet)
    assert outside.light == FL


def test_a_stiff_short_foot_floats_and_the_loads_still_balance():
    heights = np.array([-3.0, 0, 0, 0])
    load = load_point(TAPERED)
    found = foot_loads(weight=1200, load_mm=load, feet_mm=TAPERED, stiffness_per_mm=5000, heights_mm=heights)
    assert found.light == FL
    assert found.loads[FL] == 0
    assert (found.loads[1:] > 0).all()
    assert found.loads.sum() == pytest.approx(1200, abs=1e-9)
    np.testing.assert_allclose(found.loads @ TAPERED, 1200 * load, atol=1e-6)  # both moments


def test_loads_and_rest_agree_when_the_springs_are_stiff():
    """Limit: endless stiffness is the rigid cabinet, so foot and gap are those of ``rest``."""
    heights = np.random.default_rng(5).normal(0, 2, (300, 4))
    stood = rest(heights, feet_mm=TAPERED)
    found = foot_loads(weight=1, load_mm=load_point(TAPERED), feet_mm=TAPERED, stiffness_per_mm=1e9, heights_mm=heights)
    np.testing.assert_array_equal(found.light, stood.light)
    np.testing.assert_allclose(found.gap_mm, stood.gap_mm, atol=1e-7)


def test_of_two_short_feet_the_right_one_hangs_on_feet_of_unequal_track():
    """Fixed 2026-11-25: with unequal tracks the foot with the most negative spring need not be the one that hangs."""
    rng = np.random.default_rng(7)
    feet = foot_positions(track_front_mm=400, track_rear_mm=700, base_mm=1250)
    twist = rng.normal(0, 1, (500, 4))
    load = np.stack([rng.uniform(-60, 60, 500), rng.uniform(400, 800, 500)], axis=-1)
    found = foot_loads(weight=1, load_mm=load, feet_mm=feet, stiffness_per_mm=50, heights_mm=twist)
    assert (found.outcome == 1).mean() > 0.9
    assert (found.loads >= -1e-12).all()


def test_it_says_when_the_machine_tips():
    tipped = foot_loads(weight=1, load_mm=[400, 650], feet_mm=SQUARE)
    assert tipped.outcome == 2


def test_one_bad_row_does_not_stop_the_others():
    found = foot_loads(weight=1, load_mm=[[0, 650], [400, 650]], feet_mm=SQUARE)
    assert found.outcome.tolist() == [0, 2]


def test_scalar_one_many_and_none_agree():
    heights = np.random.default_rng(6).normal(0, 2, (5, 4))
    many = rest(heights, feet_mm=SQUARE)
    assert rest(heights[0], feet_mm=SQUARE).gx == many.gx[0]
    assert rest(heights[:1], feet_mm=SQUARE).gx.tolist() == many.gx[:1].tolist()
    assert rest(np.zeros((0, 4)), feet_mm=SQUARE).gx.shape == (0,)
    assert foot_loads(weight=1, load_mm=np.zeros((0, 2)), feet_mm=SQUARE).loads.shape == (0, 4)


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: rest([0, 0, np.nan, 0], feet_mm=SQUARE), "heights_mm"),  # not finite
        (lambda: rest([0, 0, 0], feet_mm=SQUARE), "heights_mm"),  # three heights
        (lambda: rest(np.zeros(4), feet_mm=np.zeros((4, 2))), "feet_mm"),  # feet in one point
        (lambda: light_foot(0.1, feet_mm=SQUARE, load_mm=[1, 2, 3]), "load_mm"),  # a point has x and y
        (lambda: load_point(SQUARE, rear_share=1.2), "rear_share"),  # more than all
        (lambda: at_leg(4), "leg"),  # no fifth leg
        (lambda: at_leg(0.5), "leg"),  # no half leg
        (lambda: foot_loads(weight=0, load_mm=[0, 0], feet_mm=SQUARE), "weight"),  # nothing to carry
    ],
)
def test_it_refuses_bad_input_by_name(call, name):
    with pytest.raises(BadInput) as refused:
        call()
    assert refused.value.name == name


def test_the_gap_of_any_feet_is_the_twist_over_that_foots_share():
    heights = -0.5 * at_leg(FL)
    stood = rest(heights, feet_mm=TAPERED)
    twist = (null_vector(TAPERED) * heights).sum()
    assert stood.gap_mm == pytest.approx(abs(twist) / null_vector(TAPERED)[FL], abs=1e-12)
    step = plane_response(TAPERED)[:, FL] * -0.5
    modes = heights_to_modes(heights, TAPERED)
    assert modes.gx - stood.gx == pytest.approx(step[0], abs=1e-15)
    assert modes.gy - stood.gy == pytest.approx(step[1], abs=1e-15)
