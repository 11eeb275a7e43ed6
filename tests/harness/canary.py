"""Marks every text and number of one organization, lets everybody else walk, and listens for a mark.

    uv run python tests/harness/canary.py [--short]

Two questions. Is a mark heard in a page, a header, JSON, a mail, a line of a log, or a file? And are the answers to
everybody else the same, byte for byte, when Dune Amusements keeps other texts and numbers? First a leak of each kind is
planted, to see that it is heard. The last line is JSON; the exit code is 1 on a hit, a difference, or a deaf ear.
"""

import argparse
import hashlib
import json
import logging
import re
import sys
from collections import defaultdict
from pathlib import Path
from typing import Any

if __name__ == "__main__":  # run as a file, Django is not ready yet and this folder is on the path
    sys.path[0] = str(Path(__file__).resolve().parents[2])
    from tests.harness.isolation_stage import set_up

    set_up()

from django.core.management import call_command
from django.db import transaction
from django.test.utils import setup_test_environment

from tests import conftest
from tests.harness.isolation_canary import CANARY, Canary, marked_books
from tests.harness.isolation_leaks import LEAKS
from tests.harness.isolation_stage import frozen, say
from tests.harness.isolation_steps import all_steps
from tests.harness.isolation_walk import Answer, Step, Walk
from tests.harness.isolation_world import Identity, TwoBooks

_KEY = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
_SECRET = re.compile(r"/report/[\w-]{40,}/")
_CODE = re.compile(r'<svg class="figure code".*?</svg>', re.DOTALL)


class Ears:
    """Hears each answer twice: the canary for marks, and a fingerprint of what everyone else was told, by request."""

    def __init__(self, canary: Canary) -> None:
        self.canary = canary
        self.told: dict[str, list[str]] = defaultdict(list)
        self.step = ""

    def heard(self, who: Identity, request: str, answer: Answer) -> None:
        """Take one answer in."""
        self.canary.heard(who, request, answer)
        if who.name != CANARY and not self.step.startswith("mail: "):  # there it is a mark itself that is typed
            self.told[self.step].append(hashlib.sha256(_told(answer).encode()).hexdigest())


def _told(answer: Answer) -> str:
    """What an answer says, each key by its place in it: a row that was just made has another one each time, and so has
    the secret of a label, which is made of its key, with the code that shows it."""
    keys: dict[str, str] = {}
    told = _CODE.sub("code", _SECRET.sub("/report/secret/", answer.told()))
    return _KEY.sub(lambda found: keys.setdefault(found.group(), f"key {len(keys)}"), told)


def walked(books: TwoBooks, steps: list[Step], canary: Canary) -> tuple[dict[str, list[str]], int]:
    """Run the steps with both ears open; return the fingerprints, and how many requests there were."""
    ears = Ears(canary)
    walk = Walk(books, heard=ears.heard)
    with canary.listening():
        for step in steps:
            ears.step = f"{step.part}: {step.name}"
            step.run(walk)
    return ears.told, walk.requests


def deaf(books: TwoBooks, canary: Canary) -> list[str]:
    """The planted leaks that nobody heard."""
    missed = []
    for name, leak in LEAKS.items():
        before = len(canary.hits)
        with transaction.atomic(), canary.listening():
            leak(Walk(books, heard=canary.heard), canary)
            transaction.set_rollback(True)
        heard = canary.hits[before:]
        say(f"planted in {name:8} {'heard ' + str(len(heard)) + ' times' if heard else 'NOT HEARD'}")
        missed += [] if heard else [name]
        del canary.hits[before:]
    return missed


def run(asked: Any) -> int:
    """Plant leaks, then walk twice; return the exit code."""
    books, canary = marked_books()
    say(f"{canary.words} texts and {canary.numbers} numbers marked, {len(canary.tokens)} ways in which they show")
    missed = deaf(books, canary)
    canary.looked_at = dict.fromkeys(canary.looked_at, 0)
    steps = all_steps(books, short=asked.short)
    one, requests = walked(books, steps, canary)
    looked_at = dict(canary.looked_at)
    for hit in canary.hits[:40]:
        say(f"  {hit}")
    canary.mark()  # other words and other numbers
    other, _ = walked(books, steps, Canary(canary.organization, set()))
    differ = [name for name in one if one[name] != other.get(name)]
    for name in differ[:40]:
        say(f"  it hangs on what another organization keeps: {name}")
    counts = {"requests": requests, "answers_compared": sum(map(len, one.values())), "looked_at": looked_at}
    marks = {"texts": canary.words, "numbers": canary.numbers, "shown": len(canary.tokens)}
    faults = {"hits": len(canary.hits), "differences": len(differ), "leaks_not_heard": missed}
    say(json.dumps({**counts, "marks": marks, **faults}))
    return bool(canary.hits or differ or missed)


def main() -> int:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    asked = parser.parse_args()
    logging.getLogger("django.request").propagate = True
    call_command("migrate", verbosity=0)
    conftest.pytest_configure()
    setup_test_environment()
    with frozen(), transaction.atomic():
        code = run(asked)
        transaction.set_rollback(True)
    return code


if __name__ == "__main__":
    sys.exit(main())
