"""Standing: what a cabinet and its playfield will read, from the floor and the legs alone.

      height of a corner = floor under the foot + pad or cup + leg length + leveler exposure
      exposure           = turns out from fully in x lead
      playfield          = cabinet + offset, for pitch and for roll

Levels on one floor tell changes of the playfield without knowing the offset. Predictions on a new floor need
it; it is learned from surveys of the machine where floor and legs are known.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite, last_axis
from leveling.four_feet import FourFeet, Offset, angle_units, checked_covariance, mode_rows
from leveling.frame import LEGS_MEANING, heights_to_modes

#: Leg, pad and exposure of one leg together, standard uncertainty. Common practice, no source.
U_LEG_MM = 1.0


@dataclass(frozen=True)
class FootHeights:
    """Heights at which the four feet would hold the cabinet.

    ``heights_mm``, shape (..., 4) [mm], legs FL, FR, RL, RR, above the floor's own reference.
    ``covariance_mm2``, shape (..., 4, 4) [mm^2].

    Raises BadInput if a number is not finite, a shape is wrong, or the covariance can be none.
    """

    heights_mm: FloatArray
    covariance_mm2: FloatArray

    def __post_init__(self) -> None:
        heights = last_axis("heights_mm", finite("heights_mm", self.heights_mm), 4, LEGS_MEANING)
        object.__setattr__(self, "heights_mm", heights)
        covariance = checked_covariance("covariance_mm2", self.covariance_mm2, size=4)
        object.__setattr__(self, "covariance_mm2", covariance)


def foot_heights(
    *,
    floor_mm: ArrayLike,
    floor_covariance_mm2: ArrayLike,
    exposure_mm: ArrayLike,
    leg_mm: ArrayLike,
    pad_mm: ArrayLike = 0.0,
    u_leg_mm: ArrayLike = U_LEG_MM,
) -> FootHeights:
    """Return where four legs would hold the cabinet on a floor.

    Parameters
    ----------
    floor_mm : array_like, shape (..., 4) [mm]
        Height of the floor under FL, FR, RL, RR, such as ``floors.bay_floor`` gives.
    floor_covariance_mm2 : array_like, shape (..., 4, 4) [mm^2]
        Covariance of those heights.
    exposure_mm : array_like, shape (..., 4) or () [mm]
        Leveler out of the leg, at least 0; turns out from fully in times the lead.
    leg_mm : array_like, shape (..., 4) or () [mm]
        Length of each leg, above 0.
    pad_mm : array_like, shape (..., 4) or () [mm]
        Thickness of pad, cup or shim under each foot, at least 0.
    u_leg_mm : array_like, shape (..., 4) or () [mm]
        Standard uncertainty of leg, pad and exposure of each leg together. 1 mm: common practice, no source.
        With an offset that was learned on these same legs, pitch and roll already hold the errors of the
        lengths: give only what is new, such as reading the exposure.

    Returns
    -------
    FootHeights, shape (..., 4) and (..., 4, 4)
        Heights [mm] and their covariance [mm^2].

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or a shape is wrong.

    Examples
    --------
    >>> feet = foot_heights(
    ...     floor_mm=[0, 4, -10, -6], floor_covariance_mm2=np.zeros((4, 4)),
    ...     exposure_mm=[15, 15, 30, 30], leg_mm=724, u_leg_mm=0.5,
    ... )
    >>> feet.heights_mm.tolist()
    [739.0, 743.0, 744.0, 748.0]

    References
    ----------
    Sum of heights, derived in DEVELOPERS.md, Geometry.
    """
    floor = last_axis("floor_mm", finite("floor_mm", floor_mm, unit="mm"), 4, LEGS_MEANING)
    covariance = checked_covariance("floor_covariance_mm2", floor_covariance_mm2, size=4)
    parts = (
        finite("exposure_mm", exposure_mm, low=0, unit="mm"),
        finite("leg_mm", leg_mm, low=0, above=True, unit="mm"),
        finite("pad_mm", pad_mm, low=0, unit="mm"),
    )
    u_leg = np.broadcast_to(finite("u_leg_mm", u_leg_mm, low=0, unit="mm"), floor.shape)
    own = (u_leg**2)[..., None] * np.eye(4)
    return FootHeights(heights_mm=floor + sum(parts), covariance_mm2=covariance + own)


def cabinet_of(heights: FootHeights, feet_mm: ArrayLike) -> FourFeet:
    """Return the cabinet's pitch, roll and twist on the plane of all four feet.

    Parameters
    ----------
    heights : FootHeights, shape (..., 4) and (..., 4, 4) [mm, mm^2]
        Heights of FL, FR, RL, RR with covariance.
    feet_mm : array_like, shape (..., 4, 2) [mm]
        Positions of the feet.

    Returns
    -------
    FourFeet, each shape (...)
        Angles of the cabinet [degree], twist [mm], their covariance.

    Raises
    ------
    BadInput
        If a position is not finite, a shape is wrong, or three feet are in line.

    Examples
    --------
    >>> from leveling.frame import foot_positions
    >>> feet_mm = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
    >>> heights = FootHeights(heights_mm=[739, 743, 744, 748], covariance_mm2=np.eye(4))
    >>> cabinet = cabinet_of(heights, feet_mm)
    >>> float(cabinet.pitch_deg), float(cabinet.u_pitch_deg), float(cabinet.u_roll_deg)  # doctest: +NUMBER
    (0.2204, 0.0441, 0.1023)

    References
    ----------
    Law of propagation of uncertainty: JCGM 102:2011, 6.2 (from memory); geometry derived in DEVELOPERS.md.
    """
    modes = heights_to_modes(heights.heights_mm, feet_mm)
    rows = mode_rows(feet_mm) * angle_units(modes.pitch_deg, modes.roll_deg)[..., None]
    covariance = rows @ heights.covariance_mm2 @ np.swapaxes(rows, -1, -2)
    return FourFeet(modes.pitch_deg, modes.roll_deg, modes.twist_mm, covariance)


def playfield_of(cabinet: FourFeet, offset: Offset) -> FourFeet:
    """Return the playfield on the plane of all four feet, from the cabinet and the machine's offset.

    Parameters
    ----------
    cabinet : FourFeet, each shape (...) [degree, mm]
        The cabinet, such as ``cabinet_of`` gives.
    offset : Offset, each shape (...) [degree]
        Playfield minus cabinet, with its uncertainty.

    Returns
    -------
    FourFeet, each shape (...)
        Angles of the playfield [degree], twist [mm], their covariance.

    Raises
    ------
    BadInput
        If the sum of the angles is 90 degrees or more.

    Examples
    --------
    >>> cabinet = FourFeet(0.22, 0.41, 0.0, np.diag([0.04, 0.1, 0.5]) ** 2)
    >>> playfield = playfield_of(cabinet, Offset(pitch_deg=6.0, roll_deg=-0.1, u_pitch_deg=0.03))
    >>> float(playfield.pitch_deg), float(playfield.u_pitch_deg)  # doctest: +NUMBER
    (6.22, 0.05)

    References
    ----------
    Derived in DEVELOPERS.md, Geometry.
    """
    variances = np.stack(np.broadcast_arrays(offset.u_pitch_deg**2, offset.u_roll_deg**2, 0.0), axis=-1)
    return FourFeet(
        cabinet.pitch_deg + offset.pitch_deg,
        cabinet.roll_deg + offset.roll_deg,
        cabinet.twist_mm,
        cabinet.covariance + variances[..., None] * np.eye(3),
    )


def learn_offset(*, prior: Offset, playfield: FourFeet, cabinet: FourFeet) -> Offset:
    """Return what a machine's offset is after one survey where floor and legs are known.

    Parameters
    ----------
    prior : Offset, each shape (...) [degree]
        What was believed before; ``Offset()`` for a machine nobody has surveyed.
    playfield : FourFeet, each shape (...) [degree, mm]
        The survey on the plane of all four feet, such as ``four_feet.to_four_feet`` gives.
    cabinet : FourFeet, each shape (...) [degree, mm]
        The cabinet from floor and legs, such as ``cabinet_of`` gives.

    Returns
    -------
    Offset, each shape (...)
        Posterior mean and standard uncertainty [degree].

    Raises
    ------
    BadInput
        If the offset found is beyond 45 degrees.

    Notes
    -----
    Pitch and roll are each a normal prior with a normal observation, weighed by inverse variance; that
    playfield and cabinet share a covariance is left out. Feed the answer back as the prior of the next survey
    only if its errors are new: the same level and the same floor measurement bring the same error again.

    Examples
    --------
    >>> learned = learn_offset(
    ...     prior=Offset(pitch_deg=5.0, u_pitch_deg=0.4),
    ...     playfield=FourFeet(6.5, 0.0, 0.0, np.diag([0.06, 0.07, 0.1]) ** 2),
    ...     cabinet=FourFeet(1.0, 0.1, 0.0, np.diag([0.08, 0.1, 0.5]) ** 2),
    ... )
    >>> float(learned.pitch_deg), float(learned.u_pitch_deg)  # doctest: +NUMBER
    (5.4706, 0.0970)

    References
    ----------
    Conjugate normal update, A. Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section 2.5 (from memory).
    """
    pitch, u_pitch = _update(
        (prior.pitch_deg, prior.u_pitch_deg**2),
        (playfield.pitch_deg - cabinet.pitch_deg, playfield.u_pitch_deg**2 + cabinet.u_pitch_deg**2),
    )
    roll, u_roll = _update(
        (prior.roll_deg, prior.u_roll_deg**2),
        (playfield.roll_deg - cabinet.roll_deg, playfield.u_roll_deg**2 + cabinet.u_roll_deg**2),
    )
    return Offset(pitch, roll, u_pitch, u_roll)


def _update(prior: tuple[FloatArray, FloatArray], seen: tuple[FloatArray, FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Posterior mean and standard uncertainty from two (mean, variance)."""
    total = prior[1] + seen[1]
    # Two certain and equal numbers leave nothing to weigh: keep the prior.
    weight = np.where(total > 0, prior[1] / np.where(total > 0, total, 1.0), 0.0)
    return prior[0] + weight * (seen[0] - prior[0]), np.sqrt((1 - weight) * prior[1])
