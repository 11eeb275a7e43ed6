"""Humble tools: how often the 95 % interval contains the truth, and how wide it is against what really happens.

    uv run python tests/benchmarks/bench_humble.py [--surveys N] [--seed S]

Each survey has its own machine, its own tool with its own errors, and one person. Truths: pitch uniform between 4.5 and
8.5 degrees, roll normal with standard deviation 0.5 degree, the waves of the board normal with 0.03 degree from place
to place. The bubble's belief about roll is that same normal; blocks and balls believe nothing. ``width`` is the mean
width of the stated intervals; ``happens`` is the Monte Carlo interval: the width of the middle 95 % of estimate
minus truth over all surveys of the kind. ``normal`` is the share of truths within 1.96 standard uncertainties.

Limits of errors are drawn uniformly: bubble's own error 0.1 (0.05 on blocks), misalignment 1 degree, block 0.05, run
1 mm, release 1 mm, ruler 1 mm, run's direction 0.2 degree; eyes differ by 10 % of the sensitivity from look to look.
The watch errs normally with 0.1 s, the film has 240 frames per second and each event is misjudged by up to a frame.
"""

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np

if __name__ == "__main__":  # run as a file, this folder is on the path instead of the project's
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from leveling.ballroll import Run, gravity_at
from leveling.ballroll_readings import RollTime, pitch_from_time, roll_from_wander, time_from_frames
from leveling.instruments_blocks import Blocks, pitch_from_blocks
from leveling.instruments_bubbles import Bubble, tilt_from_bubble
from leveling.instruments_looks import CONTRADICTED, Belief, Estimate
from leveling.simulate_humble import Runs, Vials, bubble_looks, counted_frames, roll_balls, search_blocks

PITCH_DEG, ROLL_SD_DEG, WAVE_DEG = (4.5, 8.5), 0.5, 0.03
SPREAD, PSI_DEG, RADIUS_MM = 0.1, 1.0, 600.0
RUN_MM, RUN_ERROR_MM, RELEASE_MM, RULER_MM, RUN_TURN_DEG = 450.0, 1.0, 1.0, 1.0, 0.2
LATITUDE_DEG, WATCH_S, RATE_HZ, MISJUDGED = 45.0, 0.1, 240.0, 1.0
COVERAGE, WIDTH = 0.935, 1.3

Truths = tuple[np.ndarray, np.ndarray]


def draw_truths(rng: np.random.Generator, count: int) -> Truths:
    """Return true pitch and roll of the playfields."""
    return rng.uniform(*PITCH_DEG, count), rng.normal(0, ROLL_SD_DEG, count)


def draw_vials(rng: np.random.Generator, count: int, *, sensitivity_deg: float, own_deg: float) -> Vials:
    """Return bubbles, each with its own error, and people who do not see quite the same each time."""
    return Vials(
        radius_mm=np.full(count, RADIUS_MM),
        seen_mm=np.full(count, RADIUS_MM * np.tan(np.radians(sensitivity_deg))),
        seen_spread=np.full(count, SPREAD),
        own_error_deg=own_deg * rng.uniform(-1, 1, count),
        turn_limit_deg=np.full(count, PSI_DEG),
        wave_deg=np.full(count, WAVE_DEG),
    )


def sheet_of(*, sensitivity_deg: float, own_deg: float) -> Bubble:
    """Return what the owner knows of such a bubble."""
    return Bubble(
        sensitivity_deg=np.array(sensitivity_deg),
        own_error_deg=np.array(own_deg),
        alignment_deg=np.array(PSI_DEG),
        repeat_deg=np.array(np.hypot(SPREAD * sensitivity_deg, WAVE_DEG)),
    )


def by_bubble(
    rng: np.random.Generator, truths: Truths, turned: list[bool], belief_deg: float = ROLL_SD_DEG
) -> tuple[Estimate, np.ndarray]:
    """Return roll by looks at a bubble laid across, and the truth."""
    pitch, roll = truths
    vials = draw_vials(rng, pitch.size, sensitivity_deg=0.2, own_deg=0.1)
    said = bubble_looks(rng=rng, pitch_deg=pitch, roll_deg=roll, along=False, vials=vials, turned=turned)
    estimate = tilt_from_bubble(
        high_end=said,
        bubble=sheet_of(sensitivity_deg=0.2, own_deg=0.1),
        along=False,
        pitch_deg=6.5,
        belief=Belief(mean_deg=np.array(0.0), u_deg=np.array(belief_deg)),
        turned=turned,
    )
    return estimate, roll


def by_blocks(rng: np.random.Generator, truths: Truths, step_deg: float, looks: int) -> tuple[Estimate, np.ndarray]:
    """Return pitch by halving a set of blocks from 4 to 9 degrees, and the truth."""
    pitch, roll = truths
    written = np.arange(4, 9 + step_deg / 2, step_deg)
    true = written + 0.05 * rng.uniform(-1, 1, (pitch.size, written.size))
    vials = draw_vials(rng, pitch.size, sensitivity_deg=0.1, own_deg=0.05)
    found = search_blocks(rng=rng, pitch_deg=pitch, roll_deg=roll, vials=vials, set_deg=true, looks=looks)
    estimate = pitch_from_blocks(
        high_end=found.high_end,
        blocks=Blocks(angle_deg=written[found.block], tolerance_deg=np.array(0.05)),
        bubble=sheet_of(sensitivity_deg=0.1, own_deg=0.05),
    )
    return estimate, pitch


def sheet_of_run() -> Run:
    """Return the run as it was set up."""
    numbers = (RUN_MM, RUN_ERROR_MM, RELEASE_MM, RULER_MM, RUN_TURN_DEG)
    return Run(*(np.array(number) for number in numbers))


def draw_balls(rng: np.random.Generator, truths: Truths) -> tuple[np.ndarray, np.ndarray]:
    """Return true times and wanders of one ball for each survey."""
    count = truths[0].size
    runs = Runs(
        run_mm=RUN_MM + RUN_ERROR_MM * rng.uniform(-1, 1, count),
        release_mm=np.full(count, RELEASE_MM),
        run_turn_deg=RUN_TURN_DEG * rng.uniform(-1, 1, count),
        drag=np.zeros(count),
    )
    # the published value at 45 degrees (WGS 84), and up to 1600 m of height or as much of local anomaly
    g = 9.8061978 - 3.086e-6 * rng.uniform(-1, 1, count) * 1600
    ball = roll_balls(rng=rng, pitch_deg=truths[0], roll_deg=truths[1], runs=runs, g_mps2=g)
    return ball.time_s, ball.wander_mm


def by_watch(rng: np.random.Generator, truths: Truths) -> tuple[Estimate, np.ndarray]:
    """Return pitch by a ball and a watch, and the truth."""
    time, _ = draw_balls(rng, truths)
    stopped = RollTime(time_s=time + rng.normal(0, WATCH_S, time.size), u_time_s=np.array(WATCH_S))
    return pitch_from_time(time=stopped, run=sheet_of_run(), gravity=gravity_at(LATITUDE_DEG)), truths[0]


def by_film(rng: np.random.Generator, truths: Truths) -> tuple[Estimate, np.ndarray]:
    """Return pitch by a ball and a film, and the truth."""
    time, _ = draw_balls(rng, truths)
    return _pitch_by_film(rng, time), truths[0]


def by_ruler(rng: np.random.Generator, truths: Truths) -> tuple[Estimate, np.ndarray]:
    """Return roll by the wander of a ball, the pitch known from its film, and the truth."""
    time, wander = draw_balls(rng, truths)
    pitch = _pitch_by_film(rng, time)
    read = wander + RULER_MM * rng.uniform(-1, 1, wander.size)
    estimate = roll_from_wander(wander_mm=read, run=sheet_of_run(), pitch_deg=pitch.angle_deg, u_pitch_deg=pitch.u_deg)
    return estimate, truths[1]


def _pitch_by_film(rng: np.random.Generator, time_s: np.ndarray) -> Estimate:
    frames = counted_frames(rng=rng, time_s=time_s, rate_hz=RATE_HZ, misjudged=MISJUDGED)
    film = time_from_frames(frames=frames, rate_hz=RATE_HZ, frame_error=MISJUDGED)
    return pitch_from_time(time=film, run=sheet_of_run(), gravity=gravity_at(LATITUDE_DEG))


KINDS: dict[str, Callable[[np.random.Generator, Truths], tuple[Estimate, np.ndarray]]] = {
    "bubble, one look, roll": lambda rng, truths: by_bubble(rng, truths, [False]),
    "bubble, end for end, roll": lambda rng, truths: by_bubble(rng, truths, [False, True]),
    "bubble, four looks, roll": lambda rng, truths: by_bubble(rng, truths, [False, True, False, True]),
    "blocks by 1 degree, pitch": lambda rng, truths: by_blocks(rng, truths, 1.0, 3),
    "blocks by 0.5 degree, pitch": lambda rng, truths: by_blocks(rng, truths, 0.5, 4),
    "blocks by 0.25 degree, pitch": lambda rng, truths: by_blocks(rng, truths, 0.25, 5),
    "ball by watch, pitch": by_watch,
    "ball by film, pitch": by_film,
    "ball by ruler, roll": by_ruler,
}
#: Not part of what must be met: what becomes of it if the belief is wrong. Truths as above.
WRONG_BELIEFS = {
    "end for end, belief 0.25 (too sure)": lambda rng, truths: by_bubble(rng, truths, [False, True], 0.25),
    "end for end, belief 1.0 (too unsure)": lambda rng, truths: by_bubble(rng, truths, [False, True], 1.0),
}


def measure(estimate: Estimate, truth: np.ndarray) -> dict[str, float]:
    """Return coverage and widths of one kind of survey."""
    error = estimate.angle_deg - truth
    width = float((estimate.high_deg - estimate.low_deg).mean())
    happens = float(np.subtract(*np.quantile(error, [0.975, 0.025])))
    return {
        "coverage": float(((truth >= estimate.low_deg) & (truth <= estimate.high_deg)).mean()),
        "width_deg": width,
        "happens_deg": happens,
        "ratio": width / happens,
        "u_deg": float(np.sqrt((estimate.u_deg**2).mean())),
        "rms_deg": float(np.sqrt((error**2).mean())),
        "normal": float((np.abs(error) <= 1.96 * estimate.u_deg).mean()),
    }


def survey(name: str, seed: int, count: int) -> dict[str, float]:
    """Return the measures of one kind; each has a seed of its own, from the seed and its place in the table."""
    kinds = KINDS | WRONG_BELIEFS
    rng = np.random.default_rng([seed, list(kinds).index(name)])
    estimate, truth = kinds[name](rng, draw_truths(rng, count))
    found = measure(estimate, truth)
    if "ball" not in name:
        found["contradicted"] = float((estimate.outcome == CONTRADICTED).mean())
    return found


def say(text: str) -> None:
    """Write one line."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def main() -> int:
    """Print the table and the report."""
    parser = argparse.ArgumentParser(description="Coverage of humble tools")
    parser.add_argument("--surveys", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    say(f"{options.surveys} surveys of each kind, seed {options.seed}")
    say(f"{'kind':38}  inside   width  happens  ratio   u rms  error rms  normal  contradicted")
    report, met = {}, True
    for name in KINDS | WRONG_BELIEFS:
        found = survey(name, options.seed, options.surveys)
        say(
            f"{name:38}  {found['coverage']:6.1%}  {found['width_deg']:6.3f}  {found['happens_deg']:7.3f}"
            f"  {found['ratio']:5.2f}  {found['u_deg']:6.3f}  {found['rms_deg']:9.3f}  {found['normal']:6.1%}"
            f"  {found.get('contradicted', 0):.2%}"
        )
        report[name] = {key: round(value, 4) for key, value in found.items()}
        if name in KINDS:
            met = met and found["coverage"] >= COVERAGE and found["ratio"] <= WIDTH
    say(json.dumps({"name": "humble tools", "surveys": options.surveys, "seed": options.seed, "met": met, **report}))
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
