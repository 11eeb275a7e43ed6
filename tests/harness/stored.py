"""What is really in a book's database, asked in plain SQL, beside the app: rows, lines of the history, halves."""

import datetime
import json
import sqlite3
from collections import Counter, defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import psycopg

from tests.harness.books import Book

#: Nouns whose every row has a line in the history from the moment that it is there.
NOTED = ("site", "floor", "bay", "instrument", "machine", "leg", "spec", "standing", "survey", "plan", "adjustment")
#: Rows that people edit one version after the other, each with a line. A machine's version also counts turns.
VERSIONED = ("site", "floor", "bay", "instrument", "plan")


#: What tells one write in the history: noun, row, field, value. Of turns the row is that of their plan.
Mark = tuple[str, str, str, str]
#: Fields in which the harnesses write a text that no other write has.
WORDS = ("name", "title", "address", "notes", "note", "why")
EVER = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)


@dataclass(frozen=True)
class Line:
    """One line of the history."""

    noun: str
    row: str
    verb: str
    old: dict[str, Any]
    new: dict[str, Any]

    @property
    def marks(self) -> Iterator[Mark]:
        """What tells the write that left this line."""
        if self.noun == "adjustment":
            yield self.noun, plain(self.new["plan"]), "lift", str(self.new["lift"])
            return
        if self.verb == "added":
            yield self.noun, self.row, "", ""
        yield from ((self.noun, self.row, name, self.new[name]) for name in WORDS if name in self.new)


class Stored:
    """A connection to a book's database beside the app's own."""

    def __init__(self, connection: Any) -> None:
        self._connection = connection

    def rows(self, sql: str) -> list[tuple[Any, ...]]:
        """Return what a query finds, keys as plain text."""
        cursor = self._connection.cursor()
        cursor.execute(sql)
        return [tuple(key_of(value) for value in row) for row in cursor.fetchall()]

    def lines(self, since: datetime.datetime = EVER) -> list[Line]:
        """Return the lines of the history in the order of their writing, as far as the clock tells it."""
        sql = f"select noun, row_id, verb, old, new from collection_change where created_at >= '{since}'"
        sql += " order by created_at, id"
        return [Line(noun, row, verb, _json(old), _json(new)) for noun, row, verb, old, new in self.rows(sql)]


def key_of(value: Any) -> Any:
    """A key as 32 letters, however the database holds it."""
    return value.hex if isinstance(value, UUID) else value


def plain(key: str) -> str:
    """A key as the pages write it, as 32 letters."""
    return key.replace("-", "")


def _json(value: Any) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(value) if isinstance(value, str) else value
    return found


@contextmanager
def stored_in(book: Book) -> Iterator[Stored]:
    """Open the database of a book; after a kill, this is what the crash left."""
    if book.database_url:
        with psycopg.connect(book.database_url, autocommit=True) as server:
            yield Stored(server)
        return
    file = sqlite3.connect(book.folder / "levelbook.sqlite3", timeout=20)
    try:
        yield Stored(file)
    finally:
        file.close()


def world_rows(stored: Stored) -> dict[str, set[str]]:
    """The rows that the world's builder made, which have no lines."""
    return {noun: {row for (row,) in stored.rows(f"select id from collection_{noun}")} for noun in NOTED}


def halves(stored: Stored, world: dict[str, set[str]]) -> list[str]:
    """Return each operation of which only a part is stored, in words."""
    lines = stored.lines()
    return [
        *_without_line(stored, world, lines),
        *_without_row(stored, lines),
        *_versions(stored, lines),
        *_surveys(stored, lines),
        *_plans(stored),
        *_turns(stored, lines),
        *_statuses(stored),
    ]


def _without_line(stored: Stored, world: dict[str, set[str]], lines: list[Line]) -> Iterator[str]:
    told = {(line.noun, line.row) for line in lines if line.verb in ("added", "corrected")}
    for noun in NOTED:
        for (row,) in stored.rows(f"select id from collection_{noun}"):
            if row not in world[noun] and (noun, row) not in told:
                yield f"{noun} {row} has no line in the history"


def _without_row(stored: Stored, lines: list[Line]) -> Iterator[str]:
    for noun in NOTED:
        rows = {row for (row,) in stored.rows(f"select id from collection_{noun}")}
        yield from (f"a line tells of {noun} {line.row}, which is not there" for line in lines
                    if line.noun == noun and line.row not in rows)  # fmt: skip


def _versions(stored: Stored, lines: list[Line]) -> Iterator[str]:
    changed = Counter((line.noun, line.row) for line in lines if line.verb == "changed")
    for noun in VERSIONED:
        for row, version in stored.rows(f"select id, version from collection_{noun}"):
            if version != 1 + changed[noun, row]:
                yield f"{noun} {row} is at version {version} after {changed[noun, row]} changes in the history"


def _surveys(stored: Stored, lines: list[Line]) -> Iterator[str]:
    readings = Counter(row for (row,) in stored.rows("select survey_id from collection_reading"))
    told = {line.row: len(line.new["readings"]) for line in lines if line.noun == "survey"}
    for (row,) in stored.rows("select id from collection_survey"):
        if not readings[row] or readings[row] != told.get(row):
            yield f"survey {row} has {readings[row]} readings, and its line tells of {told.get(row)}"


def _plans(stored: Stored) -> Iterator[str]:
    legs = Counter(row for (row,) in stored.rows("select plan_id from collection_planleg"))
    unfinished: dict[str, list[str]] = defaultdict(list)
    for plan, machine, state in stored.rows("select id, machine_id, state from collection_plan"):
        if legs[plan] != 4:
            yield f"plan {plan} has {legs[plan]} legs"
        if state in ("open", "turned"):
            unfinished[machine].append(plan)
    yield from (f"machine {row} has {len(many)} unfinished plans" for row, many in unfinished.items() if len(many) > 1)


def _turns(stored: Stored, lines: list[Line]) -> Iterator[str]:
    """Each lift is recorded with all its legs or not at all, and levelers stand where the last turn put them."""
    sql = "select plan_id, lift, place from collection_planleg where steps <> 0"
    planned = {(plan, place): lift for plan, lift, place in stored.rows(sql)}
    done = set(stored.rows("select plan_id, place from collection_adjustment"))
    lifts_done = {(plan, planned.get((plan, place))) for plan, place in done}
    last: dict[str, int] = {}
    for (plan, place), lift in planned.items():
        last[plan] = max(lift, last.get(plan, 0))
        if (plan, lift) in lifts_done and (plan, place) not in done:
            yield f"lift {lift} of plan {plan} is recorded without its leg {place}"
    for plan, state in stored.rows("select id, state from collection_plan where state in ('open', 'turned')"):
        if plan in last and (state == "turned") != ((plan, last[plan]) in lifts_done):
            yield f"plan {plan} is {state}, which its recorded lifts do not say"
    stands = {line.row: line.new["exposure_mm"] for line in lines if line.noun == "leg" and line.verb == "turned"}
    for leg, exposure_mm in stored.rows("select id, exposure_mm from collection_leg"):
        if leg in stands and abs(stands[leg] - exposure_mm) > 1e-9:
            yield f"leg {leg} stands at {exposure_mm}, and its last turn left it at {stands[leg]}"
    turned = Counter(line.noun for line in lines if line.verb == "turned")["leg"]
    if turned != len(done):
        yield f"{turned} levelers were turned, and {len(done)} turns are recorded"


def _statuses(stored: Stored) -> Iterator[str]:
    """Each status names the machine's newest survey and spec, and its unfinished plan."""
    newest: dict[str, dict[str, str]] = {"survey": {}, "spec": {}, "plan": {}}
    sql = {
        "survey": "select machine_id, id from collection_survey where id not in (select supersedes_id from "
        "collection_survey where supersedes_id is not null) order by measured_at, id",
        "spec": "select machine_id, id from collection_spec order by created_at, id",
        "plan": "select machine_id, id from collection_plan where state in ('open', 'turned') order by created_at, id",
    }
    for noun, query in sql.items():
        newest[noun] = dict(stored.rows(query))
    for machine, *named in stored.rows("select machine_id, survey_id, spec_id, plan_id from collection_machinestatus"):
        for noun, row in zip(newest, named, strict=True):
            if row != newest[noun].get(machine):
                yield f"the status of machine {machine} names {noun} {row}, the newest is {newest[noun].get(machine)}"


def chains(stored: Stored, noun: str, field: str) -> list[str]:
    """Return each value of a field that another edit passed over, where every edit wrote a text of its own.

    Each value but the last was replaced by exactly one edit, and each edit replaced the value before it.
    """
    faults = []
    edits: dict[str, list[tuple[Any, Any]]] = defaultdict(list)
    for line in stored.lines():
        if line.noun == noun and line.verb == "changed" and field in line.new:
            edits[line.row].append((line.old[field], line.new[field]))
    stands = dict(stored.rows(f"select id, {field} from collection_{noun}"))
    for row, pairs in edits.items():
        olds, news = [old for old, _ in pairs], [new for _, new in pairs]
        doubled = [value for value, count in (Counter(olds) | Counter(news)).items() if count > 1]
        faults += [f"{noun} {row}: {value!r} was written or replaced more than once" for value in doubled]
        left = set(news) - set(olds)
        if left != {stands[row]} or len(set(olds) - set(news)) != 1:
            faults.append(f"{noun} {row}: {field} says {stands[row]!r}, the history ends with {sorted(map(str, left))}")
    return faults
