"""What the engine says about a survey, as plain numbers and words."""

import math
from dataclasses import dataclass
from math import isfinite
from typing import Any

from collection.models import Reading
from leveling.verdicts_parts import Parts


@dataclass(frozen=True)
class SlopeFound:
    """Pitch or roll as the board read [degree], its parts of uncertainty, how many readings, whether they agree."""

    angle_deg: float
    u_deg: float
    u_fresh_deg: float
    u_rounding_deg: float
    u_common_deg: float
    readings: int
    agree: bool

    @property
    def known(self) -> bool:
        """Whether anything was read in this direction."""
        return self.readings > 0


@dataclass(frozen=True)
class TiltUsed:
    """One reading, or one reversed pair, as the fit used it: its tilt, what is left over, and its budget [degree].

    A look at a bubble has limits instead, infinite where it has none.
    """

    reading: Reading
    turned: Reading | None
    tilt_deg: float
    residual_deg: float
    is_odd: bool
    resolution_deg: float
    alignment_deg: float
    repeat_deg: float
    accuracy_deg: float
    zero_deg: float
    u_deg: float
    stands_alone: bool
    wave_deg: float = 0.0
    low_deg: float | None = None
    high_deg: float | None = None

    @property
    def is_look(self) -> bool:
        """Whether it is a look at a bubble, which says between which slopes the board lies."""
        return self.low_deg is not None

    @property
    def looks_both_ways(self) -> bool:
        """Whether a look said level, so that it has two limits."""
        return self.is_look and isfinite(self.low_deg or 0.0) and isfinite(self.high_deg or 0.0)

    @property
    def is_above(self) -> bool:
        """Whether a look said that the rear or the right side is high."""
        return self.is_look and isfinite(self.low_deg or 0.0)

    @property
    def most_left_deg(self) -> float:
        """The limit of a look that said left high, without its sign."""
        return abs(self.high_deg or 0.0)

    @property
    def limit_words(self) -> str:
        """Between which slopes a look puts the board: between two, above one or below one."""
        low, high = self.low_deg, self.high_deg
        if low is None or high is None:
            return ""
        if math.isinf(low) and math.isinf(high):
            return "anywhere"
        if math.isinf(low):
            return f"below {_signed(high)}"
        return f"above {_signed(low)}" if math.isinf(high) else f"between {_signed(low)} and {_signed(high)}"

    @property
    def u_all_deg(self) -> float:
        """Its standard uncertainty, the board's wave included."""
        return math.hypot(self.u_deg, self.wave_deg)

    @property
    def off_deg(self) -> float:
        """How far it is off the others' mean, without sign."""
        return abs(self.residual_deg)


@dataclass(frozen=True)
class Share:
    """One part of what makes a slope unsure and its share of the variance, 0 to 1.

    ``name`` is alignment, repeat, wave, rounding, zero, accuracy or feet.
    """

    name: str
    share: float


@dataclass(frozen=True)
class Judged:
    """A verdict by the daily rule with its chance, and by the certificate rule; ``measured`` says if all was read."""

    verdict: str
    chance: float
    certificate: str
    provable: bool
    measured: bool


@dataclass(frozen=True)
class Assessment:
    """What one survey says.

    ``pitch`` and ``roll`` are what the board read as the machine stood. ``pitch_deg`` and the like are those of the
    plane through all four feet; the verdicts in ``judged`` (pitch, roll, twist, machine) are about these. ``lacks``
    says by direction why nothing is known though something was read (``surveys_slopes.SlopeRead``), or "".
    """

    pitch: SlopeFound
    roll: SlopeFound
    pitch_deg: float
    roll_deg: float
    twist_mm: float
    u_pitch_deg: float
    u_roll_deg: float
    u_twist_mm: float
    light: str
    gap_mm: float
    u_gap_mm: float
    feet_checked: bool
    half_pitch_deg: float
    half_roll_deg: float
    half_gap_mm: float
    judged: dict[str, Judged]
    tilts: tuple[TiltUsed, ...]
    disagree: bool
    next_direction: str
    lacks: dict[str, str]
    parts: tuple[Parts, Parts]
    shares: dict[str, tuple[Share, ...]]

    @property
    def machine(self) -> Judged:
        """The verdict on the machine."""
        return self.judged["machine"]

    @property
    def quantities(self) -> list[Judged]:
        """The verdicts on pitch, roll and twist."""
        return [self.judged[name] for name in ("pitch", "roll", "twist")]

    @property
    def columns(self) -> dict[str, Any]:
        """The numbers that a survey's row keeps."""
        return {
            "pitch_read_deg": self.pitch.angle_deg,
            "roll_read_deg": self.roll.angle_deg,
            "pitch_deg": self.pitch_deg,
            "roll_deg": self.roll_deg,
            "twist_mm": self.twist_mm,
            "u_pitch_deg": self.u_pitch_deg,
            "u_roll_deg": self.u_roll_deg,
            "u_twist_mm": self.u_twist_mm,
            "verdict": self.machine.verdict,
            "chance": self.machine.chance,
            "certificate": self.machine.certificate,
        }


def _signed(angle_deg: float) -> str:
    """An angle with a true minus sign."""
    return f"{angle_deg:.2f}°".replace("-", "\u2212")
