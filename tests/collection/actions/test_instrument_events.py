"""What happens to an instrument ends its last zero check: for the surveys that follow, until it is checked again."""

import datetime
from typing import Any

import pytest

from collection.actions.instruments import Shown, check_zero, record_event
from collection.actions.record import ActionRefused, Author
from collection.actions.surveys import correct_survey
from collection.arrays.surveys import recomputed
from collection.models import Change, InstrumentEvent, Survey, ZeroCheck
from collection.models.base import AppendOnlyError
from collection.queries.surveys import readings_in
from tests.factories import NOON
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom

HOUR = datetime.timedelta(hours=1)


def at(hours: float) -> datetime.datetime:
    return NOON + hours * HOUR


def checked(taproom: TernTaproom, hours: float) -> ZeroCheck:
    """A zero of 0.1 degree: on a surface that is level the marked end shows 0.1 too high."""
    first, turned = Shown("0.1", 0.1, "right"), Shown("0.1", 0.1, "left")
    by = author(taproom.people.bob, at(hours))
    return check_zero(by=by, instrument=taproom.instrument, unit="deg", first=first, turned=turned)


def happened(taproom: TernTaproom, kind: str, hours: float, **more: Any) -> InstrumentEvent:
    by = author(taproom.people.bob, at(hours))
    return record_event(by=by, instrument=taproom.instrument, kind=kind, **more)


def surveyed(taproom: TernTaproom, hours: float, **more: Any) -> Survey:
    return survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, at=at(hours), **more)


def zero_in(survey: Survey) -> tuple[float, float, str]:
    """The zero, how sure it is, and what the last check was lost by."""
    level = survey.inputs["instrument"]
    return level["zero_deg"], level["u_zero_deg"], survey.inputs["zero_lost"]


def test_it_keeps_what_happened_when_and_by_whom(taproom: TernTaproom) -> None:
    event = happened(taproom, "dropped", 5, happened_at=at(2), note="From the ladder.")
    kept = InstrumentEvent.objects.get(pk=event.pk)
    assert (kept.kind, kept.note, kept.happened_at) == ("dropped", "From the ladder.", at(2))
    assert (kept.created_at, kept.created_by) == (at(5), taproom.people.bob.user)
    assert Change.objects.get(row_id=event.pk).verb == "added"
    with pytest.raises(AppendOnlyError):
        kept.save()


def test_without_a_time_it_happened_when_it_was_sent_off(taproom: TernTaproom) -> None:
    by = author(taproom.people.bob, at(5))
    waited = Author(member=by.member, at=by.at, key=by.key, waited=3 * HOUR)
    event = record_event(by=waited, instrument=taproom.instrument, kind="battery")
    assert event.happened_at == at(2)


def test_it_refuses_a_time_to_come_and_forgives_a_clock_that_runs_ahead(taproom: TernTaproom) -> None:
    with pytest.raises(ActionRefused, match="still to come") as refused:
        happened(taproom, "dropped", 0, happened_at=at(0.2))
    assert refused.value.field == "happened_at"
    assert happened(taproom, "dropped", 0, happened_at=at(0.1)).happened_at == at(0)


@pytest.mark.parametrize(("kind", "u_deg"), [("dropped", 0.2), ("battery", 0.0), ("repaired", 0.0)])
def test_after_it_the_last_zero_does_not_count(taproom: TernTaproom, kind: str, u_deg: float) -> None:
    """presets.py: 0.2 degree after a drop, common practice, no source; else the stated accuracy covers it."""
    check = checked(taproom, 1)
    before = surveyed(taproom, 2)
    assert zero_in(before)[0] == pytest.approx(0.1, abs=1e-12)
    assert before.inputs["zero_check"] == str(check.pk)
    happened(taproom, kind, 3)
    after = surveyed(taproom, 4)
    assert zero_in(after) == (0.0, u_deg, kind)
    assert after.inputs["zero_check"] == ""
    checked(taproom, 5)
    again = surveyed(taproom, 6)
    assert zero_in(again)[0] == pytest.approx(0.1, abs=1e-12)
    assert zero_in(again)[2] == ""


def test_a_drop_stands_until_the_next_check_whatever_came_after(taproom: TernTaproom) -> None:
    checked(taproom, 1)
    happened(taproom, "dropped", 2)
    happened(taproom, "battery", 3)
    happened(taproom, "repaired", 4)
    assert zero_in(surveyed(taproom, 5)) == (0.0, 0.2, "dropped")


def test_a_level_that_was_never_checked_is_less_sure_after_a_drop(taproom: TernTaproom) -> None:
    before = surveyed(taproom, 1)
    happened(taproom, "dropped", 2)
    after = surveyed(taproom, 3)
    # GUM 5.1.2: independent parts add as squares; one reading along carries the whole zero
    assert after.u_pitch_deg**2 - before.u_pitch_deg**2 == pytest.approx(0.2**2, rel=1e-6)
    assert after.chance < before.chance


def test_turned_end_for_end_a_dropped_level_measures_as_before(taproom: TernTaproom) -> None:
    """A reversed pair cancels the zero, whatever it is: zero = (r0 + r180)/2, tilt = (r0 - r180)/2.

    Only the rounding of its two readings hangs on the zero a little (leveling.instruments): under 0.001 degree.
    """
    pairs = [along(6.5, turned_value=6.5), across(0.0, "level", turned_value=0.0)]
    before = surveyed(taproom, 1, readings=pairs)
    happened(taproom, "dropped", 2)
    after = surveyed(taproom, 3, readings=pairs)
    assert after.u_pitch_deg == pytest.approx(before.u_pitch_deg, abs=1e-3)
    assert after.u_roll_deg == pytest.approx(before.u_roll_deg, abs=1e-3)


def test_a_survey_measured_before_the_drop_keeps_its_zero(taproom: TernTaproom) -> None:
    checked(taproom, 1)
    happened(taproom, "dropped", 4)
    late = survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, at=at(6), measured_at=at(3))
    assert zero_in(late)[0] == pytest.approx(0.1, abs=1e-12)


def test_a_drop_that_is_told_late_reaches_a_survey_by_its_correction(taproom: TernTaproom) -> None:
    checked(taproom, 1)
    trusting = surveyed(taproom, 3)
    happened(taproom, "dropped", 5, happened_at=at(2))
    stored = Survey.objects.select_related("spec").get(pk=trusting.pk)
    assert zero_in(stored)[0] == pytest.approx(0.1, abs=1e-12), "the record does not change"
    made = correct_survey(
        by=author(taproom.people.bob, at(6), why="The level had been dropped."), survey=trusting,
        instrument=taproom.instrument, stance="all_bearing",
        readings=[along(6.5, spot="middle"), across(0, "level", spot="lower_centre")],
    )  # fmt: skip
    assert zero_in(made) == (0.0, 0.2, "dropped")


def test_its_numbers_can_be_made_again(taproom: TernTaproom) -> None:
    """Promise: recomputing gives the same numbers within 1e-12."""
    happened(taproom, "dropped", 1)
    made = surveyed(taproom, 2)
    checked(taproom, 3)
    stored = Survey.objects.select_related("spec").get(pk=made.pk)
    again = recomputed(stored, readings_in(survey=stored)).columns
    for name in ("pitch_deg", "roll_deg", "u_pitch_deg", "u_roll_deg", "chance"):
        assert again[name] == pytest.approx(getattr(stored, name), rel=0, abs=1e-12), name
