"""Simulated visits: people survey machines that drift, with levels of their own, and turn what is far off.

Every number is drawn from the ``rng`` passed in; `TOLERANCES_DEG` and `HANDS` are invented, no source.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from leveling.checks import FloatArray
from leveling.checks_shapes import BoolArray
from leveling.drift import Series
from leveling.drift_forecast import Limits
from leveling.simulate_drift import TWIST_SHARE

#: In spec within these of what is wanted: pitch, roll, twist.
TOLERANCES_DEG = np.array([0.20, 0.15, 0.15])


class Hands(NamedTuple):
    """How people work, each a number, shape (): spreads of pitch and roll; twist has `TWIST_SHARE` of those in degree.

    ``found_deg`` [deg] of where a machine stands before anybody surveyed it; ``noise_deg`` [deg] of a survey by itself;
    ``shared_deg`` [deg] of the zero of a level, the same in all its surveys; ``change_share`` [1] of the visits with
    another level than before; ``bad_share`` [1] of surveys read wrong, and ``bad_deg`` [deg] by how much;
    ``turn_share`` [1] of the tolerance beyond which the legs are turned; ``turn_deg`` [deg] how far the result is off
    what was told.
    """

    found_deg: float = 0.4
    noise_deg: float = 0.03
    shared_deg: float = 0.02
    change_share: float = 0.2
    bad_share: float = 0.01
    bad_deg: float = 1.0
    turn_share: float = 0.75
    turn_deg: float = 0.03


HANDS = Hands()
_SHARES = np.array([1.0, 1.0, TWIST_SHARE])


@dataclass(frozen=True)
class Visited:
    """What visits found and left behind.

    ``series``, shape (n, 3, V) [deg, day]: the surveys, as beyond what is wanted. ``number`` [deg], shape (n, 3, T):
    where machines truly are on all days, after the turns. ``step`` and ``step_variance``, shape (n, 3) [deg], [deg^2]:
    turns after the last survey. ``bad`` [yes or no], shape (n, V): read wrong. ``limits``, shape (3, n) [deg].
    """

    series: Series
    number: FloatArray
    step: FloatArray
    step_variance: FloatArray
    bad: BoolArray
    limits: Limits


def visit(
    *, rng: np.random.Generator, days: FloatArray, moved: FloatArray, visits: int, hands: Hands = HANDS
) -> Visited:
    """Return what surveys on the first days find, and where machines are on all days.

    Parameters
    ----------
    rng : numpy.random.Generator, scalar [random numbers]
        Where the numbers come from.
    days : ndarray, shape (n, T) [day]
        The visits, then other days to look on.
    moved : ndarray, shape (n, 3, T) [deg]
        How machines move by themselves, as `leveling.simulate_drift.move` gives it.
    visits : int, scalar [count]
        How many of the days have a visit, at least 1.
    hands : Hands, scalar [deg, 1]
        How people work.

    Returns
    -------
    Visited, its series shape (n, 3, V) [deg, day]
        Surveys, and the truth.

    Raises
    ------
    Nothing: the numbers come from the simulator.

    Examples
    --------
    >>> days = np.array([[0.0, 30, 60, 90]])
    >>> visited = visit(rng=np.random.default_rng(1), days=days, moved=np.zeros((1, 3, 4)), visits=2)
    >>> visited.series.shape, visited.number.shape
    ((1, 3, 2), (1, 3, 4))

    References
    ----------
    Invented, no source: `HANDS`.
    """
    count = len(days)
    noise, turn, shared = (_SHARES * spread for spread in (hands.noise_deg, hands.turn_deg, hands.shared_deg))
    number = moved + (rng.normal(0, 1, (count, 3)) * _SHARES * hands.found_deg)[..., None]
    zero = rng.normal(0, 1, (count, 3)) * shared
    values, steps, step_variances = np.zeros((3, count, 3, visits + 1))
    bad = rng.random((count, visits)) < hands.bad_share
    for k in range(visits):
        if k:
            changed = (rng.random(count) < hands.change_share)[:, None]
            zero = np.where(changed, rng.normal(0, 1, (count, 3)) * shared, zero)
            step_variances[..., k] += np.where(changed, 2 * shared**2, 0)
        off = np.where(bad[:, k, None], rng.normal(0, hands.bad_deg, (count, 3)), 0)
        read = number[..., k] + zero + rng.normal(0, 1, (count, 3)) * noise + off
        values[..., k] = read
        turned = (np.abs(read) > hands.turn_share * TOLERANCES_DEG).any(axis=1)[:, None]
        told = np.where(turned, -read, 0)
        number[..., k + 1 :] += (told + np.where(turned, rng.normal(0, 1, (count, 3)) * turn, 0))[..., None]
        steps[..., k + 1] = told
        step_variances[..., k + 1] += np.where(turned, turn**2, 0)
    series = Series(
        days=days[:, None, :visits],
        values=values[..., :visits],
        variances=(noise**2)[:, None],
        steps=steps[..., :visits],
        step_variances=step_variances[..., :visits],
        seen=np.ones(1, dtype=bool),
    )
    tolerance = np.repeat(TOLERANCES_DEG[:, None], count, axis=1)
    return Visited(
        series=series,
        number=number,
        step=steps[..., visits],
        step_variance=step_variances[..., visits],
        bad=bad,
        limits=Limits(low=-tolerance, high=tolerance, shared=(shared**2)[:, None]),
    )
