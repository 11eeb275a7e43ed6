"""The leg plan against every possibility: all whole steps within a short travel, judged by the frame alone."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from leveling.frame import foot_positions, heights_to_modes, null_vector, plane_response
from leveling.turns import LegPlan, Limit, Outcome, PlanRequest, plan_legs

LEAD_MM, STEP_TURNS = 1.5875, 0.25
STEP_MM = LEAD_MM * STEP_TURNS
TIE = 1e-9


@dataclass(frozen=True)
class World:
    """One machine whose levelers can each go only a few steps."""

    feet_mm: np.ndarray
    pitch_deg: float
    roll_deg: float
    twist_mm: float
    offset_deg: tuple[float, float]
    want_deg: float
    tolerance: tuple[float, float, float]
    low: np.ndarray
    high: np.ndarray
    reachable: tuple[bool, bool]
    on_dollies: bool

    def request(self) -> PlanRequest:
        return PlanRequest(
            feet_mm=self.feet_mm,
            pitch_deg=self.pitch_deg,
            roll_deg=self.roll_deg,
            twist_mm=self.twist_mm,
            pitch_offset_deg=self.offset_deg[0],
            roll_offset_deg=self.offset_deg[1],
            want_pitch_deg=self.want_deg,
            pitch_tol_deg=self.tolerance[0],
            roll_tol_deg=self.tolerance[1],
            twist_tol_mm=self.tolerance[2],
            lead_mm=LEAD_MM,
            step_turns=STEP_TURNS,
            exposure_mm=-self.low * STEP_MM,
            exposure_known=[True] * 4,
            travel_mm=(self.high - self.low) * STEP_MM,
            front_reachable=self.reachable[0],
            rear_reachable=self.reachable[1],
            on_dollies=self.on_dollies,
            even_if_in_spec=True,
        )

    def all_steps(self) -> np.ndarray:
        """Every combination of steps, shape (n, 4)."""
        ends = np.repeat(self.reachable, 2)
        runs = [np.arange(low, high + 1) for low, high in zip(self.low * ends, self.high * ends, strict=True)]
        return np.stack([axis.ravel() for axis in np.meshgrid(*runs, indexing="ij")], axis=1)

    def aim(self) -> np.ndarray:
        """The larger of a third of the tolerance and the most that one step of one leg changes."""
        response, null = np.abs(plane_response(self.feet_mm)).max(axis=-1) * STEP_MM, np.abs(null_vector(self.feet_mm))
        want = np.radians([self.want_deg - self.offset_deg[0], -self.offset_deg[1]])
        unit = [*(np.degrees(response[::-1]) * np.cos(want) ** 2), null.max() * STEP_MM]
        return np.maximum(np.array(self.tolerance) / 3, unit)

    def some_fit(self) -> bool:
        """Whether any combination is in aim and in tolerance."""
        share = np.abs(self.deviations(self.all_steps())) / self.aim()
        return bool((share <= np.minimum(1, np.array(self.tolerance) / self.aim()) + TIE).all(axis=1).any())

    def deviations(self, steps: np.ndarray) -> np.ndarray:
        """Pitch, roll, twist after steps, from what is wanted, shape (n, 3)."""
        now = np.tan(np.radians([self.pitch_deg - self.offset_deg[0], self.roll_deg - self.offset_deg[1]]))
        change = heights_to_modes(steps * STEP_MM, self.feet_mm)
        pitch = np.degrees(np.arctan(now[0] + change.gy)) + self.offset_deg[0] - self.want_deg
        roll = np.degrees(np.arctan(now[1] + change.gx)) + self.offset_deg[1]
        return np.stack([pitch, roll, self.twist_mm + change.twist_mm], axis=1)


def random_world(rng: np.random.Generator) -> World:
    """A machine a few steps away from its spec; one in five is rocking, leaning or out of reach."""
    low, high = -rng.integers(0, 6, 4), rng.integers(0, 6, 4)
    front = rng.uniform(450, 700)
    rear = front * rng.choice([1.0, rng.uniform(0.8, 1.2)])
    want = rng.uniform(3, 7)
    pitch_unit, roll_unit, twist_unit = 0.0087, 0.0203, 0.1
    return World(
        feet_mm=foot_positions(track_front_mm=front, track_rear_mm=rear, base_mm=rng.uniform(1100, 1400)),
        pitch_deg=want + pitch_unit * rng.uniform(-12, 12),
        roll_deg=roll_unit * rng.uniform(-8, 8),
        twist_mm=twist_unit * rng.uniform(-8, 8),
        offset_deg=(rng.normal(0, 0.5), rng.normal(0, 0.2)),
        want_deg=want,
        tolerance=(
            pitch_unit * rng.uniform(0.2, 15),
            roll_unit * rng.uniform(0.2, 9),
            twist_unit * rng.uniform(0.2, 9),
        ),
        low=low,
        high=high,
        reachable=(bool(rng.random() < 0.9), bool(rng.random() < 0.8)),
        on_dollies=bool(rng.random() < 0.2),
    )


def costs(world: World, steps: np.ndarray, level: np.ndarray) -> list[np.ndarray]:
    """Lifts, legs, class, steps, squared distance, steps at the rear: each in order of importance."""
    turned = steps != 0
    ends = np.stack([turned[:, :2].any(axis=1), turned[:, 2:].any(axis=1)], axis=1)
    lifts = ends.any(axis=1) if world.on_dollies else ends.sum(axis=1)
    far = ((world.deviations(steps) / world.aim()) ** 2).sum(axis=1)
    return [lifts, turned.sum(axis=1), level, np.abs(steps).sum(axis=1), far, np.abs(steps[:, 2:]).sum(axis=1)]


def cheapest(world: World, steps: np.ndarray, level: np.ndarray) -> np.ndarray:
    """All combinations that are equally the cheapest."""
    keep = np.arange(len(steps))
    for values in costs(world, steps, level):
        keep = keep[values[keep] <= values[keep].min() + TIE]
    return steps[keep]


@pytest.fixture(scope="module")
def worlds_and_plans() -> list[tuple[World, LegPlan]]:
    rng = np.random.default_rng(20240)
    worlds = [random_world(rng) for _ in range(600)]
    return [(world, plan_legs(world.request())) for world in worlds]


def test_the_cases_hold_every_kind_of_answer(worlds_and_plans: list[tuple[World, LegPlan]]) -> None:
    plans = [plan for _, plan in worlds_and_plans]
    planned = [plan for plan in plans if plan.outcome == Outcome.PLAN]
    assert {int(plan.legs) for plan in planned} == {1, 2, 3, 4}
    assert {int(plan.lifts) for plan in planned} == {1, 2}
    assert {int(plan.aim_class) for plan in planned} == {1, 2, 3}
    limits = {int(plan.limit) for plan in plans}
    assert limits >= {Limit.FRONT_NOT_REACHABLE, Limit.REAR_NOT_REACHABLE, Limit.STEP_TOO_COARSE, Limit.RR_AT_TOP}
    assert sum(plan.outcome == Outcome.NOTHING_FITS for plan in plans) > 100


def test_no_combination_of_steps_beats_the_plan(worlds_and_plans: list[tuple[World, LegPlan]]) -> None:
    for world, plan in worlds_and_plans:
        steps = world.all_steps()
        share = np.abs(world.deviations(steps)) / world.aim()
        allowed = np.minimum(1, np.array(world.tolerance) / world.aim())
        inside = (share <= allowed + TIE).all(axis=1)
        if not inside.any():
            assert plan.outcome == Outcome.NOTHING_FITS
            continue
        level = np.ceil(3 * (share.max(axis=1) - TIE)).clip(0)
        best = cheapest(world, steps[inside], level[inside])
        assert plan.steps.tolist() in best.tolist()
        assert plan.outcome == (Outcome.PLAN if plan.steps.any() else Outcome.ALREADY_IN_SPEC)
        assert bool(plan.in_tolerance)


def test_nothing_that_can_be_reached_is_nearer_where_nothing_fits(
    worlds_and_plans: list[tuple[World, LegPlan]],
) -> None:
    for world, plan in worlds_and_plans:
        if plan.outcome != Outcome.NOTHING_FITS:
            continue
        steps = world.all_steps()
        worst = (np.abs(world.deviations(steps)) / world.aim()).max(axis=1)
        nearest = worst <= worst.min() + TIE
        assert float(plan.worst_share) == pytest.approx(worst.min(), abs=1e-9)
        best = cheapest(world, steps[nearest], np.zeros(nearest.sum()))
        assert plan.steps.tolist() in best.tolist()


def test_an_end_is_blamed_just_where_reaching_it_would_help(worlds_and_plans: list[tuple[World, LegPlan]]) -> None:
    ends = {(False, True): Limit.FRONT_NOT_REACHABLE, (True, False): Limit.REAR_NOT_REACHABLE}
    checked = 0
    for world, plan in worlds_and_plans:
        if plan.outcome != Outcome.NOTHING_FITS or all(world.reachable):
            continue
        checked += 1
        blamed = ends.get(world.reachable, Limit.NEITHER_END_REACHABLE)
        assert (plan.limit == blamed) == replace(world, reachable=(True, True)).some_fit()
    assert checked > 50


def test_the_step_is_blamed_just_where_no_travel_would_help(worlds_and_plans: list[tuple[World, LegPlan]]) -> None:
    """With FL held, these machines need at most 16 steps at FR and 24 at the rear legs."""
    for world, plan in worlds_and_plans[:200]:
        if plan.outcome == Outcome.NOTHING_FITS and plan.limit >= Limit.STEP_TOO_COARSE:
            wide = np.array([0, 16, 24, 24])
            free = replace(world, low=-wide, high=wide, reachable=(True, True))
            assert (plan.limit == Limit.STEP_TOO_COARSE) != free.some_fit()


def test_the_costs_and_readings_it_states_are_those_of_its_steps(worlds_and_plans: list[tuple[World, LegPlan]]) -> None:
    for world, plan in worlds_and_plans:
        deviation = world.deviations(plan.steps[None])[0]
        stated = [plan.pitch_deg - world.want_deg, plan.roll_deg, plan.twist_mm]
        np.testing.assert_allclose(stated, deviation, atol=1e-10)  # degree, degree, mm
        np.testing.assert_allclose([plan.pitch_aim_deg, plan.roll_aim_deg, plan.twist_aim_mm], world.aim(), rtol=1e-12)
        lifts, legs, _, total, *_ = costs(world, plan.steps[None], np.zeros(1))
        assert (plan.lifts, plan.legs, plan.total_steps) == (lifts[0], legs[0], total[0])
        assert bool(plan.in_tolerance) == bool((np.abs(deviation) <= np.array(world.tolerance) + 1e-10).all())
        np.testing.assert_allclose(plan.exposure_after_mm, (plan.steps - world.low) * STEP_MM, atol=1e-12)  # mm
