"""Leg plans against a mixed-integer solver: the same answer on every case, and how much sooner.

    uv run python tests/benchmarks/bench_plans.py [--cases N] [--seed S]

The peer is ``scipy.optimize.milp`` (HiGHS) on a formulation of its own: whole steps for each leg, a yes or no
for each leg and each lift, one for each class, rows in steps, and weights that put lifts before legs before
class before steps. It shares no code with the engine: its own gradients, bands, travel and costs. Its time is the
``milp`` calls alone; ours is the whole call, request included. The last line is JSON.
"""

import argparse
import json
import math
import os
import sys
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

if __name__ == "__main__":  # run as a file, this folder is on the path instead of the project's
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from leveling.frame import foot_positions
from leveling.turns import LegPlan, Outcome, PlanRequest, plan_legs

BATCH = 100_000
_SAME_EDGE = 1e-9  # share of the aim: a float tie counts as inside, as the engine documents
_FARTHEST_MM = 200.0  # a leg whose exposure is not known may go this far either way, as the engine documents
_HAIR_MM = 1e-6
#: Where the kinds of variables stand in the program.
_PLACES = {
    "steps": slice(0, 4),
    "sizes": slice(4, 8),
    "legs": slice(8, 12),
    "lifts": slice(12, 14),
    "classes": slice(14, 17),
}

Cases = dict[str, Any]


def draw_cases(count: int, rng: np.random.Generator) -> Cases:
    """Draw 60 % typical machines, 30 % mixed ones and 10 % with wide tolerances, as columns."""
    kind = rng.choice(3, size=count, p=(0.6, 0.3, 0.1))
    typical, wide = kind == 0, kind == 2

    def pick(usual: float, mixed: tuple[float, float], broad: tuple[float, float]) -> np.ndarray:
        return np.where(typical, usual, np.where(wide, rng.uniform(*broad, count), rng.uniform(*mixed, count)))

    def chance(usual: float, else_: float) -> np.ndarray:
        return rng.random(count) < np.where(typical, usual, else_)

    tolerance = {
        "pitch_tol_deg": pick(0.2, (0.03, 0.5), (0.5, 1.5)),
        "roll_tol_deg": pick(0.15, (0.02, 0.4), (0.4, 1.0)),
        "twist_tol_mm": pick(0.125, (0.03, 0.4), (0.4, 1.25)),
    }
    want, pitch_offset = rng.choice((3.5, 5.0, 5.5, 6.5, 7.0), count), rng.normal(0, 0.3, count)
    track = rng.uniform(500, 700, count)
    travel = np.where(chance(0.9, 0.6), 41.0, rng.uniform(3, 30, count))[:, None] * np.ones(4)
    exposure = travel * np.where(
        chance(0.8, 0.4)[:, None], rng.uniform(0, 1, (count, 4)), rng.beta(0.2, 0.2, (count, 4))
    )
    exposure[rng.random(count) < 0.005, 1] += 60  # impossible rows
    return {
        "track_front_mm": track,
        "track_rear_mm": np.where(chance(0.15, 0.4), track * rng.uniform(0.85, 1.15, count), track),
        "base_mm": rng.uniform(1150, 1400, count),
        "want_pitch_deg": want,
        "pitch_offset_deg": pitch_offset,
        "roll_offset_deg": rng.normal(0, 0.1, count),
        **tolerance,
        "pitch_deg": want + rng.normal(0, 1, count) * np.where(wide, 3 * tolerance["pitch_tol_deg"], 0.6),
        "roll_deg": rng.normal(0, 1, count) * np.where(wide, 2 * tolerance["roll_tol_deg"], 0.3),
        "twist_mm": rng.normal(0, 1, count) * np.where(chance(0.4, 0.2), 0.02, 0.4),
        "lead_mm": np.where(chance(0.9, 0.7), 25.4 / 16, 1.5),
        "step_turns": np.where(typical, 0.25, rng.choice((1 / 2, 1 / 4, 1 / 6, 1 / 8), count)),
        "exposure_mm": exposure,
        "exposure_known": chance(0.6, 0.7)[:, None] & (rng.random((count, 4)) < 0.95),
        "travel_mm": travel,
        "front_reachable": ~chance(0.03, 0.06),
        "rear_reachable": ~chance(0.08, 0.12),
        "on_dollies": chance(0.05, 0.1),
        "even_if_in_spec": chance(0.05, 0.1),
    }


def request_of(cases: Cases) -> PlanRequest:
    """Return the cases as the engine takes them."""
    tracks = ("track_front_mm", "track_rear_mm", "base_mm")
    feet_mm = foot_positions(**{name: cases[name] for name in tracks})
    return PlanRequest(feet_mm=feet_mm, **{name: value for name, value in cases.items() if name not in tracks})


@dataclass(frozen=True)
class Answer:
    """What one case comes to; the costs are 0 unless there is a plan."""

    outcome: Outcome
    lifts: int = 0
    legs: int = 0
    aim_class: int = 0
    steps: int = 0


class Peer:
    """One case as a mixed-integer program in steps."""

    def __init__(self, case: Cases) -> None:
        self.case = case
        self.seconds = 0.0
        front, rear = case["track_front_mm"], case["track_rear_mm"]
        step = case["lead_mm"] * case["step_turns"]
        self.cabinet_pitch = math.radians(case["pitch_deg"] - case["pitch_offset_deg"])
        self.cabinet_roll = math.radians(case["roll_deg"] - case["roll_offset_deg"])
        self.goals = (
            math.radians(case["want_pitch_deg"] - case["pitch_offset_deg"]),
            math.radians(-case["roll_offset_deg"]),
        )
        # Steps of FL, FR, RL, RR to slope along, slope across and twist; two equal tracks give whole rows.
        wide = max(front, rear)
        self.along = np.array([-1, -1, 1, 1])
        self.across = np.array([-front, front, -rear, rear]) / wide
        self.twisted = np.array([rear, -rear, -front, front]) / wide
        self.per_row = (
            step / (2 * case["base_mm"]),
            step * wide / (front**2 + rear**2),
            step * wide / (2 * (front + rear)),
        )
        unit = (
            math.degrees(self.per_row[0]) * math.cos(self.goals[0]) ** 2,
            math.degrees(self.per_row[1]) * math.cos(self.goals[1]) ** 2,
            self.per_row[2],
        )
        self.tolerance = (case["pitch_tol_deg"], case["roll_tol_deg"], case["twist_tol_mm"])
        self.aim = tuple(max(tol / 3, one) for tol, one in zip(self.tolerance, unit, strict=True))
        known, room = case["exposure_known"], (case["exposure_mm"], case["travel_mm"] - case["exposure_mm"])
        self.beyond = bool((known & (np.minimum(*room) < -_HAIR_MM)).any())
        self.low = -np.floor((np.where(known, room[0], _FARTHEST_MM) + _HAIR_MM) / step)
        self.high = np.floor((np.where(known, room[1], _FARTHEST_MM) + _HAIR_MM) / step)
        for end, reachable in ((slice(0, 2), case["front_reachable"]), (slice(2, 4), case["rear_reachable"])):
            if not reachable:
                self.low[end] = self.high[end] = 0

    def answer(self) -> Answer:
        """Return the outcome and the least (lifts, legs, class, steps)."""
        if self.beyond:
            return Answer(Outcome.EXPOSURE_BEYOND_TRAVEL)
        now = self._deviations(np.zeros(4))
        in_spec = all(abs(d) <= t + _SAME_EDGE * a for d, t, a in zip(now, self.tolerance, self.aim, strict=True))
        if in_spec and not self.case["even_if_in_spec"]:
            return Answer(Outcome.ALREADY_IN_SPEC)
        steps = self._solve()
        if steps is None:
            return Answer(Outcome.NOTHING_FITS)
        if not steps.any():
            return Answer(Outcome.ALREADY_IN_SPEC)
        turned = steps != 0
        lifts = 1 if self.case["on_dollies"] else int(turned[:2].any()) + int(turned[2:].any())
        worst = max(abs(d) / a for d, a in zip(self._deviations(steps), self.aim, strict=True))
        return Answer(
            Outcome.PLAN,
            lifts,
            int(turned.sum()),
            max(math.ceil(3 * (worst - _SAME_EDGE)), 0),
            int(np.abs(steps).sum()),
        )

    def _deviations(self, steps: np.ndarray) -> tuple[float, float, float]:
        gy = math.tan(self.cabinet_pitch) + self.per_row[0] * float(self.along @ steps)
        gx = math.tan(self.cabinet_roll) + self.per_row[1] * float(self.across @ steps)
        twist = self.case["twist_mm"] + self.per_row[2] * float(self.twisted @ steps)
        return math.degrees(math.atan(gy) - self.goals[0]), math.degrees(math.atan(gx) - self.goals[1]), twist

    def _bands(self, row: int) -> tuple[list[float], list[float]]:
        """Lowest and highest value of a row, in steps, for the classes 0 to 3; whole where the row is whole."""
        cap = self.tolerance[row] / self.aim[row]
        half = [self.aim[row] * (min(level / 3, cap) + _SAME_EDGE) for level in range(4)]
        if row == 2:
            low, high = [-h - self.case["twist_mm"] for h in half], [h - self.case["twist_mm"] for h in half]
        else:
            goal, now = self.goals[row], math.tan((self.cabinet_pitch, self.cabinet_roll)[row])
            low = [math.tan(goal - math.radians(h)) - now for h in half]
            high = [math.tan(goal + math.radians(h)) - now for h in half]
        low, high = [x / self.per_row[row] for x in low], [x / self.per_row[row] for x in high]
        if row == 0 or self.case["track_front_mm"] == self.case["track_rear_mm"]:
            return [math.ceil(x) for x in low], [math.floor(x) for x in high]
        return low, high

    def _solve(self) -> np.ndarray | None:
        """Variables: 4 steps, 4 sizes, 4 legs turned, 2 lifts, 3 "class is at most 0, 1, 2"."""
        rows, bands = (self.along, self.across, self.twisted), [self._bands(row) for row in range(3)]
        most = math.ceil(max(-self.low.min(), self.high.max(), 1))
        matrix, lower, upper = [], [], []

        def row(low: float, high: float, **parts: Any) -> None:
            line = np.zeros(17)
            for name, value in parts.items():
                line[_PLACES[name]] = value
            matrix.append(line)
            lower.append(low)
            upper.append(high)

        for steps, (low, high) in zip(rows, bands, strict=True):
            row(-np.inf, high[3], steps=steps, classes=np.diff(high))
            row(low[3], np.inf, steps=steps, classes=np.diff(low))
        for leg, one in enumerate(np.eye(4)):
            lift = (1, 0) if self.case["on_dollies"] or leg < 2 else (0, 1)
            row(0, np.inf, sizes=one, steps=-one)
            row(0, np.inf, sizes=one, steps=one)
            row(-np.inf, 0, sizes=one, legs=-most * one)
            row(-np.inf, 0, legs=one, lifts=-np.array(lift))
        row(-np.inf, 0, classes=(1, -1, 0))
        row(-np.inf, 0, classes=(0, 1, -1))
        per_class = 4 * most + 1
        cost = np.concatenate([np.zeros(4), np.ones(4), [4 * per_class] * 4, [20 * per_class] * 2, [-per_class] * 3])
        low = np.concatenate([self.low, np.zeros(13)])
        high = np.concatenate([self.high, [most] * 4, np.ones(9)])
        integrality = np.concatenate([np.ones(4), np.zeros(4), np.ones(9)])
        constraints = LinearConstraint(np.array(matrix), lower, upper)
        start = time.perf_counter()
        found = milp(
            cost, integrality=integrality, bounds=Bounds(low, high), constraints=constraints, options={"mip_rel_gap": 0}
        )
        self.seconds = time.perf_counter() - start
        if found.status == 2:
            return None
        if found.status != 0:
            raise RuntimeError(f"the peer gave up: {found.message}")
        return np.rint(found.x[:4])


def our_answers(plan: LegPlan) -> list[Answer]:
    """Return what the engine says, case by case."""
    columns = zip(plan.outcome, plan.lifts, plan.legs, plan.aim_class, plan.total_steps, strict=True)
    return [
        Answer(Outcome(outcome), *map(int, costs)) if outcome == Outcome.PLAN else Answer(Outcome(outcome))
        for outcome, *costs in columns
    ]


def compare(
    cases: Cases, ours: list[Answer], say: Callable[[str], None] = lambda text: None
) -> tuple[list[int], float]:
    """Return the cases where the peer answers otherwise, and the seconds it took."""
    unequal, seconds = [], 0.0
    for number, mine in enumerate(ours):
        peer = Peer({name: values[number] for name, values in cases.items()})
        theirs = peer.answer()
        seconds += peer.seconds
        if theirs != mine:
            unequal.append(number)
            say(f"case {number}: ours {mine}, peer {theirs}")
        if (number + 1) % 1000 == 0:
            say(f"{number + 1} cases, {len(unequal)} unequal, peer {seconds:.1f} s")
    return unequal, seconds


def time_plans(cases: Cases, calls: int) -> float:
    """Return the seconds of the best of some calls, each with its request."""
    seconds = []
    for _ in range(calls):
        start = time.perf_counter()
        plan_legs(request_of(cases))
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def peak_mb(cases: Cases) -> float:
    """Return the peak of extra memory of one call [MB]."""
    tracemalloc.start()
    plan_legs(request_of(cases))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6


def main() -> int:
    """Run the comparison and print the report."""
    parser = argparse.ArgumentParser(description="Leg plans against scipy.optimize.milp")
    parser.add_argument("--cases", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    say = _quiet_terminal()
    rng = np.random.default_rng(options.seed)
    cases, batch = draw_cases(options.cases, rng), draw_cases(BATCH, rng)
    batch_s, batch_mb = time_plans(batch, calls=5), peak_mb(batch)
    say(f"{BATCH} machines in {batch_s:.2f} s and {batch_mb:.0f} MB")
    plan, ours_s = plan_legs(request_of(cases)), time_plans(cases, calls=5)
    counts = {outcome.name: int((plan.outcome == outcome).sum()) for outcome in Outcome}
    say(f"{options.cases} cases: {counts}, by legs {np.bincount(plan.legs[plan.outcome == Outcome.PLAN]).tolist()}")
    unequal, peer_s = compare(cases, our_answers(plan), say)
    report = {
        "name": "leg plans",
        "cases": options.cases,
        "equal": options.cases - len(unequal),
        "ours_s": round(ours_s, 4),
        "peer": "scipy.optimize.milp",
        "peer_s": round(peer_s, 2),
        "ratio": round(peer_s / ours_s, 1),
        "batch": BATCH,
        "batch_s": round(batch_s, 3),
        "batch_mb": round(batch_mb, 1),
    }
    say(json.dumps(report))
    return 1 if unequal else 0


def _quiet_terminal() -> Callable[[str], None]:
    """Return a printer, and silence everything else: the peer's library writes to the terminal when it likes."""
    terminal = os.fdopen(os.dup(1), "w")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    return lambda text: print(text, file=terminal, flush=True)


if __name__ == "__main__":
    sys.exit(main())
