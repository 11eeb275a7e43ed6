"""Response: what one turn does to this machine, and how sure that is.

      told:   one turn = lead / base of pitch, lead / track of roll, lead of height
      truly:  base and track were paced out by eye, and the thread may be the other one

                      lead in the leg      believed base                        lead in the leg      believed track
      pitch factor = ----------------- x ---------------      roll factor =    ----------------- x ----------------
                       believed lead        true base                            believed lead        true track

Angles tell only the two factors: a long base and a fine thread look alike. The gap tells the lead alone, so it
helps to tell the threads apart. What is believed is one normal for each of two threads, with a chance for each.
``response_learning`` moves it by what was turned and read; the next leg plan takes ``plan_terms``.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite, last_axis
from leveling.errors import BadInput
from leveling.four_feet import Offset, checked_covariance

#: Base and track of a machine nobody measured with care: up to 3 % off, rectangular. Common practice, no source.
U_FACTOR = 0.03 / np.sqrt(3)
#: How often a leg holds the other thread than believed. Common practice, no source.
CHANCE_OTHER = 0.05

#: What is believed of each thread: believed base / true base, believed track / true track, offset of pitch and roll.
STATE = ("base", "track", "offset_pitch_deg", "offset_roll_deg")


@dataclass(frozen=True)
class Response:
    """What is believed of how machines answer to turns, each field with the batch shape (...).

    ``lead_mm``, shape (..., 2) [mm per turn]: the believed thread and the other one. ``chance``, shape (..., 2) [1],
    of each, adding to 1. ``mean``, shape (..., 2, 4), and ``covariance``, shape (..., 2, 4, 4), of what ``STATE``
    names [1, 1, degree, degree] if that thread is the true one.

    Raises BadInput if a number is not finite or out of range, a shape is wrong, or the covariance can be none.
    """

    lead_mm: FloatArray
    chance: FloatArray
    mean: FloatArray
    covariance: FloatArray

    def __post_init__(self) -> None:
        lead = finite("lead_mm", self.lead_mm, low=0, high=100, above=True, unit="mm per turn")
        last_axis("lead_mm", lead, 2, "believed, other")
        chance = last_axis("chance", finite("chance", self.chance, low=0, high=1), 2, "believed, other")
        if (np.abs(chance.sum(axis=-1) - 1) > 1e-9).any():
            raise BadInput("chance", "does not add to 1", "Give the chance of each of the two threads")
        mean = last_axis("mean", finite("mean", self.mean, low=-45, high=45), 4, ", ".join(STATE))
        if (mean[..., :2] <= 0).any():
            raise BadInput("mean", "has a factor that is not above 0", "Give factors near 1")
        spread = checked_covariance("covariance", self.covariance, size=4)
        shape = np.broadcast_shapes(lead.shape, chance.shape, mean.shape[:-1], spread.shape[:-2])
        for name, value, own in (
            ("lead_mm", lead, ()),
            ("chance", chance, ()),
            ("mean", mean, (4,)),
            ("covariance", spread, (4, 4)),
        ):
            object.__setattr__(self, name, np.broadcast_to(value, shape + own))

    @property
    def lead_factor(self) -> FloatArray:
        """Height per turn over what was believed [1], the mean of both threads."""
        return (self.chance * self._ratio).sum(axis=-1)

    @property
    def chance_other(self) -> FloatArray:
        """Chance that the legs hold the other thread [1]."""
        return self.chance[..., 1]

    @property
    def pitch_factor(self) -> FloatArray:
        """Degrees of pitch per turn over what was believed [1]."""
        return self._moments(0, self._ratio)[0]

    @property
    def u_pitch_factor(self) -> FloatArray:
        """Standard uncertainty of the pitch factor [1]."""
        return self._moments(0, self._ratio)[1]

    @property
    def roll_factor(self) -> FloatArray:
        """Degrees of roll per turn over what was believed [1]."""
        return self._moments(1, self._ratio)[0]

    @property
    def u_roll_factor(self) -> FloatArray:
        """Standard uncertainty of the roll factor [1]."""
        return self._moments(1, self._ratio)[1]

    @property
    def offset(self) -> Offset:
        """Playfield minus cabinet [degree], with its uncertainty."""
        one = np.ones_like(self.lead_mm)
        (pitch, u_pitch), (roll, u_roll) = self._moments(2, one), self._moments(3, one)
        return Offset(pitch, roll, u_pitch, u_roll)

    @property
    def _ratio(self) -> FloatArray:
        return self.lead_mm / self.lead_mm[..., :1]

    def _moments(self, which: int, times: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Mean and standard uncertainty over both threads of one number times a known one."""
        each = self.mean[..., which] * times
        own = self.covariance[..., which, which] * times**2
        mean = (self.chance * each).sum(axis=-1)
        variance = (self.chance * (own + (each - mean[..., None]) ** 2)).sum(axis=-1)
        return mean, np.sqrt(variance)


@dataclass(frozen=True)
class PlanTerms:
    """A machine as its leg plan should take it, each field with the batch shape (...).

    ``feet_mm``, shape (..., 4, 2) [mm]: the feet where they answer as learned. ``lead_mm`` [mm per turn].
    ``offset`` [degree], playfield minus cabinet.
    """

    feet_mm: FloatArray
    lead_mm: FloatArray
    offset: Offset


def usual_response(
    *,
    lead_mm: ArrayLike,
    other_lead_mm: ArrayLike,
    offset: Offset,
    chance_other: ArrayLike = CHANCE_OTHER,
    u_factor: ArrayLike = U_FACTOR,
) -> Response:
    """Return what is believed of a machine before anything was turned and read.

    Parameters
    ----------
    lead_mm, other_lead_mm : array_like, shape (...) [mm per turn]
        Lead of the believed thread and of the one it might be instead, above 0.
    offset : Offset, each shape (...) [degree]
        Playfield minus cabinet, with its uncertainty.
    chance_other : array_like, shape (...) [1]
        Chance of the other thread, 0 to 1. 5 %: common practice, no source.
    u_factor : array_like, shape (...) [1]
        Relative standard uncertainty of base and of track, 0 to 0.2. The default is up to 3 % off, rectangular:
        common practice, no source.

    Returns
    -------
    Response, each shape (...) [mm per turn, 1, degree]
        Factors of 1 for the believed thread, base and track independent.

    Raises
    ------
    BadInput
        If a number is not finite or out of range.

    Examples
    --------
    >>> response = usual_response(lead_mm=1.5875, other_lead_mm=1.5, offset=Offset())
    >>> float(response.pitch_factor), float(response.u_pitch_factor)  # doctest: +NUMBER
    (0.9972, 0.0211)

    References
    ----------
    Rectangular distribution: JCGM 100:2008 (GUM), 4.3.7. Threads: ASME B1.1 and ISO 261 (from memory).
    """
    lead = np.stack(np.broadcast_arrays(finite("lead_mm", lead_mm), finite("other_lead_mm", other_lead_mm)), axis=-1)
    other = finite("chance_other", chance_other, low=0, high=1)
    factor = finite("u_factor", u_factor, low=0, high=0.2)
    mean = np.stack(np.broadcast_arrays(1.0, 1.0, offset.pitch_deg, offset.roll_deg), axis=-1)
    u = np.stack(np.broadcast_arrays(factor, factor, offset.u_pitch_deg, offset.u_roll_deg), axis=-1)
    return Response(
        lead_mm=lead,
        chance=np.stack([1 - other, other], axis=-1),
        mean=mean[..., None, :],
        covariance=((u**2)[..., None] * np.eye(4))[..., None, :, :],
    )


def plan_terms(response: Response, feet_mm: ArrayLike) -> PlanTerms:
    """Return the feet, lead and offset with which a leg plan turns what this machine needs.

    Parameters
    ----------
    response : Response, each shape (...) [mm per turn, 1, degree]
        What is believed of the machine.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of FL, FR, RL, RR as believed.

    Returns
    -------
    PlanTerms, each shape (...) [mm, mm per turn, degree]
        Feet moved in or out so that lead over base and lead over track are the learned means.

    Raises
    ------
    BadInput
        If a position is not finite or the shape is wrong.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> feet = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
    >>> sure = usual_response(lead_mm=1.5875, other_lead_mm=1.5, offset=Offset(), chance_other=1.0)
    >>> terms = plan_terms(sure, feet)
    >>> float(terms.lead_mm), terms.feet_mm[3].tolist()
    (1.5, [280.0, 1300.0])

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    feet = last_axis("feet_mm", finite("feet_mm", feet_mm, unit="mm"), 2, "x, y")
    lead = response.lead_factor
    shrink = np.stack([lead / response.roll_factor, lead / response.pitch_factor], axis=-1)
    return PlanTerms(feet * shrink[..., None, :], lead * response.lead_mm[..., 0], response.offset)
