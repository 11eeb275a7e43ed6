"""A machine's offset, playfield minus cabinet, learned from one survey where floor and legs are known."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from collection import presets
from collection.arrays.floors import floor_under
from collection.models import Bay, FloorSlope, Leg, Machine, Survey
from leveling.four_feet import FourFeet, Offset
from leveling.frame import foot_positions
from leveling.standing import cabinet_of, foot_heights, learn_offset


@dataclass(frozen=True)
class OffsetLearned:
    """Playfield minus cabinet [degree], with standard uncertainties."""

    pitch_offset_deg: float
    roll_offset_deg: float
    u_pitch_offset_deg: float
    u_roll_offset_deg: float


def offset_from(
    *, survey: Survey, machine: Machine, bay: Bay, legs: Sequence[Leg], slope: FloorSlope
) -> OffsetLearned | None:
    """Return the offset that one survey tells, starting from what is usual; None if an exposure is not known.

    Each survey starts afresh: the same level on the same floor brings the same error again, so two do not make
    the offset surer.
    """
    exposures = [leg.exposure_mm for leg in legs]
    if len(legs) != 4 or None in exposures:
        return None
    floor = floor_under(slope=slope, bay=bay, machine=machine)
    heights = foot_heights(
        floor_mm=floor.heights_mm,
        floor_covariance_mm2=floor.covariance_mm2,
        exposure_mm=[exposure or 0.0 for exposure in exposures],
        leg_mm=[leg.length_mm for leg in legs],
        pad_mm=[leg.pad_mm for leg in legs],
    )
    feet = foot_positions(
        track_front_mm=machine.track_front_mm, track_rear_mm=machine.track_rear_mm, base_mm=machine.base_mm
    )
    variances = np.array([survey.u_pitch_deg**2, survey.u_roll_deg**2, survey.u_twist_mm**2])
    learned = learn_offset(
        prior=_usual(machine),
        playfield=FourFeet(
            np.array(survey.pitch_deg), np.array(survey.roll_deg), np.array(survey.twist_mm), np.diag(variances)
        ),
        cabinet=cabinet_of(heights, feet),
    )
    return OffsetLearned(
        pitch_offset_deg=float(learned.pitch_deg),
        roll_offset_deg=float(learned.roll_deg),
        u_pitch_offset_deg=float(learned.u_pitch_deg),
        u_roll_offset_deg=float(learned.u_roll_deg),
    )


def _usual(machine: Machine) -> Offset:
    """What is believed of a machine of this era before anyone measured it."""
    return Offset(
        presets.ERAS[machine.era].pitch_offset_deg, 0.0, presets.U_PITCH_OFFSET_DEG, presets.U_ROLL_OFFSET_DEG
    )
