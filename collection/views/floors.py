"""Pages about floors, bays and the slopes read off them."""

from typing import Any
from uuid import UUID

from django.forms.models import model_to_dict
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from collection import access
from collection.actions import floors as actions
from collection.actions.floors import TypedSlope
from collection.forms import floors as forms
from collection.models import Bay, Floor, FloorSlope
from collection.queries import floors as queries
from collection.queries import instruments as instrument_queries
from collection.views.doors import acted, author, member_view, page, posted


@member_view("GET", "POST", write=True)
def floor_new(request: Any, pk: UUID) -> HttpResponse:
    """Add a floor to a site."""
    site = access.site_for(request.member, pk)
    form = forms.FloorForm(posted(request))
    floor = acted(form, lambda: actions.create_floor(by=author(request, form), site=site, **form.values))
    if floor:
        return redirect("floor", pk=floor.pk)
    return page(request, "floors/form.html", {"form": form, "site": site})


@member_view("GET")
def floor_detail(request: Any, pk: UUID) -> HttpResponse:
    """One floor to scale, with its bays, its machines and its fall."""
    floor = access.floor_for(request.member, pk)
    bays = queries.bays_in_order(member=request.member, floor=floor)
    own = queries.slopes_by_bay(bays=bays)
    slopes = list(queries.slopes_of(floor=floor)[:5])
    context = {
        "floor": floor,
        "bays": [(bay, own.get(bay.pk)) for bay in bays],
        "slopes": slopes,
        "fall": (slopes[0].gx, slopes[0].gy) if slopes else None,
        "shapes": [_shape(bay, own.get(bay.pk)) for bay in bays],
        "caption": floor.name,
    }
    return page(request, "floors/detail.html", context)


@member_view("GET", "POST", write=True)
def floor_edit(request: Any, pk: UUID) -> HttpResponse:
    """Change a floor's name, surface or size."""
    floor = access.floor_for(request.member, pk)
    form = forms.FloorEditForm(posted(request), initial=_typed(floor))
    saved = acted(
        form,
        lambda: actions.change_floor(
            by=author(request, form), floor=floor, version=form.cleaned_data["version"], **form.values
        ),
    )
    if saved:
        return redirect("floor", pk=floor.pk)
    return page(request, "floors/form.html", {"form": form, "site": floor.site, "floor": floor})


@member_view("GET", "POST", write=True)
def bay_new(request: Any, pk: UUID) -> HttpResponse:
    """Add a bay to a floor."""
    floor = access.floor_for(request.member, pk)
    place = {"x_mm": f"{floor.width_mm / 2:g}", "y_mm": f"{floor.depth_mm / 2:g}"}
    form = forms.BayForm(posted(request), initial=place, **_size(floor))
    bay = acted(form, lambda: actions.create_bay(by=author(request, form), floor=floor, **form.values))
    if bay:
        return redirect("bay", pk=bay.pk)
    return page(request, "floors/bay_form.html", {"form": form, "floor": floor})


@member_view("GET")
def bay_detail(request: Any, pk: UUID) -> HttpResponse:
    """One bay: who stands there, what the floor does to a machine there, and where it lies among the others."""
    bay = access.bay_for(request.member, pk)
    bays = queries.bays_in_order(member=request.member, floor=bay.floor)
    own = queries.slopes_by_bay(bays=[bay, *bays])
    slope = own.get(bay.pk)
    context = {
        "bay": bay,
        "floor": bay.floor,
        "slope": slope,
        "under": queries.gradient_under(bay=bay, slope=slope),
        "fall": (slope.gx, slope.gy) if slope else None,
        "slopes": list(queries.slopes_of(floor=bay.floor, bay=bay)[:5]),
        "machines": list(queries.machines_on(member=request.member, bay=bay)),
        "shapes": [_shape(each, own.get(each.pk), here=bay) for each in bays],
        "caption": bay.floor.name,
    }
    return page(request, "floors/bay.html", context)


@member_view("GET", "POST", write=True)
def bay_edit(request: Any, pk: UUID) -> HttpResponse:
    """Change a bay's name, place, heading or reach."""
    bay = access.bay_for(request.member, pk)
    form = forms.BayEditForm(posted(request), initial=_typed(bay), **_size(bay.floor))
    saved = acted(
        form,
        lambda: actions.change_bay(
            by=author(request, form), bay=bay, version=form.cleaned_data["version"], **form.values
        ),
    )
    if saved:
        return redirect("bay", pk=bay.pk)
    return page(request, "floors/bay_form.html", {"form": form, "floor": bay.floor, "bay": bay})


@member_view("GET", "POST", write=True)
def floor_slope(request: Any, pk: UUID) -> HttpResponse:
    """Record the slope of a whole floor."""
    return _slope_page(request, access.floor_for(request.member, pk), None)


@member_view("GET", "POST", write=True)
def bay_slope(request: Any, pk: UUID) -> HttpResponse:
    """Record the slope of one bay."""
    bay = access.bay_for(request.member, pk)
    return _slope_page(request, bay.floor, bay)


def _slope_page(request: Any, floor: Floor, bay: Bay | None) -> HttpResponse:
    instruments = list(instrument_queries.levels_of(member=request.member))
    form = forms.SlopeForm(posted(request), instruments=[(str(each.pk), each.name) for each in instruments])
    rows: Any = forms.SlopeReadings(posted(request), initial=forms.TWO_DIRECTIONS, prefix="readings")
    context = {"form": form, "rows": rows, "floor": floor, "bay": bay}
    if "add" in request.POST:
        return page(request, "floors/slope_form.html", {**context, "rows": _one_more(rows)})
    if rows.is_bound and not rows.is_valid():
        form.add_error(None, "Check the readings below.")
    chosen = {str(each.pk): each for each in instruments}
    saved = acted(
        form,
        lambda: actions.record_slope(
            by=author(request, form),
            floor=floor,
            bay=bay,
            instrument=chosen.get(form.cleaned_data["instrument"]),
            unit=form.cleaned_data["unit"],
            readings=[_typed_slope(row) for row in rows.filled],
            why=form.cleaned_data["why"],
        ),
    )
    if saved:
        return redirect("bay", pk=bay.pk) if bay else redirect("floor", pk=floor.pk)
    return page(request, "floors/slope_form.html", context)


def _shape(bay: Any, slope: FloorSlope | None, here: Bay | None = None) -> dict[str, Any]:
    """Return what the floor plan draws of a bay: its place, its own slope, and the machine that stands there."""
    shape = {
        "label": bay.name,
        "x_mm": bay.x_mm,
        "y_mm": bay.y_mm,
        "heading_deg": bay.heading_deg,
        "url": "" if bay == here else reverse("bay", args=[bay.pk]),
        "slope": (slope.gx, slope.gy) if slope and slope.bay_id else None,
        "here": bay == here,
    }
    if not bay.standing_here:
        return shape
    machine = bay.standing_here[0]
    body = {"body_width_mm": machine.track_front_mm, "body_depth_mm": machine.base_mm}
    return {**shape, **body, "title": machine.title, "verdict": machine.status.verdict}


def _typed_slope(row: forms.SlopeReadingForm) -> TypedSlope:
    return TypedSlope(
        text=str(row["amount"].value()).strip(),
        amount=row.cleaned_data["amount"],
        rises_toward_deg=row.cleaned_data["rises_toward"],
    )


def _one_more(rows: Any) -> Any:
    typed = [{"amount": row["amount"].value(), "rises_toward": row["rises_toward"].value()} for row in rows.forms]
    initial = [*typed, {"rises_toward": "0"}][: forms.MOST_READINGS]
    return forms.SlopeReadings(initial=initial, prefix="readings")


def _typed(row: Any) -> dict[str, Any]:
    """Return a row's values as a person would type them."""
    return {name: f"{value:.10g}" if isinstance(value, float) else value for name, value in model_to_dict(row).items()}


def _size(floor: Floor) -> dict[str, float]:
    return {"floor_width_mm": floor.width_mm, "floor_depth_mm": floor.depth_mm}
