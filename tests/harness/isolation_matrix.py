"""The steps of the matrix: every row of the table x every method x nine identities x five kinds of id."""

from tests.collection.access.table import ROWS, Row
from tests.harness.isolation_expected import METHODS, expected
from tests.harness.isolation_walk import Step, Walk
from tests.harness.isolation_world import IDENTITIES, KINDS


def matrix_steps(*, short: bool = False) -> list[Step]:
    """Return a step for each cell. ``short`` asks by methods that a row does not name as two people only."""
    return [
        _cell(row, method, identity, kind)
        for row in ROWS
        for kind in (KINDS if row.keyed else KINDS[:1])
        for method in METHODS
        for identity in IDENTITIES
        if not short or _tells(row, method, identity, kind)
    ]


def _tells(row: Row, method: str, identity: str, kind: str) -> bool:
    """Whether a cell is one of the short form: what a row names, by those to whom a kind of id can tell something."""
    if method not in row.answers:
        return kind == "own" and identity == ("alice" if method in ("HEAD", "PUT", "DELETE") else "anonymous")
    return (
        identity
        in {
            "own": IDENTITIES,
            "other site": ("vera", "walt", "bob"),
            "other organization": ("bob", "vera", "charlie"),
            "absent": ("anonymous",),
            "malformed": ("alice",),
        }[kind]
    )


def _cell(row: Row, method: str, identity: str, kind: str) -> Step:
    def run(walk: Walk) -> list[str]:
        url = walk.books.address(row, kind)
        answer = walk.send(identity, method, url)
        wanted = expected(row, method, identity, kind)
        to_login = wanted == 405 and identity == "anonymous" and "/login/" in answer.headers.get("Location", "")
        faults = [f"{answer.status}, not {wanted}"] if answer.status != wanted and not to_login else []
        faults += answer.faults
        if row.secrets and kind.startswith("other") and wanted != 405:
            own = walk.send(identity, method, walk.books.address(row, "own"))
            return faults + walk.differ(answer, own, *_secrets(walk, row))
        if kind in ("absent", "malformed") or not row.ids or wanted == 405:
            return faults
        if not faults and wanted == expected(row, method, identity, "absent"):
            absent = walk.send(identity, method, walk.books.address(row, "absent"))
            faults += walk.differ(answer, absent, *_keys(walk, row, kind))
        return faults

    return Step("matrix", f"{method} {row.name} as {identity}, {kind} id", run)


def _secrets(walk: Walk, row: Row) -> list[str]:
    places = [walk.books.place(kind) for kind in KINDS if kind not in ("absent", "malformed")]
    return [getattr(place, world) for place in places for world in row.secrets.values()]


def _keys(walk: Walk, row: Row, kind: str) -> list[str]:
    return [str(getattr(walk.books.place(kind), world).pk) for world in row.ids.values()]
