"""What the server stands on: the disk and the file system under a folder, and the processes that serve from it."""

import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import IO

from collection.environment import LOOPBACK

try:
    import fcntl
except ImportError:  # no locks of this kind on this system: the processes cannot be counted
    fcntl = None  # type: ignore[assignment]

#: File systems that are reached over a network: their locks do not keep SQLite safe.
NETWORK = frozenset({
    "afs", "beegfs", "ceph", "cifs", "fuse.ceph", "fuse.glusterfs", "fuse.s3fs", "fuse.sshfs", "glusterfs", "gpfs",
    "lustre", "ncpfs", "nfs", "nfs4", "smb3", "smbfs",
})  # fmt: skip
MOUNTS = Path("/proc/mounts")
#: More processes than anyone serves a book with.
MOST = 64

_places: list[IO[str]] = []


def public_names(hosts: Iterable[str]) -> list[str]:
    """Return the names that others than this very machine may ask for."""
    return sorted(set(hosts) - set(LOOPBACK))


def free_bytes(folder: Path) -> int:
    """Return how much room the disk under a folder still has for this account."""
    return shutil.disk_usage(folder).free


def file_system(path: Path, mounts: str | None = None) -> str:
    """Return the kind of file system under a path, or "" where the system does not tell."""
    if mounts is None:
        mounts = MOUNTS.read_text() if MOUNTS.exists() else ""
    under = {path.resolve(), *path.resolve().parents}
    kinds = [(len(place.parts), kind) for place, kind in map(_mount, mounts.splitlines()) if place in under]
    # The longest place is the nearest; of two at one place, the later one lies on top.
    return max(enumerate(kinds), key=lambda found: (found[1][0], found[0]), default=(0, (0, "")))[1][1]


def _mount(line: str) -> tuple[Path, str]:
    _, place, kind, *_ = line.split(" ")
    return Path(place.replace("\\040", " ")), kind


def take_place(folder: Path) -> None:
    """Take a place among the processes that serve from a folder, until this process ends."""
    if fcntl is None:
        return
    for number in range(MOST):
        place = _place(folder, number).open("a")
        if _locked(place):
            _places.append(place)  # closing it would give the place away
            return
        place.close()


def processes(folder: Path) -> int | None:
    """Return how many processes serve from a folder now, or None where the system does not tell."""
    if fcntl is None:
        return None
    taken = 0
    for number in range(MOST):
        path = _place(folder, number)
        if not path.exists():
            break
        with path.open("a") as place:
            taken += not _locked(place)
    return taken


def _place(folder: Path, number: int) -> Path:
    return folder / f"serving.{number}.lock"


def _locked(place: IO[str]) -> bool:
    try:
        fcntl.flock(place, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
