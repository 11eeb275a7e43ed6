"""Floors: typed slopes to a plane, stored slopes to the floor under a bay."""

from dataclasses import dataclass

import numpy as np

from collection import presets
from collection.models import Bay, FloorSlope, Instrument, Machine
from leveling.floors import BayFloor, Fall, FloorPlane, bay_floor, fall, plane_from_slopes
from leveling.frame import foot_positions
from leveling.instruments import standard_from_limit
from leveling.units import slope_deg


@dataclass(frozen=True)
class SlopeFit:
    """A plane from typed slopes: gradients toward the right and the back wall [mm/mm], how sure, and each slope."""

    gx: float
    gy: float
    u_gx: float
    u_gy: float
    gxgy_covariance: float
    slopes_deg: list[float]
    is_a_plane: bool


def fit_slope(
    *, amounts: list[float], rises_toward_deg: list[float], unit: str, instrument: Instrument | None
) -> SlopeFit:
    """Return the plane through typed slopes, each positive toward the direction where the floor rises."""
    slopes = slope_deg(amounts, unit)
    plane = plane_from_slopes(
        slope_deg=np.clip(slopes, -45, 45), direction_deg=rises_toward_deg, u_deg=_u_slope_deg(instrument)
    )
    variances = np.diagonal(plane.covariance)
    return SlopeFit(
        gx=float(plane.gradient[0]),
        gy=float(plane.gradient[1]),
        u_gx=float(np.sqrt(variances[0])),
        u_gy=float(np.sqrt(variances[1])),
        gxgy_covariance=float(plane.covariance[0, 1]),
        slopes_deg=slopes.tolist(),
        is_a_plane=int(plane.outcome) == 0,
    )


def fall_of(slope: FloorSlope) -> Fall:
    """Return how steeply and toward where on the plan a stored slope falls."""
    return fall(_plane(slope))


def gradient_at(*, slope: FloorSlope, bay: Bay) -> tuple[float, float]:
    """Return the floor's gradient as a machine on this bay has it: right side higher, rear higher [mm/mm]."""
    body = presets.BODIES["standard"]
    feet = foot_positions(track_front_mm=body.track_front_mm, track_rear_mm=body.track_rear_mm, base_mm=body.base_mm)
    here = bay_floor(_plane(slope), heading_deg=bay.heading_deg, feet_mm=feet)
    return float(here.gx), float(here.gy)


def floor_under(*, slope: FloorSlope, bay: Bay, machine: Machine) -> BayFloor:
    """Return the floor in the machine's own frame, with the heights under its four feet."""
    feet = foot_positions(
        track_front_mm=machine.track_front_mm, track_rear_mm=machine.track_rear_mm, base_mm=machine.base_mm
    )
    return bay_floor(_plane(slope), heading_deg=bay.heading_deg, feet_mm=feet)


def _plane(slope: FloorSlope) -> FloorPlane:
    return FloorPlane(
        gradient=np.array([slope.gx, slope.gy]),
        covariance=np.array([[slope.u_gx**2, slope.gxgy_covariance], [slope.gxgy_covariance, slope.u_gy**2]]),
        misfit=np.array(0.0),
        outcome=np.array(0),
    )


def _u_slope_deg(instrument: Instrument | None) -> float:
    """Standard uncertainty of one slope read off a floor: resolution, stated accuracy, laying it down again."""
    resolution = instrument.resolution_deg if instrument else presets.RESOLUTION_DEG
    accuracy = instrument.accuracy_deg if instrument else presets.ACCURACY_DEG
    repeat = instrument.repeat_deg if instrument else presets.REPEAT_DEG
    limits = standard_from_limit([resolution / 2, accuracy], "rectangular")
    return float(np.sqrt((limits**2).sum() + repeat**2))
