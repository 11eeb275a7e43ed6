"""What a rolled ball tells: pitch from the time by watch or film, roll from the wander by ruler, and how sure.

     roll: strong      7 mm per 0.1 degree over 450 mm at 6.5
     pitch: weak       by watch 0.1 s is more than 1 degree over 450 mm; by frames of a slow-motion film about 0.05

The ball, the run and what they assume stand in ``ballroll``.
"""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike

from leveling.ballroll import ROLLING_SHARE, STANDARD_GRAVITY, Gravity, Run
from leveling.checks import FloatArray, finite
from leveling.checks_shapes import together
from leveling.instruments import Budget, standard_from_limit
from leveling.instruments_looks import NO_IDEA_U_DEG, SIGMAS_95, Estimate

#: Outcome of a ball roll, and in words.
MEASURED, WORTH_LITTLE, IMPOSSIBLE = range(3)
BALL_OUTCOMES = (
    "measured",
    "worth little: it cannot tell in from out of spec; film it, use a longer run, or use a level",
    "no rolling ball does this: check the run, the time and the ruler",
)

#: Standard uncertainty above which a pitch or roll is worth little: the usual tolerance. Common practice, no source.
WORTH_LITTLE_DEG = 0.2

_MOST_DEG = 89.999


@dataclass(frozen=True)
class RollTime:
    """The time of a roll, each field shape (...).

    Attributes: ``time_s`` [s] from letting go to the finish line, above 0. ``u_time_s`` [s] its standard uncertainty,
    0 or more. By a hand-held watch about 0.1 s: common practice, no source.

    Raises BadInput if a field is not finite or out of its range.
    """

    time_s: FloatArray
    u_time_s: FloatArray

    def __post_init__(self) -> None:
        time = finite("time_s", self.time_s, low=0, high=60, unit="seconds", above=True)
        object.__setattr__(self, "time_s", time)
        object.__setattr__(self, "u_time_s", finite("u_time_s", self.u_time_s, low=0, high=60, unit="seconds"))


def time_from_frames(*, frames: ArrayLike, rate_hz: ArrayLike, frame_error: ArrayLike = 1.0) -> RollTime:
    """Return the time between two events counted in the frames of a film.

    Parameters
    ----------
    frames : array_like, shape (...) [frame]
        Frames from the ball's first movement to the finish line, above 0.
    rate_hz : array_like, shape (...) [1/s]
        Frames per second at which it was filmed (not played), above 0 and at most 100000.
    frame_error : array_like, shape (...) [frame]
        How far a person may misjudge the frame of each event, 0 or more: rectangular, beside the rounding to whole
        frames. One frame: common practice, no source.

    Returns
    -------
    RollTime, each field shape (...) [s]
        Time and its standard uncertainty.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the shapes do not fit.

    Examples
    --------
    >>> time = time_from_frames(frames=256, rate_hz=240)
    >>> float(time.time_s), float(time.u_time_s)  # doctest: +NUMBER
    (1.0667, 0.0038)

    References
    ----------
    Two rectangular errors for each of two events: JCGM 100:2008 (GUM), 4.3.7.
    """
    count, rate, error = together(
        frames=finite("frames", frames, low=0, unit="frames", above=True),
        rate_hz=finite("rate_hz", rate_hz, low=0, high=100_000, unit="frames per second", above=True),
        frame_error=finite("frame_error", frame_error, low=0, unit="frames"),
    )
    u_event = np.hypot(standard_from_limit(0.5, "rectangular"), standard_from_limit(error, "rectangular"))
    return RollTime(time_s=count / rate, u_time_s=np.sqrt(2) * u_event / rate)


def pitch_from_time(*, time: RollTime, run: Run, gravity: Gravity = STANDARD_GRAVITY) -> Estimate:
    """Return the pitch from the time of a roll.

    Parameters
    ----------
    time : RollTime, each field shape (...) [s]
        From letting go to the finish line.
    run : Run, each field shape (...) [mm, degree]
        The run.
    gravity : Gravity, each field shape (...) [m/s^2]
        The pull of the earth.

    Returns
    -------
    Estimate, each field shape (...) [degree]
        Pitch, 95 % interval and budget: time and release are ``repeat_deg``, length and gravity ``accuracy_deg``.
        ``outcome`` as in BALL_OUTCOMES.

    Raises
    ------
    BadInput
        If the shapes do not fit.

    Notes
    -----
    sin pitch = 2 s/(5/7 g t^2). u = tan pitch sqrt((2 u_t/t)^2 + (u_s/s)^2 + (u_g/g)^2). The interval comes from the
    ends of t plus or minus 1.96 standard uncertainties, so it is longer upward. A tenth of a second over 450 mm is
    more than 1 degree at 6.5.

    Examples
    --------
    >>> run = Run(run_mm=450, run_error_mm=1, release_mm=1, ruler_mm=1, alignment_deg=0.2)
    >>> by_watch = pitch_from_time(time=RollTime(time_s=1.065, u_time_s=0.1), run=run)
    >>> float(by_watch.angle_deg), float(by_watch.u_deg), int(by_watch.outcome)  # doctest: +NUMBER
    (6.50, 1.23, 1)
    >>> by_film = pitch_from_time(time=time_from_frames(frames=256, rate_hz=240), run=run)
    >>> float(by_film.angle_deg), float(by_film.u_deg)  # doctest: +NUMBER
    (6.48, 0.049)

    References
    ----------
    JCGM 100:2008 (GUM), 5.1.2. Derived in DEVELOPERS.md, Geometry.
    """
    t, u_t, s, u_long, u_release, g, u_g = together(
        time_s=time.time_s,
        u_time_s=time.u_time_s,
        run_mm=run.run_mm,
        run_error_mm=standard_from_limit(run.run_error_mm, "rectangular"),
        release_mm=standard_from_limit(run.release_mm, "rectangular"),
        g_mps2=gravity.g_mps2,
        u_g_mps2=gravity.u_g_mps2,
    )
    pitch = _pitch(s, g, t)
    possible = pitch < 90
    slope = np.degrees(np.tan(np.radians(np.where(possible, pitch, 0.0))))
    fresh, common = np.hypot(2 * u_t / t, u_release / s) * slope, np.hypot(u_long / s, u_g / g) * slope
    u = np.hypot(fresh, common)
    # all errors as if of the time, so that the interval bends as the time does
    half = SIGMAS_95 * np.sqrt(u_t**2 + (t / 2) ** 2 * ((u_long / s) ** 2 + (u_release / s) ** 2 + (u_g / g) ** 2))
    return _estimate(
        angle=pitch,
        ends=(_pitch(s, g, t + half), _pitch(s, g, np.maximum(t - half, 1e-9))),
        budget=Budget(repeat_deg=np.minimum(fresh, 60), accuracy_deg=np.minimum(common, 60)),
        outcome=np.where(possible, np.where(u > WORTH_LITTLE_DEG, WORTH_LITTLE, MEASURED), IMPOSSIBLE),
    )


def roll_from_wander(*, wander_mm: ArrayLike, run: Run, pitch_deg: ArrayLike, u_pitch_deg: ArrayLike) -> Estimate:
    """Return the roll from how far the ball wandered sideways.

    Parameters
    ----------
    wander_mm : array_like, shape (...) [mm]
        Distance from the straight run at the finish line, measured on the board, -5000 to 5000, positive = to the
        left: the right side is high.
    run : Run, each field shape (...) [mm, degree]
        The run.
    pitch_deg : array_like, shape (...) [degree]
        Pitch of the playfield, above 0 and below 90.
    u_pitch_deg : array_like, shape (...) [degree]
        Its standard uncertainty, 0 to 45.

    Returns
    -------
    Estimate, each field shape (...) [degree]
        Roll, 95 % interval and budget: ruler and release are ``repeat_deg``, the run's direction ``alignment_deg``,
        length and pitch ``accuracy_deg``. ``outcome`` as in BALL_OUTCOMES.

    Raises
    ------
    BadInput
        If a number is not finite or out of range, or the shapes do not fit.

    Notes
    -----
    With q = d tan(pitch)/s: tan roll = q sqrt((1 + tan^2 pitch)/(1 - q^2)). A run turned by psi counts as roll
    tan(pitch) psi, as with a level laid across: 0.11 degree for 1 degree at 6.5. So measure from the side rail,
    both where the ball starts and where it crosses the line.

    Examples
    --------
    >>> run = Run(run_mm=450, run_error_mm=1, release_mm=1, ruler_mm=1, alignment_deg=0.2)
    >>> roll = roll_from_wander(wander_mm=6.85, run=run, pitch_deg=6.5, u_pitch_deg=0.1)
    >>> float(roll.angle_deg), float(roll.u_deg)  # doctest: +NUMBER
    (0.100, 0.0178)

    References
    ----------
    JCGM 100:2008 (GUM), 5.1.2. Derived in DEVELOPERS.md, Geometry.
    """
    d, s, u_s, u_release, u_ruler, psi, pitch, u_pitch = together(
        wander_mm=finite("wander_mm", wander_mm, low=-5000, high=5000, unit="mm"),
        run_mm=run.run_mm,
        run_error_mm=standard_from_limit(run.run_error_mm, "rectangular"),
        release_mm=standard_from_limit(run.release_mm, "rectangular"),
        ruler_mm=standard_from_limit(run.ruler_mm, "rectangular"),
        alignment_deg=standard_from_limit(run.alignment_deg, "rectangular"),
        pitch_deg=finite("pitch_deg", pitch_deg, low=0, high=_MOST_DEG, unit="degrees", above=True),
        u_pitch_deg=finite("u_pitch_deg", u_pitch_deg, low=0, high=45, unit="degrees"),
    )
    gy = np.tan(np.radians(pitch))
    q = d * gy / s
    possible = np.abs(q) < 1
    q = np.where(possible, q, 0.0)
    roll = np.degrees(np.arctan(q * np.sqrt((1 + gy**2) / (1 - q**2))))
    # to first order of a small roll; the cosines are of the second
    per_mm = np.degrees(gy / s)
    fresh = per_mm * np.sqrt(u_ruler**2 + u_release**2 * (1 + (d / s) ** 2))
    common = np.hypot(per_mm * d / s * u_s, d / s * (1 + gy**2) * u_pitch)
    budget = Budget(
        alignment_deg=np.minimum(gy * psi * (1 + (d / s) ** 2), 60),
        repeat_deg=np.minimum(fresh, 60),
        accuracy_deg=np.minimum(common, 60),
    )
    half = SIGMAS_95 * budget.u_deg
    return _estimate(
        angle=roll,
        ends=(np.maximum(roll - half, -90), np.minimum(roll + half, 90)),
        budget=budget,
        outcome=np.where(possible, np.where(budget.u_deg > WORTH_LITTLE_DEG, WORTH_LITTLE, MEASURED), IMPOSSIBLE),
    )


def _pitch(run_mm: FloatArray, g: FloatArray, time_s: FloatArray) -> FloatArray:
    """Slope for this time [degree], 90 where no slope is steep enough."""
    sine = 2 * run_mm / 1000 / (ROLLING_SHARE * g * time_s**2)
    return np.degrees(np.arcsin(np.minimum(sine, 1)))


def _estimate(
    *, angle: FloatArray, ends: tuple[FloatArray, FloatArray], budget: Budget, outcome: FloatArray
) -> Estimate:
    """Where no ball does this, nothing is known."""
    lost = outcome == IMPOSSIBLE
    parts = {item.name: getattr(budget, item.name) for item in fields(budget)}
    parts = {name: np.where(lost, 0.0, value) for name, value in parts.items()}
    parts["accuracy_deg"] = np.where(lost, NO_IDEA_U_DEG, parts["accuracy_deg"])
    return Estimate(
        angle_deg=np.where(lost, 0.0, angle),
        low_deg=np.where(lost, -90.0, ends[0]),
        high_deg=np.where(lost, 90.0, ends[1]),
        budget=Budget(**parts),
        outcome=outcome.astype(np.int64),
    )
