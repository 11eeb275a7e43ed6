"""Does learning a machine's own response save visits, and are turns caught that were not as told?

    uv run python tests/benchmarks/bench_response.py [--machines N] [--seed S]

Truths are drawn by ``simulate``: rigid machines that rest on three feet, wavy floors, levels that err as real ones do,
hands that stop within 0.02 turn. The believed base, or base and track, are up to 3 % off, evenly; in 5 % of the
machines the legs hold the other thread; offsets are unknown. A survey is three reversed pairs each way with a level of
0.1 degree, and blades under the light foot. It shares no code with the estimator but the engine's own doors: readings
to playfield, stance to four feet, leg plan. The last line is JSON.

Set-ups: a machine is carried to a floor that makes it 2.5 degrees off (rms of pitch and of roll each), planned, turned
and surveyed again until the daily rule has nothing against it; where that is borderline it is surveyed once more, as
the app asks, and the mean decides. "One plan" means that the first plan was enough. What the set-ups before taught is
used in the next; beside it the same machines are set up with what was believed at first.

Faults: turns of true leg plans, machines 0.1 to 1.5 degrees off (rms, even in the logarithm), done the wrong way at one
leg or left for right; or done as told while one foot slips or rises by 3 to 8 mm (evenly). Turns: what was turned
wrongly at the worst leg. Feet after the turns: with blades; pressed by hand and the gap judged by eye; or not looked
at. A rigid machine stands the same whether its light front foot hangs by 1 or by 10 mm, so a front foot that was turned
in instead of out shows in no angle. "Shows": the machine truly stands more than 0.1 degree from how it would have.

Asked for: 98 % with one plan once a set-up taught, the base alone being off; 99 % of turns at a wrong foot or the wrong
way caught at 2 turns or more with the feet looked at by eye, at 1 turn with blades; 1 % false alarms. Else exit code 1.
"""

import argparse
import json
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

if __name__ == "__main__":  # run as a file, this folder is on the path instead of the project's
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from leveling.contact import ALL_BEAR
from leveling.four_feet import FourFeet, Offset, to_four_feet
from leveling.instruments import Instrument
from leveling.instruments_zeros import reversed_pair
from leveling.playfields import playfield_from_readings
from leveling.response import PlanTerms, Response, plan_terms, usual_response
from leveling.response_faults import Finding
from leveling.response_learning import Step, learn_response
from leveling.simulate import Machines, Stood, corner_heights, make_machines, stand, turned
from leveling.simulate_floors import floor_heights, make_floors
from leveling.simulate_work import Levels, feel_gap, make_levels, read_level, turn_legs
from leveling.support import Stance, gap_from_feeler, stance_of
from leveling.turns import LegPlan, Outcome, PlanRequest, plan_legs
from leveling.units import LEAD_MM
from leveling.verdicts import BORDERLINE, OUT_OF_SPEC
from leveling.verdicts_machine import Measured, Spec, judge_machine

# Common practice, no source: modern pitch and the default tolerances.
WANT_PITCH_DEG, PITCH_TOL_DEG, ROLL_TOL_DEG, GAP_TOL_MM = 6.5, 0.2, 0.15, 0.5
OFF_RMS_DEG = 2.5
UNCHECKED_MM = 2.0  # a gap of either sign that may be there where nobody looked; common practice, no source
EYE, EYE_MM = 0.3, 0.5  # a gap is judged by eye to 30 %, under 0.5 mm not noticed; common practice, no source
MOST_GAP_MM = 90.0  # nobody slides a thicker stack under a foot

LEVEL = Instrument(
    resolution_deg=0.1, accuracy_deg=0.1, alignment_deg=1.0, repeat_deg=0.02, zero_deg=0.0, u_zero_deg=0.1
)
#: What is believed of every machine's offset: the middle of its kind, with the wide prior.
UNSURVEYED = Offset(pitch_deg=5.3, roll_deg=0.0)
FAULTS = (Finding.WRONG_FOOT, Finding.WRONG_WAY, Finding.LEFT_OUT, Finding.LEG_OFF, Finding.UNEXPLAINED)


@dataclass(frozen=True)
class World:
    """Machines as they are, what is believed of them, the level each is read with, and the floor they stand on."""

    machines: Machines
    feet_mm: np.ndarray
    lead_mm: np.ndarray
    levels: Levels
    floor_mm: np.ndarray

    @property
    def size(self) -> int:
        return len(self.lead_mm)

    def belief(self) -> Response:
        """What is believed before anything was turned."""
        threads = np.array(list(LEAD_MM.values()))
        other = threads.sum() - self.lead_mm
        return usual_response(lead_mm=self.lead_mm, other_lead_mm=other, offset=UNSURVEYED)


def make_world(rng: np.random.Generator, count: int, *, off: tuple[float, float] = (0.03, 0.03)) -> World:
    """Draw machines; base and track believed up to 3 % off, the thread wrong in 5 %."""
    machines = make_machines(rng=rng, count=count)
    threads = np.array(list(LEAD_MM.values()))
    mistaken = rng.uniform(size=count) < 0.05
    believed = np.where(mistaken, threads.sum() - machines.lead_mm, machines.lead_mm)
    scale = 1 + rng.uniform(-1, 1, (count, 1, 2)) * off[::-1]
    levels = make_levels(rng=rng, count=count, sheet=LEVEL)
    return World(machines, machines.feet_mm * scale, believed, levels, np.zeros((count, 4)))


def carried(rng: np.random.Generator, world: World, off_deg: ArrayLike) -> World:
    """Carry every machine to another floor, on which it is this far off (rms of pitch and of roll each)."""
    waves = floor_heights(
        floors=make_floors(rng=rng, count=world.size, slope_deg=0.0),
        feet_mm=world.machines.feet_mm,
        centre_mm=rng.uniform(-3000, 3000, (world.size, 2)),
        heading_deg=rng.uniform(0, 360, world.size),
    )
    level = stand(world.machines, waves)
    off = (rng.normal(0, 1, (world.size, 2)) * off_deg).T
    gy, gx = (
        np.tan(np.radians(want - angle))
        for want, angle in zip((WANT_PITCH_DEG + off[0], off[1]), (level.pitch_deg, level.roll_deg), strict=True)
    )
    feet = world.machines.feet_mm
    return replace(world, floor_mm=waves + gx[:, None] * feet[..., 0] + gy[:, None] * feet[..., 1])


def stance(rng: np.random.Generator, stood: Stood, feet: str) -> Stance:
    """What is known of the feet: by blades, by pressing each corner and a look, or nothing."""
    gap = np.minimum(stood.gap_mm, MOST_GAP_MM)
    if feet == "blades":
        felt = feel_gap(rng=rng, light=stood.light, gap_mm=gap)
        return stance_of(felt.light, gap_from_feeler(felt.goes_mm, felt.stops_mm))
    if feet == "nobody looked":
        return Stance(ALL_BEAR, 0.0, UNCHECKED_MM)
    guess = np.clip(gap * (1 + EYE * rng.normal(0, 1, gap.shape)), EYE_MM, MOST_GAP_MM)
    seen = gap > EYE_MM
    return Stance(
        np.where(seen, stood.light, ALL_BEAR), guess * seen, np.where(seen, np.maximum(EYE * guess, EYE_MM), EYE_MM)
    )


def survey(rng: np.random.Generator, world: World, *, feet: str = "blades") -> tuple[FourFeet, np.ndarray]:
    """Read a playfield with three reversed pairs each way: the four-foot plane, and u of what its level repeats."""
    stood = stand(world.machines, world.floor_mm)
    tilts = []
    for along in (True, False):
        shown = read_level(
            rng=rng, levels=world.levels, pitch_deg=stood.pitch_deg, roll_deg=stood.roll_deg, along=along, repeats=3
        )
        tilts.append(reversed_pair(r0_deg=shown.r0_deg, r180_deg=shown.r180_deg).tilt_deg)
    fit = playfield_from_readings(
        instrument=LEVEL, tilt_deg=np.concatenate(tilts, axis=-1), along=np.arange(6) < 3, reversed_pair=True
    )
    four = to_four_feet(
        pitch_deg=fit.pitch.angle_deg,
        roll_deg=fit.roll.angle_deg,
        covariance_deg2=np.stack([fit.pitch.u_deg, fit.roll.u_deg], axis=-1)[..., None] ** 2 * np.eye(2),
        stance=stance(rng, stood, feet),
        feet_mm=world.feet_mm,
        offset=UNSURVEYED,
    )
    return four, np.stack([fit.pitch.u_common_deg, fit.roll.u_common_deg], axis=-1)


def plan(now: FourFeet, terms: PlanTerms) -> LegPlan:
    """Plan the legs from a survey; no travel stops them."""
    return plan_legs(
        PlanRequest(
            feet_mm=terms.feet_mm,
            pitch_deg=now.pitch_deg,
            roll_deg=now.roll_deg,
            twist_mm=now.twist_mm,
            pitch_offset_deg=terms.offset.pitch_deg,
            roll_offset_deg=terms.offset.roll_deg,
            want_pitch_deg=WANT_PITCH_DEG,
            pitch_tol_deg=PITCH_TOL_DEG,
            roll_tol_deg=ROLL_TOL_DEG,
            twist_tol_mm=GAP_TOL_MM / 4,
            lead_mm=terms.lead_mm,
        )
    )


def done(world: World, turns: np.ndarray) -> World:
    """Turn the levelers by what was truly turned."""
    return replace(world, machines=turned(world.machines, turns))


@dataclass(frozen=True)
class SetUp:
    """One set-up of every machine: the world after it, the belief after it, and how many plans it took."""

    world: World
    response: Response
    plans: np.ndarray
    findings: np.ndarray
    inside: np.ndarray  # true pitch, roll and gap after the first plan, in spec as the machine's own level sees it


def set_up(rng: np.random.Generator, world: World, response: Response, *, learn: bool, most: int = 3) -> SetUp:
    """Plan, turn and survey again until the daily rule has nothing to say against it."""
    (now, shared), inside = survey(rng, world), np.zeros(world.size, dtype=bool)
    plans, findings = np.zeros(world.size, dtype=int), np.full((most, world.size), Finding.NOTHING_TURNED)
    wanted = np.ones(world.size, dtype=bool)
    for trip in range(most):
        made = plan(now, plan_terms(response, world.feet_mm))
        turns = np.where((wanted & (made.outcome == Outcome.PLAN))[:, None], made.turns, 0.0)
        plans += turns.any(axis=1)
        world = done(world, turn_legs(rng=rng, turns=turns))
        after, _ = survey(rng, world)
        if learn:
            step = Step(before=now, turns=turns, after=after, feet_mm=world.feet_mm, u_shared_deg=shared)
            learning = learn_response(response, step)
            response, findings[trip] = learning.response, learning.finding
        if trip == 0:
            inside = _inside(world)
        wanted = wanted & turns.any(axis=1) & wants_another(rng, world, after)
        now = after
    return SetUp(world, response, plans, findings, inside)


def wants_another(rng: np.random.Generator, world: World, now: FourFeet) -> np.ndarray:
    """Whether a person plans again: out of spec; where borderline, out of spec after another survey, both averaged."""
    again, _ = survey(rng, world)
    mean = FourFeet(
        (now.pitch_deg + again.pitch_deg) / 2,
        (now.roll_deg + again.roll_deg) / 2,
        (now.twist_mm + again.twist_mm) / 2,
        now.covariance,
    )
    first = _daily(now)
    still_outside = plan(mean, plan_terms(world.belief(), world.feet_mm)).outcome != Outcome.ALREADY_IN_SPEC
    return (first == OUT_OF_SPEC) | ((first == BORDERLINE) & still_outside)


def _daily(four: FourFeet) -> np.ndarray:
    measured = Measured(
        pitch_deg=four.pitch_deg,
        u_pitch_deg=four.u_pitch_deg,
        roll_deg=four.roll_deg,
        u_roll_deg=four.u_roll_deg,
        twist_mm=four.twist_mm,
        u_twist_mm=four.u_twist_mm,
    )
    spec = Spec(
        pitch_deg=WANT_PITCH_DEG,
        pitch_tolerance_deg=PITCH_TOL_DEG,
        roll_tolerance_deg=ROLL_TOL_DEG,
        gap_tolerance_mm=GAP_TOL_MM,
    )
    return judge_machine(measured=measured, spec=spec).machine.daily


def _inside(world: World) -> np.ndarray:
    """Whether the machine is in spec on four feet, seen by its own level without reading errors."""
    machines = world.machines
    heights = corner_heights(machines, world.floor_mm)
    feet = machines.feet_mm
    design = np.concatenate([np.ones_like(feet[..., :1]), feet], axis=-1)
    plane = (np.linalg.pinv(design) @ heights[..., None])[..., 0]
    pitch = np.degrees(np.arctan(plane[:, 2])) + machines.offset_pitch_deg + world.levels.error_along_deg
    roll = np.degrees(np.arctan(plane[:, 1])) + machines.offset_roll_deg + world.levels.error_across_deg
    gap = stand(machines, world.floor_mm).gap_mm
    return (np.abs(pitch - WANT_PITCH_DEG) <= PITCH_TOL_DEG) & (np.abs(roll) <= ROLL_TOL_DEG) & (gap <= GAP_TOL_MM)


def compare_set_ups(seed: int, count: int, *, off: tuple[float, float], set_ups: int = 3) -> list[dict[str, Any]]:
    """Set machines up some times; from each belief on, how many need one plan with learning and without."""
    rng = np.random.default_rng(seed)
    world = make_world(rng, count, off=off)
    response, rows = world.belief(), []
    for number in range(set_ups + 1):
        start = carried(rng, world, OFF_RMS_DEG)
        with_it = set_up(rng, start, response, learn=True)
        without = set_up(rng, start, world.belief(), learn=False)
        rows.append(
            {
                "base off %": 100 * off[0],
                "track off %": 100 * off[1],
                "set-ups before": number,
                "with %": percent(with_it.plans <= 1),
                "without %": percent(without.plans <= 1),
                "truly inside with %": percent(with_it.inside),
                "truly inside without %": percent(without.inside),
                "false alarms %": percent(np.isin(with_it.findings[0], FAULTS)),
                "u pitch factor %": round(100 * float(response.u_pitch_factor.mean()), 2),
                "u roll factor %": round(100 * float(response.u_roll_factor.mean()), 2),
            }
        )
        world, response = with_it.world, with_it.response
    return rows


def percent(flags: np.ndarray) -> float:
    """Return the share of yes, in percent."""
    return round(100 * float(np.mean(flags)), 2) if np.size(flags) else float("nan")


def fault_trial(
    seed: int, count: int, *, wrong_way: float = 0.0, wrong_foot: float = 0.0, slips: bool = False, feet: str = "blades"
) -> dict[str, np.ndarray]:
    """Plan, turn (in)correctly and learn; how the feet were checked afterwards. Rows where a leg was turned."""
    rng = np.random.default_rng(seed)
    off = np.exp(rng.uniform(np.log(0.1), np.log(1.5), count))
    world = carried(rng, make_world(rng, count), off[:, None])
    now, shared = survey(rng, world)
    made = plan(now, plan_terms(world.belief(), world.feet_mm))
    turns = np.where((made.outcome == Outcome.PLAN)[:, None], made.turns, 0.0)
    truly = turn_legs(rng=rng, turns=turns, wrong_way=wrong_way, wrong_foot=wrong_foot)
    slip_mm = (
        np.eye(4)[rng.integers(0, 4, count)] * (rng.uniform(3, 8, count) * rng.choice([-1, 1], count))[:, None]
    ) * slips
    as_told = stand(done(world, turns).machines, world.floor_mm)
    world = done(world, truly + slip_mm / world.machines.lead_mm[:, None])
    stood = stand(world.machines, world.floor_mm)
    then, _ = survey(rng, world, feet=feet)
    step = Step(before=now, turns=turns, after=then, feet_mm=world.feet_mm, u_shared_deg=shared)
    learning = learn_response(world.belief(), step)
    size = np.abs(truly - turns).max(axis=1) / (2 if wrong_way else 1)
    size = np.where(size < 0.2, 0.0, np.round(size * 4) / 4)  # told in quarter turns: the hand's own error is no fault
    right = np.abs(learning.turned - truly).max(axis=1) < 0.2
    if slips:
        right = (learning.finding == Finding.LEG_OFF) & (learning.leg == np.abs(slip_mm).argmax(axis=1))
    return {
        "turned": turns.any(axis=1),
        "shows": np.hypot(stood.pitch_deg - as_told.pitch_deg, stood.roll_deg - as_told.roll_deg) > 0.1,
        "size": size,
        "caught": np.isin(learning.finding, FAULTS),
        "finding": learning.finding,
        "told right": right,
        "chance": learning.chance_as_told,
    }


def fault_rows(seed: int, count: int) -> list[dict[str, Any]]:
    """The table of faults: kind, feet checked or not, size in turns, caught, named."""
    rows = []
    for feet in ("nobody looked", "by eye", "blades"):
        for kind, chances in (("wrong way", {"wrong_way": 1.0}), ("wrong foot", {"wrong_foot": 1.0})):
            trial = fault_trial(seed, count, **chances, feet=feet)
            for low, high in ((0.5, 1), (1, 2), (2, 4), (1, np.inf), (2, np.inf)):
                chosen = trial["turned"] & (trial["size"] >= low) & (trial["size"] < high)
                rows.append({"fault": kind, "feet": feet, "turns": f"{low:g} to {high:g}"} | told_of(trial, chosen))
        trial = fault_trial(seed, count, slips=True, feet=feet)
        slipped = {"fault": "a foot 3 to 8 mm off", "feet": feet, "turns": "any"}
        rows.append(slipped | told_of(trial, trial["turned"]))
        trial = fault_trial(seed + 1, count, feet=feet)
        rows.append(
            {
                "fault": "none",
                "feet": feet,
                "turns": "any",
                "cases": int(trial["turned"].sum()),
                "false alarms %": percent(trial["caught"][trial["turned"]]),
            }
        )
    return rows


def told_of(trial: dict[str, np.ndarray], chosen: np.ndarray) -> dict[str, float]:
    """Return how many of some rows were caught, show in an angle, and were named."""
    return {
        "cases": int(chosen.sum()),
        "caught %": percent(trial["caught"][chosen]),
        "shows %": percent(trial["shows"][chosen]),
        "caught where it shows %": percent(trial["caught"][chosen & trial["shows"]]),
        "told right %": percent(trial["told right"][chosen]),
    }


def missed(set_ups: list[dict[str, Any]], faults: list[dict[str, Any]]) -> list[str]:
    """Return what does not come up to what is asked for."""
    found = [
        f"set-up {row['set-ups before'] + 1}: {row['with %']} % with one plan"
        for row in set_ups
        if row["track off %"] == 0 and row["set-ups before"] and not max(98, row["without %"]) <= row["with %"]
    ]
    for row in faults:
        due = (row["feet"], row["turns"]) in (("by eye", "2 to inf"), ("blades", "1 to inf"))
        if (due and row["caught %"] < 99) or row.get("false alarms %", 0) > 1:
            found.append(f"{row['fault']}, feet: {row['feet']}, turns: {row['turns']}")
    return found


def main() -> int:
    """Run both and print the tables."""
    parser = argparse.ArgumentParser(description="Learning a machine's response")
    parser.add_argument("--machines", type=int, default=1000)
    parser.add_argument("--faults", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    set_ups = [
        row for off in ((0.03, 0.0), (0.03, 0.03)) for row in compare_set_ups(options.seed, options.machines, off=off)
    ]
    faults = fault_rows(options.seed, options.faults)
    for table in (set_ups, faults):
        for row in table:
            sys.stdout.write("  ".join(f"{name}: {value}" for name, value in row.items()) + "\n")
    misses = missed(set_ups, faults)
    report = {"name": "response", "seed": options.seed, "set_ups": set_ups, "faults": faults, "missed": misses}
    sys.stdout.write(json.dumps(report) + "\n")
    return 1 if misses else 0


if __name__ == "__main__":
    sys.exit(main())
