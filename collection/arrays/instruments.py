"""Instruments: a typed reversed pair to the engine's zero error, and what is known of a zero at a later time."""

import datetime
from dataclasses import dataclass

import numpy as np

from collection.models import Instrument, InstrumentEvent, ZeroCheck
from collection.presets import U_ZERO_AFTER_DROP_DEG
from leveling.instruments import signed_tilt_deg
from leveling.instruments_zeros import zero_check
from leveling.units import slope_deg

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
