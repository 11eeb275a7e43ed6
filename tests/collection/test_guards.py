"""The database itself refuses to change, delete or replace a row of the record, whoever asks it and however."""

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction

from collection.actions.floors import TypedSlope, record_slope
from collection.actions.instruments import Shown, check_zero, record_event
from collection.actions.machines import move_machine
from collection.actions.plans import record_turns
from collection.models import guards
from tests.surveying import author
from tests.worlds import TernTaproom


@pytest.fixture
def record(taproom: TernTaproom) -> TernTaproom:
    """The taproom with a row in every table of the record."""
    bob = taproom.people.bob
    readings = [TypedSlope("0.3", 0.3, 0), TypedSlope("0.2", 0.2, 90)]
    record_slope(by=author(bob), floor=taproom.floor, bay=None, instrument=None, unit="deg", readings=readings, why="")
    shown = Shown("0.2", 0.2, "right"), Shown("0", 0.0, "level")
    check_zero(by=author(bob), instrument=taproom.instrument, unit="deg", first=shown[0], turned=shown[1])
    record_event(by=author(bob), instrument=taproom.instrument, kind="battery")
    assert all((taproom.plan, taproom.vial, taproom.quick_check))
    record_turns(by=author(bob), plan=taproom.plan, lift=1)
    taproom.machine.refresh_from_db()
    move_machine(by=author(bob), machine=taproom.machine, version=taproom.machine.version, bay=None, why="")
    connection.check_constraints()  # or PostgreSQL would refuse to empty a table for another reason
    return taproom


@contextmanager
def refused() -> Iterator[None]:
    with pytest.raises(IntegrityError, match=guards.REFUSAL), transaction.atomic():
        yield


def run(statement: str, *values: Any) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values or None)


def rows_of(table: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT * FROM "{table}" ORDER BY 1')
        return cursor.fetchall()


def test_every_table_of_the_record_has_its_guards_after_all_migrations(db: None) -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT tbl_name, name FROM sqlite_master WHERE type = 'trigger'")
            deeds = ("update", "delete", "replace")
            wanted = {(table, f"{table}_{deed}") for table in guards.recorded_tables() for deed in deeds}
        else:
            cursor.execute(
                "SELECT relname, tgname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid "
                "WHERE NOT tgisinternal AND tgenabled = 'A'"
            )
            wanted = {(table, name) for table in guards.recorded_tables() for name in ("keep_rows", "keep_table")}
        assert set(cursor.fetchall()) == wanted
    assert len(wanted) >= 26


#: What anyone might try, by database; each names the table only.
ATTEMPTS = {
    "both": (
        'UPDATE "{0}" SET created_at = created_at',
        'DELETE FROM "{0}"',
        'INSERT INTO "{0}" SELECT * FROM "{0}" WHERE true '
        "ON CONFLICT (id) DO UPDATE SET created_at = excluded.created_at",
    ),
    "sqlite": (
        'UPDATE OR REPLACE "{0}" SET created_at = created_at',
        'REPLACE INTO "{0}" SELECT * FROM "{0}"',
        'INSERT OR REPLACE INTO "{0}" SELECT * FROM "{0}"',
    ),
    "postgresql": ('TRUNCATE "{0}" CASCADE',),
}


def test_no_row_is_changed_deleted_or_replaced(record: TernTaproom) -> None:
    for name in guards.recorded_tables():
        before = rows_of(name)
        assert before, name
        for attempt in (*ATTEMPTS["both"], *ATTEMPTS[connection.vendor]):
            with refused():
                run(attempt.format(name))
        assert rows_of(name) == before


@pytest.mark.one_database
def test_replace_is_refused_also_by_a_connection_that_forgot_its_setting(record: TernTaproom) -> None:
    """recursive_triggers is a setting of each connection, and off unless it says otherwise."""
    run("PRAGMA recursive_triggers=OFF")
    try:
        for name in guards.recorded_tables():
            before = rows_of(name)
            with refused():
                run(f'REPLACE INTO "{name}" SELECT * FROM "{name}"')
            assert rows_of(name) == before
    finally:
        run("PRAGMA recursive_triggers=ON")


@pytest.mark.one_database
def test_a_row_with_another_key_replaces_none_that_stands_in_its_way(record: TernTaproom) -> None:
    table = apps.get_model("collection", "Adjustment")
    columns = [field.column for field in table._meta.fields if field.column != "id"]
    own = ", ".join(f'"{column}"' for column in columns)
    with refused():
        run(f"REPLACE INTO collection_adjustment (id, {own}) SELECT %s, {own} FROM collection_adjustment LIMIT 1",
            uuid.uuid4().hex)  # fmt: skip


@pytest.mark.postgresql
def test_not_even_as_a_replica(record: TernTaproom) -> None:
    with transaction.atomic():
        run("SET LOCAL session_replication_role = replica")
        with refused():
            run("DELETE FROM collection_survey")


def test_a_new_row_goes_in_as_before_and_a_key_that_is_taken_does_not(record: TernTaproom) -> None:
    survey = record.survey
    with pytest.raises(IntegrityError), transaction.atomic():
        type(survey)._base_manager.bulk_create([survey])


def test_a_migration_may_lift_the_guards_and_must_put_them_up_again(record: TernTaproom) -> None:
    editor = SimpleNamespace(connection=connection)
    with transaction.atomic():
        guards.lift("collection_spec").code(apps, editor)
        run("UPDATE collection_spec SET why = 'Filled by a migration'")
        guards.guard("collection_spec").code(apps, editor)
    with refused():
        run("UPDATE collection_spec SET why = ''")
    assert record.machine.specs.get().why == "Filled by a migration"
