"""From the playfield as it stands to the plane of all four feet."""

import numpy as np
import pytest

from leveling.contact import ALL_BEAR, rest
from leveling.errors import BadInput
from leveling.four_feet import FourFeet, Offset, checked_covariance, mode_rows, tilted, to_four_feet
from leveling.frame import Modes, foot_positions, heights_to_modes, modes_to_heights
from leveling.support import Stance

SQUARE = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
TAPERED = foot_positions(track_front_mm=520, track_rear_mm=640, base_mm=1250)
NO_ERROR = np.zeros((2, 2))


def converted(stood, *, feet, offset, covariance=NO_ERROR, u_gap_mm=0.0):
    return to_four_feet(
        pitch_deg=stood.pitch_deg + offset.pitch_deg,
        roll_deg=stood.roll_deg + offset.roll_deg,
        covariance_deg2=covariance,
        stance=Stance(stood.light, stood.gap_mm, u_gap_mm),
        feet_mm=feet,
        offset=offset,
    )


@pytest.mark.parametrize("feet", [SQUARE, TAPERED], ids=["square", "tapered"])
def test_there_and_back_is_exact(feet):
    """Four heights, how they make the cabinet rest, and back: exact, not to first order."""
    rng = np.random.default_rng(1)
    heights = rng.normal(0, 5, (500, 4)) + feet @ [0.002, 0.05]
    modes = heights_to_modes(heights, feet)
    offset = Offset(pitch_deg=4.0, roll_deg=-0.2)
    four = converted(rest(heights, feet_mm=feet), feet=feet, offset=offset)
    np.testing.assert_allclose(four.pitch_deg, modes.pitch_deg + 4.0, atol=1e-12)  # degree
    np.testing.assert_allclose(four.roll_deg, modes.roll_deg - 0.2, atol=1e-12)
    np.testing.assert_allclose(four.twist_mm, modes.twist_mm, atol=1e-12)  # mm


def test_all_bearing_changes_nothing():
    four = to_four_feet(
        pitch_deg=6.5,
        roll_deg=-0.3,
        covariance_deg2=np.diag([0.01, 0.02]),
        stance=Stance(ALL_BEAR, 0.0, 0.0),
        feet_mm=SQUARE,
        offset=Offset(),
    )
    assert four.pitch_deg == pytest.approx(6.5, abs=1e-12)
    assert four.roll_deg == pytest.approx(-0.3, abs=1e-12)
    assert four.twist_mm == 0
    np.testing.assert_allclose(four.covariance, np.diag([0.01, 0.02, 0]), atol=1e-12)


def test_a_floating_front_left_foot_means_negative_twist_and_left_low():
    """FL hangs 3.2 mm: let down onto the floor it would lower the left side by half of it over the track."""
    four = to_four_feet(
        pitch_deg=0.0,
        roll_deg=0.0,
        covariance_deg2=NO_ERROR,
        stance=Stance(0, 3.2, 0.0),
        feet_mm=SQUARE,
        offset=Offset(),
    )
    assert four.twist_mm == pytest.approx(-0.8, abs=1e-12)
    assert four.roll_deg == pytest.approx(np.degrees(np.arctan(3.2 / 1120)), abs=1e-12)
    assert four.pitch_deg == pytest.approx(np.degrees(np.arctan(3.2 / 2600)), abs=1e-12)


@pytest.mark.parametrize("feet", [SQUARE, TAPERED], ids=["square", "tapered"])
def test_the_covariance_is_what_simulated_errors_show(feet):
    """Monte Carlo of readings and gap against the first-order covariance, 2 % of the standard uncertainty."""
    rng = np.random.default_rng(2)
    covariance = np.array([[0.06**2, 0.5 * 0.06 * 0.08], [0.5 * 0.06 * 0.08, 0.08**2]])
    angles = rng.multivariate_normal([6.5, 0.3], covariance, 40_000)
    gap = rng.normal(1.5, 0.15, 40_000)
    offset = Offset(pitch_deg=3.0)
    seen = to_four_feet(
        pitch_deg=angles[:, 0],
        roll_deg=angles[:, 1],
        covariance_deg2=covariance,
        stance=Stance(1, gap, 0.15),
        feet_mm=feet,
        offset=offset,
    )
    true = np.cov(np.stack([seen.pitch_deg, seen.roll_deg, seen.twist_mm]))
    stated = seen.covariance.mean(axis=0)
    u = np.sqrt(np.diag(true))
    np.testing.assert_allclose(stated / np.outer(u, u), true / np.outer(u, u), atol=0.03)


def test_an_unnoticed_gap_spreads_twist_and_roll_together():
    four = to_four_feet(
        pitch_deg=6.5,
        roll_deg=0.0,
        covariance_deg2=NO_ERROR,
        stance=Stance(ALL_BEAR, 0.0, 0.2),
        feet_mm=SQUARE,
        offset=Offset(),
    )
    assert four.u_twist_mm == pytest.approx(0.05, abs=1e-12)  # gap / 4
    assert four.u_roll_deg == pytest.approx(np.degrees(2 * 0.05 / 560), rel=1e-4)  # 2 twist / W
    # Twist above 0 lets FR float, the cabinet then leans right high: on four feet it is right lower.
    assert four.covariance[1, 2] < 0


def test_a_rough_offset_is_good_enough_here():
    stood = {"pitch_deg": 6.5, "roll_deg": 0.3, "covariance_deg2": NO_ERROR, "stance": Stance(1, 3.0, 0.1)}
    near = to_four_feet(**stood, feet_mm=SQUARE, offset=Offset(pitch_deg=4.0))
    far = to_four_feet(**stood, feet_mm=SQUARE, offset=Offset(pitch_deg=5.0))
    assert near.pitch_deg == pytest.approx(far.pitch_deg, abs=1e-3)  # degree


def test_one_turn_of_both_rear_levelers_near_level_and_at_pitch():
    """Derived: 3/8-16 UNC, B 1300 mm: 0.0700 degree near level, 0.0691 at 6.5."""
    turn = 1.5875 / 1300
    assert tilted(0.0, offset_deg=0, gradient=turn) == pytest.approx(0.0700, abs=5e-5)
    assert tilted(6.5, offset_deg=0, gradient=turn) - 6.5 == pytest.approx(0.0691, abs=5e-5)
    # A quarter turn of one rear leg, and of one leg in roll at W 560.
    assert tilted(0.0, offset_deg=0, gradient=turn / 8) == pytest.approx(0.0087, abs=5e-5)
    assert tilted(0.0, offset_deg=0, gradient=1.5875 / 4 / 1120) == pytest.approx(0.0203, abs=5e-5)


def test_mode_rows_are_the_frame_in_one_matrix():
    modes = Modes(height_mm=np.float64(700.0), gx=np.float64(0.01), gy=np.float64(0.1), twist_mm=np.float64(-0.4))
    heights = modes_to_heights(modes, TAPERED)
    np.testing.assert_allclose(mode_rows(TAPERED) @ heights, [0.1, 0.01, -0.4], atol=1e-12)
    assert mode_rows(np.broadcast_to(TAPERED, (3, 2, 4, 2))).shape == (3, 2, 3, 4)


def test_scalar_one_many_and_none_agree():
    def call(n):
        return to_four_feet(
            pitch_deg=np.full(n, 6.5),
            roll_deg=np.full(n, 0.2),
            covariance_deg2=np.eye(2) * 0.01,
            stance=Stance(np.full(n, 1), np.full(n, 0.8), 0.1),
            feet_mm=SQUARE,
            offset=Offset(),
        )

    one, many, none = call(()), call((3, 5)), call((0,))
    assert many.covariance.shape == (3, 5, 3, 3)
    np.testing.assert_array_equal(many.pitch_deg, np.full((3, 5), one.pitch_deg))
    np.testing.assert_array_equal(many.covariance[2, 4], one.covariance)
    assert none.pitch_deg.shape == (0,)
    assert none.covariance.shape == (0, 3, 3)


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: Offset(pitch_deg=np.nan), "pitch_deg"),
        (lambda: Offset(u_roll_deg=-0.1), "u_roll_deg"),  # an uncertainty is not negative
        (lambda: FourFeet(6.5, 0, 0, np.eye(2)), "covariance"),  # three by three
        (lambda: FourFeet(6.5, 0, np.inf, np.eye(3)), "twist_mm"),
        (lambda: checked_covariance("c", [[1, 0], [0, -1]], size=2), "c"),  # negative variance
        (lambda: checked_covariance("c", [[1, 0.5], [0, 1]], size=2), "c"),  # not symmetric
        (lambda: tilted(60, offset_deg=0, gradient=0), "angle_deg"),  # not a playfield
        (lambda: tilted(6, offset_deg=0, gradient=np.nan), "gradient"),
    ],
)
def test_it_refuses_bad_input_by_name(call, name):
    with pytest.raises(BadInput) as refused:
        call()
    assert refused.value.name == name


def test_a_covariance_that_is_symmetric_but_for_rounding_is_taken():
    """Found 2026-11-25: a cancelled corner beside variances of 1e3 was called asymmetric, and a survey failed."""
    rounded = np.array([[1e3, 1e-11, 0.0], [-1e-11, 1e3, 0.0], [0.0, 0.0, 1.0]])
    assert checked_covariance("covariance", rounded, size=3).shape == (3, 3)
    with pytest.raises(BadInput, match="symmetric"):
        checked_covariance("covariance", [[1e-8, 1e-11], [-1e-11, 1e-8]], size=2)
