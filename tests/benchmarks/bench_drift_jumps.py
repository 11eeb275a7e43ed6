"""Jumps told from drift and from bad surveys, and floors that move told from machines that jump.

    uv run python tests/benchmarks/bench_drift_jumps.py [--machines N] [--floors N] [--seed S]

Jumps: N machines, each surveyed 8 times 20 to 60 days apart with u = 0.05 degree; pitch and roll wander 0.004 degree
per square root of a day, twist half of that; one survey in a hundred is read wrong. Before one of the inner surveys
half of the machines jump by exactly 0.3 degree: in pitch, in roll, or in a direction between; or by 0.3 to 0.6. A jump
counts as found if the forecast puts the break before that survey with a chance above one half, at that survey or at the
one after it. False are such calls before surveys with no jump. The model's hazard is 0.5 jumps a year of 0.25 degree.
Asked for: 90 % found, 2 % false, of each kind. Floors: 2 to 12 machines at random headings on floors that tilt by 0.2
degree between two visits, u and drift as above; asked for: 90 % found with 4 and more, 2 % false. The last line is
JSON; the exit code is 1 if a target is missed.
"""

import argparse
import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

if __name__ == "__main__":  # run as a file, this folder is on the path instead of the project's
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from leveling.checks import FloatArray
from leveling.drift import Series, Walk, filtered
from leveling.drift_floors import Surprises, floor_movement
from leveling.drift_jumps import JUMP, followed
from leveling.drift_model import Hazard, Model

LEAST_FOUND, MOST_FALSE = 0.90, 0.02
SURVEYS, U_DEG, WANDER_DEG = 8, 0.05, np.array([0.004, 0.004, 0.002])
BAD_SHARE, BAD_DEG, TILT_DEG = 0.01, 1.0, 0.2
WALK = Walk(level=WANDER_DEG**2, rate=0.0, first_rate=np.array([1e-8, 1e-8, 2.5e-9]))
MODEL = Model(walk=WALK, hazard=Hazard(jumps_per_year=0.5, jump_deg=0.25, bad_share=BAD_SHARE, bad_deg=BAD_DEG))


def jump_of(rng: np.random.Generator, kind: str, count: int) -> FloatArray:
    """Return how far pitch, roll and twist jump, shape (count, 3) [deg]."""
    angle = {"pitch": 0.0, "roll": np.pi / 2}.get(kind, rng.uniform(0, 2 * np.pi, count))
    size = rng.uniform(0.3, 0.6, count) if kind == "more" else np.full(count, 0.3)
    side = rng.choice((-1, 1), count)
    return np.stack([size * side * np.cos(angle), size * side * np.sin(angle), np.zeros(count)], axis=-1)


def surveyed(rng: np.random.Generator, count: int, moved: FloatArray) -> Series:
    """Return surveys of machines that wander and besides moved as given, shape (count, 3, SURVEYS) [deg]."""
    gaps = rng.uniform(20, 60, (count, 1, SURVEYS))
    wander = np.cumsum(rng.normal(0, 1, moved.shape) * np.sqrt(gaps) * WANDER_DEG[:, None], axis=-1)
    bad = rng.random((count, 1, SURVEYS)) < BAD_SHARE
    read = wander + moved + rng.normal(0, U_DEG, moved.shape) + np.where(bad, rng.normal(0, BAD_DEG, moved.shape), 0)
    return Series(days=np.cumsum(gaps, axis=-1), values=read, variances=np.full(1, U_DEG**2), steps=np.zeros(1),
                  step_variances=np.zeros(1), seen=np.ones(1, dtype=np.bool_))  # fmt: skip


def jumps(rng: np.random.Generator, kind: str, count: int) -> dict[str, float]:
    """Return the share of jumps found, at once and at the next visit at the latest, and of false calls."""
    jumped = np.arange(count) % 2 == 0
    when = rng.integers(2, SURVEYS - 1, count)
    there = (np.arange(SURVEYS) >= when[:, None]) & jumped[:, None]
    series = surveyed(rng, count, jump_of(rng, kind, count)[..., None] * there[:, None])
    found = followed(series, MODEL)
    right = (np.arange(SURVEYS) == when[:, None]) & jumped[:, None]
    at_once, either = found.at_once[JUMP] > 0.5, (found.at_once[JUMP] > 0.5) | (found.ways[JUMP] > 0.5)
    others = ~right[:, 1:]
    return {
        "found_at_once": round(float(at_once[right].mean()), 4),
        "found": round(float(either[right].mean()), 4),
        "false_at_once": round(float(at_once[:, 1:][others].mean()), 4),
        "false": round(float(either[:, 1:][others].mean()), 4),
    }


def floors(rng: np.random.Generator, each: int, count: int) -> dict[str, float]:
    """Return the share of floors found that tilted before the last visit, and of those called that did not."""
    floor = np.repeat(np.arange(count), each)
    tilted = np.arange(count) % 2 == 0
    angle, heading = rng.uniform(0, 2 * np.pi, count)[floor], rng.uniform(0, 360, floor.size)
    size = np.where(tilted, TILT_DEG, 0.0)[floor]
    moved = np.zeros((floor.size, 3, SURVEYS))
    moved[:, 0, -1] = size * np.cos(angle - np.radians(heading))
    moved[:, 1, -1] = size * np.sin(angle - np.radians(heading))
    series = surveyed(rng, floor.size, moved)
    last = filtered(series, WALK)
    gap = np.diff(series.days[:, 0, -2:])[:, 0]
    seen = Surprises(
        surprise=last.surprise[:, :2, -1], expected=last.expected[:, :2, -1], heading_deg=heading,
        jumped=-np.expm1(-0.5 * gap / 365.25), jump_deg=0.25,
    )  # fmt: skip
    called = floor_movement(seen, floor=floor, floors=count).chance > 0.5
    return {"found": round(float(called[tilted].mean()), 4), "false": round(float(called[~tilted].mean()), 4)}


def main() -> int:
    """Run, print, and say by the exit code whether the targets were met."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--machines", type=int, default=20_000, help="for each kind of jump")
    parser.add_argument("--floors", type=int, default=4_000, help="for each number of machines")
    parser.add_argument("--seed", type=int, default=20_261_129)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    of_jumps = {kind: jumps(rng, kind, options.machines) for kind in ("pitch", "roll", "between", "more")}
    of_floors = {each: floors(rng, each, options.floors) for each in (2, 3, 4, 6, 12)}
    for name, row in (of_jumps | {f"{each} machines": row for each, row in of_floors.items()}).items():
        shares = ", ".join(f"{what.replace('_', ' ')} {100 * share:.1f} %" for what, share in row.items())
        sys.stdout.write(f"{name:12s} {shares}\n")
    wanted: dict[str, dict[str, Any]] = of_jumps | {f"{n} machines": row for n, row in of_floors.items() if n >= 4}
    missed = [name for name, row in wanted.items() if row["found"] < LEAST_FOUND or row["false"] > MOST_FALSE]
    result = {"benchmark": "drift jumps", "machines": options.machines, "floors": options.floors, "seed": options.seed,
              "jumps": of_jumps, "floor_movement": of_floors, "missed": missed}  # fmt: skip
    sys.stdout.write(json.dumps(result) + "\n")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
