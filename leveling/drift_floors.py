"""Floors that move: several machines on one floor tilt alike, each seen from its own heading.

      floor plan, y to the back wall, x to the right        dx, dy [deg]: how much higher right and back came to stand

            rear                                            pitch of a machine gains   dy cos(heading) + dx sin(heading)
             ^  heading, clockwise from the back wall       roll gains                 dx cos(heading) - dy sin(heading)
             |
           machine

A machine that jumped by itself must not look like a floor: each may have, with its own chance.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite, last_axis
from leveling.checks_shapes import IntArray
from leveling.drift import log_density
from leveling.errors import BadInput

#: Chance that a floor moved between two rounds of visits, before anything is read. Common practice, no source.
FLOOR_CHANCE = 0.02

#: Standard deviation of how far one goes each way [deg]. Common practice, no source.
FLOOR_DEG = 0.2

_ROUNDS = 12


@dataclass(frozen=True)
class Tilted:
    """How floors moved, each field shape (F).

    ``chance`` [1] that the floor moved at all; 0 where fewer than two machines tell. ``dx_deg`` and ``dy_deg`` [deg]:
    how much higher its right and its back came to stand, if it moved, and ``u_dx_deg`` and ``u_dy_deg`` [deg] their
    standard uncertainties. ``machines`` [count] on it.
    """

    chance: FloatArray
    dx_deg: FloatArray
    dy_deg: FloatArray
    u_dx_deg: FloatArray
    u_dy_deg: FloatArray
    machines: IntArray


@dataclass(frozen=True)
class Surprises:
    """What the latest survey of each of n machines showed beyond what was expected of it.

    ``surprise`` [deg] and ``expected`` [deg^2], the variance it was expected to have, above 0: shape (n, 2), pitch and
    roll. ``heading_deg`` [degree], shape (n). ``jumped`` [1], shape (n), from 0 to below 1: the chance before anything
    was read that the machine jumped by itself, and ``jump_deg`` [deg], above 0, shape (n), how far then. Raises
    BadInput otherwise.
    """

    surprise: FloatArray
    expected: FloatArray
    heading_deg: FloatArray
    jumped: FloatArray
    jump_deg: FloatArray

    def __post_init__(self) -> None:
        surprise = last_axis("surprise", finite("surprise", self.surprise, unit="degree"), 2, "pitch, roll")
        if surprise.ndim != 2:
            raise BadInput("surprise", f"has shape {surprise.shape}", "Give machines, then pitch and roll")
        checked = {
            "expected": finite("expected", self.expected, low=0, above=True, unit="deg^2"),
            "heading_deg": finite("heading_deg", self.heading_deg, unit="degree"),
            "jumped": finite("jumped", self.jumped, low=0, high=0.999),
            "jump_deg": finite("jump_deg", self.jump_deg, low=0, above=True, unit="degree"),
        }
        object.__setattr__(self, "surprise", surprise)
        for name, array in checked.items():
            shape = surprise.shape if name == "expected" else surprise.shape[:1]
            try:
                object.__setattr__(self, name, np.broadcast_to(array, shape))
            except ValueError as error:
                raise BadInput(name, f"has shape {array.shape}", "Give one entry each machine") from error


def floor_movement(surprises: Surprises, *, floor: ArrayLike, floors: int) -> Tilted:
    """Return which floors moved, by machines that tilt alike.

    Parameters
    ----------
    surprises : Surprises, shape (n) [deg]
        What the latest surveys showed.
    floor : array_like of int, shape (n) [index]
        The floor of each machine, from 0 to below ``floors``.
    floors : int, scalar [count]
        How many floors there are.

    Returns
    -------
    Tilted, shape (F) [deg, 1]
        How they moved.

    Raises
    ------
    BadInput
        If a floor is out of range.

    Notes
    -----
    Against "each machine by itself" stands "the floor tilted by dx, dy", normal before anything is read. Both let each
    machine jump by its own chance besides. The tilt is found by weighted least squares, weighed anew by the chance
    that a machine jumped; the evidence is Laplace's.

    Examples
    --------
    >>> seen = Surprises(surprise=[[0.2, 0.0], [0.0, -0.2], [0.21, 0.0], [-0.19, 0.0]], expected=4e-3,
    ...                  heading_deg=[0, 90, 0, 180], jumped=0.05, jump_deg=0.3)
    >>> found = floor_movement(seen, floor=[0, 0, 0, 0], floors=1)
    >>> bool(found.chance[0] > 0.9), found.dy_deg.tolist()  # doctest: +NUMBER
    (True, [0.195])

    References
    ----------
    Derived in DEVELOPERS.md, Drift.
    """
    place = np.asarray(floor)
    count = len(surprises.surprise)
    if place.shape != (count,) or (place < 0).any() or (place >= floors).any():
        raise BadInput("floor", f"does not fit {count} machines on {floors} floors", "Give one floor each machine")
    turn = np.radians(surprises.heading_deg)
    # rows pitch, roll; columns dx, dy
    sees = np.stack(
        [np.stack([np.sin(turn), np.cos(turn)], axis=-1), np.stack([np.cos(turn), -np.sin(turn)], axis=-1)], axis=1
    )
    still = np.bincount(place, weights=_each(surprises, surprises.surprise)[0], minlength=floors)
    tilt = np.zeros((floors, 2))
    alone = np.ones(count)
    for _ in range(_ROUNDS):
        weight = alone[:, None] / surprises.expected + (1 - alone[:, None]) / _wide(surprises)
        normal = _sum(np.einsum("nqi,nq,nqj->nij", sees, weight, sees), place, floors) + np.eye(2) / FLOOR_DEG**2
        right = _sum(np.einsum("nqi,nq,nq->ni", sees, weight, surprises.surprise), place, floors)
        tilt = np.linalg.solve(normal, right[..., None])[..., 0]
        left = surprises.surprise - np.einsum("nqi,ni->nq", sees, tilt[place])
        likely, alone = _each(surprises, left)
    moved = np.bincount(place, weights=likely, minlength=floors)
    moved -= 0.5 * (tilt**2).sum(axis=1) / FLOOR_DEG**2 + np.log(FLOOR_DEG**2) + 0.5 * np.log(np.linalg.det(normal))
    odds = np.log(FLOOR_CHANCE / (1 - FLOOR_CHANCE)) + moved - still
    machines = np.bincount(place, minlength=floors)
    spread = np.sqrt(np.diagonal(np.linalg.inv(normal), axis1=1, axis2=2))
    return Tilted(
        chance=np.where(machines > 1, 1 / (1 + np.exp(-np.clip(odds, -500, 500))), 0),
        dx_deg=tilt[:, 0],
        dy_deg=tilt[:, 1],
        u_dx_deg=spread[:, 0],
        u_dy_deg=spread[:, 1],
        machines=machines,
    )


def _wide(surprises: Surprises) -> FloatArray:
    return surprises.expected + surprises.jump_deg[:, None] ** 2


def _each(surprises: Surprises, left: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How likely each machine is with what is left of its surprise, and the chance that it did not jump: shape (n)."""
    stayed = np.log1p(-surprises.jumped) + log_density(left, surprises.expected).sum(axis=1)
    with np.errstate(divide="ignore"):
        jumped = np.log(surprises.jumped) + log_density(left, _wide(surprises)).sum(axis=1)
    both = np.logaddexp(stayed, jumped)
    return both, np.exp(stayed - both)


def _sum(array: FloatArray, place: IntArray, floors: int) -> FloatArray:
    total = np.zeros((floors, *array.shape[1:]))
    np.add.at(total, place, array)
    return total
