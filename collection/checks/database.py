"""What only the database itself can tell: that it answers, keeps what it says it keeps, and is not ahead of the clock.

Django runs these for `check --database default`; `manage.py start` and every server's door run them too.
"""

from collections.abc import Iterator, Sequence
from typing import Any

from django.core import checks
from django.core.checks import CheckMessage, Error, Tags, register
from django.db import Error as DatabaseError
from django.db import NotSupportedError, connections
from django.utils import timezone

from collection.checks.public import OURS
from collection.queries.health import SKEW, newest_entry, pending, says_durable

_REMEDIES = {
    "sqlite": "Name a SQLite file that this account may write and nothing else holds: LEVELBOOK_DATA or DATABASE_URL.",
    "postgresql": "Start PostgreSQL, and compare host, port, user, password and name in DATABASE_URL.",
}


@register(Tags.database, OURS)
def database_answers(app_configs: Any, databases: Sequence[str] | None = None, **kwargs: Any) -> list[CheckMessage]:
    """Refuse a database that is not there or too old; warn of one that may lose data, or of a wrong clock."""
    return [fault for alias in databases or () for fault in (_opening_faults(alias) or list(_inside_faults()))]


def _opening_faults(alias: str) -> list[CheckMessage]:
    """Try a connection of our own that gives up soon: the pool would ask again for half a minute."""
    pooled = connections[alias]
    options = {name: value for name, value in pooled.settings_dict["OPTIONS"].items() if name != "pool"}
    begin = options.pop("init_command", "")  # run below, where what it opened is closed again if it fails
    if pooled.vendor == "postgresql":
        options["connect_timeout"] = 5
    alone = type(pooled)({**pooled.settings_dict, "OPTIONS": options}, alias)
    try:
        alone.ensure_connection()
        if begin:
            with alone.wrap_database_errors:
                alone.connection.executescript(begin)
    except NotSupportedError as error:
        return [Error(f"{error}", hint="Install a newer one.", id="levelbook.E007")]
    except DatabaseError as error:
        return [
            Error(
                f"The database does not answer: {str(error).strip().splitlines()[0]}.",
                hint=_REMEDIES.get(pooled.vendor, ""),
                id="levelbook.E006",
            )
        ]
    finally:
        alone.close()
    return []


def _inside_faults() -> Iterator[CheckMessage]:
    if not says_durable():
        yield checks.Warning(
            "The database is set to tell of a write before the disk has it: a power cut may cost what was saved.",
            hint="Set fsync=on and synchronous_commit=on in postgresql.conf.",
            id="levelbook.W007",
        )
    newest = None if pending() else newest_entry()
    if newest and newest > timezone.now() + SKEW:
        yield checks.Warning(
            f"The clock says {timezone.now():%Y-%m-%d %H:%M} UTC; the newest entry is of {newest:%Y-%m-%d %H:%M}.",
            hint="Set this machine's clock, and let it keep time by NTP.",
            id="levelbook.W008",
        )
