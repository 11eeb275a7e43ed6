"""Instruments: a typed reversed pair to the engine's zero error, and what is known of a zero at a later time."""

import datetime
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from collection import presets
from collection.models import Instrument, InstrumentEvent, ZeroCheck
from collection.presets import U_ZERO_AFTER_DROP_DEG
from leveling.ballroll import Run, roll_time_s
from leveling.ballroll_readings import RollTime, pitch_from_time, roll_from_wander, time_from_frames
from leveling.instruments import Instrument as Level
from leveling.instruments import reading_budget, signed_tilt_deg
from leveling.instruments_blocks import Blocks, pitch_from_blocks
from leveling.instruments_bubbles import Bubble, bubble_budget
from leveling.instruments_zeros import zero_check
from leveling.playfields import TYPICAL_PITCH_DEG
from leveling.units import slope_deg

#: The columns of a level that say how well it reads, its zero apart.
LEVEL_COLUMNS = ("resolution_deg", "accuracy_deg", "alignment_deg", "repeat_deg")
#: How fast a level's zero may wander after its check, standard. Common practice, no source.
U_ZERO_DEG_PER_YEAR = 0.1
_MOST_U_ZERO_DEG = 5.0
_DAYS_PER_YEAR = 365.25


@dataclass(frozen=True)
class ZeroFound:
    """What an instrument shows on a level surface, its marked end to the right, and how sure that is [degree]."""

    zero_deg: float
    u_zero_deg: float


@dataclass(frozen=True)
class Zero:
    """The newest zero check of an instrument, None if there is none, and what happened to it since."""

    check: ZeroCheck | None = None
    events: tuple[InstrumentEvent, ...] = ()

    @property
    def lost_by(self) -> InstrumentEvent | None:
        """The event after which the check does not count any more; a drop is told before all others."""
        return next((event for event in self.events if event.kind == "dropped"), next(iter(self.events), None))

    @property
    def source(self) -> dict[str, str]:
        """Which check the zero is from, or else what it was lost by since the last one; both empty if never checked."""
        counts = self.check if self.lost_by is None else None
        lost_by = self.lost_by.kind if self.lost_by else ""
        return {"zero_check": str(counts.pk) if counts else "", "zero_lost": lost_by}

    def known_at(self, at: datetime.datetime) -> ZeroFound:
        """Return the zero at a time: as checked, the surer the newer; after a drop anything.

        Without a check that counts both numbers are 0, and the accuracy that the maker states has to cover it.
        """
        if self.lost_by is not None:
            return ZeroFound(0.0, U_ZERO_AFTER_DROP_DEG if self.lost_by.kind == "dropped" else 0.0)
        if self.check is None:
            return ZeroFound(0.0, 0.0)
        years = max((at - self.check.checked_at).total_seconds(), 0.0) / 86_400 / _DAYS_PER_YEAR
        u_zero = float(np.hypot(self.check.u_zero_deg, U_ZERO_DEG_PER_YEAR * years))
        return ZeroFound(self.check.zero_deg, min(u_zero, _MOST_U_ZERO_DEG))


def shown_deg(number: float, *, unit: str, high_end: str) -> float:
    """Return the signed tilt that a display shows, its zero still in it [degree]."""
    return float(signed_tilt_deg(slope_deg(number, unit), high_end))


def level_inputs(*, level: Instrument, zero: Zero, at: datetime.datetime) -> dict[str, Any]:
    """Return what a reading keeps of its level: how well it reads, its zero at that time, and where that is from."""
    numbers = {name: getattr(level, name) for name in LEVEL_COLUMNS}
    return {"instrument": {**numbers, **asdict(zero.known_at(at))}, **zero.source}


def zero_found(
    *, instrument: Instrument, unit: str, shown: tuple[float, float], high_ends: tuple[str, str]
) -> ZeroFound:
    """Return the zero from two readings of one line: marked end to the right, then turned end for end."""
    first, turned = signed_tilt_deg(slope_deg(shown, unit), high_ends)
    zero = zero_check(
        r0_deg=[first],
        r180_deg=[-turned],  # turned around, its own sign is the opposite of the surface's
        resolution_deg=instrument.resolution_deg,
        repeat_deg=instrument.repeat_deg,
    )
    return ZeroFound(zero_deg=float(zero.zero_deg), u_zero_deg=float(zero.u_zero_deg))


@dataclass(frozen=True)
class Sureness:
    """How sure one reading is, standard [degree], on a playfield of usual pitch; None where it tells nothing.

    ``u_film_deg`` is that of a ball's pitch by film, ``frame_hz`` the film's frames per second.
    """

    pitch_deg: float
    u_pitch_deg: float | None
    u_roll_deg: float | None
    u_film_deg: float | None = None
    frame_hz: float = 0.0
    run_s: float = 0.0


def how_sure(instrument: Instrument) -> Sureness:
    """Return how sure one reading with an instrument is; a vial's depends on what it learned."""
    return _SURENESS.get(instrument.kind, _unsure)(instrument)


def _unsure(instrument: Instrument) -> Sureness:
    return Sureness(TYPICAL_PITCH_DEG, None, None)


def _level_sure(row: Instrument) -> Sureness:
    names = ("resolution_deg", "accuracy_deg", "alignment_deg", "repeat_deg")
    parts = {name: np.asarray(getattr(row, name)) for name in names}
    level = Level(**parts, zero_deg=np.zeros(()), u_zero_deg=np.zeros(()))
    budget = reading_budget(instrument=level, along=[True, False], reversed_pair=False, pitch_deg=TYPICAL_PITCH_DEG)
    along, across = np.broadcast_to(budget.u_deg, (2,))
    return Sureness(TYPICAL_PITCH_DEG, float(along), float(across))


def _bubble_sure(row: Instrument) -> Sureness:
    budget = bubble_budget(bubble=_bubble(row), along=False, pitch_deg=TYPICAL_PITCH_DEG)
    return Sureness(TYPICAL_PITCH_DEG, None, float(budget.u_deg))


def _blocks_sure(row: Instrument) -> Sureness:
    """One block too small and the next too large, half a degree apart."""
    angles = np.array([TYPICAL_PITCH_DEG - 0.25, TYPICAL_PITCH_DEG + 0.25])
    blocks = Blocks(angle_deg=angles, tolerance_deg=np.full(2, row.block_tolerance_deg))
    found = pitch_from_blocks(high_end=["rear", "front"], blocks=blocks, bubble=_bubble(row))
    return Sureness(TYPICAL_PITCH_DEG, float(found.u_deg), float(_bubble_sure(row).u_roll_deg or 0))


def _ball_sure(row: Instrument) -> Sureness:
    """Pitch by watch and by film, and roll where the pitch is known as well as by the better of the two."""
    limits = (row.run_mm, presets.RUN_ERROR_MM, presets.RELEASE_MM, presets.RULER_MM, row.alignment_deg)
    run = Run(*(np.asarray(limit, dtype=float) for limit in limits))
    time_s = roll_time_s(run_mm=row.run_mm, pitch_deg=TYPICAL_PITCH_DEG)
    frame_hz = row.film_hz or presets.FILM_HZ
    by_watch = pitch_from_time(time=RollTime(time_s=time_s, u_time_s=np.asarray(presets.U_WATCH_S)), run=run)
    by_film = pitch_from_time(time=time_from_frames(frames=time_s * frame_hz, rate_hz=frame_hz), run=run)
    best = by_film if row.film_hz else by_watch
    roll = roll_from_wander(wander_mm=0, run=run, pitch_deg=TYPICAL_PITCH_DEG, u_pitch_deg=best.u_deg)
    return Sureness(
        TYPICAL_PITCH_DEG, float(by_watch.u_deg), float(roll.u_deg), float(by_film.u_deg), frame_hz, float(time_s)
    )


def _bubble(row: Instrument) -> Bubble:
    parts = (row.sensitivity_deg, row.accuracy_deg, row.alignment_deg, row.repeat_deg)
    return Bubble(*(np.asarray(part) for part in parts))


_SURENESS: dict[str, Callable[[Instrument], Sureness]] = {
    "digital_level": _level_sure,
    "inclinometer": _level_sure,
    "bubble": _bubble_sure,
    "blocks": _blocks_sure,
    "ball": _ball_sure,
}
