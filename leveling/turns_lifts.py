"""The leg plan as a person works: which end to lift first, and where the machine stands after each lift.

      lift 1 -----> set down, a check reading if wanted -----> lift 2 -----> read, and only now judge

Two lifts leave a gap in between. The end goes first that leaves the smaller one; if alike the rear goes first,
the heavier end, while the back is fresh (common practice, no source). On dollies one lift frees all four feet.
"""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from leveling.checks import FloatArray, finite
from leveling.contact import LegArray, light_foot
from leveling.errors import BadInput
from leveling.frame import null_vector, plane_response
from leveling.turns import LegPlan, PlanRequest
from leveling.turns_lattice import IntArray

#: Gaps that differ by less are alike.
_ALIKE_MM = 1e-9


class Lift(IntEnum):
    """Which feet one lift frees."""

    NONE = 0
    FRONT = 1
    REAR = 2
    ALL = 3


@dataclass(frozen=True, eq=False)
class Lifts:
    """A leg plan in the order of lifting, each field with shape (..., 2), for the first and the second lift.

    ``lift`` is a ``Lift`` [code], NONE where there is none. ``steps``, shape (..., 2, 4) [step, out positive],
    is what to turn in it, legs FL, FR, RL, RR. After it, if all four feet bore, the playfield would read
    ``pitch_deg`` and ``roll_deg`` [degree] with ``twist_mm`` [mm]. Until they do, ``light`` is the leg number
    of the foot that floats, or ``contact.ALL_BEAR``, with ``gap_mm`` [mm] under it.
    """

    lift: NDArray[np.int8]
    steps: IntArray
    pitch_deg: FloatArray
    roll_deg: FloatArray
    twist_mm: FloatArray
    light: LegArray
    gap_mm: FloatArray


@dataclass(frozen=True, eq=False)
class PerTurn:
    """What one turn out does to the cabinet, each field with the batch shape (...) [degree].

    ``pitch_rear_pair_deg`` for both rear levelers, ``pitch_rear_leg_deg`` for one; ``roll_front_leg_deg`` and
    ``roll_rear_leg_deg`` for one leg on the right, with all feet bearing.
    """

    pitch_rear_pair_deg: FloatArray
    pitch_rear_leg_deg: FloatArray
    roll_front_leg_deg: FloatArray
    roll_rear_leg_deg: FloatArray


def after_lifts(request: PlanRequest, plan: LegPlan) -> Lifts:
    """Return a leg plan's lifts in the order that leaves the smallest gap in between, and what each leads to.

    Parameters
    ----------
    request : PlanRequest, shape (...) [mm, degree, turn]
        The machines.
    plan : LegPlan, shape (...) [step]
        What ``plan_legs`` answered to this request.

    Returns
    -------
    Lifts, shape (..., 2) [step, degree, mm]
        First and second lift; where there is no second one, it repeats the reading of the first.

    Raises
    ------
    BadInput
        If the plan has another shape than the request.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> from leveling.turns import plan_legs
    >>> request = PlanRequest(
    ...     feet_mm=foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300),
    ...     pitch_deg=6.1, roll_deg=0.4, twist_mm=0.3, want_pitch_deg=6.5,
    ...     pitch_tol_deg=0.2, roll_tol_deg=0.15, twist_tol_mm=0.125, lead_mm=1.5875,
    ... )
    >>> lifts = after_lifts(request, plan_legs(request))
    >>> [Lift(code).name for code in lifts.lift], lifts.gap_mm.tolist()  # doctest: +NUMBER
    (['REAR', 'FRONT'], [3.166, 0.009])

    References
    ----------
    Gap under a floating foot, derived in DEVELOPERS.md, Geometry.
    """
    if plan.steps.shape[:-1] != request.shape:
        raise BadInput("plan", f"has shape {plan.steps.shape[:-1]}", f"Give the plan of this request, {request.shape}")
    front, rear = plan.steps * np.array([1, 1, 0, 0]), plan.steps * np.array([0, 0, 1, 1])
    in_front, in_rear = front.any(axis=-1), rear.any(axis=-1)
    twist_front, twist_rear = (np.abs(_reading(request, steps)[2]) for steps in (front, rear))
    two = in_front & in_rear & ~np.asarray(request.on_dollies)
    front_first = twist_front < twist_rear - _ALIKE_MM
    first = np.where(two[..., None], np.where(front_first[..., None], front, rear), plan.steps)
    steps = np.stack([first, plan.steps - first], axis=-2)
    pitch_deg, roll_deg, twist_mm = _reading(request, np.cumsum(steps, axis=-2))
    feet_mm = np.asarray(request.feet_mm)[..., None, :, :]
    light = light_foot(np.where(np.abs(twist_mm) < _ALIKE_MM, 0.0, twist_mm), feet_mm=feet_mm)
    share = np.take_along_axis(np.abs(null_vector(feet_mm)), np.maximum(light, 0)[..., None], axis=-1)[..., 0]
    return Lifts(
        lift=_lift_codes(steps, np.asarray(request.on_dollies)),
        steps=steps,
        pitch_deg=pitch_deg,
        roll_deg=roll_deg,
        twist_mm=twist_mm,
        light=light,
        gap_mm=np.where(light < 0, 0.0, np.abs(twist_mm) / share),
    )


def degrees_per_turn(
    *, feet_mm: ArrayLike, lead_mm: ArrayLike, pitch_deg: ArrayLike = 0.0, roll_deg: ArrayLike = 0.0
) -> PerTurn:
    """Return the degrees that one turn out changes at a given angle of the cabinet.

    Parameters
    ----------
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of FL, FR, RL, RR, from ``frame.foot_positions``.
    lead_mm : array_like, shape (...) [mm per turn]
        Height per full turn, above 0.
    pitch_deg, roll_deg : array_like, shape (...) [degree]
        The cabinet's angles before the turn, within 45.

    Returns
    -------
    PerTurn, each shape (...) [degree]
        Change of pitch and roll with all feet bearing.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the feet are not four with no three in line.

    Examples
    --------
    >>> feet = [[-280, 0], [280, 0], [-280, 1300], [280, 1300]]
    >>> turn = degrees_per_turn(feet_mm=feet, lead_mm=1.5875, pitch_deg=[0.0, 6.5])
    >>> turn.pitch_rear_pair_deg.tolist()  # doctest: +NUMBER
    [0.0700, 0.0691]

    References
    ----------
    Change of a gradient per mm at a foot, derived in DEVELOPERS.md, Geometry.
    """
    lead = finite("lead_mm", lead_mm, low=0, above=True, unit="mm per turn")
    pitch = finite("pitch_deg", pitch_deg, low=-45, high=45, unit="degrees")
    roll = finite("roll_deg", roll_deg, low=-45, high=45, unit="degrees")
    response = plane_response(feet_mm)
    gx, gy = response[..., 0, :], response[..., 1, :]
    return PerTurn(
        pitch_rear_pair_deg=_turned(pitch, (gy[..., 2] + gy[..., 3]) * lead),
        pitch_rear_leg_deg=_turned(pitch, gy[..., 3] * lead),
        roll_front_leg_deg=_turned(roll, gx[..., 1] * lead),
        roll_rear_leg_deg=_turned(roll, gx[..., 3] * lead),
    )


def _turned(angle_deg: FloatArray, gradient: FloatArray) -> FloatArray:
    return np.degrees(np.arctan(np.tan(np.radians(angle_deg)) + gradient)) - angle_deg


def _reading(request: PlanRequest, steps: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Pitch and roll of the playfield and the twist after steps, shape (..., 4) or (..., lifts, 4)."""
    more = tuple(range(len(request.shape), steps.ndim - 1))
    feet = np.asarray(request.feet_mm)
    response, null = np.expand_dims(plane_response(feet), more), np.expand_dims(null_vector(feet), more)

    def column(name: str) -> FloatArray:
        return np.expand_dims(np.asarray(getattr(request, name), dtype=np.float64), more)

    up_mm = steps * (column("lead_mm") * column("step_turns"))[..., None]
    angles = [
        column(f"{name}_deg") + _turned(column(f"{name}_deg") - column(f"{name}_offset_deg"), (change * up_mm).sum(-1))
        for name, change in (("pitch", response[..., 1, :]), ("roll", response[..., 0, :]))
    ]
    return angles[0], angles[1], column("twist_mm") + (null * up_mm).sum(axis=-1)


def _lift_codes(steps: IntArray, on_dollies: NDArray[np.bool_]) -> NDArray[np.int8]:
    front, rear = (steps[..., legs].any(axis=-1) for legs in (slice(0, 2), slice(2, 4)))
    codes = np.where(front, Lift.FRONT, np.where(rear, Lift.REAR, Lift.NONE))
    return np.where(on_dollies[..., None] & (front | rear), Lift.ALL, codes).astype(np.int8)
