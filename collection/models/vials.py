"""Pairs of a vial and a level, read at the same moment: what a vial is learned from."""

from django.db import models

from collection.models.base import Recorded, in_range, one_of, texts_fit
from collection.models.instruments import SLOPE_UNITS, UNIT_WORDS, Instrument

BUBBLE_SIDES = ("rear", "front", "right", "left", "middle")
LEVEL_ENDS = ("rear", "front", "right", "left", "level")


class VialPair(Recorded):
    """Where a vial's bubble stood and what a level on the playfield showed, in the same direction.

    A pair that was wrong is left out by a row that names it, with the reason. ``inputs`` holds the level and its zero.
    """

    vial = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="pairs")
    level = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")
    lines_text = models.CharField(max_length=24)
    bubble_side = models.CharField(max_length=6)
    position_lines = models.FloatField()
    level_text = models.CharField(max_length=24)
    level_unit = models.CharField(max_length=10)
    level_high = models.CharField(max_length=5)
    tilt_deg = models.FloatField()
    inputs = models.JSONField()
    read_at = models.DateTimeField()
    supersedes = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="left_out_by")
    why = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = [
            one_of("vialpair", "bubble_side", BUBBLE_SIDES),
            one_of("vialpair", "level_unit", SLOPE_UNITS),
            one_of("vialpair", "level_high", LEVEL_ENDS),
            in_range("vialpair", "position_lines", -20, 20),
            in_range("vialpair", "tilt_deg", -30, 30),
            models.UniqueConstraint(
                fields=["supersedes"], condition=models.Q(supersedes__isnull=False), name="vialpair_left_out_once"
            ),
            texts_fit("vialpair", lines_text=24, level_text=24, why=400),
        ]
        indexes = [models.Index(fields=["vial", "read_at"], name="vialpair_latest")]

    @property
    def unit_sign(self) -> str:
        """The unit that the level showed, behind its number."""
        return "°" if self.level_unit == "deg" else f"\u00a0{UNIT_WORDS[self.level_unit]}"
