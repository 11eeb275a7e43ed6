"""The worlds in which pages are looked at: full, bare, with names as long as they may be, crowded, and the demo."""

import datetime
import uuid
from typing import Any
from unittest import mock

from allauth.account.models import EmailAddress
from django.utils import timezone

from collection import models
from collection.actions.instruments import Shown, check_zero, record_event
from collection.actions.plans import make_plan, record_turns, set_aside, sign_off
from collection.actions.vials import leave_out
from collection.demo import build
from collection.models.plans import TASKS
from tests import factories as make
from tests.crowd import crowd
from tests.factories import NOON
from tests.surveying import across, along, author, pair_of, survey_of
from tests.worlds import Cast, TernTaproom, tern_taproom

#: Names as long as the database takes them, with and without places to break a line.
UNBROKEN = "Lanternreeflighthousekeepersdaughterandthemarshweatherpapertinkettlefullmoonbell"
SPACED = "The Paper Lighthouse of the Marsh Weather Company in Its Second and Final Edition"[:80]
LONG_CODE = "SALTMARSH-ROUTE-0001"
LONG_MAIL = "the.technician.who.works.the.late.shift.on.the.ferry@machines.saltmarsh-route.example.org"
LONG_TEXT = "Ask for the key at the bar, then through the cellar, past the barrels. " * 5
#: Visits of the demo that is only looked at: enough for charts with a history.
DEMO_VISITS = 5


def full() -> TernTaproom:
    """The Tern Taproom with a slope on its floor and its bay, a checked level, a survey, a plan and two addresses."""
    return furnish(tern_taproom())


def furnish(world: TernTaproom) -> TernTaproom:
    """Add to a taproom what each page has to show."""
    alice, bob = world.people.alice, world.people.bob
    slope: dict[str, Any] = {"member": alice, "floor": world.floor, "instrument": world.instrument}
    make.FloorSlopeFactory(**slope)
    make.FloorSlopeFactory(**slope, bay=world.bay, why="Read twice, on the bare tile beside the rug.")
    world.machine.legs.filter(place__gte=2).update(exposure_mm=33)  # so that its plan needs both ends
    first, turned = Shown(text="0.2", number=0.2, high_end="right"), Shown(text="0.0", number=0.0, high_end="level")
    check_zero(by=author(bob), instrument=world.instrument, unit="deg", first=first, turned=turned)
    EmailAddress.objects.create(user=alice.user, email=alice.user.email, primary=True, verified=True)
    EmailAddress.objects.create(user=alice.user, email=f"second.{alice.user.email}", primary=False, verified=False)
    for row in (world.site, world.floor, world.bay, world.machine, world.instrument):
        row.refresh_from_db()
    assert world.survey
    assert world.plan
    return world


def fresh() -> models.User:
    """Erin has founded her organization a minute ago: it holds nothing."""
    erin = make.UserFactory(email="erin@example.org")
    make.MembershipFactory(user=erin, organization__name="Heron Arcade")
    return erin


def bare() -> TernTaproom:
    """Frank's organization has one of each thing with nothing in it: no slope, survey or zero check."""
    frank = make.MembershipFactory(user__email="frank@example.org", organization__name="Hollow Barn")
    site = make.SiteFactory(member=frank, name="Hollow Barn", address="")
    drawn = make.SiteFactory(member=frank, name="Quayside Canteen")
    floor = make.FloorFactory(member=frank, site=drawn, name="Dining room")
    bay = make.BayFactory(member=frank, floor=make.FloorFactory(member=frank, site=drawn), name="Bay 1")
    machine = make.MachineFactory(member=frank, bay=None, title="Tin Kettle", code="TK-1")
    machine.legs.update(exposure_mm=None)
    instrument = make.InstrumentFactory(member=frank, name="300 mm digital level")
    return TernTaproom(Cast(frank, frank, frank, frank, frank.user), site, floor, bay, machine, instrument)


def long_names() -> TernTaproom:
    """A furnished taproom in which every name is as long as it may be."""
    world = furnish(rename(tern_taproom(), "long"))
    alice, bob = world.people.alice, world.people.bob
    for table, names in (
        (models.Organization.objects.filter(pk=alice.organization_id), {"name": UNBROKEN}),
        (
            models.Site.objects.filter(pk=world.site.pk),
            {"name": SPACED, "address": LONG_TEXT[:200]},
        ),
        (models.Floor.objects.filter(pk=world.floor.pk), {"name": UNBROKEN}),
        (models.Bay.objects.filter(pk=world.bay.pk), {"name": SPACED}),
        (models.Machine.objects.filter(pk=world.machine.pk), {"title": UNBROKEN, "code": LONG_CODE}),
        (models.Instrument.objects.filter(pk=world.instrument.pk), {"name": UNBROKEN}),
        (models.User.objects.filter(pk=alice.user_id), {"email": LONG_MAIL}),
        (models.User.objects.filter(pk=bob.user_id), {"email": f"{UNBROKEN[:60]}@{UNBROKEN[:55]}.example.org"}),
    ):
        table.update(**names)
    EmailAddress.objects.filter(user=alice.user, primary=True).update(email=LONG_MAIL)
    for number, title in enumerate((SPACED, UNBROKEN[::-1], "W" * 80)):
        name = f"{number} {UNBROKEN}"[:80]
        bay = make.BayFactory(member=alice, floor=world.floor, name=name, x_mm=2500 + 1500 * number)
        machine = make.MachineFactory(member=alice, bay=bay, title=title, code=f"{LONG_CODE[:-1]}{number + 2}")
        survey_of(machine, by=bob, instrument=world.instrument, note=LONG_TEXT)
    make.SiteFactory(member=alice, name=UNBROKEN, address=UNBROKEN)
    make.InstrumentFactory(member=alice, name=SPACED)
    other = make.OrganizationFactory(name=SPACED)
    make.MembershipFactory(organization=other, user=alice.user, created_at=timezone.now())
    for row in (world.site, world.floor, world.bay, world.machine, world.instrument):
        row.refresh_from_db()
    return world


def crowded(machines: int = 400) -> TernTaproom:
    """A taproom with hundreds of machines on one floor, sixty more sites and as many levels."""
    world = rename(tern_taproom(), "crowd")
    crowd(world, machines)
    across, row_mm, bay_mm = 36, 1800, 1100
    models.Floor.objects.filter(pk=world.floor.pk).update(width_mm=42_000, depth_mm=24_000)
    bays = list(models.Bay.objects.filter(floor=world.floor).order_by("created_at", "pk"))
    for number, bay in enumerate(bays):
        bay.x_mm, bay.y_mm = bay_mm * (1 + number % across), row_mm * (1 + number // across)
    models.Bay.objects.bulk_update(bays, ["x_mm", "y_mm"])
    world.floor.refresh_from_db()
    for number in range(60):
        make.SiteFactory(member=world.people.alice, name=f"Ferry Hall {number + 1}")
        make.InstrumentFactory(member=world.people.alice, name=f"Level {number + 1}")
    return world


def demo() -> TernTaproom:
    """The demo's operation, a few visits old, as a world: its first machine out of spec stands for the machine."""
    user = make.UserFactory(email="demo@levelbook.example")
    with mock.patch.object(build, "VISITS", DEMO_VISITS):
        owner = build.build(user=user, now=timezone.now(), say=lambda words: None)
    people = _staff(owner)
    out = models.MachineStatus.objects.filter(organization=owner.organization, verdict="out").order_by("machine__title")
    plans = (make_plan(by=author(owner, timezone.now()), machine=status.machine, source="survey") for status in out)
    plan = next(plan for plan in plans if plan.answer.get("lifts"))
    bay = plan.machine.bay
    instrument = models.Instrument.objects.get(organization=owner.organization, kind="digital_level")
    world = TernTaproom(people, bay.floor.site, bay.floor, bay, plan.machine, instrument)
    vial = models.Instrument.objects.get(organization=owner.organization, kind="vial")
    # What the world would otherwise make when first asked.
    world.__dict__.update(survey=plan.survey, plan=plan, vial=vial)
    people.vera.sites.add(world.site)
    return world


def plans_of_every_kind(world: TernTaproom) -> dict[str, models.Plan]:
    """Leg plans of machines of their own: turned, signed off, set aside, in spec, and one that nothing fits."""
    bob = world.people.bob
    kinds = {}
    for number, kind in enumerate(("turned", "signed", "aside", "in-spec", "nothing-fits")):
        place = {"bay__floor": world.floor, "bay__x_mm": 2200 + 1100 * number}
        machine = make.MachineFactory(member=world.people.alice, title=f"Paper Lighthouse {kind}", **place)
        machine.legs.update(exposure_mm=20)
        pitch = {"in-spec": 6.5, "nothing-fits": 1.0}.get(kind, 6.1)
        readings = [along(pitch, spot="middle"), across(0.0 if kind == "in-spec" else 0.3, "left", spot="lower_centre")]
        survey = survey_of(machine, by=bob, instrument=world.instrument, readings=readings)
        at = survey.measured_at + datetime.timedelta(minutes=5)
        plan = make_plan(by=author(bob, at), machine=machine, source="survey")
        if kind in ("turned", "signed"):
            for number in range(1, len(plan.answer["lifts"]) + 1):
                plan = record_turns(by=author(bob, at), plan=plan, lift=number)
        if kind == "signed":
            plan = sign_off(by=author(bob, at), plan=plan, tasks=list(TASKS)[1:], remark="The tilt bob on Thursday.")
        if kind == "aside":
            plan = set_aside(by=author(bob, at, why="The site closed early."), plan=plan)
        kinds[kind] = plan
    return kinds


def weighed(world: TernTaproom) -> models.Survey:
    """A survey of a machine on four scales, FL too light by more than its spec allows."""
    return survey_of(
        world.machine, by=world.people.alice, instrument=world.instrument, at=timezone.now(), stance="weighed",
        weights_kg=(10, 38, 50, 22), weights_text=("10 kg", "38 kg", "50 kg", "22 kg"),
    )  # fmt: skip


def twisted(world: TernTaproom) -> dict[str, models.Survey]:
    """A machine read at both ends while FL hung, told to the eighth of a turn, and again once all four bore."""
    level = make.InstrumentFactory(member=world.people.alice, name="Long level", resolution_deg=0.05,
                                   alignment_deg=0.2, base_mm=450)  # fmt: skip
    machine = make.MachineFactory(member=world.people.alice, bay=None, title="Marsh Weather", code="MW-7")
    hung = {"stance": "FL", "gap": 0.5, "gap_text": "1/2", "gap_unit": "turns", "gap_step_turns": 0.125}
    made: dict[str, models.Survey] = {}
    for hours, name, rolls, stance in ((3, "hung", (0.1, 0.9), hung), (2, "bore", (0.3, 0.5), {}),
                                       (1, "hung-again", (0.1, 0.6), hung)):  # fmt: skip
        rows = [along(6.5, spot="middle")]
        for end, roll in zip(("lower", "upper"), rolls, strict=True):
            rows += [across(roll, "left", spot=f"{end}_{spot}") for spot in ("left", "centre", "right")]
        at = timezone.now() - datetime.timedelta(hours=hours)
        made[name] = survey_of(machine, by=world.people.bob, instrument=level, readings=rows, at=at, **stance)
    return made


def surveys_of_other_kinds(world: TernTaproom) -> dict[str, models.Survey]:
    """Surveys with angle blocks, and with a filmed ball."""
    alice = world.people.alice
    blocks = make.InstrumentFactory(
        member=alice, name="Our blocks, with the bar's bubble", kind="blocks", sensitivity_deg=0.05, accuracy_deg=0.05
    )
    ball = make.InstrumentFactory(
        member=alice, name="Our own ball, filmed", kind="ball", run_mm=450, film_hz=240, alignment_deg=0.2
    )
    looks = [_look("block", "along", 6.25, "rear"), _look("block", "along", 6.75, "front")]
    looks.append(_look("look", "across", None, "right") | {"turned_high_end": "level", "turned_text": ""})
    rolled = [_look("frames", "along", 256, "rear"), _look("mm", "across", 3.0, "left")]
    rows = {"blocks": (blocks, looks), "ball": (ball, rolled)}
    return {
        kind: survey_of(world.machine, by=alice, instrument=used, at=timezone.now(), readings=readings)
        for kind, (used, readings) in rows.items()
    }


def _look(unit: str, direction: str, number: float | None, end: str) -> dict[str, Any]:
    text = "" if number is None else f"{number:g}"
    return {"direction": direction, "text": text, "value": number, "unit": unit, "high_end": end, "turned_value": None}


def levels_of_every_kind(world: TernTaproom) -> dict[str, models.Instrument]:
    """Levels by how their zero stands: fresh after a long history, stale, dropped, with a new battery, never checked
    but dropped, and one in mm/m that shows more than its maker states."""
    alice, now = world.people.alice, timezone.now()
    kinds = {
        "fresh": ([(400, 0.2), (300, 0.1), (200, 0.3), (20, 0.3)], [(310, "dropped"), (190, "battery")]),
        "stale": ([(230, 0.2)], []),
        "dropped": ([(90, 0.1)], [(2, "dropped"), (1, "battery")]),
        "battery": ([(40, 0.1), (15, 0.2)], [(0.1, "battery")]),
        "dropped-unchecked": ([], [(400, "dropped")]),
        "coarse": ([(100, 6.0), (30, 5.0), (0, 5.0)], [(60, "repaired")]),
    }
    made = {}
    for kind, (checks, events) in kinds.items():
        unit = "mm_per_m" if kind == "coarse" else "deg"
        level = make.InstrumentFactory(member=alice, name=f"Level, {kind.replace('-', ', ')}", unit=unit)
        for days, shows in checks:
            first, turned = Shown(f"{shows:g}", shows, "right"), Shown("0", 0.0, "level")
            by = author(alice, now - datetime.timedelta(days=days))
            check_zero(by=by, instrument=level, unit=unit, first=first, turned=turned)
        for days, what in events:
            by = author(alice, now - datetime.timedelta(days=days))
            record_event(by=by, instrument=level, kind=what, note="Fell off the ladder." if what == "dropped" else "")
        made[kind] = level
    return made


def kinds_of_instruments(world: TernTaproom) -> dict[str, models.Instrument]:
    """Instruments that show no number: bubble, blocks, ball by watch and by film, and vials however much they know."""
    alice, level = world.people.alice, world.instrument
    plain: dict[str, dict[str, Any]] = {
        "bubble": {}, "blocks": {}, "watch": {"kind": "ball", "alignment_deg": 0.2},
        "film": {"kind": "ball", "film_hz": 240, "alignment_deg": 0.2},
    }  # fmt: skip
    made = {
        name: make.InstrumentFactory(member=alice, name=f"Kind, {name}", **{"kind": name, **fields})
        for name, fields in plain.items()
    }
    vials: dict[str, tuple[dict[str, Any], list[tuple[float, float]]]] = {
        "manual": ({"deg_per_line": 0.5, "middle_deg": 6.5}, []),
        "no-pairs": ({}, []),
        "too-close": ({}, [(0.5, 6.4)]),
        "wrong-way": ({}, [(2, 5.5), (0, 6.5), (-2, 7.5)]),
        "disagree": ({}, [(-2, 5.5), (-1, 7.9), (0, 6.1), (1, 8.4)]),
        "beyond": ({}, [(-2, 4.0), (2, 5.0)]),
        "left-out": ({}, [(-1, 6.0), (0, 6.5), (1, 7.0), (2, 5.9)]),
        "moved": ({"reach_lines": 4}, [(-1, 6.0), (1, 7.0)]),
    }
    for name, (fields, pairs) in vials.items():
        vial = make.InstrumentFactory(
            member=alice, name=f"Vial, {name}", kind="vial", machine=world.machine, direction="along", **fields
        )
        for minute, (lines, shown) in enumerate(pairs):
            at = NOON + datetime.timedelta(minutes=minute)
            pair_of(vial, level, by=world.people.bob, lines=lines, shown=shown, at=at)
        made[name] = vial
    wrong = made["left-out"].pairs.latest("read_at")
    leave_out(by=author(world.people.bob, why="Somebody leaned on the machine."), pair=wrong)
    record_event(by=author(alice, timezone.now()), instrument=made["moved"], kind="repaired", note="New glass.")
    return made


def rename(world: TernTaproom, word: str) -> TernTaproom:
    """Give the cast of a world other addresses, so that the next world's cast finds theirs free."""
    cast = world.people
    for user in (cast.alice.user, cast.bob.user, cast.vera.user, cast.charlie.user, cast.dana):
        user.email = f"{word}.{user.email}"
        user.save(update_fields=["email"])
    return world


def _staff(owner: models.Membership) -> Cast:
    bob, vera = (
        make.MembershipFactory(
            user__email=f"{role}-{uuid.uuid4().hex[:6]}@levelbook.example", organization=owner.organization, role=role
        )
        for role in ("technician", "viewer")
    )
    return Cast(owner, bob, vera, make.MembershipFactory(), make.UserFactory())
