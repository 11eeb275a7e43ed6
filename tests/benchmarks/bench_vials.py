"""Vials learned from pairs: does the angle read afterwards lie within what is stated, and is that not too wide?

    uv run python tests/benchmarks/bench_vials.py [--vials N] [--seed S]

Each row: N vials of one kind, drawn by `tests/leveling/worlds_vials.py` from a stated prior (an arc of glass, a bubble
on it, an eye, a level with a display), learned and then read once. The 95 % interval is tilt +- 1.96 u. "wide" is its
mean width over the width that holds 95 % of what the errors of these very vials came to (the Monte Carlo interval).
What the engine would not read is counted as refused, and "wrong" is the share of all vials whose interval misses.
Rows marked * break what is promised, are told, and do not count: an eye twice as unsteady as stated ("eye 2"), or a
reading far from where the vial was learned ("far 5" spans; 1.25 else). The last line is JSON.
"""

import argparse
import json
import sys
import time
from collections.abc import Iterator
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np

if __name__ == "__main__":  # run as a file, this folder is on the path instead of the project's
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.leveling.worlds_vials import VialWorld, draw_vials, learn, read_back

COVERAGE, WIDE = 0.935, 1.3
#: Degrees per line, from and to; log-uniform between.
GLASSES = ((0.1, 0.2), (0.2, 0.5), (0.5, 1.0), (1.0, 2.0))
PAIRS = (1, 2, 3, 5)


def measure(world: VialWorld, rng: np.random.Generator) -> dict[str, Any]:
    """Draw, learn and read back the vials of one kind; say how it went."""
    vials = draw_vials(world, rng)
    learned = learn(world, vials)
    result = read_back(world, vials, learned, rng)
    good, error, u = result.readable, result.error_deg, result.u_deg
    low, high = np.quantile(error[good], [0.025, 0.975])
    return {
        "deg_per_line": list(world.deg_per_line),
        "pairs": world.pairs,
        "manual": world.manual,
        "span_deg": world.span_deg,
        "eye": world.eye,
        "far": world.far,
        "refused": round(float(1 - good.mean()), 4),
        "coverage": round(float(np.mean(np.abs(error[good]) <= 1.96 * u[good])), 4),
        "wrong": round(float(np.mean(good & (np.abs(error) > 1.96 * u))), 4),
        "half_deg": round(float(1.96 * u[good].mean()), 4),
        "wide": round(float(2 * 1.96 * u[good].mean() / (high - low)), 3),
    }


def kinds(vials: int) -> Iterator[VialWorld]:
    """All kinds; one pair without a manual tells no degrees per line, so there the engine refuses."""
    for glass, pairs, manual in product(GLASSES, PAIRS, (True, False)):
        if manual or pairs > 1:
            yield VialWorld(vials=vials, deg_per_line=glass, pairs=pairs, manual=manual)
    for glass, pairs, manual in product(GLASSES, (2, 3, 5), (True, False)):
        yield VialWorld(vials=vials, deg_per_line=glass, pairs=pairs, manual=manual, span_deg=0.3)
    for glass, pairs in product(GLASSES, (2, 5)):
        yield VialWorld(vials=vials, deg_per_line=glass, pairs=pairs, manual=False, eye=2.0)
    for glass, span, pairs in product(GLASSES, (0.3, 0.75), (2, 5)):
        yield VialWorld(vials=vials, deg_per_line=glass, pairs=pairs, manual=False, span_deg=span, far=5.0)


def main() -> int:
    """Run all kinds and print the table."""
    parser = argparse.ArgumentParser(description="Vials learned from pairs of readings")
    parser.add_argument("--vials", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    started = time.perf_counter()
    rows = []
    _say("deg/line   span  pairs manual  refused coverage  wrong  +-95 %  wide")
    for number, world in enumerate(kinds(options.vials)):
        row = measure(world, np.random.default_rng([options.seed, number]))
        rows.append(row)
        low, high = world.deg_per_line
        note = "* eye 2" if world.eye > 1 else "* far 5" if world.far > 2 else ""
        _say(
            f"{low:.1f}-{high:.1f} {world.span_deg:7.2f} {world.pairs:6d} {'yes' if world.manual else 'no':>6} "
            f"{row['refused']:8.1%} {row['coverage']:8.1%} {row['wrong']:6.1%} {row['half_deg']:7.3f} "
            f"{row['wide']:5.2f} {note}".rstrip()
        )
    promised = [row for row in rows if row["eye"] == 1 and row["far"] < 2]
    shares = [1 - row["refused"] for row in promised]
    report = {
        "name": "learned vials",
        "vials": options.vials,
        "seed": options.seed,
        "coverage": round(float(np.average([row["coverage"] for row in promised], weights=shares)), 4),
        "least_coverage": min(row["coverage"] for row in promised),
        "widest": max(row["wide"] for row in promised),
        "seconds": round(time.perf_counter() - started, 1),
        "rows": rows,
    }
    _say(json.dumps(report))
    return 0 if report["least_coverage"] >= COVERAGE and report["widest"] <= WIDE else 1


def _say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
