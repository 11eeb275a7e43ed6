"""The plane of all four feet: what the playfield would read if every foot stood on one plane.

      playfield as read              cabinet                        playfield on four feet
      pitch p  --- less offset --->  atan gy  --- gradient  --->    offset + atan(gy + change)
                                               changes by
                                               -gap x response

A leg plan starts here, since turning an airborne foot changes nothing until it bears. Changes are exact in
gradients of the *cabinet*, so the offset between playfield and cabinet enters, though only gently.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.contact import ALL_BEAR, LegArray, at_leg, light_foot
from leveling.errors import BadInput
from leveling.frame import null_vector, plane_response
from leveling.support import Stance

#: Wide prior of playfield minus cabinet, standard uncertainty. Common practice, no source.
U_OFFSET_PITCH_DEG = 0.5
U_OFFSET_ROLL_DEG = 0.2

_STEEPEST_DEG = 45.0


@dataclass(frozen=True)
class Offset:
    """Playfield minus cabinet of a machine, each field with the batch shape (...).

    ``pitch_deg`` and ``roll_deg`` [degree] are added to the cabinet's angles to give the playfield's.
    ``u_pitch_deg`` and ``u_roll_deg`` [degree] are standard uncertainties; the defaults are the wide prior
    of a machine nobody has surveyed (common practice, no source).

    Raises BadInput if a number is not finite, an angle is beyond 45 degrees, or an uncertainty is negative.
    """

    pitch_deg: FloatArray
    roll_deg: FloatArray
    u_pitch_deg: FloatArray
    u_roll_deg: FloatArray

    def __init__(
        self,
        pitch_deg: ArrayLike = 0.0,
        roll_deg: ArrayLike = 0.0,
        u_pitch_deg: ArrayLike = U_OFFSET_PITCH_DEG,
        u_roll_deg: ArrayLike = U_OFFSET_ROLL_DEG,
    ) -> None:
        for name, value in (("pitch_deg", pitch_deg), ("roll_deg", roll_deg)):
            object.__setattr__(self, name, _angle(name, value))
        for name, value in (("u_pitch_deg", u_pitch_deg), ("u_roll_deg", u_roll_deg)):
            object.__setattr__(self, name, finite(name, value, low=0, unit="degrees"))


@dataclass(frozen=True)
class FourFeet:
    """Angles on the plane of all four feet, and the twist left over; each with the batch shape (...).

    ``pitch_deg`` and ``roll_deg`` [degree] are positive with the rear and the right side higher,
    ``twist_mm`` [mm] is positive when FL and RR stand too tall. ``covariance``, shape (..., 3, 3), is that of
    (pitch, roll, twist) in degree, degree, mm.

    Raises BadInput if a number is not finite, an angle is beyond 90 degrees, or the covariance can be none.
    """

    pitch_deg: FloatArray
    roll_deg: FloatArray
    twist_mm: FloatArray
    covariance: FloatArray

    def __post_init__(self) -> None:
        pitch = finite("pitch_deg", self.pitch_deg, low=-90, high=90, unit="degrees")
        roll = finite("roll_deg", self.roll_deg, low=-90, high=90, unit="degrees")
        twist = finite("twist_mm", self.twist_mm, unit="mm")
        covariance = checked_covariance("covariance", self.covariance, size=3)
        shape = np.broadcast_shapes(pitch.shape, roll.shape, twist.shape, covariance.shape[:-2])
        for name, value in (("pitch_deg", pitch), ("roll_deg", roll), ("twist_mm", twist)):
            object.__setattr__(self, name, np.broadcast_to(value, shape))
        object.__setattr__(self, "covariance", np.broadcast_to(covariance, (*shape, 3, 3)))

    @property
    def u_pitch_deg(self) -> FloatArray:
        """Standard uncertainty of pitch [degree]."""
        return np.sqrt(self.covariance[..., 0, 0])

    @property
    def u_roll_deg(self) -> FloatArray:
        """Standard uncertainty of roll [degree]."""
        return np.sqrt(self.covariance[..., 1, 1])

    @property
    def u_twist_mm(self) -> FloatArray:
        """Standard uncertainty of twist [mm]."""
        return np.sqrt(self.covariance[..., 2, 2])


def to_four_feet(
    *,
    pitch_deg: ArrayLike,
    roll_deg: ArrayLike,
    covariance_deg2: ArrayLike,
    stance: Stance,
    feet_mm: ArrayLike,
    offset: Offset,
) -> FourFeet:
    """Return what the playfield would read on the plane of all four feet, from what it reads as it stands.

    Parameters
    ----------
    pitch_deg, roll_deg : array_like, shape (...) [degree]
        Playfield angles as read while the light foot floats, -45 to 45; rear and right high positive.
    covariance_deg2 : array_like, shape (..., 2, 2) [degree^2]
        Covariance of (pitch, roll).
    stance : Stance, each shape (...) [leg number, mm]
        The light foot and its gap, or all bearing.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of FL, FR, RL, RR.
    offset : Offset, each shape (...) [degree]
        Playfield minus cabinet. A rough one will do: 1 degree moves the answer by less than 0.001.

    Returns
    -------
    FourFeet, each shape (...)
        Pitch and roll of the playfield [degree], twist [mm], their covariance.

    Raises
    ------
    BadInput
        If a number is not finite, an angle is beyond 45 degrees, a shape is wrong, or three feet are in line.

    Notes
    -----
    Exact in gradients of the cabinet. The covariance is first order. Where all feet are said to bear, a gap
    that went unnoticed may have either sign, and is taken under the foot that would float for that sign.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> four = to_four_feet(
    ...     pitch_deg=6.5, roll_deg=0.3274, covariance_deg2=np.eye(2) * 0.01,
    ...     stance=Stance(light=1, gap_mm=3.2, u_gap_mm=0.1), offset=Offset(),
    ...     feet_mm=foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300),
    ... )
    >>> float(four.pitch_deg), float(four.roll_deg), float(four.twist_mm)  # doctest: +NUMBER
    (6.5696, 0.1637, 0.8)

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    pitch, roll = _angle("pitch_deg", pitch_deg), _angle("roll_deg", roll_deg)
    spread = checked_covariance("covariance_deg2", covariance_deg2, size=2)
    short = _short_by(stance.light, feet_mm)[..., None, :]
    per_mm = -(mode_rows(feet_mm) * short).sum(axis=-1)
    gap = stance.gap_mm
    new_pitch = tilted(pitch, offset_deg=offset.pitch_deg, gradient=per_mm[..., 0] * gap)
    new_roll = tilted(roll, offset_deg=offset.roll_deg, gradient=per_mm[..., 1] * gap)
    was = angle_units(pitch - offset.pitch_deg, roll - offset.roll_deg)
    becomes = angle_units(new_pitch - offset.pitch_deg, new_roll - offset.roll_deg)
    # An error of an angle as read is an error of a gradient, which is worth a little more or less afterwards.
    ratio = (becomes / was)[..., :2]
    arm = per_mm * becomes
    of_gap = arm[..., :, None] * arm[..., None, :] * (stance.u_gap_mm**2)[..., None, None]
    of_angles = spread * ratio[..., :, None] * ratio[..., None, :]
    twist = per_mm[..., 2] * gap
    return FourFeet(new_pitch, new_roll, twist, of_gap + _pad(of_angles))


def tilted(angle_deg: ArrayLike, *, offset_deg: ArrayLike, gradient: ArrayLike) -> FloatArray:
    """Return a playfield angle after the cabinet's gradient changed.

    Parameters
    ----------
    angle_deg : array_like, shape (...) [degree]
        Playfield pitch or roll before, -45 to 45.
    offset_deg : array_like, shape (...) [degree]
        Playfield minus cabinet, -45 to 45.
    gradient : array_like, shape (...) [mm/mm]
        Change of the cabinet's gy (for pitch) or gx (for roll).

    Returns
    -------
    ndarray, shape (...) [degree]
        Playfield pitch or roll afterwards.

    Raises
    ------
    BadInput
        If a number is not finite or out of range.

    Examples
    --------
    >>> # one full turn of both rear levelers, 1.5875 mm over 1300 mm, at 6.5 degrees without offset
    >>> float(tilted(6.5, offset_deg=0, gradient=1.5875 / 1300) - 6.5)  # doctest: +NUMBER
    0.0691

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    offset = _angle("offset_deg", offset_deg)
    before = np.tan(np.radians(_angle("angle_deg", angle_deg) - offset))
    return offset + np.degrees(np.arctan(before + finite("gradient", gradient)))


def mode_rows(feet_mm: ArrayLike) -> FloatArray:
    """Return how gy, gx and twist follow from four heights.

    Parameters
    ----------
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of FL, FR, RL, RR.

    Returns
    -------
    ndarray, shape (..., 3, 4) [1/mm, 1/mm, 1]
        Row 0 for gy (pitch), row 1 for gx (roll), row 2 for twist; legs FL, FR, RL, RR.

    Raises
    ------
    BadInput
        If a position is not finite, a shape is wrong, or three feet are in line.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> rows = mode_rows(foot_positions(track_front_mm=500, track_rear_mm=500, base_mm=1000))
    >>> (rows @ [0, 0, 0, 1]).tolist()
    [0.0005, 0.001, 0.25]

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    response, null = plane_response(feet_mm), null_vector(feet_mm)
    return np.stack([response[..., 1, :], response[..., 0, :], null], axis=-2)


def angle_units(pitch_deg: ArrayLike, roll_deg: ArrayLike) -> FloatArray:
    """Return the degrees per gradient of pitch and roll, and 1 for twist.

    Parameters
    ----------
    pitch_deg, roll_deg : array_like, shape (...) [degree]
        Angles of the cabinet, above -90 and below 90.

    Returns
    -------
    ndarray, shape (..., 3) [degree, degree, 1]
        What turns (gy, gx, twist) into (pitch, roll, twist) for small changes.

    Raises
    ------
    BadInput
        If an angle is not finite or is beyond 90 degrees.

    Examples
    --------
    >>> angle_units(6.5, 0).tolist()  # doctest: +NUMBER
    [56.561, 57.296, 1.0]

    References
    ----------
    d atan(g) / dg = cos^2, derived in DEVELOPERS.md, Geometry.
    """
    angles = (
        finite("pitch_deg", pitch_deg, low=-90, high=90, unit="degrees"),
        finite("roll_deg", roll_deg, low=-90, high=90, unit="degrees"),
    )
    pitch, roll = (np.degrees(np.cos(np.radians(angle)) ** 2) for angle in angles)
    return np.stack(np.broadcast_arrays(pitch, roll, 1.0), axis=-1)


def checked_covariance(name: str, value: ArrayLike, *, size: int) -> FloatArray:
    """Return ``value`` if it can be a covariance matrix.

    Parameters
    ----------
    name : str, scalar [words]
        The argument's name, for the error.
    value : array_like, shape (..., size, size) [product of units]
        Covariances.
    size : int, scalar [count]
        Rows and columns wanted.

    Returns
    -------
    ndarray, shape (..., size, size) [product of units]
        The same numbers.

    Raises
    ------
    BadInput
        If the shape is wrong, a number is not finite, a variance is negative, or it is not symmetric.

    Examples
    --------
    >>> checked_covariance("covariance_deg2", [[0.01, 0.0], [0.0, 0.02]], size=2).shape
    (2, 2)

    References
    ----------
    JCGM 102:2011, 3.11: a covariance matrix is symmetric and positive semi-definite (from memory).
    """
    matrix = finite(name, value)
    if matrix.shape[-2:] != (size, size):
        raise BadInput(name, f"has shape {matrix.shape}", f"Give {size} by {size} on the last two axes")
    variances = np.diagonal(matrix, axis1=-2, axis2=-1)
    if (variances < 0).any():
        raise BadInput(name, "has a negative variance", "Give variances of at least 0 on the diagonal")
    # Two sides may differ by rounding, which is as small as the variances beside them, not as a number near zero.
    u = np.sqrt(variances)
    if (np.abs(matrix - np.swapaxes(matrix, -1, -2)) > 1e-9 * u[..., :, None] * u[..., None, :] + 1e-15).any():
        raise BadInput(name, "is not symmetric", "Give the same covariance on both sides of the diagonal")
    return matrix


def _short_by(light: LegArray, feet_mm: ArrayLike) -> FloatArray:
    """Heights, shape (..., 4), that one mm of gap takes away from the plane as it stands."""
    on_plus, on_minus = (at_leg(light_foot(sign, feet_mm=feet_mm)) for sign in (1.0, -1.0))
    unnoticed = (on_plus - on_minus) / 2  # the gap may be under either foot: its signed mean
    return np.where((light == ALL_BEAR)[..., None], unnoticed, at_leg(light))


def _pad(covariance: FloatArray) -> FloatArray:
    """Covariance of (pitch, roll) as one of (pitch, roll, twist)."""
    padded = np.zeros((*covariance.shape[:-2], 3, 3))
    padded[..., :2, :2] = covariance
    return padded


def _angle(name: str, value: ArrayLike) -> FloatArray:
    return finite(name, value, low=-_STEEPEST_DEG, high=_STEEPEST_DEG, unit="degrees")
