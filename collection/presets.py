"""Defaults for what a newcomer cannot know: bodies, eras, legs, tolerances.

Common practice, no published source, unless a line names one; each is shown on its form and may be changed.
"""

from dataclasses import dataclass
from datetime import timedelta

from leveling.units import LEAD_MM

#: 95 % of a normal error lie within so many standard uncertainties (tables of the normal distribution).
K95 = 1.96


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
    """The wanted pitch of an era (the maker's manual wins), and how the playfield hangs in its cabinet.

    The offset is playfield minus cabinet: most of the pitch is built in, the levelers only add to it.
    """

    words: str
    pitch_deg: float
    pitch_offset_deg: float


ERAS = {
    "electromechanical": Era("Electromechanical", 3.5, 2.8),
    "early_solid_state": Era("Early solid-state", 5.5, 4.6),
    "modern": Era("Modern", 6.5, 5.3),
}

PITCH_TOLERANCE_DEG = 0.2
ROLL_TOLERANCE_DEG = 0.15
GAP_TOLERANCE_MM = 0.5
#: How finely turns until a foot bears are counted, unless someone says otherwise.
GAP_STEP_TURNS = 0.25
GAP_STEP_WORDS = {0.5: "½", 0.25: "¼", 0.125: "⅛", 0.1: "1/10"}

#: Thread of the leveler: height per full turn. ASME B1.1 (3/8-16 UNC) and ISO 261 (M10x1.5).
THREADS = {"3/8-16 UNC": LEAD_MM["3/8-16 UNC"], "M10x1.5": LEAD_MM["M10x1.5"]}
LEG_LENGTH_MM = 724.0  # 28.5 in
#: A 2 in stem, used up to one thread diameter before the nut.
TRAVEL_MM = 41.0
#: How far a playfield's own hang may differ from its cabinet's tilt, before anyone measured it (standard).
U_PITCH_OFFSET_DEG = 0.8
U_ROLL_OFFSET_DEG = 0.2

#: Reads to 0.1 degree; what the maker of a plain digital level commonly states.
RESOLUTION_DEG = 0.1
ACCURACY_DEG = 0.1
ALIGNMENT_DEG = 1.0
REPEAT_DEG = 0.03
BASE_MM = 230.0
#: For so long a zero check counts as fresh: by then the zero may have wandered (0.1 degree a year) about as far as
#: the stated accuracy of a plain level leaves open anyway (0.1/sqrt 3).
ZERO_FRESH_DAYS = 182
#: How far the zero of a level may be off after a drop, standard: about twice the accuracy that a plain one states.
U_ZERO_AFTER_DROP_DEG = 0.2


#: A plain bubble: the tilt at which an eye first sees it leave the middle, and the largest tilt at which it stands in
#: the middle though it should not.
SENSITIVITY_DEG = 0.1
BUBBLE_ERROR_DEG = 0.1
#: How far the angle of a block that somebody made or bought may be off.
BLOCK_TOLERANCE_DEG = 0.05
#: A ball's run from its mark to the line: a ruler's length of bare board.
RUN_MM = 450.0
#: Frames per second of a telephone's slow motion.
FILM_HZ = 240.0
#: How far its run may lie askew if mark and line are measured from the side rail.
RUN_ASKEW_DEG = 0.2
#: Lines to either side of a vial's middle line.
REACH_LINES = 2.0
#: How far a vial's middle may be off the angle that the manual names: how vial and playfield were mounted (standard).
U_VIAL_MIDDLE_DEG = 0.3
#: How far the manual's degrees per line may be off (standard), as a share of them.
U_DEG_PER_LINE_SHARE = 0.1


@dataclass(frozen=True)
class Spot:
    """A place on the playfield by name: shares of its width from the left and of its length from the player."""

    words: str
    across: float
    up: float


#: Bare board is commonly found here; inserts and posts mislead a short base.
SPOTS = {
    "upper_left": Spot("upper left", 0.2, 0.8),
    "upper_centre": Spot("upper centre", 0.5, 0.8),
    "upper_right": Spot("upper right", 0.8, 0.8),
    "left": Spot("left", 0.2, 0.5),
    "middle": Spot("middle", 0.5, 0.5),
    "right": Spot("right", 0.8, 0.5),
    "lower_left": Spot("lower left", 0.2, 0.22),
    "lower_centre": Spot("lower centre", 0.5, 0.22),
    "lower_right": Spot("lower right", 0.8, 0.22),
}
#: Width and length of the playfield by body: 20 1/4 and 23 1/4 by 42 in.
PLAYFIELDS_MM = {"standard": (514.0, 1067.0), "wide": (591.0, 1067.0), "other": (514.0, 1067.0)}

#: What must be so before a reading means anything.
PRECONDITIONS = {
    "seated": "Playfield down, seated",
    "balls_out": "Balls out",
    "bolts_tight": "Leg bolts tight",
    "off_dollies": "Off its dollies",
    "nobody_leaning": "Nobody leaning",
}

SURFACES = {
    "concrete": "Concrete",
    "tile": "Tile",
    "timber": "Timber",
    "carpet_on_concrete": "Carpet over concrete",
    "carpet_on_timber": "Carpet over timber",
    "other": "Other",
}

#: A machine is due once the chance that it is out of spec passes this. Common practice, no source.
DUE_CHANCE = 0.10

#: Directions on the floor plan, degrees clockwise from the back wall, which is at the top.
PLAN_DIRECTIONS = {
    0: "back wall",
    45: "back right corner",
    90: "right wall",
    135: "front right corner",
    180: "front wall",
    225: "front left corner",
    270: "left wall",
    315: "back left corner",
}

SLOPE_UNITS = {"deg": "degrees", "mm_per_m": "mm/m", "in_per_ft": "in/ft", "percent": "%"}

#: What a person believes of roll before looking at a plain bubble, standard: wide, since believing too much misleads
#: (bench_humble: with truths twice as far spread as believed, 79 % of the 95 % intervals hold the truth).
U_ROLL_BELIEVED_DEG = 0.5
#: A reading that is steeper has a wrong number or unit: no machine stands so.
MOST_TILT_DEG = 20.0
#: Roll that differs more between front and rear is taken for a wrong reading, not for a twist.
MOST_TWIST_DEG = 1.5
#: A ball's run: limits of its length, of letting the ball go, and of the ruler at the line.
RUN_ERROR_MM = 1.0
RELEASE_MM = 1.0
RULER_MM = 1.0
#: How far a hand-held watch is off, standard.
U_WATCH_S = 0.1

#: So long a link that invites someone works: common practice of services that send such links.
INVITATION_DAYS = 14
#: So many invitations an organization sends in a day, and so long it waits before it sends one again: enough for
#: people who work together, too few to be a nuisance to others. No source.
INVITATIONS_A_DAY = 50
INVITATION_AGAIN_MINUTES = 5
#: What comes through one label: more reports within that time are somebody's play; a problem that is told again within
#: this time was told once. How many come from one address of the network stands in the settings.
MOST_REPORTS, REPORTS_WITHIN = 6, timedelta(hours=1)
SAME_REPORT_WITHIN = timedelta(hours=1)
