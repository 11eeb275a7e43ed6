"""Edits two books at random, then folds their history and compares it with the rows as they stand.

`uv run python tests/harness/replay.py 2000` does so many edits that leave a line, on a database of its own, or on the
empty one that DATABASE_URL names; `--seed` for other ones. The last line is JSON; it ends with 1 if anything differs.
"""

import argparse
import json
import logging
import os
import random
import sys
import tempfile
import time
import uuid
from collections import Counter
from pathlib import Path
from typing import Any

if __name__ == "__main__":  # run as a file, this folder is on the path, and its numbers.py before Python's own
    sys.path[0] = str(Path(__file__).resolve().parents[2])

import django

if __name__ == "__main__":  # nor is Django ready yet
    DATA = tempfile.TemporaryDirectory()
    os.environ.update(LEVELBOOK_DATA=DATA.name, DJANGO_SETTINGS_MODULE="collection.settings")
    django.setup()

from django.core.management import call_command
from django.test.utils import setup_test_environment
from django.utils import timezone

from collection.actions.people import create_user, found_organization
from tests.harness.editing import Editor
from tests.harness.folding import differences, lines_of, present

SEED = 20_261_129
#: So many tries may come to nothing for each edit that is wanted, before something must be wrong.
MOST_TRIES = 20


def books(rng: random.Random, count: int = 2) -> list[Editor]:
    """Start books of an owner each: two, so that the history of one must not tell the other's."""
    made = []
    for number in range(count):
        user = create_user(email=f"owner{number}.{rng.randrange(10**9)}@example.org")
        member = found_organization(user=user, name=f"Saltmarsh Route {number}", at=timezone.now(), key=uuid.uuid4())
        made.append(Editor(member, rng))
        made[-1].begin()
    return made


def edited(count: int, seed: int = SEED) -> list[Editor]:
    """Make so many edits that leave a line, in two books, and return those who made them."""
    rng = random.Random(seed)
    editors = books(rng)
    for _ in range(count * MOST_TRIES):
        if sum(sum(editor.saved.values()) for editor in editors) >= count:
            return editors
        rng.choice(editors).edit()
    raise AssertionError(f"too few edits are saved: {[editor.refused for editor in editors]}")


def report(editors: list[Editor]) -> dict[str, Any]:
    """Return the counts: edits by path, lines, rows by noun, and what differs."""
    saved: Counter[str] = sum((editor.saved for editor in editors), Counter())
    refused: Counter[str] = sum((editor.refused for editor in editors), Counter())
    rows: Counter[str] = Counter()
    for editor in editors:
        rows.update({noun: len(found) for noun, found in present(editor.member.organization).items()})
    return {
        "edits": sum(saved.values()),
        "by_path": dict(saved),
        "refused": sum(refused.values()),
        "stale": sum(count for words, count in refused.items() if words.endswith("409")),
        "lines": sum(len(lines_of(editor.member.organization)) for editor in editors),
        "rows": dict(sorted(rows.items())),
        "differences": sum(len(differences(editor.member.organization)) for editor in editors),
    }


def main() -> int:
    """Run as the command line says, and print what was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("edits", type=int, nargs="?", default=2000)
    parser.add_argument("--seed", type=int, default=SEED)
    asked = parser.parse_args()
    setup_test_environment()
    logging.disable(logging.WARNING)  # what is refused is counted
    call_command("migrate", verbosity=0)
    started = time.monotonic()
    editors = edited(asked.edits, asked.seed)
    lines = [words for editor in editors for words in differences(editor.member.organization)[:20]]
    found = report(editors) | {"seed": asked.seed, "seconds": round(time.monotonic() - started, 1)}
    sys.stdout.write("\n".join([*lines, json.dumps(found)]) + "\n")
    return 1 if found["differences"] else 0


if __name__ == "__main__":
    sys.exit(main())
