#!/usr/bin/env python
"""Levelbook's commands: `uv run manage.py start` serves it, `uv run manage.py demo` shows it."""

import os
import sys

from django.core.management import execute_from_command_line

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "collection.settings")
    execute_from_command_line(sys.argv)
