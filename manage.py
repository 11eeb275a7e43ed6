#!/usr/bin/env python
"""Levelbook's commands: `uv run manage.py start` serves it, `uv run manage.py demo` shows it."""

import os
import sys
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured
from django.core.management import execute_from_command_line

DEMO_FOLDER = Path(__file__).resolve().parent / "var" / "demo"

if __name__ == "__main__":
    if sys.argv[1:2] == ["demo"]:  # the demo keeps a book of its own, beside nobody's work
        os.environ.setdefault("LEVELBOOK_DATA", str(DEMO_FOLDER))
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "collection.settings")
    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as broken:  # its words hold the remedy; where in the code it was seen helps nobody
        sys.exit(f"Levelbook does not start. {broken}")
