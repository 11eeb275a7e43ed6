"""Builds the demo by the app's own actions: sites, floors, machines, and two years of visits with their leg plans."""

import datetime
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from django.db import transaction

from collection import presets
from collection.actions import floors as floor_actions
from collection.actions import instruments as instrument_actions
from collection.actions import machines as machine_actions
from collection.actions import people as people_actions
from collection.actions import plans as plan_actions
from collection.actions import quick_checks as quick_actions
from collection.actions import reports as report_actions
from collection.actions import sites as site_actions
from collection.actions import surveys as survey_actions
from collection.actions import vials as vial_actions
from collection.actions.floors import TypedSlope
from collection.actions.instruments import Shown
from collection.actions.record import Author
from collection.arrays.demo import Seen, Spot, Truth
from collection.demo import cast
from collection.models import Bay, Floor, Instrument, Machine, Membership, Plan, Survey, User
from collection.models.plans import TASKS
from collection.queries.surveys import newest_survey

SEED = 20_260_503
VISITS = 9
DAYS_BETWEEN = 90
#: Every so many machines one keeps its exposures unmeasured, and one was never surveyed.
UNMEASURED_EVERY, NEVER_SURVEYED = 5, 2
#: The machine whose glass is read beside its last surveys, and how its glass lies against the playfield.
GLASS_READ, GLASS_DEG = 4, (-1.2, 0.1)
#: The machine with a label, through which somebody told that it wobbles.
LABELLED = 7
#: Machines in a row, and rows against a wall, as people place them.
_PITCH_OF_BAYS_MM, _WALL_MM = 1100, 900


@dataclass
class Placed:
    """One machine of the demo with its number in the truth."""

    number: int
    machine: Machine


@transaction.atomic
def build(*, user: User, now: datetime.datetime, say: Callable[[str], None]) -> Membership:
    """Make the whole demo for a user, up to ``now``, and return the user's membership."""
    last = now.replace(hour=9, minute=0, second=0, microsecond=0) - datetime.timedelta(days=1)
    first = last - datetime.timedelta(days=DAYS_BETWEEN * (VISITS - 1))
    begun = first - datetime.timedelta(days=1)
    member = people_actions.found_organization(user=user, name=cast.ORGANIZATION, at=begun, key=uuid.uuid4())
    clock = Clock(member, begun)
    instrument = _instrument(clock)
    floors = list(_floors(clock, instrument))
    spots = _spots(floors)
    days = [DAYS_BETWEEN * visit for visit in range(VISITS)]
    slopes = [(floor.slope_right_deg, floor.slope_back_deg) for floor, _, _ in floors]
    truth = Truth(seed=SEED, slopes_deg=slopes, spots=[spot for spot, _ in spots], days=days)
    placed = [_machine(clock, truth, number, bay) for number, (_, bay) in enumerate(spots)]
    for visit in range(VISITS):
        say(f"  visit {visit + 1} of {VISITS}")
        clock.at = first + datetime.timedelta(days=days[visit])
        _visit(clock, truth, visit, placed, instrument)
    clock.at = last + datetime.timedelta(hours=6)
    _glass(clock, placed[GLASS_READ].machine, instrument)
    _other_instruments(clock, placed[0].machine, instrument)
    _label(clock, placed[LABELLED].machine)
    return member


class Clock:
    """Who writes, and the moment at which the demo stands; each write is a minute later than the last."""

    def __init__(self, member: Membership, at: datetime.datetime) -> None:
        self.member, self.at = member, at

    def author(self, why: str = "") -> Author:
        """Return the author of the next write."""
        self.at += datetime.timedelta(minutes=1)
        return Author(member=self.member, at=self.at, key=uuid.uuid4(), why=why)


def _instrument(clock: Clock) -> Instrument:
    instrument = instrument_actions.create_instrument(
        by=clock.author(), name="230 mm digital level", kind="digital_level", unit="deg",
        resolution_deg=presets.RESOLUTION_DEG, accuracy_deg=presets.ACCURACY_DEG, base_mm=presets.BASE_MM,
        alignment_deg=presets.ALIGNMENT_DEG, repeat_deg=presets.REPEAT_DEG,
    )  # fmt: skip
    return instrument


def _other_instruments(clock: Clock, machine: Machine, level: Instrument) -> None:
    """Add a bubble, blocks, a ball and a vial; the vial is taught by three pairs about its machine's wanted pitch."""
    for fields in (
        {"name": "Bullseye from the van", "kind": "bubble", "sensitivity_deg": 0.2},
        {"name": "Oak blocks, half degrees", "kind": "blocks"},
        {"name": "Ball and film", "kind": "ball", "film_hz": presets.FILM_HZ, "alignment_deg": presets.RUN_ASKEW_DEG},
    ):
        instrument_actions.create_instrument(by=clock.author(), **fields)
    vial = vial_actions.create_vial(
        by=clock.author(), machine=machine, name=f"Vial of {machine.title}", direction="along",
        reach_lines=presets.REACH_LINES,
    )  # fmt: skip
    wanted_deg = presets.ERAS[machine.era].pitch_deg
    for lines, side, off_deg in ((1.0, "front", -0.6), (0.0, "middle", 0.0), (1.5, "rear", 0.8)):
        shown = round(wanted_deg + off_deg, 1)
        vial_actions.record_pair(
            by=clock.author(), vial=vial, level=level, shown=shown, shown_text=f"{shown}", unit="deg", high_end="rear",
            lines=lines, lines_text=f"{lines:g}", side=side,
        )  # fmt: skip


def _label(clock: Clock, machine: Machine) -> None:
    """Give a machine its label, through which somebody at the site told that it wobbles."""
    link = report_actions.make_label(by=clock.author(), machine=machine)
    told = clock.at + datetime.timedelta(hours=3)
    report_actions.report_problem(link=link, problem="wobbles", key=uuid.uuid4(), at=told)


def _floors(clock: Clock, instrument: Instrument) -> Iterator[tuple[cast.DemoFloor, Floor, list[Bay]]]:
    for place in cast.SITES:
        site = site_actions.create_site(
            by=clock.author(), name=place.name, address=place.address, time_zone=place.time_zone, notes=place.notes
        )
        for drawn in place.floors:
            floor = floor_actions.create_floor(
                by=clock.author(), site=site, name=drawn.name, surface=drawn.surface,
                width_mm=drawn.width_mm, depth_mm=drawn.depth_mm,
            )  # fmt: skip
            floor_actions.record_slope(
                by=clock.author(), floor=floor, bay=None, instrument=instrument, unit="deg", why="",
                readings=[_slope(drawn.slope_back_deg, 0), _slope(drawn.slope_right_deg, 90)],
            )  # fmt: skip
            yield drawn, floor, [_bay(clock, drawn, floor, number) for number in range(drawn.bays)]


def _slope(slope_deg: float, toward_deg: float) -> TypedSlope:
    """Return a slope as a display of 0.1 degree shows it: never negative, but rising the other way."""
    shown = round(abs(slope_deg), 1)
    return TypedSlope(text=f"{shown}", amount=shown, rises_toward_deg=toward_deg + (180 if slope_deg < 0 else 0))


def _bay(clock: Clock, drawn: cast.DemoFloor, floor: Floor, number: int) -> Bay:
    """Put bays in one row along the back wall, and in a second along the front wall, facing each other."""
    in_a_row = int((drawn.width_mm - _PITCH_OF_BAYS_MM) // _PITCH_OF_BAYS_MM)
    front, place = divmod(number, in_a_row)
    return floor_actions.create_bay(
        by=clock.author(), floor=floor, name=f"Bay {number + 1}", heading_deg=180.0 if front else 0.0,
        x_mm=float(_PITCH_OF_BAYS_MM * (place + 1)),
        y_mm=float(_WALL_MM if front else drawn.depth_mm - _WALL_MM),
        front_reachable=True, rear_reachable=not drawn.against_a_wall or number % 4 > 0,
    )  # fmt: skip


def _spots(floors: list[tuple[cast.DemoFloor, Floor, list[Bay]]]) -> list[tuple[Spot, Bay]]:
    bays = [(number, bay) for number, (_, _, row) in enumerate(floors) for bay in row][: len(cast.TITLES)]
    return [
        (Spot(number, bay.x_mm, bay.y_mm, bay.heading_deg, presets.ERAS[_era(place)].pitch_offset_deg), bay)
        for place, (number, bay) in enumerate(bays)
    ]


def _era(number: int) -> str:
    return cast.ERAS[number % len(cast.ERAS)]


def _machine(clock: Clock, truth: Truth, number: int, bay: Bay) -> Placed:
    body = truth.body(number)
    machine = machine_actions.create_machine(
        by=clock.author(), bay=bay.pk, pitch_deg=None, code=f"SR-{number + 1:02d}", title=cast.TITLES[number],
        era=_era(number), body="wide" if body["track_front_mm"] > 610 else "standard", steps_per_turn=4,
        on_dollies=False, **body,
    )  # fmt: skip
    if number % UNMEASURED_EVERY:
        legs: list[dict[str, float | None]] = [{"exposure_mm": exposure} for exposure in truth.exposures_mm(number)]
        machine = machine_actions.change_legs(by=clock.author(), machine=machine, version=machine.version, legs=legs)
    return Placed(number, machine)


def _visit(clock: Clock, truth: Truth, visit: int, placed: list[Placed], instrument: Instrument) -> None:
    """Survey every machine; level those that are out of spec, but on the last visit leave that for the reader."""
    seen = truth.visit(visit, repeats=1 if visit % 2 else 2)
    for one in placed[: len(placed) - NEVER_SURVEYED]:
        survey = _survey(clock, one.machine, instrument, seen[one.number], "routine", None)
        one.machine.refresh_from_db()
        if one.number == GLASS_READ and visit >= VISITS - 2:
            _glass(clock, one.machine, instrument, survey)
        if survey.verdict != "in" and visit < VISITS - 1:
            _level(clock, truth, visit, one, instrument)


def _glass(clock: Clock, machine: Machine, instrument: Instrument, beside: Survey | None = None) -> None:
    """Read the glass: beside a survey to learn from it, else as a quick check."""
    survey = beside or newest_survey(machine=machine)
    assert survey is not None
    tilts = (survey.pitch_read_deg + GLASS_DEG[0], survey.roll_read_deg + GLASS_DEG[1])
    pitch, roll = (_shown(tilt, ends) for tilt, ends in zip(tilts, (("rear", "front"), ("right", "left")), strict=True))
    quick_actions.record_quick_check(
        by=clock.author(), machine=machine, instrument=instrument, place="glass", unit="deg", pitch=pitch, roll=roll,
        pair_with=beside,
    )  # fmt: skip


def _shown(tilt_deg: float, ends: tuple[str, str]) -> Shown:
    """What a display of 0.1 degree shows of a tilt, and which end is high."""
    shown = round(abs(tilt_deg), 1)
    return Shown(f"{shown}", shown, "level" if not shown else ends[tilt_deg < 0])


def _level(clock: Clock, truth: Truth, visit: int, one: Placed, instrument: Instrument) -> None:
    plan = plan_actions.make_plan(by=clock.author(), machine=one.machine, source="survey")
    if plan.outcome != "plan":
        plan_actions.set_aside(by=clock.author(why="Nothing to turn today."), plan=plan)
        return
    for number in range(1, len(plan.answer["lifts"]) + 1):
        plan = plan_actions.record_turns(by=clock.author(), plan=plan, lift=number)
    truth.turn(one.number, [leg["steps"] / leg["steps_per_turn"] for leg in plan.answer["legs"]])
    _survey(clock, one.machine, instrument, truth.visit(visit, repeats=2)[one.number], "check", plan)
    plan_actions.sign_off(by=clock.author(), plan=plan, tasks=list(TASKS), remark="")
    one.machine.refresh_from_db()


def _survey(
    clock: Clock, machine: Machine, instrument: Instrument, seen: Seen, purpose: str, plan: Plan | None
) -> Survey:
    return survey_actions.record_survey(
        by=clock.author(), machine=machine, instrument=instrument, plan=plan, purpose=purpose, readings=seen.readings,
        stance=seen.stance, gap=float(seen.gap_text), gap_text=seen.gap_text, measured_at=clock.at,
        preconditions=list(presets.PRECONDITIONS),
    )  # fmt: skip
