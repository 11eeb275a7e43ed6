"""Light feet of 10,000 simulated machines: the right foot named, and intervals of the gap that hold the truth.

    uv run python tests/benchmarks/bench_feet.py [--machines N] [--seed S]

Truth: machines of ``simulate.make_machines`` on floors of ``simulate.make_floors``, one foot then turned so that how
short it is comes from a normal distribution of 0.8 mm (prior of truths); feet that give 0.1 to 0.7 mm under a quarter
of 90 to 140 kg, evenly. ``simulate.stand`` says how they stand, and each foot's load is its spring's squeeze times its
stiffness. Scales: each its own error of up to 1 %, each setting 0.2 kg (normal), shown to 0.1 kg. Air by blades of
0.05 mm and by turns in eighths. Last part: feet whose own stiffness differs by 20 %, by ``elastic_loads``.

"Width" is that of our 95 % interval over the one of a Monte Carlo (JCGM 101:2008) that draws every input from its own
distribution and runs the same formula, on some machines. The last line is JSON.
"""

import argparse
import json
import sys
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

if __name__ == "__main__":  # run as a file, this folder is on the path instead of the project's
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from leveling.contact import ALL_BEAR
from leveling.frame import null_vector
from leveling.simulate import Machines, Stood, corner_heights, make_machines, stand, turned
from leveling.simulate_floors import floor_heights, make_floors
from leveling.simulate_work import feel_gap, turn_until_it_bears
from leveling.support import Gap, gap_from_feeler, gap_from_turns
from leveling.support_give import LEARNED, USUAL_GIVE_HALF_MM, USUAL_GIVE_MM, Scale, learn_give, usual_give
from leveling.support_loads import elastic_loads
from leveling.support_methods import HANGS, U_FEEL_MM, combine_methods, u_counted_turns
from leveling.support_weights import EVEN, FLOATS, LIGHT, weigh_feet

SCALE = Scale(resolution=0.1, accuracy_share=0.01, repeat=0.2)
SHORT_SD_MM = 0.8
U_TURN = 0.02  # stopping at the mark, as in simulate_work.turn_legs
TURN = 0.25  # between two weighings
U_EIGHTHS = float(u_counted_turns(0.125))
MC_MACHINES, MC_DRAWS = 400, 1000


@dataclass(frozen=True)
class World:
    """Machines as they truly stand, with what each foot carries [kg] and how short the light one is [mm]."""

    machines: Machines
    floor_mm: np.ndarray
    weight_kg: np.ndarray
    stood: Stood
    loads_kg: np.ndarray
    twist_mm: np.ndarray
    light: np.ndarray
    short_mm: np.ndarray


def make_world(rng: np.random.Generator, count: int) -> World:
    """Draw machines whose light foot is short by a normal amount of either diagonal."""
    machines = make_machines(rng=rng, count=count, compression_mm=rng.uniform(0.1, 0.7, count))
    floor = floor_heights(floors=make_floors(rng=rng, count=count), feet_mm=machines.feet_mm)
    null = null_vector(machines.feet_mm)
    has = (null * corner_heights(machines, floor)).sum(-1)
    wanted = rng.normal(0, SHORT_SD_MM, count) * null[:, 0]
    turns = np.zeros((count, 4))
    turns[:, 0] = (wanted - has) / null[:, 0] / machines.lead_mm
    return world_of(turned(machines, turns), floor, rng.uniform(90, 140, count))


def world_of(machines: Machines, floor: np.ndarray, weight: np.ndarray) -> World:
    """Let the machines stand and read their springs."""
    stood, heights = stand(machines, floor), corner_heights(machines, floor)
    # The foot that would float on a rigid floor is the light one.
    light = stand(replace(machines, compression_mm=np.zeros(len(weight))), floor).light
    null = null_vector(machines.feet_mm)
    twist = (null * heights).sum(-1)
    return World(
        machines=machines,
        floor_mm=floor,
        weight_kg=weight,
        stood=stood,
        loads_kg=spring_loads(machines, stood, heights, weight),
        twist_mm=twist,
        light=light,
        short_mm=np.abs(twist / np.take_along_axis(null, light[:, None], -1)[:, 0]),
    )


def spring_loads(machines: Machines, stood: Stood, heights: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Squeeze times stiffness of each foot, the cabinet as low as the weight presses it."""
    slope = machines.feet_mm[..., 0] * stood.gx[:, None] + machines.feet_mm[..., 1] * stood.gy[:, None]
    bears = np.arange(4) != stood.light[:, None]
    squeeze = heights - slope
    stiffness = (weight / 4 / machines.compression_mm)[:, None]
    low = ((squeeze * bears).sum(-1, keepdims=True) - weight[:, None] / stiffness) / bears.sum(-1, keepdims=True)
    return np.where(bears, stiffness * (squeeze - low), 0.0)


def scales_of(rng: np.random.Generator, loads: np.ndarray, gain: np.ndarray) -> np.ndarray:
    """What four scales show."""
    step = float(SCALE.resolution)
    return np.round((loads * gain + rng.normal(0, 0.2, loads.shape)) / step) * step


def gains(rng: np.random.Generator, shape: tuple[int, ...]) -> np.ndarray:
    """Each scale's own error."""
    return 1 + rng.uniform(-0.01, 0.01, shape)


def again(rng: np.random.Generator, shown: np.ndarray) -> np.ndarray:
    """The same scales' readings as the Monte Carlo believes them: rounding and setting, without their own error."""
    return shown + rng.uniform(-0.05, 0.05, shown.shape) + rng.normal(0, 0.2, shown.shape)


def few(thing: Any, rows: np.ndarray) -> Any:
    """Some rows of a dataclass of arrays, with an axis for draws behind the batch."""
    return type(thing)(*(getattr(thing, field.name)[rows][:, None] for field in fields(thing)))


def spread(draws: np.ndarray) -> np.ndarray:
    """Width of the 95 % interval of each machine's draws."""
    low, high = np.quantile(draws, (0.025, 0.975), axis=1)
    return high - low


def judged(value: np.ndarray, u: np.ndarray, truth: np.ndarray, mc_rows: np.ndarray, mc: np.ndarray) -> dict[str, Any]:
    """Share of 95 % intervals that hold the truth, and their mean width over the Monte Carlo's."""
    held = np.abs(value - truth) <= 1.96 * u
    return {
        "machines": len(truth),
        "coverage": round(float(held.mean()), 4),
        "mean_width_mm": round(float((3.92 * u).mean()), 4),
        "width": round(float((3.92 * u[mc_rows]).mean() / spread(mc).mean()), 3),
    }


def chosen(rng: np.random.Generator, count: int) -> np.ndarray:
    """Rows for the Monte Carlo."""
    return rng.choice(count, min(MC_MACHINES, count), replace=False)


def by_weights(rng: np.random.Generator, world: World) -> dict[str, Any]:
    """Weights alone: the foot named, and the twist of machines whose four feet bear, with the usual give."""
    shown = scales_of(rng, world.loads_kg, gains(rng, world.loads_kg.shape))
    feet = world.machines.feet_mm
    found = weigh_feet(
        shown, scale=SCALE, feet_mm=feet, give=usual_give(world.weight_kg), known_weight=world.weight_kg, u_weight=1.0
    )
    told, bears = np.isin(found.outcome, (LIGHT, FLOATS)), np.isin(found.outcome, (EVEN, LIGHT))
    right, diagonal = found.light == world.light, np.sign(found.twist_mm) == np.sign(world.twist_mm)
    clear = world.short_mm > 0.25
    rows = np.flatnonzero(bears & (world.stood.light == ALL_BEAR))
    some = rows[mc_at := chosen(rng, len(rows))]
    quarter = world.weight_kg[some, None] / 4
    give = (USUAL_GIVE_MM + USUAL_GIVE_HALF_MM * rng.uniform(-1, 1, (len(some), MC_DRAWS))) / quarter
    drawn = again(rng, np.repeat(shown[some][:, None], MC_DRAWS, 1)) / gains(rng, (len(some), MC_DRAWS, 4))
    mc = (null_vector(feet[some])[:, None] * drawn).sum(-1) * give
    return {
        "named": {
            "told": round(float(told.mean()), 4),
            "right foot of those told": round(float(right[told].mean()), 4),
            "right diagonal of those told": round(float(diagonal[told].mean()), 4),
            "told, of short by more than 0.25 mm": round(float(told[clear].mean()), 4),
            "right foot, of short by more than 0.25 mm": round(float((right & told)[clear].mean()), 4),
            "disbelieved though true": round(float((found.outcome > FLOATS).mean()), 4),
        },
        "short, bears, usual give": judged(
            4 * found.twist_mm[rows], 4 * found.u_twist_mm[rows], 4 * world.twist_mm[rows], mc_at, 4 * mc
        ),
    }


def by_two_weighings(rng: np.random.Generator, world: World) -> dict[str, Any]:
    """The light foot a quarter turn out between two weighings: the give and the twist that is left."""
    gain, leg = gains(rng, world.loads_kg.shape), world.light
    true_turns = np.where(np.arange(4) == leg[:, None], TURN + rng.normal(0, U_TURN, (len(leg), 1)), 0.0)
    later = world_of(turned(world.machines, true_turns), world.floor_mm, world.weight_kg)
    raised = gap_from_turns(TURN, lead_mm=world.machines.lead_mm, u_turns=U_TURN)
    shown = [scales_of(rng, part.loads_kg, gain) for part in (world, later)]
    feet = world.machines.feet_mm
    taught = learn_give(before=shown[0], after=shown[1], leg=leg, raised=raised, scale=SCALE, feet_mm=feet)
    rows = np.flatnonzero(taught.outcome == LEARNED)
    some = rows[mc_at := chosen(rng, len(rows))]
    same = gains(rng, (len(some), MC_DRAWS, 4))
    null = null_vector(feet[some])[:, None]
    q1, q2 = ((null * again(rng, np.repeat(part[some][:, None], MC_DRAWS, 1)) / same).sum(-1) for part in shown)
    lead = world.machines.lead_mm[some, None]
    up = (TURN + rng.normal(0, U_TURN, q1.shape)) * lead * np.take_along_axis(null[:, 0], leg[some, None], -1)
    give = world.machines.compression_mm / world.weight_kg * 4
    told = (taught.give.mm_per_unit[rows], taught.give.u_mm_per_unit[rows], give[rows])
    kilo = np.mean(world.weight_kg) / 4  # told as mm under a quarter of the mean weight
    return {
        "learned": round(len(rows) / len(leg), 4),
        "give, learned": judged(*(part * kilo for part in told), mc_at, kilo * up / (q2 - q1)),
        "short after, learned": judged(
            4 * taught.twist_mm[rows],
            4 * taught.u_twist_mm[rows],
            4 * later.twist_mm[rows],
            mc_at,
            4 * up / (q2 - q1) * q2,
        ),
    }


def stacked(*found: Gap) -> Gap:
    """Gaps beside each other on a last axis."""
    return Gap(np.stack([gap.gap_mm for gap in found], -1), np.stack([gap.u_gap_mm for gap in found], -1))


def by_air(rng: np.random.Generator, world: World) -> dict[str, Any]:
    """Feeler and turns under floating feet, alone and together, then with weights: air, and how short the foot is."""
    stood, lead, feet = world.stood, world.machines.lead_mm, world.machines.feet_mm
    felt = feel_gap(rng=rng, light=stood.light, gap_mm=stood.gap_mm)
    counted = turn_until_it_bears(rng=rng, gap_mm=stood.gap_mm, lead_mm=lead)
    blade = gap_from_feeler(felt.goes_mm, felt.stops_mm)
    shown = scales_of(rng, world.loads_kg, gains(rng, world.loads_kg.shape))
    weighed = weigh_feet(
        shown, scale=SCALE, feet_mm=feet, give=usual_give(world.weight_kg), known_weight=world.weight_kg, u_weight=1.0
    )
    rows = np.flatnonzero((stood.light != ALL_BEAR) & (felt.light != ALL_BEAR))
    some = rows[mc_at := chosen(rng, len(rows))]
    shape = (len(some), MC_DRAWS)
    mc_blade = rng.uniform(felt.goes_mm[some, None], felt.stops_mm[some, None], shape) + rng.normal(0, 0.01, shape)
    mc_turns = counted[some, None] + rng.uniform(-0.0625, 0.0625, shape) + rng.normal(0, 0.05, shape)
    report: dict[str, Any] = {"hangs": round(float((stood.light != ALL_BEAR).mean()), 4)}
    alone = combine_methods(light=felt.light[:, None], gap=stacked(blade), feet_mm=feet).stance
    report["air, feeler"] = judged(alone.gap_mm[rows], alone.u_gap_mm[rows], stood.gap_mm[rows], mc_at, mc_blade)
    for words, u_turns in (("turns, u 0.1", 0.1), ("turns, u 0.06", U_EIGHTHS)):
        screw = gap_from_turns(counted, lead_mm=lead, u_turns=u_turns)
        mc = mc_turns * lead[some, None]
        report[f"air, {words}"] = judged(screw.gap_mm[rows], screw.u_gap_mm[rows], stood.gap_mm[rows], mc_at, mc)
        pair = stacked(blade, screw)
        light = np.stack([felt.light, stood.light], -1)
        both = combine_methods(light=light, gap=pair, weighed=weighed, feet_mm=feet)
        w = (1 / (pair.u_gap_mm[some] ** 2 + U_FEEL_MM**2))[:, None]
        mc_air = (w * np.stack([mc_blade, mc], -1)).sum(-1) / w.sum(-1)
        hangs = both.outcome[rows] == HANGS
        report[f"told to hang, feeler and {words}"] = round(float(hangs.mean()), 4)
        report[f"right foot, feeler and {words}"] = round(float((both.light == stood.light)[rows].mean()), 4)
        report[f"air, feeler and {words}"] = judged(
            both.stance.gap_mm[rows], both.stance.u_gap_mm[rows], stood.gap_mm[rows], mc_at, mc_air
        )
        quarter = world.weight_kg[some, None] / 4
        give = (USUAL_GIVE_MM + USUAL_GIVE_HALF_MM * rng.uniform(-1, 1, shape)) / quarter
        drawn = again(rng, np.repeat(shown[some][:, None], MC_DRAWS, 1)) / gains(rng, (*shape, 4))
        null = null_vector(feet[some])
        arm = np.abs(np.take_along_axis(null, world.light[some, None], -1))
        squeeze = np.abs((null[:, None] * drawn).sum(-1)) * give / arm
        report[f"short, feeler, weights and {words}"] = judged(
            both.short_mm[rows], both.u_short_mm[rows], world.short_mm[rows], mc_at, mc_air + squeeze
        )
    return report


def by_unequal_feet(rng: np.random.Generator, world: World) -> dict[str, Any]:
    """Feet of their own stiffness: the foot named, and the turn that evens the diagonals, found by trying."""
    count = len(world.weight_kg)
    machines, null = world.machines, null_vector(world.machines.feet_mm)
    own = (world.weight_kg / 4 / machines.compression_mm)[:, None] * np.exp(rng.normal(0, 0.2, (count, 4)))
    call = {
        "weight": world.weight_kg,
        "load_mm": machines.load_mm,
        "feet_mm": machines.feet_mm,
        "stiffness_per_mm": own,
    }
    heights = corner_heights(machines, world.floor_mm)
    heights = heights - heights.mean(-1, keepdims=True)

    def uneven(twist_mm: np.ndarray) -> np.ndarray:
        shape = null / (null**2).sum(-1, keepdims=True)
        return (null * elastic_loads(**call, heights_mm=heights + twist_mm[:, None] * shape).loads).sum(-1)

    even = solved(uneven, count)  # twist to add until both diagonals carry alike
    shown = scales_of(rng, elastic_loads(**call, heights_mm=heights).loads, gains(rng, (count, 4)))
    found = weigh_feet(shown, scale=SCALE, feet_mm=machines.feet_mm, give=usual_give(world.weight_kg))
    stood = elastic_loads(**call, heights_mm=heights)
    rows = np.isin(found.outcome, (EVEN, LIGHT)) & (stood.light == ALL_BEAR)
    told = np.isin(found.outcome, (LIGHT, FLOATS)) & (np.abs(even) > 0.25 / 4)
    held = np.abs(found.twist_mm + even) <= 1.96 * found.u_twist_mm
    return {
        "machines": int(rows.sum()),
        "coverage": round(float(held[rows].mean()), 4),
        "right diagonal": round(float((np.sign(found.twist_mm) == -np.sign(even))[told].mean()), 4),
    }


def solved(fault: Callable[[np.ndarray], np.ndarray], count: int) -> np.ndarray:
    """Halve the interval from -5 to 5 mm until the fault, which rises with its argument, is nothing."""
    low, high = np.full(count, -5.0), np.full(count, 5.0)
    for _ in range(50):
        middle = (low + high) / 2
        above = fault(middle) > 0
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return (low + high) / 2


def report_of(machines: int, seed: int) -> dict[str, Any]:
    """Run everything once."""
    rng = np.random.default_rng(seed)
    world = make_world(rng, machines)
    return {
        "name": "light feet",
        "machines": machines,
        "seed": seed,
        "weights": by_weights(rng, world),
        "two weighings": by_two_weighings(rng, world),
        "air": by_air(rng, world),
        "unequal feet": by_unequal_feet(rng, world),
    }


def main() -> int:
    """Print a table, then one JSON line."""
    parser = argparse.ArgumentParser(description="Light feet of simulated machines")
    parser.add_argument("--machines", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=4)
    options = parser.parse_args()
    report = report_of(options.machines, options.seed)
    lines = []
    for part, found in report.items():
        if isinstance(found, dict):
            lines += [part, *(f"  {name:40} {value}" for name, value in found.items())]
    sys.stdout.write("\n".join([*lines, json.dumps(report)]) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
