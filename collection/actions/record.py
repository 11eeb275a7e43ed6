"""What every action shares: its author, its refusals, and the line it leaves in the history."""

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeVar
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db.models import F, Model

from collection.access import must_write
from collection.models import Change, Machine, Membership, Organization
from collection.models.base import Row, Versioned

R = TypeVar("R", bound=Row)
E = TypeVar("E", bound=Versioned)


#: A sending may wait on a device for so long and still count as done when it was sent off. Common practice, no source.
MOST_WAITED = datetime.timedelta(days=30)
#: A phone's clock may run ahead by so much.
AHEAD = datetime.timedelta(minutes=10)


class ActionRefused(Exception):
    """An action was refused: the reason says what is wrong and what to do, for the person who asked."""

    def __init__(self, reason: str, field: str | None = None) -> None:
        super().__init__(reason)
        self.reason = reason
        self.field = field


class StaleEdit(ActionRefused):
    """Someone else changed the row since this person opened it."""

    def __init__(self, member: Membership, row: Model) -> None:
        super().__init__("Someone changed this after you opened it. Check what it says now, then save again.")
        self.member, self.row = member, row


class KeyUsed(ActionRefused):
    """The page was sent before with other words, so this is not the same write again."""

    def __init__(self) -> None:
        super().__init__(
            "This page was sent before with other words, and those are saved. Send it again to save this beside them."
        )


@dataclass(frozen=True)
class Actor:
    """Who asks for a write, when and why. ``key`` is made by the client: the same key writes once.

    Everyone may come and go, so an actor is enough for that; all else is written by an `Author`.

    ``sent`` is a fingerprint of what was sent with the key; without one, the key alone says that it is the same.
    ``waited`` is for how long the sending lay on a device without connection.
    """

    member: Membership
    at: datetime.datetime
    key: UUID
    why: str = ""
    sent: UUID | None = None
    waited: datetime.timedelta = datetime.timedelta()

    @property
    def done_at(self) -> datetime.datetime:
        """When the person did it: now, less the time that the sending waited on the device.

        Raises ActionRefused if that is too long ago to be taken without being looked at.
        """
        if self.waited > MOST_WAITED:
            raise ActionRefused(
                f"This waited on the device for more than {MOST_WAITED.days} days. Check it, and write when it was.",
                field="measured_at",
            )
        return self.at - self.waited

    def when(self, told: datetime.datetime | None, *, field: str, happened: str) -> datetime.datetime:
        """Return when something happened: when it was sent off, if nobody says; now, if a clock runs ahead.

        Raises ActionRefused at a time to come; ``field`` and ``happened`` ("it was measured") say what was told.
        """
        if told is None:
            return self.done_at
        if told > self.at + AHEAD:
            raise ActionRefused(f"That time is still to come. Write when {happened}.", field=field)
        return min(told, self.at)

    @property
    def write(self) -> UUID:
        """What tells this write from every other."""
        return self.sent or self.key

    def stamp(self) -> dict[str, Any]:
        """Return the columns that every row of ours carries."""
        return {
            "organization_id": self.member.organization_id,
            "created_at": self.at,
            "created_by_id": self.member.user_id,
        }


@dataclass(frozen=True)
class Author(Actor):
    """An actor who may write."""

    def __post_init__(self) -> None:
        must_write(self.member)


def hold(machine: Machine) -> Machine:
    """Read a machine again, and let one write about it go after the other until the end of the transaction.

    Every write about a machine takes this hold first, so that two of them can neither pass nor block each other.
    """
    rows = Machine.objects.for_org(machine.organization_id).select_related("bay__floor__site")
    held: Machine = rows.select_for_update(of=("self",), no_key=True).get(pk=machine.pk)
    return held


def hold_people(by: Actor) -> Membership:
    """Let one write about an organization's people go after the other; return who acts, as they stand by then.

    So of two owners who part at the same moment, the second is refused. Raises PermissionDenied for someone who was
    removed meanwhile.
    """
    Organization.objects.select_for_update(no_key=True).get(pk=by.member.organization_id)
    mine = Membership.objects.filter(organization_id=by.member.organization_id, ended_at__isnull=True)
    member = mine.filter(pk=by.member.pk).select_related("organization", "user").first()
    if member is None:
        raise PermissionDenied("You do not belong to this organization any more.")
    return member


def already_done[R: Row](table: type[R], by: Actor) -> R | None:
    """Return the row that an earlier sending of the same write made, if any.

    Raises KeyUsed if the key belongs to another write.
    """
    rows: Any = table._default_manager
    found: R | None = rows.for_org(by.member.organization_id).filter(pk=by.key).first()
    if found is None and not rows.exclude(organization=by.member.organization_id).filter(pk=by.key).exists():
        return None
    if found is None or not was_written(by.member.organization_id, by.write):
        raise KeyUsed
    return found


def was_written(organization_id: UUID, write: UUID) -> bool:
    """Return whether the history holds a line of this very write."""
    return Change.objects.for_org(organization_id).filter(write=write).exists()


def add[R: Row](by: Author, row: R, *, verb: str = "added", **parts: Sequence[Row]) -> R:
    """Store a new row of this author with its parts, and one line in the history for all of it.

    ``parts`` are rows that come and stay with this one, by the name that it knows them by: a survey's ``readings``.
    """
    _stamp(by, row)
    row.save(force_insert=True)
    new = values(row)
    for name, rows in parts.items():
        link: Any = row._meta.get_field(name)
        for part in rows:
            _stamp(by, part)
            setattr(part, link.field.name, row)
        link.related_model._default_manager.bulk_create(rows)
        new[name] = [{"id": part.pk, **values(part, but=link.field.name)} for part in rows]
    note(by, row, verb, old={}, new=new)
    return row


def change[E: Versioned](by: Author, row: E, *, version: int, verb: str = "changed", **fields: Any) -> E:
    """Change named fields of a row if it is still at ``version``; leave a line in the history.

    The same write sent again changes nothing more. Raises StaleEdit if someone else was first.
    """
    old = {name: getattr(row, name) for name in fields if getattr(row, name) != fields[name]}
    table: Any = type(row)._default_manager
    same = table.for_org(by.member.organization_id).filter(pk=row.pk, version=version)
    if not (same.update(version=F("version") + 1, **fields) if old or not fields else same.exists()):
        refuse_stale(by, row)
        row.refresh_from_db()
        return row
    if fields and not old:
        return row
    for name, value in fields.items():
        setattr(row, name, value)
    row.version = version + 1
    if old:
        told = [name for name in old if name not in _UNTOLD]
        note(by, row, verb, old={name: old[name] for name in told}, new={name: fields[name] for name in told})
    return row


def refuse_stale(by: Actor, row: Model) -> None:
    """Raise StaleEdit, unless it was this very write that made the version newer: then it was sent twice."""
    if not was_written(by.member.organization_id, by.write):
        raise StaleEdit(by.member, row)


def note(by: Actor, row: Model, verb: str, *, old: dict[str, Any], new: dict[str, Any]) -> None:
    """Leave a line in the history: who did what to which row, when and why; a column has the name of its field."""
    names = {field.attname: field.name for field in row._meta.fields}
    Change.objects.create(
        **by.stamp(),
        noun=type(row).__name__.lower(),
        row_id=row.pk,
        verb=verb,
        why=by.why,
        write=by.write,
        old={names.get(name, name): _plain(value) for name, value in old.items()},
        new={names.get(name, name): _plain(value) for name, value in new.items()},
    )


#: What a row holds of a secret has no place in the history.
_UNTOLD = {"token_sha256"}
_STAMPS = {"id", "organization", "created_at", "created_by", "version"} | _UNTOLD


def values(row: Model, but: str = "") -> dict[str, Any]:
    """Return the row's own columns by name, without the stamps and the one that may be left out."""
    own = (field for field in row._meta.fields if field.name not in _STAMPS and field.name != but)
    return {field.name: getattr(row, field.attname) for field in own}


def _stamp(by: Actor, row: Row) -> None:
    for name, value in by.stamp().items():
        setattr(row, name, value)


def _plain(value: Any) -> Any:
    """What JSON can hold, such that the field of the value reads it back exactly."""
    if isinstance(value, Model):
        return str(value.pk)
    if isinstance(value, dict):
        return {name: _plain(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    if value is None or isinstance(value, bool | int | float | str):
        return value
    return str(value)
