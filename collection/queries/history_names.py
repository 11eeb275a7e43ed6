"""The names of the things that the history speaks of, asked for in one go whatever they are."""

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import CharField, DateTimeField, F, Q, QuerySet, UUIDField, Value
from django.db.models.functions import Cast
from django.utils.timezone import localtime

from collection.models import (
    Adjustment,
    Bay,
    Floor,
    FloorSlope,
    Instrument,
    InstrumentEvent,
    Invitation,
    Leg,
    Machine,
    Membership,
    Organization,
    Plan,
    QuickCheck,
    Report,
    ReportLink,
    Site,
    Spec,
    Standing,
    Survey,
    User,
    VialPair,
    ZeroCheck,
)
from collection.models.machines import LEGS


@dataclass(frozen=True)
class Named:
    """A thing by its name, and the page that shows it, if one does."""

    words: str
    page: str = ""
    pk: UUID | None = None


@dataclass(frozen=True)
class _Way:
    """How a table names its rows: a name, what stands before or behind it, when; and the page that shows the row."""

    table: type[Any]
    name: str
    page: str = ""
    pk: str = "pk"
    beside: str = ""
    at: str = ""


_WAYS: dict[str, _Way] = {
    "organization": _Way(Organization, "name"),
    "membership": _Way(Membership, "user__email"),
    "invitation": _Way(Invitation, "email"),
    "user": _Way(User, "email"),
    "site": _Way(Site, "name", "site"),
    "floor": _Way(Floor, "name", "floor", beside="site__name"),
    "bay": _Way(Bay, "name", "bay", beside="floor__site__name"),
    "floorslope": _Way(FloorSlope, "floor__name", "floor", "floor", beside="bay__name"),
    "machine": _Way(Machine, "title", "machine"),
    "leg": _Way(Leg, "machine__title", "machine", "machine", beside="place"),
    "spec": _Way(Spec, "machine__title", "machine", "machine"),
    "standing": _Way(Standing, "machine__title", "machine", "machine"),
    "instrument": _Way(Instrument, "name", "instrument"),
    "zerocheck": _Way(ZeroCheck, "instrument__name", "instrument", "instrument"),
    "instrumentevent": _Way(InstrumentEvent, "instrument__name", "instrument", "instrument"),
    "vialpair": _Way(VialPair, "vial__name", "instrument", "vial"),
    "survey": _Way(Survey, "machine__title", "survey", at="measured_at"),
    "plan": _Way(Plan, "machine__title", "plan", at="created_at"),
    "adjustment": _Way(Adjustment, "plan__machine__title", "plan", "plan", beside="place"),
    "quickcheck": _Way(QuickCheck, "machine__title", "quick_check", at="measured_at"),
    "report": _Way(Report, "machine__title", "machine", "machine", at="created_at"),
    "reportlink": _Way(ReportLink, "machine__title", "machine_label", "machine"),
}


def names_of(*, member: Any, wanted: Mapping[str, set[UUID]]) -> dict[UUID, Named]:
    """Return by key the names of rows of the member's organization: keys by noun, and under "" those of any noun.

    It asks the database once.
    """
    parts = [_rows(member, noun, way, wanted.get(noun, set()) | wanted.get("", set())) for noun, way in _WAYS.items()]
    found = parts[0].union(*parts[1:], all=True)
    return {key: _named(noun, *columns) for noun, key, *columns in found}


def _rows(member: Any, noun: str, way: _Way, keys: set[UUID]) -> QuerySet[Any, Any]:
    """The rows of one table, in columns that are the same for all tables."""
    owner = {Organization: "pk", User: "memberships__organization"}.get(way.table, "organization")
    rows: QuerySet[Any] = way.table._default_manager.filter(Q(**{owner: member.organization_id}), pk__in=keys)
    at = F(way.at) if way.at else Value(None)
    return rows.order_by().values_list(
        Value(noun, CharField()),
        Cast("pk", UUIDField()),
        Cast(way.name, CharField()),
        Cast(way.beside, CharField()) if way.beside else Cast(Value(""), CharField()),
        Cast(way.pk, UUIDField()),
        Cast(at, DateTimeField()),
    )


def _named(noun: str, name: str, beside: str | None, pk: UUID, at: datetime.datetime | None) -> Named:
    way = _WAYS[noun]
    words = name
    if noun in ("leg", "adjustment"):
        words = f"{LEGS[int(beside or 0)]} of {name}"
    elif beside:
        words = f"{name}, {beside}"
    elif at:
        day = localtime(at)
        words = f"{name}, {day:%a}\u00a0{day.day}\u00a0{day:%b}\u00a0{day:%Y}"
    return Named(words, way.page, pk if way.page else None)
