"""Quick checks on glass or rail: the rates of false verdicts that are stated, against those of simulated checks.

    uv run python tests/benchmarks/bench_quick_check.py [--cases N] [--seed S]

Each case has its own machine, glass, level and history: 1 to 3 pairs in the last 400 days (a survey of two reversed
pairs each way on a board with bow and waves, and one single reading each way on the glass), then up to 6 removals of
the glass since the latest pair. The glass starts at -1 +- 1 degree along and 0 +- 0.2 across, and walks with each
removal and each day as GLASS_ALONG and GLASS_ACROSS say (the rail without removals). Levels as in ``bench_coverage``.
The check is one single reading each way, with the level of the pairs or with another one of any kind.
Truths on the day of the check: "even" is pitch within 0.7 degree of the wanted 6.5 and roll within 0.65, any value as
likely; "kept" is what cared-for machines may do, normal with 0.25 and 0.2. "told": the check is told so as its belief;
otherwise it takes any slope as likely, and its stated rates hold for even truths. "long": levels of 250 mm and more.
A rate: of the verdicts "in spec" (both slopes within 0.2 and 0.15 degree), how many machines are out, and the other way
round. z: simulated less stated over the binomial standard deviation. Asked for where the check is told the truths that
there are: z within 3 with the same level; with another one no more often wrong than stated. The last line is JSON; what
misses is named there, and the exit code is 1.
"""

import argparse
import json
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

if __name__ == "__main__":  # run as a file, this folder is on the path instead of the project's
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from leveling.checks import FloatArray
from leveling.instruments import Budget, Instrument, reading_budget
from leveling.instruments_zeros import reversed_pair
from leveling.playfields import fit_playfield
from leveling.playfields_waves import u_wave_deg
from leveling.simulate_boards import BOARD_MM, local_slopes, make_boards
from leveling.simulate_work import Levels, make_levels, read_level
from leveling.verdicts import BORDERLINE, IN_SPEC, OUT_OF_SPEC
from leveling.verdicts_machine import Spec
from leveling.verdicts_quick import NOT_DUE, FalseRates, QuickVerdict, false_rates, quick_check
from leveling.verdicts_quick_slopes import Belief, QuickSlope, quick_slope
from leveling.verdicts_rail import GLASS_ACROSS, GLASS_ALONG, RAIL_ACROSS, RAIL_ALONG, RailPairs, Seat, learn_offset
from leveling.verdicts_widths import half_width
from tests.benchmarks.bench_coverage import LEVELS, TOLD_BOARD, U_ZERO_DEG, say

PAIRS = 3
MOST_Z = 3.0
SPEC = Spec(*(np.array(value) for value in (6.5, 0.2, 0.15, 0.5)))
LONG = (2, 3)  # the kinds of level with a base of 250 mm and more
KEPT = (Belief(np.array(6.5), np.array(0.25)), Belief(np.array(0.0), np.array(0.2)))
SEATS = {"glass": (GLASS_ALONG, GLASS_ACROSS), "rail": (RAIL_ALONG, RAIL_ACROSS)}


@dataclass(frozen=True)
class Case:
    """One line of the table."""

    seat: str
    truths: str
    same_level: bool
    believed: bool = False
    kinds: tuple[int, ...] = (0, 1, 2, 3)

    @property
    def name(self) -> str:
        """As in the table."""
        told = ", told" if self.believed else ""
        long = ", long" if self.kinds == LONG else ""
        return f"{self.seat}, {self.truths}{told}, {'same' if self.same_level else 'another'} level{long}"


CASES = (
    Case("glass", "even", True),
    Case("glass", "even", False),
    Case("rail", "even", True),
    Case("rail", "even", False),
    Case("glass", "kept", True, believed=True),
    Case("glass", "kept", False, believed=True),
    Case("glass", "kept", True, believed=True, kinds=LONG),
    Case("glass", "kept", True),
)


@dataclass(frozen=True)
class Owned:
    """A level of each case with its base."""

    levels: Levels
    base_mm: FloatArray


def own_levels(rng: np.random.Generator, count: int, kinds: tuple[int, ...]) -> Owned:
    """Draw a level of one of these kinds for each case."""
    step, accuracy, alignment, repeat, base = np.array(LEVELS)[rng.choice(kinds, count)].T
    zero = np.zeros(count)
    sheet = Instrument(step, accuracy, alignment, repeat, zero, zero + U_ZERO_DEG)
    return Owned(make_levels(rng=rng, count=count, sheet=sheet), base)


def truths(case: Case, rng: np.random.Generator, count: int) -> tuple[FloatArray, FloatArray]:
    """Draw pitch and roll on the day of the check."""
    if case.truths == "even":
        return 6.5 + rng.uniform(-0.7, 0.7, count), rng.uniform(-0.65, 0.65, count)
    return rng.normal(6.5, 0.25, count), rng.normal(0, 0.2, count)  # in KEPT's words


def read_once(
    rng: np.random.Generator, owned: Owned, pitch: FloatArray, roll: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return one single reading each way on a plane: glass or rail."""
    shown = (
        read_level(rng=rng, levels=owned.levels, pitch_deg=pitch, roll_deg=roll, along=along, repeats=1).r0_deg[..., 0]
        for along in (True, False)
    )
    return next(shown), next(shown)


def survey(
    rng: np.random.Generator, owned: Owned, pitch: FloatArray, roll: FloatArray
) -> tuple[tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
    """Return what two reversed pairs each way say of pitch and roll, and how sure without what all pairs share."""
    count, levels = len(pitch), owned.levels
    sheet = Instrument(*(getattr(levels.sheet, name)[:, None] for name in levels.sheet.__dataclass_fields__))
    at_spots = Levels(
        sheet, *(getattr(levels, n)[:, None] for n in ("zero_deg", "error_along_deg", "error_across_deg"))
    )
    boards = make_boards(rng=rng, pitch_deg=pitch, roll_deg=roll)
    tilts = []
    for along in (True, False):
        room = np.array(BOARD_MM) / 2 - owned.base_mm[:, None, None] / 2 * np.array([not along, along])
        spots = rng.uniform(-1, 1, (count, 2, 2)) * room
        slopes = local_slopes(boards=boards, spots_mm=spots, base_mm=owned.base_mm)
        shown = read_level(rng=rng, levels=at_spots, pitch_deg=slopes[0], roll_deg=slopes[1], along=along, repeats=1)
        tilts.append(reversed_pair(r0_deg=shown.r0_deg[..., 0], r180_deg=shown.r180_deg[..., 0]).tilt_deg)
    along = np.arange(4) < 2
    budget = reading_budget(instrument=sheet, along=along, reversed_pair=True, pitch_deg=6.5)
    wave = u_wave_deg(base_mm=owned.base_mm[:, None], along=along, board=TOLD_BOARD)
    fit = fit_playfield(tilt_deg=np.concatenate(tilts, axis=-1), along=along, budget=budget, wave_deg=wave)
    own = tuple(np.hypot(slope.u_fresh_deg, slope.u_rounding_deg) for slope in (fit.pitch, fit.roll))
    return (fit.pitch.angle_deg, fit.roll.angle_deg), (own[0], own[1])


def single_budget(owned: Owned, *, along: bool) -> Budget:
    """Return what the engine is told of one single reading on glass or rail."""
    return reading_budget(instrument=owned.levels.sheet, along=along, reversed_pair=False, pitch_deg=5.5)


def survey_budget(owned: Owned) -> Budget:
    """Return what all surveys with this level share: its accuracy, since reversed pairs have no zero."""
    return Budget(accuracy_deg=owned.levels.sheet.accuracy_deg / np.sqrt(3))


def walk(rng: np.random.Generator, seat: Seat, since: tuple[FloatArray, FloatArray]) -> FloatArray:
    """Return how far the glass sits from now at each pair, shape (n, PAIRS), the latest pair last."""
    removals, days = since
    steps = []
    for place in range(PAIRS):
        later = (removals[:, place + 1], days[:, place + 1]) if place + 1 < PAIRS else (0.0, 0.0)
        taken_out, years = removals[:, place] - later[0], (days[:, place] - later[1]) / 365.25
        # each removal is a shift of its own, then the months
        shifts = rng.normal(0, seat.u_removal_deg, (len(days), 7)) * (np.arange(7) < taken_out[:, None])
        steps.append(shifts.sum(axis=-1) + rng.normal(0, 1, len(days)) * seat.u_year_deg * np.sqrt(years))
    return -np.cumsum(np.stack(steps, axis=-1)[:, ::-1], axis=-1)[:, ::-1]


def simulate(case: Case, *, count: int, seed: int) -> tuple[QuickVerdict, tuple[QuickSlope, QuickSlope], FloatArray]:
    """Return the quick verdicts, the slopes behind them and the truths, shape (n, 2)."""
    rng = np.random.default_rng(seed)
    owned = own_levels(rng, count, case.kinds)
    checker = owned if case.same_level else own_levels(rng, count, case.kinds)
    seats = SEATS[case.seat]
    days = np.sort(rng.uniform(0, 400, (count, PAIRS)), axis=-1)[:, ::-1]
    removals = np.cumsum(rng.integers(0, 7, (count, PAIRS)), axis=-1)[:, ::-1].astype(np.float64)
    used = np.arange(PAIRS) >= PAIRS - rng.integers(1, PAIRS + 1, count)[:, None]
    now = rng.normal(-1, 1, count), rng.normal(0, 0.2, count)  # where the glass sits now, against the playfield
    then = [place[:, None] + walk(rng, seat, (removals, days)) for place, seat in zip(now, seats, strict=True)]
    pitch, roll = truths(case, rng, count)
    differences, owns = np.zeros((2, count, PAIRS)), np.zeros((2, count, PAIRS))
    for place in range(PAIRS):
        was = rng.normal(6.5, 0.3, count), rng.normal(0, 0.3, count)
        angles, own = survey(rng, owned, *was)
        rail = read_once(rng, owned, was[0] + then[0][:, place], was[1] + then[1][:, place])
        for way in range(2):
            differences[way, :, place], owns[way, :, place] = rail[way] - angles[way], own[way]
    check = read_once(rng, checker, pitch + now[0], roll + now[1])
    slopes = []
    for way, along in enumerate((True, False)):
        rail_budget, one = single_budget(owned, along=along), single_budget(checker, along=along)
        fresh = np.hypot(rail_budget.u_fresh_deg, rail_budget.repeating_deg)[:, None]
        pairs = RailPairs(differences[way], np.hypot(owns[way], fresh), removals, days, used)
        learned = learn_offset(
            pairs=pairs, seat=seats[way], survey=survey_budget(owned), rail=rail_budget, one_level=True
        )
        slopes.append(
            quick_slope(
                rail_deg=check[way],
                budget=one,
                learned=learned,
                same_level=case.same_level,
                belief=KEPT[way] if case.believed else None,
            )
        )
    verdict = quick_check(pitch=slopes[0], roll=slopes[1], spec=SPEC)
    return verdict, (slopes[0], slopes[1]), np.stack([pitch, roll], axis=-1)


def line_of(case: Case, *, count: int, seed: int) -> dict[str, float]:
    """Return one line of the table."""
    verdict, slopes, truth = simulate(case, count=count, seed=seed)
    within = (np.abs(truth[:, 0] - SPEC.pitch_deg) <= SPEC.pitch_tolerance_deg) & (
        np.abs(truth[:, 1]) <= SPEC.roll_tolerance_deg
    )
    stated: FalseRates = false_rates(verdict)
    line: dict[str, float] = {}
    for name, code, wrong in (("in", IN_SPEC, ~within), ("out", OUT_OF_SPEC, within)):
        said = verdict.machine.daily == code
        rate, told = float(wrong[said].sum() / max(said.sum(), 1)), float(getattr(stated, f"false_{name}"))
        spread = np.sqrt((verdict.false_chance[said] * (1 - verdict.false_chance[said])).sum()) / max(said.sum(), 1)
        line |= {f"said_{name}": float(said.mean()), f"stated_{name}": told, f"false_{name}": rate}
        line[f"z_{name}"] = (rate - told) / max(float(spread), 1e-9)
    line["borderline"] = float((verdict.machine.daily == BORDERLINE).mean())
    line["due"] = float((verdict.due != NOT_DUE).mean())
    sure = (verdict.due == NOT_DUE) & (verdict.machine.daily == IN_SPEC)
    line["false_in_not_due"] = float((~within)[sure].sum() / max(sure.sum(), 1))
    for name, slope, true in zip(("pitch", "roll"), slopes, truth.T, strict=True):
        line[f"u_{name}_deg"] = float(np.sqrt((slope.spread.u**2).mean()))
        line[f"held_{name}"] = float((np.abs(slope.angle_deg - true) <= half_width(slope.spread)).mean())
    return line


def main() -> int:
    """Run all lines and print the table."""
    parser = argparse.ArgumentParser(description="False verdicts of quick checks, stated against simulated")
    parser.add_argument("--cases", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=71)
    options = parser.parse_args()
    report: dict[str, object] = {"name": "quick checks", "cases": options.cases}
    missed: list[str] = []
    say(f"{options.cases} cases a line; rates and shares in percent, u in degrees")
    say(f"{'':38}{'seed':>5}{'false in spec':>32}{'false out of spec':>32}{'':16}{'u of':>14}{'95 % hold':>14}")
    heads = ("said", "stated", "found", "z") * 2 + ("border", "due")
    say(f"{'':43}{''.join(f'{head:>8}' for head in heads)}{'pitch':>7}{'roll':>7}{'pitch':>7}{'roll':>7}")
    for number, case in enumerate(CASES):
        line = line_of(case, count=options.cases, seed=options.seed + number)
        report[case.name] = line
        say(f"{case.name:38}{options.seed + number:5}{_row(line)}")
        if (case.believed or case.truths == "even") and not is_met(case, line):
            missed.append(case.name)
    say(json.dumps(report | {"missed": missed}))
    return 1 if missed else 0


def is_met(case: Case, line: dict[str, float]) -> bool:
    """Return whether the stated rates of false verdicts are met."""
    scores = (line["z_in"], line["z_out"])
    return max(scores) < MOST_Z and (not case.same_level or min(scores) > -MOST_Z)


def _row(line: dict[str, float]) -> str:
    cells = []
    for name in ("in", "out"):
        cells += [f"{100 * line[f'{kind}_{name}']:8.2f}" for kind in ("said", "stated", "false")]
        cells.append(f"{line[f'z_{name}']:8.2f}")
    cells += [f"{100 * line[name]:8.2f}" for name in ("borderline", "due")]
    cells += [f"{line[name]:7.3f}" for name in ("u_pitch_deg", "u_roll_deg")]
    cells += [f"{100 * line[name]:7.2f}" for name in ("held_pitch", "held_roll")]
    return "".join(cells)


if __name__ == "__main__":
    sys.exit(main())
