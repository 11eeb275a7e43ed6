"""A Levelbook of one's own for scripts: an empty folder, a database in it, and the real server on a free port."""

import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

PROJECT = Path(__file__).parents[1]


def free_port() -> int:
    """Return a port of this machine that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@contextmanager
def served(folder: str) -> Iterator[str]:
    """Run `manage.py start` on the folder's book and yield its address; stop it at the end."""
    port = free_port()
    command = [sys.executable, "manage.py", "start", "--port", str(port)]
    environment = {**os.environ, "LEVELBOOK_DATA": folder}
    server = subprocess.Popen(command, cwd=PROJECT, env=environment, stdout=subprocess.DEVNULL)
    try:
        base = f"http://127.0.0.1:{port}"
        wait_for(base)
        yield base
    finally:
        server.terminate()
        server.wait(timeout=20)


def wait_for(base: str) -> None:
    """Wait until the server answers, half a minute at most."""
    for _ in range(150):
        try:
            urllib.request.urlopen(base, timeout=1).close()
            return
        except OSError:
            time.sleep(0.2)
    raise SystemExit(f"{base} does not answer")
