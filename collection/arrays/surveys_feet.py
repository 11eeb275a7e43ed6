"""Feet: what someone found about the light foot, to the stance that the engine reckons with.

A gap is measured with a feeler or in turns; four scales tell the same without a gap, and also of a foot that bears
but carries too little.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from collection.models import Machine
from leveling.contact import ALL_BEAR
from leveling.four_feet import FourFeet, Offset, to_four_feet
from leveling.frame import LEGS, foot_positions
from leveling.playfields import Slope
from leveling.support import Gap, Stance, gap_from_turns
from leveling.support_give import Scale, usual_give
from leveling.support_methods import (
    U_FEEL_MM,
    U_UNCHECKED_MM,
    U_UNNOTICED_MM,
    combine_methods,
    u_counted_turns,
)
from leveling.support_weights import EVEN, FLOATS, LIGHT, weigh_feet

#: How well a feeler tells a gap, standard. Common practice, no source: it goes under a foot that is seldom flat.
U_FEELER_MM = 0.05

#: What four weights say, by their outcome; the others cannot be.
_TOLD = {EVEN: "even", LIGHT: "light", FLOATS: "floats"}


def gap_in_mm(gap: float, *, unit: str, lead_mm: float) -> float:
    """Return a gap in mm that was typed in mm or in turns until the foot bears."""
    return float(gap_from_turns(gap, lead_mm=lead_mm).gap_mm) if unit == "turns" else float(gap)


def stance_inputs(
    *, stance: str, gap: float, gap_unit: str, gap_step_turns: float, weights_kg: Sequence[float], machine: Machine
) -> Any:
    """Return how the machine stood, as plain numbers and words that the survey keeps.

    Weights that cannot be say nothing: then the feet count as not checked.
    """
    if stance == "weighed":
        if found := weighed_feet(weights_kg=weights_kg, machine=machine):
            return {"stance": stance, "weights_kg": list(weights_kg), **found}
        stance = "unknown"
    if stance not in LEGS:
        unnoticed = U_UNCHECKED_MM if stance == "unknown" else U_UNNOTICED_MM
        return {"stance": stance, "light": "", "gap_mm": 0.0, "u_gap_mm": unnoticed}
    gap_mm = gap_in_mm(gap, unit=gap_unit, lead_mm=machine.lead_mm)
    u_gap_mm = _u_gap_mm(gap, unit=gap_unit, step_turns=gap_step_turns, lead_mm=machine.lead_mm)
    return {"stance": stance, "light": stance, "gap_mm": gap_mm, "u_gap_mm": u_gap_mm}


def weighed_feet(*, weights_kg: Sequence[float], machine: Machine) -> dict[str, Any] | None:
    """Return what four weights say about the feet; None without weights, or if they cannot be.

    A foot that carries nothing stands for a gap that nobody measured.
    """
    if not weights_kg:
        return None
    feet = feet_of({name: getattr(machine, name) for name in ("track_front_mm", "track_rear_mm", "base_mm")})
    give = usual_give(max(sum(weights_kg), 1.0))
    found = weigh_feet(weights_kg, scale=Scale(), feet_mm=feet, give=give)
    if int(found.outcome) not in _TOLD:
        return None
    gap, u_gap = found.short_mm, found.u_short_mm
    if int(found.outcome) == FLOATS:
        nothing = Gap(gap_mm=np.zeros(0), u_gap_mm=np.zeros(0))
        stance = combine_methods(light=np.zeros(0, dtype=np.intp), gap=nothing, weighed=found, feet_mm=feet).stance
        gap, u_gap = stance.gap_mm, stance.u_gap_mm
    return {
        "weighed": _TOLD[int(found.outcome)],
        "light": "" if int(found.light) == ALL_BEAR else LEGS[int(found.light)],
        "gap_mm": float(gap),
        "u_gap_mm": float(u_gap),
        "twist_mm": float(found.twist_mm),
        "u_twist_mm": float(found.u_twist_mm),
    }


def stance_of_inputs(inputs: Any) -> Stance:
    """Return the engine's stance: the foot that floats, if one does, and the air under it."""
    if _was_seen_to_bear(inputs):
        return Stance(light=ALL_BEAR, gap_mm=0.0, u_gap_mm=0.0)  # type: ignore[arg-type]
    light = LEGS.index(inputs["light"]) if inputs["light"] else ALL_BEAR
    return Stance(light=light, gap_mm=inputs["gap_mm"], u_gap_mm=inputs["u_gap_mm"])  # type: ignore[arg-type]


def four_feet_of(*, pitch: Slope, roll: Slope, inputs: Any) -> FourFeet:
    """Return the plane of all four feet from the slopes that the board read as the machine stood."""
    machine = inputs["machine"]
    four = to_four_feet(
        pitch_deg=pitch.angle_deg,
        roll_deg=roll.angle_deg,
        covariance_deg2=np.diag([float(pitch.u_deg) ** 2, float(roll.u_deg) ** 2]),
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


def with_weighed_twist(four: FourFeet, inputs: Any) -> FourFeet:
    """Return the plane of all four feet with the twist that four weights told, if they told it."""
    if not _was_seen_to_bear(inputs):
        return four
    covariance = four.covariance.copy()
    covariance[..., 2, :] = covariance[..., :, 2] = 0.0
    covariance[..., 2, 2] = inputs["u_twist_mm"] ** 2
    return replace(four, twist_mm=np.asarray(inputs["twist_mm"]), covariance=covariance)


def feet_of(machine: Any) -> Any:
    """Return where the four feet stand, from a machine's columns."""
    return foot_positions(
        track_front_mm=machine["track_front_mm"], track_rear_mm=machine["track_rear_mm"], base_mm=machine["base_mm"]
    )


def _u_gap_mm(gap: float, *, unit: str, step_turns: float, lead_mm: float) -> float:
    """How sure a gap is, standard: by how finely the turns were counted, or by a feeler."""
    if unit == "turns":
        return float(gap_from_turns(gap, lead_mm=lead_mm, u_turns=u_counted_turns(step_turns)).u_gap_mm)
    return float(np.hypot(U_FEELER_MM, U_FEEL_MM))


def _was_seen_to_bear(inputs: Any) -> bool:
    """Whether scales showed that all four feet bear: then even a light foot hangs by nothing."""
    return inputs.get("weighed") in ("even", "light")
