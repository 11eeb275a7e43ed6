"""Quick checks: a reading on rail or glass, the glass in; beside a survey it teaches how that sits to the playfield."""

from django.db import models

from collection.models.base import Recorded, in_range, one_of, texts_fit
from collection.models.instruments import SLOPE_UNITS, UNIT_WORDS

PLACES = {"glass": "on the glass", "rail": "on the side rail"}
ALONG_ENDS = ("rear", "front", "level")
ACROSS_ENDS = ("left", "right", "level")


class QuickCheck(Recorded):
    """One reading along and one across on rail or glass, and what it says of the playfield.

    With ``survey`` it is a pair: read at the same visit as that survey, it teaches and judges nothing, and its verdict
    is empty. ``inputs`` holds what the engine was given: level, zero, pairs, belief.
    """

    machine = models.ForeignKey("collection.Machine", on_delete=models.PROTECT, related_name="quick_checks")
    bay = models.ForeignKey("collection.Bay", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    instrument = models.ForeignKey("collection.Instrument", on_delete=models.PROTECT, related_name="+")
    spec = models.ForeignKey("collection.Spec", on_delete=models.PROTECT, related_name="+")
    survey = models.ForeignKey(
        "collection.Survey", on_delete=models.PROTECT, null=True, blank=True, related_name="quick_checks"
    )
    place = models.CharField(max_length=6)
    measured_at = models.DateTimeField()
    unit = models.CharField(max_length=10)
    pitch_text = models.CharField(max_length=24)
    pitch_high = models.CharField(max_length=5)
    roll_text = models.CharField(max_length=24)
    roll_high = models.CharField(max_length=5)
    pitch_rail_deg = models.FloatField()
    roll_rail_deg = models.FloatField()
    inputs = models.JSONField()

    pitch_deg = models.FloatField(null=True, blank=True)
    roll_deg = models.FloatField(null=True, blank=True)
    u_pitch_deg = models.FloatField(null=True, blank=True)
    u_roll_deg = models.FloatField(null=True, blank=True)
    verdict = models.CharField(max_length=10, blank=True)
    chance = models.FloatField(null=True, blank=True)
    false_chance = models.FloatField(null=True, blank=True)
    due = models.CharField(max_length=16, blank=True)
    engine_version = models.CharField(max_length=20)

    class Meta:
        constraints = [
            one_of("quickcheck", "place", tuple(PLACES)),
            one_of("quickcheck", "unit", SLOPE_UNITS),
            one_of("quickcheck", "pitch_high", ALONG_ENDS),
            one_of("quickcheck", "roll_high", ACROSS_ENDS),
            one_of("quickcheck", "verdict", ("", "out", "borderline", "in")),
            in_range("quickcheck", "pitch_rail_deg", -30, 30),
            in_range("quickcheck", "roll_rail_deg", -30, 30),
            in_range("quickcheck", "pitch_deg", -60, 60),
            in_range("quickcheck", "roll_deg", -60, 60),
            in_range("quickcheck", "u_pitch_deg", 0, 60),
            in_range("quickcheck", "u_roll_deg", 0, 60),
            in_range("quickcheck", "chance", 0, 1),
            in_range("quickcheck", "false_chance", 0, 1),
            texts_fit("quickcheck", pitch_text=24, roll_text=24, due=16, engine_version=20),
        ]
        indexes = [models.Index(fields=["machine", "-measured_at"], name="quickcheck_latest")]

    @property
    def place_words(self) -> str:
        """Where the level lay, in words."""
        return PLACES[self.place]

    @property
    def pitch_words(self) -> str:
        """What the level showed along, as it was typed."""
        return self._told(self.pitch_text, self.pitch_high)

    @property
    def roll_words(self) -> str:
        """What the level showed across, as it was typed."""
        return self._told(self.roll_text, self.roll_high)

    def _told(self, text: str, high: str) -> str:
        end = "level" if high == "level" else f"{high} high"
        return f"{text}\u00a0{UNIT_WORDS[self.unit]}, {end}"
