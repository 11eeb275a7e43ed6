"""The processes of a server that a harness kills: `manage.py start` as it is, or the same with its imports at hand.

A cold start takes most of its time to import. Who wants many kills lets a nursery import once; every server of it is a
fork that then does all that `manage.py start` does: check, migrate, serve.
"""

import os
import signal
import subprocess
import sys
import time
from importlib import import_module
from pathlib import Path

from django.core.management import execute_from_command_line

from collection.management.serving import let_go
from tests.own_server import PROJECT

_TICKS = os.sysconf("SC_CLK_TCK")


def _stat(pid: int) -> list[str]:
    """What the kernel says of a process after its name; nothing once it is gone."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    except OSError:
        return []


class Server:
    """A server that runs: the process that was started, which leads a group of its own, and the one that answers."""

    def __init__(self, pid: int) -> None:
        self.pid = pid

    @property
    def workers(self) -> list[int]:
        """The processes that answer; none before the server is up, or between the death of one and the next."""
        try:
            return [int(pid) for pid in Path(f"/proc/{self.pid}/task/{self.pid}/children").read_text().split()]
        except OSError:
            return []

    @property
    def is_alive(self) -> bool:
        """Whether the process that was started still runs."""
        return _is_alive(self.pid)

    @property
    def processor_s(self) -> float:
        """How much of a processor's time all its processes took."""
        return sum(int(ticks) for pid in (self.pid, *self.workers) for ticks in _stat(pid)[11:13]) / _TICKS

    def kill(self) -> None:
        """Let every process end at once, in the middle of whatever it does, and wait until they are gone."""
        family = (self.pid, *self.workers)
        try:
            os.killpg(self.pid, signal.SIGKILL)
        except ProcessLookupError:
            return
        _wait_until_gone(family)

    def kill_worker(self) -> None:
        """Let the process that answers end at once; the one that was started goes on."""
        for pid in self.workers:
            os.kill(pid, signal.SIGKILL)
            _wait_until_gone((pid,))


def _is_alive(pid: int) -> bool:
    return _stat(pid)[:1] not in ([], ["Z"], ["X"])


def _wait_until_gone(pids: tuple[int, ...]) -> None:
    for _ in range(4000):
        if not any(_is_alive(pid) for pid in pids):
            return
        time.sleep(0.005)
    raise SystemExit(f"{pids} do not end")


class Nursery:
    """A process that has imported the app and forks a server of it whenever it is asked."""

    def __init__(self, environment: dict[str, str], log: Path) -> None:
        with log.open("ab") as file:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "tests.harness.servers"], cwd=PROJECT, env=environment, stderr=file,
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1,
            )  # fmt: skip

    def server(self, port: int) -> Server:
        """Fork a server that listens on a port."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(f"{port}\n")
        return Server(int(self.process.stdout.readline()))

    def close(self) -> None:
        """End it; its servers are ended before."""
        with self.process:  # closes its pipes
            self.process.kill()


def _fork_servers() -> None:
    """Import what a server imports, then fork one for each port that is asked for."""
    fault = os.environ.get("HARNESS_FAULT", "")
    for name in ("collection.wsgi", "collection.urls"):
        import_module(name)
    faults = import_module("tests.harness.faults")
    let_go()  # what the imports opened
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for them: they are killed
    for line in sys.stdin:
        pid = os.fork()
        if pid == 0:
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            os.setsid()
            os.dup2(2, 1)
            if fault:
                faults.serve(int(line))
            else:
                execute_from_command_line(["manage.py", "start", "--port", line.strip()])
            os._exit(0)
        sys.stdout.write(f"{pid}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    _fork_servers()
