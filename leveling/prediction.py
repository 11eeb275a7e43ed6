"""Prediction: what the playfield will read after the legs are turned, and how sure that is.

      survey as it stands --to_four_feet--> four feet --after_turns--> four feet --as_it_stands--> reading
                                            floor and legs --playfield_of--^

Whole steps leave a little twist, so the machine comes to rest on three feet again: the rear pair sets the
roll, and the front sinks a little either way the machine rocks. The last step works that out. What is uncertain
is carried along: the survey (its common part too), the gap, each turned leg, and the offset.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from leveling.checks import FloatArray, finite, last_axis
from leveling.contact import LegArray, at_leg, light_foot
from leveling.four_feet import FourFeet, Offset, angle_units, mode_rows, tilted
from leveling.frame import LEGS_MEANING, null_vector, plane_response

#: How closely a hand stops at a mark, standard uncertainty of one turned leg. Common practice, no source.
U_TURN = 0.02

_ROOT_2_PI = np.sqrt(2 * np.pi)


@dataclass(frozen=True)
class Turning:
    """What was or will be turned on each leg.

    ``turns``, shape (..., 4) [turn], legs FL, FR, RL, RR, out positive. ``lead_mm``, shape (..., 4) or () [mm].
    ``u_turn``, shape (..., 4) or () [turn], is the standard uncertainty on each leg that turns at all.

    Raises BadInput if a number is not finite or out of range, or there are not four legs.
    """

    turns: FloatArray
    lead_mm: FloatArray
    u_turn: FloatArray

    def __init__(self, turns: ArrayLike, lead_mm: ArrayLike, u_turn: ArrayLike = U_TURN) -> None:
        made = last_axis("turns", finite("turns", turns, low=-1000, high=1000, unit="turns"), 4, LEGS_MEANING)
        object.__setattr__(self, "turns", made)
        lead = finite("lead_mm", lead_mm, low=0, high=100, above=True, unit="mm")
        object.__setattr__(self, "lead_mm", lead)
        object.__setattr__(self, "u_turn", finite("u_turn", u_turn, low=0, high=10, unit="turns"))


@dataclass(frozen=True)
class Reading:
    """What the playfield should read as it stands, each field with the batch shape (...).

    ``pitch_deg``, ``roll_deg`` [degree] with standard uncertainties ``u_pitch_deg``, ``u_roll_deg`` [degree].
    ``light`` is the leg number of the foot that floats if the best estimate of the twist is right, or
    ``ALL_BEAR``; ``gap_mm`` [mm] is the air under it and ``u_gap_mm`` [mm] its standard uncertainty.
    ``twist_mm`` and ``u_twist_mm`` [mm] are what the gap comes from.
    """

    pitch_deg: FloatArray
    roll_deg: FloatArray
    u_pitch_deg: FloatArray
    u_roll_deg: FloatArray
    light: LegArray
    gap_mm: FloatArray
    u_gap_mm: FloatArray
    twist_mm: FloatArray
    u_twist_mm: FloatArray


def after_turns(*, before: FourFeet, turning: Turning, feet_mm: ArrayLike, offset: Offset) -> FourFeet:
    """Return the plane of all four feet after the legs are turned.

    Parameters
    ----------
    before : FourFeet, each shape (...) [degree, mm]
        The playfield on the plane of all four feet, from a survey or from floor and legs.
    turning : Turning, shape (..., 4) [turn, mm]
        Turns on each leg, out positive, with lead and uncertainty.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of FL, FR, RL, RR.
    offset : Offset, each shape (...) [degree]
        Playfield minus cabinet; its uncertainty enters through the cabinet's angle.

    Returns
    -------
    FourFeet, each shape (...)
        Pitch and roll of the playfield [degree], twist [mm], their covariance.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, a shape is wrong, or three feet are in line.

    Notes
    -----
    Angles are exact in gradients of the cabinet, the covariance is first order. How far an unknown offset
    bends the change is taken by a step of one standard uncertainty.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> after = after_turns(
    ...     before=FourFeet(6.0, 0.1, 0.0, np.diag([0.06, 0.07, 0.02]) ** 2),
    ...     turning=Turning([0, 0, 7, 7], lead_mm=1.5875), offset=Offset(),
    ...     feet_mm=foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300),
    ... )
    >>> float(after.pitch_deg), float(after.u_pitch_deg)  # doctest: +NUMBER
    (6.4840, 0.0600)

    References
    ----------
    Law of propagation of uncertainty: JCGM 102:2011, 6.2 (from memory); geometry derived in DEVELOPERS.md.
    """
    rows = mode_rows(feet_mm)
    lift = turning.turns * turning.lead_mm
    change = (rows * lift[..., None, :]).sum(axis=-1)
    pitch, u_pitch = _bent(before.pitch_deg, change[..., 0], offset.pitch_deg, offset.u_pitch_deg)
    roll, u_roll = _bent(before.roll_deg, change[..., 1], offset.roll_deg, offset.u_roll_deg)
    u_lift = np.where(turning.turns != 0, turning.u_turn * turning.lead_mm, 0.0)
    arms = rows * u_lift[..., None, :]
    own = arms @ np.swapaxes(arms, -1, -2)
    scale = angle_units(pitch - offset.pitch_deg, roll - offset.roll_deg)
    bend = np.stack(np.broadcast_arrays(u_pitch**2, u_roll**2, 0.0), axis=-1)[..., None] * np.eye(3)
    covariance = before.covariance + own * scale[..., :, None] * scale[..., None, :] + bend
    return FourFeet(pitch, roll, before.twist_mm + change[..., 2], covariance)


def as_it_stands(four: FourFeet, *, feet_mm: ArrayLike, offset: Offset, load_mm: ArrayLike | None = None) -> Reading:
    """Return what a level on the playfield should read, on the feet that will bear.

    Parameters
    ----------
    four : FourFeet, each shape (...) [degree, mm]
        The playfield on the plane of all four feet.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of FL, FR, RL, RR.
    offset : Offset, each shape (...) [degree]
        Playfield minus cabinet. Here a rough one will do.
    load_mm : array_like or None, shape (..., 2) [mm]
        Where the weight presses; None for ``contact.load_point(feet_mm)``.

    Returns
    -------
    Reading, each shape (...)
        Pitch, roll, gap, twist and their standard uncertainties [degree, mm].

    Raises
    ------
    BadInput
        If a number is not finite, a shape is wrong, or three feet are in line.

    Notes
    -----
    The cabinet is rigid, so its gradients are g + a max(twist, 0) + b max(-twist, 0), with a and b from the
    foot that floats for either sign. For a normal twist the mean and variance of both parts are those of a
    rectified normal, and their covariance with g is cov(g, twist) times the chance of the sign (Stein).
    A cabinet and feet that give take up a little twist, so the real gap may be smaller, never larger.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> four = FourFeet(6.5, 0.0, 0.1, np.diag([0.06, 0.07, 0.02]) ** 2)
    >>> feet = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
    >>> stood = as_it_stands(four, feet_mm=feet, offset=Offset())
    >>> float(stood.roll_deg), int(stood.light), float(stood.gap_mm)  # doctest: +NUMBER
    (0.0205, 1, 0.4)

    References
    ----------
    C. M. Stein, Annals of Statistics 9 (1981) 1135, Lemma 1 (from memory); geometry derived in DEVELOPERS.md.
    """
    up, down = _rectified(four.twist_mm, four.u_twist_mm)
    on_plus = _gradient_per_twist(1.0, feet_mm, load_mm)
    on_minus = _gradient_per_twist(-1.0, feet_mm, load_mm)
    mean = on_plus * up.mean[..., None] + on_minus * down.mean[..., None]
    pitch = tilted(four.pitch_deg, offset_deg=offset.pitch_deg, gradient=mean[..., 0])
    roll = tilted(four.roll_deg, offset_deg=offset.roll_deg, gradient=mean[..., 1])
    scale = angle_units(pitch - offset.pitch_deg, roll - offset.roll_deg)[..., :2]
    a, b = on_plus * scale, on_minus * scale
    own = four.covariance[..., [0, 1], [0, 1]]
    with_twist = four.covariance[..., :2, 2]
    variance = (
        own
        + a**2 * up.variance[..., None]
        + b**2 * down.variance[..., None]
        - 2 * a * b * (up.mean * down.mean)[..., None]
        + 2 * with_twist * (a * up.chance[..., None] - b * down.chance[..., None])
    )
    u = np.sqrt(np.maximum(variance, 0.0))
    light = light_foot(four.twist_mm, feet_mm=feet_mm, load_mm=load_mm)
    per_twist = _gap_per_twist(light, feet_mm)
    return Reading(
        pitch_deg=pitch,
        roll_deg=roll,
        u_pitch_deg=u[..., 0],
        u_roll_deg=u[..., 1],
        light=light,
        gap_mm=per_twist * np.abs(four.twist_mm),
        u_gap_mm=per_twist * four.u_twist_mm,
        twist_mm=four.twist_mm,
        u_twist_mm=four.u_twist_mm,
    )


@dataclass(frozen=True)
class _Part:
    """The positive part of a normal number: mean, variance, and the chance that it is above zero."""

    mean: FloatArray
    variance: FloatArray
    chance: FloatArray


def _rectified(mean: FloatArray, u: FloatArray) -> tuple[_Part, _Part]:
    """The parts above and below zero of a normal number."""
    return _positive_part(mean, u), _positive_part(-mean, u)


def _positive_part(mean: FloatArray, u: FloatArray) -> _Part:
    z = mean / np.where(u > 0, u, 1.0)
    chance = np.where(u > 0, special.ndtr(z), (mean > 0).astype(np.float64))
    density = np.where(u > 0, np.exp(-(z**2) / 2) / _ROOT_2_PI, 0.0)
    first = mean * chance + u * density
    second = (mean**2 + u**2) * chance + mean * u * density
    return _Part(first, np.maximum(second - first**2, 0.0), chance)


def _gradient_per_twist(sign: float, feet_mm: ArrayLike, load_mm: ArrayLike | None) -> FloatArray:
    """How (gy, gx) as it stands differ from the four-foot plane per mm of twist of this sign."""
    light = light_foot(sign, feet_mm=feet_mm, load_mm=load_mm)
    columns = (plane_response(feet_mm) * at_leg(light)[..., None, :]).sum(axis=-1)
    return columns[..., ::-1] * _gap_per_twist(light, feet_mm)[..., None]


def _gap_per_twist(light: LegArray, feet_mm: ArrayLike) -> FloatArray:
    """Gap under the light foot per mm of twist; the mean of the feet where all bear."""
    arm = (np.abs(null_vector(feet_mm)) * at_leg(light)).sum(axis=-1)
    return 1 / np.where(arm > 0, arm, 0.25)


def _bent(
    angle_deg: FloatArray, gradient: FloatArray, offset_deg: FloatArray, u_offset_deg: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The angle after a change of gradient, and what an unknown offset adds to its uncertainty."""
    after = tilted(angle_deg, offset_deg=offset_deg, gradient=gradient)
    other = tilted(angle_deg, offset_deg=offset_deg + u_offset_deg, gradient=gradient)
    return after, np.abs(other - after)
