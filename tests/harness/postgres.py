"""A PostgreSQL server of a harness's own: in a folder that is gone afterwards, on a free port of this machine."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.own_server import free_port


@contextmanager
def own_postgres() -> Iterator[str]:
    """Yield the address of an empty database, with the full syncs that a real one has."""
    programs = max(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3])).parent
    with tempfile.TemporaryDirectory() as folder:
        os.chmod(folder, 0o711)
        home, port = Path(folder) / "postgres", free_port()
        home.mkdir()
        as_root = os.geteuid() == 0  # the server refuses to run as root
        if as_root:
            shutil.chown(home, "postgres")

        def run(program: str, *arguments: str) -> None:
            command = [*(["runuser", "-u", "postgres", "--"] if as_root else []), str(programs / program), *arguments]
            subprocess.run(command, cwd=home, check=True, stdout=subprocess.DEVNULL)

        run("initdb", "-D", "data", "-U", "postgres", "-A", "trust", "-E", "UTF8")
        options = f"-k {home} -c listen_addresses=127.0.0.1 -p {port}"
        run("pg_ctl", "-D", "data", "-l", "log", "-w", "-o", options, "start")
        try:
            run("createdb", "-h", "127.0.0.1", "-p", str(port), "-U", "postgres", "levelbook")
            yield f"postgresql://postgres@127.0.0.1:{port}/levelbook"
        finally:
            run("pg_ctl", "-D", "data", "-m", "immediate", "-w", "stop")
