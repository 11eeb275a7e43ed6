"""Floors and their bays, and the slopes that someone read off them.

The floor plan is drawn with the back wall at the top: its x runs to the right wall, its y to the back wall.
Directions on the plan are degrees clockwise from the back wall.
"""

import math

from django.db import models

from collection import presets
from collection.models.base import MOST_VERSION, Editable, Recorded, in_range, one_of, texts_fit

SURFACES = tuple(presets.SURFACES)
SLOPE_UNITS = tuple(presets.SLOPE_UNITS)


def _once(table: str, parent: str) -> models.UniqueConstraint:
    """Return the constraint that a name stands once among the live rows below a parent."""
    live = models.Q(archived_at__isnull=True)
    return models.UniqueConstraint(fields=[parent, "name"], condition=live, name=f"{table}_name_unique")


class Floor(Editable):
    """A surface in a site, with its size for the plan."""

    site = models.ForeignKey("collection.Site", on_delete=models.PROTECT, related_name="floors")
    name = models.CharField(max_length=80)
    surface = models.CharField(max_length=20, default="concrete")
    width_mm = models.FloatField(default=8000)
    depth_mm = models.FloatField(default=6000)

    class Meta:
        constraints = [
            one_of("floor", "surface", SURFACES),
            in_range("floor", "width_mm", 500, 200_000),
            in_range("floor", "depth_mm", 500, 200_000),
            _once("floor", "site"),
            in_range("floor", "version", 1, MOST_VERSION),
            texts_fit("floor", name=80),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def surface_words(self) -> str:
        """The surface as pages show it."""
        return presets.SURFACES[self.surface]


class Bay(Editable):
    """One machine's standing place: where on the plan, which way the machine's rear points, what can be reached."""

    floor = models.ForeignKey(Floor, on_delete=models.PROTECT, related_name="bays")
    name = models.CharField(max_length=80)
    x_mm = models.FloatField(default=1000)
    y_mm = models.FloatField(default=1000)
    heading_deg = models.FloatField(default=0)
    front_reachable = models.BooleanField(default=True)
    rear_reachable = models.BooleanField(default=True)

    class Meta:
        constraints = [
            in_range("bay", "x_mm", 0, 200_000),
            in_range("bay", "y_mm", 0, 200_000),
            in_range("bay", "heading_deg", 0, 360),
            _once("bay", "floor"),
            in_range("bay", "version", 1, MOST_VERSION),
            texts_fit("bay", name=80),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def heading_words(self) -> str:
        """Where the machine's rear points, in words."""
        return presets.PLAN_DIRECTIONS[round(self.heading_deg / 45) * 45 % 360]

    @property
    def reach_words(self) -> str:
        """Which ends can be reached and lifted, in words."""
        reached = [end for end in ("front", "rear") if getattr(self, f"{end}_reachable")]
        return f"{' and '.join(reached)} can be lifted" if reached else "neither end can be lifted"


class FloorSlope(Recorded):
    """One occasion of reading a slope: of a whole floor, or of one bay, which then stands for itself."""

    floor = models.ForeignKey(Floor, on_delete=models.PROTECT, related_name="slopes")
    bay = models.ForeignKey(Bay, on_delete=models.PROTECT, null=True, blank=True, related_name="slopes")
    instrument = models.ForeignKey(
        "collection.Instrument", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    gx = models.FloatField()
    gy = models.FloatField()
    u_gx = models.FloatField()
    u_gy = models.FloatField()
    gxgy_covariance = models.FloatField(default=0)
    engine_version = models.CharField(max_length=20)
    supersedes = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    why = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = [
            in_range("floorslope", "gx", -0.3, 0.3),
            in_range("floorslope", "gy", -0.3, 0.3),
            in_range("floorslope", "u_gx", 0, 1),
            in_range("floorslope", "u_gy", 0, 1),
            in_range("floorslope", "gxgy_covariance", -1, 1),
            texts_fit("floorslope", engine_version=20, why=400),
        ]
        indexes = [models.Index(fields=["floor", "bay", "created_at"], name="floorslope_latest")]

    @property
    def u_deg(self) -> float:
        """The larger of the two gradients' standard uncertainties, as an angle [degree]."""
        return math.degrees(math.atan(max(self.u_gx, self.u_gy)))


class FloorReading(Recorded):
    """One slope as it was read: how much, in which unit, and toward which direction of the plan it rises."""

    slope = models.ForeignKey(FloorSlope, on_delete=models.PROTECT, related_name="readings")
    place = models.PositiveSmallIntegerField()
    text = models.CharField(max_length=24)
    unit = models.CharField(max_length=10)
    slope_deg = models.FloatField()
    rises_toward_deg = models.FloatField()

    class Meta:
        ordering = ["place"]
        constraints = [
            one_of("floorreading", "unit", SLOPE_UNITS),
            in_range("floorreading", "slope_deg", -15, 15),
            in_range("floorreading", "rises_toward_deg", 0, 360),
            in_range("floorreading", "place", 0, 100),
            texts_fit("floorreading", text=24),
        ]

    @property
    def unit_words(self) -> str:
        """The unit as pages show it."""
        return presets.SLOPE_UNITS[self.unit]

    @property
    def direction_words(self) -> str:
        """Toward where the floor rises, in words."""
        return presets.PLAN_DIRECTIONS[round(self.rises_toward_deg / 45) * 45 % 360]
