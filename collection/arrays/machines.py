"""Machines: how each quantity of a survey stands against a spec, for the marks on bars."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from collection.models import Spec as SpecRow
from collection.models import Survey
from leveling.checks import FloatArray
from leveling.verdicts_machine import Measured, Spec, judge_machine

#: Daily verdicts of the engine, in the order of its codes, as the pages name them.
WORDS = ("in", "borderline", "out", "not_measured")


@dataclass(frozen=True)
class Marks:
    """The daily verdict on each quantity: in, out, borderline, or not_measured."""

    pitch: str
    roll: str
    gap: str


def marks_of(*, pairs: Sequence[tuple[Survey, SpecRow]]) -> list[Marks]:
    """Return the marks of each survey against the spec beside it."""
    if not pairs:
        return []
    surveys, specs = [survey for survey, _ in pairs], [spec for _, spec in pairs]
    measured = Measured(
        pitch_deg=_column(surveys, "pitch_deg"),
        u_pitch_deg=_column(surveys, "u_pitch_deg"),
        roll_deg=_column(surveys, "roll_deg"),
        u_roll_deg=_column(surveys, "u_roll_deg"),
        twist_mm=_column(surveys, "twist_mm"),
        u_twist_mm=_column(surveys, "u_twist_mm"),
        twist_known=np.array([survey.stance != "unknown" for survey in surveys]),
    )
    spec = Spec(
        pitch_deg=_column(specs, "pitch_deg"),
        pitch_tolerance_deg=_column(specs, "pitch_tolerance_deg"),
        roll_tolerance_deg=_column(specs, "roll_tolerance_deg"),
        gap_tolerance_mm=_column(specs, "gap_tolerance_mm"),
    )
    verdict = judge_machine(measured=measured, spec=spec)
    codes = zip(verdict.pitch.daily, verdict.roll.daily, verdict.twist.daily, strict=True)
    return [Marks(*(WORDS[int(code)] for code in row)) for row in codes]


def _column(rows: Sequence[Survey | SpecRow], name: str) -> FloatArray:
    return np.array([getattr(row, name) for row in rows], dtype=np.float64)
