"""Writes about reports: the label of a machine, what a stranger tells through it, and what closes that.

A stranger has no account, so no `Author` and no line in the history: the report's own row is the record of what was
told and when, and its link says through which label. Closing it is a member's act, and leaves its line.
"""

import datetime
from uuid import UUID, uuid5

from django.db import transaction
from django.db.models import F

from collection.actions.record import ActionRefused, Author, add, already_done, hold, note, was_written
from collection.actions.status import refresh_status
from collection.models import Machine, Report, ReportLink, Survey
from collection.models.base import hash_of
from collection.models.reports import PROBLEMS
from collection.presets import MOST_REPORTS, REPORTS_WITHIN, SAME_REPORT_WITHIN
from collection.queries.reports import open_reports, standing_link


class LabelEnded(ActionRefused):
    """The label through which someone reports was replaced meanwhile."""


class ReportedOften(ActionRefused):
    """So much was told through one label that nothing more is taken for a while."""


@transaction.atomic
def make_label(*, by: Author, machine: Machine, replaces: UUID | None = None) -> ReportLink:
    """Give a machine a label; where one stands, end it first if it is the one that is to be replaced.

    Where another label stands than the caller saw, that one is returned as it is: someone was faster.
    """
    machine = hold(machine)
    if found := already_done(ReportLink, by):
        return found
    if machine.archived_at is not None:
        raise ActionRefused("This machine is archived. Bring it back first.")
    standing = standing_link(machine=machine)
    if standing is not None and standing.pk != replaces:
        return standing
    if standing is not None:
        ReportLink.objects.for_org(standing.organization_id).filter(pk=standing.pk).update(ended_at=by.at)
        note(by, standing, "ended", old={"ended_at": None}, new={"ended_at": by.at})
    link = ReportLink(id=by.key, machine=machine)
    link.token_sha256 = hash_of(link.token)
    return add(by, link)


@transaction.atomic
def report_problem(*, link: ReportLink, problem: str, key: UUID, at: datetime.datetime) -> Report:
    """Take down what somebody tells of the machine on whose label the link stands; ``key`` is the page's.

    The same page sent twice is one report, and so is a problem that is told again while it waits for an answer.
    Raises LabelEnded if the label was replaced, ReportedOften if too much was told through it within the hour.
    """
    if problem not in PROBLEMS:
        raise ActionRefused("Choose one of the answers shown.", field="problem")
    machine = hold(link.machine)
    if not ReportLink.objects.for_org(link.organization_id).filter(pk=link.pk, ended_at__isnull=True).exists():
        raise LabelEnded("This label is no longer in use.")
    rows = Report.objects.for_org(link.organization_id)
    # Made of the page's key, the label and the problem: a stranger's key can neither claim another row nor hide one.
    pk = uuid5(key, f"{link.pk} {problem}")
    waiting = rows.filter(machine=machine, problem=problem, closed_at__isnull=True)
    if found := rows.filter(pk=pk).first() or waiting.first():
        waiting.filter(told_at__lt=at - SAME_REPORT_WITHIN).update(times=F("times") + 1, told_at=at)
        return found
    if rows.filter(link=link, created_at__gt=at - REPORTS_WITHIN).count() >= MOST_REPORTS:
        raise ReportedOften("Several reports came within the hour.")
    report = Report(
        id=pk, organization_id=link.organization_id, created_at=at, told_at=at, machine=machine, link=link,
        problem=problem,
    )  # fmt: skip
    report.save(force_insert=True)
    refresh_status(machine=machine)
    return report


@transaction.atomic
def close_report(*, by: Author, report: Report) -> Report:
    """Close a report with the reason, where no survey is needed to answer it. Refuses one that is closed already."""
    machine = hold(report.machine)
    report = Report.objects.for_org(report.organization_id).get(pk=report.pk)
    if not by.why:
        raise ActionRefused("Say why it is closed.", field="why")
    if report.closed_at is not None:
        if was_written(report.organization_id, by.write):
            return report
        raise ActionRefused("This report is closed already. Go back to the machine to see what is open.")
    _close(by, report, why=by.why)
    refresh_status(machine=machine)
    return report


@transaction.atomic
def answer_reports(*, by: Author, survey: Survey) -> None:
    """Close what was told before a survey was taken. Its action does this before it remakes the status."""
    for report in open_reports(machine=survey.machine).filter(told_at__lte=survey.measured_at):
        _close(by, report, survey=survey)


def _close(by: Author, report: Report, *, why: str = "", survey: Survey | None = None) -> None:
    closed = {"closed_at": by.at, "closed_by_id": by.member.user_id, "closed_why": why, "closed_by_survey": survey}
    old = {name: was for name in closed if (was := getattr(report, name)) != closed[name]}
    Report.objects.for_org(report.organization_id).filter(pk=report.pk).update(**closed)
    for name, value in closed.items():
        setattr(report, name, value)
    note(by, report, "closed", old=old, new={name: closed[name] for name in old})
