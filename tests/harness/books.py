"""A book of a harness's own: a database with a world in it, and the real server on it, which can be killed."""

import json
import os
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.harness.senders import Sender
from tests.harness.servers import Nursery, Server
from tests.own_server import PROJECT, free_port

#: How many write, and on how many machines.
PEOPLE, MACHINES = 18, 36
#: The server as people start it. A seeded fault is served by `faults.py` in its stead.
REAL, FAULTY = ("manage.py", "start"), ("-m", "tests.harness.faults")


@dataclass(frozen=True)
class Start:
    """How long a start took by the clock, and how much of that a processor worked for it."""

    seconds: float
    processor_s: float


class Book:
    """A folder with a database, its world, and the server: one process group, which dies as a whole when killed."""

    def __init__(self, folder: Path, *, database_url: str = "", fault: str = "", like: "Book | None" = None) -> None:
        """``like`` is a book whose world is copied, in place of building one; its server has never run."""
        self.folder, self.database_url, self.fault = folder, database_url, fault
        self.port = free_port()
        self.server: Server | None = None
        self.nursery: Nursery | None = None
        self.senders: list[Sender] = []
        self.world: dict[str, Any] = like.world if like else self._built()
        if like:
            shutil.copytree(like.folder, folder, dirs_exist_ok=True)

    @property
    def environment(self) -> dict[str, str]:
        """The environment of every process of this book: nothing that someone set for a server of their own."""
        kept = {name: value for name, value in os.environ.items() if not name.startswith(("LEVELBOOK_", "DATABASE_"))}
        ours = {"LEVELBOOK_DATA": str(self.folder), "DJANGO_SETTINGS_MODULE": "collection.settings"}
        url = {"DATABASE_URL": self.database_url} if self.database_url else {}
        return {**kept, **ours, **url, "HARNESS_FAULT": self.fault, "PYTHONUNBUFFERED": "1"}

    @property
    def log(self) -> Path:
        """What the server wrote in the terminal, over all its starts."""
        return self.folder / "server.log"

    def run(self, module: str, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run a module of ours on this book to its end."""
        command = [sys.executable, "-m", module, *arguments]
        done = subprocess.run(command, cwd=PROJECT, env=self.environment, capture_output=True, text=True)
        if done.returncode:
            raise SystemExit(f"{module} failed:\n{done.stderr[-2000:]}")
        return done

    def sender(self, place: int) -> Sender:
        """The browser of one person of this world."""
        person = self.world["people"][place]
        self.senders.append(Sender(self.port, person["session"], person["signature"]))
        return self.senders[-1]

    def start(self, *, warm: bool = False, patience_s: float = 120) -> Start:
        """Start the server and wait until it answers a signed-in person with a page; ``warm`` has its imports ready."""
        began = time.monotonic()
        self.server = self._nursed() if warm else self._started()
        self.wait(began + patience_s)
        return Start(time.monotonic() - began, self.server.processor_s)

    def wait(self, until: float) -> None:
        """Wait until the server answers."""
        with closing(self.sender(0)) as sender:
            while time.monotonic() < until and self.server is not None and self.server.is_alive:
                if sender.answers("/sites/"):
                    return
                time.sleep(0.01)
        self.kill()
        raise SystemExit(f"The server does not answer:\n{self.log.read_text()[-2000:]}")

    def kill(self) -> None:
        """Let every process of the server end at once, in the middle of whatever it does."""
        if self.server is not None:
            self.server.kill()
            self.server = None

    def close(self) -> None:
        """Leave no process and no connection behind."""
        self.kill()
        for sender in self.senders:
            sender.close()
        if self.nursery is not None:
            self.nursery.close()

    def _built(self) -> dict[str, Any]:
        made = self.run("tests.harness.world", str(PEOPLE), str(MACHINES))
        world: dict[str, Any] = json.loads(made.stdout.splitlines()[-1])
        return world

    def _started(self) -> Server:
        how = FAULTY if self.fault else REAL
        command = [sys.executable, *how, "--port", str(self.port)]
        with self.log.open("ab") as log:
            process = subprocess.Popen(
                command, cwd=PROJECT, env=self.environment, stdout=log, stderr=log, start_new_session=True
            )
        threading.Thread(target=process.wait, daemon=True).start()  # so that none stays behind as a zombie
        return Server(process.pid)

    def _nursed(self) -> Server:
        self.nursery = self.nursery or Nursery(self.environment, self.log)
        return self.nursery.server(self.port)


@contextmanager
def open_book(folder: Path, **how: Any) -> Iterator[Book]:
    """A book whose server does not outlive the block."""
    book = Book(folder, **how)
    try:
        yield book
    finally:
        book.close()
