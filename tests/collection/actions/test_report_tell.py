"""What strangers tell through a label: one effect however often it is pressed, and no more than the limits."""

import datetime
import uuid
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from collection import models
from collection.actions.plans import record_turns
from collection.actions.record import ActionRefused
from collection.actions.reports import ReportedOften, close_report, make_label, report_problem
from collection.actions.status import READ_AGAIN
from collection.models.reports import PROBLEMS
from collection.presets import MOST_REPORTS, REPORTS_WITHIN
from tests import factories as make
from tests.factories import NOON
from tests.reporting import status_of, surveyed, told
from tests.surveying import author
from tests.worlds import TernTaproom

MINUTE, HOUR, DAY = datetime.timedelta(minutes=1), datetime.timedelta(hours=1), datetime.timedelta(days=1)


def test_it_keeps_what_was_told_and_asks_for_a_survey(taproom: TernTaproom) -> None:
    surveyed(taproom, NOON - DAY)
    assert status_of(taproom).verdict == "in"
    report = told(taproom)
    kept = models.Report.objects.values().get()
    assert kept == {
        "id": report.pk, "organization_id": taproom.site.organization_id, "created_at": NOON, "told_at": NOON,
        "machine_id": taproom.machine.pk, "link_id": taproom.report_link.pk, "problem": "rolls_left", "times": 1,
        "closed_at": None, "closed_by_id": None, "closed_why": "", "closed_by_survey_id": None,
    }  # fmt: skip
    status = status_of(taproom)
    assert (status.verdict, status.next_step) == ("in", "Survey it"), "a report is no reading"
    assert (status.reported, status.reported_at) == ("rolls left", NOON)


def test_the_status_names_each_problem_and_the_longest_wait(taproom: TernTaproom) -> None:
    told(taproom, "wobbles")
    told(taproom, "moved", NOON + MINUTE)
    assert (status_of(taproom).reported, status_of(taproom).reported_at) == ("wobbles, moved", NOON)


def test_every_problem_at_once_fits_into_the_status(taproom: TernTaproom) -> None:
    for problem in PROBLEMS:
        told(taproom, problem)
    models.MachineStatus.objects.get(machine=taproom.machine).full_clean()
    assert len(status_of(taproom).reported.split(", ")) == len(PROBLEMS) == 5


def test_work_under_way_goes_on_first(taproom: TernTaproom) -> None:
    """It ends with a reading anyway, and that is a survey."""
    for lift in range(1, len(taproom.plan.answer["lifts"]) + 1):
        record_turns(by=author(taproom.people.bob, NOON + HOUR), plan=taproom.plan, lift=lift)
    told(taproom, at=NOON + 2 * HOUR)
    assert (status_of(taproom).next_step, status_of(taproom).reported) == (READ_AGAIN, "rolls left")


def test_the_same_page_sent_twice_is_one_even_after_it_was_closed(taproom: TernTaproom) -> None:
    key = uuid.uuid4()
    report = told(taproom, key=key)
    assert told(taproom, key=key) == report
    surveyed(taproom, NOON + MINUTE)
    assert told(taproom, at=NOON + 2 * MINUTE, key=key) == report
    assert models.Report.objects.count() == 1
    assert status_of(taproom).reported == ""


def test_the_same_page_with_another_answer_is_another_report(taproom: TernTaproom) -> None:
    """A browser's Back shows the page with its old key."""
    key = uuid.uuid4()
    assert told(taproom, "moved", key=key) != told(taproom, "wobbles", key=key)
    assert models.Report.objects.count() == 2


def test_one_key_at_two_labels_is_two_reports(taproom: TernTaproom) -> None:
    """A stranger's key cannot claim, find or hide a row of another machine or organization."""
    key, theirs = uuid.uuid4(), make.MachineFactory(member=taproom.people.charlie)
    link = make_label(by=author(taproom.people.charlie), machine=theirs)
    one, other = told(taproom, key=key), report_problem(link=link, problem="rolls_left", key=key, at=NOON)
    assert one.organization_id == taproom.site.organization_id
    assert other.organization_id == taproom.people.charlie.organization_id


def test_told_again_within_an_hour_it_was_told_once(taproom: TernTaproom) -> None:
    report = told(taproom)
    assert told(taproom, at=NOON + HOUR) == report
    report.refresh_from_db()
    assert (report.times, report.told_at) == (1, NOON)


def test_told_again_later_it_counts_and_the_first_time_stays(taproom: TernTaproom) -> None:
    report, later = told(taproom), NOON + HOUR + MINUTE
    assert told(taproom, at=later) == report
    assert told(taproom, at=later + MINUTE) == report
    report.refresh_from_db()
    assert (report.times, report.created_at, report.told_at) == (2, NOON, later)
    assert models.Report.objects.count() == 1


def test_six_an_hour_through_one_label_and_no_more(taproom: TernTaproom) -> None:
    """Only who closes them as fast makes room for more than one of each problem."""
    for number in range(MOST_REPORTS):
        at = NOON + number * MINUTE
        close_report(by=author(taproom.people.bob, at, why="Play."), report=told(taproom, at=at))
    with pytest.raises(ReportedOften):
        told(taproom, at=NOON + MOST_REPORTS * MINUTE)
    assert models.Report.objects.count() == MOST_REPORTS
    told(taproom, at=NOON + REPORTS_WITHIN + MINUTE)


def test_the_limit_is_each_labels_own(taproom: TernTaproom) -> None:
    for number in range(MOST_REPORTS):
        close_report(by=author(taproom.people.bob, NOON, why="Play."), report=told(taproom, PROBLEMS[number % 5]))
    other = make.MachineFactory(member=taproom.people.alice)
    link = make_label(by=author(taproom.people.alice), machine=other)
    assert report_problem(link=link, problem="moved", key=uuid.uuid4(), at=NOON).machine == other


def test_a_word_of_their_own_is_refused(taproom: TernTaproom) -> None:
    with pytest.raises(ActionRefused, match="Choose one"):
        told(taproom, "<script>")
    assert not models.Report.objects.exists()


@pytest.mark.parametrize(
    "columns",
    [
        {"problem": "burns"},
        {"times": 0},
        {"told_at": NOON - MINUTE},
        {"closed_at": NOON},  # by nobody
        {"closed_why": "Play."},  # but still open
    ],
    ids=str,
)
def test_the_database_refuses_nonsense(taproom: TernTaproom, columns: dict[str, Any]) -> None:
    report = told(taproom)
    with pytest.raises(IntegrityError), transaction.atomic():
        models.Report.objects.filter(pk=report.pk).update(**columns)


def test_nobody_is_its_author_and_it_leaves_no_line(taproom: TernTaproom) -> None:
    assert taproom.report_link
    before = models.Change.objects.count()
    told(taproom)
    assert models.Change.objects.count() == before
