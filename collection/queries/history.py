"""Reads about the history: the lines that were left, in words."""

import datetime
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import models
from django.db.models import Model, Q, QuerySet
from django.utils.dateparse import parse_datetime

from collection.models import (
    Adjustment,
    Bay,
    Change,
    FloorSlope,
    InstrumentEvent,
    Invitation,
    Leg,
    Membership,
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
from collection.queries.history_names import Named, names_of
from collection.queries.history_words import KINDS, Word, deed_of, noun_of, word_of
from collection.queries.instruments import place_of

#: What belongs to a thing, so that its own history tells it too: tables, and how each hangs on it.
_PARTS: dict[str, tuple[tuple[type[Any], str], ...]] = {
    "organization": ((Membership, "organization"), (Invitation, "organization")),
    "floor": ((FloorSlope, "floor"),),
    "bay": ((FloorSlope, "bay"),),
    "machine": (
        (Leg, "machine"),
        (Spec, "machine"),
        (Standing, "machine"),
        (ReportLink, "machine"),
        (Report, "machine"),
    ),
    "instrument": ((ZeroCheck, "instrument"), (InstrumentEvent, "instrument"), (VialPair, "vial")),
    "survey": ((Survey, "supersedes"),),
    "plan": ((Adjustment, "plan"),),
}
#: Parts that owners alone may see: an organization's page shows nobody else who is invited.
_FOR_OWNERS = (Invitation,)
#: The same in words, behind "and".
_BELONGS = {
    "organization": "its people", "floor": "its slope", "bay": "its slope", "instrument": "its zero",
    "machine": "its legs, spec, place, label and reports", "survey": "its correction", "plan": "its turns",
}  # fmt: skip
#: Nothing was there, or nothing is.
EMPTY = "empty"


@dataclass(frozen=True)
class Asked:
    """What a list of lines is narrowed to: who wrote them, about which kind of thing, from which day to which."""

    who: UUID | None = None
    kind: str = ""
    since: datetime.date | None = None
    until: datetime.date | None = None


@dataclass(frozen=True)
class Item:
    """One column of a line: what it is called, and what it was and became, each as ``shown`` says."""

    label: str
    shown: str
    old: Any
    new: Any

    @property
    def was_there(self) -> bool:
        """Whether something stood there before."""
        return self.old not in (EMPTY, [])


@dataclass(frozen=True)
class Told:
    """One line in words. ``about`` is None where nothing of that name is there any more."""

    line: Change
    deed: str
    noun: str
    about: Named | None
    items: list[Item]

    @property
    def is_new(self) -> bool:
        """Whether it tells how something began, so that nothing stood there before."""
        return not self.line.old


def lines_of(*, member: Membership, asked: Asked, zone: str) -> QuerySet[Change]:
    """Return the lines of the member's organization, newest first; days are those of a time zone."""
    rows = Change.objects.for_org(member.organization_id)
    if asked.who:
        rows = rows.filter(created_by=asked.who)
    if asked.kind:
        rows = rows.filter(noun__in=KINDS[asked.kind][1])
    if asked.since:
        rows = rows.filter(created_at__gte=_midnight(asked.since, zone))
    if asked.until:
        rows = rows.filter(created_at__lt=_midnight(asked.until + datetime.timedelta(days=1), zone))
    return rows.select_related("created_by").order_by("-id").fetch_mode(models.FETCH_RAISE)


def lines_about(*, member: Membership, noun: str, row: Model) -> QuerySet[Change]:
    """Return the lines about one thing and what belongs to it, newest first."""
    about = Q(row_id=row.pk)
    for table, link in _PARTS.get(noun, ()):
        if table in _FOR_OWNERS and not member.is_owner:
            continue
        parts = table._default_manager.filter(organization=member.organization_id).filter(**{link: row.pk})
        about |= Q(row_id__in=parts.values("pk"))
    rows = Change.objects.for_org(member.organization_id).filter(about)
    return rows.select_related("created_by").order_by("-id").fetch_mode(models.FETCH_RAISE)


def told(*, member: Membership, lines: list[Change]) -> list[Told]:
    """Return lines in words; the names of all that they speak of are asked for at once."""
    wanted: dict[str, set[UUID]] = {}
    for line in lines:
        wanted.setdefault(line.noun, set()).add(line.row_id)
        for name, value in _both(line):
            if word_of(line.noun, name).shown == "row":
                wanted.setdefault("", set()).update(_keys(value))
    names = names_of(member=member, wanted=wanted)
    return [_told(line, names) for line in lines]


def heading_of(*, member: Membership, noun: str, row: Model) -> dict[str, Any]:
    """Return what the page about one thing says above its lines: its name, what it is, and what belongs to it."""
    table = noun.replace("_", "")
    name = names_of(member=member, wanted={table: {row.pk}})[row.pk]
    return {"name": name, "noun_words": noun_of(table).words, "belongs": _BELONGS.get(noun, "")}


def people_of(*, member: Membership) -> list[tuple[str, str]]:
    """Return key and address of everyone who belongs or belonged to the organization, by address."""
    rows = User.objects.filter(memberships__organization=member.organization_id).distinct().order_by("email")
    return [(str(key), email) for key, email in rows.values_list("pk", "email")]


def zone_of(*, member: Membership) -> str:
    """Return the time zone in which an organization's days are told: that of its first site."""
    sites = Site.objects.for_org(member.organization_id).order_by("created_at", "id")
    return sites.values_list("time_zone", flat=True).first() or "UTC"


def zone_about(*, member: Membership, noun: str, row: Any) -> str:
    """Return the time zone in which the days of one thing are told: that of its site."""
    if noun == "instrument":
        return place_of(instrument=row)[0]
    if noun == "organization":
        return zone_of(member=member)
    if noun in ("survey", "plan", "quick_check"):
        row = row.machine
    if noun in ("site", "floor"):
        site = row if noun == "site" else row.site
        return str(site.time_zone)
    bay = row if isinstance(row, Bay) else row.bay
    return str(bay.floor.site.time_zone) if bay else "UTC"


def _midnight(day: datetime.date, zone: str) -> datetime.datetime:
    return datetime.datetime.combine(day, datetime.time.min, tzinfo=ZoneInfo(zone))


def _both(line: Change) -> Iterator[tuple[str, Any]]:
    yield from line.old.items()
    yield from line.new.items()


def _keys(value: Any) -> Iterator[UUID]:
    """The keys of rows in a value: none, one, or several."""
    for key in value if isinstance(value, list) else [value]:
        try:
            yield UUID(key)
        except (TypeError, ValueError, AttributeError):
            continue


def _told(line: Change, names: dict[UUID, Named]) -> Told:
    noun = noun_of(line.noun)
    shown = [name for name in dict.fromkeys([*line.old, *line.new]) if name not in noun.inside]
    items = [_item(line, name, names) for name in shown]
    if not line.old:
        items = [item for item in items if item.new not in (EMPTY, [])]
    return Told(line, deed_of(line.noun, line.verb), noun.phrase or noun.words, names.get(line.row_id), items)


def _item(line: Change, name: str, names: dict[UUID, Named]) -> Item:
    word = word_of(line.noun, name)
    old, new = (_shown(word, values.get(name), names) for values in (line.old, line.new))
    return Item(word.label, "text" if isinstance(new, str) and isinstance(old, str) else word.shown, old, new)


def _shown(word: Word, value: Any, names: dict[UUID, Named]) -> Any:
    """A value ready to be shown: words where it stands for some, a thing's name for its key, a number as it is."""
    if value in (None, "", []) and "" not in word.choices:
        return EMPTY
    if word.shown == "count":
        return len(value)
    if word.shown == "row":
        return ", ".join(names[key].words if key in names else "one that is gone" for key in _keys(value)) or EMPTY
    if word.shown == "words":
        several: Iterable[Any] = value if isinstance(value, list) else [value]
        return ", ".join(word.choices.get(str(each), str(each)) for each in several)
    if word.shown == "when":
        return parse_datetime(str(value)) or str(value)
    return value
