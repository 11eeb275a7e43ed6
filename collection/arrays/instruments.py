"""Instruments: a typed reversed pair to the engine's zero error."""

from dataclasses import dataclass

from collection.models import Instrument
from leveling.instruments import signed_tilt_deg
from leveling.instruments_zeros import zero_check
from leveling.units import slope_deg


@dataclass(frozen=True)
class ZeroFound:
    """What an instrument shows on a level surface, its marked end to the right, and how sure that is [degree]."""

    zero_deg: float
    u_zero_deg: float


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
