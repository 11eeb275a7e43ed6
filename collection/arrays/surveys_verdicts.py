"""From the slopes of a survey to its verdicts: the shape of each error, and how far the truth may lie with 95 %.

A stated limit is an even error, not a normal one, so the verdict and the half width of 95 % use its shape. Surveys of
earlier days took every error as normal, and are made again in that way.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from collection.arrays.surveys_results import Judged, Share
from collection.arrays.surveys_slopes import SlopeRead
from collection.models import Spec
from leveling import verdicts
from leveling.four_feet import FourFeet
from leveling.instruments import Budget
from leveling.verdicts_machine import Measured, judge_machine
from leveling.verdicts_machine import Spec as WantedSpec
from leveling.verdicts_parts import Parts, parts_of
from leveling.verdicts_shapes import Spread, normal_spread
from leveling.verdicts_widths import half_width

_DAILY = {
    verdicts.IN_SPEC: "in",
    verdicts.BORDERLINE: "borderline",
    verdicts.OUT_OF_SPEC: "out",
    verdicts.NOT_MEASURED: "borderline",
}
_CERTIFICATE = {
    verdicts.PROVEN_IN: "proven_in",
    verdicts.NOT_PROVEN: "not_proven",
    verdicts.PROVEN_OUT: "proven_out",
}


@dataclass(frozen=True)
class Shapes:
    """Why pitch and roll of the four-foot plane are not exact: their parts, and the shape of the two errors."""

    pitch_parts: Parts
    roll_parts: Parts
    pitch: Spread
    roll: Spread


def shapes_of(*, pitch: SlopeRead, roll: SlopeRead, four: FourFeet, inputs: Mapping[str, Any]) -> Shapes:
    """Return the shapes of the errors of pitch and roll; plain normal ones for a survey of earlier days."""
    pitch_parts = _parts(pitch, float(four.u_pitch_deg))
    roll_parts = _parts(roll, float(four.u_roll_deg))
    if "kind" not in inputs["instrument"]:
        return Shapes(pitch_parts, roll_parts, normal_spread(four.u_pitch_deg), normal_spread(four.u_roll_deg))
    return Shapes(pitch_parts, roll_parts, pitch_parts.spread, roll_parts.spread)


def judged_by(*, four: FourFeet, shapes: Shapes, spec: Spec, known: tuple[bool, bool, bool]) -> dict[str, Judged]:
    """Return the verdicts on pitch, roll, twist and the machine; ``known`` says which of the three were measured."""
    verdict = judge_machine(
        measured=Measured(
            pitch_deg=four.pitch_deg,
            u_pitch_deg=shapes.pitch,
            roll_deg=four.roll_deg,
            u_roll_deg=shapes.roll,
            twist_mm=four.twist_mm,
            u_twist_mm=four.u_twist_mm,
            pitch_known=np.array(known[0]),
            roll_known=np.array(known[1]),
            twist_known=np.array(known[2]),
        ),
        spec=wanted(spec),
    )
    return {name: _judged(getattr(verdict, name)) for name in ("pitch", "roll", "twist", "machine")}


def wanted(spec: Spec) -> WantedSpec:
    """Return a machine's spec as the engine takes it."""
    return WantedSpec(**{item.name: getattr(spec, item.name) for item in fields(WantedSpec)})


def half_widths(shapes: Shapes, u_gap_mm: float) -> tuple[float, float, float]:
    """Return half of the interval that holds 95 %: of pitch and roll [degree] and of the gap [mm]."""
    three = (shapes.pitch, shapes.roll, normal_spread(u_gap_mm))
    together = Spread(**{item.name: np.array([getattr(one, item.name) for one in three]) for item in fields(Spread)})
    pitch_deg, roll_deg, gap_mm = half_width(together).tolist()
    return pitch_deg, roll_deg, gap_mm


def shares_of(parts: Parts, wave_deg: Any) -> tuple[Share, ...]:
    """Return what makes a slope unsure, the largest first, each with its share of the variance.

    The board's wave averages like laying the level down again; it is told apart by its mean over the readings.
    """
    total = float(parts.u_deg) ** 2
    if not bool(parts.known) or not total:
        return ()
    again = float(parts.repeat_deg) ** 2
    wave = min(float(np.mean(np.square(wave_deg))) / float(parts.readings), again) if np.size(wave_deg) else 0.0
    squares = {
        name: float(getattr(parts, f"{name}_deg")) ** 2
        for name in ("alignment", "rounding", "zero", "accuracy", "feet")
    }
    squares |= {"wave": wave, "repeat": again - wave}
    shares = [Share(name, square / total) for name, square in squares.items()]
    return tuple(sorted(shares, key=lambda share: -share.share))


def _parts(read: SlopeRead, u_deg: float) -> Parts:
    """The parts of a slope, with what an uncertain gap adds until all four feet bear."""
    parts = parts_of(read.slope, _one(read.budget))
    feet = max(u_deg**2 - float(read.slope.u_deg) ** 2, 0.0)
    return replace(parts, feet_deg=np.sqrt(feet))


def _one(budget: Budget) -> Budget:
    """The budget of one tilt that stands for all, taken in different ways or not."""
    squares = {item.name: np.square(getattr(budget, item.name)) for item in fields(budget)}
    return Budget(**{name: np.sqrt(square.mean()) if square.size else np.zeros(()) for name, square in squares.items()})


def _judged(verdict: verdicts.Verdict) -> Judged:
    return Judged(
        verdict=_DAILY[int(verdict.daily)],
        chance=float(verdict.chance),
        certificate=_CERTIFICATE[int(verdict.certificate)],
        provable=bool(verdict.provable),
        measured=int(verdict.daily) != verdicts.NOT_MEASURED,
    )
