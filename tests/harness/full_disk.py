"""Lets the N-th write to the disk fail, for every N: `uv run python -m tests.harness.full_disk`.

The real server may write files up to a limit only, which grows step by step: the first page of the journal fails, the
second, ... , a page of the database in the middle of a commit, the last one. With `--disk` the disk is really full, to
the last page, the last but one, and so on. Each time the answer must say that nothing
is saved, nothing may be stored, and once the limit is lifted the same server must take the same write.
Prints its counts, JSON last; ends with 1 if anything else happened.
"""

import argparse
import json
import os
import resource
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import django

if __name__ == "__main__":  # run by itself, Django is not ready yet
    DATA = tempfile.TemporaryDirectory()
    os.environ |= {"LEVELBOOK_DATA": DATA.name, "DJANGO_SETTINGS_MODULE": "collection.settings"}
    django.setup()

from tests.harness.books import Book, open_book
from tests.harness.senders import Sender
from tests.harness.stored import halves, stored_in, world_rows
from tests.harness.work import Sending, long_writes, short_writes

PAGE = 4096
Limit = Callable[[Book, int | None], None]
#: What the page of a write that the disk refused must say.
NOTHING_SAVED = "Nothing of what you sent is saved"


@dataclass
class Tally:
    """What happened."""

    refused: Counter[int] = field(default_factory=Counter)
    writes: int = 0
    wrong: list[str] = field(default_factory=list)
    seconds: float = 0

    @property
    def figures(self) -> dict[str, Any]:
        """The counts, for the last line."""
        counts = {"failed_writes": sum(self.refused.values()), "answers": dict(self.refused), "kinds": self.writes}
        return {**counts, "wrong": len(self.wrong), "seconds": round(self.seconds, 1)}


def limit_files(book: Book, most_bytes: int | None) -> None:
    """Let no file of the server grow beyond so many bytes; None lifts the limit."""
    assert book.server is not None
    unlimited = resource.RLIM_INFINITY
    most = unlimited if most_bytes is None else most_bytes
    for pid in book.server.workers:
        resource.prlimit(pid, resource.RLIMIT_FSIZE, (most, unlimited))


def fill_disk(book: Book, left_bytes: int | None) -> None:
    """Leave so much room on the disk that the book lies on; None gives it all back."""
    ballast = book.folder / "ballast"
    ballast.unlink(missing_ok=True)
    if left_bytes is not None:
        room = os.statvfs(book.folder)
        ballast.write_bytes(bytes(max(room.f_bavail * room.f_frsize - left_bytes, 0)))


def everything(book: Book) -> dict[str, list[Any]]:
    """All rows of all tables of ours."""
    with stored_in(book) as stored:
        names = stored.rows("select name from sqlite_master where type = 'table' and name like 'collection%'")
        return {name: stored.rows(f"select * from {name} order by 1") for (name,) in names}


def run(book: Book, *, shorts: int, longs: int, step: int = PAGE, limit: Limit = limit_files) -> Tally:
    """Let each of some short and long writes meet every limit until it fits."""
    tally, began, sender = Tally(), time.monotonic(), book.sender(0)
    with stored_in(book) as stored:
        world = world_rows(stored)
    for worker, kinds in ((short_writes(book.world, 0), shorts), (long_writes(book.world, 0), longs)):
        sending = next(worker)
        for _ in range(kinds):
            _until_it_fits(book, sender, sending, tally, step, limit)
            answer = sender.post(sending.path, sending.data)
            if not answer.is_done:
                tally.wrong.append(f"{answer.status} to {sending.path} sent again with room")
            tally.writes += 1
            sending = worker.send(answer)
    with stored_in(book) as stored:
        tally.wrong += halves(stored, world)
        marks = [mark for line in stored.lines() for mark in line.marks]
    tally.wrong += [f"{mark} is there twice" for mark, many in Counter(marks).items() if many > 1 and mark[2] != "lift"]
    tally.seconds = time.monotonic() - began
    return tally


def _until_it_fits(book: Book, sender: Sender, sending: Sending, tally: Tally, step: int, limit: Limit) -> None:
    before = everything(book)
    size = (book.folder / "levelbook.sqlite3").stat().st_size
    for most_bytes in range(0, size + 64 * PAGE, step):
        limit(book, most_bytes)
        answer = sender.post(sending.path, sending.data)
        limit(book, None)
        if answer.is_done:
            return
        tally.refused[answer.status] += 1
        if NOTHING_SAVED not in answer.body:
            tally.wrong.append(f"{answer.status} to {sending.path} with {most_bytes} bytes does not say what is saved")
        if everything(book) != before:
            tally.wrong.append(f"{sending.path} with {most_bytes} bytes left something behind")
            before = everything(book)
        if sender.get("/sites/").status != 200:
            tally.wrong.append(f"after {sending.path} with {most_bytes} bytes no page is answered")


def main() -> int:
    """Read the options, run, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--shorts", type=int, default=10)
    parser.add_argument("--longs", type=int, default=8)
    parser.add_argument("--disk", help="a folder on a disk of a few megabytes, to fill up instead")
    asked = parser.parse_args()
    limit = fill_disk if asked.disk else limit_files
    with tempfile.TemporaryDirectory(dir=asked.disk) as folder, open_book(Path(folder)) as book:
        book.start()
        tally = run(book, shorts=asked.shorts, longs=asked.longs, limit=limit)
    sys.stdout.writelines(f"{line}\n" for line in [*tally.wrong[:20], json.dumps(tally.figures)])
    return 1 if tally.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
