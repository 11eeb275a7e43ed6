"""Surveys and their readings: append-only; a correction is a new survey that names the old one."""

from django.db import models

from collection import presets
from collection.models.base import Recorded, in_range, one_of, texts_fit
from collection.models.machines import LEGS

STANCES = ("unknown", "all_bearing", *LEGS, "weighed")
GAP_UNITS = ("mm", "turns")
DIRECTIONS = ("along", "across")
HIGH_ENDS = ("rear", "front", "right", "left", "level")
PURPOSES = ("routine", "check")
#: How what was read is shown behind its number. A look is at a bubble alone, a block has a bubble on it.
UNIT_SIGNS = {
    "deg": "°",
    "mm_per_m": "\u00a0mm/m",
    "in_per_ft": "\u00a0in/ft",
    "percent": "\u00a0%",
    "look": "bubble",
    "block": "° block",
    "lines": "\u00a0lines",
    "s": "\u00a0s",
    "frames": "\u00a0frames",
    "mm": "\u00a0mm aside",
}


class Survey(Recorded):
    """One occasion of measuring one machine: how it stood, what was read, and what the engine made of it.

    The stance names the light foot, says that all four bear, or that four scales told (``weights``, as typed). Pitch,
    roll and twist are those of the plane through all four feet; ``*_read_deg`` is what the board read as the machine
    stood. ``inputs`` holds what the engine was given beside the readings (instrument, zero, feet, offset), so that
    later edits change no record.
    """

    machine = models.ForeignKey("collection.Machine", on_delete=models.PROTECT, related_name="surveys")
    bay = models.ForeignKey("collection.Bay", on_delete=models.PROTECT, null=True, blank=True, related_name="surveys")
    instrument = models.ForeignKey("collection.Instrument", on_delete=models.PROTECT, related_name="surveys")
    instrument_across = models.ForeignKey(  # empty: the same one as along
        "collection.Instrument", on_delete=models.PROTECT, null=True, blank=True, related_name="surveys_across"
    )
    spec = models.ForeignKey("collection.Spec", on_delete=models.PROTECT, related_name="+")
    plan = models.ForeignKey("collection.Plan", on_delete=models.PROTECT, null=True, blank=True, related_name="surveys")
    purpose = models.CharField(max_length=10, default="routine")
    measured_at = models.DateTimeField()
    stance = models.CharField(max_length=12)
    gap_text = models.CharField(max_length=24, blank=True)
    gap_unit = models.CharField(max_length=6, default="mm")
    gap_mm = models.FloatField(default=0)
    gap_step_turns = models.FloatField(default=0.1)  # how finely the turns were counted
    weights = models.JSONField(default=list)
    light_foot = models.CharField(max_length=2, blank=True)  # as a column, since lists leave the inputs out
    preconditions = models.JSONField(default=list)
    note = models.CharField(max_length=400, blank=True)
    inputs = models.JSONField()

    pitch_read_deg = models.FloatField()
    roll_read_deg = models.FloatField()
    pitch_deg = models.FloatField()
    roll_deg = models.FloatField()
    twist_mm = models.FloatField()
    u_pitch_deg = models.FloatField()
    u_roll_deg = models.FloatField()
    u_twist_mm = models.FloatField()
    verdict = models.CharField(max_length=10)
    chance = models.FloatField()
    certificate = models.CharField(max_length=12)
    engine_version = models.CharField(max_length=20)
    supersedes = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrections")
    why = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = [
            one_of("survey", "purpose", PURPOSES),
            one_of("survey", "stance", STANCES),
            one_of("survey", "light_foot", ("", *LEGS)),
            one_of("survey", "gap_unit", GAP_UNITS),
            one_of("survey", "verdict", ("out", "borderline", "in")),
            one_of("survey", "certificate", ("proven_in", "proven_out", "not_proven")),
            in_range("survey", "gap_mm", 0, 50),
            in_range("survey", "gap_step_turns", 0.01, 1),
            in_range("survey", "pitch_read_deg", -30, 30),
            in_range("survey", "roll_read_deg", -30, 30),
            in_range("survey", "pitch_deg", -30, 30),
            in_range("survey", "roll_deg", -30, 30),
            in_range("survey", "twist_mm", -50, 50),
            in_range("survey", "u_pitch_deg", 0, 30),
            in_range("survey", "u_roll_deg", 0, 30),
            in_range("survey", "u_twist_mm", 0, 50),
            in_range("survey", "chance", 0, 1),
            models.UniqueConstraint(
                fields=["supersedes"], condition=models.Q(supersedes__isnull=False), name="survey_corrected_once"
            ),
            texts_fit("survey", gap_text=24, note=400, engine_version=20, why=400),
        ]
        indexes = [models.Index(fields=["machine", "-measured_at"], name="survey_latest")]

    @property
    def stance_words(self) -> str:
        """How it stood, in words, with the gap as it was typed."""
        if self.stance == "all_bearing":
            return "All four feet bear"
        if self.stance == "unknown":
            return "Nobody checked the feet"
        if self.stance == "weighed":
            shown = ", ".join(f"{leg} {text}" for leg, text in zip(LEGS, self.weights, strict=True))
            return f"Weighed: {shown}. {self._weighed_words}"
        if self.gap_unit == "mm":
            return f"{self.stance} light, {self.gap_text} mm gap"
        step = presets.GAP_STEP_WORDS.get(self.gap_step_turns, f"{self.gap_step_turns:g}")
        return f"{self.stance} light, turns until it bears: {self.gap_text}, to the nearest {step}"

    @property
    def stood_on(self) -> str:
        """The stance without how it was found: which foot hung in the air, that all bore, or that nobody knows."""
        if self.stance != "weighed":
            return str(self.stance)
        return self.light_foot if self.inputs["stance"]["weighed"] == "floats" else "all_bearing"

    @property
    def _weighed_words(self) -> str:
        found = self.inputs["stance"]["weighed"]
        if found == "floats":
            return f"{self.light_foot} carries nothing: measure the gap under it"
        if found == "light":
            return f"{self.light_foot} is light by {self.gap_mm:.2f} mm"
        return "The diagonals carry alike"

    @property
    def precondition_words(self) -> list[str]:
        """What was seen to before reading, in words."""
        return [presets.PRECONDITIONS[name] for name in self.preconditions]


class Reading(Recorded):
    """One angle along or across the playfield at one spot, as it was typed and as it was understood.

    Spots are mm from the playfield's lower left corner, x to the right and y to the rear.
    A reading turned end for end names its partner by ``pair``.
    """

    survey = models.ForeignKey(Survey, on_delete=models.PROTECT, related_name="readings")
    place = models.PositiveSmallIntegerField()
    direction = models.CharField(max_length=6)
    text = models.CharField(max_length=24)
    number = models.FloatField(null=True, blank=True)  # what the text means in that unit; empty for a bubble alone
    unit = models.CharField(max_length=10)
    high_end = models.CharField(max_length=5)
    tilt_deg = models.FloatField()
    spot = models.CharField(max_length=20, blank=True)
    x_mm = models.FloatField(null=True, blank=True)
    y_mm = models.FloatField(null=True, blank=True)
    pair = models.PositiveSmallIntegerField(null=True, blank=True)
    is_reversed = models.BooleanField(default=False)

    class Meta:
        ordering = ["place"]
        constraints = [
            one_of("reading", "direction", DIRECTIONS),
            one_of("reading", "unit", tuple(UNIT_SIGNS)),
            one_of("reading", "high_end", HIGH_ENDS),
            in_range("reading", "tilt_deg", -30, 30),
            in_range("reading", "x_mm", 0, 2000),
            in_range("reading", "y_mm", 0, 3000),
            in_range("reading", "place", 0, 100),
            in_range("reading", "number", -40_000, 40_000),
            in_range("reading", "pair", 0, 100),
            one_of("reading", "spot", ("", *presets.SPOTS)),
            texts_fit("reading", text=24),
        ]

    @property
    def shown(self) -> str:
        """What the instrument showed, as it was typed, with its unit."""
        return self.text + UNIT_SIGNS[self.unit]

    @property
    def end_words(self) -> str:
        """Which end was high, in words."""
        return "level" if self.high_end == "level" else f"{self.high_end} high"

    @property
    def spot_words(self) -> str:
        """Where on the playfield, in words."""
        return presets.SPOTS[self.spot].words if self.spot in presets.SPOTS else "elsewhere"
