"""What a leg plan is asked from: the machine as it stands, what is wanted, the levelers, the work; in whole steps.

pitch read - offset = cabinet's pitch         gy = tan(cabinet's pitch)
wanted     - offset = cabinet's wanted pitch  the band around it is exact in gradients
"""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from leveling.checks import FloatArray, finite
from leveling.errors import BadInput
from leveling.frame import LEGS_MEANING, null_vector, plane_response
from leveling.turns_lattice import BoolArray, Lattice, Range

#: Usable travel of a 2 in stem: it ends one thread diameter before the nut. Common practice, no source.
TRAVEL_MM = 41.0

#: No leveler has a longer travel: a leg whose exposure nobody knows may go this far either way.
LONGEST_MM = 200.0
#: The aim is a third of the tolerance, and is cut into as many classes.
CLASSES = 3

_CLOSEST_MM, _FARTHEST_MM = 100.0, 3000.0
#: A travel reached to the last hair is not beyond it, and feet a hair out of line are in line.
_HAIR_MM = 1e-6

#: Lowest, highest, unit. The limits keep the lattice of every problem small enough to hold.
_RANGES = {
    "feet_mm": (-3000.0, 3000.0, "mm"),
    "pitch_deg": (-30.0, 30.0, "degrees"),
    "roll_deg": (-30.0, 30.0, "degrees"),
    "twist_mm": (-100.0, 100.0, "mm"),
    "pitch_offset_deg": (-15.0, 15.0, "degrees"),
    "roll_offset_deg": (-15.0, 15.0, "degrees"),
    "want_pitch_deg": (-15.0, 15.0, "degrees"),
    "pitch_tol_deg": (0.001, 3.0, "degrees"),
    "roll_tol_deg": (0.001, 3.0, "degrees"),
    "twist_tol_mm": (0.001, 3.0, "mm"),
    "lead_mm": (0.5, 6.0, "mm per turn"),
    "step_turns": (1 / 8, 1.0, "turns"),
    "exposure_mm": (-300.0, 300.0, "mm"),
    "travel_mm": (0.0, LONGEST_MM, "mm"),
}
#: Last axes of what is told for each leg: FL, FR, RL, RR.
_LAST_AXES = {"feet_mm": (4, 2), "exposure_mm": (4,), "exposure_known": (4,), "travel_mm": (4,)}


@dataclass(frozen=True, eq=False, kw_only=True)
class PlanRequest:
    """Machines that want a leg plan, each field with the batch shape (...), legs FL, FR, RL, RR on a last axis.

    Where the feet are: ``feet_mm``, shape (..., 4, 2) [mm], from ``frame.foot_positions``.
    What the playfield reads with all four feet on one plane: ``pitch_deg``, ``roll_deg`` [degree] within 30 and
    ``twist_mm`` [mm] within 100. Playfield minus cabinet: ``pitch_offset_deg``, ``roll_offset_deg`` [degree].
    What is wanted: ``want_pitch_deg`` [degree], no roll, no twist, within ``pitch_tol_deg``, ``roll_tol_deg``
    [degree] and ``twist_tol_mm`` [mm], a quarter of the gap's tolerance; all three from 0.001 to 3.
    The levelers: ``lead_mm`` [mm per turn] 0.5 to 6, ``step_turns`` [turn] 1/8 to 1, and, shape (..., 4),
    ``exposure_mm`` and ``travel_mm`` [mm] with ``exposure_known`` [yes or no]. Where an exposure is not known
    its number means nothing and travel does not limit that leg, but for 200 mm either way.
    The work: ``front_reachable``, ``rear_reachable``, ``on_dollies``, where one lift frees all four feet, and
    ``even_if_in_spec``, which asks for a plan where none is needed [yes or no].

    Raises BadInput if a number is not finite or out of range, a shape is wrong, or the feet are not a front
    and a rear pair, parallel and centred on one line, 100 mm to 3 m apart.
    """

    feet_mm: ArrayLike
    pitch_deg: ArrayLike
    roll_deg: ArrayLike
    twist_mm: ArrayLike
    pitch_offset_deg: ArrayLike = 0.0
    roll_offset_deg: ArrayLike = 0.0
    want_pitch_deg: ArrayLike
    pitch_tol_deg: ArrayLike
    roll_tol_deg: ArrayLike
    twist_tol_mm: ArrayLike
    lead_mm: ArrayLike
    step_turns: ArrayLike = 0.25
    exposure_mm: ArrayLike = (0.0,) * 4
    exposure_known: ArrayLike = (False,) * 4
    travel_mm: ArrayLike = (TRAVEL_MM,) * 4
    front_reachable: ArrayLike = True
    rear_reachable: ArrayLike = True
    on_dollies: ArrayLike = False
    even_if_in_spec: ArrayLike = False

    def __post_init__(self) -> None:
        arrays = {field.name: _checked(field.name, getattr(self, field.name)) for field in fields(self)}
        _check_feet(np.asarray(arrays["feet_mm"], dtype=np.float64))
        batches = {name: array.shape[: array.ndim - len(_LAST_AXES.get(name, ()))] for name, array in arrays.items()}
        try:
            batch = np.broadcast_shapes(*batches.values())
        except ValueError as error:
            raise BadInput("request", f"has batch shapes {batches}", "Give shapes that broadcast") from error
        for name, array in arrays.items():
            object.__setattr__(self, name, np.broadcast_to(array, batch + _LAST_AXES.get(name, ())))

    @property
    def shape(self) -> tuple[int, ...]:
        """The batch shape [count]."""
        return np.shape(self.pitch_deg)

    def numbers(self, name: str) -> FloatArray:
        """Return one field as a flat batch, shape (rows, ...) [its own unit]."""
        return np.asarray(getattr(self, name), dtype=np.float64).reshape(-1, *_LAST_AXES.get(name, ()))

    def flags(self, name: str) -> BoolArray:
        """Return one field as a flat batch, shape (rows, ...) [yes or no]."""
        return np.asarray(getattr(self, name), dtype=np.bool_).reshape(-1, *_LAST_AXES.get(name, ()))

    def step_mm(self) -> FloatArray:
        """Return the height of one step, shape (rows,) [mm]."""
        return self.numbers("lead_mm") * self.numbers("step_turns")

    def reachable(self) -> BoolArray:
        """Return whether the front and the rear can be reached, shape (rows, 2) [yes or no]."""
        return np.stack([self.flags("front_reachable"), self.flags("rear_reachable")], axis=1)

    def beyond_travel(self) -> BoolArray:
        """Return whether some known exposure is below 0 or beyond its travel, shape (rows,) [yes or no]."""
        exposure, travel = self.numbers("exposure_mm"), self.numbers("travel_mm")
        outside = (exposure < -_HAIR_MM) | (exposure > travel + _HAIR_MM)
        return (outside & self.flags("exposure_known")).any(axis=1)

    def lattice(self) -> Lattice:
        """Return the problems in whole steps, shape (rows,) [step], as if both ends could be reached."""
        change = _changes(self)
        want_pitch_deg = self.numbers("want_pitch_deg") - self.numbers("pitch_offset_deg")
        want_roll_deg = -self.numbers("roll_offset_deg")
        names = ("pitch_tol_deg", "roll_tol_deg", "twist_tol_mm")
        tolerance = np.stack([self.numbers(name) for name in names], axis=1)
        unit = _units(change, want_pitch_deg, want_roll_deg)
        aim = np.maximum(tolerance / CLASSES, unit)
        low, high = _travel(self)
        return Lattice(
            gy=np.tan(np.radians(self.numbers("pitch_deg") - self.numbers("pitch_offset_deg"))),
            gx=np.tan(np.radians(self.numbers("roll_deg") - self.numbers("roll_offset_deg"))),
            twist_mm=self.numbers("twist_mm"),
            **change,
            want_pitch_deg=want_pitch_deg,
            want_roll_deg=want_roll_deg,
            aim=aim,
            cap=tolerance / aim,
            low=low,
            high=high,
            one_lift=self.flags("on_dollies"),
        )


def _checked(name: str, value: ArrayLike) -> NDArray[np.generic]:
    if name in _RANGES:
        low, high, unit = _RANGES[name]
        array: NDArray[np.generic] = finite(name, value, low=low, high=high, unit=unit)
    else:
        array = np.asarray(value)
        if array.dtype != np.bool_:
            raise BadInput(name, "is not yes or no", "Give booleans")
    last = _LAST_AXES.get(name, ())
    if array.shape[array.ndim - len(last) :] != last or array.ndim < len(last):
        raise BadInput(name, f"has shape {array.shape}", f"Give {last} on the last axes: {LEGS_MEANING}")
    return array


def _check_feet(feet_mm: FloatArray) -> None:
    x, y = feet_mm[..., 0], feet_mm[..., 1]
    track = np.stack([x[..., 1] - x[..., 0], x[..., 3] - x[..., 2], y[..., 2] - y[..., 0]])
    crooked = [y[..., 0] - y[..., 1], y[..., 2] - y[..., 3], x[..., 0] + x[..., 1] - x[..., 2] - x[..., 3]]
    if (np.abs(crooked) > _HAIR_MM).any() or (track < _CLOSEST_MM).any() or (track > _FARTHEST_MM).any():
        raise BadInput("feet_mm", "are not a front and a rear pair on one centre line", "Use foot_positions")


def _travel(request: PlanRequest) -> Range:
    """Return the whole steps that each leg can go in (negative) and out."""
    exposure, travel = request.numbers("exposure_mm"), request.numbers("travel_mm")
    known = request.flags("exposure_known") & ~request.beyond_travel()[:, None]
    down_mm = np.where(known, exposure, LONGEST_MM) + _HAIR_MM
    up_mm = np.where(known, travel - exposure, LONGEST_MM) + _HAIR_MM
    step_mm = request.step_mm()[:, None]
    return -np.floor(down_mm / step_mm).astype(np.int64), np.floor(up_mm / step_mm).astype(np.int64)


def _changes(request: PlanRequest) -> dict[str, FloatArray]:
    """Return what one step of p, a or b changes."""
    feet, step_mm = request.numbers("feet_mm"), request.step_mm()
    response, null = plane_response(feet), null_vector(feet)
    return {
        "gy_step": response[:, 1, 3] * step_mm,
        "gx_front": response[:, 0, 1] * step_mm,
        "gx_rear": response[:, 0, 3] * step_mm,
        "twist_front_mm": null[:, 0] * step_mm,
        "twist_rear_mm": null[:, 3] * step_mm,
    }


def _units(change: dict[str, FloatArray], want_pitch_deg: FloatArray, want_roll_deg: FloatArray) -> FloatArray:
    """Return the most that one step of one leg changes pitch, roll and twist, at the wanted angles."""
    roll = np.maximum(change["gx_front"], change["gx_rear"])
    return np.stack(
        [
            np.degrees(change["gy_step"]) * np.cos(np.radians(want_pitch_deg)) ** 2,
            np.degrees(roll) * np.cos(np.radians(want_roll_deg)) ** 2,
            np.maximum(change["twist_front_mm"], change["twist_rear_mm"]),
        ],
        axis=1,
    )
