"""The database's own refusal to change the record: triggers, beside what `Recorded` refuses in Python.

A migration that adds a table of the record ends in ``guard("collection_table")``. One that alters such a table or fills
a column of it does so between ``lift`` and ``guard``: SQLite makes an altered table anew, without its triggers.
"""

from collections.abc import Callable, Iterator
from typing import Any

from django.apps import apps
from django.db import migrations

from collection.models.base import Recorded

#: What someone is told who tries.
REFUSAL = "Rows of the record are not changed or deleted"

_FUNCTION = f"""
CREATE OR REPLACE FUNCTION collection_keeps_the_record() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '{REFUSAL}: %', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
END $$
"""

_DEEDS = ("keep_rows", "keep_table")
#: Looks at what waits for the end of the transaction, since a table for which something waits cannot be altered.
_SETTLE = ("SET CONSTRAINTS ALL IMMEDIATE", "SET CONSTRAINTS ALL DEFERRED")


def guard(*tables: str) -> migrations.RunPython:
    """Return the step of a migration after which these tables refuse every change of a row."""
    return migrations.RunPython(_each(put_up, tables), _each(take_down, tables))


def lift(*tables: str) -> migrations.RunPython:
    """Return the step of a migration that lets the next ones alter or fill these tables; ``guard`` must follow."""
    return migrations.RunPython(_each(take_down, tables), _each(put_up, tables))


def recorded_tables() -> list[str]:
    """Return the name of every table of the record."""
    return sorted(table._meta.db_table for table in apps.get_models() if issubclass(table, Recorded))


def put_up(connection: Any, table: str) -> None:
    """Let the database refuse to change, delete or replace rows of a table, and to empty it."""
    take_down(connection, table)
    _run(connection, _sqlite_guard(connection, table) if connection.vendor == "sqlite" else _postgresql_guard(table))


def take_down(connection: Any, table: str) -> None:
    """Let rows of a table be changed again, which only migrations and the flushing of a test's database may."""
    if connection.vendor == "sqlite":
        _run(connection, [f'DROP TRIGGER IF EXISTS "{table}_{deed}"' for deed in ("update", "delete", "replace")])
    else:
        _run(connection, [*_SETTLE, *(f'DROP TRIGGER IF EXISTS {deed} ON "{table}"' for deed in _DEEDS)])


def _each(act: Callable[[Any, str], None], tables: tuple[str, ...]) -> Callable[[Any, Any], None]:
    def run(models: Any, schema_editor: Any) -> None:
        for table in tables:
            act(schema_editor.connection, table)

    return run


def _run(connection: Any, statements: Any) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def _postgresql_guard(table: str) -> Iterator[str]:
    yield _FUNCTION
    does = "EXECUTE FUNCTION collection_keeps_the_record()"
    yield f'CREATE TRIGGER keep_rows BEFORE UPDATE OR DELETE ON "{table}" FOR EACH ROW {does}'
    yield f'CREATE TRIGGER keep_table BEFORE TRUNCATE ON "{table}" FOR EACH STATEMENT {does}'
    # Also for whoever plays the part of a replica, as tools that copy databases do.
    yield f'ALTER TABLE "{table}" ENABLE ALWAYS TRIGGER keep_rows'
    yield f'ALTER TABLE "{table}" ENABLE ALWAYS TRIGGER keep_table'


def _sqlite_guard(connection: Any, table: str) -> Iterator[str]:
    refuse = f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}: {table}'); END"
    for deed in ("update", "delete"):
        yield f'CREATE TRIGGER "{table}_{deed}" BEFORE {deed.upper()} ON "{table}" {refuse}'
    # REPLACE deletes what stands in its way, and tells the trigger above only where recursive_triggers is on, which
    # each connection says for itself. So what would replace a row is refused before it comes in.
    same = " OR ".join(
        f"({' AND '.join(f'"{name}" = NEW."{name}"' for name in names)})" for names in _unique(connection, table)
    )
    taken = f'EXISTS (SELECT 1 FROM "{table}" WHERE {same})'
    yield f'CREATE TRIGGER "{table}_replace" BEFORE INSERT ON "{table}" WHEN {taken} {refuse}'


def _unique(connection: Any, table: str) -> list[tuple[str, ...]]:
    """The sets of columns whose values stand once in a table, its key first."""
    with connection.cursor() as cursor:
        columns = cursor.execute(f'PRAGMA table_info("{table}")').fetchall()
        found = [tuple(name for _, name, *_, key in columns if key)]
        for _, index, is_unique, *_ in cursor.execute(f'PRAGMA index_list("{table}")').fetchall():
            if is_unique:
                parts = cursor.execute(f'PRAGMA index_info("{index}")').fetchall()
                found.append(tuple(name for _, _, name in parts))
    return list(dict.fromkeys(found))
