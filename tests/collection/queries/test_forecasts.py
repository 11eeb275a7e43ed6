"""The forecast of a machine in words, and when there is none."""

import datetime

import pytest

from collection import models, presets
from collection.actions.machines import move_machine
from collection.actions.plans import record_turns
from collection.queries import forecasts
from collection.queries.forecasts import ForecastPage, forecast_page
from collection.queries.response import record_of
from collection.queries.surveys import answer_of
from tests.factories import NOON
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom

DAY = datetime.timedelta(days=1)


def page_of(world: TernTaproom, now: datetime.datetime) -> ForecastPage | None:
    machine = models.Machine.objects.select_related("bay__floor__site").get(pk=world.machine.pk)
    record = record_of(machine=machine)
    spec = models.Spec.objects.filter(machine=machine).latest("created_at")
    found = answer_of(survey=record.newest).assessment if record.newest else None
    return forecast_page(machine=machine, record=record, spec=spec, found=found, now=now)


def read(world: TernTaproom, pitch: float, at: datetime.datetime = NOON) -> models.Survey:
    readings = [along(pitch, spot="middle"), across(0, "level", spot="lower_centre")]
    return survey_of(world.machine, by=world.people.bob, instrument=world.instrument, at=at, readings=readings)


@pytest.fixture
def fine(taproom: TernTaproom) -> TernTaproom:
    care = {"resolution_deg": 0.01, "accuracy_deg": 0.02, "alignment_deg": 0.05, "repeat_deg": 0.01}
    models.Instrument.objects.filter(pk=taproom.instrument.pk).update(**care)
    taproom.instrument.refresh_from_db()
    return taproom


def test_a_machine_in_spec_has_a_day_to_come_and_a_reason(fine: TernTaproom) -> None:
    read(fine, 6.5)
    page = page_of(fine, NOON + DAY)
    assert page
    assert page.due_on
    assert page.due_on > page.today == datetime.date(2026, 5, 5)
    assert not page.is_due
    assert not page.survey_was_unsure
    assert page.reason.startswith("What grows is mostly ")
    assert (page.surveys, page.since, page.surface_words) == (1, datetime.date(2026, 5, 4), "concrete")


def test_what_is_out_is_due_now_and_says_so(fine: TernTaproom) -> None:
    read(fine, 7.5)
    page = page_of(fine, NOON)
    assert page
    assert page.is_due
    assert page.reason == "The pitch was last seen beyond its limit."


def test_it_becomes_due_by_itself(fine: TernTaproom) -> None:
    read(fine, 6.5)
    page = page_of(fine, NOON)
    assert page
    assert page.due_on
    late = page_of(fine, NOON + (page.due_on - page.today) + DAY)
    assert late
    assert late.is_due
    assert late.forecast.chance_now > presets.DUE_CHANCE


def test_there_is_none_without_a_survey_of_it_as_it_stands(taproom: TernTaproom) -> None:
    """Nobody surveyed it; then somebody did, and turned its legs; it was read again, and taken off the floor."""
    assert page_of(taproom, NOON) is None
    plan = taproom.plan
    assert page_of(taproom, NOON)
    record_turns(by=author(taproom.people.bob, NOON + DAY), plan=plan, lift=1)
    assert page_of(taproom, NOON + DAY) is None
    read(taproom, 6.5, NOON + 2 * DAY)
    assert page_of(taproom, NOON + 2 * DAY)
    machine = models.Machine.objects.get(pk=taproom.machine.pk)
    off = author(taproom.people.alice, NOON + 3 * DAY)
    move_machine(by=off, machine=machine, version=machine.version, bay=None, why="")
    assert page_of(taproom, NOON + 3 * DAY) is None


def test_surveys_from_another_place_do_not_count(taproom: TernTaproom) -> None:
    first = read(taproom, 6.5)
    record = record_of(machine=taproom.machine)
    assert forecasts.surveys_here(record) == [first]
    other = models.Survey.objects.get(pk=first.pk)
    other.bay_id = None
    assert forecasts.surveys_here(type(record)(record.machine, [other], [], [])) == []


def test_days_are_the_sites_days(fine: TernTaproom) -> None:
    """Noon in Greenwich is the next day in Kiritimati, UTC+14 (IANA time zone database)."""
    models.Site.objects.filter(pk=fine.site.pk).update(time_zone="Pacific/Kiritimati")
    read(fine, 6.5)
    page = page_of(fine, NOON)
    assert page
    assert page.today == page.since == datetime.date(2026, 5, 5)
    days = [day for day, *_ in page.band]
    assert days == sorted(set(days))
    assert days[0] == page.since
