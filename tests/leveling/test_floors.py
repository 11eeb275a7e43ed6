"""The plane of a floor, where it falls, and what a bay on it does to a machine."""

import numpy as np
import pytest

from leveling.errors import BadInput
from leveling.floors import (
    DIRECTIONS_DEG,
    FLOOR_OUTCOMES,
    U_FLATNESS_MM,
    FloorPlane,
    bay_floor,
    fall,
    plane_from_heights,
    plane_from_slopes,
)
from leveling.frame import foot_positions, heights_to_modes

FEET = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
TAPERED = foot_positions(track_front_mm=520, track_rear_mm=640, base_mm=1250)


def plane_of(gradient, covariance=((0, 0), (0, 0))):
    return FloorPlane(np.array(gradient, float), np.array(covariance, float), np.float64(0), np.intp(0))


def test_the_steepest_floor_for_a_wheelchair_is_1_in_48():
    """2010 ADA Standards: 1:48 is 1.1935 degrees. Falling down the plan, so the arrow points down."""
    arrow = fall(plane_of([0, 1 / 48]))
    assert arrow.slope_deg == pytest.approx(1.1935, abs=5e-5)
    assert arrow.direction_deg == pytest.approx(DIRECTIONS_DEG["down"])


def test_a_garage_floor_of_an_eighth_inch_per_foot():
    """1/8 in per ft is 0.597 degree (custom, common practice, no source): heights 10 ft apart."""
    plane = plane_from_heights(
        points_mm=np.array([[0, 0], [0, 120], [60, 0]]) * 25.4,
        heights_mm=np.array([0, -10 / 8, 0]) * 25.4,
        u_mm=1,
    )
    arrow = fall(plane)
    assert arrow.slope_deg == pytest.approx(0.597, abs=5e-4)
    assert arrow.direction_deg == pytest.approx(DIRECTIONS_DEG["up"], abs=1e-9)


@pytest.mark.parametrize("word", DIRECTIONS_DEG)
def test_a_floor_that_falls_toward_a_direction_has_its_arrow_there(word):
    """Two readings, toward the word and a right angle from it."""
    direction = DIRECTIONS_DEG[word]
    plane = plane_from_slopes(slope_deg=[-0.8, 0.0], direction_deg=[direction, direction + 90], u_deg=0.05)
    arrow = fall(plane)
    assert arrow.slope_deg == pytest.approx(0.8, abs=1e-12)
    assert (arrow.direction_deg - direction + 180) % 360 - 180 == pytest.approx(0, abs=1e-9)


def test_slopes_in_any_directions_give_the_plane_back():
    rng = np.random.default_rng(1)
    gradient = rng.normal(0, 0.01, (300, 2))
    direction = rng.uniform(0, 360, (300, 5))
    along = np.radians(direction)
    slope = np.degrees(np.arctan(gradient[:, :1] * np.sin(along) + gradient[:, 1:] * np.cos(along)))
    plane = plane_from_slopes(slope_deg=slope, direction_deg=direction, u_deg=rng.uniform(0.02, 0.2, (300, 5)))
    np.testing.assert_allclose(plane.gradient, gradient, atol=1e-13)
    np.testing.assert_allclose(plane.misfit, 0, atol=1e-9)


def test_heights_anywhere_give_the_plane_back():
    rng = np.random.default_rng(2)
    gradient = rng.normal(0, 0.01, (300, 2))
    points = rng.uniform(-5000, 5000, (300, 6, 2))
    heights = 120 + (points * gradient[:, None, :]).sum(axis=-1)
    plane = plane_from_heights(points_mm=points, heights_mm=heights, u_mm=rng.uniform(0.5, 3, (300, 6)))
    np.testing.assert_allclose(plane.gradient, gradient, atol=1e-12)


def test_slopes_and_heights_of_the_same_floor_agree():
    by_slope = plane_from_slopes(slope_deg=[0.5, -0.2], direction_deg=[0, 90], u_deg=0.05)
    rise = np.tan(np.radians([0.5, -0.2]))
    by_height = plane_from_heights(
        points_mm=[[0, 0], [0, 3000], [4000, 0]], heights_mm=[7, 7 + 3000 * rise[0], 7 + 4000 * rise[1]], u_mm=1
    )
    np.testing.assert_allclose(by_slope.gradient, by_height.gradient, atol=1e-14)


@pytest.mark.parametrize("m", [2, 6])
def test_the_covariance_is_what_noisy_readings_show(m):
    """Monte Carlo, 4 %; readings that are as good as they say leave the Birge ratio near 1."""
    rng = np.random.default_rng(3)
    direction = np.arange(m) * 75.0
    true = np.array([0.003, -0.012])
    along = np.radians(direction)
    slope = np.degrees(np.arctan(true[0] * np.sin(along) + true[1] * np.cos(along)))
    seen = plane_from_slopes(slope_deg=slope + rng.normal(0, 0.05, (20_000, m)), direction_deg=direction, u_deg=0.05)
    plain = plane_from_slopes(slope_deg=slope, direction_deg=direction, u_deg=0.05)
    spread = np.sqrt(np.diag(np.cov(seen.gradient.T)))
    np.testing.assert_allclose(np.sqrt(np.diag(plain.covariance)), spread, rtol=0.04)
    np.testing.assert_allclose(seen.gradient.mean(axis=0), true, atol=2e-5)
    if m > 2:
        assert np.sqrt((seen.misfit**2).mean()) == pytest.approx(1, abs=0.03)


def test_a_floor_that_is_no_plane_says_so_and_is_less_sure():
    """A ridge: up 1 degree one way, up 1 degree the other way along the same line."""
    good = plane_from_slopes(slope_deg=[1, -1, 0], direction_deg=[0, 180, 90], u_deg=0.1)
    ridge = plane_from_slopes(slope_deg=[1, 1, 0], direction_deg=[0, 180, 90], u_deg=0.1)
    assert good.misfit == pytest.approx(0, abs=1e-9)
    assert ridge.misfit > 10
    assert ridge.covariance[1, 1] == pytest.approx(good.covariance[1, 1] * ridge.misfit**2, rel=1e-3)


def test_readings_that_cannot_tell_get_a_code_and_stop_nobody_else():
    plane = plane_from_slopes(
        slope_deg=[[0.5, 0.1, 0.0], [0.5, 0.5, 0.0], [0.5, 0.0, 0.0]],
        direction_deg=[[0, 90, 0], [0, 180, 0], [0, 0, 0]],
        u_deg=0.05,
        used=[[True, True, False], [True, True, False], [True, False, False]],
    )
    assert plane.outcome.tolist() == [0, 2, 1]
    assert "across" in FLOOR_OUTCOMES[2]
    np.testing.assert_allclose(plane.gradient[1:], 0)
    alone = plane_from_slopes(slope_deg=[0.5, 0.1], direction_deg=[0, 90], u_deg=0.05)
    np.testing.assert_allclose(plane.gradient[0], alone.gradient, atol=1e-15)
    np.testing.assert_allclose(plane.covariance[0], alone.covariance, atol=1e-18)


def test_heights_on_one_line_cannot_tell():
    plane = plane_from_heights(points_mm=[[0, 0], [1000, 1000], [2500, 2500]], heights_mm=[0, 5, 9], u_mm=1)
    assert plane.outcome == 2
    assert plane_from_heights(points_mm=[[0, 0], [1, 0]], heights_mm=[0, 1], u_mm=1).outcome == 1


@pytest.mark.parametrize(
    ("heading_deg", "gx", "gy"),
    [
        # the plan rises 0.002 to the right and 0.010 toward the top
        (0, 0.002, 0.010),  # rear up the plan, player's right is right
        (90, -0.010, 0.002),  # rear to the right, player's right is down
        (180, -0.002, -0.010),
        (270, 0.010, -0.002),
    ],
)
def test_the_same_floor_at_four_headings(heading_deg, gx, gy):
    bay = bay_floor(plane_of([0.002, 0.010]), heading_deg=heading_deg, feet_mm=FEET)
    assert bay.gx == pytest.approx(gx, abs=1e-15)
    assert bay.gy == pytest.approx(gy, abs=1e-15)


def test_the_heights_under_the_feet_are_the_bays_gradient_and_no_twist():
    rng = np.random.default_rng(4)
    heading = rng.uniform(-360, 720, 200)
    bay = bay_floor(plane_of([0.004, -0.011]), heading_deg=heading, feet_mm=TAPERED)
    modes = heights_to_modes(bay.heights_mm, TAPERED)
    np.testing.assert_allclose(modes.gx, bay.gx, atol=1e-15)
    np.testing.assert_allclose(modes.gy, bay.gy, atol=1e-15)
    np.testing.assert_allclose(modes.twist_mm, 0, atol=1e-12)
    np.testing.assert_allclose(bay.heights_mm.mean(axis=-1), 0, atol=1e-12)
    np.testing.assert_allclose(np.hypot(bay.gx, bay.gy), np.hypot(0.004, 0.011), atol=1e-15)


def test_the_floors_uncertainty_reaches_the_feet():
    """Only pitch known badly, heading 0: heights are off together front to rear, by y times u."""
    bay = bay_floor(plane_of([0, 0.01], np.diag([0, 0.001**2])), heading_deg=0, feet_mm=FEET, u_flatness_mm=0)
    np.testing.assert_allclose(np.sqrt(np.diag(bay.covariance_mm2)), 0.65, atol=1e-12)
    assert bay.u_gy == pytest.approx(0.001)
    assert bay.u_gx == 0
    turned = bay_floor(plane_of([0, 0.01], np.diag([0, 0.001**2])), heading_deg=90, feet_mm=FEET)
    assert turned.u_gx == pytest.approx(0.001)
    assert turned.u_gy == pytest.approx(0, abs=1e-12)


def test_the_floor_is_as_flat_as_the_standard_lets_it_be():
    """DIN 18202 Table 3 row 3: 4 mm at 1 m, plus or minus 2 mm taken as rectangular (GUM 4.3.7)."""
    assert pytest.approx(2 / np.sqrt(3)) == U_FLATNESS_MM
    bay = bay_floor(plane_of([0, 0]), heading_deg=0, feet_mm=FEET)
    np.testing.assert_allclose(bay.covariance_mm2, np.eye(4) * 4 / 3)


def test_a_level_floor_falls_nowhere_in_particular():
    arrow = fall(plane_of([0, 0], np.diag([1e-6, 4e-6])))
    assert (arrow.slope_deg, arrow.direction_deg) == (0, 0)
    assert arrow.u_direction_deg == 180
    assert arrow.u_slope_deg == pytest.approx(np.degrees(0.002))


def test_one_many_and_none_agree():
    many = plane_from_slopes(slope_deg=np.full((2, 3, 2), 0.4), direction_deg=[0, 90], u_deg=0.05)
    one = plane_from_slopes(slope_deg=[0.4, 0.4], direction_deg=[0, 90], u_deg=0.05)
    np.testing.assert_array_equal(many.gradient[1, 2], one.gradient)
    assert bay_floor(many, heading_deg=30, feet_mm=FEET).covariance_mm2.shape == (2, 3, 4, 4)
    none = plane_from_slopes(slope_deg=np.zeros((0, 2)), direction_deg=[0, 90], u_deg=0.05)
    assert bay_floor(none, heading_deg=30, feet_mm=FEET).heights_mm.shape == (0, 4)
    assert fall(none).slope_deg.shape == (0,)


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: plane_from_slopes(slope_deg=0.5, direction_deg=0, u_deg=0.05), "slope_deg"),  # no axis
        (lambda: plane_from_slopes(slope_deg=[0.5, np.nan], direction_deg=[0, 90], u_deg=0.1), "slope_deg"),
        (lambda: plane_from_slopes(slope_deg=[50, 0], direction_deg=[0, 90], u_deg=0.1), "slope_deg"),  # a wall
        (lambda: plane_from_slopes(slope_deg=[0.5, 0], direction_deg=[0, np.inf], u_deg=0.1), "direction_deg"),
        (lambda: plane_from_slopes(slope_deg=[0.5, 0], direction_deg=[0, 90], u_deg=0), "u_deg"),  # no tool is
        (lambda: plane_from_slopes(slope_deg=[1, 0], direction_deg=[0, 90], u_deg=1, used=[1, 1]), "used"),
        (lambda: plane_from_heights(points_mm=[[0, 0]], heights_mm=[0, 1], u_mm=1), "points_mm"),  # one point
        (lambda: plane_from_heights(points_mm=[[0, 0, 0]], heights_mm=[0], u_mm=1), "points_mm"),  # in space
        (lambda: bay_floor(plane_of([0, 0]), heading_deg=np.nan, feet_mm=FEET), "heading_deg"),
        (lambda: bay_floor(plane_of([0, 0]), heading_deg=0, feet_mm=FEET[:3]), "feet_mm"),  # three feet
        (lambda: bay_floor(plane_of([0, 0]), heading_deg=0, feet_mm=FEET, u_flatness_mm=-1), "u_flatness_mm"),
    ],
)
def test_it_refuses_bad_input_by_name(call, name):
    with pytest.raises(BadInput) as refused:
        call()
    assert refused.value.name == name
