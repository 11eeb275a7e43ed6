"""Machines as lists show them: which ones, in which order, how many of each verdict, one row each."""

import datetime
from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import models
from django.db.models import Case, Count, F, IntegerField, Q, QuerySet, Value, When

from collection.access import visible
from collection.arrays.machines import marks_of
from collection.models import Machine, Membership, Site, Spec, Survey
from collection.queries.machines import Bar, bars_of
from collection.queries.surveys import NOTHING

#: Verdicts in the order in which a machine needs someone.
NEED = ("out", "borderline", "never", "in")
#: Between never surveyed and in spec: the chance of being out is too large now, or will be within a week.
DUE = "due"
SOON = datetime.timedelta(days=7)
#: Groups of the list by due date: up to so many days from now each; the last holds all that is later.
DUE_GROUPS = (("now", 0), ("week", 7), ("month", 31), ("later", 10_000))
#: What stands before all verdicts: somebody at the machine says that something is wrong.
REPORTED = "reported"
#: More sites than these are found faster by typing than in a drop-down list.
MOST_CHOICES = 100


@dataclass(frozen=True)
class Asked:
    """What someone asks a list of machines for, and when: words, one verdict, one site; each may be empty."""

    now: datetime.datetime
    search: str = ""
    verdict: str = ""
    site: UUID | None = None


@dataclass(frozen=True)
class MachineRow:
    """One machine as lists show it."""

    machine: Machine
    bars: list[Bar]
    place: str
    now: datetime.datetime

    @property
    def verdict(self) -> str:
        """The verdict's code."""
        return self.machine.status.verdict

    @property
    def reported(self) -> str:
        """What was reported through the label and waits for an answer, in words."""
        return self.machine.status.reported

    @property
    def need(self) -> str:
        """The group in which it stands where lists are sorted by need: reported, due though in spec, or its verdict."""
        if self.reported:
            return REPORTED
        return DUE if self.verdict == "in" and self.is_due(SOON) else self.verdict

    def is_due(self, within: datetime.timedelta = datetime.timedelta()) -> bool:
        """Whether it is due by now, or within some time; due dates begin with the day at the site."""
        return self.due_at is not None and self.due_at <= self.now + within

    @property
    def due_at(self) -> datetime.datetime | None:
        """From when on the chance of being out of spec is too large."""
        return self.machine.status.due_at

    @property
    def due_on(self) -> datetime.date | None:
        """The day of that, at its site."""
        bay = self.machine.bay
        return self.due_at.astimezone(ZoneInfo(bay.floor.site.time_zone)).date() if bay and self.due_at else None

    @property
    def step_first(self) -> str:
        """What to do before anybody can tell a due date, in words; empty once there is one."""
        return "" if self.due_at else self.next_step

    @property
    def due_group(self) -> str:
        """Where it stands in the list by due date; what has no date is to be surveyed first, or worked on."""
        if self.due_at is None:
            return "never"
        return next(group for group, days in DUE_GROUPS if self.is_due(datetime.timedelta(days=days)))

    @property
    def next_step(self) -> str:
        """What to do next, in words; nothing where the verdict says it all."""
        step = self.machine.status.next_step
        return "" if step == NOTHING and self.verdict == "in" else step


def listed(*, member: Membership, asked: Asked) -> QuerySet[Machine]:
    """Return the live machines that were asked for, by title, each with place, status, newest survey and spec."""
    rows = _found(member, asked.search, asked.site)
    if asked.verdict:
        rows = rows.filter(status__verdict=asked.verdict)
    return (
        rows.select_related("bay__floor__site", "status__survey", "status__spec")
        .defer("status__survey__inputs", "status__survey__preconditions")
        .order_by("title", "id")
        .fetch_mode(models.FETCH_RAISE)
    )


def by_need(*, member: Membership, asked: Asked) -> QuerySet[Machine]:
    """Return the same machines, those that need someone first: reported, the longest waiting first, then by verdict;
    what is in spec but due within a week stands before the rest of that."""
    need = Case(
        When(status__reported_at__isnull=False, then=Value(-2)),
        When(status__verdict="in", status__due_at__lte=asked.now + SOON, then=Value(2 * NEED.index("in") - 1)),
        *(When(status__verdict=word, then=Value(2 * place)) for place, word in enumerate(NEED)),
        output_field=IntegerField(),
        default=Value(2 * len(NEED)),
    )
    return (
        listed(member=member, asked=asked)
        .annotate(need=need)
        .order_by("need", "status__reported_at", "status__chance", "title", "id")
        .fetch_mode(models.FETCH_RAISE)
    )


def by_due(*, member: Membership, asked: Asked) -> QuerySet[Machine]:
    """Return the same machines by due date; those without one come last."""
    return (
        listed(member=member, asked=asked)
        .order_by(F("status__due_at").asc(nulls_last=True), "title", "id")
        .fetch_mode(models.FETCH_RAISE)
    )


def verdict_counts(*, member: Membership, asked: Asked | None = None) -> dict[str, int]:
    """Return how many live machines have each verdict; of those asked for, whatever verdict was asked for."""
    rows = _found(member, asked.search, asked.site) if asked else _found(member)
    found = dict(rows.values_list("status__verdict").annotate(n=Count("id")).order_by())
    return {word: found.get(word, 0) for word in NEED}


def site_choices(*, member: Membership) -> list[tuple[UUID, str]]:
    """Return the live sites by name, as (key, name); none where there are too many to choose from."""
    rows = visible(member, Site).filter(archived_at__isnull=True).order_by("name", "id")
    choices = list(rows.values_list("pk", "name")[: MOST_CHOICES + 1])
    return choices if len(choices) <= MOST_CHOICES else []


def site_name(*, member: Membership, site: UUID) -> str:
    """Return the name of the site that was asked for; empty if there is none that this member may read."""
    return visible(member, Site).filter(pk=site).values_list("name", flat=True).first() or ""


def rows_of(*, machines: Iterable[Machine], now: datetime.datetime, at_site: bool = False) -> list[MachineRow]:
    """Return machines as lists show them, with bars for what was surveyed; asks the database nothing.

    ``at_site`` says that the page is about their site, which their place then does not repeat.
    """
    machines = list(machines)
    pairs = [_pair(machine) for machine in machines]
    marks = iter(marks_of(pairs=[pair for pair in pairs if pair]))
    return [
        MachineRow(machine, _short(bars_of(*pair, next(marks))) if pair else [], _place(machine, at_site), now)
        for machine, pair in zip(machines, pairs, strict=True)
    ]


def _found(member: Membership, words: str = "", site: UUID | None = None) -> QuerySet[Machine]:
    """The live machines by words and site."""
    rows = visible(member, Machine).filter(archived_at__isnull=True)
    if words:
        at_site = Q(bay__floor__site__name__icontains=words)
        rows = rows.filter(Q(title__icontains=words) | Q(code__icontains=words) | at_site)
    return rows.filter(bay__floor__site=site) if site else rows


def _place(machine: Machine, at_site: bool) -> str:
    """Where it stands, in words."""
    bay = machine.bay
    if bay is None:
        return "Off the floor"
    return f"{bay.floor.name if at_site else bay.floor.site.name} · {bay.name}"


def _pair(machine: Machine) -> tuple[Survey, Spec] | None:
    status = machine.status
    return (status.survey, status.spec) if status.survey and status.spec else None


def _short(bars: list[Bar]) -> list[Bar]:
    """Without the gap where it is no news."""
    return [bar for bar in bars if bar.kind != "gap" or bar.verdict in ("out", "borderline")]
