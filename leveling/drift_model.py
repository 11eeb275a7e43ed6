"""How machines move, in numbers: the walk of each quantity, and what happens to a machine as a whole."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from leveling.checks import FloatArray, finite
from leveling.drift import Walk
from leveling.errors import BadInput


def _never() -> FloatArray:
    return np.zeros(())


def _degree() -> FloatArray:
    return np.ones(())


@dataclass(frozen=True)
class Hazard:
    """What happens to machines between visits.

    ``jumps_per_year`` [1/year], shape (n) or less, at least 0, and ``jump_deg`` [deg], shape (n, Q) or less, above 0:
    standard deviation of how far each quantity goes. ``bad_share`` [1], shape (n) or less, share of
    surveys that were read wrong, and ``bad_deg`` [deg], shape (n, Q) or less, above 0: standard deviation of how far
    those are off. ``set_share`` [1] and ``set_deg`` [deg] likewise: surveys before which somebody set the machine anew
    and told nobody. Raises BadInput if a field is out of range; each share is at most 0.49.
    """

    jumps_per_year: FloatArray
    jump_deg: FloatArray
    bad_share: FloatArray
    bad_deg: FloatArray
    set_share: FloatArray = field(default_factory=_never)
    set_deg: FloatArray = field(default_factory=_degree)

    def __post_init__(self) -> None:
        for name, value in {
            "jumps_per_year": finite("jumps_per_year", self.jumps_per_year, low=0, unit="jumps a year"),
            "jump_deg": finite("jump_deg", self.jump_deg, low=0, above=True, unit="degree"),
            "bad_share": finite("bad_share", self.bad_share, low=0, high=0.49),
            "bad_deg": finite("bad_deg", self.bad_deg, low=0, above=True, unit="degree"),
            "set_share": finite("set_share", self.set_share, low=0, high=0.49),
            "set_deg": finite("set_deg", self.set_deg, low=0, above=True, unit="degree"),
        }.items():
            object.__setattr__(self, name, value)


@dataclass(frozen=True)
class Model:
    """How machines move: ``walk``, shape (n, 3) or less [deg, day], and ``hazard``, shape (n) or less [deg, 1/year]."""

    walk: Walk
    hazard: Hazard

    def of(self, count: int, quantities: int) -> "Model":
        """Return it for so many machines, which stand last in each field [same units]."""
        walk = self.walk.spread((count, quantities))
        shapes = dict.fromkeys(("jumps_per_year", "bad_share", "set_share"), (count,))
        try:
            hazard = {
                name: np.broadcast_to(array, shapes.get(name, (count, quantities))).T
                for name, array in vars(self.hazard).items()
            }
        except ValueError as error:
            raise BadInput("hazard", f"does not fit {count} machines", "Give one, or one each machine") from error
        return Model(
            walk=Walk(**{name: array.T for name, array in vars(walk).items()}),
            hazard=Hazard(**hazard),
        )

    def part(self, where: Any) -> "Model":
        """Return it for some of those machines [same units]."""
        return Model(
            walk=Walk(**{name: array[:, where] for name, array in vars(self.walk).items()}),
            hazard=Hazard(**{name: array[..., where] for name, array in vars(self.hazard).items()}),
        )
