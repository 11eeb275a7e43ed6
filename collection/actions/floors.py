"""Writes about floors, bays and the slopes read off them."""

from dataclasses import dataclass
from math import hypot, radians, tan
from typing import Any

from django.db import transaction

from collection.actions.record import ActionRefused, Author, add, already_done, change
from collection.arrays.floors import SlopeFit, fit_slope
from collection.models import Bay, Floor, FloorReading, FloorSlope, Instrument, Site
from leveling import VERSION
from leveling.units import slope_deg, slope_in

STEEPEST_DEG = 15
STEEPEST = tan(radians(STEEPEST_DEG)) + 1e-9


@dataclass(frozen=True)
class TypedSlope:
    """One slope as it was typed: its text, and the direction of the plan toward which the floor rises there."""

    text: str
    amount: float
    rises_toward_deg: float


@transaction.atomic
def create_floor(*, by: Author, site: Site, **fields: Any) -> Floor:
    """Add a floor to a site. Refuses a name that another floor of the site has."""
    if found := already_done(Floor, by):
        return found
    _refuse_same_name(site.floors.filter(name=fields["name"]), "floor of this site")
    return add(by, Floor(id=by.key, site=site, **fields))


@transaction.atomic
def change_floor(*, by: Author, floor: Floor, version: int, **fields: Any) -> Floor:
    """Change a floor. Refuses a stale edit, a taken name, and a plan too small for its bays."""
    others = Floor.objects.filter(site=floor.site, name=fields["name"]).exclude(pk=floor.pk)
    _refuse_same_name(others, "floor of this site")
    for side, axis, words in (("width_mm", "x_mm", "left wall"), ("depth_mm", "y_mm", "front wall")):
        outside = floor.bays.filter(archived_at__isnull=True, **{f"{axis}__gt": fields[side]}).first()
        if outside:
            raise ActionRefused(f"{outside.name} lies further from the {words}. Move it first.", field=side)
    return change(by, floor, version=version, **fields)


@transaction.atomic
def create_bay(*, by: Author, floor: Floor, **fields: Any) -> Bay:
    """Add a bay to a floor. Refuses a name that another bay of the floor has."""
    if found := already_done(Bay, by):
        return found
    _refuse_same_name(floor.bays.filter(name=fields["name"]), "bay of this floor")
    return add(by, Bay(id=by.key, floor=floor, **fields))


@transaction.atomic
def change_bay(*, by: Author, bay: Bay, version: int, **fields: Any) -> Bay:
    """Change a bay. Refuses a stale edit and a name that another bay of the floor has."""
    others = Bay.objects.filter(floor=bay.floor, name=fields["name"]).exclude(pk=bay.pk)
    _refuse_same_name(others, "bay of this floor")
    return change(by, bay, version=version, **fields)


@transaction.atomic
def record_slope(
    *,
    by: Author,
    floor: Floor,
    bay: Bay | None,
    instrument: Instrument | None,
    unit: str,
    readings: list[TypedSlope],
    why: str,
) -> FloorSlope:
    """Store the slope of a floor, or of one bay, from readings in two directions at least."""
    if found := already_done(FloorSlope, by):
        return found
    _refuse_steep(readings, unit)
    fit = fit_slope(
        amounts=[reading.amount for reading in readings],
        rises_toward_deg=[reading.rises_toward_deg for reading in readings],
        unit=unit,
        instrument=instrument,
    )
    _refuse_impossible(fit)
    slope = add(
        by,
        FloorSlope(
            id=by.key, floor=floor, bay=bay, instrument=instrument, why=why, engine_version=VERSION,
            gx=fit.gx, gy=fit.gy, u_gx=fit.u_gx, u_gy=fit.u_gy, gxgy_covariance=fit.gxgy_covariance,
        ),
    )  # fmt: skip
    FloorReading.objects.bulk_create(
        FloorReading(
            **by.stamp(), slope=slope, place=place, text=reading.text, unit=unit,
            slope_deg=fit.slopes_deg[place], rises_toward_deg=reading.rises_toward_deg,
        )
        for place, reading in enumerate(readings)
    )  # fmt: skip
    return slope


def _refuse_steep(readings: list[TypedSlope], unit: str) -> None:
    steepest = max(readings, key=lambda reading: reading.amount)
    amount = min(steepest.amount, 2 * float(slope_in(STEEPEST_DEG, unit)))  # beyond 90 degrees nothing slopes
    if float(slope_deg(amount, unit)) > STEEPEST_DEG:
        raise ActionRefused(
            f"{steepest.text} is steeper than {STEEPEST_DEG} degrees. Check the number and what the level shows."
        )


def _refuse_impossible(fit: SlopeFit) -> None:
    if not fit.is_a_plane:
        raise ActionRefused("Read the slope in two directions at least: front to back, and left to right.")
    if hypot(fit.gx, fit.gy) > STEEPEST:
        raise ActionRefused(
            f"Together these say that the floor is steeper than {STEEPEST_DEG} degrees. Check each number, and toward "
            "where the floor rises."
        )


def _refuse_same_name(others: Any, what: str) -> None:
    if others.filter(archived_at__isnull=True).exists():
        raise ActionRefused(f"Another {what} has this name. Choose a name that tells them apart.", field="name")
