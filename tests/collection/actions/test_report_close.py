"""What closes a report: a member with the reason, or a survey taken after it."""

import datetime

import pytest

from collection import models
from collection.actions.record import ActionRefused
from collection.actions.reports import close_report
from collection.actions.surveys import correct_survey
from tests.factories import NOON
from tests.reporting import IN_SPEC, status_of, surveyed, told
from tests.surveying import along, author
from tests.worlds import TernTaproom

MINUTE, HOUR, DAY = datetime.timedelta(minutes=1), datetime.timedelta(hours=1), datetime.timedelta(days=1)


def test_a_member_closes_one_with_the_reason_and_a_line(taproom: TernTaproom) -> None:
    report, other = told(taproom), told(taproom, "moved")
    by = author(taproom.people.bob, NOON + HOUR, why="It was a ball with a dent.")
    close_report(by=by, report=report)
    report.refresh_from_db()
    assert (report.closed_at, report.closed_by, report.closed_why) == (
        NOON + HOUR, taproom.people.bob.user, "It was a ball with a dent.",
    )  # fmt: skip
    line = models.Change.objects.get(noun="report")
    assert (line.verb, line.row_id, line.why) == ("closed", report.pk, "It was a ball with a dent.")
    assert (line.old["closed_at"], line.new["closed_why"]) == (None, "It was a ball with a dent.")
    assert (status_of(taproom).reported, status_of(taproom).reported_at) == ("moved", other.created_at)


def test_closed_twice_is_closed_once(taproom: TernTaproom) -> None:
    report, by = told(taproom), author(taproom.people.bob, why="Play.")
    close_report(by=by, report=report)
    close_report(by=by, report=report)
    assert models.Change.objects.filter(noun="report").count() == 1
    with pytest.raises(ActionRefused, match="closed already"):
        close_report(by=author(taproom.people.alice, why="Play."), report=report)


def test_it_wants_a_reason(taproom: TernTaproom) -> None:
    report = told(taproom)
    with pytest.raises(ActionRefused, match="Say why"):
        close_report(by=author(taproom.people.bob), report=report)


def test_closed_it_may_be_told_anew(taproom: TernTaproom) -> None:
    close_report(by=author(taproom.people.bob, why="Play."), report=told(taproom))
    told(taproom, at=NOON + MINUTE)
    assert models.Report.objects.count() == 2
    assert status_of(taproom).reported == "rolls left"


def test_a_survey_taken_after_it_answers_every_one(taproom: TernTaproom) -> None:
    reports = [told(taproom), told(taproom, "wobbles")]
    survey = surveyed(taproom, NOON + HOUR)
    for report in reports:
        report.refresh_from_db()
        assert (report.closed_by_survey, report.closed_by, report.closed_why) == (
            survey, taproom.people.bob.user, "",
        )  # fmt: skip
    assert models.Change.objects.filter(noun="report", verb="closed").count() == 2
    status = status_of(taproom)
    assert (status.reported, status.reported_at, status.verdict) == ("", None, "in")
    assert status.next_step != "Survey it"


def test_a_survey_taken_before_it_answers_none(taproom: TernTaproom) -> None:
    """It was written down later, or waited on a device without connection."""
    told(taproom)
    surveyed(taproom, NOON + HOUR, measured_at=NOON - MINUTE)
    assert status_of(taproom).reported == "rolls left"
    assert status_of(taproom).next_step == "Survey it"


def test_told_again_after_the_survey_was_taken_it_stays_open(taproom: TernTaproom) -> None:
    told(taproom)
    told(taproom, at=NOON + 3 * HOUR)
    surveyed(taproom, NOON + 4 * HOUR, measured_at=NOON + 2 * HOUR)
    assert status_of(taproom).reported == "rolls left"


def test_a_correction_to_a_later_time_answers_it_too(taproom: TernTaproom) -> None:
    survey = surveyed(taproom, NOON)
    told(taproom, at=NOON + HOUR)
    correct_survey(
        by=author(taproom.people.bob, NOON + DAY, why="It was in the evening."), survey=survey,
        instrument=taproom.instrument, readings=IN_SPEC, stance="all_bearing", measured_at=NOON + 2 * HOUR,
    )  # fmt: skip
    assert status_of(taproom).reported == ""


def test_a_survey_that_is_refused_answers_none(taproom: TernTaproom) -> None:
    told(taproom)
    with pytest.raises(ActionRefused):
        surveyed(taproom, NOON + HOUR, readings=[along(6.5)])
    assert status_of(taproom).reported == "rolls left"
