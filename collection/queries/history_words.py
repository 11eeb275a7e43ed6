"""The words of the history: what people call the things that lines are about, and what stands in their columns.

Every column of every noted table has a word here, or is named as something that only the engine reads; a test holds
that. What has no word yet shows its bare name in quotation marks, so that it is seen.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from collection import presets
from collection.models.instruments import EVENT_WORDS, KIND_WORDS, UNIT_WORDS
from collection.models.machines import BODY_WORDS, ERA_WORDS, LEGS
from collection.models.people import ROLE_WORDS
from collection.models.reports import PROBLEM_WORDS
from collection.models.surveys import UNIT_SIGNS


@dataclass(frozen=True)
class Word:
    """What a column is called, and how its value is shown.

    ``shown`` is one of: text, number, yes_no, slope (degree), length (mm), exact_mm, rise (gradient), turns, part (of a
    turn), chance, when, count (of a list), row (the key of another row, or several), words (one of ``choices``, or
    several).
    """

    label: str
    shown: str = "text"
    choices: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Noun:
    """What a thing is called, its columns, and what its lines say was done by verb.

    ``inside`` names columns that only the engine reads, ``phrase`` what stands before the name of the thing that it is
    about, where it has no name itself.
    """

    words: str
    columns: Mapping[str, Word]
    deeds: Mapping[str, str] = field(default_factory=dict)
    inside: frozenset[str] = frozenset()
    phrase: str = ""


def _choice(label: str, choices: Mapping[str, str]) -> Word:
    return Word(label, "words", choices)


def _slope(label: str) -> Word:
    return Word(label, "slope")


def _length(label: str) -> Word:
    return Word(label, "length")


def _row(label: str) -> Word:
    return Word(label, "row")


_ENDS = {"rear": "rear high", "front": "front high", "left": "left high", "right": "right high", "level": "level"}
_UNIT = _choice("Unit", UNIT_WORDS | {unit: words.strip() for unit, words in UNIT_SIGNS.items()} | presets.SLOPE_UNITS)
_VERDICTS = {"": "none", "in": "in spec", "out": "out of spec", "borderline": "borderline"}
_CERTIFICATE = {"proven_in": "proven in spec", "proven_out": "proven out of spec", "not_proven": "not proven"}
_CORNERS = {str(place): leg for place, leg in enumerate(LEGS)}
_STANCES = {
    "unknown": "nobody checked the feet", "all_bearing": "all four feet bear", "weighed": "weighed",
    **{leg: f"{leg} light" for leg in LEGS}, "": "none",
}  # fmt: skip
_SIDES = {"rear": "rear", "front": "front", "right": "right", "left": "left", "middle": "middle"}
_ARCHIVED = Word("Archived", "when")
_WHY, _NOTE, _NAME = Word("Reason"), Word("Note"), Word("Name")
_MACHINE, _BAY, _FLOOR, _LEVEL, _SPEC = _row("Machine"), _row("Bay"), _row("Floor"), _row("Read with"), _row("Spec")
_PITCH, _U_PITCH = _slope("Pitch"), _slope("Uncertainty of pitch")
_ROLL, _U_ROLL = _slope("Roll"), _slope("Uncertainty of roll")
_HEAD = {"lead_mm": Word("One full turn", "exact_mm"), "steps_per_turn": Word("Steps in one turn", "number")}

_ORGANIZATION = Noun(
    "organization",
    {
        "name": _NAME,
        "angle_unit": _choice("Slopes in", UNIT_WORDS),
        "length_unit": _choice("Lengths in", {"mm": "mm", "in": "inches"}),
    },
    {"founded": "Started"},
)
_MEMBERSHIP = Noun(
    "member",
    {
        "user": _row("Person"), "role": _choice("Role", ROLE_WORDS), "ended_at": Word("Ended", "when"),
        "sites": Word("Sites to read", "row"),
    },
    {"joined": "Joined as", "left": "Left as", "ended": "Removed"},
)  # fmt: skip
_INVITATION = Noun(
    "invitation",
    {
        "email": Word("E-mail"), "role": _choice("Role", ROLE_WORDS), "sites": Word("Sites to read", "row"),
        "expires_at": Word("Link works until", "when"), "accepted_at": Word("Accepted", "when"),
        "accepted_by": _row("Accepted by"), "withdrawn_at": Word("Withdrawn", "when"),
    },
    {"added": "Sent"},
    phrase="the invitation of",
)  # fmt: skip
_SITE = Noun(
    "site",
    {
        "name": _NAME, "address": Word("Address"), "time_zone": Word("Time zone"), "notes": Word("Notes"),
        "archived_at": _ARCHIVED,
    },
)  # fmt: skip
_FLOOR_NOUN = Noun(
    "floor",
    {
        "site": _row("Site"), "name": _NAME, "surface": _choice("Surface", presets.SURFACES),
        "width_mm": _length("Width"), "depth_mm": _length("Depth"), "archived_at": _ARCHIVED,
    },
)  # fmt: skip
_BAY_NOUN = Noun(
    "bay",
    {
        "floor": _FLOOR, "name": _NAME, "x_mm": _length("From the left wall"), "y_mm": _length("From the front wall"),
        "heading_deg": _choice("Rear points to the", {str(float(k)): v for k, v in presets.PLAN_DIRECTIONS.items()}),
        "front_reachable": Word("Front can be lifted", "yes_no"),
        "rear_reachable": Word("Rear can be lifted", "yes_no"), "archived_at": _ARCHIVED,
    },
)  # fmt: skip
_FLOOR_SLOPE = Noun(
    "slope of the floor",
    {
        "floor": _FLOOR, "bay": _BAY, "instrument": _LEVEL, "gx": Word("Rise to the right wall", "rise"),
        "gy": Word("Rise to the back wall", "rise"), "u_gx": Word("Uncertainty to the right wall", "rise"),
        "u_gy": Word("Uncertainty to the back wall", "rise"), "supersedes": _row("Instead of"), "why": _NOTE,
        "readings": Word("Readings", "count"),
    },
    {"added": "Read"},
    frozenset({"gxgy_covariance", "engine_version"}),
    "the slope of",
)  # fmt: skip
_FLOOR_READING = Noun(
    "reading of a floor",
    {
        "place": Word("Number", "number"), "text": Word("Shown"), "unit": _UNIT, "slope_deg": _slope("Slope"),
        "rises_toward_deg": Word("Rises toward", "number"),
    },
    inside=frozenset({"slope"}),
)  # fmt: skip
_MACHINE_NOUN = Noun(
    "machine",
    {
        "code": Word("Code"), "title": Word("Title"), "era": _choice("Era", ERA_WORDS),
        "body": _choice("Body", BODY_WORDS), "track_front_mm": _length("Front feet apart"),
        "track_rear_mm": _length("Rear feet apart"), "base_mm": _length("Front feet to rear feet"), **_HEAD,
        "on_dollies": Word("On dollies", "yes_no"), "bay": _BAY,
        "pitch_offset_deg": _slope("Pitch, playfield less cabinet"),
        "u_pitch_offset_deg": _slope("Uncertainty of that pitch"),
        "roll_offset_deg": _slope("Roll, playfield less cabinet"),
        "u_roll_offset_deg": _slope("Uncertainty of that roll"), "archived_at": _ARCHIVED,
        "survey": _row("Learned from"),
    },
    {"learned offset": "Learned how the playfield hangs in"},
)  # fmt: skip
_LEG = Noun(
    "leg",
    {
        "machine": _MACHINE, "place": _choice("Corner", _CORNERS), "length_mm": _length("Leg length"),
        "travel_mm": _length("Travel"), "exposure_mm": _length("Leveler out by"), "pad_mm": _length("Pad or cup"),
    },
    {"turned": "Turned"},
)  # fmt: skip
_SPEC_NOUN = Noun(
    "spec",
    {
        "machine": _MACHINE, "pitch_deg": _slope("Wanted pitch"), "pitch_tolerance_deg": _slope("Pitch may differ by"),
        "roll_tolerance_deg": _slope("Roll may differ by"), "gap_tolerance_mm": _length("Gap at most"), "why": _WHY,
    },
    {"added": "Set"},
    phrase="the spec of",
)  # fmt: skip
_STANDING = Noun("place", {"machine": _MACHINE, "bay": _BAY, "why": _NOTE}, {"added": "Moved"}, phrase="machine")
_REPORT_LINK = Noun(
    "label",
    {"machine": _MACHINE, "ended_at": Word("Ended", "when")},
    {"added": "Made"},
    phrase="the label of",
)
_REPORT = Noun(
    "report",
    {
        "machine": _MACHINE, "link": _row("Label"), "problem": _choice("Problem", PROBLEM_WORDS),
        "told_at": Word("Told last", "when"), "times": Word("Times told", "number"),
        "closed_at": Word("Closed", "when"), "closed_by": _row("Closed by"), "closed_why": _WHY,
        "closed_by_survey": _row("Answered by"),
    },
    phrase="a report of",
)  # fmt: skip
_INSTRUMENT = Noun(
    "instrument",
    {
        "name": _NAME, "kind": _choice("Kind", KIND_WORDS), "unit": _UNIT,
        "resolution_deg": _slope("Step of its display"), "accuracy_deg": _slope("Accuracy stated"),
        "base_mm": _length("Base"), "alignment_deg": _slope("May lie askew by"),
        "repeat_deg": _slope("Spread when laid down again"), "sensitivity_deg": _slope("Tilt seen at"),
        "block_tolerance_deg": _slope("Blocks may be off by"), "run_mm": _length("Run of the ball"),
        "film_hz": Word("Frames in a second", "number"), "machine": _MACHINE,
        "direction": _choice("It lies", {"along": "along", "across": "across", "": "not in a machine"}),
        "reach_lines": Word("Lines to either side", "number"), "deg_per_line": _slope("One line means"),
        "middle_deg": _slope("Bubble in the middle at"), "archived_at": _ARCHIVED,
    },
)  # fmt: skip
_ZERO_CHECK = Noun(
    "zero",
    {
        "instrument": _row("Instrument"), "unit": _UNIT, "first_text": Word("Marked end right"),
        "first_high": _choice("High then", _ENDS), "reversed_text": Word("Turned"),
        "reversed_high": _choice("High when turned", _ENDS), "zero_deg": _slope("Zero"),
        "u_zero_deg": _slope("Uncertainty of the zero"),
        "checked_at": Word("Checked", "when"),
    },
    {"added": "Checked"},
    frozenset({"engine_version"}),
    "the zero of",
)  # fmt: skip
_EVENT = Noun(
    "event",
    {
        "instrument": _row("Instrument"), "kind": _choice("What happened", EVENT_WORDS), "note": _NOTE,
        "happened_at": Word("When", "when"),
    },
    {"added": "Told"},
    phrase="what happened to",
)  # fmt: skip
_PAIR = Noun(
    "pair",
    {
        "vial": _row("Vial"), "level": _LEVEL, "lines_text": Word("Lines"), "bubble_side": _choice("Bubble", _SIDES),
        "level_text": Word("Level showed"), "level_unit": _UNIT, "level_high": _choice("High end", _ENDS),
        "position_lines": Word("Bubble stood at, in lines", "number"), "tilt_deg": _slope("Tilt"),
        "read_at": Word("Read", "when"), "supersedes": _row("Leaves out"), "why": _WHY,
    },
    {"added": "Read"},
    frozenset({"inputs"}),
    "a pair of",
)  # fmt: skip
_SURVEY = Noun(
    "survey",
    {
        "machine": _MACHINE, "bay": _BAY, "instrument": _LEVEL, "instrument_across": _row("Read across with"),
        "spec": _SPEC, "plan": _row("Leg plan"),
        "purpose": _choice("Kind", {"routine": "survey", "check": "check reading"}),
        "measured_at": Word("Measured", "when"),
        "stance": _choice("Feet", _STANCES), "gap_text": Word("Gap, as typed"), "gap_unit": Word("Gap in"),
        "gap_mm": _length("Gap"), "gap_step_turns": Word("Counted to", "part"), "weights": Word("Scales", "count"),
        "light_foot": Word("Light foot"), "preconditions": _choice("Seen to", presets.PRECONDITIONS), "note": _NOTE,
        "pitch_read_deg": _slope("Pitch as it stood"), "roll_read_deg": _slope("Roll as it stood"), "pitch_deg": _PITCH,
        "roll_deg": _ROLL, "u_pitch_deg": _U_PITCH, "u_roll_deg": _U_ROLL, "verdict": _choice("Verdict", _VERDICTS),
        "chance": Word("Chance of being in spec", "chance"), "certificate": _choice("Certificate", _CERTIFICATE),
        "supersedes": _row("Corrects"), "why": _WHY, "readings": Word("Readings", "count"),
    },
    {"added": "Recorded", "corrected": "Corrected"},
    frozenset({"inputs", "engine_version", "twist_mm", "u_twist_mm"}),
    "a survey of",
)  # fmt: skip
_READING = Noun(
    "reading",
    {
        "place": Word("Number", "number"), "direction": Word("Direction"), "text": Word("Shown"), "unit": _UNIT,
        "number": Word("Number shown", "number"), "high_end": _choice("High end", _ENDS), "tilt_deg": _slope("Tilt"),
        "spot": _choice("Spot", {name: spot.words for name, spot in presets.SPOTS.items()} | {"": "elsewhere"}),
        "x_mm": _length("From the left"), "y_mm": _length("From the front"), "pair": Word("Beside", "number"),
        "is_reversed": Word("Turned end for end", "yes_no"),
    },
    inside=frozenset({"survey"}),
)  # fmt: skip
_PLAN = Noun(
    "leg plan",
    {
        "machine": _MACHINE, "survey": _row("Survey"), "spec": _SPEC,
        "source": _choice("Made from", {"survey": "a survey", "floor": "floor and legs"}),
        "outcome": _choice("Says", {"in_spec": "nothing to turn", "plan": "turns", "nothing_fits": "nothing fits"}),
        "state": _choice("State", {"open": "open", "turned": "turned, not signed off", "signed_off": "signed off",
                                   "set_aside": "set aside"}),
        "turned_at": Word("Turned", "when"), "signed_off_at": Word("Signed off", "when"),
        "signed_off_by": _row("Signed off by"),
        "tasks_done": _choice("Done", {"locknuts": "locknuts", "read_again": "read again", "tilt_bob": "tilt bob",
                                       "feet_marked": "feet marked"}),
        "remark": Word("Remark"), "archived_at": _ARCHIVED, "legs": Word("Legs", "count"),
    },
    {"added": "Made"},
    frozenset({"inputs", "answer", "engine_version"}),
    "a leg plan of",
)  # fmt: skip
_PLAN_LEG = Noun(
    "leg of a plan",
    {
        "place": _choice("Corner", _CORNERS), "steps": Word("Steps", "number"), "lift": Word("Lift", "number"),
        "steps_per_turn": _HEAD["steps_per_turn"], "height_mm": _length("Height"),
    },
    inside=frozenset({"plan"}),
)  # fmt: skip
_ADJUSTMENT = Noun(
    "turns",
    {
        "plan": _row("Leg plan"), "place": _choice("Corner", _CORNERS), "lift": Word("Lift", "number"),
        "turns": Word("Turns", "turns"), "text": Word("As typed"), "lead_mm": _HEAD["lead_mm"],
        "turned_at": Word("Turned", "when"),
    },
    {"added": "Recorded"},
    phrase="the turns at",
)  # fmt: skip
_QUICK_CHECK = Noun(
    "quick check",
    {
        "machine": _MACHINE, "bay": _BAY, "instrument": _LEVEL, "spec": _SPEC, "survey": _row("Beside the survey"),
        "place": _choice("Where the level lay", {"glass": "on the glass", "rail": "on the side rail"}),
        "measured_at": Word("Read", "when"), "unit": _UNIT, "pitch_text": Word("Along"),
        "pitch_high": _choice("High end along", _ENDS), "roll_text": Word("Across"),
        "roll_high": _choice("High end across", _ENDS), "pitch_rail_deg": _slope("Pitch there"),
        "roll_rail_deg": _slope("Roll there"), "pitch_deg": _PITCH, "roll_deg": _ROLL, "u_pitch_deg": _U_PITCH,
        "u_roll_deg": _U_ROLL, "verdict": _choice("Verdict", _VERDICTS),
        "chance": Word("Chance of being in spec", "chance"),
        "false_chance": Word("Chance of a false verdict", "chance"), "due": Word("Asks for"),
    },
    {"added": "Recorded"},
    frozenset({"inputs", "engine_version"}),
    "a quick check of",
)  # fmt: skip

#: By the name that a line has for its table.
NOUNS: dict[str, Noun] = {
    "organization": _ORGANIZATION, "membership": _MEMBERSHIP, "invitation": _INVITATION, "site": _SITE,
    "floor": _FLOOR_NOUN, "bay": _BAY_NOUN,
    "floorslope": _FLOOR_SLOPE, "floorreading": _FLOOR_READING, "machine": _MACHINE_NOUN, "leg": _LEG,
    "spec": _SPEC_NOUN, "standing": _STANDING, "instrument": _INSTRUMENT, "zerocheck": _ZERO_CHECK,
    "instrumentevent": _EVENT, "vialpair": _PAIR, "survey": _SURVEY, "reading": _READING, "plan": _PLAN,
    "planleg": _PLAN_LEG, "adjustment": _ADJUSTMENT, "quickcheck": _QUICK_CHECK, "report": _REPORT,
    "reportlink": _REPORT_LINK,
}  # fmt: skip

#: What one may look for, in words, and the nouns that go with it.
KINDS: dict[str, tuple[str, tuple[str, ...]]] = {
    "site": ("Sites", ("site",)),
    "floor": ("Floors and bays", ("floor", "bay", "floorslope")),
    "machine": ("Machines", ("machine", "leg", "spec", "standing")),
    "survey": ("Surveys", ("survey",)),
    "plan": ("Leg plans", ("plan", "adjustment")),
    "quick_check": ("Quick checks", ("quickcheck",)),
    "report": ("Reports and labels", ("report", "reportlink")),
    "instrument": ("Instruments", ("instrument", "zerocheck", "instrumentevent", "vialpair")),
    "people": ("People and units", ("organization", "membership", "invitation")),
}

_DEEDS = {"added": "Added", "changed": "Changed", "corrected": "Corrected"}


def noun_of(name: str) -> Noun:
    """Return the words of a table, also of one that nobody has named yet."""
    return NOUNS.get(name) or Noun(f"“{name}”", {})


def word_of(noun: str, column: str) -> Word:
    """Return the word of a column, also of one that nobody has named yet."""
    return noun_of(noun).columns.get(column) or Word(f"“{column}”")


def deed_of(noun: str, verb: str) -> str:
    """Return what was done, as the first word of its line."""
    return noun_of(noun).deeds.get(verb) or _DEEDS.get(verb) or verb.capitalize()
