"""Reads about instruments, the checks of their zero, and what happened to them."""

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import models
from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery
from django.utils.timezone import localtime

from collection.access import visible
from collection.arrays.instruments import Sureness, Zero, ZeroFound, how_sure, zero_found
from collection.models import (
    FloorSlope,
    Instrument,
    InstrumentEvent,
    Membership,
    QuickCheck,
    Site,
    Survey,
    VialPair,
    ZeroCheck,
)
from collection.models.instruments import KINDS_WITH_ZERO
from collection.presets import K95, ZERO_FRESH_DAYS
from leveling.units import slope_deg

#: The name that is offered for an instrument of each kind, as presets.py describes it.
USUAL_NAMES = {
    "digital_level": "Digital level, 0.1°",
    "inclinometer": "Inclinometer",
    "bubble": "Plain bubble",
    "blocks": "Angle blocks",
    "ball": "Rolling ball",
    "vial": "Vial",
}
#: A grain of sand or a splinter that is easily overlooked, for the care notes. Common practice, no source.
CRUMB_MM = 0.2


@dataclass(frozen=True)
class InstrumentRow:
    """One instrument and how its zero stands now."""

    instrument: Instrument
    zero: Zero
    now: datetime.datetime

    @property
    def state(self) -> str:
        """never (checked), lost (by an event since its last check), stale, or fresh."""
        if self.zero.lost_by:
            return "lost"
        if self.zero.check is None:
            return "never"
        return "stale" if self.now - self.zero.check.checked_at > _FRESH else "fresh"

    @property
    def is_due(self) -> bool:
        """Whether its zero should be checked before the next survey."""
        return self.instrument.has_zero and self.state in ("lost", "stale")

    @property
    def known(self) -> ZeroFound:
        """Its zero now and how sure that is, its age included."""
        return self.zero.known_at(self.now)

    @property
    def age(self) -> str:
        """How long ago it was checked, in words."""
        return ago(self.zero.check.checked_at, self.now) if self.zero.check else "never"

    @property
    def lost_words(self) -> str:
        """What ended its last check, in words; "" if nothing did."""
        if self.zero.lost_by is None:
            return ""
        since = " since its last zero check" if self.zero.check else ", and its zero was never checked"
        return f"{self.zero.lost_by.kind_words}{since}"


@dataclass(frozen=True)
class ZeroSoFar:
    """What two readings that nobody saved yet say of a zero, beside the last check of it."""

    found: ZeroFound
    last: ZeroCheck | None

    @property
    def has_moved(self) -> bool:
        """Whether it differs from the last check by more than both checks leave open (95 %)."""
        if self.last is None:
            return False
        moved = self.found.zero_deg - self.last.zero_deg
        return moved**2 > K95**2 * (self.found.u_zero_deg**2 + self.last.u_zero_deg**2)


@dataclass(frozen=True)
class InstrumentPage:
    """One instrument with all its checks and events, oldest first."""

    row: InstrumentRow
    checks: list[ZeroCheck]
    events: list[InstrumentEvent]
    zone: str
    place: str

    @property
    def history(self) -> list[ZeroCheck | InstrumentEvent]:
        """Checks and events, newest first."""
        return sorted([*self.checks, *self.events], key=_happened_at, reverse=True)

    @property
    def points(self) -> list[tuple[datetime.datetime, float, float, str]]:
        """Each check for the chart, oldest first, and today's zero where its age has made it less sure."""
        stated_deg = self.row.instrument.accuracy_deg
        found = [
            (row.checked_at, row.zero_deg, row.u_zero_deg, "in" if abs(row.zero_deg) <= stated_deg else "out")
            for row in self.checks
        ]
        if self.ends_today:
            found.append((self.row.now, self.row.known.zero_deg, self.row.known.u_zero_deg, "not_proven"))
        return found

    @property
    def ends_today(self) -> bool:
        """Whether the chart goes on to today: the last check counts and is not of this very day."""
        last = self.row.zero.check
        return last is not None and not self.row.zero.events and days_between(last.checked_at, self.row.now) > 0

    @property
    def band_deg(self) -> float:
        """The stated accuracy as the chart's band; a little where none is, so that the chart has a height."""
        return max(self.row.instrument.accuracy_deg, 0.001)

    @property
    def chart_label(self) -> str:
        """The chart in one sentence, for people who do not see it."""
        first, last = localtime(self.points[0][0]), localtime(self.points[-1][0])
        times = "1 check" if len(self.checks) == 1 else f"{len(self.checks)} checks"
        return f"Its zero in {times} from {first:%-d %b %Y} to {last:%-d %b %Y}, the stated accuracy as a band"

    @property
    def sureness(self) -> Sureness:
        """How sure one reading with it is."""
        return how_sure(self.row.instrument)

    @property
    def crumb_mm(self) -> float:
        """A crumb that is easily overlooked."""
        return CRUMB_MM

    @property
    def crumb_deg(self) -> float:
        """What a crumb under one end of its base looks like."""
        return float(slope_deg(1000 * CRUMB_MM / self.row.instrument.base_mm, "mm_per_m"))

    @property
    def told_events(self) -> list[tuple[datetime.datetime, str]]:
        """What the chart shows of the events."""
        return [(event.happened_at, event.kind_words) for event in self.events]


def instruments_of(*, member: Membership, search: str = "") -> QuerySet[Instrument]:
    """Return the live instruments by name."""
    rows = visible(member, Instrument).filter(archived_at__isnull=True)
    if search:
        rows = rows.filter(name__icontains=search)
    return rows.order_by("name", "id").fetch_mode(models.FETCH_RAISE)


def levels_of(*, member: Membership) -> QuerySet[Instrument]:
    """Return the live instruments that show a number, by name."""
    return instruments_of(member=member).filter(kind__in=KINDS_WITH_ZERO).fetch_mode(models.FETCH_RAISE)


def is_used(*, instrument: Instrument) -> bool:
    """Return whether anything was read, checked or told with an instrument."""
    organization = instrument.organization_id
    tables: tuple[tuple[Any, tuple[str, ...]], ...] = (
        (Survey, ("instrument", "instrument_across")), (ZeroCheck, ("instrument",)),
        (InstrumentEvent, ("instrument",)), (VialPair, ("vial", "level")), (FloorSlope, ("instrument",)),
        (QuickCheck, ("instrument",)),
    )  # fmt: skip
    return any(
        table.objects.for_org(organization).filter(**{name: instrument}).exists()
        for table, names in tables
        for name in names
    )


def rows_of(*, instruments: Sequence[Instrument], now: datetime.datetime) -> list[InstrumentRow]:
    """Return these instruments, of one organization, each with how its zero stands."""
    zeros = zeros_of(instruments=instruments, at=now)
    return [InstrumentRow(instrument, zeros[instrument.pk], now) for instrument in instruments]


def due_of(*, member: Membership, now: datetime.datetime, most: int | None = None) -> list[InstrumentRow]:
    """Return the live instruments whose zero should be checked: first those that something happened to."""
    rows = (
        visible(member, Instrument)
        .filter(archived_at__isnull=True, kind__in=KINDS_WITH_ZERO)
        .annotate(
            checked_at=Subquery(_checks(member.organization_id, now, "pk").values("checked_at")[:1]),
            is_lost=Exists(_events_since(member.organization_id, now).filter(instrument=OuterRef("pk"))),
        )
        .filter(Q(is_lost=True) | Q(checked_at__lt=now - _FRESH))
        .order_by("-is_lost", "checked_at", "name", "id")
    )
    return rows_of(instruments=list(rows.fetch_mode(models.FETCH_RAISE)[:most]), now=now)


def zeros_of(*, instruments: Sequence[Instrument], at: datetime.datetime) -> dict[UUID, Zero]:
    """Return what was known of the zero of each of these instruments, of one organization, at a time."""
    if not instruments:
        return {}
    organization = instruments[0].organization_id
    newest = _checks(organization, at, "instrument").values("pk")[:1]
    rows = ZeroCheck.objects.for_org(organization).filter(instrument__in=instruments, pk=Subquery(newest))
    checks = {row.instrument_id: row for row in rows.fetch_mode(models.FETCH_RAISE)}
    events: dict[UUID, list[InstrumentEvent]] = {}
    for event in _events_since(organization, at).filter(instrument__in=instruments).fetch_mode(models.FETCH_RAISE):
        events.setdefault(event.instrument_id, []).append(event)
    return {row.pk: Zero(checks.get(row.pk), tuple(events.get(row.pk, ()))) for row in instruments}


def zero_of(*, instrument: Instrument, at: datetime.datetime) -> Zero:
    """Return what was known of an instrument's zero at a time."""
    return zeros_of(instruments=[instrument], at=at)[instrument.pk]


def instrument_page(*, instrument: Instrument, now: datetime.datetime) -> InstrumentPage:
    """Return an instrument with every check of its zero and every event, each with the person who told it."""
    organization = instrument.organization_id
    told: dict[str, Any] = {"instrument": instrument}
    checks = ZeroCheck.objects.for_org(organization).filter(**told).select_related("created_by")
    events = (
        InstrumentEvent.objects.for_org(organization)
        .filter(**told)
        .select_related("created_by")
        .annotate(surveys_before=Subquery(_saved_too_early(organization)))
    )
    place = place_of(instrument=instrument)
    return InstrumentPage(
        row=InstrumentRow(instrument, zero_of(instrument=instrument, at=now), now),
        checks=list(checks.order_by("checked_at", "id").fetch_mode(models.FETCH_RAISE)),
        events=list(events.order_by("happened_at", "id").fetch_mode(models.FETCH_RAISE)),
        zone=place[0],
        place=place[1],
    )


def place_of(*, instrument: Instrument) -> tuple[str, str]:
    """Return time zone and name of the site where an instrument was last used; else of any site of ours."""
    used = Survey.objects.for_org(instrument.organization_id).filter(instrument=instrument, bay__isnull=False)
    last = used.order_by("-measured_at").values("bay__floor__site")[:1]
    sites = Site.objects.for_org(instrument.organization_id).annotate(last=Subquery(last))
    site = sites.order_by(models.Case(models.When(pk=F("last"), then=0), default=1), "created_at", "id").first()
    return (site.time_zone, site.name) if site else ("UTC", "")


def zero_so_far(*, row: InstrumentRow, unit: str, **shown: Any) -> ZeroSoFar:
    """Return what two readings would give, as the form of a zero check has them; nothing is stored."""
    numbers = (shown["first"], shown["turned"])
    high_ends = (shown["first_high"], shown["turned_high"])
    found = zero_found(instrument=row.instrument, unit=unit, shown=numbers, high_ends=high_ends)
    return ZeroSoFar(found, row.zero.check)


def unused_name(*, member: Membership, kind: str = "digital_level") -> str:
    """Return the usual name of an instrument of a kind, with a number if one is called so already."""
    return free_name(member=member, name=USUAL_NAMES[kind])


def free_name(*, member: Membership, name: str) -> str:
    """Return a name for an instrument, with a number if one is called so already."""
    name = name[:70]
    rows = visible(member, Instrument).filter(archived_at__isnull=True, name__startswith=name)
    taken = set(rows.values_list("name", flat=True))
    names = (name, *(f"{name} ({number})" for number in range(2, len(taken) + 2)))
    return next(free for free in names if free not in taken)


def days_between(then: datetime.datetime, now: datetime.datetime) -> int:
    """Return how many midnights lie between two times, in the time zone that is active."""
    return (localtime(now).date() - localtime(then).date()).days


def ago(then: datetime.datetime, now: datetime.datetime) -> str:
    """Return how long ago something was, in words that are as coarse as they are far."""
    days = days_between(then, now)
    if days < 2:
        return "today" if days < 1 else "yesterday"
    for name, length, most in (("day", 1.0, 14), ("week", 7.0, 61), ("month", 30.44, 730)):
        if days < most:
            return f"{int(days / length)} {name}s ago"
    return f"{int(days / 365.25)} years ago"


_FRESH = datetime.timedelta(days=ZERO_FRESH_DAYS)


def _checks(organization: Any, at: datetime.datetime, instrument: str) -> Any:
    """The zero checks made by then of the instrument that the outer query names, newest first."""
    rows = ZeroCheck.objects.for_org(organization).filter(instrument=OuterRef(instrument), checked_at__lte=at)
    return rows.order_by("-checked_at", "-id")


def _events_since(organization: Any, at: datetime.datetime) -> Any:
    """What happened by then to instruments since the last check of each, newest first."""
    checked_at = Subquery(_checks(organization, at, "instrument").values("checked_at")[:1])
    rows = InstrumentEvent.objects.for_org(organization).filter(happened_at__lte=at).annotate(checked_at=checked_at)
    since = rows.filter(Q(checked_at__isnull=True) | Q(happened_at__gte=F("checked_at")))
    return since.order_by("-happened_at", "-id")


def _saved_too_early(organization: Any) -> Any:
    """How many surveys were measured after the event of the outer query, and saved before anyone told of it.

    Those after the next zero check are as good as ever.
    """
    checked_again = ZeroCheck.objects.for_org(organization).filter(
        instrument=OuterRef("instrument"), checked_at__gt=OuterRef(OuterRef("happened_at")),
        checked_at__lte=OuterRef("measured_at"),
    )  # fmt: skip
    rows = Survey.objects.for_org(organization).filter(
        ~Exists(checked_again), instrument=OuterRef("instrument"), corrections__isnull=True,
        measured_at__gte=OuterRef("happened_at"), created_at__lt=OuterRef("created_at"),
    )  # fmt: skip
    return rows.order_by().values("instrument").annotate(count=Count("pk")).values("count")


def _happened_at(row: ZeroCheck | InstrumentEvent) -> datetime.datetime:
    return row.checked_at if isinstance(row, ZeroCheck) else row.happened_at
