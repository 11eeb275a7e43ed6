"""Reads about the health of the server: what an owner may know of it, in words; and whether it is ready at all."""

import datetime
import platform
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from uuid import UUID

import django
from django.conf import settings
from django.db import Error, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import Max

import leveling
from collection.models import Change, Membership
from collection.server import free_bytes, processes, public_names

#: Room for a good while; below it someone should look.
ROOM_BYTES = 1_000_000_000
#: Clocks of two machines that keep time differ by less.
SKEW = datetime.timedelta(minutes=5)


@dataclass(frozen=True)
class Line:
    """One thing that the book stands on: its name, how it is, and what would put it right if it needs a look."""

    name: str
    says: str
    remedy: str = ""

    @property
    def fine(self) -> bool:
        """Whether nobody has to do anything."""
        return not self.remedy


def is_ready() -> bool:
    """Return whether the database answers and has the tables that this version wants."""
    try:
        return not pending()
    except Error:
        return False


@cache
def _wanted() -> frozenset[tuple[str, str]]:
    """The last migration of each app, which stands for all before it; they do not change while a process runs."""
    return frozenset(MigrationLoader(None).graph.leaf_nodes())


def pending() -> list[str]:
    """Return the last migration of each app whose tables are behind."""
    applied = set(MigrationRecorder(connection).applied_migrations())
    return sorted(f"{app} {name}" for app, name in _wanted() - applied)


def says_durable() -> bool:
    """Return whether the database says that a write is on the disk before it calls it saved."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT current_setting('fsync'), current_setting('synchronous_commit')")
            return "off" not in cursor.fetchone()
        cursor.execute("PRAGMA synchronous")
        return bool(cursor.fetchone()[0] >= 2)  # FULL or EXTRA, in SQLite's own numbers


def newest_entry(*, organization: UUID | None = None) -> datetime.datetime | None:
    """Return when the newest line of the history was written, in one book or in all."""
    rows = Change.objects.for_org(organization) if organization else Change.objects.all()
    return rows.aggregate(newest=Max("created_at"))["newest"]


def health_of(*, member: Membership, now: datetime.datetime) -> list[Line]:
    """Return how the server of this member's book is, what needs a look first. It shows no path, name or secret."""
    lines = [*_database(), _disk(), *_reach(), _processes(), _clock(member, now), _versions()]
    return sorted(lines, key=lambda line: line.fine)


def _database() -> Iterator[Line]:
    kind = {"postgresql": "PostgreSQL", "sqlite": "SQLite"}.get(connection.vendor, connection.display_name)
    version = ".".join(str(part) for part in connection.get_database_version())
    yield Line("Database", f"{kind} {version} answers.")
    if says_durable():
        yield Line("A power cut", "What a page calls saved is on the disk.")
    else:
        yield Line("A power cut", "It may cost what was just saved.", "let the database wait for the disk (fsync).")
    behind = bool(pending())
    yield Line(
        "Tables",
        "They are behind this version of Levelbook." if behind else "They are up to date.",
        "back up and run manage.py migrate." if behind else "",
    )


def _disk() -> Line:
    free = free_bytes(settings.DATA_DIR)
    room = f"{free / 1e9:.1f} GB left." if free < 1e10 else f"{free / 1e9:.0f} GB left."
    return Line("Room on the disk", room, "make room before it is full." if free < ROOM_BYTES else "")


def _reach() -> Iterator[Line]:
    alone = not public_names(settings.ALLOWED_HOSTS)
    if not settings.MAILERS["default"]["BACKEND"].endswith("console.EmailBackend"):
        yield Line("Mail", "Goes out through a mail server.")
    elif alone:
        yield Line("Mail", "Printed where the server runs.")
    else:
        says = "Not set up: invitations and links for a forgotten password reach nobody."
        yield Line("Mail", says, "set LEVELBOOK_MAIL_URL.")
    if settings.HTTPS:
        yield Line("On the way", "Pages and passwords travel encrypted (HTTPS).")
    elif alone:
        yield Line("On the way", "Only the machine that serves can open the pages.")
    else:
        yield Line("On the way", "Pages and passwords travel in plain sight.", "serve behind HTTPS.")


def _processes() -> Line:
    count = processes(settings.DATA_DIR)
    if count is not None and count > 1:
        says = f"{count} serve this book, and each counts wrong passwords for itself."
        return Line("Processes", says, "serve with one process.")
    return Line("Processes", "They are not counted on this system." if count is None else "One serves this book.")


def _clock(member: Membership, now: datetime.datetime) -> Line:
    newest = newest_entry(organization=member.organization_id)
    says = f"It is {now:%H:%M} UTC on {now.day} {now:%B %Y}."
    if newest and newest > now + SKEW:
        return Line("Clock", f"{says} Your book has a later entry.", "set the clock, and keep it by NTP.")
    return Line("Clock", says)


def _versions() -> Line:
    engine, here = f"engine {leveling.VERSION}", f"Python {platform.python_version()}"
    return Line("Versions", f"Levelbook {engine}, Django {django.get_version()}, {here}.")
