"""Tries every address x method x identity x kind of key, and watches what each request asks the database.

    uv run python tests/harness/matrix.py [--short] [--part matrix|bodies|queries|sendings]

Prints the counts, each deviation, and on a seeded fault of each kind that it would have been found. The last line is
JSON; the exit code is 1 if anything deviates or a seeded fault is missed.
"""

import argparse
import json
import logging
import sys
import time
from collections import Counter
from pathlib import Path

if __name__ == "__main__":  # run as a file, Django is not ready yet and this folder is on the path
    sys.path[0] = str(Path(__file__).resolve().parents[2])
    from tests.harness.isolation_stage import set_up

    set_up()

from django.core.management import call_command
from django.db import transaction
from django.test.utils import setup_test_environment

from tests import conftest
from tests.harness.isolation_stage import frozen, say
from tests.harness.isolation_steps import all_steps
from tests.harness.isolation_walk import Walk, faults_of
from tests.harness.isolation_world import two_books


def run(*, short: bool, part: str) -> int:
    """Run the walk in a book of its own; return the exit code."""
    began = time.perf_counter()
    books = two_books()
    steps = [step for step in all_steps(books, short=short) if part in ("", step.part)]
    walk = Walk(books)
    say(f"world built in {time.perf_counter() - began:.1f} s; {len(steps)} steps")
    faults = []
    for name in dict.fromkeys(step.part for step in steps):
        began, before = time.perf_counter(), walk.requests
        found = faults_of(walk, [step for step in steps if step.part == name])
        faults += found
        count = sum(step.part == name for step in steps)
        took = time.perf_counter() - began
        say(f"{name:10} {count:6} steps {walk.requests - before:6} requests {len(found):4} deviations {took:6.1f} s")
    for fault in faults[:60]:
        say(f"  {fault}")
    counts = Counter(step.part for step in steps)
    say(json.dumps({"steps": counts, "requests": walk.requests, "scopes": walk.scopes, "deviations": len(faults)}))
    return bool(faults)


def main() -> int:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--part", default="")
    asked = parser.parse_args()
    logging.disable(logging.CRITICAL)
    call_command("migrate", verbosity=0)
    conftest.pytest_configure()
    setup_test_environment()
    with frozen(), transaction.atomic():
        code = run(short=asked.short, part=asked.part)
        transaction.set_rollback(True)
    return code


if __name__ == "__main__":
    sys.exit(main())
