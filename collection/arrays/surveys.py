"""Surveys: typed readings to tilts, tilts to pitch, roll and twist with their uncertainty and verdict.

A survey's numbers come from three things that the record keeps: its readings, its ``inputs`` (what the engine was
given beside them) and its spec. ``assess`` makes the numbers, the first time and at any time later.
"""

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from collection.arrays.instruments import Zero
from collection.arrays.surveys_feet import feet_of, stance_inputs, stance_of_inputs, with_weighed_twist
from collection.arrays.surveys_results import Assessment, Judged, SlopeFound, TiltUsed
from collection.models import Instrument, Machine, Reading, Spec, Survey
from leveling import verdicts
from leveling.four_feet import FourFeet, Offset, to_four_feet
from leveling.instruments import Budget, reading_budget, signed_tilt_deg
from leveling.instruments import Instrument as Level
from leveling.instruments_zeros import reversed_pair_by_ends
from leveling.playfields import DISAGREE, TYPICAL_PITCH_DEG, Playfield, Slope, fit_playfield
from leveling.playfields_next import READ_ACROSS, READ_ALONG, next_reading
from leveling.units import slope_deg
from leveling.verdicts_machine import Measured, judge_machine
from leveling.verdicts_machine import Spec as WantedSpec

Inputs = dict[str, Any]

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
_NEXT = {READ_ALONG: "along", READ_ACROSS: "across"}


def readings_of(rows: Sequence[Mapping[str, Any]]) -> list[Reading]:
    """Return unsaved readings from typed rows; a row that was turned end for end gives two with one pair number."""
    readings: list[Reading] = []
    for pair, row in enumerate(rows):
        turned = row.get("turned_value") is not None
        shared = {name: row.get(name) for name in ("direction", "unit", "x_mm", "y_mm")}
        shared |= {"spot": row.get("spot", ""), "pair": pair if turned else None}
        for start, is_reversed in (("", False), ("turned_", True))[: 1 + turned]:
            end = row[f"{start}high_end"]
            tilt = signed_tilt_deg(slope_deg(row[f"{start}value"], row["unit"]), end)
            readings.append(
                Reading(
                    place=len(readings), text=row[f"{start}text"], high_end=end, tilt_deg=float(tilt),
                    is_reversed=is_reversed, **shared,
                )
            )  # fmt: skip
    return readings


def inputs_of(
    *,
    machine: Machine,
    instrument: Instrument,
    zero: Zero | None,
    measured_at: datetime.datetime,
    stance: str,
    gap: float,
    gap_unit: str,
    weights_kg: Sequence[float] = (),
) -> Inputs:
    """Return what the engine needs beside the readings, as plain numbers and words that the survey keeps."""
    return {
        "instrument": {
            **_columns(instrument, "resolution_deg", "accuracy_deg", "alignment_deg", "repeat_deg"),
            **_zero(zero, measured_at),
        },
        **_zero_from(zero),
        "machine": _columns(
            machine, "track_front_mm", "track_rear_mm", "base_mm", "lead_mm",
            "pitch_offset_deg", "roll_offset_deg", "u_pitch_offset_deg", "u_roll_offset_deg",
        ),
        "stance": stance_inputs(
            stance=stance, gap=gap, gap_unit=gap_unit, weights_kg=weights_kg, machine=machine
        ),
    }  # fmt: skip


def assess(*, readings: Sequence[Reading], inputs: Inputs, spec: Spec) -> Assessment | None:
    """Return what the readings say about a machine against its spec; None if there is no reading."""
    pairs = _in_pairs(readings)
    if not pairs:
        return None
    level = Level(**inputs["instrument"])
    along = np.array([first.direction == "along" for first, _ in pairs])
    turned = np.array([second is not None for _, second in pairs])
    tilt = np.array([_tilt_deg(first, second, float(level.zero_deg)) for first, second in pairs])
    means = {"pitch_deg": _mean(tilt[along], TYPICAL_PITCH_DEG), "roll_deg": _mean(tilt[~along], 0.0)}
    budget = reading_budget(instrument=level, along=along, reversed_pair=turned, **means)
    spots = [[first.x_mm or 0.0, first.y_mm or 0.0] for first, _ in pairs]
    fit = fit_playfield(tilt_deg=tilt, along=along, budget=budget, spots_mm=spots)
    four = _four_feet(fit, inputs)
    checked = inputs["stance"]["stance"] != "unknown"
    judged = _judge(four, spec, known=(bool(fit.pitch.known), bool(fit.roll.known), checked))
    return Assessment(
        pitch=_slope(fit.pitch),
        roll=_slope(fit.roll),
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
        judged=judged,
        tilts=_tilts(pairs, tilt, budget, fit),
        disagree=int(fit.outcome) == DISAGREE,
        next_direction=_next_direction(fit, level, means, spec),
    )


def recomputed(survey: Survey, readings: Sequence[Reading]) -> Assessment:
    """Return a stored survey's numbers, made again from its readings, its inputs and its spec."""
    found = assess(readings=readings, inputs=survey.inputs, spec=survey.spec)
    if found is None:
        raise ValueError("a stored survey without readings")
    return found


def verdict_now(survey: Survey, spec: Spec) -> Judged:
    """Return the verdict on a stored survey against a spec, which may be newer than the survey."""
    variances = [survey.u_pitch_deg**2, survey.u_roll_deg**2, survey.u_twist_mm**2]
    four = FourFeet(survey.pitch_deg, survey.roll_deg, survey.twist_mm, np.diag(variances))  # type: ignore[arg-type]
    return _judge(four, spec, known=(True, True, survey.stance != "unknown"))["machine"]


def _columns(row: Any, *names: str) -> Inputs:
    return {name: getattr(row, name) for name in names}


def _zero(zero: Zero | None, measured_at: datetime.datetime) -> Inputs:
    """The instrument's zero on that day."""
    return asdict((zero or Zero()).known_at(measured_at))


def _zero_from(zero: Zero | None) -> Inputs:
    """Which check the zero is from, or else what it was lost by since the last one; both empty if never checked."""
    lost_by = zero.lost_by if zero else None
    counts = zero.check if zero and not lost_by else None
    return {"zero_check": str(counts.pk) if counts else "", "zero_lost": lost_by.kind if lost_by else ""}


def _in_pairs(readings: Sequence[Reading]) -> list[tuple[Reading, Reading | None]]:
    """Each reading with the one taken after turning the level end for end, if any, in order."""
    turned = {reading.pair: reading for reading in readings if reading.is_reversed}
    firsts = sorted((reading for reading in readings if not reading.is_reversed), key=lambda reading: reading.place)
    return [(first, turned.get(first.pair) if first.pair is not None else None) for first in firsts]


def _tilt_deg(first: Reading, second: Reading | None, zero_deg: float) -> float:
    """The tilt without the instrument's zero error."""
    if second is None:
        return first.tilt_deg - zero_deg
    return float(reversed_pair_by_ends(first_deg=first.tilt_deg, turned_deg=second.tilt_deg).tilt_deg)


def _mean(tilts: Any, otherwise: float) -> float:
    return float(tilts.mean()) if tilts.size else otherwise


def _four_feet(fit: Playfield, inputs: Inputs) -> FourFeet:
    """The plane of all four feet from the three-foot plane that was read."""
    machine = inputs["machine"]
    four = to_four_feet(
        pitch_deg=fit.pitch.angle_deg,
        roll_deg=fit.roll.angle_deg,
        covariance_deg2=np.diag([float(fit.pitch.u_deg) ** 2, float(fit.roll.u_deg) ** 2]),
        stance=stance_of_inputs(inputs["stance"]),
        feet_mm=feet_of(machine),
        offset=Offset(
            machine["pitch_offset_deg"],
            machine["roll_offset_deg"],
            machine["u_pitch_offset_deg"],
            machine["u_roll_offset_deg"],
        ),
    )
    return with_weighed_twist(four, inputs["stance"])


def _judge(four: FourFeet, spec: Spec, *, known: tuple[bool, bool, bool]) -> dict[str, Judged]:
    verdict = judge_machine(
        measured=Measured(
            pitch_deg=four.pitch_deg,
            u_pitch_deg=four.u_pitch_deg,
            roll_deg=four.roll_deg,
            u_roll_deg=four.u_roll_deg,
            twist_mm=four.twist_mm,
            u_twist_mm=four.u_twist_mm,
            pitch_known=np.array(known[0]),
            roll_known=np.array(known[1]),
            twist_known=np.array(known[2]),
        ),
        spec=WantedSpec(**_columns(spec, "pitch_deg", "pitch_tolerance_deg", "roll_tolerance_deg", "gap_tolerance_mm")),
    )
    return {name: _judged(getattr(verdict, name)) for name in ("pitch", "roll", "twist", "machine")}


def _judged(verdict: verdicts.Verdict) -> Judged:
    return Judged(
        verdict=_DAILY[int(verdict.daily)],
        chance=float(verdict.chance),
        certificate=_CERTIFICATE[int(verdict.certificate)],
        provable=bool(verdict.provable),
        measured=int(verdict.daily) != verdicts.NOT_MEASURED,
    )


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


def _tilts(
    pairs: list[tuple[Reading, Reading | None]], tilt: Any, budget: Budget, fit: Playfield
) -> tuple[TiltUsed, ...]:
    names = ("resolution_deg", "alignment_deg", "repeat_deg", "accuracy_deg", "zero_deg", "u_deg")
    parts = {name: np.broadcast_to(getattr(budget, name), tilt.shape) for name in names}
    slopes = [fit.pitch if first.direction == "along" else fit.roll for first, _ in pairs]
    return tuple(
        TiltUsed(
            reading=first,
            turned=second,
            tilt_deg=float(tilt[i]),
            residual_deg=float(tilt[i] - slopes[i].angle_deg),
            is_odd=int(fit.odd_reading) == i,
            stands_alone=int(slopes[i].readings) < 2,
            **{name: float(parts[name][i]) for name in names},
        )
        for i, (first, second) in enumerate(pairs)
    )


def _next_direction(fit: Playfield, level: Level, means: dict[str, float], spec: Spec) -> str:
    """Along or across, whichever one more reading helps most; "" if hardly any would."""
    one_along, one_across = (
        reading_budget(instrument=level, along=along, reversed_pair=False, **means) for along in (True, False)
    )
    advice = next_reading(
        fit=fit,
        along_budget=one_along,
        across_budget=one_across,
        pitch_tolerance_deg=spec.pitch_tolerance_deg,
        roll_tolerance_deg=spec.roll_tolerance_deg,
    )
    return _NEXT.get(int(advice.choice), "")
