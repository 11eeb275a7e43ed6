"""People with humble tools, simulated: the physics holds, and their 95 % intervals contain the truth."""

import math

import numpy as np
import pytest

from leveling.ballroll import roll_time_s, wander_mm
from leveling.ballroll_readings import RollTime, pitch_from_time
from leveling.instruments import misaligned_reading_deg
from leveling.simulate_humble import Runs, Vials, bubble_looks, counted_frames, roll_balls, search_blocks
from tests.benchmarks.bench_humble import COVERAGE, KINDS, WIDTH, sheet_of_run, survey

SURVEYS = 2000  # a share of 95 % scatters by half a point: three of it from what is asked


def vials(seen_deg=0.1, own=0.0, turn=0.0) -> Vials:
    seen_mm = 600 * math.tan(math.radians(seen_deg))
    return Vials(*(np.array(value) for value in (600.0, seen_mm, 0.0, own, turn, 0.0)))


def runs(**change) -> Runs:
    usual = {"run_mm": 450.0, "release_mm": 0.0, "run_turn_deg": 0.0, "drag": 0.0} | change
    return Runs(**{name: np.array(value) for name, value in usual.items()})


@pytest.mark.parametrize("kind", list(KINDS))
def test_intervals_contain_the_truth_and_are_no_wider_than_they_must(kind) -> None:
    """The small form of tests/benchmarks/bench_humble.py, seed 7; the full size stands there."""
    found = survey(kind, 7, SURVEYS)
    assert found["coverage"] >= COVERAGE
    assert found["ratio"] <= WIDTH
    assert found["u_deg"] == pytest.approx(found["rms_deg"], rel=0.1)


def test_a_sharp_bubble_flips_at_the_reading_of_a_perfect_level() -> None:
    """The simulated vectors against the engine's formula: along and across, on a sloping board."""
    rng = np.random.default_rng(2)
    pitch, roll = rng.uniform(-3, 3, 400), rng.uniform(-3, 3, 400)
    for along, ends in ((True, ("front", "rear")), (False, ("left", "right"))):
        said = bubble_looks(rng=rng, pitch_deg=pitch, roll_deg=roll, along=along, vials=vials(), turned=[False])
        reads = misaligned_reading_deg(pitch_deg=pitch, roll_deg=roll, psi_deg=0, along=along)
        if not along:
            # the engine's level across points along the floor plan's x; the simulated one along the board's own
            reads = np.degrees(np.arcsin(np.sin(np.radians(reads)) * np.cos(np.radians(pitch))))
        clear = np.abs(np.abs(reads) - 0.1) > 0.01
        wanted = np.where(reads > 0.1, ends[1], np.where(reads < -0.1, ends[0], "level"))
        assert (said[clear, 0] == wanted[clear]).all()


def test_a_wrong_bubble_says_so_when_turned_end_for_end() -> None:
    rng = np.random.default_rng(3)
    said = bubble_looks(rng=rng, pitch_deg=6.5, roll_deg=0, along=False, vials=vials(own=0.5), turned=[False, True])
    assert said.tolist() == ["left", "right"]


def test_a_crooked_bubble_sees_roll_that_is_not_there() -> None:
    """5 degrees of misalignment at 6.5 degrees of pitch is half a degree: seldom level to 0.1."""
    rng = np.random.default_rng(4)
    said = bubble_looks(
        rng=rng, pitch_deg=np.full(2000, 6.5), roll_deg=0, along=False, vials=vials(turn=5), turned=[False]
    )
    share = (said == "level").mean()
    assert share == pytest.approx(0.1 / math.degrees(math.asin(math.sin(math.radians(5)) * 0.1132)), abs=0.03)


def test_people_find_the_block_on_which_the_bubble_is_level() -> None:
    found = search_blocks(
        rng=np.random.default_rng(5),
        pitch_deg=[5.0, 6.5, 9.0],
        roll_deg=0,
        vials=vials(),
        set_deg=[5.0, 6.5, 8.0],
        looks=3,
    )
    assert found.block.tolist() == [[1, 0, 0], [1, 0, 0], [1, 2, 0]]
    assert found.high_end.tolist() == [
        ["front", "level", "not looked"],
        ["level", "not looked", "not looked"],
        ["rear", "rear", "not looked"],
    ]


def test_simulated_balls_keep_their_energy() -> None:
    """m g h = 7/10 m v^2 for a solid ball that rolls; from rest the mean speed is half the last."""
    rng = np.random.default_rng(6)
    pitch, roll = rng.uniform(2, 15, 100), rng.uniform(-2, 2, 100)
    ball = roll_balls(rng=rng, pitch_deg=pitch, roll_deg=roll, runs=runs(), g_mps2=9.8)
    speed = 2 * np.hypot(0.45, ball.wander_mm / 1000) / ball.time_s
    gx, gy = np.tan(np.radians(roll)), np.tan(np.radians(pitch))
    steepest = np.sqrt((gx**2 + gy**2) / (1 + gx**2 + gy**2))
    fell = np.hypot(0.45, ball.wander_mm / 1000) * steepest
    assert (0.7 * speed**2).tolist() == pytest.approx((9.8 * fell).tolist(), rel=1e-9)


def test_simulated_balls_and_the_engines_formulas_agree() -> None:
    rng = np.random.default_rng(7)
    pitch, roll = rng.uniform(2, 15, 100), rng.uniform(-2, 2, 100)
    ball = roll_balls(rng=rng, pitch_deg=pitch, roll_deg=roll, runs=runs(), g_mps2=9.80665)
    assert ball.time_s.tolist() == pytest.approx(roll_time_s(run_mm=450, pitch_deg=pitch).tolist(), rel=1e-12)
    aside = wander_mm(run_mm=450, pitch_deg=pitch, roll_deg=roll)
    assert ball.wander_mm.tolist() == pytest.approx(aside.tolist(), abs=1e-9)


def test_friction_makes_the_pitch_read_low() -> None:
    """What the engine neglects: a drag of 0.002 of the weight costs its angle, 0.115 degree."""
    ball = roll_balls(rng=np.random.default_rng(8), pitch_deg=6.5, roll_deg=0, runs=runs(drag=0.002), g_mps2=9.80665)
    read = pitch_from_time(time=RollTime(time_s=ball.time_s, u_time_s=0), run=sheet_of_run())
    assert read.angle_deg - 6.5 == pytest.approx(-math.degrees(0.002), abs=0.003)


def test_counted_frames_err_by_rounding_at_both_ends() -> None:
    """Variance of the difference of two roundings: 2/12 frame^2."""
    rng = np.random.default_rng(9)
    time = rng.uniform(0.8, 1.2, 20_000)
    error = counted_frames(rng=rng, time_s=time, rate_hz=240, misjudged=0) - time * 240
    assert error.std() == pytest.approx(math.sqrt(1 / 6), rel=0.03)
    assert error.mean() == pytest.approx(0, abs=0.01)
