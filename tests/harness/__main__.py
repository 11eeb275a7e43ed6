"""Runs a harness on a book of its own: `uv run python -m tests.harness numbers [--short] [--control]`.

Prints what went wrong, and its counts as JSON in the last line. Ends with 0 if nothing went wrong; with --control,
which plants a fault, if something did.
"""

import argparse
import contextlib
import importlib
import json
import logging
import os
import sys
import tempfile

import django
from django.conf import settings
from django.core.management import call_command

HARNESSES = ("numbers", "texts")


def main() -> None:
    """Run the one that is named."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("name", choices=HARNESSES)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--control", action="store_true")
    told = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ.update(LEVELBOOK_DATA=folder, DJANGO_SETTINGS_MODULE="collection.settings")
        django.setup()
        logging.disable()  # that a form was refused is what we came for
        settings.ALLOWED_HOSTS = ["*"]
        settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
        call_command("migrate", verbosity=0)
        harness = importlib.import_module(f"tests.harness.{told.name}")
        with harness.control() if told.control else contextlib.nullcontext():
            found = harness.run(importlib.import_module("tests.worlds").tern_taproom(), short=told.short)
    for where, text, kind in found.pop("wrong"):
        sys.stdout.write(f"{kind}: {text[:60]!a} in {where}\n")
    sys.stdout.write(json.dumps(found) + "\n")
    is_right = not any(found[name] for name in ("silent_changes", "answers_of_500", "other", "uncovered"))
    sys.exit(0 if is_right != told.control else 1)


if __name__ == "__main__":
    main()
