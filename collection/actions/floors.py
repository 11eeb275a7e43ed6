"""Writes about floors, bays and the slopes read off them."""

from dataclasses import dataclass, replace
from math import hypot, radians, tan
from typing import Any
from uuid import uuid5

from django.db import transaction

from collection.access import visible
from collection.actions.record import ActionRefused, Author, add, already_done, change
from collection.actions.sites import create_site
from collection.actions.status import refresh_status
from collection.arrays.floors import SlopeFit, fit_slope
from collection.models import Bay, Floor, FloorReading, FloorSlope, Instrument, Machine, Site
from leveling import VERSION
from leveling.units import slope_deg, slope_in

STEEPEST_DEG = 15
STEEPEST = tan(radians(STEEPEST_DEG)) + 1e-9


#: Where bays made in one step stand on the drawing: in rows from the back wall. Common practice, no source.
FIRST_FLOOR = "Main floor"
_FROM_WALL_MM, _APART_MM, _ROWS_APART_MM = 1000.0, 900.0, 2200.0


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
    _refuse_same_name(_floors_named(by, site, fields["name"]), "floor of this site")
    return add(by, Floor(id=by.key, site=site, **fields))


@transaction.atomic
def change_floor(*, by: Author, floor: Floor, version: int, **fields: Any) -> Floor:
    """Change a floor. Refuses a stale edit, a taken name, and a plan too small for its bays."""
    _refuse_same_name(_floors_named(by, floor.site, fields["name"]).exclude(pk=floor.pk), "floor of this site")
    bays = Bay.objects.for_org(by.member.organization_id).live().filter(floor=floor)
    for side, axis, words in (("width_mm", "x_mm", "left wall"), ("depth_mm", "y_mm", "front wall")):
        outside = bays.filter(**{f"{axis}__gt": fields[side]}).first()
        if outside:
            raise ActionRefused(f"{outside.name} lies further from the {words}. Move it first.", field=side)
    surface = floor.surface
    changed = change(by, floor, version=version, **fields)
    if changed.surface != surface:  # machines drift otherwise there
        for machine in Machine.objects.for_org(by.member.organization_id).live().filter(bay__floor=floor):
            refresh_status(machine=machine)
    return changed


@transaction.atomic
def create_bay(*, by: Author, floor: Floor, **fields: Any) -> Bay:
    """Add a bay to a floor. Refuses a name that another bay of the floor has."""
    if found := already_done(Bay, by):
        return found
    _refuse_same_name(_bays_named(by, floor, fields["name"]), "bay of this floor")
    return add(by, Bay(id=by.key, floor=floor, **fields))


@transaction.atomic
def create_bay_at_site(*, by: Author, site_name: str, time_zone: str, surface: str) -> Bay:
    """Add the next bay at the site of this name; what is missing of site and floor is made with it.

    Zone and surface are those of a new site and a new floor. Refuses a site with several floors.
    """
    if found := already_done(Bay, by):
        return found
    site = _site_named(by, site_name) or create_site(
        by=replace(by, key=uuid5(by.key, "site")), name=site_name, address="", time_zone=time_zone, notes=""
    )
    floors = list(visible(by.member, Floor).filter(site=site, archived_at__isnull=True)[:2])
    if len(floors) > 1:
        raise ActionRefused(
            f"{site.name} has more than one floor. Add a bay on the page of the right one, then choose it here.",
            field="site_name",
        )
    floor = floors[0] if floors else create_floor(
        by=replace(by, key=uuid5(by.key, "floor")), site=site, name=FIRST_FLOOR, surface=surface
    )  # fmt: skip
    names = set(visible(by.member, Bay).filter(floor=floor, archived_at__isnull=True).values_list("name", flat=True))
    name = next(name for number in range(1, len(names) + 2) if (name := f"Bay {number}") not in names)
    return create_bay(by=by, floor=floor, name=name, **_next_spot(floor, len(names)))


@transaction.atomic
def change_bay(*, by: Author, bay: Bay, version: int, **fields: Any) -> Bay:
    """Change a bay. Refuses a stale edit and a name that another bay of the floor has."""
    _refuse_same_name(_bays_named(by, bay.floor, fields["name"]).exclude(pk=bay.pk), "bay of this floor")
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
    slope = FloorSlope(
        id=by.key, floor=floor, bay=bay, instrument=instrument, why=why, engine_version=VERSION,
        gx=fit.gx, gy=fit.gy, u_gx=fit.u_gx, u_gy=fit.u_gy, gxgy_covariance=fit.gxgy_covariance,
    )  # fmt: skip
    parts = [
        FloorReading(
            place=place, text=reading.text, unit=unit, slope_deg=fit.slopes_deg[place],
            rises_toward_deg=reading.rises_toward_deg,
        )
        for place, reading in enumerate(readings)
    ]  # fmt: skip
    return add(replace(by, why=why), slope, readings=parts)


def _site_named(by: Author, name: str) -> Site | None:
    """Return the site that people mean by a name: the same letters, else the same but for capitals.

    It is held until the end of the transaction, so that two machines never take the same next bay.
    """
    rows = visible(by.member, Site).filter(name__iexact=name, archived_at__isnull=True).order_by("name")
    alike = list(rows.select_for_update(of=("self",), no_key=True))
    return next((site for site in alike if site.name == name), alike[0] if alike else None)


def _next_spot(floor: Floor, taken: int) -> dict[str, float]:
    """Return where one more bay stands on the drawing, its rear toward the back wall; people move it there."""
    in_a_row = max(1, int((floor.width_mm - 2 * _FROM_WALL_MM) // _APART_MM) + 1)
    row, place = divmod(taken, in_a_row)
    return {
        "x_mm": min(_FROM_WALL_MM + _APART_MM * place, floor.width_mm),
        "y_mm": max(floor.depth_mm - _FROM_WALL_MM - _ROWS_APART_MM * row, 0.0),
    }


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


def _floors_named(by: Author, site: Site, name: str) -> Any:
    return Floor.objects.for_org(by.member.organization_id).live().filter(site=site, name=name)


def _bays_named(by: Author, floor: Floor, name: str) -> Any:
    return Bay.objects.for_org(by.member.organization_id).live().filter(floor=floor, name=name)


def _refuse_same_name(others: Any, what: str) -> None:
    if others.exists():
        raise ActionRefused(f"Another {what} has this name. Choose a name that tells them apart.", field="name")
