"""Surveys: typed readings to tilts, tilts to pitch, roll and twist with their uncertainty and verdict.

A survey's numbers come from three things that the record keeps: its readings, its ``inputs`` (what the engine was
given beside them) and its spec. ``assess`` makes the numbers, the first time and at any time later.
"""

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from collection import presets
from collection.arrays.surveys_feet import four_feet_of, stance_inputs
from collection.arrays.surveys_means import Means, means_inputs, means_of
from collection.arrays.surveys_results import Assessment, SlopeFound, TiltUsed
from collection.arrays.surveys_slopes import Board, Pairs, SlopeRead, about_deg, in_pairs, slope_read, tilt_of
from collection.arrays.surveys_verdicts import half_widths, judged_by, shapes_of, shares_of
from collection.models import Machine, Reading, Spec, Survey
from collection.models.instruments import KINDS_WITH_ZERO
from collection.models.surveys import DIRECTIONS
from leveling.four_feet import FourFeet
from leveling.playfields import TYPICAL_PITCH_DEG, Playfield, Slope
from leveling.playfields_next import READ_ACROSS, READ_ALONG, next_reading

Inputs = dict[str, Any]


@dataclass(frozen=True)
class Leaning:
    """How a machine leans: for each direction its readings in pairs and the board's slope, and the four-foot plane."""

    ways: dict[str, Pairs]
    reads: dict[str, SlopeRead]
    four: FourFeet


_NEXT = {READ_ALONG: "along", READ_ACROSS: "across"}


def readings_of(rows: Sequence[Mapping[str, Any]], inputs: Inputs) -> list[Reading]:
    """Return unsaved readings from typed rows; a row that was turned end for end gives two with one pair number."""
    readings: list[Reading] = []
    for pair, row in enumerate(rows):
        turned = bool(row.get("turned_high_end"))
        shared = {name: row.get(name) for name in ("direction", "unit", "x_mm", "y_mm")}
        shared |= {"spot": row.get("spot", ""), "pair": pair if turned else None}
        for start, is_reversed in (("", False), ("turned_", True))[: 1 + turned]:
            readings.append(
                Reading(
                    place=len(readings), text=row[f"{start}text"], number=row[f"{start}value"],
                    high_end=row[f"{start}high_end"], is_reversed=is_reversed, **shared,
                )
            )  # fmt: skip
    _understand(readings, inputs)
    return readings


def inputs_of(
    *,
    machine: Machine,
    along: Means,
    across: Means | None = None,
    measured_at: datetime.datetime,
    stance: str,
    gap: float,
    gap_unit: str,
    gap_step_turns: float = presets.GAP_STEP_TURNS,
    weights_kg: Sequence[float] = (),
) -> Inputs:
    """Return what the engine needs beside the readings, as plain numbers and words that the survey keeps.

    ``across`` is what roll was read with, None if with the same as pitch.
    """
    kept = {
        **means_inputs(along, measured_at=measured_at),
        "machine": _columns(
            machine, "track_front_mm", "track_rear_mm", "base_mm", "lead_mm",
            "pitch_offset_deg", "roll_offset_deg", "u_pitch_offset_deg", "u_roll_offset_deg",
        ),
        "stance": stance_inputs(
            stance=stance, gap=gap, gap_unit=gap_unit, gap_step_turns=gap_step_turns, weights_kg=weights_kg,
            machine=machine,
        ),
    }  # fmt: skip
    return kept | ({"across": means_inputs(across, measured_at=measured_at)} if across else {})


def leaning_of(*, readings: Sequence[Reading], inputs: Inputs) -> Leaning:
    """Return how a machine leans by its readings, before anything is judged."""
    ways = {direction: in_pairs(readings, direction) for direction in DIRECTIONS}
    pitch, roll = _slopes_read(ways, inputs)
    four = four_feet_of(pitch=pitch.slope, roll=roll.slope, inputs=inputs)
    return Leaning(ways, {"along": pitch, "across": roll}, four)


def assess(*, readings: Sequence[Reading], inputs: Inputs, spec: Spec) -> Assessment | None:
    """Return what the readings say about a machine against its spec; None if there is no reading."""
    if not readings:
        return None
    leaning = leaning_of(readings=readings, inputs=inputs)
    ways, four = leaning.ways, leaning.four
    pitch, roll = (leaning.reads[direction] for direction in DIRECTIONS)
    checked = inputs["stance"]["stance"] != "unknown"
    known = bool(pitch.slope.known), bool(roll.slope.known)
    shapes = shapes_of(pitch=pitch, roll=roll, four=four, inputs=inputs)
    half_pitch_deg, half_roll_deg, half_gap_mm = half_widths(shapes, inputs["stance"]["u_gap_mm"])
    return Assessment(
        pitch=_slope(pitch.slope),
        roll=_slope(roll.slope),
        pitch_deg=float(four.pitch_deg),
        roll_deg=float(four.roll_deg),
        twist_mm=float(four.twist_mm),
        u_pitch_deg=float(four.u_pitch_deg),
        u_roll_deg=float(four.u_roll_deg),
        u_twist_mm=float(four.u_twist_mm),
        light=inputs["stance"]["light"],
        gap_mm=inputs["stance"]["gap_mm"],
        u_gap_mm=inputs["stance"]["u_gap_mm"],
        feet_checked=checked,
        half_pitch_deg=half_pitch_deg,
        half_roll_deg=half_roll_deg,
        half_gap_mm=half_gap_mm,
        judged=judged_by(four=four, shapes=shapes, spec=spec, known=(*known, checked)),
        parts=(shapes.pitch_parts, shapes.roll_parts),
        shares={
            "along": shares_of(shapes.pitch_parts, pitch.wave_deg),
            "across": shares_of(shapes.roll_parts, roll.wave_deg),
        },
        tilts=_in_order([*_tilts(ways["along"], pitch), *_tilts(ways["across"], roll)]),
        disagree=all(known) and not all(read.slope.agree and read.odd < 0 for read in (pitch, roll)),
        next_direction=_next_direction(pitch, roll, spec),
        lacks={"along": pitch.lacks, "across": roll.lacks},
    )


def recomputed(survey: Survey, readings: Sequence[Reading], spec: Spec | None = None) -> Assessment:
    """Return a stored survey's numbers, made again from its readings, its inputs and its spec, or a newer one."""
    found = assess(readings=readings, inputs=survey.inputs, spec=spec or survey.spec)
    if found is None:
        raise ValueError("a stored survey without readings")
    return found


def _columns(row: Any, *names: str) -> Inputs:
    return {name: getattr(row, name) for name in names}


def _understand(readings: list[Reading], inputs: Inputs) -> None:
    """Give each reading its tilt: first those along, since what a ball tells of roll hangs on the pitch."""
    pitch_deg = TYPICAL_PITCH_DEG
    for direction in DIRECTIONS:
        means = means_of(inputs, direction)
        for row in readings:
            if row.direction == direction:
                row.tilt_deg = tilt_of(
                    means=means, direction=direction, number=row.number, unit=row.unit, high_end=row.high_end,
                    pitch_deg=pitch_deg,
                )  # fmt: skip
        pitch_deg = about_deg(in_pairs(readings, "along"), means, TYPICAL_PITCH_DEG)


def _slopes_read(ways: dict[str, Pairs], inputs: Inputs) -> tuple[SlopeRead, SlopeRead]:
    """Pitch and roll as the board read. Pitch comes first: it sets what lying askew costs across."""
    along, across = (means_of(inputs, direction) for direction in DIRECTIONS)
    board = Board(
        about_deg(ways["along"], along, TYPICAL_PITCH_DEG), about_deg(ways["across"], across, 0.0)
    )  # fmt: skip
    pitch = slope_read(ways["along"], along, board, along=True)
    if pitch.slope.known and along["kind"] not in KINDS_WITH_ZERO:
        board = replace(board, pitch_deg=float(pitch.slope.angle_deg))
    board = replace(board, u_pitch_deg=float(pitch.slope.u_deg))
    return pitch, slope_read(ways["across"], across, board, along=False)


def _slope(slope: Slope) -> SlopeFound:
    return SlopeFound(
        angle_deg=float(slope.angle_deg),
        u_deg=float(slope.u_deg),
        u_fresh_deg=float(slope.u_fresh_deg),
        u_rounding_deg=float(slope.u_rounding_deg),
        u_common_deg=float(slope.u_common_deg),
        readings=int(slope.readings),
        agree=bool(slope.agree),
    )


def _tilts(pairs: Pairs, read: SlopeRead) -> list[TiltUsed]:
    names = ("resolution_deg", "alignment_deg", "repeat_deg", "accuracy_deg", "zero_deg", "u_deg")
    parts = {name: np.broadcast_to(getattr(read.budget, name), read.tilt_deg.shape) for name in names}
    limits = {name: getattr(read, name) for name in ("low_deg", "high_deg") if getattr(read, name) is not None}
    return [
        TiltUsed(
            reading=first,
            turned=second,
            tilt_deg=float(read.tilt_deg[i]),
            residual_deg=float(read.tilt_deg[i] - read.slope.angle_deg),
            is_odd=read.odd == i,
            stands_alone=int(read.slope.readings) < 2,
            wave_deg=float(read.wave_deg[i]),
            **{name: float(parts[name][i]) for name in names},
            **{name: float(limit[i]) for name, limit in limits.items()},
        )
        for i, (first, second) in enumerate(pairs)
    ]


def _in_order(tilts: list[TiltUsed]) -> tuple[TiltUsed, ...]:
    return tuple(sorted(tilts, key=lambda tilt: tilt.reading.place))


def _next_direction(pitch: SlopeRead, roll: SlopeRead, spec: Spec) -> str:
    """Along or across, whichever one more reading helps most; "" if hardly any would."""
    nothing = np.zeros((), dtype=int)
    advice = next_reading(
        fit=Playfield(pitch.slope, roll.slope, outcome=nothing, odd_reading=nothing - 1, odd_size=np.zeros(())),
        along_budget=pitch.one_more,
        across_budget=roll.one_more,
        pitch_tolerance_deg=spec.pitch_tolerance_deg,
        roll_tolerance_deg=spec.roll_tolerance_deg,
    )
    return _NEXT.get(int(advice.choice), "")
