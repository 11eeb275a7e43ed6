"""The demo's machines as they truly are: the simulator behind plain numbers and words."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from collection import presets
from leveling import simulate, simulate_floors, simulate_work
from leveling.contact import ALL_BEAR
from leveling.frame import LEGS
from leveling.instruments import Instrument as Level

#: The steps in which a person turns a leveler and counts its exposure.
STEP_TURNS = 0.25


#: What the owner knows of the demo's one level.
_SHEET = {
    "resolution_deg": presets.RESOLUTION_DEG,
    "accuracy_deg": presets.ACCURACY_DEG,
    "alignment_deg": presets.ALIGNMENT_DEG,
    "repeat_deg": presets.REPEAT_DEG,
    "zero_deg": 0.0,
    "u_zero_deg": 0.1,
}
#: A well-kept operation: feet settle slowly, and a machine is shoved about once in two years.
_DRIFT = {"creep_mm": 0.012, "jumps_per_year": 0.5, "jump_mm": 1.0}


@dataclass(frozen=True)
class Spot:
    """Where a machine of the demo stands: its floor's number, place and heading, and how its playfield hangs."""

    floor: int
    x_mm: float
    y_mm: float
    heading_deg: float
    pitch_offset_deg: float


@dataclass(frozen=True)
class Seen:
    """What a technician finds at one machine: the stance, the gap as typed, and rows of readings as typed."""

    stance: str
    gap_text: str
    readings: list[dict[str, Any]]


class Truth:
    """Machines, floors and one level as they truly are over a list of days; levelers turn, feet creep and jump."""

    def __init__(
        self, *, seed: int, slopes_deg: Sequence[tuple[float, float]], spots: Sequence[Spot], days: Sequence[float]
    ) -> None:
        self._rng = np.random.default_rng(seed)
        count = len(spots)
        made = simulate.make_machines(rng=self._rng, count=count)
        hang = np.array([spot.pitch_offset_deg for spot in spots])
        self._machines = replace(made, offset_pitch_deg=hang + self._rng.normal(0, 0.3, count))
        self._floor_mm = self._heights(slopes_deg, spots)
        self._moved_mm = simulate_floors.drifted(rng=self._rng, count=count, days=days, **_DRIFT)
        sheet = Level(**{name: np.array(value) for name, value in _SHEET.items()})
        self._level = simulate_work.make_levels(rng=self._rng, count=1, sheet=sheet)

    def body(self, number: int) -> dict[str, float]:
        """Return what a tape measure would say of a machine, to 5 mm, and its thread."""
        feet = self._machines.feet_mm[number]
        return {
            "track_front_mm": _to_five(feet[1, 0] - feet[0, 0]),
            "track_rear_mm": _to_five(feet[3, 0] - feet[2, 0]),
            "base_mm": _to_five(feet[2, 1]),
            "lead_mm": float(self._machines.lead_mm[number]),
        }

    def exposures_mm(self, number: int) -> list[float]:
        """Return the exposures as a person counts them, in quarter turns from fully in."""
        lead = self._machines.lead_mm[number] * STEP_TURNS
        counted: list[float] = (np.round(self._machines.exposure_mm[number] / lead) * lead).tolist()
        return counted

    def visit(self, visit: int, repeats: int) -> list[Seen]:
        """Return what a technician finds at every machine on the day of this visit."""
        stood = simulate.stand(self._machines, self._floor_mm + self._moved_mm[:, visit])
        felt = simulate_work.feel_gap(rng=self._rng, light=stood.light, gap_mm=stood.gap_mm)
        ways = {}
        for direction in ("along", "across"):
            ways[direction] = simulate_work.read_level(
                rng=self._rng, levels=self._level, pitch_deg=stood.pitch_deg, roll_deg=stood.roll_deg,
                along=direction == "along", repeats=repeats,
            )  # fmt: skip
        return [
            Seen(
                stance="all_bearing" if felt.light[number] == ALL_BEAR else LEGS[felt.light[number]],
                gap_text=f"{felt.goes_mm[number]:.2f}",
                readings=[
                    _row(direction, float(shown.r0_deg[number, k]), float(shown.r180_deg[number, k]))
                    for direction, shown in ways.items()
                    for k in range(repeats)
                ],
            )
            for number in range(len(stood.pitch_deg))
        ]

    def turn(self, number: int, turns: Sequence[float]) -> None:
        """Turn the levelers of one machine, as exactly as people do."""
        asked = np.zeros((len(self._machines.lead_mm), 4))
        asked[number] = turns
        self._machines = simulate.turned(self._machines, simulate_work.turn_legs(rng=self._rng, turns=asked))

    def _heights(self, slopes_deg: Sequence[tuple[float, float]], spots: Sequence[Spot]) -> Any:
        floors = simulate_floors.make_floors(rng=self._rng, count=len(slopes_deg), wave_mm=0.3)
        floors = replace(floors, gradient=np.tan(np.radians(np.array(slopes_deg))))
        under = [spot.floor for spot in spots]
        each = {name: getattr(floors, name)[under] for name in ("gradient", "wave_mm", "wave_per_mm", "phase_rad")}
        return simulate_floors.floor_heights(
            floors=simulate_floors.Floors(**each),
            feet_mm=self._machines.feet_mm,
            centre_mm=np.array([(spot.x_mm, spot.y_mm) for spot in spots]),
            heading_deg=np.array([spot.heading_deg for spot in spots]),
        )


def _row(direction: str, first: float, turned: float) -> dict[str, Any]:
    """Return one reversed pair as a person types it: no signs, but which end is high."""
    ends = ("rear", "front") if direction == "along" else ("right", "left")
    spot = "middle" if direction == "along" else "lower_centre"
    return {
        "direction": direction,
        "unit": "deg",
        "spot": spot,
        "x_mm": None,
        "y_mm": None,
        "text": f"{abs(first):.1f}",
        "value": abs(round(first, 1)),
        "high_end": _end(first, ends),
        "turned_text": f"{abs(turned):.1f}",
        "turned_value": abs(round(turned, 1)),
        # Turned end for end, the display's own sign points the other way.
        "turned_high_end": _end(-turned, ends),
    }


def _end(value: float, ends: tuple[str, str]) -> str:
    return "level" if round(value, 1) == 0 else ends[0] if value > 0 else ends[1]


def _to_five(length_mm: float) -> float:
    return float(round(length_mm / 5) * 5)
