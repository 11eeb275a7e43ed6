"""The third path of edits: a process of its own that calls the actions, as a command or a task would.

Run by `writers.py`: `python -m tests.harness.tasks NAME WRITES SECONDS`, the world as JSON on its standard input.
There is no queue of tasks yet; once there is one, it calls the same actions.
"""

import json
import os
import random
import sys
import time
import uuid
from dataclasses import asdict
from typing import Any

import django

if __name__ == "__main__":  # run by itself, Django is not ready yet
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "collection.settings")
    django.setup()

from django.db import Error
from django.utils import timezone

from collection import models
from collection.actions import floors, instruments, machines, sites
from collection.actions.record import Author, StaleEdit
from tests.harness.edits import Outcome, Text, next_count, texts_of

TABLES: dict[str, Any] = {
    "site": models.Site, "bay": models.Bay, "instrument": models.Instrument, "machine": models.Machine,
}  # fmt: skip
SITE_FIELDS = ("name", "address", "time_zone", "notes")


def change(by: Author, text: Text, row: Any, says: str) -> None:
    """Call the action that a form would call."""
    how = {"by": by, text.noun: row, "version": row.version}
    if text.noun == "site":
        sites.change_site(**how, **{name: getattr(row, name) for name in SITE_FIELDS} | {text.field: says})
    elif text.noun == "bay":
        floors.change_bay(**how, name=says)
    elif text.noun == "instrument":
        instruments.change_instrument(**how, name=says)
    else:
        machines.change_machine(**how, title=says, code=row.code)


def edit(member: models.Membership, text: Text, who: str, outcome: Outcome) -> None:
    """Count one further, however often someone else is first."""
    while True:
        row = TABLES[text.noun].objects.get(pk=text.row)
        says = next_count(getattr(row, text.field), who)
        try:
            change(Author(member=member, at=timezone.now(), key=uuid.uuid4()), text, row, says)
        except StaleEdit:
            outcome.stale += 1
        except Error as error:
            outcome.wrong.append(f"{type(error).__name__} {error} for {text}")
            return
        else:
            outcome.done.append(text.mark(says))
            return


def main(name: str, writes: int, seconds: float, world: dict[str, Any]) -> Outcome:
    """Write so many times, or for so long."""
    until = time.monotonic() + seconds
    outcome, rng, texts = Outcome(), random.Random(name), texts_of(world)
    member = models.Membership.objects.get(pk=world["people"][0]["member"])
    for number in range(writes):
        if time.monotonic() > until:
            break
        edit(member, rng.choice(texts), f"{name}-{number}", outcome)
    return outcome


if __name__ == "__main__":
    done = main(sys.argv[1], int(sys.argv[2]), float(sys.argv[3]), json.load(sys.stdin))
    sys.stdout.write(json.dumps(asdict(done)))
