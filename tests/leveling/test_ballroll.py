"""Ball roll: published values, ratios and limits of the motion, and what a time and a wander are worth."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from leveling.ballroll import STANDARD_GRAVITY, Gravity, Run, gravity_at, roll_time_s, wander_mm
from leveling.ballroll_readings import (
    BALL_OUTCOMES,
    IMPOSSIBLE,
    MEASURED,
    WORTH_LITTLE,
    RollTime,
    pitch_from_time,
    roll_from_wander,
    time_from_frames,
)
from leveling.errors import BadInput
from leveling.instruments_looks import NO_IDEA_U_DEG

TEN = Gravity(g_mps2=10.0, u_g_mps2=0.0)
EXACT = Gravity(g_mps2=9.80665, u_g_mps2=0.0)


def run(length=450.0, error=0.0, release=0.0, ruler=0.0, alignment=0.0) -> Run:
    return Run(run_mm=length, run_error_mm=error, release_mm=release, ruler_mm=ruler, alignment_deg=alignment)


def seconds(time, u=0.0) -> RollTime:
    return RollTime(time_s=time, u_time_s=u)


# Published and derived values


def test_a_solid_ball_rolls_12_5_m_down_30_degrees_in_root_7_seconds() -> None:
    """Textbook exercise: solid ball, 30 degrees, g 10 m/s^2, t = sqrt 7 s gives 12.5 m (a = 5/7 g sin). Also back."""
    assert roll_time_s(run_mm=12_500, pitch_deg=30, gravity=TEN) == pytest.approx(math.sqrt(7), rel=1e-12)
    # 12.5 m is longer than a playfield's run: 1.25 m takes 1/sqrt 10 of the time
    back = pitch_from_time(time=seconds(math.sqrt(0.7)), run=run(1250), gravity=TEN)
    assert back.angle_deg == pytest.approx(30, abs=1e-9)


def test_normal_gravity_by_latitude() -> None:
    """WGS 84 (NIMA TR8350.2, 2000): 9.7803253 at the equator, 9.8061978 at 45 degrees, 9.8321849 at the pole."""
    assert gravity_at([0, 45, 90]).g_mps2.tolist() == pytest.approx([9.7803253, 9.8061978, 9.8321849], abs=5e-8)
    assert gravity_at(-45).g_mps2 == gravity_at(45).g_mps2


def test_standard_gravity_covers_the_whole_earth() -> None:
    """3rd CGPM, 1901: 9.80665 m/s^2. Equator to pole, rectangular: half of 0.05186 over sqrt 3."""
    assert STANDARD_GRAVITY.g_mps2 == 9.80665
    half = (gravity_at(90).g_mps2 - gravity_at(0).g_mps2) / 2
    assert STANDARD_GRAVITY.u_g_mps2 == pytest.approx(half / math.sqrt(3), abs=1e-4)


def test_a_tenth_of_a_degree_of_roll_is_7_mm_over_450_mm() -> None:
    """Derived, no published figure: 450 tan 0.1/tan 6.5 is 6.9 mm on the floor plan, 6.85 on the board."""
    assert wander_mm(run_mm=450, pitch_deg=6.5, roll_deg=0.1) == pytest.approx(7, abs=0.2)
    assert wander_mm(run_mm=450, pitch_deg=6.5, roll_deg=0.1) == pytest.approx(6.849, abs=5e-4)


def test_a_tenth_of_a_second_is_more_than_one_degree() -> None:
    """Derived, no published figure: 2 tan(6.5) 0.1/1.065 = 1.23 degrees over 450 mm at 6.5."""
    time = roll_time_s(run_mm=450, pitch_deg=6.5)
    found = pitch_from_time(time=seconds(time, 0.1), run=run())
    assert found.u_deg == pytest.approx(1.23, abs=0.01)
    shifts = pitch_from_time(time=seconds(np.array([time - 0.1, time + 0.1])), run=run()).angle_deg - 6.5
    assert shifts[0] > 1
    assert shifts[1] < -1
    assert found.outcome == WORTH_LITTLE


def test_counted_frames_of_a_slow_motion_film_are_worth_about_0_05_degree() -> None:
    """Derived, no published figure: a frame at 240 per second is 0.051 degree over 450 mm at 6.5."""
    time = roll_time_s(run_mm=450, pitch_deg=6.5)
    one_frame = pitch_from_time(time=seconds(time, 1 / 240), run=run(), gravity=EXACT)
    assert one_frame.u_deg == pytest.approx(0.051, abs=1e-3)
    film = time_from_frames(frames=np.rint(time * 240), rate_hz=240)
    counted = pitch_from_time(time=film, run=run(error=1, release=1))
    assert counted.u_deg == pytest.approx(0.05, abs=0.005)
    assert counted.outcome == MEASURED


# The motion


def test_runs_go_as_the_square_of_the_time() -> None:
    """Galileo, Two New Sciences, 1638, third day: in equal times 1, 3, 5, 7 (title and day from memory)."""
    at = roll_time_s(run_mm=np.array([100.0, 400.0, 900.0, 1600.0]), pitch_deg=6.5)
    assert (at / at[0]).tolist() == pytest.approx([1, 2, 3, 4], rel=1e-12)
    parts = np.diff([0.0, 100, 400, 900, 1600]) / 100
    assert parts.tolist() == [1, 3, 5, 7]


def test_times_of_equal_runs_go_as_the_inverse_root_of_the_height() -> None:
    """The same: heights are run times sin pitch; sin 30 is four times sin 7.18."""
    shallow = math.degrees(math.asin(0.125))
    slow, fast = roll_time_s(run_mm=450, pitch_deg=[shallow, 30])
    assert slow / fast == pytest.approx(2, rel=1e-12)


def test_a_nearly_upright_slope_keeps_two_sevenths_for_the_spin() -> None:
    """Limit: at 90 degrees 5/7 of free fall, if it could roll there."""
    time = roll_time_s(run_mm=1000, pitch_deg=89.999, gravity=TEN)
    assert time == pytest.approx(math.sqrt(2 / (50 / 7)), rel=1e-9)


def test_a_ball_that_slips_at_first_comes_to_the_same_motion() -> None:
    """Newton and Euler stepped through with friction proportional to the slip: 5/7 is a result and not put in."""
    pull, grip, step = 9.80665 * math.sin(math.radians(6.5)), 4000.0, 1e-5
    speed = rim = place = clock = 0.0
    while place < 0.45:
        friction = -grip * (speed - rim)
        speed += (pull + friction) * step
        rim += -friction * 2.5 * step  # m r a = I alpha with I = 2/5 m r^2
        place += speed * step
        clock += step
    assert clock == pytest.approx(float(roll_time_s(run_mm=450, pitch_deg=6.5)), rel=5e-4)


angles = st.floats(1, 20)


@given(pitch=angles, roll=st.floats(-3, 3), length=st.floats(100, 1000))
def test_time_and_wander_give_back_pitch_and_roll(pitch, roll, length) -> None:
    time = roll_time_s(run_mm=length, pitch_deg=pitch)
    assert pitch_from_time(time=seconds(time), run=run(length)).angle_deg == pytest.approx(pitch, abs=1e-9)
    aside = wander_mm(run_mm=length, pitch_deg=pitch, roll_deg=roll)
    found = roll_from_wander(wander_mm=aside, run=run(length), pitch_deg=pitch, u_pitch_deg=0)
    assert found.angle_deg == pytest.approx(roll, abs=1e-9)


def test_a_ball_goes_to_the_left_if_the_right_is_high() -> None:
    left, right = wander_mm(run_mm=450, pitch_deg=6.5, roll_deg=[0.5, -0.5])
    assert left > 0
    assert right == -left


# What it is worth


def test_the_budget_of_a_pitch_is_what_small_changes_do() -> None:
    """Each contribution against a difference of the formula (GUM 5.1.3)."""
    time, h = float(roll_time_s(run_mm=450, pitch_deg=6.5)), 1e-5

    def slope(**change) -> float:
        given_ = {"time": time, "length": 450.0, "g": 9.8} | change
        gravity = Gravity(g_mps2=given_["g"], u_g_mps2=0)
        return float(
            pitch_from_time(time=seconds(given_["time"]), run=run(given_["length"]), gravity=gravity).angle_deg
        )

    per_s = abs(slope(time=time + h) - slope(time=time - h)) / (2 * h)
    per_mm = abs(slope(length=450 + h) - slope(length=450 - h)) / (2 * h)
    per_g = abs(slope(g=9.8 + h) - slope(g=9.8 - h)) / (2 * h)
    found = pitch_from_time(
        time=seconds(time, 0.004), run=run(error=1, release=2), gravity=Gravity(g_mps2=9.8, u_g_mps2=0.01)
    )
    third = 1 / math.sqrt(3)
    assert found.budget.repeat_deg == pytest.approx(math.hypot(per_s * 0.004, per_mm * 2 * third), rel=1e-5)
    assert found.budget.accuracy_deg == pytest.approx(math.hypot(per_mm * third, per_g * 0.01), rel=1e-5)


def test_the_budget_of_a_roll_is_what_small_changes_do() -> None:
    h = 1e-5

    def slope(**change) -> float:
        given_ = {"aside": 20.0, "length": 450.0, "pitch": 6.5} | change
        found = roll_from_wander(
            wander_mm=given_["aside"], run=run(given_["length"]), pitch_deg=given_["pitch"], u_pitch_deg=0
        )
        return float(found.angle_deg)

    per_mm = (slope(aside=20 + h) - slope(aside=20 - h)) / (2 * h)
    per_length = (slope(length=450 + h) - slope(length=450 - h)) / (2 * h)
    per_pitch = (slope(pitch=6.5 + h) - slope(pitch=6.5 - h)) / (2 * h)
    third = 1 / math.sqrt(3)
    budget = roll_from_wander(wander_mm=20, run=run(error=2, ruler=1), pitch_deg=6.5, u_pitch_deg=0.1).budget
    assert budget.repeat_deg == pytest.approx(per_mm * third, rel=0.02)  # first order of a small roll
    assert budget.accuracy_deg == pytest.approx(math.hypot(per_length * 2 * third, per_pitch * 0.1), rel=0.02)


def test_a_run_out_of_line_counts_as_a_level_laid_out_of_line() -> None:
    """Derived, no published figure: 1 degree at 6.5 is 0.113 degree; rectangular, over sqrt 3."""
    budget = roll_from_wander(wander_mm=0, run=run(alignment=1), pitch_deg=6.5, u_pitch_deg=0).budget
    assert budget.alignment_deg == pytest.approx(0.1139 / math.sqrt(3), abs=1e-4)


def test_the_interval_of_a_pitch_is_longer_upward() -> None:
    time = roll_time_s(run_mm=450, pitch_deg=6.5)
    found = pitch_from_time(time=seconds(time, 0.1), run=run())
    assert found.high_deg - found.angle_deg > found.angle_deg - found.low_deg > 0
    low = pitch_from_time(time=seconds(time + 0.196), run=run()).angle_deg
    assert found.low_deg == pytest.approx(low, abs=1e-3)


def test_a_longer_run_and_a_faster_film_are_worth_more() -> None:
    times = roll_time_s(run_mm=np.array([450.0, 900.0]), pitch_deg=6.5)
    runs = run(np.array([450.0, 900.0]))
    short, long = pitch_from_time(time=seconds(times, 0.1), run=runs, gravity=EXACT).u_deg
    assert long == pytest.approx(short / math.sqrt(2), rel=1e-9)
    slow, fast = time_from_frames(frames=[64, 256], rate_hz=[60, 240]).u_time_s
    assert slow == pytest.approx(4 * fast, rel=1e-12)


def test_a_frame_error_is_rounding_and_judgement_at_both_ends() -> None:
    """GUM 4.3.7: two ends, each rounded to 0.5 and judged to 1 frame, rectangular: sqrt(2 (1/12 + 1/3)) frames."""
    film = time_from_frames(frames=240, rate_hz=100)
    assert film.u_time_s == pytest.approx(math.sqrt(5 / 6) / 100, rel=1e-12)


def test_impossible_rows_get_a_word_and_do_not_stop_the_others() -> None:
    """450 mm in 0.1 s is faster than falling; 500 mm aside at 6.5 degrees is fine, 5 m is not."""
    pitch = pitch_from_time(time=seconds([0.1, 1.065], 0.004), run=run())
    assert pitch.outcome.tolist() == [IMPOSSIBLE, MEASURED]
    assert pitch.u_deg[0] == pytest.approx(NO_IDEA_U_DEG, rel=1e-12)
    roll = roll_from_wander(wander_mm=[5000, 7], run=run(), pitch_deg=6.5, u_pitch_deg=0.1)
    assert roll.outcome.tolist() == [IMPOSSIBLE, MEASURED]
    assert len(BALL_OUTCOMES) == 3


def test_a_watch_slower_than_the_ball_leaves_no_upper_limit() -> None:
    found = pitch_from_time(time=seconds(0.5, 0.5), run=run())
    assert found.high_deg == pytest.approx(90, abs=1e-9)
    assert found.outcome == WORTH_LITTLE


def test_one_row_and_many_give_the_same() -> None:
    many = pitch_from_time(time=seconds(np.linspace(0.9, 1.3, 5), 0.01), run=run(error=1))
    one = pitch_from_time(time=seconds(1.0, 0.01), run=run(error=1))
    assert many.angle_deg[1] == pytest.approx(float(one.angle_deg), abs=1e-12)
    assert many.u_deg[1] == pytest.approx(float(one.u_deg), abs=1e-12)


@pytest.mark.parametrize(
    ("make", "name"),
    [
        (lambda: run(0), "run_mm"),
        (lambda: run(release=-1), "release_mm"),
        (lambda: run(alignment=90), "alignment_deg"),
        (lambda: seconds(0), "time_s"),
        (lambda: seconds(1, -0.1), "u_time_s"),
        (lambda: Gravity(g_mps2=1.6, u_g_mps2=0), "g_mps2"),  # the moon
        (lambda: gravity_at(91), "latitude_deg"),
        (lambda: roll_time_s(run_mm=450, pitch_deg=0), "pitch_deg"),  # never arrives
        (lambda: wander_mm(run_mm=450, pitch_deg=-6.5, roll_deg=0), "pitch_deg"),  # rolls the other way
        (lambda: time_from_frames(frames=0, rate_hz=240), "frames"),
        (lambda: time_from_frames(frames=100, rate_hz=0), "rate_hz"),
        (lambda: roll_from_wander(wander_mm=math.nan, run=run(), pitch_deg=6.5, u_pitch_deg=0), "wander_mm"),
        (lambda: roll_from_wander(wander_mm=1, run=run(), pitch_deg=6.5, u_pitch_deg=-1), "u_pitch_deg"),
        (lambda: pitch_from_time(time=seconds([1.0, 1.1]), run=run(np.array([450.0] * 3))), "time_s"),  # shapes
    ],
)
def test_it_refuses_what_no_ball_does(make, name) -> None:
    with pytest.raises(BadInput) as refusal:
        make()
    assert refusal.value.name == name
