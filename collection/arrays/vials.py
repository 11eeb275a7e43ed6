"""Vials: pairs of bubble and level, or a manual, to what one line of a vial means; what the bubble then says."""

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from collection.arrays.instruments import Zero, level_inputs, shown_deg
from collection.models import Instrument, VialPair
from collection.presets import U_DEG_PER_LINE_SHARE, U_VIAL_MIDDLE_DEG
from leveling.instruments import Budget, reading_budget
from leveling.instruments import Instrument as Level
from leveling.instruments_lines import Line
from leveling.instruments_vials import Vial, VialSheet, learn_vial, vial_from_manual
from leveling.instruments_vials_read import ON_VIAL, bubble_place, bubble_position_lines, read_vial
from leveling.playfields import TYPICAL_PITCH_DEG

Inputs = dict[str, Any]

#: How far a vial is known, as the engine's VIAL_OUTCOMES.
STATES = ("learned", "no_pairs", "too_close", "wrong_way", "disagree")
#: Where a bubble is or belongs, as the engine's PLACE_OUTCOMES.
PLACES = ("on", "past_rear", "past_front", "unknown", "far")


def learned_vial(*, vial: Instrument, pairs: Sequence[VialPair]) -> Vial:
    """Return what is known of a vial: from pairs if there are any, else from the manual of its machine."""
    sheet = sheet_of(vial)
    if not pairs and vial.deg_per_line is not None and vial.middle_deg is not None:
        return vial_from_manual(sheet=sheet, middle_deg=vial.middle_deg, u_middle_deg=U_VIAL_MIDDLE_DEG)
    return learn_vial(
        sheet=sheet,
        position_lines=np.array([pair.position_lines for pair in pairs]),
        tilt_deg=np.array([pair.tilt_deg for pair in pairs]),
        budget=budget_of(pairs),
    )


def sheet_of(vial: Instrument) -> VialSheet:
    """Return what is printed on a vial, with the manual's degrees per line if somebody looked them up."""
    reach = np.asarray(vial.reach_lines)
    if vial.deg_per_line is None:
        return VialSheet(reach_lines=reach)
    slope = np.asarray(vial.deg_per_line)
    return VialSheet(reach_lines=reach, deg_per_line=slope, u_deg_per_line=slope * U_DEG_PER_LINE_SHARE)


def pair_inputs(*, vial: Instrument, level: Instrument, zero: Zero, at: datetime.datetime) -> Inputs:
    """Return what a pair keeps of its level: how sure it is, and its zero on that day."""
    return {**level_inputs(level=level, zero=zero, at=at), "along": vial.direction == "along"}


def pair_tilt_deg(*, shown: float, unit: str, high_end: str, inputs: Mapping[str, Any]) -> float:
    """Return what the level says of the playfield, its zero taken out, positive = rear or right higher."""
    return shown_deg(shown, unit=unit, high_end=high_end) - float(inputs["instrument"]["zero_deg"])


def position_lines(shown: float, side: str) -> float:
    """Return where a bubble stands, positive = toward the rear or right, from lines counted and their side."""
    return float(bubble_position_lines(shown, side))


def budget_of(pairs: Sequence[VialPair]) -> Budget:
    """Return how sure the tilt of each pair is, one after another on the last axis."""
    kept = [pair.inputs for pair in pairs]
    along = np.array([inputs["along"] for inputs in kept], dtype=bool)
    tilts = np.array([pair.tilt_deg for pair in pairs], dtype=float)
    columns = {item.name: np.array([row["instrument"][item.name] for row in kept]) for item in fields(Level)}
    # across, the pitch sets what laying the level askew costs; along it is the tilt itself
    pitch = np.where(along, tilts, TYPICAL_PITCH_DEG)
    return reading_budget(instrument=Level(**columns), along=along, reversed_pair=False, pitch_deg=pitch)


def vial_inputs(vial: Vial) -> Inputs:
    """Return a vial as plain numbers that a survey can keep; ``vial_of_inputs`` makes the same vial of them."""
    return {
        "line": _plain(vial.line),
        "sheet": _plain(vial.sheet),
        "u_common_deg": float(vial.u_common_deg),
        "low_lines": float(vial.low_lines),
        "high_lines": float(vial.high_lines),
        "outcome": int(vial.outcome),
    }


def vial_of_inputs(inputs: Mapping[str, Any]) -> Vial:
    """Return the vial whose numbers were kept."""
    return Vial(
        line=Line(**_arrays(inputs["line"])),
        sheet=VialSheet(**_arrays(inputs["sheet"])),
        outcome=np.asarray(inputs["outcome"]),
        **_arrays({name: inputs[name] for name in ("u_common_deg", "low_lines", "high_lines")}),
    )


def _plain(row: Line | VialSheet) -> Inputs:
    numbers = {item.name: float(getattr(row, item.name)) for item in fields(row)}
    return {name: int(number) if name == "outcome" else number for name, number in numbers.items()}


def _arrays(numbers: Mapping[str, Any]) -> dict[str, Any]:
    return {name: np.asarray(number) for name, number in numbers.items()}


@dataclass(frozen=True)
class AngleRead:
    """What a bubble's place says [degree], with its u; nothing unless the ``state`` is on (PLACES)."""

    state: str
    angle_deg: float
    u_deg: float


@dataclass(frozen=True)
class PlaceFound:
    """Where a bubble belongs [line], positive = toward the rear or right; ``state`` is a word of PLACES."""

    state: str
    lines: float
    u_lines: float


def state_of(vial: Vial) -> str:
    """Return how far a vial is known: a word of STATES."""
    return STATES[int(vial.outcome)]


def angle_at(vial: Vial, lines: float) -> AngleRead:
    """Return the angle that a bubble's place says."""
    seen = read_vial(vial, lines)
    return AngleRead(PLACES[int(seen.outcome)], float(seen.tilt_deg), float(seen.budget.u_deg))


def place_of(vial: Vial, wanted_deg: float) -> PlaceFound:
    """Return where the bubble belongs for a wanted angle."""
    place = bubble_place(vial, wanted_deg)
    return PlaceFound(PLACES[int(place.outcome)], float(place.position_lines), float(place.u_lines))


def curve_of(vial: Vial) -> list[tuple[float, float, float]]:
    """Return the learned line for a chart: place [line], angle [degree] and u [degree], where it may be read."""
    reach = float(vial.sheet.reach_lines)
    lines = np.linspace(-reach, reach, 41)
    seen = read_vial(vial, lines)
    u_deg = np.hypot(seen.budget.zero_deg, seen.budget.accuracy_deg)
    return [
        (float(at), float(angle), float(u))
        for at, angle, u, outcome in zip(lines, seen.tilt_deg, u_deg, seen.outcome, strict=True)
        if outcome == ON_VIAL
    ]
