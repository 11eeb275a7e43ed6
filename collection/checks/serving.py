"""What a server asks before it serves: everything of ours, that no migration waits, and whether it is alone."""

import logging

from django.conf import settings
from django.core import checks
from django.core.checks import CheckMessage, Error, run_checks
from django.core.exceptions import ImproperlyConfigured
from django.core.management.base import CommandError
from django.db import connections

from collection.checks.public import OURS
from collection.queries.health import pending
from collection.server import processes, take_place

log = logging.getLogger("levelbook.start")


def stop_if_broken() -> None:
    """Stop a command with each remedy if this set-up is broken; what waits for a migration is not looked at yet."""
    if errors := _errors(run_checks(databases=["default"])):
        raise CommandError("\n".join(_words(fault) for fault in errors))


def refuse_broken() -> None:
    """Raise with each remedy if this process would serve broken, and log what it should be warned of."""
    found = run_checks(tags=[OURS], databases=["default"])
    if not _errors(found):
        found += _faults_of_tables()
    if errors := _errors(found):
        raise ImproperlyConfigured(" ".join(_words(fault) for fault in errors))
    take_place(settings.DATA_DIR)
    for fault in (*found, *_faults_of_processes()):
        if fault.level >= logging.WARNING:
            log.warning(_words(fault))
    connections.close_all()  # the threads that serve open their own


def _faults_of_tables() -> list[CheckMessage]:
    if not (waiting := pending()):
        return []
    names = ", ".join(waiting)
    return [Error(f"Migrations wait: {names}.", hint="Back up, then run manage.py migrate.", id="levelbook.E008")]


def _faults_of_processes() -> list[CheckMessage]:
    count = processes(settings.DATA_DIR)
    if count is None or count < 2 or not settings.CACHES["default"]["BACKEND"].endswith("LocMemCache"):
        return []
    return [
        checks.Warning(
            f"{count} processes serve this data folder, and each counts wrong passwords for itself alone.",
            hint="Serve with one process, as manage.py start does; its threads share the work.",
            id="levelbook.W009",
        )
    ]


def _errors(found: list[CheckMessage]) -> list[CheckMessage]:
    return [fault for fault in found if fault.is_serious()]


def _words(fault: CheckMessage) -> str:
    return f"{fault.msg} {fault.hint or ''} ({fault.id})"
