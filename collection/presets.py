"""Defaults for what a newcomer cannot know: bodies, eras, legs, tolerances.

Common practice, no published source, unless a line names one; each is shown on its form and may be changed.
"""

from dataclasses import dataclass

from leveling.units import LEAD_MM


@dataclass(frozen=True)
class Body:
    """Where the feet stand: left to right and front to rear, foot centre to foot centre."""

    words: str
    track_front_mm: float
    track_rear_mm: float
    base_mm: float


#: About 22 in and 25 to 27 in wide cabinets, 51.5 in long, less the corner where the leg meets the floor.
BODIES = {
    "standard": Body("Standard body, about 22 in wide", 560, 560, 1300),
    "wide": Body("Wide body, 25 to 27 in wide", 660, 660, 1300),
    "other": Body("Other: I measured it", 560, 560, 1300),
}


@dataclass(frozen=True)
class Era:
    """The wanted pitch of an era; the maker's manual wins."""

    words: str
    pitch_deg: float


ERAS = {
    "electromechanical": Era("Electromechanical", 3.5),
    "early_solid_state": Era("Early solid-state", 5.5),
    "modern": Era("Modern", 6.5),
}

PITCH_TOLERANCE_DEG = 0.2
ROLL_TOLERANCE_DEG = 0.15
GAP_TOLERANCE_MM = 0.5

#: Thread of the leveler: height per full turn. ASME B1.1 (3/8-16 UNC) and ISO 261 (M10x1.5).
THREADS = {"3/8-16 UNC": LEAD_MM["3/8-16 UNC"], "M10x1.5": LEAD_MM["M10x1.5"]}
LEG_LENGTH_MM = 724.0  # 28.5 in
#: A 2 in stem, used up to one thread diameter before the nut.
TRAVEL_MM = 41.0
#: How far a playfield's own hang may differ from its cabinet's tilt, before anyone measured it (standard).
U_PITCH_OFFSET_DEG = 0.5
U_ROLL_OFFSET_DEG = 0.2

#: Reads to 0.1 degree; what the maker of a plain digital level commonly states.
RESOLUTION_DEG = 0.1
ACCURACY_DEG = 0.1
ALIGNMENT_DEG = 1.0
REPEAT_DEG = 0.03
BASE_MM = 230.0
