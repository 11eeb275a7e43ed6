"""Kills the server under load and looks what is left: `uv run python -m tests.harness.kills --kills 50 --writes 5000`.

The real server on a book of its own; people who write without a pause; `kill -9` at random moments, of the whole
server or of the process that answers. A write counts as acknowledged once its answer was read to the end. After each
kill of the whole, before the next start, the database is asked for every write acknowledged since the last look, and
now and then, as at the end, for halves: a row without its line, a survey without readings, a plan without legs, a
status that is not of the newest survey. What had no answer is sent again with the same words and must be there once.

Most starts have their imports at hand (`servers.py`); one in some is the whole command, whose time is told by the clock
and by the processor: on a busy machine the clock tells of the others' work.
Prints its counts, JSON last; ends with 1 if a write was lost, doubled, halved or refused, or a start took too long.
"""

import argparse
import datetime
import json
import math
import os
import random
import statistics
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import django

if __name__ == "__main__":  # run by itself, Django is not ready yet
    DATA = tempfile.TemporaryDirectory()
    os.environ |= {"LEVELBOOK_DATA": DATA.name, "DJANGO_SETTINGS_MODULE": "collection.settings"}
    django.setup()

from tests.harness.books import Book, Start, open_book
from tests.harness.senders import NO_ANSWER, Answer, Sender
from tests.harness.stored import Stored, chains, halves, stored_in, world_rows
from tests.harness.work import Sending, Worker, long_writes, short_writes

#: A server that people wait for must be back within so long, on a processor that has nothing else to do.
LONGEST_START_S = 3.0
HANDS = 8
#: One look for halves in so many kills: it reads the whole book.
KILLS_PER_LOOK = 25
#: One start in so many is the whole command.
KILLS_PER_COLD = 20
#: The server takes a process that dies twice within 5.5 s for one that cannot live, and ends.
BETWEEN_WORKERS_S = 7.0
#: A line's time is that of the request's beginning, so the look goes back a little further than the last one.
BACK = datetime.timedelta(seconds=90)


@dataclass
class Tally:
    """What happened."""

    cold: list[Start] = field(default_factory=list)
    warm: list[Start] = field(default_factory=list)
    back_s: list[float] = field(default_factory=list)
    kills: Counter[str] = field(default_factory=Counter)
    acknowledged: Counter[str] = field(default_factory=Counter)
    sent_again: int = 0
    lost: list[str] = field(default_factory=list)
    doubled: list[str] = field(default_factory=list)
    halves: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    seconds: float = 0

    @property
    def faults(self) -> list[str]:
        """What must not have happened."""
        return [*self.lost, *self.doubled, *self.halves, *self.refused]

    @property
    def slow(self) -> list[str]:
        """Starts that took too long; no fault where other work shares the processors."""
        return [f"{start} is too slow" for start in self.cold if start.processor_s > LONGEST_START_S]

    @property
    def figures(self) -> dict[str, Any]:
        """The counts, for the last line."""
        return {
            "kills": sum(self.kills.values()), "kills_by_victim": dict(self.kills),
            "acknowledged": sum(self.acknowledged.values()), "acknowledged_by_noun": dict(self.acknowledged),
            "sent_again": self.sent_again, "lost": len(self.lost), "doubled": len(self.doubled),
            "halves": len(self.halves), "refused": len(self.refused), "seconds": round(self.seconds, 1),
            "cold_start_s": spread([start.seconds for start in self.cold]),
            "cold_start_processor_s": spread([start.processor_s for start in self.cold]),
            "warm_start_s": spread([start.seconds for start in self.warm]),
            "worker_back_s": spread(self.back_s),
        }  # fmt: skip


def spread(values: list[float]) -> dict[str, float]:
    """Return how many there are, the middle one, the one that 95 % do not pass, and the largest."""
    ordered = sorted(values)
    if not ordered:
        return {"count": 0}
    found = {
        "median": statistics.median(ordered),
        "95 %": ordered[math.ceil(0.95 * len(ordered)) - 1],
        "most": ordered[-1],
    }
    return {"count": len(ordered), **{name: round(value, 2) for name, value in found.items()}}


class Hands:
    """People who write at the same time, each in a thread, through every death of the server."""

    def __init__(self, book: Book, workers: list[Worker], tally: Tally) -> None:
        self.book, self.tally = book, tally
        self.told: list[Sending] = []
        self.up, self.closing, self.guard = threading.Event(), threading.Event(), threading.Lock()
        self.threads = [threading.Thread(target=self._write, args=each, daemon=True) for each in enumerate(workers)]
        for thread in self.threads:
            thread.start()

    def close(self) -> None:
        """Let each finish what it sends, which needs a server that is up."""
        self.closing.set()
        for thread in self.threads:
            thread.join(120)

    def _write(self, place: int, worker: Worker) -> None:
        sender, sending = self.book.sender(place), next(worker)
        while not self.closing.is_set():
            answer = self._answer_to(sender, sending)
            with self.guard:
                if answer.is_done:
                    self.told.append(sending)
                else:
                    self.tally.refused.append(f"{answer.status} to {sending.path} {sending.data}")
            sending = worker.send(answer)

    def _answer_to(self, sender: Sender, sending: Sending) -> Answer:
        """Send until there is an answer, always with the same words and key."""
        while True:
            self.up.wait()
            try:
                return sender.post(sending.path, sending.data)
            except NO_ANSWER:
                with self.guard:
                    self.tally.sent_again += 1
                time.sleep(0.01)


class Looker:
    """Compares what was acknowledged with what is stored."""

    def __init__(self, book: Book, hands: Hands, tally: Tally, world: dict[str, set[str]]) -> None:
        self.book, self.hands, self.tally, self.world = book, hands, tally, world
        self.looked, self.since, self.worker_died = 0, datetime.datetime.now(datetime.UTC), -BETWEEN_WORKERS_S

    def look(self, *, at_all: bool) -> None:
        """Look for each write acknowledged since the last look, and if asked for halves in the whole book."""
        with self.hands.guard:
            fresh = self.hands.told[self.looked :]
        now = datetime.datetime.now(datetime.UTC)
        with stored_in(self.book) as stored:
            self._miss(fresh, stored, since=self.since - BACK)
            self.looked, self.since = self.looked + len(fresh), now
            if at_all:
                self.tally.halves += halves(stored, self.world)
        self.tally.acknowledged.update(sending.mark[0] for sending in fresh)

    def last(self) -> None:
        """Look for every write once more, for texts written over, and for pages of the file that do not fit."""
        with stored_in(self.book) as stored:
            self._miss(self.hands.told, stored, since=self.since - datetime.timedelta(days=1))
            for noun, name in (("site", "address"), ("bay", "name"), ("instrument", "name")):
                self.tally.lost += chains(stored, noun, name)
            if not self.book.database_url:
                broken = [row for row in stored.rows("pragma integrity_check") if row != ("ok",)]
                self.tally.halves += map(str, broken + stored.rows("pragma foreign_key_check"))

    def _miss(self, told: list[Sending], stored: Stored, *, since: datetime.datetime) -> None:
        found = Counter(mark for line in stored.lines(since) for mark in line.marks)
        lost = [str(sending.mark) for sending in told if not found[sending.mark]]
        self.tally.lost += [each for each in lost if each not in self.tally.lost]
        many = [str(each.mark) for each in told if each.mark[0] != "adjustment" and found[each.mark] > 1]
        self.tally.doubled += [each for each in many if each not in self.tally.doubled]


def run(
    book: Book,
    *,
    kills: int,
    writes: int,
    seconds: float,
    seed: int = 1,
    long_hands: int = 2,
    until_found: bool = False,
) -> Tally:
    """Write and kill until both counts are reached or the time is over; a control may stop at its first find."""
    tally, rng, began = Tally(), random.Random(seed), time.monotonic()
    with stored_in(book) as stored:
        world = world_rows(stored)
    people = range(HANDS)
    hands = Hands(book, [(long_writes if p < long_hands else short_writes)(book.world, p) for p in people], tally)
    looker = Looker(book, hands, tally, world)
    tally.cold.append(book.start())
    hands.up.set()
    for number in range(1, kills + 1):
        _wait_for(hands, number * writes // kills, began + seconds)
        time.sleep(rng.uniform(0, 0.05))
        _kill(book, hands, looker, tally, number=number, at_all=until_found)
        if time.monotonic() > began + seconds or (until_found and tally.lost + tally.halves):
            break
    hands.close()
    book.kill()
    looker.look(at_all=True)
    looker.last()
    tally.seconds = time.monotonic() - began
    return tally


def _kill(book: Book, hands: Hands, looker: Looker, tally: Tally, *, number: int, at_all: bool) -> None:
    """Kill the process that answers if it is a while since the last one, else all; then serve again."""
    hands.up.clear()
    began = time.monotonic()
    if number % 2 and began - looker.worker_died > BETWEEN_WORKERS_S:
        assert book.server is not None
        book.server.kill_worker()
        book.wait(began + 60)
        looker.worker_died = time.monotonic()
        tally.back_s.append(looker.worker_died - began)
        tally.kills["worker"] += 1
    else:
        book.kill()
        tally.kills["server"] += 1
        looker.look(at_all=number % KILLS_PER_LOOK == 0 or at_all)
        is_cold = number % KILLS_PER_COLD == 0
        (tally.cold if is_cold else tally.warm).append(book.start(warm=not is_cold))
    hands.up.set()


def _wait_for(hands: Hands, count: int, until: float) -> None:
    while len(hands.told) < count and time.monotonic() < until:
        time.sleep(0.01)


def main() -> int:
    """Read the options, run, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=1000)
    parser.add_argument("--writes", type=int, default=100_000)
    parser.add_argument("--minutes", type=float, default=120, help="stop after so long")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, open_book(Path(folder)) as book:
        tally = run(book, kills=asked.kills, writes=asked.writes, seconds=60 * asked.minutes, seed=asked.seed)
    wrong = [*tally.faults, *tally.slow]
    sys.stdout.writelines(f"{line}\n" for line in [*wrong[:20], json.dumps(tally.figures)])
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
