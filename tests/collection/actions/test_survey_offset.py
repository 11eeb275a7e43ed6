"""The machine's offset, playfield minus cabinet, learned from a survey where floor and legs are known."""

import datetime
import math

import pytest

from collection import models
from tests import factories as make
from tests.factories import NOON
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom


@pytest.fixture
def flat(taproom: TernTaproom) -> TernTaproom:
    """The taproom with a dead level floor and surely known legs: front levelers 12 mm out, rear ones 20 mm."""
    make.FloorSlopeFactory(member=taproom.people.alice, floor=taproom.floor, gx=0, gy=0, u_gx=1e-5, u_gy=1e-5)
    return taproom


def machine_now(taproom: TernTaproom) -> models.Machine:
    return models.Machine.objects.get(pk=taproom.machine.pk)


def test_it_learns_what_the_playfield_adds_to_the_cabinet(flat: TernTaproom) -> None:
    """By hand: 8 mm over 1300 mm is 0.3526 degree of cabinet, so a playfield at 6.5 hangs 6.147 steeper."""
    survey_of(flat.machine, by=flat.people.bob, instrument=flat.instrument)
    machine = machine_now(flat)
    cabinet = math.degrees(math.atan(8 / 1300))
    # Between what is usual for the era and what was seen, as weighed by their variances.
    assert machine.pitch_offset_deg == pytest.approx(6.5 - cabinet, abs=0.06)
    assert machine.u_pitch_offset_deg < 0.12
    line = models.Change.objects.get(row_id=machine.pk, verb="learned offset")
    assert line.old["u_pitch_offset_deg"] == 0.5
    assert line.new["survey"] == str(models.Survey.objects.get().pk)


def test_the_version_stays_so_that_open_forms_do_not_turn_stale(flat: TernTaproom) -> None:
    survey_of(flat.machine, by=flat.people.bob, instrument=flat.instrument)
    assert machine_now(flat).version == flat.machine.version


def test_a_less_sure_survey_does_not_replace_a_surer_one(flat: TernTaproom) -> None:
    survey_of(flat.machine, by=flat.people.bob, instrument=flat.instrument)
    before = machine_now(flat)
    survey_of(
        flat.machine, by=flat.people.bob, instrument=flat.instrument, stance="unknown",
        readings=[along(6.9), across(0.3)], at=NOON + datetime.timedelta(hours=1),
    )  # fmt: skip
    after = machine_now(flat)
    assert (after.pitch_offset_deg, after.roll_offset_deg) == (before.pitch_offset_deg, before.roll_offset_deg)


@pytest.mark.parametrize("unknown", ["floor", "exposure", "day"])
def test_it_learns_nothing_where_something_is_unknown(flat: TernTaproom, unknown: str) -> None:
    seen = {}
    if unknown == "floor":
        flat.machine.bay = make.BayFactory(member=flat.people.alice)
        flat.machine.save()
    elif unknown == "exposure":
        models.Leg.objects.filter(machine=flat.machine, place=1).update(exposure_mm=None)
    else:
        seen = {"measured_at": NOON - datetime.timedelta(days=3)}
    survey_of(flat.machine, by=flat.people.bob, instrument=flat.instrument, **seen)
    assert machine_now(flat).u_pitch_offset_deg == 0.5


def test_legs_turned_since_the_reading_teach_nothing(flat: TernTaproom) -> None:
    spec = models.Spec.objects.get(machine=flat.machine)
    stamp = author(flat.people.bob).stamp()
    plan = models.Plan.objects.create(
        machine=flat.machine,
        spec=spec,
        source="floor",
        outcome="plan",
        inputs={},
        answer={},
        engine_version="1",
        **stamp,
    )
    models.Adjustment.objects.create(
        plan=plan, place=0, lift=1, turns=1, text="1", lead_mm=1.5875, turned_at=NOON, **stamp
    )
    an_hour = datetime.timedelta(hours=1)
    survey_of(
        flat.machine, by=flat.people.bob, instrument=flat.instrument, at=NOON + an_hour, measured_at=NOON - an_hour
    )
    assert machine_now(flat).u_pitch_offset_deg == 0.5
