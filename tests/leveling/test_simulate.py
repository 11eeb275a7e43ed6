"""Simulated floors, machines, levels and people behave as physics and the sheets say."""

import numpy as np
import pytest

from leveling.contact import ALL_BEAR, foot_loads, rest
from leveling.errors import BadInput
from leveling.floors import bay_floor, plane_from_heights
from leveling.instruments import Instrument, misaligned_reading_deg
from leveling.instruments_zeros import reversed_pair
from leveling.simulate import Machines, corner_heights, make_machines, stand, turned
from leveling.simulate_floors import Floors, drifted, floor_heights, make_floors
from leveling.simulate_work import feel_gap, make_levels, read_level, turn_legs, turn_until_it_bears

SHEET = {
    "resolution_deg": 0.1,
    "accuracy_deg": 0.1,
    "alignment_deg": 1.0,
    "repeat_deg": 0.02,
    "zero_deg": 0.0,
    "u_zero_deg": 0.1,
}


def sheet(**changes):
    return Instrument(**(SHEET | changes))


def rng_of(seed=1):
    return np.random.default_rng(seed)


def test_a_rigid_machine_stands_on_the_three_feet_that_the_formulas_say():
    """Statics of springs here against the geometry of ``contact``: 2,000 machines on wavy floors, one call."""
    rng = rng_of()
    machines = make_machines(rng=rng, count=2000)
    floor = floor_heights(floors=make_floors(rng=rng, count=2000), feet_mm=machines.feet_mm)
    stood = stand(machines, floor)
    said = rest(corner_heights(machines, floor), feet_mm=machines.feet_mm, load_mm=machines.load_mm)
    np.testing.assert_array_equal(stood.light, said.light)
    np.testing.assert_allclose(stood.gx, said.gx, atol=1e-12)
    np.testing.assert_allclose(stood.gy, said.gy, atol=1e-12)
    np.testing.assert_allclose(stood.gap_mm, said.gap_mm, atol=1e-9)  # mm
    np.testing.assert_allclose(stood.pitch_deg, said.pitch_deg + machines.offset_pitch_deg, atol=1e-9)
    assert np.isin(stood.light, [0, 1]).mean() > 0.98  # the weight is toward the rear: a front foot floats


def test_a_springy_machine_lets_go_when_the_statics_say():
    """Against ``contact.foot_loads``: the same foot and the same gap, whatever the springs give."""
    rng = rng_of(2)
    give = rng.uniform(0.02, 0.4, 2000)
    machines = make_machines(rng=rng, count=2000, compression_mm=give)
    stood = stand(machines, np.zeros(4))
    said = foot_loads(
        weight=1.0,
        load_mm=machines.load_mm,
        feet_mm=machines.feet_mm,
        stiffness_per_mm=1 / (4 * give),  # a quarter of the weight squeezes a foot by ``give``
        heights_mm=corner_heights(machines, np.zeros(4)),
    )
    np.testing.assert_array_equal(stood.light, said.light)
    np.testing.assert_allclose(stood.gap_mm, said.gap_mm, atol=1e-8)  # mm
    assert 0.05 < (stood.light == ALL_BEAR).mean() < 0.95


def test_springy_feet_that_all_bear_keep_the_least_squares_plane():
    """Equal springs minimise the sum of squares, so turning moves the plane as the four heights do."""
    machines = make_machines(rng=rng_of(3), count=500, compression_mm=2.0)
    before, after = stand(machines, np.zeros(4)), stand(turned(machines, [0, 0, 0.25, 0]), np.zeros(4))
    bearing = (before.light == ALL_BEAR) & (after.light == ALL_BEAR)
    track_rear = machines.feet_mm[:, 3, 0] - machines.feet_mm[:, 2, 0]
    assert bearing.mean() > 0.9
    change = (after.gx - before.gx)[bearing]
    np.testing.assert_allclose(change, (-machines.lead_mm / 4 / (2 * track_rear))[bearing], rtol=0.05)


def test_a_machine_without_twist_bears_on_all_four():
    flat = Floors(np.array([0.002, 0.01]), np.zeros(1), np.zeros((1, 2)), np.zeros(1))
    made = make_machines(rng=rng_of(), count=50)
    even = np.full((50, 4), 20.0)
    same = np.full((50, 4), 724.0)
    machines = Machines(**(vars(made) | {"leg_mm": same, "exposure_mm": even}))
    stood = stand(machines, floor_heights(floors=flat, feet_mm=machines.feet_mm))
    assert (stood.light == ALL_BEAR).all()
    assert (stood.gap_mm == 0).all()
    np.testing.assert_allclose(stood.gx, 0.002, atol=1e-12)
    np.testing.assert_allclose(stood.gy, 0.01, atol=1e-12)


def test_simulated_machines_are_like_real_ones():
    """Common practice, no source: playfields pitch 4 to 8 degrees, gaps up to a few mm."""
    stood = stand(make_machines(rng=rng_of(4), count=5000), np.zeros(4))
    assert np.percentile(stood.pitch_deg, 0.5) > 4
    assert np.percentile(stood.pitch_deg, 99.5) < 8
    assert 0.5 < np.median(stood.gap_mm) < 3


def test_floor_and_bay_speak_of_the_same_heading():
    """Independent of ``floors.bay_floor``: here the feet go to the plan, there the gradient comes to the machine."""
    rng = rng_of(5)
    floors = make_floors(rng=rng, count=200, wave_mm=0)
    feet = make_machines(rng=rng, count=200).feet_mm
    heading = rng.uniform(0, 360, 200)
    points = rng.uniform(-3000, 3000, (200, 4, 2))
    plane = plane_from_heights(points_mm=points, heights_mm=(points * floors.gradient[:, None]).sum(axis=-1), u_mm=1.0)
    bay = bay_floor(plane, heading_deg=heading, feet_mm=feet)
    true = floor_heights(floors=floors, feet_mm=feet, heading_deg=heading)
    np.testing.assert_allclose(bay.heights_mm, true, atol=1e-8)  # mm


def test_floors_stay_near_the_flatness_of_the_standard():
    """DIN 18202 Table 3 row 3 allows 4 mm under 1 m. Sagitta at the middle of 1 m lines, 95 % below."""
    rng = rng_of(6)
    floors = make_floors(rng=rng, count=2000)
    line = np.array([[-500.0, 0], [0, 0], [500, 0]])
    heights = floor_heights(floors=floors, feet_mm=np.broadcast_to(line, (2000, 3, 2)))
    sagitta = np.abs(heights[:, 1] - (heights[:, 0] + heights[:, 2]) / 2)
    assert np.median(sagitta) > 0.1
    assert np.percentile(sagitta, 95) < 4


def test_a_level_reads_what_the_formula_for_a_turned_level_says():
    """Vectors in space here against ``instruments.misaligned_reading_deg``: with psi at both ends of its range."""
    pitch, roll = np.array([6.5, 3.0, 10.0]), np.array([0.0, -2.0, 4.0])
    for along in (True, False):
        exact = sheet(resolution_deg=0, accuracy_deg=0, repeat_deg=0, u_zero_deg=0, alignment_deg=5.0)
        levels = make_levels(rng=rng_of(7), count=3, sheet=exact)
        shown = read_level(rng=rng_of(8), levels=levels, pitch_deg=pitch, roll_deg=roll, along=along, repeats=20)
        psi = rng_of(8).uniform(-1, 1, (3, 20)) * 5.0
        said = misaligned_reading_deg(pitch_deg=pitch[:, None], roll_deg=roll[:, None], psi_deg=psi, along=along)
        np.testing.assert_allclose(shown.r0_deg, said, atol=1e-12)


def test_reversal_cancels_the_zero_but_not_misalignment_nor_the_levels_own_error():
    exact = sheet(resolution_deg=0, repeat_deg=0)
    levels = make_levels(rng=rng_of(9), count=500, sheet=exact)
    shown = read_level(rng=rng_of(10), levels=levels, pitch_deg=6.5, roll_deg=0.0, along=False, repeats=1)
    pair = reversed_pair(r0_deg=shown.r0_deg[:, 0], r180_deg=shown.r180_deg[:, 0])
    np.testing.assert_allclose(pair.zero_deg, levels.zero_deg, atol=1e-12)
    left = pair.tilt_deg - levels.error_across_deg
    assert np.abs(left).max() == pytest.approx(0.113, abs=0.002)  # 1 degree turned, 6.5 degree pitch (derived)
    assert left.std() == pytest.approx(0.065, abs=0.004)  # rectangular: 0.113 / sqrt 3


def test_levels_round_to_their_display_and_err_within_their_accuracy():
    levels = make_levels(rng=rng_of(11), count=20_000, sheet=sheet())
    for error in (levels.error_along_deg, levels.error_across_deg):
        assert np.abs(error).max() <= 0.1
        assert error.std() == pytest.approx(0.1 / np.sqrt(3), rel=0.02)
    shown = read_level(rng=rng_of(12), levels=levels, pitch_deg=6.5, roll_deg=0.2, along=True, repeats=2)
    np.testing.assert_allclose(shown.r0_deg * 10, np.round(shown.r0_deg * 10), atol=1e-9)
    assert shown.r0_deg.shape == (20_000, 2)


def test_a_feeler_encloses_the_gap():
    gap = rng_of(13).uniform(0, 3, 5000)
    felt = feel_gap(rng=rng_of(14), light=np.ones(5000, int), gap_mm=gap)
    inside = (felt.goes_mm - 0.03 < gap) & (gap < felt.stops_mm + 0.03)  # three times the feel
    assert inside.mean() > 0.99
    assert (felt.light[gap < 0.02] == ALL_BEAR).all()
    assert (felt.light[gap > 0.09] == 1).all()


def test_turns_until_it_bears_are_counted_in_eighths():
    turns = turn_until_it_bears(rng=rng_of(15), gap_mm=rng_of(16).uniform(0, 3, 4000), lead_mm=1.5875)
    np.testing.assert_allclose(turns * 8, np.round(turns * 8))
    error = turns * 1.5875 - rng_of(16).uniform(0, 3, 4000)
    assert error.std() == pytest.approx(1.5875 * np.hypot(0.05, 0.125 / np.sqrt(12)), rel=0.05)


def test_hands_err_a_little_and_only_where_they_turn():
    asked = np.tile([0, 0.25, 7, -2], (20_000, 1))
    done = turn_legs(rng=rng_of(17), turns=asked)
    assert (done[:, 0] == 0).all()
    np.testing.assert_allclose((done - asked)[:, 1:].std(axis=0), 0.02, rtol=0.03)


def test_hands_can_go_wrong_when_asked_to():
    asked = np.tile([0.0, 1, 2, 3], (10_000, 1))
    wrong_way = turn_legs(rng=rng_of(18), turns=asked, u_turn=0, wrong_way=0.3)
    flipped = (wrong_way != asked).sum(axis=-1)
    assert set(flipped.tolist()) == {0, 1}
    assert flipped.mean() == pytest.approx(0.3, abs=0.02)
    wrong_foot = turn_legs(rng=rng_of(19), turns=asked, u_turn=0, wrong_foot=1.0)
    assert (wrong_foot == [1, 0, 3, 2]).all()


def test_drift_walks_with_the_root_of_time_and_jumps_now_and_then():
    days = [0, 100, 400]
    walk = drifted(rng=rng_of(20), count=20_000, days=days, creep_mm=0.02, jumps_per_year=0)
    np.testing.assert_allclose(walk[:, 0], 0)
    assert walk[:, 1].std() == pytest.approx(0.2, rel=0.02)  # 0.02 x sqrt 100
    assert walk[:, 2].std() == pytest.approx(0.4, rel=0.02)
    jumps = drifted(rng=rng_of(21), count=20_000, days=[0, 365.25], creep_mm=0, jumps_per_year=1.5, jump_mm=1)
    assert (jumps[:, 1] != 0).any(axis=-1).mean() == pytest.approx(1 - np.exp(-1.5), abs=0.01)
    assert (jumps[:, 1] ** 2).sum(axis=-1).mean() == pytest.approx(1.5, rel=0.03)


def test_the_same_seed_gives_the_same_world():
    first, second = (make_machines(rng=rng_of(22), count=10) for _ in range(2))
    np.testing.assert_array_equal(first.exposure_mm, second.exposure_mm)
    other = make_machines(rng=rng_of(23), count=10)
    assert (first.exposure_mm != other.exposure_mm).all()


def test_none_at_all_is_a_batch_too():
    machines = make_machines(rng=rng_of(), count=0)
    floors = make_floors(rng=rng_of(), count=0)
    floor = floor_heights(floors=floors, feet_mm=machines.feet_mm)
    assert stand(machines, floor).pitch_deg.shape == (0,)
    assert drifted(rng=rng_of(), count=0, days=[0, 1]).shape == (0, 2, 4)


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: make_machines(rng=rng_of(), count=-1), "count"),
        (lambda: make_machines(rng=rng_of(), count=2.5), "count"),
        (lambda: make_machines(rng=rng_of(), count=2, compression_mm=-1), "compression_mm"),
        (lambda: make_floors(rng=rng_of(), count=1, slope_deg=50), "slope_deg"),  # a roof
        (lambda: stand(make_machines(rng=rng_of(), count=2), np.zeros(3)), "floor_mm"),  # three feet
        (lambda: turned(make_machines(rng=rng_of(), count=2), [1, 2, np.nan, 0]), "turns"),
        (lambda: drifted(rng=rng_of(), count=1, days=[3, 1]), "days"),  # backward
        (lambda: drifted(rng=rng_of(), count=1, days=[]), "days"),
        (lambda: feel_gap(rng=rng_of(), light=1, gap_mm=-0.1), "gap_mm"),
        (lambda: turn_until_it_bears(rng=rng_of(), gap_mm=1, lead_mm=0), "lead_mm"),
        (lambda: turn_legs(rng=rng_of(), turns=np.zeros(4), wrong_way=2), "wrong_way"),  # no chance
    ],
)
def test_it_refuses_bad_input_by_name(call, name):
    with pytest.raises(BadInput) as refused:
        call()
    assert refused.value.name == name
