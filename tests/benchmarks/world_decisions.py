"""The machines, levels and people of the benchmark of decisions: surveys that err as real ones do.

Displays round, levels err within their stated limit and are laid down askew, blades come in steps: all as in
``simulate_work``. What is made of the readings is the engine's own work.
"""

from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from leveling.checks import FloatArray
from leveling.checks_shapes import BoolArray, IntArray
from leveling.contact import ALL_BEAR
from leveling.instruments import Budget, Instrument, reading_budget
from leveling.playfields import Slope, fit_playfield
from leveling.simulate_work import Levels, feel_gap, make_levels, read_level
from leveling.support import gap_from_feeler, stance_of
from leveling.verdicts_machine import Spec
from leveling.verdicts_parts import Parts, parts_of
from leveling.verdicts_shapes import Spread
from leveling.verdicts_ways import Surveyed

#: Kinds of level: step, accuracy, alignment (limits), repeat, u of the zero (standard), degrees; standard uncertainty
#: of a poor survey with it. Common practice, no source.
KINDS = {
    "tenth": (0.1, 0.1, 1.0, 0.02, 0.05, 0.1),
    "hundredth": (0.01, 0.05, 0.5, 0.02, 0.02, 0.05),
    "coarse": (0.1, 0.2, 2.0, 0.05, 0.1, 0.2),
    "tenth, sure": (0.1, 0.02, 1.0, 0.02, 0.05, 0.09),
    "long base": (0.01, 0.1, 0.1, 0.01, 0.02, 0.065),
}
RANGE_U = 4.5
#: A hundredth of a mm of feel, as ``simulate_work.feel_gap`` draws it; blades alone know nothing of it.
U_FEEL_MM = 0.01
U_TWIST_MM = 0.0045
MOST = 4


@dataclass(frozen=True)
class World:
    """Machines as they are, each field shape (n,) [degree, mm]."""

    pitch_deg: FloatArray
    roll_deg: FloatArray
    twist_mm: FloatArray


@dataclass(frozen=True)
class Side:
    """What was read in one direction: ``raw_deg`` and ``used`` of shape (n, k), the rest (n,)."""

    raw_deg: FloatArray
    used: BoolArray
    pairs: BoolArray
    sheet: Instrument

    @property
    def tilt_deg(self) -> FloatArray:
        """Tilts with the zero taken out where the level was not turned end for end."""
        return self.raw_deg - np.where(self.pairs, 0.0, self.sheet.zero_deg)[:, None]


@dataclass(frozen=True)
class Survey:
    """A survey with all that is needed to add to it."""

    levels: Levels
    along: Side
    across: Side
    result: Surveyed


def draw_specs(rng: np.random.Generator, count: int) -> Spec:
    """Half with the usual tolerances, half with any."""
    usual = rng.random(count) < 0.5
    return Spec(
        pitch_deg=rng.uniform(3.5, 7.0, count),
        pitch_tolerance_deg=np.where(usual, 0.2, rng.uniform(0.1, 0.4, count)),
        roll_tolerance_deg=np.where(usual, 0.15, rng.uniform(0.1, 0.3, count)),
        gap_tolerance_mm=np.where(usual, 0.5, rng.uniform(0.3, 0.8, count)),
    )


def draw_levels(rng: np.random.Generator, kind: IntArray) -> Levels:
    """Levels of these kinds, their zeros checked some time ago."""
    step, accuracy, alignment, repeat, u_zero, _ = np.array(list(KINDS.values()))[kind].T
    sheet = Instrument(
        resolution_deg=step, accuracy_deg=accuracy, alignment_deg=alignment, repeat_deg=repeat,
        zero_deg=rng.normal(0, 0.2, kind.size), u_zero_deg=u_zero,
    )  # fmt: skip
    return make_levels(rng=rng, count=kind.size, sheet=sheet)


def draw_truths(rng: np.random.Generator, spec: Spec, kind: IntArray) -> World:
    """Flat over a range that is wide against the uncertainty."""
    count, u = kind.size, np.array(list(KINDS.values()))[kind, -1]
    return World(
        pitch_deg=spec.pitch_deg + rng.uniform(-1, 1, count) * (spec.pitch_tolerance_deg + RANGE_U * u),
        roll_deg=rng.uniform(-1, 1, count) * (spec.roll_tolerance_deg + RANGE_U * u),
        twist_mm=rng.uniform(-1, 1, count) * (spec.twist_tolerance_mm + RANGE_U * U_TWIST_MM),
    )


def read_side(
    rng: np.random.Generator, world: World, levels: Levels, along: bool, pairs: BoolArray, counts: IntArray, most: int
) -> Side:
    """Lay the levels down and read them."""
    shown = read_level(
        rng=rng, levels=levels, pitch_deg=world.pitch_deg, roll_deg=world.roll_deg, along=along, repeats=most
    )
    raw = np.where(pairs[:, None], (shown.r0_deg - shown.r180_deg) / 2, shown.r0_deg)
    return Side(raw_deg=raw, used=np.arange(most) < counts[:, None], pairs=pairs, sheet=levels.sheet)


def feel(rng: np.random.Generator, twist_mm: FloatArray) -> tuple[FloatArray, Spread]:
    """Twist by feeler blades under the foot that gives."""
    light = np.where(twist_mm == 0, ALL_BEAR, np.where(twist_mm < 0, 0, 1))
    felt = feel_gap(rng=rng, light=light, gap_mm=4 * np.abs(twist_mm))
    gap = gap_from_feeler(felt.goes_mm, felt.stops_mm)
    stance = stance_of(felt.light, gap)
    sign = np.select([felt.light == 0, felt.light == 1], [-1.0, 1.0], 0.0)
    u = np.hypot(stance.u_gap_mm, U_FEEL_MM) / 4
    return sign * stance.gap_mm / 4, Spread(u=u, even=gap.u_gap_mm / 4, even_too=np.zeros_like(u))


def fitted(along: Side, across: Side) -> tuple[Slope, Parts, Slope, Parts]:
    """Pitch and roll with their parts, each direction by its own way of reading."""
    means = [np.where(side.used, side.tilt_deg, 0.0).sum(axis=-1) / side.used.sum(axis=-1) for side in (along, across)]
    answers: list[Any] = []
    for side, lengthwise in ((along, True), (across, False)):
        one = reading_budget(
            instrument=side.sheet, along=lengthwise, reversed_pair=side.pairs, pitch_deg=means[0], roll_deg=means[1]
        )
        each = Budget(**{item.name: getattr(one, item.name)[:, None] for item in fields(one)})
        fit = fit_playfield(tilt_deg=side.tilt_deg, along=lengthwise, budget=each, used=side.used)
        slope = fit.pitch if lengthwise else fit.roll
        answers += [slope, parts_of(slope, one)]
    return tuple(answers)


def survey(rng: np.random.Generator, world: World, levels: Levels, feet: BoolArray) -> Survey:
    """Survey machines: one to four tilts each way, singly or end for end; the feet of some."""
    count = world.pitch_deg.size
    pairs = rng.random(count) < 0.6
    counts = rng.choice(np.arange(1, MOST + 1), size=(2, count), p=(0.4, 0.3, 0.15, 0.15))
    along = read_side(rng, world, levels, True, pairs, counts[0], MOST)
    across = read_side(rng, world, levels, False, pairs, counts[1], MOST)
    twist, u_twist = feel(rng, world.twist_mm)
    return Survey(levels, along, across, surveyed(along, across, twist, u_twist, feet, levels.sheet, pairs))


def surveyed(
    along: Side, across: Side, twist: FloatArray, u: Spread, feet: BoolArray, sheet: Instrument, pairs: BoolArray
) -> Surveyed:
    """What the engine makes of the readings."""
    pitch, pitch_parts, roll, roll_parts = fitted(along, across)
    return Surveyed(
        pitch_deg=pitch.angle_deg, pitch=pitch_parts, roll_deg=roll.angle_deg, roll=roll_parts,
        twist_mm=twist, u_twist_mm=u, twist_known=feet, instrument=sheet, reversed_pair=pairs,
    )  # fmt: skip
