"""The short form of `writers.py`: 16 writers and keys sent 20 times, nothing lost; and that the harness sees faults."""

import os
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pytest
from django.conf import settings

from tests.harness.books import Book, open_book
from tests.harness.writers import COPIES, PATHS, Tally, repeat, write

#: Those who write over HTTP: a planted fault is in the server alone.
OVER_HTTP = PATHS[:6]


@pytest.fixture
def own_database() -> Iterator[str]:
    """A database beside the tests' own, on the PostgreSQL that they were given."""
    parts = urlsplit(os.environ["DATABASE_URL"])
    server, name = urlunsplit(parts._replace(path="/postgres")), "levelbook_writers"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"drop database if exists {name} with (force)")
        connection.execute(f"create database {name}")
        yield urlunsplit(parts._replace(path=f"/{name}"))
        connection.execute(f"drop database {name} with (force)")


def written(book: Book, *, writes: int = 8, keys: int = 6) -> Tally:
    tally = Tally()
    book.start(warm=True)
    write(book, tally, writes=writes, seconds=120)
    repeat(book, tally, keys=keys)
    return tally


def nothing_is_wrong(tally: Tally) -> None:
    assert tally.faults == []
    assert len(PATHS) == 16
    assert sum(tally.done.values()) == 16 * 8
    assert sum(tally.stale.values()), "nobody was ever too late, so nothing was tried"
    assert (tally.keys, COPIES) == (6, 20)


@pytest.mark.long
@pytest.mark.one_database
def test_16_writers_lose_nothing_on_sqlite(tmp_path: Path, first_book: Book) -> None:
    with open_book(tmp_path, like=first_book) as book:
        nothing_is_wrong(written(book))


@pytest.mark.postgresql
def test_16_writers_lose_nothing_on_postgresql(tmp_path: Path, own_database: str) -> None:
    assert settings.DATABASES["default"]["ENGINE"].endswith("postgresql")
    with open_book(tmp_path, database_url=own_database) as book:
        nothing_is_wrong(written(book))


@pytest.mark.long
@pytest.mark.one_database
def test_it_sees_edits_lost_where_versions_are_not_asked_for(tmp_path: Path, first_book: Book) -> None:
    tally = Tally()
    with open_book(tmp_path, like=first_book, fault="get_then_save") as book:
        book.start(warm=True)
        write(book, tally, writes=10, seconds=60, paths=OVER_HTTP)
    assert tally.lost


@pytest.mark.long
@pytest.mark.one_database
def test_it_sees_locks_where_transactions_begin_as_readers(tmp_path: Path, first_book: Book) -> None:
    tally = Tally()
    with open_book(tmp_path, like=first_book, fault="deferred") as book:
        book.start(warm=True)
        write(book, tally, writes=20, seconds=60, paths=OVER_HTTP)
    assert any("locked" in line for line in tally.locked)
