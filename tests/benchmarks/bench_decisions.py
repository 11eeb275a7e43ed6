"""Decisions: errors at the limit, whether a stated chance is right, and whether the named remedy decides.

    uv run python tests/benchmarks/bench_decisions.py [--cases N] [--chances N] [--remedies N] [--seed S]

Machines, levels and people are those of ``simulate_work``: displays round, levels err within their stated limit and
are laid down askew, blades come in steps. Priors of the truth. Errors at the limit: pitch, roll or gap exactly on its
limit, the other two in the middle. Chances and remedies: pitch, roll and twist each flat from the lower limit less
4.5 standard uncertainties of the worst survey with that kind of level to as much above the upper one: a stated
chance is right only on average over a prior, and this is the one it claims. The wanted pitch is drawn from 3.5 to 7
degrees, so limits lie anywhere between the steps of a display; half of the machines keep the usual tolerances. For
the remedies a gap, seen (four in five) or not, is normal with the spread that ``verdicts_ways.Means`` states. Asked
for: at most 5.3 % proven in and 5.3 % proven out on the limit, chances right within 2 points, a remedy for everyone and
90 % decided by it. The last line is JSON; what misses is named there, and the exit code is 1.
"""

import argparse
import json
import os
import sys
import time
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np

if __name__ == "__main__":  # run as a file, this folder is on the path instead of the project's
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from leveling.checks import FloatArray
from leveling.checks_shapes import BoolArray
from leveling.instruments import Instrument
from leveling.simulate_work import Levels, make_levels, read_level
from leveling.verdicts import BORDERLINE, NOT_MEASURED, NOT_PROVEN, PROVEN_IN, PROVEN_OUT
from leveling.verdicts_machine import MachineVerdict, Spec, judge_machine
from leveling.verdicts_remedies import remedies
from leveling.verdicts_shapes import Spread
from leveling.verdicts_tries import CHECK_ZERO, DECIDED, NO_REMEDY, READ_AGAIN, REMEDIES, Remedy
from leveling.verdicts_ways import DEFAULT_MEANS, Surveyed
from tests.benchmarks.world_decisions import (
    KINDS,
    MOST,
    Side,
    Survey,
    World,
    draw_levels,
    draw_specs,
    draw_truths,
    feel,
    fitted,
    read_side,
    survey,
    surveyed,
)

MOST_AT_LIMIT, MOST_POINTS, LEAST_DECIDED = 5.3, 2.0, 0.9
U_TURN_MM = 0.03  # two hundredths of a turn on each leg, as ``simulate_work.turn_legs``


# Errors at the limit


def errors_at_the_limit(rng: np.random.Generator, count: int) -> dict[str, dict[str, list[float]]]:
    """Shares proven in and proven out, in percent, with the truth on a limit, for each kind of level and for all."""
    shares: dict[str, dict[str, list[float]]] = {}
    for quantity in ("pitch", "roll", "twist"):
        kind, spec, side = rng.integers(len(KINDS), size=count), draw_specs(rng, count), rng.choice((-1, 1), count)
        middle = World(spec.pitch_deg, np.zeros(count), np.full(count, 1e-9))
        limit = {
            "pitch": replace(middle, pitch_deg=spec.pitch_deg + side * spec.pitch_tolerance_deg),
            "roll": replace(middle, roll_deg=side * spec.roll_tolerance_deg),
            "twist": replace(middle, twist_mm=side * spec.twist_tolerance_mm),
        }[quantity]
        found = survey(rng, limit, draw_levels(rng, kind), np.ones(count, dtype=np.bool_))
        verdict = judge_machine(measured=found.result.measured, spec=spec)
        for name, code in (("of it", getattr(verdict, quantity)), ("of the machine", verdict.machine)):
            for label, rows in [("all", kind >= 0)] + [(word, kind == place) for place, word in enumerate(KINDS)]:
                said = code.certificate[rows]
                both = [100 * float(np.mean(said == way)) for way in (PROVEN_IN, PROVEN_OUT)]
                shares.setdefault(f"{quantity}, verdict {name}", {})[label] = both
    return shares


# Chances


def chances(rng: np.random.Generator, count: int) -> dict[str, list[tuple[float, float, int]]]:
    """Stated chance, share truly in spec and number of cases, in ten bins, for each quantity and the machine."""
    kind, spec = rng.integers(len(KINDS), size=count), draw_specs(rng, count)
    world = draw_truths(rng, spec, kind)
    found = survey(rng, world, draw_levels(rng, kind), np.ones(count, dtype=np.bool_))
    verdict = judge_machine(measured=found.result.measured, spec=spec)
    true = in_spec(world, spec)
    tables = {}
    for name in true:
        stated = getattr(verdict, name).chance
        place = np.minimum((stated * 10).astype(int), 9)
        tables[name] = [
            (float(stated[place == b].sum()), float(true[name][place == b].sum()), int((place == b).sum()))
            for b in range(10)
        ]
    return tables


def in_spec(world: World, spec: Spec) -> dict[str, BoolArray]:
    """What is truly in spec."""
    pitch = np.abs(world.pitch_deg - spec.pitch_deg) <= spec.pitch_tolerance_deg
    roll = np.abs(world.roll_deg) <= spec.roll_tolerance_deg
    twist = np.abs(world.twist_mm) <= spec.twist_tolerance_mm
    return {"pitch": pitch, "roll": roll, "twist": twist, "machine": pitch & roll & twist}


# Remedies


def remedies_taken(rng: np.random.Generator, count: int, certificate: bool) -> dict[str, Any]:
    """Undecided machines, the remedies named, and the shares decided after taking them."""
    kind, spec = rng.integers(len(KINDS), size=count), draw_specs(rng, count)
    gap = rng.normal(0, DEFAULT_MEANS.gap_spread_mm, count)
    world = replace(draw_truths(rng, spec, kind), twist_mm=gap / 4)
    found = survey(rng, world, draw_levels(rng, kind), rng.random(count) < 0.8)
    remedy = remedies(surveyed=found.result, spec=spec, certificate=certificate)
    open_ = undecided(judge_machine(measured=found.result.measured, spec=spec), certificate)
    after = take(rng, world, spec, found, remedy)
    decided = ~undecided(judge_machine(measured=after.measured, spec=spec), certificate)
    rows = {}
    for code, words in enumerate(REMEDIES):
        here = open_ & (remedy.code == code)
        if here.any():
            rows[words] = [int(here.sum()), float(remedy.chance[here].mean()), float(decided[here].mean())]
    total = [int(open_.sum()), float(remedy.chance[open_].mean()), float(decided[open_].mean())]
    return {
        "machines": count,
        "all": total,
        "unnamed": int((open_ & np.isin(remedy.code, (DECIDED, NO_REMEDY))).sum()),
        "remedies": rows,
    }


def undecided(verdict: MachineVerdict, certificate: bool) -> BoolArray:
    """Borderline or not measured; not proven."""
    if certificate:
        return verdict.machine.certificate == NOT_PROVEN
    return np.isin(verdict.machine.daily, (BORDERLINE, NOT_MEASURED))


def take(rng: np.random.Generator, world: World, spec: Spec, found: Survey, remedy: Remedy) -> Surveyed:
    """Do what the remedy says and survey again."""
    count = world.pitch_deg.size
    before, afresh = found.result, ~np.isin(remedy.code, (READ_AGAIN, CHECK_ZERO))
    felt, _ = feel(rng, world.twist_mm)
    seen = np.where(before.twist_known, before.twist_mm, felt)  # nobody turns a leg before looking at the feet
    levels, sheets = _levels_then(rng, found.levels, remedy)
    first = [
        read_side(rng, world, levels, along, remedy.pairs, np.maximum(more, 1), 2 * MOST)
        for along, more in ((True, remedy.more_along), (False, remedy.more_across))
    ]
    pitch, _, roll, _ = fitted(first[0], first[1])
    better = remedy.turn & (remedy.accuracy_deg > 0)  # a better instrument is read before legs are turned too
    by = (
        np.where(better, pitch.angle_deg, before.pitch_deg), np.where(better, roll.angle_deg, before.roll_deg),
        np.where(better, felt, seen),
    )  # fmt: skip
    now = turned(rng, world, spec, by, remedy)
    zero = _zero_checked(rng, found.levels)
    old_sheet = replace(
        found.levels.sheet,
        zero_deg=np.where(remedy.zero_first, zero, found.levels.sheet.zero_deg),
        u_zero_deg=np.where(
            remedy.zero_first,
            np.minimum(found.levels.sheet.u_zero_deg, DEFAULT_MEANS.u_zero_deg),
            found.levels.sheet.u_zero_deg,
        ),
    )
    sides = []
    for old, along, more in ((found.along, True, remedy.more_along), (found.across, False, remedy.more_across)):
        new = read_side(rng, now, levels, along, remedy.pairs, more, 2 * MOST)
        alone = afresh & (more > 0)
        sheet = _either(alone, sheets, old_sheet)
        sides.append(
            Side(
                raw_deg=np.concatenate([old.raw_deg, new.raw_deg], axis=-1),
                used=np.concatenate([old.used & ~alone[:, None], new.used], axis=-1),
                pairs=np.where(alone, remedy.pairs, old.pairs),
                sheet=sheet,
            )
        )
    twist, u = feel(rng, now.twist_mm)
    u_then = Spread(
        **{
            item.name: np.where(
                remedy.check_feet,
                getattr(u, item.name),
                np.broadcast_to(getattr(before.u_twist_mm, item.name), count),
            )
            for item in fields(u)
        }
    )
    return surveyed(
        sides[0], sides[1], np.where(remedy.check_feet, twist, before.twist_mm), u_then,
        before.twist_known | remedy.check_feet, levels.sheet, remedy.pairs,
    )  # fmt: skip


def turned(rng: np.random.Generator, world: World, spec: Spec, by: tuple[FloatArray, ...], remedy: Remedy) -> World:
    """The machines after their legs were turned by what was seen, where the remedy asks for it."""
    means, count = DEFAULT_MEANS, world.pitch_deg.size
    per_mm = np.degrees(1 / np.array([means.base_mm, means.track_mm]))
    units = (means.step_mm / 2 * per_mm[0], means.step_mm / 2 * per_mm[1], means.step_mm / 4)
    errors = (U_TURN_MM * per_mm[0], U_TURN_MM * per_mm[1], U_TURN_MM / 2)
    moved = []
    for truth, value, middle, tolerance, unit, error in zip(
        (world.pitch_deg, world.roll_deg, world.twist_mm),
        by,
        (spec.pitch_deg, 0.0, 0.0),
        (spec.pitch_tolerance_deg, spec.roll_tolerance_deg, spec.twist_tolerance_mm),
        units,
        errors,
        strict=True,
    ):
        left = np.where(remedy.closely, unit, np.maximum(tolerance / 3, unit)) * rng.uniform(-1, 1, count)
        moved.append(np.where(remedy.turn, truth - value + middle + left + rng.normal(0, error, count), truth))
    return World(*moved)


def _levels_then(rng: np.random.Generator, levels: Levels, remedy: Remedy) -> tuple[Levels, Instrument]:
    """The levels that are used afterwards: along a square edge, or other ones."""
    sheet, other = levels.sheet, remedy.accuracy_deg > 0
    edge = np.minimum(sheet.alignment_deg, DEFAULT_MEANS.alignment_deg)
    then = replace(
        sheet,
        alignment_deg=np.where(remedy.square, edge, sheet.alignment_deg),
        accuracy_deg=np.where(other, remedy.accuracy_deg, sheet.accuracy_deg),
        resolution_deg=np.where(other, np.minimum(sheet.resolution_deg, remedy.accuracy_deg / 2), sheet.resolution_deg),
    )
    new = make_levels(rng=rng, count=other.size, sheet=then)
    kept = {
        name: np.where(other, getattr(new, name), getattr(levels, name))
        for name in ("zero_deg", "error_along_deg", "error_across_deg")
    }
    return Levels(sheet=then, **kept), then


def _zero_checked(rng: np.random.Generator, levels: Levels) -> FloatArray:
    """The zero from three reversed pairs, each on its own nearly level place."""
    count = levels.zero_deg.size
    found = []
    for _ in range(3):
        slopes = rng.uniform(-0.5, 0.5, (2, count))
        shown = read_level(rng=rng, levels=levels, pitch_deg=slopes[0], roll_deg=slopes[1], along=False, repeats=1)
        found.append((shown.r0_deg[:, 0] + shown.r180_deg[:, 0]) / 2)
    return np.mean(found, axis=0)


def _either(first: BoolArray, one: Instrument, other: Instrument) -> Instrument:
    return Instrument(
        **{item.name: np.where(first, getattr(one, item.name), getattr(other, item.name)) for item in fields(one)}
    )


def say(line: str) -> None:
    """Write a line."""
    sys.stdout.write(line + "\n")


def missed(at_limit: dict[str, Any], worst: dict[str, float], taken: dict[str, Any]) -> list[str]:
    """Return what does not come up to what is asked for."""
    faults = [f"at the limit: {name}" for name, shares in at_limit.items() if max(shares["all"]) > MOST_AT_LIMIT]
    faults += [f"chance: {name}" for name, points in worst.items() if points > MOST_POINTS]
    faults += [f"{rule} rule: unnamed" for rule, found in taken.items() if found["unnamed"]]
    return faults + [f"{rule} rule: remedies" for rule, found in taken.items() if found["all"][2] < LEAST_DECIDED]


def main() -> int:
    """Run all three at full size and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=100_000, help="for each quantity, truth on its limit")
    parser.add_argument("--chances", type=int, default=1_000_000)
    parser.add_argument("--remedies", type=int, default=20_000, help="machines, for each rule")
    parser.add_argument("--seed", type=int, default=4105)
    asked = parser.parse_args()
    began = time.perf_counter()
    rng = np.random.default_rng(asked.seed)
    at_limit = errors_at_the_limit(rng, asked.cases)
    say(f"seed {asked.seed}\n\ncertificate rule, truth on the limit, {asked.cases} cases each: proven in, out, %")
    for name, shares in at_limit.items():
        say(f"  {name}: " + "; ".join(f"{kind} {a:.2f} {b:.2f}" for kind, (a, b) in shares.items()))
    parts = [chances(rng, min(100_000, asked.chances)) for _ in range(max(asked.chances // 100_000, 1))]
    tables = {name: np.sum([part[name] for part in parts], axis=0) for name in parts[0]}
    say(f"\ndaily rule, {asked.chances} cases: stated chance %, truly in spec %, difference in points, cases")
    worst = {}
    for name, table in tables.items():
        stated, true, cases = table.T
        difference = 100 * (stated - true) / cases
        worst[name] = float(np.abs(difference).max())
        say(f"  {name}: " + "; ".join(
            f"{100 * s / n:.1f} {100 * t / n:.1f} {d:+.2f} ({int(n)})"
            for s, t, n, d in zip(stated, true, cases, difference, strict=True)
        ))  # fmt: skip
    taken = {}
    for certificate in (False, True):
        rule = "certificate" if certificate else "daily"
        taken[rule] = remedies_taken(rng, asked.remedies, certificate)
        say(f"\n{rule} rule, remedies for {asked.remedies} machines: cases, chance said, decided after taking it")
        for words, (cases, said, decided) in (taken[rule]["remedies"] | {"all": taken[rule]["all"]}).items():
            say(f"  {cases:6d}  {said:.3f}  {decided:.3f}  {words}")
    faults = missed(at_limit, worst, taken)
    say(json.dumps({
        "benchmark": "decisions", "seed": asked.seed, "cpus": os.cpu_count(),
        "seconds": round(time.perf_counter() - began, 1), "at_the_limit": at_limit,
        "worst_chance_points": worst, "remedies": taken, "missed": faults,
    }))  # fmt: skip
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
