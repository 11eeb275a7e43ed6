"""What a survey was read with, along and across: an instrument as the survey keeps it, whatever is edited later.

Each direction has its own means, since a bubble tells no pitch and a vial lies one way only.
"""

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from collection import presets
from collection.arrays.instruments import LEVEL_COLUMNS, Zero
from collection.arrays.vials import learned_vial, vial_inputs
from collection.models import Instrument, VialPair
from leveling.instruments import Instrument as Level
from leveling.playfields_waves import PLAIN_BOARD, u_wave_deg

#: The columns of an instrument that count, by its kind.
_COLUMNS = {
    "digital_level": (*LEVEL_COLUMNS, "base_mm"),
    "inclinometer": (*LEVEL_COLUMNS, "base_mm"),
    "bubble": ("sensitivity_deg", "accuracy_deg", "alignment_deg", "repeat_deg", "base_mm"),
    "blocks": ("sensitivity_deg", "accuracy_deg", "alignment_deg", "repeat_deg", "base_mm", "block_tolerance_deg"),
    "vial": (),
    "ball": ("run_mm", "film_hz", "alignment_deg"),
}
#: A base that is longer lies on the rails; the board's own wave is then reckoned at this share of the board.
_LONGEST_SHARE = 0.9


@dataclass(frozen=True)
class Means:
    """An instrument with what is known of it: its zero, or the pairs that a vial is learned from."""

    instrument: Instrument
    zero: Zero | None = None
    pairs: Sequence[VialPair] = ()


def means_inputs(means: Means, *, measured_at: datetime.datetime) -> dict[str, Any]:
    """Return an instrument as plain numbers and words, and which zero check counts, or else what ended the last one."""
    instrument = means.instrument
    found = {"kind": instrument.kind, **{name: getattr(instrument, name) for name in _COLUMNS[instrument.kind]}}
    if instrument.kind == "vial":
        found["vial"] = vial_inputs(learned_vial(vial=instrument, pairs=means.pairs))
    if not instrument.has_zero:
        return {"instrument": {**found, "zero_deg": 0.0, "u_zero_deg": 0.0}, **Zero().source}
    zero = means.zero or Zero()
    return {"instrument": {**found, **asdict(zero.known_at(measured_at))}, **zero.source}


def means_of(inputs: Mapping[str, Any], direction: str) -> dict[str, Any]:
    """Return what a direction was read with: the one for across if there is one, else the same as along.

    Surveys of earlier days name no kind: a digital level, and no wave of the board.
    """
    chosen = inputs.get("across") if direction == "across" else None
    return {"kind": "digital_level", **(chosen or inputs)["instrument"]}


def level_of(means: Mapping[str, Any]) -> Level:
    """Return the engine's level for means that show a number."""
    return Level(**{name: means[name] for name in (*LEVEL_COLUMNS, "zero_deg", "u_zero_deg")})


def wave_of(means: Mapping[str, Any], *, along: bool) -> float:
    """Return what the board's own wave adds to one reading [degree], standard; 0 where it is not reckoned with."""
    if means["kind"] == "ball":
        # Along, the ball goes over the whole run; across, it feels the board under it.
        base_mm = means["run_mm"] if along else presets.BASE_MM
    elif "base_mm" in means:
        base_mm = means["base_mm"]
    else:
        return 0.0
    longest_mm = _LONGEST_SHARE * float(PLAIN_BOARD.length_mm if along else PLAIN_BOARD.width_mm)
    return float(u_wave_deg(base_mm=min(base_mm, longest_mm), along=along))
