"""The whole job on 1,000 simulated machines: survey, plan, turn, and see how the machines truly stand.

    floors, legs, offsets ---> stand ---> a level, three reversed pairs each way, blades under the light foot
           ^                                        |
           | turned by hand                         v
         truth <------ plan_legs <------ to_four_feet <------ playfield_from_readings
           |                 \\-----> after_turns, as_it_stands: what it should read, and how sure
           +---- compared with that, and with the spec

"A plan was found" is the outcome PLAN. It is "provable" if ``verdicts.provable`` says so of pitch, roll and twist with
the uncertainty predicted for after the turns. "Inside" means the true playfield as it stands, on three feet where it
rocks, with the true gap. None of it is tuned to a seed: over seeds 1 to 200 (1,000 machines each, rigid and springy)
96.0 to 99.2 % of the provable plans ended inside (mean 97.6 %), and stated u over rms error was 0.97 to 1.06 for pitch
and 0.95 to 1.07 for roll. About one machine in six gets no plan: 41 mm of travel do not reach 6.5 degrees.
"""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from leveling.contact import ALL_BEAR, at_leg
from leveling.floors import bay_floor, plane_from_slopes
from leveling.four_feet import FourFeet, Offset, to_four_feet
from leveling.frame import heights_to_modes
from leveling.instruments import Instrument
from leveling.instruments_zeros import reversed_pair
from leveling.playfields import playfield_from_readings
from leveling.prediction import Reading, Turning, after_turns, as_it_stands
from leveling.simulate import Machines, Stood, corner_heights, make_machines, stand, turned
from leveling.simulate_floors import floor_heights, make_floors
from leveling.simulate_work import feel_gap, make_levels, read_level, turn_legs
from leveling.standing import cabinet_of, foot_heights, learn_offset, playfield_of
from leveling.support import Stance, gap_from_feeler, stance_of
from leveling.turns import LegPlan, Outcome, PlanRequest, plan_legs
from leveling.verdicts import provable

SEEDS = (1, 2, 3, 4, 5)
MACHINES = 1000

# Common practice, no source: modern pitch and the default tolerances.
WANT_PITCH_DEG, PITCH_TOL_DEG, ROLL_TOL_DEG, GAP_TOL_MM = 6.5, 0.2, 0.15, 0.5

# A level with a 0.1 degree display; its zero was never checked, so pairs have to cancel it.
LEVEL = Instrument(
    resolution_deg=0.1, accuracy_deg=0.1, alignment_deg=1.0, repeat_deg=0.02, zero_deg=0.0, u_zero_deg=0.1
)

# What is believed of a machine that nobody has surveyed before: the middle of its kind, with the wide prior.
UNSURVEYED = Offset(pitch_deg=5.3, roll_deg=0.0)


@dataclass(frozen=True)
class Trip:
    """One batch of machines before and after, what was predicted, and what was asked."""

    machines: Machines
    before: Stood
    after: Stood
    now: FourFeet
    plan: LegPlan
    said: Reading
    settled: NDArray[np.bool_]

    @property
    def planned(self):
        return self.plan.outcome == Outcome.PLAN

    @property
    def provable(self):
        return (
            provable(tolerance=PITCH_TOL_DEG, u=self.said.u_pitch_deg)
            & provable(tolerance=ROLL_TOL_DEG, u=self.said.u_roll_deg)
            & provable(tolerance=GAP_TOL_MM / 4, u=self.said.u_twist_mm)
        )

    @property
    def inside(self):
        pitch = np.abs(self.after.pitch_deg - WANT_PITCH_DEG) <= PITCH_TOL_DEG
        return pitch & (np.abs(self.after.roll_deg) <= ROLL_TOL_DEG) & (self.after.gap_mm <= GAP_TOL_MM)

    def u_over_rms(self, angle):
        """Stated standard uncertainty over the rms error of the prediction, where legs were turned."""
        error = getattr(self.after, angle) - getattr(self.said, angle)
        stated = getattr(self.said, f"u_{angle}")
        return float(np.sqrt((stated[self.planned] ** 2).mean() / (error[self.planned] ** 2).mean()))


def world(rng, give_mm):
    """Machines on wavy sloping floors; on half of them somebody had let the light foot down until it bore."""
    machines = make_machines(rng=rng, count=MACHINES, compression_mm=give_mm)
    floor_mm = floor_heights(
        floors=make_floors(rng=rng, count=MACHINES),
        feet_mm=machines.feet_mm,
        centre_mm=rng.uniform(-3000, 3000, (MACHINES, 2)),
        heading_deg=rng.uniform(0, 360, MACHINES),
    )
    settled = rng.uniform(size=MACHINES) < 0.5
    stood = stand(machines, floor_mm)
    let_down = at_leg(stood.light) * (stood.gap_mm * settled / machines.lead_mm)[:, None]
    return turned(machines, let_down), floor_mm, settled


def surveyed(rng, machines, stood, *, offset, sheet=LEVEL, feel=True):
    """What a person knows afterwards: the plane of all four feet from a level and feeler blades."""
    levels = make_levels(rng=rng, count=MACHINES, sheet=LEVEL)
    tilts = []
    for along in (True, False):
        shown = read_level(
            rng=rng, levels=levels, pitch_deg=stood.pitch_deg, roll_deg=stood.roll_deg, along=along, repeats=3
        )
        tilts.append(reversed_pair(r0_deg=shown.r0_deg, r180_deg=shown.r180_deg).tilt_deg)
    fit = playfield_from_readings(
        instrument=sheet,
        tilt_deg=np.concatenate(tilts, axis=-1),
        along=np.arange(6) < 3,
        reversed_pair=True,
    )
    felt = feel_gap(rng=rng, light=stood.light, gap_mm=stood.gap_mm)
    stance = stance_of(felt.light, gap_from_feeler(felt.goes_mm, felt.stops_mm))
    return to_four_feet(
        pitch_deg=fit.pitch.angle_deg,
        roll_deg=fit.roll.angle_deg,
        covariance_deg2=np.stack([fit.pitch.u_deg, fit.roll.u_deg], axis=-1)[..., None] ** 2 * np.eye(2),
        stance=stance if feel else Stance(ALL_BEAR, 0.0, 0.0),
        feet_mm=machines.feet_mm,
        offset=offset,
    )


def learned(rng, machines, u_deg):
    """The offsets of machines that were surveyed before, as well as that."""
    error = rng.normal(0, u_deg, (2, MACHINES))
    return Offset(machines.offset_pitch_deg + error[0], machines.offset_roll_deg + error[1], u_deg, u_deg)


def round_trip(seed, *, give_mm=0.0, u_turn=0.02, u_offset_deg=None, **survey):
    rng = np.random.default_rng(seed)
    machines, floor_mm, settled = world(rng, give_mm)
    before = stand(machines, floor_mm)
    offset = UNSURVEYED if u_offset_deg is None else learned(rng, machines, u_offset_deg)
    now = surveyed(rng, machines, before, offset=offset, **survey)
    plan = plan_legs(
        PlanRequest(
            feet_mm=machines.feet_mm,
            pitch_deg=now.pitch_deg,
            roll_deg=now.roll_deg,
            twist_mm=now.twist_mm,
            pitch_offset_deg=offset.pitch_deg,
            roll_offset_deg=offset.roll_deg,
            want_pitch_deg=WANT_PITCH_DEG,
            pitch_tol_deg=PITCH_TOL_DEG,
            roll_tol_deg=ROLL_TOL_DEG,
            twist_tol_mm=GAP_TOL_MM / 4,
            lead_mm=machines.lead_mm,
            exposure_mm=np.maximum(machines.exposure_mm, 0.0),
            exposure_known=np.ones((MACHINES, 4), dtype=bool),
        )
    )
    after = stand(turned(machines, turn_legs(rng=rng, turns=plan.turns, u_turn=u_turn)), floor_mm)
    asked = Turning(plan.turns, machines.lead_mm[:, None], u_turn=u_turn)
    four = after_turns(before=now, turning=asked, feet_mm=machines.feet_mm, offset=offset)
    said = as_it_stands(four, feet_mm=machines.feet_mm, offset=offset)
    return Trip(machines, before, after, now, plan, said, settled)


@pytest.mark.parametrize("give_mm", [0.0, 0.1], ids=["rigid", "springy"])
@pytest.mark.parametrize("seed", SEEDS)
def test_a_provable_plan_truly_brings_the_machine_into_spec(seed, give_mm):
    trip = round_trip(seed, give_mm=give_mm)
    chosen = trip.planned & trip.provable
    assert chosen.sum() > 600  # it speaks of most machines, not of a chosen few
    assert trip.inside[chosen].mean() >= 0.95
    for group in (trip.settled, ~trip.settled):  # whether it bore on all feet before or rocked
        assert trip.inside[chosen & group].mean() >= 0.94  # half as many machines scatter more
    bore = trip.before.gap_mm == 0 if give_mm else trip.before.gap_mm < 1e-6
    assert 0.4 < bore.mean() < 0.8


@pytest.mark.parametrize("give_mm", [0.0, 0.1], ids=["rigid", "springy"])
@pytest.mark.parametrize("seed", SEEDS)
def test_the_prediction_is_as_sure_as_it_says(seed, give_mm):
    """Stated standard uncertainty within 15 % of the rms error of what the playfield then truly reads."""
    trip = round_trip(seed, give_mm=give_mm)
    assert trip.u_over_rms("pitch_deg") == pytest.approx(1, abs=0.15)
    assert trip.u_over_rms("roll_deg") == pytest.approx(1, abs=0.15)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_twist_is_as_sure_as_it_says_for_a_rigid_machine(seed):
    trip = round_trip(seed)
    signed = np.where(trip.after.light == 1, 1, -1) * trip.after.gap_mm / 4
    usual = trip.planned & np.isin(trip.after.light, [0, 1])  # a front foot floats: its sign is the twist's
    error = (signed - trip.said.twist_mm)[usual]
    u = trip.said.u_twist_mm[usual]
    assert np.sqrt((u**2).mean() / (error**2).mean()) == pytest.approx(1, abs=0.15)


@pytest.mark.parametrize("u_offset_deg", [None, 0.1], ids=["never surveyed", "surveyed"])
@pytest.mark.parametrize("seed", SEEDS)
def test_with_all_feet_down_before_and_after_the_change_is_as_predicted(seed, u_offset_deg):
    """0.002 degree. Springs of 0.1 mm keep all feet down; hands without error, so that only the plan is judged.

    What is left is the unknown offset: over seeds 1 to 100, of 25,668 machines that were never surveyed two were
    beyond 0.002 (largest 0.0026, a move of more than a degree with the offset more than a degree off).
    """
    trip = round_trip(seed, give_mm=0.1, u_turn=0.0, u_offset_deg=u_offset_deg)
    down = trip.planned & (trip.before.light == ALL_BEAR) & (trip.after.light == ALL_BEAR)
    assert down.sum() > 100
    for angle in ("pitch_deg", "roll_deg"):
        told = getattr(trip.plan, angle) - getattr(trip.now, angle)
        true = getattr(trip.after, angle) - getattr(trip.before, angle)
        assert np.abs(true[down]).max() > 0.3  # the changes are large
        np.testing.assert_allclose(told[down], true[down], atol=0.002)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_plan_and_the_prediction_tell_the_same_plane(seed):
    """Two modules, one answer: the plan's reading on all four feet is that of ``after_turns``."""
    trip = round_trip(seed)
    four = after_turns(
        before=trip.now,
        turning=Turning(trip.plan.turns, trip.machines.lead_mm[:, None]),
        feet_mm=trip.machines.feet_mm,
        offset=UNSURVEYED,
    )
    np.testing.assert_allclose(four.pitch_deg, trip.plan.pitch_deg, atol=1e-10)
    np.testing.assert_allclose(four.roll_deg, trip.plan.roll_deg, atol=1e-10)
    np.testing.assert_allclose(four.twist_mm, trip.plan.twist_mm, atol=1e-10)


def test_the_harness_fails_when_the_light_foot_is_ignored():
    """Control: taking the three-foot plane for the four-foot plane must be found out."""
    trip = round_trip(1, feel=False)
    chosen = trip.planned & trip.provable
    assert trip.inside[chosen & ~trip.settled].mean() < 0.5
    assert trip.inside[chosen & trip.settled].mean() > 0.9  # where nothing rocked, nothing was ignored


def test_the_harness_fails_when_misalignment_is_ignored():
    """Control: a sheet that promises a perfectly aligned level must be found out in roll."""
    trip = round_trip(1, sheet=replace(LEVEL, alignment_deg=0.0, accuracy_deg=0.05))
    assert trip.u_over_rms("roll_deg") < 0.85


@pytest.mark.parametrize("seed", SEEDS)
def test_a_machine_is_known_before_it_is_set_down(seed):
    """From floor and legs alone: the offset learned on one floor predicts the reading on the next, within 15 %.

    Legs and true leg lengths stay; exposures are read anew to 0.3 mm and slopes to 0.05 degree on plane floors.
    """
    rng = np.random.default_rng(seed)
    machines, offset = make_machines(rng=rng, count=MACHINES), UNSURVEYED
    for visit in range(2):
        floors, heading = make_floors(rng=rng, count=MACHINES, wave_mm=0.0), rng.uniform(0, 360, MACHINES)
        floor_mm = floor_heights(floors=floors, feet_mm=machines.feet_mm, heading_deg=heading)
        slopes = np.degrees(np.arctan(floors.gradient)) + rng.normal(0, 0.05, (MACHINES, 2))
        plane = plane_from_slopes(slope_deg=slopes, direction_deg=[90, 0], u_deg=0.05)
        bay = bay_floor(plane, heading_deg=heading, feet_mm=machines.feet_mm, u_flatness_mm=0.0)
        heights = foot_heights(
            floor_mm=bay.heights_mm,
            floor_covariance_mm2=bay.covariance_mm2,
            exposure_mm=np.maximum(machines.exposure_mm + rng.normal(0, 0.3, (MACHINES, 4)), 0.0),
            leg_mm=724.0,
            u_leg_mm=0.3,
        )
        cabinet = cabinet_of(heights, machines.feet_mm)
        told = playfield_of(cabinet, offset)
        if visit == 0:
            seen = surveyed(rng, machines, stand(machines, floor_mm), offset=offset)
            offset = learn_offset(prior=offset, playfield=seen, cabinet=cabinet)
    true = heights_to_modes(corner_heights(machines, floor_mm), machines.feet_mm)
    for angle in ("pitch_deg", "roll_deg"):
        error = getattr(told, angle) - getattr(true, angle) - getattr(machines, f"offset_{angle}")
        stated = getattr(told, f"u_{angle}")
        assert np.sqrt((stated**2).mean() / (error**2).mean()) == pytest.approx(1, abs=0.15)
