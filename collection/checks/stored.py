"""What the data lie on: SQLite's options, the file, the file system under it, the room that is left."""

import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core import checks
from django.core.checks import CheckMessage, Error, Info, register

from collection.checks.public import OURS
from collection.environment import journal_mode
from collection.server import NETWORK, file_system, free_bytes

#: Less than this, and the next import or photo may be the one that does not fit.
ROOM_BYTES = 200_000_000


@register(OURS)
def sqlite_is_set_up(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Refuse SQLite with options that lose edits or data, and a file that cannot be written."""
    database = settings.DATABASES["default"]
    if not database["ENGINE"].endswith("sqlite3"):
        return []
    return [*_option_faults(database), *_file_faults(Path(database["NAME"]))]


def _option_faults(database: dict[str, Any]) -> Iterator[CheckMessage]:
    keep = "Keep the database settings of collection/environment.py."
    options = database.get("OPTIONS", {})
    command = options.get("init_command", "")
    safe = journal_mode(sqlite3.sqlite_version_info)
    if options.get("transaction_mode") != "IMMEDIATE" or "timeout" not in options or "timeout" in database:
        # Most competing writes would fail.
        yield Error(
            "SQLite is not set to immediate transactions with a timeout inside OPTIONS.", hint=keep, id="levelbook.E002"
        )
    if f"journal_mode={safe}" not in command and "journal_mode=TRUNCATE" not in command:
        yield Error(f"This SQLite is safe with the journal {safe} only.", hint=keep, id="levelbook.E003")
    if "synchronous=FULL" not in command:
        yield Error(
            "SQLite is not set to synchronous=FULL: a power cut may cost what was saved.",
            hint=keep,
            id="levelbook.E004",
        )
    if safe != "WAL":
        yield Info(
            "This SQLite has a rare fault in its write-ahead log, so Levelbook uses the slower TRUNCATE journal.",
            hint="SQLite 3.51.3 or newer is about twice as fast; nothing is at risk meanwhile.",
            id="levelbook.I001",
        )


def _file_faults(path: Path) -> Iterator[CheckMessage]:
    if path.is_dir() or not path.parent.is_dir() or not os.access(path if path.exists() else path.parent, os.W_OK):
        yield Error(
            f"The database file {path.name} cannot be written.",
            hint="Let this account write the file and its folder, or name another one in DATABASE_URL.",
            id="levelbook.E005",
        )
    if (kind := file_system(path.parent)) in NETWORK:
        yield checks.Warning(
            f"The database lies on a network file system ({kind}), whose locks do not keep SQLite safe.",
            hint="Set LEVELBOOK_DATA to a folder on a disk of this machine, or use PostgreSQL.",
            id="levelbook.W005",
        )


@register(OURS)
def there_is_room(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Warn when the disk under the data folder is nearly full."""
    free = free_bytes(settings.DATA_DIR)
    if free >= ROOM_BYTES:
        return []
    return [
        checks.Warning(
            f"The disk of the data folder has {free / 1e6:.0f} MB left.",
            hint="Make room, or move the data folder to a larger disk.",
            id="levelbook.W006",
        )
    ]
