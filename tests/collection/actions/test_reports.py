"""What strangers tell through a label: one effect however often it is pressed, limits, and what closes it."""

import datetime
import uuid
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.http import Http404
from django.test import override_settings

from collection import models
from collection.access import report_link_for
from collection.actions.plans import record_turns
from collection.actions.record import ActionRefused, KeyUsed
from collection.actions.reports import LabelEnded, ReportedOften, close_report, make_label, report_problem
from collection.actions.status import READ_AGAIN
from collection.actions.surveys import correct_survey
from collection.models.reports import PROBLEMS, hash_of
from collection.presets import MOST_REPORTS, REPORTS_WITHIN
from tests import factories as make
from tests.collection.actions.test_races import together
from tests.factories import NOON
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom, tern_taproom

MINUTE, HOUR, DAY = datetime.timedelta(minutes=1), datetime.timedelta(hours=1), datetime.timedelta(days=1)
IN_SPEC = [along(6.5, turned_value=6.5), across(0, "level", turned_value=0, turned_high_end="level")]


def told(
    taproom: TernTaproom, problem: str = "rolls_left", at: datetime.datetime = NOON, key: Any = None
) -> models.Report:
    return report_problem(link=taproom.report_link, problem=problem, key=key or uuid.uuid4(), at=at)


def surveyed(taproom: TernTaproom, at: datetime.datetime, **seen: Any) -> models.Survey:
    seen = {"readings": IN_SPEC, **seen}
    return survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, at=at, **seen)


def status_of(taproom: TernTaproom) -> models.MachineStatus:
    status: models.MachineStatus = models.MachineStatus.objects.get(machine=taproom.machine)
    return status


class TestLabel:
    def test_its_secret_has_256_bits_and_the_row_only_its_digest(self, taproom: TernTaproom) -> None:
        link = taproom.report_link
        assert len(link.token) == 43, "base64 of 32 bytes without padding"
        assert link.token_hash == hash_of(link.token)
        assert link.can_be_printed
        assert report_link_for(link.token) == link
        stored = str(models.ReportLink.objects.filter(pk=link.pk).values().get())
        stored += str(list(models.Change.objects.filter(row_id=link.pk).values()))
        assert link.token not in stored

    def test_made_again_it_is_the_one_that_stands(self, taproom: TernTaproom) -> None:
        assert make_label(by=author(taproom.people.bob), machine=taproom.machine) == taproom.report_link
        assert models.ReportLink.objects.count() == 1

    def test_replaced_the_old_one_leads_nowhere_and_the_line_says_who(self, taproom: TernTaproom) -> None:
        old, by = taproom.report_link, author(taproom.people.bob, NOON + DAY)
        new = make_label(by=by, machine=taproom.machine, replaces=old.pk)
        assert make_label(by=by, machine=taproom.machine, replaces=old.pk) == new, "sent twice"
        old.refresh_from_db()
        assert (old.ended_at, new.ended_at) == (NOON + DAY, None)
        assert report_link_for(new.token) == new
        with pytest.raises(Http404):
            report_link_for(old.token)
        with pytest.raises(LabelEnded):
            report_problem(link=old, problem="moved", key=uuid.uuid4(), at=NOON + DAY)
        lines = models.Change.objects.filter(noun="reportlink").order_by("created_at", "id")
        assert {(line.verb, line.row_id, line.created_by_id) for line in lines} == {
            ("added", old.pk, taproom.people.alice.user_id),
            ("ended", old.pk, taproom.people.bob.user_id),
            ("added", new.pk, taproom.people.bob.user_id),
        }

    def test_who_replaces_another_label_than_the_one_that_stands_is_too_late(self, taproom: TernTaproom) -> None:
        first = taproom.report_link
        second = make_label(by=author(taproom.people.bob), machine=taproom.machine, replaces=first.pk)
        assert make_label(by=author(taproom.people.alice), machine=taproom.machine, replaces=first.pk) == second
        assert models.ReportLink.objects.count() == 2

    def test_a_key_of_another_organization_is_refused(self, taproom: TernTaproom) -> None:
        theirs = make.MachineFactory(member=taproom.people.charlie)
        link = make_label(by=author(taproom.people.charlie), machine=theirs)
        with pytest.raises(KeyUsed):
            make_label(by=author(taproom.people.bob, key=link.pk), machine=taproom.machine)

    def test_an_archived_machine_gets_none_and_its_old_one_leads_nowhere(self, taproom: TernTaproom) -> None:
        token = taproom.report_token
        models.Machine.objects.filter(pk=taproom.machine.pk).update(archived_at=NOON)
        with pytest.raises(ActionRefused, match="archived"):
            make_label(by=author(taproom.people.bob), machine=taproom.machine)
        with pytest.raises(Http404):
            report_link_for(token)

    def test_under_a_new_secret_key_printed_labels_work_but_cannot_be_printed_again(self, taproom: TernTaproom) -> None:
        link, token = taproom.report_link, taproom.report_token
        with override_settings(SECRET_KEY="another" * 10):
            assert report_link_for(token) == link
            assert not link.can_be_printed

    def test_two_cannot_stand_at_one_machine(self, taproom: TernTaproom) -> None:
        stamp = author(taproom.people.alice).stamp()
        assert taproom.report_link
        with pytest.raises(IntegrityError), transaction.atomic():
            models.ReportLink.objects.create(machine=taproom.machine, token_hash="0" * 64, **stamp)


class TestReport:
    def test_it_keeps_what_was_told_and_asks_for_a_survey(self, taproom: TernTaproom) -> None:
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

    def test_the_status_names_each_problem_and_the_longest_wait(self, taproom: TernTaproom) -> None:
        told(taproom, "wobbles")
        told(taproom, "moved", NOON + MINUTE)
        assert (status_of(taproom).reported, status_of(taproom).reported_at) == ("wobbles, moved", NOON)

    def test_every_problem_at_once_fits_into_the_status(self, taproom: TernTaproom) -> None:
        for problem in PROBLEMS:
            told(taproom, problem)
        models.MachineStatus.objects.get(machine=taproom.machine).full_clean()
        assert len(status_of(taproom).reported.split(", ")) == len(PROBLEMS) == 5

    def test_work_under_way_goes_on_first(self, taproom: TernTaproom) -> None:
        """It ends with a reading anyway, and that is a survey."""
        for lift in range(1, len(taproom.plan.answer["lifts"]) + 1):
            record_turns(by=author(taproom.people.bob, NOON + HOUR), plan=taproom.plan, lift=lift)
        told(taproom, at=NOON + 2 * HOUR)
        assert (status_of(taproom).next_step, status_of(taproom).reported) == (READ_AGAIN, "rolls left")

    def test_the_same_page_sent_twice_is_one_even_after_it_was_closed(self, taproom: TernTaproom) -> None:
        key = uuid.uuid4()
        report = told(taproom, key=key)
        assert told(taproom, key=key) == report
        surveyed(taproom, NOON + MINUTE)
        assert told(taproom, at=NOON + 2 * MINUTE, key=key) == report
        assert models.Report.objects.count() == 1
        assert status_of(taproom).reported == ""

    def test_the_same_page_with_another_answer_is_another_report(self, taproom: TernTaproom) -> None:
        """A browser's Back shows the page with its old key."""
        key = uuid.uuid4()
        assert told(taproom, "moved", key=key) != told(taproom, "wobbles", key=key)
        assert models.Report.objects.count() == 2

    def test_one_key_at_two_labels_is_two_reports(self, taproom: TernTaproom) -> None:
        """A stranger's key cannot claim, find or hide a row of another machine or organization."""
        key, theirs = uuid.uuid4(), make.MachineFactory(member=taproom.people.charlie)
        link = make_label(by=author(taproom.people.charlie), machine=theirs)
        one, other = told(taproom, key=key), report_problem(link=link, problem="rolls_left", key=key, at=NOON)
        assert one.organization_id == taproom.site.organization_id
        assert other.organization_id == taproom.people.charlie.organization_id

    def test_told_again_within_an_hour_it_was_told_once(self, taproom: TernTaproom) -> None:
        report = told(taproom)
        assert told(taproom, at=NOON + HOUR) == report
        report.refresh_from_db()
        assert (report.times, report.told_at) == (1, NOON)

    def test_told_again_later_it_counts_and_the_first_time_stays(self, taproom: TernTaproom) -> None:
        report, later = told(taproom), NOON + HOUR + MINUTE
        assert told(taproom, at=later) == report
        assert told(taproom, at=later + MINUTE) == report
        report.refresh_from_db()
        assert (report.times, report.created_at, report.told_at) == (2, NOON, later)
        assert models.Report.objects.count() == 1

    def test_six_an_hour_through_one_label_and_no_more(self, taproom: TernTaproom) -> None:
        """Only who closes them as fast makes room for more than one of each problem."""
        for number in range(MOST_REPORTS):
            at = NOON + number * MINUTE
            close_report(by=author(taproom.people.bob, at, why="Play."), report=told(taproom, at=at))
        with pytest.raises(ReportedOften):
            told(taproom, at=NOON + MOST_REPORTS * MINUTE)
        assert models.Report.objects.count() == MOST_REPORTS
        told(taproom, at=NOON + REPORTS_WITHIN + MINUTE)

    def test_the_limit_is_each_labels_own(self, taproom: TernTaproom) -> None:
        for number in range(MOST_REPORTS):
            close_report(by=author(taproom.people.bob, NOON, why="Play."), report=told(taproom, PROBLEMS[number % 5]))
        other = make.MachineFactory(member=taproom.people.alice)
        link = make_label(by=author(taproom.people.alice), machine=other)
        assert report_problem(link=link, problem="moved", key=uuid.uuid4(), at=NOON).machine == other

    def test_a_word_of_their_own_is_refused(self, taproom: TernTaproom) -> None:
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
    def test_the_database_refuses_nonsense(self, taproom: TernTaproom, columns: dict[str, Any]) -> None:
        report = told(taproom)
        with pytest.raises(IntegrityError), transaction.atomic():
            models.Report.objects.filter(pk=report.pk).update(**columns)

    def test_nobody_is_its_author_and_it_leaves_no_line(self, taproom: TernTaproom) -> None:
        assert taproom.report_link
        before = models.Change.objects.count()
        told(taproom)
        assert models.Change.objects.count() == before


class TestClosing:
    def test_a_member_closes_one_with_the_reason_and_a_line(self, taproom: TernTaproom) -> None:
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

    def test_closed_twice_is_closed_once(self, taproom: TernTaproom) -> None:
        report, by = told(taproom), author(taproom.people.bob, why="Play.")
        close_report(by=by, report=report)
        close_report(by=by, report=report)
        assert models.Change.objects.filter(noun="report").count() == 1
        with pytest.raises(ActionRefused, match="closed already"):
            close_report(by=author(taproom.people.alice, why="Play."), report=report)

    def test_it_wants_a_reason(self, taproom: TernTaproom) -> None:
        report = told(taproom)
        with pytest.raises(ActionRefused, match="Say why"):
            close_report(by=author(taproom.people.bob), report=report)

    def test_closed_it_may_be_told_anew(self, taproom: TernTaproom) -> None:
        close_report(by=author(taproom.people.bob, why="Play."), report=told(taproom))
        told(taproom, at=NOON + MINUTE)
        assert models.Report.objects.count() == 2
        assert status_of(taproom).reported == "rolls left"

    def test_a_survey_taken_after_it_answers_every_one(self, taproom: TernTaproom) -> None:
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

    def test_a_survey_taken_before_it_answers_none(self, taproom: TernTaproom) -> None:
        """It was written down later, or waited on a device without connection."""
        told(taproom)
        surveyed(taproom, NOON + HOUR, measured_at=NOON - MINUTE)
        assert status_of(taproom).reported == "rolls left"
        assert status_of(taproom).next_step == "Survey it"

    def test_told_again_after_the_survey_was_taken_it_stays_open(self, taproom: TernTaproom) -> None:
        told(taproom)
        told(taproom, at=NOON + 3 * HOUR)
        surveyed(taproom, NOON + 4 * HOUR, measured_at=NOON + 2 * HOUR)
        assert status_of(taproom).reported == "rolls left"

    def test_a_correction_to_a_later_time_answers_it_too(self, taproom: TernTaproom) -> None:
        survey = surveyed(taproom, NOON)
        told(taproom, at=NOON + HOUR)
        correct_survey(
            by=author(taproom.people.bob, NOON + DAY, why="It was in the evening."), survey=survey,
            instrument=taproom.instrument, readings=IN_SPEC, stance="all_bearing", measured_at=NOON + 2 * HOUR,
        )  # fmt: skip
        assert status_of(taproom).reported == ""

    def test_a_survey_that_is_refused_answers_none(self, taproom: TernTaproom) -> None:
        told(taproom)
        with pytest.raises(ActionRefused):
            surveyed(taproom, NOON + HOUR, readings=[along(6.5)])
        assert status_of(taproom).reported == "rolls left"


@pytest.mark.django_db(transaction=True)
class TestAtOnce:
    @pytest.fixture
    def taproom(self, transactional_db: None) -> TernTaproom:
        world = tern_taproom()
        assert world.report_link
        return world

    def test_one_problem_told_by_many_at_once_is_one_report(self, taproom: TernTaproom) -> None:
        found = together(*(lambda: told(taproom) for _ in range(4)))
        assert len({report.pk for report in found}) == 1
        assert models.Report.objects.count() == 1

    def test_one_page_pressed_many_times_at_once_is_one_report(self, taproom: TernTaproom) -> None:
        key = uuid.uuid4()
        together(*(lambda: told(taproom, key=key) for _ in range(4)))
        assert models.Report.objects.values("times").get() == {"times": 1}

    def test_the_limit_holds_at_once(self, taproom: TernTaproom) -> None:
        """Five are taken, so one more is; the problem that was closed may be told anew only once."""
        for problem in PROBLEMS:
            close_report(by=author(taproom.people.bob, why="Play."), report=told(taproom, problem))

        def tell(problem: str) -> str:
            try:
                told(taproom, problem)
            except ReportedOften:
                return "often"
            return "taken"

        found = together(*(lambda problem=problem: tell(problem) for problem in PROBLEMS[:4]))
        assert sorted(found) == ["often"] * 3 + ["taken"]
        assert models.Report.objects.count() == MOST_REPORTS

    def test_labels_made_at_once_are_one(self, taproom: TernTaproom) -> None:
        other = make.MachineFactory(member=taproom.people.alice)
        made = together(*(lambda: make_label(by=author(taproom.people.bob), machine=other) for _ in range(4)))
        assert len({link.pk for link in made}) == 1
