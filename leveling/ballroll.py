"""Ball roll: pitch from the time of a run and roll from how far the ball wandered, for when no level is at hand.

     rear          o      let go from rest on a mark
                  .|
                 . | s    along the run   a = 5/7 g sin pitch,  t = sqrt(2 s/a)
                .  |      sideways        d = s gx/gy on the floor plan, s gx/(gy sqrt(1 + gx^2 + gy^2)) on the board
     front  ---o---+---   finish line     it wanders to the low side: to the left if right is high
               <-d->

Valid for a solid round ball that rolls without slipping on a bare, clean, straight run. Friction and air are neglected;
they make the ball late, so that the pitch reads low. A pushed, spinning or slipping ball measures nothing.
"""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike

from leveling.checks import FloatArray, finite
from leveling.checks_shapes import together
from leveling.instruments import standard_from_limit

#: A solid ball that rolls keeps 2/7 of the pull for its spin.
ROLLING_SHARE = 5 / 7

_MOST_DEG = 89.999


@dataclass(frozen=True)
class Gravity:
    """The pull of the earth, each field shape (...).

    Attributes: ``g_mps2`` [m/s^2] 9 to 11. ``u_g_mps2`` [m/s^2] its standard uncertainty, 0 to 1.

    Raises BadInput if a field is not finite or out of its range.
    """

    g_mps2: FloatArray
    u_g_mps2: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "g_mps2", finite("g_mps2", self.g_mps2, low=9, high=11, unit="m/s^2"))
        object.__setattr__(self, "u_g_mps2", finite("u_g_mps2", self.u_g_mps2, low=0, high=1, unit="m/s^2"))


#: Standard gravity (3rd CGPM, 1901) where the latitude is not known; rectangular from the equator to the pole.
STANDARD_GRAVITY = Gravity(g_mps2=np.array(9.80665), u_g_mps2=np.array(0.015))


@dataclass(frozen=True)
class Run:
    """A straight run of the ball along the playfield and how well it was set up, each field shape (...).

    Attributes: ``run_mm`` [mm] from the middle of the ball at rest to the finish line, above 0 and at most 5000.
    ``run_error_mm`` [mm] limit of that length, the same each time. ``release_mm`` [mm] limit of how far from the mark
    the ball is let go, lengthwise and sideways, afresh each time. ``ruler_mm`` [mm] limit of reading where it crosses
    the line. ``alignment_deg`` [degree] limit of the run's angle to the playfield's own length, 0 to 45. All limits
    are rectangular and 0 or more.

    Raises BadInput if a field is not finite or out of its range.
    """

    run_mm: FloatArray
    run_error_mm: FloatArray
    release_mm: FloatArray
    ruler_mm: FloatArray
    alignment_deg: FloatArray

    def __post_init__(self) -> None:
        for item in fields(self):
            value = finite(
                item.name,
                getattr(self, item.name),
                low=0,
                high=45 if item.name == "alignment_deg" else 5000,
                unit="degrees" if item.name == "alignment_deg" else "mm",
                above=item.name == "run_mm",
            )
            object.__setattr__(self, item.name, value)


def gravity_at(latitude_deg: ArrayLike) -> Gravity:
    """Return normal gravity at a latitude.

    Parameters
    ----------
    latitude_deg : array_like, shape (...) [degree]
        Latitude, -90 to 90.

    Returns
    -------
    Gravity, each field shape (...) [m/s^2]
        Normal gravity on the ellipsoid. Its uncertainty covers heights up to 1600 m (0.005, rectangular).

    Raises
    ------
    BadInput
        If a latitude is not finite or out of range.

    Notes
    -----
    Somigliana's formula with e^2 sin^2. Gravity falls by 3.086e-6 m/s^2 per metre of height.

    Examples
    --------
    >>> gravity_at([0, 45, 90]).g_mps2.tolist()  # doctest: +NUMBER
    [9.7803253, 9.8061978, 9.8321849]

    References
    ----------
    WGS 84: NIMA TR8350.2, 3rd ed., 2000, equation 4-1 and table 3.4 (numbers from memory). Free-air gradient from
    memory.
    """
    sine2 = np.sin(np.radians(finite("latitude_deg", latitude_deg, low=-90, high=90, unit="degrees"))) ** 2
    g = 9.7803253359 * (1 + 0.00193185265241 * sine2) / np.sqrt(1 - 0.00669437999013 * sine2)
    return Gravity(g_mps2=g, u_g_mps2=np.full(g.shape, standard_from_limit(0.005, "rectangular")))


def roll_time_s(*, run_mm: ArrayLike, pitch_deg: ArrayLike, gravity: Gravity = STANDARD_GRAVITY) -> FloatArray:
    """Return the time that a solid ball takes from rest.

    Parameters
    ----------
    run_mm : array_like, shape (...) [mm]
        Length of the run along the slope, 0 or more.
    pitch_deg : array_like, shape (...) [degree]
        Slope of the run, above 0 and below 90.
    gravity : Gravity, each field shape (...) [m/s^2]
        The pull of the earth.

    Returns
    -------
    ndarray, shape (...) [s]
        Time t = sqrt(2 s/(5/7 g sin pitch)).

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the shapes do not fit.

    Examples
    --------
    >>> float(roll_time_s(run_mm=450, pitch_deg=6.5))  # doctest: +NUMBER
    1.065

    References
    ----------
    Solid ball rolling without slipping: a = g sin/(1 + 2/5). Derived in DEVELOPERS.md, Geometry.
    """
    run, pitch, g = together(
        run_mm=finite("run_mm", run_mm, low=0, unit="mm"),
        pitch_deg=finite("pitch_deg", pitch_deg, low=0, high=_MOST_DEG, unit="degrees", above=True),
        g_mps2=gravity.g_mps2,
    )
    return np.sqrt(2 * run / 1000 / (ROLLING_SHARE * g * np.sin(np.radians(pitch))))


def wander_mm(*, run_mm: ArrayLike, pitch_deg: ArrayLike, roll_deg: ArrayLike) -> FloatArray:
    """Return how far a ball from rest wanders sideways, measured on the board.

    Parameters
    ----------
    run_mm : array_like, shape (...) [mm]
        Length of the run along the playfield, 0 or more.
    pitch_deg : array_like, shape (...) [degree]
        Pitch, above 0 and below 90.
    roll_deg : array_like, shape (...) [degree]
        Roll, above -90 and below 90, positive = right side higher.

    Returns
    -------
    ndarray, shape (...) [mm]
        Distance from the straight run, positive = to the left.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the shapes do not fit.

    Examples
    --------
    >>> float(wander_mm(run_mm=450, pitch_deg=6.5, roll_deg=0.1))  # doctest: +NUMBER
    6.85

    References
    ----------
    Derived in DEVELOPERS.md, Geometry: from rest the ball follows the steepest line.
    """
    run, pitch, roll = together(
        run_mm=finite("run_mm", run_mm, low=0, unit="mm"),
        pitch_deg=finite("pitch_deg", pitch_deg, low=0, high=_MOST_DEG, unit="degrees", above=True),
        roll_deg=finite("roll_deg", roll_deg, low=-_MOST_DEG, high=_MOST_DEG, unit="degrees"),
    )
    gx, gy = np.tan(np.radians(roll)), np.tan(np.radians(pitch))
    return run * gx / (gy * np.sqrt(1 + gx**2 + gy**2))
