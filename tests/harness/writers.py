"""Many writers at once, and the same write many times: `uv run python -m tests.harness.writers --database postgresql`.

16 writers on the real server: plain forms, pieces for htmx, sendings that a device keeps, and processes that call the
actions as a task would (`tasks.py`). They count upward in the same few texts and add what is their own; who is too late
is told and counts on. Then each of 100 keys is sent 20 times at the same moment.
Prints its counts, JSON last; ends with 1 if something was locked, an answer was an error, an edit was lost, or a key
had another number of effects than one or unequal answers.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import django

if __name__ == "__main__":  # run by itself, Django is not ready yet
    DATA = tempfile.TemporaryDirectory()
    os.environ |= {"LEVELBOOK_DATA": DATA.name, "DJANGO_SETTINGS_MODULE": "collection.settings"}
    django.setup()

from tests.harness.books import PEOPLE, Book, open_book
from tests.harness.edits import COUNTED, TEXTS, Outcome, write_over_http
from tests.harness.postgres import own_postgres
from tests.harness.senders import Answer, Sender
from tests.harness.stored import Mark, chains, halves, stored_in, world_rows
from tests.harness.work import Sending, long_writes, short_writes
from tests.own_server import PROJECT

#: Which path each of the 16 writers takes.
PATHS = ("form",) * 5 + ("piece",) * 4 + ("kept",) * 3 + ("task",) * 4
COPIES = 20
#: Words in the server's log, or in a task's error, that tell of a write that could not be made.
BAD_WORDS = ("is locked", "deadlock", "Traceback", "Error: ", "Timeout: ")


@dataclass
class Tally:
    """What happened."""

    done: Counter[str] = field(default_factory=Counter)
    stale: Counter[str] = field(default_factory=Counter)
    blind: int = 0
    wrong: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)
    locked: list[str] = field(default_factory=list)
    keys: int = 0
    doubled: list[str] = field(default_factory=list)
    seconds: float = 0

    @property
    def faults(self) -> list[str]:
        """What must not have happened."""
        return [*self.locked, *self.wrong, *self.lost, *self.doubled]

    @property
    def figures(self) -> dict[str, Any]:
        """The counts, for the last line."""
        return {
            "writes": sum(self.done.values()), "writes_by_path": dict(self.done), "told_stale": dict(self.stale),
            "told_stale_without_both_values": self.blind, "lines_of_locks_and_errors": len(self.locked),
            "wrong_answers": len(self.wrong), "lost": len(self.lost), "keys": self.keys,
            "keys_not_once_or_unequal": len(self.doubled), "seconds": round(self.seconds, 1),
        }  # fmt: skip


def write(book: Book, tally: Tally, *, writes: int, seconds: float = 600, paths: tuple[str, ...] = PATHS) -> None:
    """Let all writers loose for so many writes or seconds, then compare what they were told with what is stored."""
    began = time.monotonic()
    with stored_in(book) as stored:
        world = world_rows(stored)
    with ThreadPoolExecutor(len(paths)) as pool:
        names = [(path, f"{path}{place}", place) for place, path in enumerate(paths)]
        running = [
            (path, pool.submit(_writer, book, path, name, place, writes, seconds)) for path, name, place in names
        ]
        outcomes = [(path, each.result()) for path, each in running]
    tally.seconds += time.monotonic() - began
    marks: list[Mark] = []
    for path, outcome in outcomes:
        tally.done[path] += len(outcome.done)
        tally.stale[path] += outcome.stale
        tally.blind += outcome.blind
        tally.wrong += outcome.wrong
        marks += [(noun, row, name, says) for noun, row, name, says in outcome.done]
    _look(book, tally, world, marks)


def _writer(book: Book, path: str, name: str, place: int, writes: int, seconds: float) -> Outcome:
    if path != "task":
        how = {"path": path, "name": name, "writes": writes, "until": time.monotonic() + seconds}
        return write_over_http(book.sender(place), book.world, **how)
    command = [sys.executable, "-m", "tests.harness.tasks", name, str(writes), str(seconds)]
    given = json.dumps(book.world)
    done = subprocess.run(command, cwd=PROJECT, env=book.environment, input=given, capture_output=True, text=True)
    return Outcome(**json.loads(done.stdout)) if done.returncode == 0 else Outcome(wrong=[done.stderr[-500:]])


def _look(book: Book, tally: Tally, world: dict[str, set[str]], marks: list[Mark]) -> None:
    """Each edit has its line once, no text was passed over, and the number in each is how often it was edited."""
    with stored_in(book) as stored:
        found = Counter(mark for line in stored.lines() for mark in line.marks)
        tally.lost += [f"{mark} is {found[mark]} times in the history" for mark in marks if found[mark] != 1]
        for noun, name in TEXTS:
            tally.lost += chains(stored, noun, name)
            mine = [(row, says) for other, row, field_name, says in marks if (other, field_name) == (noun, name)]
            counts = Counter(row for row, says in mine if COUNTED.fullmatch(says))
            for row, says in stored.rows(f"select id, {name} from collection_{noun}"):
                if counts[row] and says.split(" ")[0] != str(counts[row]):
                    tally.lost.append(f"{noun} {row}: {counts[row]} edits of {name} acknowledged, it says {says!r}")
        tally.lost += halves(stored, world)
    lines = [*book.log.read_text(errors="replace").splitlines(), *tally.wrong]
    tally.locked += [line for line in lines if any(word in line for word in BAD_WORDS)]


def repeat(book: Book, tally: Tally, *, keys: int, copies: int = COPIES) -> None:
    """Send each of so many writes several times at the same moment: short ones, then surveys and plans."""
    began, gate, marks = time.monotonic(), threading.Barrier(copies), []
    senders = [book.sender(PEOPLE - 1) for _ in range(copies)]

    def send(sender: Sender, sending: Sending, headers: dict[str, str]) -> Answer:
        gate.wait(60)
        return sender.post(sending.path, sending.data, headers)

    with ThreadPoolExecutor(copies) as pool:
        for worker in (short_writes(book.world, PEOPLE - 1), long_writes(book.world, PEOPLE - 1)):
            sending = next(worker)
            for number in range(keys // 2):
                headers = {"X-Keep": senders[0].signature} if number % 3 == 0 else {}
                answers = list(pool.map(send, senders, [sending] * copies, [headers] * copies))
                told = Counter((answer.status, answer.location) for answer in answers)
                if len(told) > 1 or not answers[0].is_done:
                    tally.doubled.append(f"{sending.path}: {dict(told)}")
                marks.append(sending.mark)
                sending = worker.send(answers[0])
    tally.keys, tally.seconds = len(marks), tally.seconds + time.monotonic() - began
    with stored_in(book) as stored:
        found = Counter(mark for line in stored.lines() for mark in line.marks)
        # A lift has a line for each leg; that no leg has two is the database's own rule.
        tally.doubled += [f"{mark}: {found[mark]} effects" for mark in marks
                          if found[mark] != 1 and (mark[0] != "adjustment" or not found[mark])]  # fmt: skip


def main() -> int:
    """Read the options, run, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--database", choices=("sqlite", "postgresql"), default="sqlite")
    parser.add_argument("--writes", type=int, default=500, help="of each writer")
    parser.add_argument("--minutes", type=float, default=60, help="let nobody write for longer")
    parser.add_argument("--keys", type=int, default=100)
    asked = parser.parse_args()
    tally = Tally()
    with ExitStack() as stack:
        url = stack.enter_context(own_postgres()) if asked.database == "postgresql" else ""
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        book = stack.enter_context(open_book(folder, database_url=url))
        book.start()
        write(book, tally, writes=asked.writes, seconds=60 * asked.minutes)
        repeat(book, tally, keys=asked.keys)
    figures = {"database": asked.database, "writers": len(PATHS), "asked_of_each": asked.writes, **tally.figures}
    lines = [*tally.faults[:20], json.dumps(figures)]
    sys.stdout.writelines(f"{line}\n" for line in lines)
    return 1 if tally.faults else 0


if __name__ == "__main__":
    sys.exit(main())
