"""How an instrument's zero stands: fresh, stale, lost or never checked; which ask for a check, in what order."""

import datetime
from typing import Any

import pytest
from django.utils import timezone

from collection.models import Instrument, InstrumentEvent, ZeroCheck
from collection.presets import ZERO_FRESH_DAYS
from collection.queries.instruments import InstrumentRow, ago, due_of, instrument_page, place_of, rows_of, zero_so_far
from tests import factories as make
from tests.factories import NOON
from tests.surveying import author, survey_of
from tests.worlds import TernTaproom

DAY = datetime.timedelta(days=1)


def checked(taproom: TernTaproom, level: Instrument, days_ago: float, **more: Any) -> ZeroCheck:
    row = {
        "first_text": "0.1", "first_high": "right", "reversed_text": "0.1", "reversed_high": "left", "unit": "deg",
        "zero_deg": 0.1, "u_zero_deg": 0.03, "engine_version": "1", "checked_at": NOON - days_ago * DAY,
    }  # fmt: skip
    made: ZeroCheck = ZeroCheck.objects.create(instrument=level, **row | more, **author(taproom.people.bob).stamp())
    return made


def happened(taproom: TernTaproom, level: Instrument, days_ago: float, kind: str = "dropped") -> InstrumentEvent:
    stamp = author(taproom.people.bob).stamp()
    made: InstrumentEvent = InstrumentEvent.objects.create(
        instrument=level, kind=kind, happened_at=NOON - days_ago * DAY, **stamp
    )
    return made


def row_of(level: Instrument) -> InstrumentRow:
    return rows_of(instruments=[level], now=NOON)[0]


def level(taproom: TernTaproom, name: str) -> Instrument:
    made: Instrument = make.InstrumentFactory(member=taproom.people.alice, name=name)
    return made


@pytest.mark.parametrize(
    ("days", "words"),
    [(0, "today"), (0.4, "today"), (0.6, "yesterday"), (1, "yesterday"), (2, "2 days ago"), (13, "13 days ago"),
     (14, "2 weeks ago"), (60, "8 weeks ago"), (61, "2 months ago"), (213, "6 months ago"), (214, "7 months ago"),
     (729, "23 months ago"), (731, "2 years ago"), (1100, "3 years ago")],
)  # fmt: skip
def test_age_in_words(days: float, words: str) -> None:
    """Noon less half a day is midnight, the first moment of the same day."""
    assert ago(NOON - days * DAY, NOON) == words


def test_midnight_is_that_of_the_place() -> None:
    """23:30 and 0:30 UTC are yesterday and today in London in winter, both the same day in Denver."""
    late = datetime.datetime(2026, 1, 5, 23, 30, tzinfo=datetime.UTC)
    assert ago(late, late + datetime.timedelta(hours=1)) == "yesterday"
    with timezone.override("America/Denver"):
        assert ago(late, late + datetime.timedelta(hours=1)) == "today"


def test_a_zero_is_never_checked_then_fresh_then_stale(taproom: TernTaproom) -> None:
    one = taproom.instrument
    assert (row_of(one).state, row_of(one).is_due, row_of(one).known.u_zero_deg) == ("never", False, 0.0)
    checked(taproom, one, ZERO_FRESH_DAYS + 1)
    assert (row_of(one).state, row_of(one).is_due) == ("stale", True)
    # it wanders by 0.1 degree a year, standard; common practice, no source
    assert row_of(one).known.u_zero_deg == pytest.approx((0.03**2 + (0.1 * 183 / 365.25) ** 2) ** 0.5, abs=1e-9)
    checked(taproom, one, ZERO_FRESH_DAYS - 1)
    assert (row_of(one).state, row_of(one).is_due) == ("fresh", False)


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("dropped", "dropped since its last zero check"),
        ("battery", "battery changed since its last zero check"),
        ("repaired", "repaired since its last zero check"),
    ],
)
def test_what_happened_since_is_told(taproom: TernTaproom, kind: str, words: str) -> None:
    checked(taproom, taproom.instrument, 30)
    happened(taproom, taproom.instrument, 40, "repaired")
    assert row_of(taproom.instrument).state == "fresh", "it was checked after that"
    happened(taproom, taproom.instrument, 10, kind)
    assert (row_of(taproom.instrument).state, row_of(taproom.instrument).lost_words) == ("lost", words)
    checked(taproom, taproom.instrument, 5)
    assert (row_of(taproom.instrument).state, row_of(taproom.instrument).lost_words) == ("fresh", "")


def test_those_that_something_happened_to_come_first(taproom: TernTaproom) -> None:
    stale, older, lost, gone = (level(taproom, name) for name in ("Stale", "Older", "Lost", "Gone"))
    checked(taproom, level(taproom, "Fresh"), 1)
    checked(taproom, stale, 200)
    checked(taproom, older, 400)
    checked(taproom, lost, 3)
    happened(taproom, lost, 2)
    happened(taproom, gone, 2)
    Instrument.objects.filter(pk=gone.pk).update(archived_at=NOON)
    happened(taproom, make.InstrumentFactory(member=taproom.people.charlie), 1)
    alice, vera = taproom.people.alice, taproom.people.vera
    assert [row.instrument.name for row in due_of(member=alice, now=NOON)] == ["Lost", "Older", "Stale"]
    assert [row.instrument.name for row in due_of(member=alice, now=NOON, most=1)] == ["Lost"]
    assert due_of(member=vera, now=NOON) == []


def test_each_of_many_has_its_own_zero(taproom: TernTaproom) -> None:
    levels = [level(taproom, str(number)) for number in range(4)]
    for number, each in enumerate(levels[:3]):
        for days in (50, 40, 30):
            checked(taproom, each, days, zero_deg=number / 10 + days / 1000)
    happened(taproom, levels[1], 20)
    happened(taproom, levels[2], 35)
    found = rows_of(instruments=levels, now=NOON)
    assert [row.state for row in found] == ["fresh", "lost", "fresh", "never"]
    assert [row.known.zero_deg for row in found] == [0.03, 0.0, 0.23, 0.0]


def test_surveys_that_were_saved_too_early_are_counted(taproom: TernTaproom) -> None:
    """Dropped 10 days ago, told today: of four surveys the second and third trusted the old zero."""
    checked(taproom, taproom.instrument, 20)
    for days in (12, 9, 8):
        survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, at=NOON - days * DAY)
    happened(taproom, taproom.instrument, 10)
    checked(taproom, taproom.instrument, 6)
    survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, at=NOON - 5 * DAY)
    seen = instrument_page(instrument=taproom.instrument, now=NOON)
    assert [event.surveys_before for event in seen.events] == [2]  # type: ignore[attr-defined]


def test_the_chart_ends_with_todays_zero_unless_it_is_lost(taproom: TernTaproom) -> None:
    checked(taproom, taproom.instrument, 300, zero_deg=0.05)
    checked(taproom, taproom.instrument, 100, zero_deg=0.15)
    seen = instrument_page(instrument=taproom.instrument, now=NOON)
    assert [(point[1], point[3]) for point in seen.points] == [(0.05, "in"), (0.15, "out"), (0.15, "not_proven")]
    assert seen.points[-1][2] > seen.points[-2][2], "less sure by its age"
    happened(taproom, taproom.instrument, 1)
    seen = instrument_page(instrument=taproom.instrument, now=NOON)
    assert [point[3] for point in seen.points] == ["in", "out"]
    assert [type(row) for row in seen.history] == [InstrumentEvent, ZeroCheck, ZeroCheck]


def test_a_crumb_is_told_for_this_base(taproom: TernTaproom) -> None:
    """atan(0.2/230) = 0.049823 degree."""
    assert instrument_page(instrument=taproom.instrument, now=NOON).crumb_deg == pytest.approx(0.049823, abs=1e-6)


def test_two_readings_tell_whether_the_zero_moved(taproom: TernTaproom) -> None:
    """0.03 and 0.036 of uncertainty leave 0.09 degree open with 95 %: 0.1 to 0.15 is no news, 0.1 to 0.3 is."""
    checked(taproom, taproom.instrument, 30)
    row = row_of(taproom.instrument)
    for shows, moved in ((0.15, False), (0.3, True), (0.0, True)):
        high = {"first_high": "right", "turned_high": "left"} if shows else dict.fromkeys(
            ("first_high", "turned_high"), "level"
        )  # fmt: skip
        told = zero_so_far(row=row, unit="deg", first=shows, turned=shows, **high)
        assert told.found.zero_deg == pytest.approx(shows, abs=1e-12)
        assert told.has_moved == moved, shows


def test_days_are_those_of_the_place_where_it_was_used_last(taproom: TernTaproom) -> None:
    type(taproom.site).objects.update(time_zone="Europe/Dublin")
    site = make.SiteFactory(member=taproom.people.alice, name="Ferry Hall", time_zone="America/Halifax")
    bay = make.BayFactory(member=taproom.people.alice, floor__site=site)
    machine = make.MachineFactory(member=taproom.people.alice, bay=bay)
    assert place_of(instrument=taproom.instrument) == ("Europe/Dublin", "Tern Taproom")
    survey_of(machine, by=taproom.people.bob, instrument=taproom.instrument)
    assert place_of(instrument=taproom.instrument) == ("America/Halifax", "Ferry Hall")
    nowhere = make.InstrumentFactory(member=taproom.people.charlie)
    assert place_of(instrument=nowhere) == ("UTC", "")
