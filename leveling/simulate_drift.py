"""Simulated drift: how pitch, roll and twist of machines move by themselves over days, on three kinds of floor.

      number = wandering level + creeping rate . time + sinking feet + seasons of timber + jumps

Every number is drawn from the ``rng`` passed in. `GROUNDS` holds invented numbers, no source: what they stand for and
their units are in DEVELOPERS.md, so that others can put measured ones in their place.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import IntArray
from leveling.drift import YEAR_DAYS, Walk
from leveling.drift_model import Hazard, Model
from leveling.errors import BadInput


class Ground(NamedTuple):
    """How machines move on one kind of floor, each a number, shape (); twist moves `TWIST_SHARE` of that.

    ``wander_deg`` [deg per square root of a day]; ``rate_deg_per_day`` [deg/day] spread of the creep at the start;
    ``rate_wander`` [deg/day per square root of a day]; ``settling_deg`` [deg] spread of how far new feet sink;
    ``settling_days`` [day]; ``yearly_deg`` [deg] spread of the yearly swing; ``yearly_peak`` [day of the year];
    ``jumps_per_year`` [1/year]; ``jump_deg`` [deg] spread of a jump.
    """

    wander_deg: float
    rate_deg_per_day: float
    rate_wander: float
    settling_deg: float
    settling_days: float
    yearly_deg: float
    yearly_peak: float
    jumps_per_year: float
    jump_deg: float


GROUNDS = {
    "concrete": Ground(0.0020, 0.00005, 0.0, 0.05, 20.0, 0.0, 0.0, 0.25, 0.25),
    "timber": Ground(0.0040, 0.00020, 0.0, 0.12, 40.0, 0.08, 230.0, 0.75, 0.25),
    "carpet": Ground(0.0030, 0.00010, 0.0, 0.20, 30.0, 0.0, 0.0, 0.5, 0.25),
}

#: How much of it all goes into twist.
TWIST_SHARE = 0.5
_SHARES = np.array([1.0, 1.0, TWIST_SHARE])


@dataclass(frozen=True)
class Moved:
    """How machines moved by themselves: ``number`` [deg], shape (n, 3, T), pitch, roll and twist, 0 on the first day.

    ``jump`` [deg], shape (n, 3, T): what of that came by jumps since the day before in the list.
    """

    number: FloatArray
    jump: FloatArray


def model_of(kinds: IntArray, *, bad_share: float = 0.01) -> Model:
    """Return the model that a simulated floor truly has, one for each machine.

    Parameters
    ----------
    kinds : ndarray of int, shape (n) [index]
        The kind of floor, as they stand in `GROUNDS`.
    bad_share : float, scalar [1]
        Share of surveys that are read wrong.

    Returns
    -------
    Model, shape (n) [deg, day]
        Walk and hazard.

    Raises
    ------
    BadInput
        If a number is out of range.

    Examples
    --------
    >>> model_of(np.array([0, 2])).walk.settling[:, 0].tolist()  # doctest: +NUMBER
    [0.0025, 0.0400]

    References
    ----------
    Invented, no source: `GROUNDS`.
    """
    ground = _of(kinds)
    spread = {name: value[:, None] * _SHARES for name, value in ground.items() if name.endswith(_DEGREES)}
    return Model(
        walk=Walk(
            level=spread["wander_deg"] ** 2,
            rate=spread["rate_wander"] ** 2,
            first_rate=spread["rate_deg_per_day"] ** 2,
            settling=spread["settling_deg"] ** 2,
            settling_days=ground["settling_days"][:, None],
            yearly=spread["yearly_deg"] ** 2,
            yearly_peak=ground["yearly_peak"][:, None],
        ),
        hazard=Hazard(
            jumps_per_year=ground["jumps_per_year"],
            jump_deg=spread["jump_deg"],
            bad_share=np.asarray(bad_share),
            bad_deg=np.asarray(1.0),
        ),
    )


def move(*, rng: np.random.Generator, kinds: IntArray, days: ArrayLike, placed: ArrayLike = 0.0) -> Moved:
    """Return how machines move by themselves.

    Parameters
    ----------
    rng : numpy.random.Generator, scalar [random numbers]
        Where the numbers come from.
    kinds : ndarray of int, shape (n) [index]
        The kind of floor, as they stand in `GROUNDS`.
    days : array_like, shape (n, T) or (T) [day]
        When to look, rising or equal, since a 1 January.
    placed : array_like, shape (n) or () [day]
        Since when the feet stand, at most the first day.

    Returns
    -------
    Moved, its number shape (n, 3, T) [deg]
        Pitch, roll and twist beyond those of the first day.

    Raises
    ------
    BadInput
        If days fall.

    Examples
    --------
    >>> moved = move(rng=np.random.default_rng(1), kinds=np.array([1, 1]), days=[0, 30, 60])
    >>> moved.number.shape, bool((moved.number[..., 0] == 0).all())
    ((2, 3, 3), True)

    References
    ----------
    Invented, no source: `GROUNDS`.
    """
    when = finite("days", days, unit="days")
    when = np.broadcast_to(when, (len(kinds), when.shape[-1]))[:, None]
    gaps = np.diff(when, axis=-1, prepend=when[..., :1])
    if (gaps < 0).any():
        raise BadInput("days", "goes back in time", "Give days in their order")
    age = np.maximum(when - np.reshape(placed, (-1, 1, 1)), 0)
    ground = {name: value[:, None, None] * _share(name) for name, value in _of(kinds).items()}
    shape = (len(kinds), 3, when.shape[-1])
    swing = rng.normal(0, 1, shape[:2])[..., None] * ground["yearly_deg"]
    yearly = swing * np.cos(2 * np.pi * (when - ground["yearly_peak"]) / YEAR_DAYS)
    sink = rng.normal(0, 1, shape[:2])[..., None] * ground["settling_deg"]
    settling = sink * (1 - np.exp(-age / ground["settling_days"]))
    jumps = rng.poisson(ground["jumps_per_year"] * gaps / YEAR_DAYS)
    jump = rng.normal(0, 1, shape) * np.sqrt(jumps) * ground["jump_deg"]
    rate_noise, level_noise = _wander(rng, gaps, ground["rate_wander"], shape)
    rates = rng.normal(0, 1, shape[:2])[..., None] * ground["rate_deg_per_day"] + np.cumsum(rate_noise, axis=-1)
    before = np.concatenate([rates[..., :1], rates[..., :-1]], axis=-1)
    steps = before * gaps + level_noise + rng.normal(0, 1, shape) * ground["wander_deg"] * np.sqrt(gaps) + jump
    shaped = yearly + settling
    return Moved(number=np.cumsum(steps, axis=-1) + shaped - shaped[..., :1], jump=jump)


_DEGREES = ("_deg", "_deg_per_day", "rate_wander")


def _share(name: str) -> FloatArray:
    return _SHARES[None, :, None] if name.endswith(_DEGREES) else np.ones((1, 1, 1))


def _of(kinds: IntArray) -> dict[str, FloatArray]:
    """Each field of the ground, one a machine."""
    table = np.array(list(GROUNDS.values()))[kinds]
    return dict(zip(Ground._fields, table.T, strict=True))


def _wander(
    rng: np.random.Generator, gaps: FloatArray, rate: FloatArray, shape: tuple[int, ...]
) -> tuple[FloatArray, FloatArray]:
    """What a wandering rate gains over each gap, and how far the number goes by that."""
    one, other = rng.normal(0, 1, (2, *shape))
    gained = rate * np.sqrt(gaps) * one
    return gained, gained * gaps / 2 + rate * gaps * np.sqrt(gaps / 12) * other
