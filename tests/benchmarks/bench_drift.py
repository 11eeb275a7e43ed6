"""Drift filter: 100,000 machines with 24 irregular surveys each, against a loop of univariate filters in statsmodels.

    uv run python tests/benchmarks/bench_drift.py [--machines N] [--sample N] [--seed S]

Each machine has three series, pitch, roll and twist, on days of its own, with variances of its own and now and then a
known step. The peer builds and runs one ``KalmanFilter`` a series with matrices that change with time, on a sample of
the machines; its states must be ours to 1e-9, and its time is that of building and filtering alone. Asked for: at
least 200 times as fast a series, all within 1.5 s and 1000 MB (the most this process grew beyond its inputs). The last
line is JSON; the exit code is 1 if a target is missed.
"""

import argparse
import json
import os
import resource
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
from statsmodels.tsa.statespace.initialization import Initialization
from statsmodels.tsa.statespace.kalman_filter import KalmanFilter

if __name__ == "__main__":  # run as a file, this folder is on the path instead of the project's
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from leveling.checks import FloatArray
from leveling.drift import Filtered, Series, Walk, filtered

SURVEYS = 24
LEAST_RATIO, MOST_SECONDS, MOST_MB, MOST_APART = 200, 1.5, 1000, 1e-9
LEVEL, RATE, FIRST_RATE = np.array([1e-5, 1e-5, 4e-6]), 1e-10, 1e-7


def draw(rng: np.random.Generator, count: int) -> Series:
    """Return the surveys of so many machines: a day to three months apart, pitch about 6.5 degrees."""
    shape = (count, 3, SURVEYS)
    steps = rng.normal(0, 0.3, shape) * (rng.random((count, 1, SURVEYS)) < 0.1)
    return Series(
        days=np.cumsum(rng.uniform(1, 90, (count, 1, SURVEYS)), axis=-1),
        values=np.array([6.5, 0, 0])[:, None] + np.cumsum(rng.normal(0, 0.05, shape) + steps, axis=-1),
        variances=rng.uniform(0.02, 0.1, shape) ** 2,
        steps=steps,
        step_variances=np.where(steps != 0, 1e-3, 0.0),
        seen=np.ones(1, dtype=bool),
    )


def peer(days: FloatArray, values: FloatArray, variances: FloatArray, steps: FloatArray, added: FloatArray,
         level: float) -> Any:  # fmt: skip
    """Build and run one series' filter in statsmodels."""
    model = KalmanFilter(k_endog=1, k_states=2, k_posdef=2)
    model.bind(values[:, None].copy())
    gaps = np.append(np.diff(days), 0.0)
    transition, noise, moved = np.zeros((2, 2, SURVEYS)), np.zeros((2, 2, SURVEYS)), np.zeros((2, SURVEYS))
    transition[0, 0], transition[1, 1], transition[0, 1] = 1, 1, gaps
    noise[0, 0] = level * gaps + RATE * gaps**3 / 3
    noise[0, 1] = noise[1, 0] = RATE * gaps**2 / 2
    noise[1, 1] = RATE * gaps
    noise[0, 0, :-1] += added[1:]
    moved[0, :-1] = steps[1:]
    model["design"], model["selection"], model["transition"] = np.array([[1.0, 0.0]]), np.eye(2), transition
    model["state_cov"], model["state_intercept"], model["obs_cov"] = noise, moved, variances[None, None, :]
    first = Initialization(2)
    first.set(0, "diffuse")
    first.set(1, "known", constant=[0], stationary_cov=[[FIRST_RATE]])
    model.initialize(first)
    return model.filter()


def compare(series: Series, ours: Filtered, rows: list[int]) -> tuple[float, float]:
    """Return the peer's seconds a series, and how far its states are from ours at most."""
    seconds, apart = 0.0, 0.0
    for row in rows:
        for which in range(3):
            arrays = [np.broadcast_to(each, series.shape)[row, which] for each in series.arrays[:5]]
            started = time.perf_counter()
            found = peer(*arrays, level=float(LEVEL[which]))
            seconds += time.perf_counter() - started
            pairs = (
                (ours.mean[:, row, which], found.filtered_state),
                (ours.cov[:, :, row, which], found.filtered_state_cov),
            )
            apart = max(apart, *(float(np.abs(one - other).max()) for one, other in pairs))
    return seconds / (3 * len(rows)), apart


def main() -> int:
    """Run, print, and say by the exit code whether the targets were met."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--machines", type=int, default=100_000)
    parser.add_argument("--sample", type=int, default=300)
    parser.add_argument("--seed", type=int, default=20_261_129)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    walk = Walk(level=LEVEL, rate=RATE, first_rate=FIRST_RATE)
    filtered(draw(rng, 1000), walk)  # the first call loads what the others find loaded
    series = draw(rng, options.machines)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    started = time.perf_counter()
    ours = filtered(series, walk)
    batch_s = time.perf_counter() - started
    batch_mb = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    sample = sorted(rng.choice(options.machines, min(options.sample, options.machines), replace=False).tolist())
    peer_s, apart = compare(series, ours, sample)
    ratio = peer_s * 3 * options.machines / batch_s
    result = {
        "benchmark": "drift",
        "machines": options.machines,
        "surveys": SURVEYS,
        "seed": options.seed,
        "batch_s": round(batch_s, 3),
        "batch_mb": round(batch_mb),
        "peer": "statsmodels KalmanFilter, one a series",
        "peer_sample": 3 * len(sample),
        "peer_ms_a_series": round(1000 * peer_s, 3),
        "ratio": round(ratio),
        "most_apart": apart,
        "cpus": os.cpu_count(),
    }
    missed = [
        name
        for name, wrong in {
            "ratio": ratio < LEAST_RATIO,
            "batch_s": batch_s > MOST_SECONDS,
            "batch_mb": batch_mb > MOST_MB,
            "states": apart > MOST_APART,
        }.items()
        if wrong
    ]
    took = f"{options.machines} machines: {batch_s:.2f} s, {batch_mb:.0f} MB"
    sys.stdout.write(f"{took}; the peer takes {1000 * peer_s:.2f} ms a series\n")
    sys.stdout.write(json.dumps(result | {"missed": missed}) + "\n")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
