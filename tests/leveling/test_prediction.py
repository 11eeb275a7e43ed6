"""What the playfield should read after the turns, and how sure that is."""

import numpy as np
import pytest

from leveling.contact import ALL_BEAR, rest
from leveling.errors import BadInput
from leveling.four_feet import FourFeet, Offset
from leveling.frame import Modes, foot_positions, heights_to_modes, modes_to_heights
from leveling.prediction import Turning, after_turns, as_it_stands

SQUARE = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
TAPERED = foot_positions(track_front_mm=520, track_rear_mm=640, base_mm=1250)
LEAD_MM = 1.5875  # ASME B1.1, 3/8-16 UNC
NO_ERROR = np.zeros((3, 3))


@pytest.mark.parametrize("feet", [SQUARE, TAPERED], ids=["square", "tapered"])
def test_turns_move_the_plane_as_the_heights_move(feet):
    """Independent way: add the lifts to four heights and read the frame. Exact, 1e-12 degree."""
    rng = np.random.default_rng(1)
    heights = rng.normal(0, 3, (200, 4)) + feet @ [0.001, 0.04]
    turns = rng.integers(-30, 31, (200, 4)) / 4
    modes, moved = heights_to_modes(heights, feet), heights_to_modes(heights + turns * LEAD_MM, feet)
    offset = Offset(pitch_deg=4.0, roll_deg=0.1)
    after = after_turns(
        before=FourFeet(modes.pitch_deg + 4.0, modes.roll_deg + 0.1, modes.twist_mm, NO_ERROR),
        turning=Turning(turns, LEAD_MM),
        feet_mm=feet,
        offset=offset,
    )
    np.testing.assert_allclose(after.pitch_deg, moved.pitch_deg + 4.0, atol=1e-12)
    np.testing.assert_allclose(after.roll_deg, moved.roll_deg + 0.1, atol=1e-12)
    np.testing.assert_allclose(after.twist_mm, moved.twist_mm, atol=1e-12)


def test_turning_nothing_changes_nothing():
    before = FourFeet(6.4, 0.1, 0.05, np.diag([0.06, 0.07, 0.02]) ** 2)
    after = after_turns(before=before, turning=Turning(np.zeros(4), LEAD_MM), feet_mm=SQUARE, offset=Offset())
    assert after.pitch_deg == pytest.approx(6.4, abs=1e-13)
    np.testing.assert_allclose(after.covariance, before.covariance, atol=1e-15)


def test_a_shaky_hand_adds_its_share():
    """By hand: one rear leg, 0.1 turn of 1.5875 mm: 0.15875 mm, over 2W in roll and a quarter in twist."""
    before = FourFeet(0.0, 0.0, 0.0, NO_ERROR)
    turning = Turning([0, 0, 0, 1], LEAD_MM, u_turn=0.1)
    after = after_turns(before=before, turning=turning, feet_mm=SQUARE, offset=Offset(u_pitch_deg=0))
    assert after.u_roll_deg == pytest.approx(np.degrees(0.15875 / 1120), rel=1e-4)
    assert after.u_twist_mm == pytest.approx(0.15875 / 4, rel=1e-12)


def test_an_unknown_offset_matters_for_large_changes_only():
    before = FourFeet(5.5, 0.0, 0.0, NO_ERROR)
    small, large = (
        after_turns(
            before=before,
            turning=Turning([0, 0, n, n], LEAD_MM, u_turn=0),
            feet_mm=SQUARE,
            offset=Offset(u_pitch_deg=0.5),
        ).u_pitch_deg
        for n in (0.25, 15)
    )
    assert small < 5e-5  # degree
    assert 0.001 < large < 0.003


@pytest.mark.parametrize("feet", [SQUARE, TAPERED], ids=["square", "tapered"])
@pytest.mark.parametrize("twist_mm", [-0.3, -0.02, 0.0, 0.02, 0.3])
def test_mean_and_uncertainty_are_what_resting_cabinets_show(feet, twist_mm):
    """Monte Carlo with ``contact.rest`` on heights drawn from the covariance: 2 % of u, and mean within 0.001."""
    rng = np.random.default_rng(2)
    u = np.array([0.02, 0.02, 0.06])
    correlation = np.array([[1, 0.2, 0.3], [0.2, 1, -0.6], [0.3, -0.6, 1]])
    four = FourFeet(6.5, 0.1, twist_mm, correlation * np.outer(u, u))
    drawn = rng.multivariate_normal([6.5, 0.1, twist_mm], four.covariance, 60_000)
    gradients = np.tan(np.radians(drawn[:, :2] - [4.0, 0.0]))
    modes = Modes(np.full(60_000, 700.0), gradients[:, 1], gradients[:, 0], drawn[:, 2])
    stood = rest(modes_to_heights(modes, feet), feet_mm=feet)
    said = as_it_stands(four, feet_mm=feet, offset=Offset(pitch_deg=4.0))
    assert said.pitch_deg == pytest.approx(stood.pitch_deg.mean() + 4.0, abs=5e-4)  # degree
    assert said.roll_deg == pytest.approx(stood.roll_deg.mean(), abs=5e-4)
    assert said.u_pitch_deg == pytest.approx(stood.pitch_deg.std(), rel=0.02)
    assert said.u_roll_deg == pytest.approx(stood.roll_deg.std(), rel=0.02)


def test_a_known_twist_gives_exactly_the_resting_cabinet():
    heights = np.random.default_rng(3).normal(0, 2, (300, 4))
    modes, stood = heights_to_modes(heights, TAPERED), rest(heights, feet_mm=TAPERED)
    four = FourFeet(modes.pitch_deg, modes.roll_deg, modes.twist_mm, NO_ERROR)
    said = as_it_stands(four, feet_mm=TAPERED, offset=Offset())
    np.testing.assert_allclose(said.pitch_deg, stood.pitch_deg, atol=1e-12)
    np.testing.assert_allclose(said.roll_deg, stood.roll_deg, atol=1e-12)
    np.testing.assert_allclose(said.gap_mm, stood.gap_mm, atol=1e-12)
    np.testing.assert_array_equal(said.light, stood.light)
    assert (said.u_roll_deg == 0).all()


def test_no_twist_means_all_feet_bear():
    said = as_it_stands(FourFeet(6.5, 0.1, 0.0, NO_ERROR), feet_mm=SQUARE, offset=Offset())
    assert said.light == ALL_BEAR
    assert (said.pitch_deg, said.roll_deg, said.gap_mm) == (pytest.approx(6.5), pytest.approx(0.1), 0)


def test_scalar_many_and_none_agree():
    cov = np.diag([0.06, 0.07, 0.02]) ** 2
    one = as_it_stands(FourFeet(6.5, 0.1, 0.1, cov), feet_mm=SQUARE, offset=Offset())
    many = as_it_stands(FourFeet(np.full((2, 3), 6.5), 0.1, 0.1, cov), feet_mm=SQUARE, offset=Offset())
    np.testing.assert_array_equal(many.u_roll_deg, np.full((2, 3), one.u_roll_deg))
    none = FourFeet(np.zeros(0), 0.1, 0.1, cov)
    assert as_it_stands(none, feet_mm=SQUARE, offset=Offset()).pitch_deg.shape == (0,)
    turned = after_turns(before=none, turning=Turning(np.zeros(4), 1.5), feet_mm=SQUARE, offset=Offset())
    assert turned.covariance.shape == (0, 3, 3)


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: Turning([1, 2, 3], LEAD_MM), "turns"),  # three legs
        (lambda: Turning([0, 0, 0, np.nan], LEAD_MM), "turns"),
        (lambda: Turning(np.zeros(4), 0), "lead_mm"),
        (lambda: Turning(np.zeros(4), LEAD_MM, u_turn=-1), "u_turn"),
    ],
)
def test_it_refuses_bad_input_by_name(call, name):
    with pytest.raises(BadInput) as refused:
        call()
    assert refused.value.name == name
