"""Sets the stage for a harness that runs as a script: a book of its own in a folder, and a clock that stands."""

import datetime
import os
import sys
import tempfile

import django
import time_machine

#: Twenty minutes after the rows of the worlds were made, so that a fresh survey is still fresh.
NOW = datetime.datetime(2026, 5, 4, 12, 20, tzinfo=datetime.UTC)
#: Gone when the script ends.
FOLDER = tempfile.TemporaryDirectory(prefix="levelbook-harness-", ignore_cleanup_errors=True)


def set_up() -> None:
    """Make Django ready for a script: before anything that needs our tables is imported."""
    for name in [name for name in os.environ if name.startswith("LEVELBOOK_")] + ["DATABASE_URL"]:
        os.environ.pop(name, None)
    os.environ.update(LEVELBOOK_DATA=FOLDER.name, DJANGO_SETTINGS_MODULE="collection.settings")
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # a process with threads cannot be forked safely
    django.setup()


def frozen() -> time_machine.travel:
    """The clock of every harness: it stands, so that two answers differ by what they tell alone."""
    return time_machine.travel(NOW, tick=False)


def say(text: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()
