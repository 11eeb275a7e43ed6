"""The same page sent twice, sent with other words, and two people on one row: nothing doubled, nothing lost."""

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from collection import models
from tests import factories as make
from tests.collection.forms.test_hostile_posts import fields_of
from tests.surveying import sent
from tests.worlds import TernTaproom

SignIn = Callable[[models.Membership], Client]

#: Every page that adds something: its address, its row of the world, what to type, and a word to change.
SITE = {"name": "Ferry Hall", "time_zone": "UTC"}
FLOOR = {"name": "Upstairs", "surface": "timber", "width_mm": "5000", "depth_mm": "4000"}
BAY = {"name": "By the door", "heading_deg": "90", "x_mm": "1500", "y_mm": "2500", "front_reachable": "on"}
SLOPE = {
    "unit": "deg", "readings-TOTAL_FORMS": "2", "readings-INITIAL_FORMS": "2", "readings-0-amount": "0.3",
    "readings-0-rises_toward": "0", "readings-1-amount": "0.2", "readings-1-rises_toward": "90",
}  # fmt: skip
LEVEL = {
    "name": "Red level", "kind": "digital_level", "unit": "deg", "resolution": "0.1", "accuracy": "0.1",
    "base_mm": "230", "alignment_deg": "1", "repeat_deg": "0.03",
}  # fmt: skip
MACHINE = {
    "title": "Tin Kettle", "code": "TK-1", "era": "modern", "body": "standard", "thread": "3/8-16 UNC",
    "steps_per_turn": "4",
}  # fmt: skip
AT_A_SITE = MACHINE | {"code": "TK-7", "site_name": "Dune Hall", "time_zone": "UTC", "surface": "timber"}
SPEC = {
    "pitch_deg": "6.4", "pitch_tolerance_deg": "0.2", "roll_tolerance_deg": "0.15", "gap_tolerance_mm": "0.5",
    "why": "Slower for children.", "version": "1",
}  # fmt: skip
ZERO = {"unit": "deg", "first": "0.2", "first_high": "right", "turned": "0.1", "turned_high": "left"}
DROP = {"kind": "dropped", "happened_at": "", "note": "On the tiles."}
PLAN = {"source": "survey", "front_reachable": "on", "rear_reachable": "on", "steps_per_turn": "4"}
ADDING: list[tuple[str, str, dict[str, str], dict[str, str], type[Any]]] = [
    ("site_new", "", SITE, {"name": "Millpond Bowl"}, models.Site),
    ("floor_new", "site", FLOOR, {"name": "Cellar"}, models.Floor),
    ("bay_new", "floor", BAY, {"name": "By the bar"}, models.Bay),
    ("floor_slope", "floor", SLOPE, {"readings-0-amount": "0.5"}, models.FloorSlope),
    ("bay_slope", "bay", SLOPE, {"readings-0-amount": "0.5"}, models.FloorSlope),
    ("instrument_new", "", LEVEL, {"name": "Blue level"}, models.Instrument),
    ("machine_new", "", MACHINE, {"code": "TK-2"}, models.Machine),
    ("machine_new", "", AT_A_SITE, {"code": "TK-8"}, models.Machine),
    ("instrument_zero", "instrument", ZERO, {"turned": "0.2"}, models.ZeroCheck),
    ("instrument_event", "instrument", DROP, {"note": "From the ladder."}, models.InstrumentEvent),
    ("organization_new", "", {"name": "Bob's barn"}, {"name": "Bob's shed"}, models.Membership),
    ("plan_new", "machine", PLAN, {"steps_per_turn": "8"}, models.Plan),
]
NAMES = [row[0] for row in ADDING]


def address(taproom: TernTaproom, name: str, noun: str) -> str:
    return reverse(name, args=[getattr(taproom, noun).pk] if noun else [])


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    assert taproom.survey
    return as_member(taproom.people.bob)


@pytest.mark.parametrize(("name", "noun", "typed", "other", "table"), ADDING, ids=NAMES)
def test_the_same_page_sent_twice_writes_once(
    taproom: TernTaproom, bob: Client, name: str, noun: str, typed: dict[str, str], other: dict[str, str], table: Any
) -> None:
    url, page, before = address(taproom, name, noun), typed | {"write_key": str(uuid.uuid4())}, table.objects.count()
    first, second = bob.post(url, page), bob.post(url, page)
    assert (first.status_code, second.status_code) == (302, 302)
    assert first.url == second.url
    assert table.objects.count() == before + 1


@pytest.mark.parametrize(("name", "noun", "typed", "other", "table"), ADDING, ids=NAMES)
def test_back_and_sent_with_another_word_is_told_and_then_saved(
    taproom: TernTaproom, bob: Client, name: str, noun: str, typed: dict[str, str], other: dict[str, str], table: Any
) -> None:
    """A browser's Back shows the page with its old key: the second write must be neither dropped nor taken for it."""
    url, page, before = address(taproom, name, noun), typed | {"write_key": str(uuid.uuid4())}, table.objects.count()
    assert bob.post(url, page).status_code == 302
    told = bob.post(url, page | other)
    assert told.status_code == 422
    assert "sent before with other words" in told.content.decode()
    assert table.objects.count() == before + 1
    fresh = fields_of(told.content.decode()).sent["write_key"]
    assert fresh != page["write_key"]
    assert bob.post(url, page | other | {"write_key": fresh}).status_code == 302
    assert table.objects.count() == before + 2


def test_a_survey_with_another_number_is_told_and_then_saved(taproom: TernTaproom, bob: Client) -> None:
    url = reverse("survey_new", args=[taproom.machine.pk])
    page = sent(taproom.instrument.pk, ("along", "6.5", "rear"), ("across", "0.1", "left"), write_key=str(uuid.uuid4()))
    assert bob.post(url, page).status_code == 302
    told = bob.post(url, page | {"readings-0-value": "6.4"})
    assert told.status_code == 422
    fresh = fields_of(told.content.decode()).sent["write_key"]
    assert bob.post(url, page | {"readings-0-value": "6.4", "write_key": fresh}).status_code == 302
    assert models.Survey.objects.filter(pitch_read_deg=6.4).count() == 1


@pytest.mark.parametrize(("name", "noun", "typed", "other", "table"), ADDING, ids=NAMES)
def test_a_key_that_is_a_row_of_another_organization(
    taproom: TernTaproom, bob: Client, name: str, noun: str, typed: dict[str, str], other: dict[str, str], table: Any
) -> None:
    theirs = _theirs(taproom, table)
    before = table.objects.filter(pk=theirs.pk).values().get()
    answer = bob.post(address(taproom, name, noun), typed | {"write_key": str(theirs.pk)})
    assert answer.status_code == 422
    assert "sent before with other words" in answer.content.decode()
    assert table.objects.filter(pk=theirs.pk).values().get() == before


def _theirs(taproom: TernTaproom, table: Any) -> Any:
    """A row of Charlie's in the same table."""
    charlie = taproom.people.charlie
    machine = make.MachineFactory(member=charlie)
    instrument = make.InstrumentFactory(member=charlie)
    stamp = {"organization": charlie.organization, "created_by": charlie.user, "created_at": machine.created_at}
    spec = machine.specs.get()
    plan = {"machine": machine, "spec": spec, "source": "floor", "outcome": "in_spec", "inputs": {}, "answer": {}}
    made = {
        models.Membership: lambda: charlie,
        models.Machine: lambda: machine,
        models.Bay: lambda: machine.bay,
        models.Floor: lambda: machine.bay.floor,
        models.Site: lambda: machine.bay.floor.site,
        models.Spec: lambda: spec,
        models.Instrument: lambda: instrument,
        models.FloorSlope: lambda: make.FloorSlopeFactory(member=charlie, floor=machine.bay.floor),
        models.ZeroCheck: lambda: models.ZeroCheck.objects.create(
            instrument=instrument, unit="deg", first_text="0", first_high="level", reversed_text="0",
            reversed_high="level", zero_deg=0, u_zero_deg=0.1, engine_version="1",
            checked_at=machine.created_at, **stamp,
        ),
        models.InstrumentEvent: lambda: models.InstrumentEvent.objects.create(
            instrument=instrument, kind="dropped", happened_at=machine.created_at, **stamp
        ),
        models.Plan: lambda: models.Plan.objects.create(engine_version="1", **plan, **stamp),
    }  # fmt: skip
    return made[table]()


#: Every page that edits something: a field and what Bob and Alice put there.
EDITING = [
    ("site_edit", "site", "address", "4 Mudflat Lane", "6 Mudflat Lane"),
    ("floor_edit", "floor", "depth_mm", "6100", "6200"),
    ("bay_edit", "bay", "x_mm", "1100", "1200"),
    ("machine_edit", "machine", "title", "Tin Kettle", "Paper Lighthouse"),
    ("machine_legs", "machine", "FL_exposure_mm", "13", "14"),
    ("machine_spec", "machine", "pitch_deg", "6.4", "6.3"),
    ("instrument_edit", "instrument", "base_mm", "240", "250"),
    ("organization_edit", "", "name", "Saltmarsh", "Mudflat Route"),
]


@pytest.mark.parametrize(("name", "noun", "field", "first", "second"), EDITING, ids=[row[0] for row in EDITING])
def test_two_people_edit_one_row(
    taproom: TernTaproom, as_member: SignIn, name: str, noun: str, field: str, first: str, second: str
) -> None:
    """The loser sees both values, has lost nothing, and can save again; sent twice, the winner's edit stands once."""
    alice, url = as_member(taproom.people.alice), address(taproom, name, noun)
    page = fields_of(alice.get(url).content.decode()).sent
    page |= {"why": "Plays better."} if "why" in page else {}
    winner, loser = page | {field: first}, page | {field: second, "write_key": str(uuid.uuid4())}
    assert alice.post(url, winner).status_code == 302
    lines = models.Change.objects.count()
    assert lines
    assert alice.post(url, winner).status_code == 302
    assert models.Change.objects.count() == lines
    told = alice.post(url, loser)
    assert told.status_code == 409
    html = told.content.decode()
    assert f"It says “{first}" in html
    assert fields_of(html).sent[field] == second
    assert fields_of(alice.get(url).content.decode()).sent[field] == first
    assert alice.post(url, fields_of(html).sent).status_code == 302
    assert fields_of(alice.get(url).content.decode()).sent[field] == second


def test_an_edit_that_changes_nothing_makes_no_other_page_stale(taproom: TernTaproom, as_member: SignIn) -> None:
    alice, url = as_member(taproom.people.alice), reverse("site_edit", args=[taproom.site.pk])
    page = fields_of(alice.get(url).content.decode()).sent
    assert alice.post(url, page).status_code == 302
    assert alice.post(url, page | {"address": "4 Mudflat Lane"}).status_code == 302
    assert models.Change.objects.filter(row_id=taproom.site.pk).count() == 1
