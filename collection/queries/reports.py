"""Reads about reports: what waits for an answer at a machine, what had one, and the label that stands."""

from dataclasses import dataclass

from django.db import models
from django.db.models import F, QuerySet

from collection.models import Machine, Report, ReportLink

MOST_SHOWN = 20


@dataclass(frozen=True)
class MachineReports:
    """What was told of one machine: what waits for an answer, and what had one, the newest first."""

    open: list[Report]
    closed: list[Report]


def reports_of(*, machine: Machine) -> MachineReports:
    """Return the newest reports of a machine; all that are open are among them, since of each problem one is."""
    rows = Report.objects.for_org(machine.organization_id).filter(machine=machine).select_related("closed_by")
    told = list(rows.order_by(F("closed_at").desc(nulls_first=True), "created_at", "id")[:MOST_SHOWN])
    waiting = [report for report in told if report.closed_at is None]
    return MachineReports(open=waiting, closed=told[len(waiting) :])


def open_reports(*, machine: Machine) -> QuerySet[Report]:
    """Return the reports of a machine that wait for an answer, the longest waiting first: at most one of a problem."""
    return (
        Report.objects.for_org(machine.organization_id)
        .filter(machine=machine, closed_at__isnull=True)
        .order_by("created_at", "id")
        .fetch_mode(models.FETCH_RAISE)
    )


def standing_link(*, machine: Machine) -> ReportLink | None:
    """Return the secret address that the machine's label carries now, with the machine, if there is one."""
    rows = ReportLink.objects.for_org(machine.organization_id).filter(machine=machine, ended_at__isnull=True)
    return rows.select_related("machine").fetch_mode(models.FETCH_RAISE).first()
