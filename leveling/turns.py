"""The leg plan: the whole steps to turn at each leveler, the fewest that bring the machine into aim.

      now ---- in spec already -----> turn nothing
       |
       +------ fewest lifts, then legs, then class, then steps, then nearest -----> plan
       |
       +------ nothing fits -----> the nearest that can be reached, what stops it, what would help

The aim band is a third of the tolerance, but at least one unit, the most that one step of one leg changes; a
plan never ends outside the tolerance. The class is ceil(3 max|deviation / aim|), 0 to 3, so that plans do not
park at the edge of the aim. How the optimum is found: ``turns_lattice`` and ``turns_search``.
"""

from dataclasses import dataclass, replace
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from leveling.checks import FloatArray
from leveling.turns_lattice import EDGE, BoolArray, IntArray, Lattice, Points
from leveling.turns_limits import Limit, Remedy, Stops, nearest_steps, what_stops
from leveling.turns_request import CLASSES, TRAVEL_MM, PlanRequest
from leveling.turns_search import fewest_steps

__all__ = ["TRAVEL_MM", "LegPlan", "Limit", "Outcome", "PlanRequest", "Remedy", "plan_legs"]

_LEVELS = np.arange(CLASSES + 1) / CLASSES


class Outcome(IntEnum):
    """What the planner says of a row."""

    ALREADY_IN_SPEC = 0
    PLAN = 1
    NOTHING_FITS = 2
    EXPOSURE_BEYOND_TRAVEL = 3


@dataclass(frozen=True, eq=False)
class LegPlan:
    """What to turn and what it does, each field with the batch shape (...), legs FL, FR, RL, RR on a last axis.

    ``outcome`` is an ``Outcome`` [code]. ``steps`` and ``turns``, shape (..., 4) [step, turn], out positive;
    ``lifts``, ``legs`` and ``total_steps`` [count] are what that costs. ``pitch_deg``, ``roll_deg`` [degree]
    and ``twist_mm`` [mm] are what the playfield should read afterwards with all feet bearing,
    ``exposure_after_mm``, shape (..., 4) [mm], the exposures, 0 where not known. ``in_tolerance`` [yes or no]
    says whether that reading is in spec, ``worst_share`` [share of aim] is max|deviation / aim| and
    ``aim_class`` [class] its class; ``pitch_aim_deg``, ``roll_aim_deg`` [degree] and ``twist_aim_mm`` [mm] are
    the aims. ``travel_claimed`` [yes or no] is false where a leg is turned whose exposure is not known.

    Where nothing fits, all this is the nearest that can be reached: least max|deviation / aim|, then in the
    same order. ``limit``, a ``Limit`` [code], tells what stops the plan, ``remedy``, a ``Remedy`` [code],
    what would help, and ``pad_mm``, shape (..., 4) [mm], the pads under the feet, or the travel, that lack.
    """

    outcome: NDArray[np.int8]
    steps: IntArray
    turns: FloatArray
    lifts: IntArray
    legs: IntArray
    total_steps: IntArray
    pitch_deg: FloatArray
    roll_deg: FloatArray
    twist_mm: FloatArray
    exposure_after_mm: FloatArray
    in_tolerance: BoolArray
    worst_share: FloatArray
    aim_class: IntArray
    pitch_aim_deg: FloatArray
    roll_aim_deg: FloatArray
    twist_aim_mm: FloatArray
    travel_claimed: BoolArray
    limit: NDArray[np.int8]
    remedy: NDArray[np.int8]
    pad_mm: FloatArray


def plan_legs(request: PlanRequest) -> LegPlan:
    """Return the leg plan of every machine: proven to be the cheapest that brings it into aim.

    Parameters
    ----------
    request : PlanRequest, shape (...) [mm, degree, turn]
        The machines.

    Returns
    -------
    LegPlan, shape (...) [step, turn, degree, mm]
        Steps for each leg and what they do; or, with its own outcome, that nothing needs turning, that nothing
        fits, or that a known exposure is not within the travel.

    Raises
    ------
    BadInput
        Not here: the request has checked itself.

    Notes
    -----
    Order of importance: lifts, legs, class, steps in total, then the least sum of squared deviation / aim, then
    the fewest steps at the rear, the heavier end. Deviations within 1e-9 of the aim from an edge are inside.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> request = PlanRequest(
    ...     feet_mm=foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300),
    ...     pitch_deg=6.0, roll_deg=0.0, twist_mm=0.0, want_pitch_deg=6.5,
    ...     pitch_tol_deg=0.2, roll_tol_deg=0.15, twist_tol_mm=0.125, lead_mm=1.5875,
    ... )
    >>> plan = plan_legs(request)
    >>> plan.turns.tolist(), int(plan.lifts), float(plan.pitch_deg)  # doctest: +NUMBER
    ([-7.0, -7.0, 0.0, 0.0], 1, 6.484)

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    whole, reachable, beyond = request.lattice(), request.reachable(), request.beyond_travel()
    legs_reachable = np.repeat(reachable, 2, axis=1)
    lattice = replace(whole, low=whole.low * legs_reachable, high=whole.high * legs_reachable)

    steps = np.zeros(whole.low.shape, dtype=np.int64)
    in_spec = _in_tolerance(lattice, _shares(lattice, steps))
    asked = np.flatnonzero(~beyond & (~in_spec | request.flags("even_if_in_spec")))
    best = fewest_steps(lattice.take(asked), np.repeat(_LEVELS[:, None], asked.size, axis=1))
    steps[asked] = best.steps
    missed = asked[~best.found]
    steps[missed] = nearest_steps(lattice.take(missed))
    stops = what_stops(whole.take(missed), reachable=reachable[missed], step_mm=request.step_mm()[missed])

    outcome = np.where(steps.any(axis=1), Outcome.PLAN, Outcome.ALREADY_IN_SPEC).astype(np.int8)
    outcome[missed] = Outcome.NOTHING_FITS
    outcome[beyond] = Outcome.EXPOSURE_BEYOND_TRAVEL
    flat = {
        "outcome": outcome,
        **_cost(lattice, steps),
        **_reading(request, lattice, steps),
        **_travel(request, steps),
        **_spread(stops, missed, outcome.size),
    }
    shape = request.shape
    return LegPlan(**{name: value.reshape(shape + value.shape[1:]) for name, value in flat.items()})


def _shares(lattice: Lattice, steps: IntArray) -> FloatArray:
    """Return |deviation| / aim in pitch, roll and twist, shape (rows, 3)."""
    fl, fr, rl, rr = steps.T
    row = np.arange(len(steps))
    at = Points(row=row, a=fr - fl, b=rr - rl)
    pitch = lattice.pitch_ratio(row, rl + rr - fl - fr)
    return np.stack([pitch, lattice.roll_ratio(at), lattice.twist_ratio(at)], axis=1)


def _in_tolerance(lattice: Lattice, shares: FloatArray) -> BoolArray:
    return (shares <= lattice.cap + EDGE).all(axis=1)


def _cost(lattice: Lattice, steps: IntArray) -> dict[str, Any]:
    turned = steps != 0
    front, rear = turned[:, :2].any(axis=1), turned[:, 2:].any(axis=1)
    worst = _shares(lattice, steps).max(axis=1)
    return {
        "steps": steps,
        "lifts": np.where(lattice.one_lift, front | rear, front.astype(np.int64) + rear),
        "legs": turned.sum(axis=1),
        "total_steps": np.abs(steps).sum(axis=1),
        "worst_share": worst,
        "aim_class": np.ceil(CLASSES * np.maximum(worst - EDGE, 0)).astype(np.int64),
    }


def _reading(request: PlanRequest, lattice: Lattice, steps: IntArray) -> dict[str, Any]:
    """What the playfield should read afterwards, and the aims."""
    fl, fr, rl, rr = steps.T
    a, b = fr - fl, rr - rl
    gy = lattice.gy + lattice.gy_step * (rl + rr - fl - fr)
    gx = lattice.gx + lattice.gx_front * a + lattice.gx_rear * b
    return {
        "pitch_deg": np.degrees(np.arctan(gy)) + request.numbers("pitch_offset_deg"),
        "roll_deg": np.degrees(np.arctan(gx)) + request.numbers("roll_offset_deg"),
        "twist_mm": lattice.twist_mm - lattice.twist_front_mm * a + lattice.twist_rear_mm * b,
        "in_tolerance": _in_tolerance(lattice, _shares(lattice, steps)),
        "pitch_aim_deg": lattice.aim[:, 0],
        "roll_aim_deg": lattice.aim[:, 1],
        "twist_aim_mm": lattice.aim[:, 2],
    }


def _travel(request: PlanRequest, steps: IntArray) -> dict[str, Any]:
    known = request.flags("exposure_known")
    after = request.numbers("exposure_mm") + steps * request.step_mm()[:, None]
    return {
        "turns": steps * request.numbers("step_turns")[:, None],
        "exposure_after_mm": np.where(known, after, 0.0),
        "travel_claimed": (known | (steps == 0)).all(axis=1),
    }


def _spread(stops: Stops, missed: IntArray, rows: int) -> dict[str, Any]:
    """Put what stops the missed rows beside the rows that nothing stops."""
    limit, remedy = np.zeros(rows, dtype=np.int8), np.zeros(rows, dtype=np.int8)
    pad_mm = np.zeros((rows, 4))
    limit[missed], remedy[missed], pad_mm[missed] = stops.limit, stops.remedy, stops.pad_mm
    return {"limit": limit, "remedy": remedy, "pad_mm": pad_mm}
