"""Grounds: how machines move on each kind of floor before any of them has taught anything.

Common practice, no source: the orders of magnitude that people who level machines expect. `leveling.drift_pool` puts
what an organization's own machines taught in their place.
"""

from typing import NamedTuple

import numpy as np

from leveling.checks import FloatArray
from leveling.checks_shapes import IntArray
from leveling.drift import Walk
from leveling.drift_model import Hazard, Model
from leveling.errors import BadInput


class Ground(NamedTuple):
    """Spreads of pitch and roll on one kind of floor, each a number, shape (); twist is told in mm, see `TWIST`.

    ``wander_deg`` [deg per square root of a day]; ``rate_deg_per_day`` [deg/day] of a creep; ``settling_deg`` [deg] of
    how far new feet sink, and ``settling_days`` [day]; ``yearly_deg`` [deg] of the yearly swing; ``jumps_per_year``
    [1/year].
    """

    wander_deg: float
    rate_deg_per_day: float
    settling_deg: float
    settling_days: float
    yearly_deg: float
    jumps_per_year: float


#: By kind of floor. Common practice, no source.
GROUNDS = {
    "concrete": Ground(0.002, 0.00005, 0.05, 20.0, 0.0, 0.3),
    "tile": Ground(0.002, 0.00005, 0.05, 20.0, 0.0, 0.5),
    "timber": Ground(0.004, 0.0002, 0.12, 40.0, 0.08, 0.7),
    "carpet_on_concrete": Ground(0.003, 0.0001, 0.20, 30.0, 0.0, 0.4),
    "carpet_on_timber": Ground(0.004, 0.0002, 0.20, 40.0, 0.08, 0.7),
    "other": Ground(0.003, 0.0001, 0.15, 30.0, 0.04, 0.5),
}

#: Twist in mm for a degree of pitch or roll: a gap of 2 mm where the machine tilts by a degree. Common practice.
TWIST = 0.5

#: The day of the year on which timber swings widest, from 1 January. Common practice: in the damp of late summer.
YEARLY_PEAK_DAY = 230.0

#: How far a machine jumps, and a bad survey is off [deg]; the share of bad surveys. Common practice, no source.
JUMP_DEG, BAD_DEG, BAD_SHARE = 0.25, 1.0, 0.01

#: How far somebody sets a machine anew without a word, and before which share of surveys. Common practice, no source.
SET_DEG, SET_SHARE = 1.0, 0.02

_SCALE = np.array([1.0, 1.0, TWIST])


def built_in(kinds: IntArray) -> Model:
    """Return the built-in model of machines: pitch [deg], roll [deg], twist [mm].

    Parameters
    ----------
    kinds : ndarray of int, shape (n) [index]
        The kind of floor of each, as they stand in `GROUNDS`.

    Returns
    -------
    Model, shape (n) [deg, mm, day]
        How they move; days are counted since a 1 January.

    Raises
    ------
    BadInput
        If a kind is out of range.

    Examples
    --------
    >>> model = built_in(np.array([0, 2]))
    >>> model.hazard.jumps_per_year.tolist(), model.walk.yearly[:, 0].tolist()
    ([0.3, 0.7], [0.0, 0.0064])

    References
    ----------
    Common practice, no source.
    """
    if ((kinds < 0) | (kinds >= len(GROUNDS))).any():
        raise BadInput("kinds", "names a floor that is not known", f"Give 0 to {len(GROUNDS) - 1}")
    of = dict(zip(Ground._fields, np.array(list(GROUNDS.values()))[kinds].T, strict=True))
    return Model(
        walk=Walk(
            level=_variance(of["wander_deg"]),
            rate=np.zeros(()),
            first_rate=_variance(of["rate_deg_per_day"]),
            settling=_variance(of["settling_deg"]),
            settling_days=of["settling_days"][:, None],
            yearly=_variance(of["yearly_deg"]),
            yearly_peak=np.array(YEARLY_PEAK_DAY),
        ),
        hazard=Hazard(
            jumps_per_year=of["jumps_per_year"],
            jump_deg=JUMP_DEG * _SCALE,
            bad_share=np.array(BAD_SHARE),
            bad_deg=BAD_DEG * _SCALE,
            set_share=np.array(SET_SHARE),
            set_deg=SET_DEG * _SCALE,
        ),
    )


def _variance(spread: FloatArray) -> FloatArray:
    return (spread[:, None] * _SCALE) ** 2
