"""Instruments: what people measure with, the checks of their zero, and what happened to them."""

from django.db import models

from collection.models.base import MOST_VERSION, Editable, Recorded, in_range, one_of, texts_fit
from leveling.units import slope_in

KINDS = ("digital_level", "inclinometer", "bubble", "blocks", "vial", "ball")
#: Kinds that show a number with an error of its own, which a reversed pair finds.
KINDS_WITH_ZERO = ("digital_level", "inclinometer")
SLOPE_UNITS = ("deg", "mm_per_m", "in_per_ft", "percent")
ZERO_HIGH_ENDS = ("left", "right", "level")
KIND_WORDS = {
    "digital_level": "digital level",
    "inclinometer": "inclinometer",
    "bubble": "plain bubble",
    "blocks": "angle blocks with a bubble",
    "vial": "vial in its machine",
    "ball": "rolling ball",
}
#: What can happen to an instrument; after each of them the last zero check does not count any more.
EVENT_WORDS = {"dropped": "dropped", "battery": "battery changed", "repaired": "repaired"}
UNIT_WORDS = {"deg": "degrees", "mm_per_m": "mm/m", "in_per_ft": "in/ft", "percent": "%"}


class Instrument(Editable):
    """What somebody measures with; a vial belongs to one machine.

    Accuracy is the maker's stated limit, of a bubble the largest tilt at which it stands in the middle though it should
    not; alignment is how far the level may lie askew, across and along the board. What a kind does not need keeps its
    default.
    """

    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=16, default="digital_level")
    unit = models.CharField(max_length=10, default="deg")
    resolution_deg = models.FloatField(default=0.1)
    accuracy_deg = models.FloatField(default=0.1)
    base_mm = models.FloatField(default=230)
    alignment_deg = models.FloatField(default=1.0)
    repeat_deg = models.FloatField(default=0.03)
    sensitivity_deg = models.FloatField(default=0.1)  # of a bubble: the tilt at which it is first seen to leave
    block_tolerance_deg = models.FloatField(default=0.05)
    run_mm = models.FloatField(default=450)  # of a ball: from its mark to the line
    film_hz = models.FloatField(null=True, blank=True)  # of a ball that is filmed; empty for a watch
    machine = models.ForeignKey(
        "collection.Machine", on_delete=models.PROTECT, null=True, blank=True, related_name="vials"
    )
    direction = models.CharField(max_length=6, blank=True)  # of a vial
    reach_lines = models.FloatField(default=2)
    deg_per_line = models.FloatField(null=True, blank=True)  # from the manual of the machine, as is the middle
    middle_deg = models.FloatField(null=True, blank=True)

    class Meta:
        constraints = [
            one_of("instrument", "kind", KINDS),
            one_of("instrument", "direction", ("", "along", "across")),
            in_range("instrument", "sensitivity_deg", 0.005, 5),
            in_range("instrument", "block_tolerance_deg", 0, 2),
            in_range("instrument", "run_mm", 50, 2000),
            in_range("instrument", "film_hz", 10, 2000),
            in_range("instrument", "reach_lines", 0.5, 20),
            in_range("instrument", "deg_per_line", 0.01, 5),
            in_range("instrument", "middle_deg", -20, 20),
            models.CheckConstraint(
                condition=models.Q(kind="vial", machine__isnull=False, direction__in=("along", "across"))
                | (~models.Q(kind="vial") & models.Q(machine__isnull=True, direction="")),
                name="instrument_vial_in_its_machine",
            ),
            one_of("instrument", "unit", SLOPE_UNITS),
            in_range("instrument", "resolution_deg", 0.0001, 2),
            in_range("instrument", "accuracy_deg", 0, 5),
            in_range("instrument", "base_mm", 20, 3000),
            in_range("instrument", "alignment_deg", 0, 10),
            in_range("instrument", "repeat_deg", 0, 2),
            models.UniqueConstraint(
                fields=["organization", "name"],
                condition=models.Q(archived_at__isnull=True),
                name="instrument_name_unique",
            ),
            in_range("instrument", "version", 1, MOST_VERSION),
            texts_fit("instrument", name=80),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def kind_words(self) -> str:
        """The kind as pages show it."""
        return KIND_WORDS[self.kind]

    @property
    def has_zero(self) -> bool:
        """Whether it shows a number whose error a reversed pair finds."""
        return self.kind in KINDS_WITH_ZERO

    @property
    def unit_words(self) -> str:
        """The unit of its display as pages show it."""
        return UNIT_WORDS[self.unit]

    @property
    def resolution_text(self) -> str:
        """The step of its display, in its own unit."""
        return self._in_its_unit(self.resolution_deg)

    @property
    def accuracy_text(self) -> str:
        """The accuracy that its maker states, in its own unit."""
        return self._in_its_unit(self.accuracy_deg)

    def _in_its_unit(self, angle_deg: float) -> str:
        sign = "°" if self.unit == "deg" else f"\u00a0{self.unit_words}"
        return f"{float(slope_in(angle_deg, self.unit)):.4g}{sign}"


class ZeroCheck(Recorded):
    """One reversed pair on any steady surface: what the instrument shows when the tilt is nothing.

    First its marked end lies to the right, then the instrument is turned end for end on the same line.
    Each high end is a side of the surface, as the person sees it both times.
    """

    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="zero_checks")
    first_text = models.CharField(max_length=24)
    first_high = models.CharField(max_length=5)
    reversed_text = models.CharField(max_length=24)
    reversed_high = models.CharField(max_length=5)
    unit = models.CharField(max_length=10)
    zero_deg = models.FloatField()
    u_zero_deg = models.FloatField()
    engine_version = models.CharField(max_length=20)
    checked_at = models.DateTimeField()  # created_at is when it reached us: a phone may have had no connection

    class Meta:
        constraints = [
            one_of("zerocheck", "unit", SLOPE_UNITS),
            one_of("zerocheck", "first_high", ZERO_HIGH_ENDS),
            one_of("zerocheck", "reversed_high", ZERO_HIGH_ENDS),
            in_range("zerocheck", "zero_deg", -5, 5),
            in_range("zerocheck", "u_zero_deg", 0, 5),
            texts_fit("zerocheck", first_text=24, reversed_text=24, engine_version=20),
        ]
        indexes = [models.Index(fields=["instrument", "checked_at"], name="zerocheck_latest")]

    @property
    def high_end(self) -> str:
        """The end at which it shows too much: marked, other, or none that the check can tell."""
        if abs(self.zero_deg) <= self.u_zero_deg:
            return "none"
        return "marked" if self.zero_deg > 0 else "other"

    @property
    def first_words(self) -> str:
        """The first reading as it was told."""
        return self._told(self.first_text, self.first_high)

    @property
    def turned_words(self) -> str:
        """The reading after turning as it was told."""
        return self._told(self.reversed_text, self.reversed_high)

    def _told(self, text: str, high: str) -> str:
        side = "" if high == "level" else f", {high} high"
        return f"{text}\u00a0{UNIT_WORDS[self.unit]}{side}"


class InstrumentEvent(Recorded):
    """Something that happened to an instrument and may have moved its zero."""

    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="events")
    kind = models.CharField(max_length=10)
    note = models.CharField(max_length=200, blank=True)
    happened_at = models.DateTimeField()

    class Meta:
        constraints = [
            one_of("instrumentevent", "kind", tuple(EVENT_WORDS)),
            texts_fit("instrumentevent", note=200),
        ]
        indexes = [models.Index(fields=["instrument", "happened_at"], name="instrumentevent_latest")]

    @property
    def kind_words(self) -> str:
        """What happened, as pages show it."""
        return EVENT_WORDS[self.kind]
