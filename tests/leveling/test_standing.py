"""What a machine will read from floor and legs alone, and what a survey teaches about it."""

import numpy as np
import pytest

from leveling.errors import BadInput
from leveling.four_feet import FourFeet, Offset
from leveling.frame import foot_positions
from leveling.standing import FootHeights, cabinet_of, foot_heights, learn_offset, playfield_of

FEET = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
SURE = np.zeros((4, 4))


def test_a_corner_is_floor_and_pad_and_leg_and_exposure():
    heights = foot_heights(
        floor_mm=[1, 2, 3, 4],
        floor_covariance_mm2=SURE,
        exposure_mm=[10, 11, 20, 21],
        leg_mm=[724, 724, 724, 725],
        pad_mm=[0, 0, 6, 6],
        u_leg_mm=0.5,
    )
    assert heights.heights_mm.tolist() == [735, 737, 753, 756]
    np.testing.assert_allclose(heights.covariance_mm2, np.eye(4) * 0.25)


def test_a_machine_on_a_falling_floor_takes_the_floors_slope():
    """A floor falling 1:48 toward the rear, equal legs: the cabinet pitches -1.1935 degrees, ADA Standards 2010."""
    heights = foot_heights(
        floor_mm=FEET[:, 1] * (-1 / 48), floor_covariance_mm2=SURE, exposure_mm=20, leg_mm=724, u_leg_mm=0
    )
    cabinet = cabinet_of(heights, FEET)
    assert cabinet.pitch_deg == pytest.approx(-1.1935, abs=5e-5)
    assert cabinet.roll_deg == pytest.approx(0, abs=1e-12)
    assert cabinet.twist_mm == pytest.approx(0, abs=1e-12)
    assert cabinet.u_pitch_deg == 0


def test_levelers_make_up_for_the_floor():
    wanted_rise = 1300 * np.tan(np.radians(2.0)) + 1300 / 48
    heights = foot_heights(
        floor_mm=FEET[:, 1] * (-1 / 48),
        floor_covariance_mm2=SURE,
        exposure_mm=[5, 5, 5 + wanted_rise, 5 + wanted_rise],
        leg_mm=724,
    )
    assert cabinet_of(heights, FEET).pitch_deg == pytest.approx(2.0, abs=1e-9)


def test_the_uncertainty_is_what_simulated_heights_show():
    """Monte Carlo of legs with a shared floor error: 3 % of the standard uncertainty."""
    rng = np.random.default_rng(1)
    plane_error = np.column_stack([FEET, np.ones(4)]) @ np.diag([0.001, 0.0005, 2.0])
    covariance = plane_error @ plane_error.T + np.eye(4) * 0.6**2
    mean = np.array([700.0, 702, 790, 793])
    many = rng.multivariate_normal(mean, covariance, 40_000)
    seen = cabinet_of(FootHeights(many, SURE), FEET)
    stated = cabinet_of(FootHeights(mean, covariance), FEET)
    true = np.cov(np.stack([seen.pitch_deg, seen.roll_deg, seen.twist_mm]))
    u = np.sqrt(np.diag(true))
    np.testing.assert_allclose(stated.covariance / np.outer(u, u), true / np.outer(u, u), atol=0.03)
    # A wrong slope of a flat floor makes no twist.
    assert stated.u_twist_mm == pytest.approx(0.6 / 2, abs=1e-12)


def test_the_playfield_adds_the_offset_and_its_uncertainty():
    cabinet = FourFeet(0.5, 0.1, 0.3, np.diag([0.03, 0.04, 0.2]) ** 2)
    playfield = playfield_of(cabinet, Offset(6.0, -0.2, u_pitch_deg=0.4, u_roll_deg=0.3))
    assert float(playfield.pitch_deg) == pytest.approx(6.5)
    assert float(playfield.roll_deg) == pytest.approx(-0.1)
    assert float(playfield.u_pitch_deg) == pytest.approx(np.hypot(0.03, 0.4))
    assert float(playfield.u_roll_deg) == pytest.approx(np.hypot(0.04, 0.3))
    assert float(playfield.u_twist_mm) == pytest.approx(0.2)


def test_learning_weighs_by_inverse_variance():
    """By hand: prior 0 with u 0.5, seen 1 with u 0.5: halfway, and u falls by sqrt 2."""
    cabinet = FourFeet(0.0, 0.0, 0.0, np.zeros((3, 3)))
    playfield = FourFeet(1.0, 0.2, 0.0, np.diag([0.5, 0.2, 0]) ** 2)
    learned = learn_offset(prior=Offset(), playfield=playfield, cabinet=cabinet)
    assert float(learned.pitch_deg) == pytest.approx(0.5)
    assert float(learned.u_pitch_deg) == pytest.approx(0.5 / np.sqrt(2))
    assert float(learned.roll_deg) == pytest.approx(0.1)


def test_learning_limits():
    """A perfect survey is believed, a hopeless one changes nothing, a certain prior stays."""
    cabinet = FourFeet(0.0, 0.0, 0.0, np.zeros((3, 3)))
    perfect = FourFeet(1.0, 0.2, 0.0, np.zeros((3, 3)))
    hopeless = FourFeet(1.0, 0.2, 0.0, np.eye(3) * 1e6)
    assert float(learn_offset(prior=Offset(), playfield=perfect, cabinet=cabinet).pitch_deg) == 1.0
    kept = learn_offset(prior=Offset(), playfield=hopeless, cabinet=cabinet)
    assert float(kept.pitch_deg) == pytest.approx(0, abs=1e-5)
    assert float(kept.u_pitch_deg) == pytest.approx(0.5, abs=1e-6)
    certain = Offset(3.0, 0.0, u_pitch_deg=0, u_roll_deg=0)
    assert float(learn_offset(prior=certain, playfield=perfect, cabinet=cabinet).pitch_deg) == 3.0


def test_learned_offsets_are_as_sure_as_they_say():
    """Machines drawn from the prior: rms error against stated uncertainty within 3 %."""
    rng = np.random.default_rng(2)
    n = 20_000
    true = rng.normal(0, 0.5, n)
    seen = FourFeet(true + rng.normal(0, 0.3, n), 0.0, 0.0, np.diag([0.3, 0.1, 0]) ** 2)
    cabinet = FourFeet(np.zeros(n), 0.0, 0.0, np.zeros((3, 3)))
    learned = learn_offset(prior=Offset(), playfield=seen, cabinet=cabinet)
    rms = np.sqrt(np.mean((learned.pitch_deg - true) ** 2))
    assert rms == pytest.approx(float(learned.u_pitch_deg.mean()), rel=0.03)


def test_batches_and_none():
    heights = foot_heights(
        floor_mm=np.zeros((7, 4)), floor_covariance_mm2=SURE, exposure_mm=np.ones((7, 4)), leg_mm=724
    )
    assert cabinet_of(heights, FEET).covariance.shape == (7, 3, 3)
    none = foot_heights(floor_mm=np.zeros((0, 4)), floor_covariance_mm2=SURE, exposure_mm=20, leg_mm=724)
    assert cabinet_of(none, FEET).pitch_deg.shape == (0,)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"floor_mm": [0, 0, 0]}, "floor_mm"),  # three feet
        ({"floor_covariance_mm2": np.eye(3)}, "floor_covariance_mm2"),
        ({"exposure_mm": [-1, 0, 0, 0]}, "exposure_mm"),  # further in than in
        ({"leg_mm": 0}, "leg_mm"),
        ({"pad_mm": -3}, "pad_mm"),
        ({"u_leg_mm": np.nan}, "u_leg_mm"),
    ],
)
def test_it_refuses_bad_input_by_name(change, name):
    good = {"floor_mm": np.zeros(4), "floor_covariance_mm2": SURE, "exposure_mm": 20, "leg_mm": 724}
    with pytest.raises(BadInput) as refused:
        foot_heights(**(good | change))
    assert refused.value.name == name
