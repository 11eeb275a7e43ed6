"""Roll read at the front and at the rear of the playfield: whose twist it is where they differ.

What both ends share (a level's accuracy and zero) drops out of their difference. The board's own wave stays at its
spot: it counts in what is told of the board, and drops out of what changes between two surveys at the same spots.
"""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from collection import presets
from collection.arrays.surveys_means import means_of
from collection.arrays.surveys_results import Assessment, TiltUsed
from collection.models.instruments import KINDS_WITH_ZERO
from leveling import support_twist
from leveling.support_twist import EndRolls, tell_twist

FRONT = tuple(spot for spot in presets.SPOTS if spot.startswith("lower_"))
REAR = tuple(spot for spot in presets.SPOTS if spot.startswith("upper_"))

_OUTCOMES = {
    support_twist.NEITHER: "neither",
    support_twist.BOARD: "board",
    support_twist.CABINET: "cabinet",
    support_twist.BOTH: "both",
    support_twist.CANNOT_TELL: "cannot_tell",
}
#: A difference is there from so many standard uncertainties, as the engine has it for the parts.
_COVER = 2.0


@dataclass(frozen=True)
class Ends:
    """Roll at both ends in one survey [degree], positive = right side high; ``difference_deg`` is rear less front.

    Each u is a standard uncertainty without what both ends share.
    """

    front_deg: float
    rear_deg: float
    u_front_deg: float
    u_rear_deg: float
    difference_deg: float
    u_difference_deg: float

    @property
    def differ(self) -> bool:
        """Whether the ends differ by more than the readings leave open."""
        return abs(self.difference_deg) > _COVER * self.u_difference_deg

    @property
    def apart_deg(self) -> float:
        """By how much they differ, without sign."""
        return abs(self.difference_deg)


@dataclass(frozen=True)
class TwistTold:
    """Whose twist it is: neither, board, cabinet, both or cannot_tell, with both parts [degree].

    A part is positive where the rear leans more to the right side high than the front. ``before`` and ``after`` are
    the ends as they counted.
    """

    outcome: str
    board_deg: float
    u_board_deg: float
    cabinet_deg: float
    u_cabinet_deg: float
    before: Ends
    after: Ends


def end_tilts(assessment: Assessment, inputs: Mapping[str, Any]) -> tuple[TiltUsed, ...]:
    """Return what a level read across near the front or the rear; nothing of what was read by other means."""
    if means_of(inputs, "across")["kind"] not in KINDS_WITH_ZERO:
        return ()
    across = (tilt for tilt in assessment.tilts if tilt.reading.direction == "across")
    return tuple(tilt for tilt in across if tilt.reading.spot in (*FRONT, *REAR))


def end_rolls(
    tilts: Sequence[TiltUsed], *, spots: Collection[str] = tuple(presets.SPOTS), wave: bool = True
) -> EndRolls | None:
    """Return the roll at both ends as the engine takes it, from the readings at some spots; None if an end lacks.

    ``wave`` says whether the board's own wave counts as an error.
    """
    used = [tilt for tilt in tilts if tilt.reading.spot in spots]
    front, rear = ([tilt for tilt in used if tilt.reading.spot in end] for end in (FRONT, REAR))
    if not front or not rear:
        return None
    # The zero drops out only as far as the ends have the same share of readings that were not turned end for end.
    shares = [sum(tilt.turned is None for tilt in end) / len(end) for end in (front, rear)]
    zero = (shares[1] - shares[0]) * max(np.hypot(tilt.zero_deg, tilt.accuracy_deg) for tilt in used)
    return EndRolls(
        front_deg=np.asarray(np.mean([tilt.tilt_deg for tilt in front])),
        rear_deg=np.asarray(np.mean([tilt.tilt_deg for tilt in rear])),
        u_front_deg=np.asarray(_u_own_deg(front, wave=wave)),
        u_rear_deg=np.hypot(_u_own_deg(rear, wave=wave), zero),
    )


def ends_of(rolls: EndRolls) -> Ends:
    """Return the roll at both ends as plain numbers."""
    names = ("front_deg", "rear_deg", "u_front_deg", "u_rear_deg", "difference_deg", "u_difference_deg")
    return Ends(**{name: float(getattr(rolls, name)) for name in names})


def twist_told(*, before: Sequence[TiltUsed], after: Sequence[TiltUsed]) -> TwistTold | None:
    """Return whose twist it is, from readings while a foot was light and once all four bear; spots of both only.

    None where no spot at the front, or none at the rear, was read both times.
    """
    spots = {tilt.reading.spot for tilt in before} & {tilt.reading.spot for tilt in after}
    first, second = end_rolls(before, spots=spots, wave=False), end_rolls(after, spots=spots)
    if first is None or second is None:
        return None
    parts = tell_twist(before=first, after=second)
    return TwistTold(
        outcome=_OUTCOMES[int(parts.outcome)],
        board_deg=float(parts.board_deg),
        u_board_deg=float(parts.u_board_deg),
        cabinet_deg=float(parts.frame_deg),
        u_cabinet_deg=float(parts.u_frame_deg),
        before=ends_of(first),
        after=ends_of(second),
    )


def _u_own_deg(tilts: Sequence[TiltUsed], *, wave: bool) -> float:
    """The standard uncertainty of an end's mean: laying it again averages, rounding and one spot's wave may not."""
    laying = np.mean([tilt.alignment_deg**2 + tilt.repeat_deg**2 for tilt in tilts]) / len(tilts)
    rounding = np.mean([tilt.resolution_deg**2 for tilt in tilts])
    spots = Counter(tilt.reading.spot for tilt in tilts).values()
    waves = np.mean([tilt.wave_deg**2 for tilt in tilts]) * sum((count / len(tilts)) ** 2 for count in spots)
    return float(np.sqrt(laying + rounding + (waves if wave else 0.0)))
