"""200 random machines through the actions, beside arithmetic that shares no code with the engine.

Plain Python, from DESIGN's geometry alone: a plane through three feet, the fourth foot's gap, rotations on paper.
A machine's truth is its floor, its legs and how its playfield hangs; what a person reads follows from that by
standing the cabinet on the three feet that carry it. Each number that the app then says is compared with the truth.
"""

import math
import random
from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from collection import models
from collection.actions.floors import TypedSlope, record_slope
from collection.actions.machines import change_legs
from collection.actions.plans import make_plan, record_turns
from collection.actions.surveys import record_survey
from tests import factories as make
from tests.surveying import across, along, author
from tests.worlds import TernTaproom

LEGS = ("FL", "FR", "RL", "RR")
SEED, MACHINES = 20_261_125, 200
HEADINGS = (0, 45, 90, 135, 180, 225, 270, 315)

Three = tuple[float, float, float]


@dataclass(frozen=True)
class Truth:
    """A machine as it truly is: feet [mm], floor gradient on the plan, heading, legs, pads, exposures, hang."""

    front: float
    rear: float
    base: float
    plan_gx: float
    plan_gy: float
    heading: float
    lengths: tuple[float, ...]
    pads: tuple[float, ...]
    exposures: tuple[float, ...]
    pitch_hang: float
    roll_hang: float
    lead: float
    feet: list[tuple[float, float]] = field(init=False)

    def __post_init__(self) -> None:
        front, rear = self.front / 2, self.rear / 2
        object.__setattr__(self, "feet", [(-front, 0), (front, 0), (-rear, self.base), (rear, self.base)])

    def floor_under(self, foot: tuple[float, float]) -> float:
        """Walk from the machine to the plan: the rear points ``heading`` clockwise from the back wall (plan y)."""
        turn = math.radians(self.heading)
        x, y = foot
        rearward = (math.sin(turn), math.cos(turn))
        rightward = (math.cos(turn), -math.sin(turn))
        plan_x, plan_y = (x * rightward[k] + y * rearward[k] for k in (0, 1))
        return self.plan_gx * plan_x + self.plan_gy * plan_y

    @property
    def heights(self) -> list[float]:
        """z = floor + pad + leg + exposure, at FL, FR, RL, RR."""
        parts = zip(self.feet, self.pads, self.lengths, self.exposures, strict=True)
        return [self.floor_under(foot) + pad + length + out for foot, pad, length, out in parts]


def plane(points: list[Three]) -> Three:
    """The plane z = h + gx x + gy y through three points, by Cramer's rule."""
    (x1, y1, z1), (x2, y2, z2), (x3, y3, z3) = points
    det = (x2 - x1) * (y3 - y1) - (x3 - x1) * (y2 - y1)
    gx = ((z2 - z1) * (y3 - y1) - (z3 - z1) * (y2 - y1)) / det
    gy = ((x2 - x1) * (z3 - z1) - (x3 - x1) * (z2 - z1)) / det
    return z1 - gx * x1 - gy * y1, gx, gy


def standing(feet: list[tuple[float, float]], heights: list[float], light: int) -> tuple[float, float, float]:
    """gx, gy and the gap under one foot, of a cabinet that stands on the other three."""
    three = [(*feet[k], heights[k]) for k in range(4) if k != light]
    h, gx, gy = plane(three)
    x, y = feet[light]
    return gx, gy, h + gx * x + gy * y - heights[light]


def twist_of(feet: list[tuple[float, float]], heights: list[float]) -> float:
    """n . z, with n the null vector of [1 x y] whose parts add up to 1 in size: (1, -1, -1, 1)/4 for a rectangle."""
    n = null_vector(feet)
    return sum(part * z for part, z in zip(n, heights, strict=True))


def null_vector(feet: list[tuple[float, float]]) -> list[float]:
    half_front, half_rear = feet[1][0], feet[3][0]
    n = [half_rear, -half_rear, -half_front, half_front]
    return [part / (2 * (half_front + half_rear)) for part in n]


def four_foot(feet: list[tuple[float, float]], heights: list[float]) -> tuple[float, float]:
    """gx and gy of the least-squares plane of four feet: normal equations, solved by hand.

    x is symmetric left to right, so its slope stands alone; front and rear share y.
    """
    gx = sum(x * z for (x, _), z in zip(feet, heights, strict=True)) / sum(x * x for x, _ in feet)
    base = feet[2][1]
    gy = ((heights[2] + heights[3]) - (heights[0] + heights[1])) / (2 * base)
    return gx, gy


def degrees(gradient: float) -> float:
    return math.degrees(math.atan(gradient))


def random_truth(rng: random.Random, number: int) -> Truth:
    heading = HEADINGS[number % 8]
    exposures = [rng.uniform(17, 24) for _ in range(4)]
    return Truth(
        front=rng.choice([520, 560, 600, 660]), rear=rng.choice([540, 560, 620, 660]), base=rng.uniform(1150, 1400),
        plan_gx=math.tan(math.radians(rng.uniform(-1.2, 1.2))), plan_gy=math.tan(math.radians(rng.uniform(-1.2, 1.2))),
        heading=heading, lengths=tuple(rng.uniform(700, 702) for _ in range(4)),
        pads=tuple(rng.choice([0.0, 3.0]) for _ in range(4)), exposures=tuple(exposures),
        pitch_hang=rng.uniform(4.5, 6.0), roll_hang=rng.uniform(-0.2, 0.2), lead=rng.choice([1.5875, 1.5]),
    )  # fmt: skip


def told(gradient: float, rising: float) -> TypedSlope:
    """A slope as someone reads it: its size, and toward where it rises."""
    size = abs(degrees(gradient))
    return TypedSlope(f"{size:.6f}", size, rising if gradient >= 0 else (rising + 180) % 360)


class Work:
    """One machine set up in the app as its truth says, by our own actions."""

    def __init__(self, taproom: TernTaproom, truth: Truth, number: int) -> None:
        self.bob, self.truth = taproom.people.bob, truth
        self.bay = make.BayFactory(
            member=taproom.people.alice, floor=taproom.floor, name=f"Hand {number}", heading_deg=truth.heading
        )
        self.machine = make.MachineFactory(
            member=taproom.people.alice, bay=self.bay, code=f"H-{number}", track_front_mm=truth.front,
            track_rear_mm=truth.rear, base_mm=truth.base, lead_mm=truth.lead,
            pitch_offset_deg=truth.pitch_hang, roll_offset_deg=truth.roll_hang, u_pitch_offset_deg=0.0001,
            u_roll_offset_deg=0.0001,
        )  # fmt: skip
        self.instrument = taproom.instrument
        record_slope(
            by=author(self.bob), floor=taproom.floor, bay=self.bay, instrument=None, unit="deg", why="",
            readings=[told(truth.plan_gy, 0), told(truth.plan_gx, 90)],
        )  # fmt: skip
        self.set_legs()

    def set_legs(self) -> None:
        truth = self.truth
        legs: list[dict[str, float | None]] = [
            {
                "length_mm": truth.lengths[k],
                "travel_mm": 41.0,
                "pad_mm": truth.pads[k],
                "exposure_mm": truth.exposures[k],
            }
            for k in range(4)
        ]
        self.machine.refresh_from_db()
        change_legs(by=author(self.bob), machine=self.machine, version=self.machine.version, legs=legs)
        self.machine.refresh_from_db()

    def survey(self, light: int) -> models.Survey:
        """What a perfect reader finds: the stance, and the playfield as the cabinet stands on three feet."""
        gx, gy, gap = standing(self.truth.feet, self.truth.heights, light)
        pitch, roll = degrees(gy) + self.truth.pitch_hang, degrees(gx) + self.truth.roll_hang
        lengthwise = along(abs(pitch), "rear" if pitch >= 0 else "front")
        crosswise = across(abs(roll), "right" if roll >= 0 else "left")
        return record_survey(
            by=author(self.bob), machine=self.machine, instrument=self.instrument, stance=LEGS[light], gap=gap,
            gap_text=f"{gap:.4f}", readings=[lengthwise, crosswise],
        )  # fmt: skip


def light_foot_of(truth: Truth, rng: random.Random) -> int:
    """Twist positive: FL and RR stand too tall, so FR or RL floats; negative: FL or RR. Either foot may be the one."""
    return rng.choice((1, 2) if twist_of(truth.feet, truth.heights) > 0 else (0, 3))


@pytest.fixture(scope="module")
def truths() -> list[tuple[Truth, int]]:
    rng = random.Random(SEED)
    made = [random_truth(rng, number) for number in range(MACHINES)]
    assert any(truth.front != truth.rear for truth in made)
    return [(truth, light_foot_of(truth, rng)) for truth in made]


def four_feet_truth(truth: Truth) -> tuple[float, float, float]:
    gx, gy = four_foot(truth.feet, truth.heights)
    return degrees(gy) + truth.pitch_hang, degrees(gx) + truth.roll_hang, twist_of(truth.feet, truth.heights)


def test_the_arithmetic_itself_on_a_case_anyone_can_follow() -> None:
    """560 by 1300 mm, FR short by 2 mm: gap 2 under FR, twist 0.5; on FL, RL, RR it stands level."""
    flat = Truth(560, 560, 1300, 0, 0, 0, (700,) * 4, (0,) * 4, (20, 18, 20, 20), 0, 0, 1.5875)
    assert standing(flat.feet, flat.heights, 1) == pytest.approx((0, 0, 2))
    assert twist_of(flat.feet, flat.heights) == pytest.approx(0.5)
    assert four_foot(flat.feet, flat.heights) == pytest.approx((-1 / 560, 1 / 1300))
    uphill = replace(flat, plan_gx=0.01, heading=90)  # the rear points to the right wall, where the floor rises
    assert uphill.floor_under((0, 1300)) == pytest.approx(13)
    assert replace(uphill, heading=270).floor_under((0, 1300)) == pytest.approx(-13)
    assert replace(uphill, heading=180).floor_under((280, 0)) == pytest.approx(-2.8)
    assert replace(uphill, heading=0).floor_under((280, 0)) == pytest.approx(2.8)


@pytest.mark.long
@pytest.mark.one_database
def test_surveys_and_plans_of_200_machines_agree_with_the_arithmetic(
    taproom: TernTaproom, truths: list[tuple[Truth, int]]
) -> None:
    """Angles to 0.0005 degree (the first-order offset and rounding of a text), heights to 0.001 mm."""
    outcomes = []
    for number, (truth, light) in enumerate(truths):
        work = Work(taproom, truth, number)
        survey = work.survey(light)
        pitch, roll, twist = four_feet_truth(truth)
        _, _, gap = standing(truth.feet, truth.heights, light)
        assert gap > 0
        assert (survey.pitch_deg, survey.roll_deg) == pytest.approx((pitch, roll), abs=5e-4), number
        assert survey.twist_mm == pytest.approx(twist, abs=1e-3), number
        outcomes += [plan_agrees(work, source, light if source == "survey" else None) for source in ("floor", "survey")]
    assert outcomes.count("plan") > MACHINES


def plan_agrees(work: Work, source: str, light: int | None) -> str:
    """Make a plan, compare what it says of now, turn the truth as it says, and compare what it says of afterwards."""
    truth = work.truth
    plan = make_plan(
        by=author(work.bob), machine=work.machine, source=source, front_reachable=True, rear_reachable=True,
        on_dollies=False, steps_per_turn=4, even_if_in_spec=True,
    )  # fmt: skip
    legs = plan.answer["legs"]
    assert tuple(leg["name"] for leg in legs) == LEGS
    states = plan.answer["states"]
    same_as(states[0], truth, light)
    turned = [0.0] * 4
    for number, lift in enumerate(plan.answer["lifts"], 1):
        assert lift["frees"] == {"front": ["FL", "FR"], "rear": ["RL", "RR"]}[lift["end"]]
        for leg in legs:
            if leg["lift"] == number:
                assert leg["name"] in lift["frees"]
                turned[LEGS.index(leg["name"])] = leg["steps"] / 4
        same_as(states[number], after(truth, turned), None)
    now = after(truth, turned)
    for leg, exposure in zip(legs, now.exposures, strict=True):
        assert leg["exposure_after_mm"] == pytest.approx(exposure, abs=1e-9)
        assert leg["height_mm"] == pytest.approx(leg["steps"] / 4 * truth.lead)
        assert -1e-9 <= exposure <= 41 + 1e-9
    if plan.outcome == "plan":
        pitch, roll, twist = four_feet_truth(now)
        spec = plan.spec
        assert abs(pitch - spec.pitch_deg) <= spec.pitch_tolerance_deg + 1e-3
        assert abs(roll) <= spec.roll_tolerance_deg + 1e-3
        assert 4 * abs(twist) <= spec.gap_tolerance_mm + 4e-3
    return plan.outcome


def after(truth: Truth, turns: list[float]) -> Truth:
    """Out lengthens: exposure grows by turns times lead."""
    exposures = tuple(out + turn * truth.lead for out, turn in zip(truth.exposures, turns, strict=True))
    return replace(truth, exposures=exposures)


def same_as(state: dict[str, Any], truth: Truth, light: int | None) -> None:
    """The playfield as it stands: on the three feet that carry it. Where nobody said, the app chooses the light foot
    among the two that can be; which one it is, is checked here."""
    twist = twist_of(truth.feet, truth.heights)
    if abs(twist) < 2.5e-3:
        return  # no foot is told from the other at a hundredth of a mm
    if light is None:
        expected(state, truth, twist)
        return
    assert state["foot"] in (("FR", "RL") if twist > 0 else ("FL", "RR"))
    assert state["foot"] == LEGS[light]
    gx, gy, gap = standing(truth.feet, truth.heights, LEGS.index(state["foot"]))
    assert state["pitch_deg"] == pytest.approx(degrees(gy) + truth.pitch_hang, abs=1e-3)
    assert state["roll_deg"] == pytest.approx(degrees(gx) + truth.roll_hang, abs=1e-3)
    assert state["gap_mm"] == pytest.approx(gap, abs=4e-3)


def expected(state: dict[str, Any], truth: Truth, twist: float) -> None:
    """What a prediction should say: the twist is known to u only, and for either sign another front foot floats
    (the weight sits toward the rear). The mean of a normal number's positive part is t F(t/u) + u f(t/u)."""
    foot = "FR" if twist > 0 else "FL"
    assert state["foot"] == foot
    per_twist = 1 / abs(null_vector(truth.feet)[LEGS.index(foot)])
    u = state["u_gap_mm"] / per_twist
    assert state["gap_mm"] == pytest.approx(abs(twist) * per_twist, abs=4e-3)
    gx, gy = four_foot(truth.feet, truth.heights)
    for sign, floating in ((1, 1), (-1, 0)):
        t = sign * twist
        mean = t * normal_below(t / u) + u * math.exp(-((t / u) ** 2) / 2) / math.sqrt(2 * math.pi) if u else max(t, 0)
        short = [-mean / abs(null_vector(truth.feet)[floating]) if k == floating else 0.0 for k in range(4)]
        one_x, one_y = four_foot(truth.feet, short)
        gx, gy = gx - one_x, gy - one_y  # the plane of the other three lies as if this foot were not short
    assert state["pitch_deg"] == pytest.approx(degrees(gy) + truth.pitch_hang, abs=1e-3)
    assert state["roll_deg"] == pytest.approx(degrees(gx) + truth.roll_hang, abs=1e-3)


def normal_below(z: float) -> float:
    return (1 + math.erf(z / math.sqrt(2))) / 2


@pytest.mark.one_database
def test_recorded_turns_move_the_exposures_that_the_next_plan_starts_from(
    taproom: TernTaproom, truths: list[tuple[Truth, int]]
) -> None:
    """Turned as shown, the plan after it finds what the arithmetic finds: in the middle, nothing or little to turn."""
    for number, (truth, light) in enumerate(truths[:24]):
        work = Work(taproom, truth, number)
        work.survey(light)
        plan = make_plan(
            by=author(work.bob), machine=work.machine, source="survey", front_reachable=True, rear_reachable=True,
            on_dollies=False, steps_per_turn=4, even_if_in_spec=True,
        )  # fmt: skip
        turned = [leg["steps"] / 4 for leg in plan.answer["legs"]]
        for lift in range(1, len(plan.answer["lifts"]) + 1):
            record_turns(by=author(work.bob), plan=plan, lift=lift)
        work.truth = after(truth, turned)
        kept = models.Leg.objects.filter(machine=work.machine).order_by("place").values_list("exposure_mm", flat=True)
        assert list(kept) == pytest.approx(work.truth.exposures, abs=1e-9)
        check = work.survey(light_foot_of(work.truth, random.Random(number)))
        assert (check.pitch_deg, check.roll_deg) == pytest.approx(four_feet_truth(work.truth)[:2], abs=5e-4)
