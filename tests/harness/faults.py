"""The server with a fault planted on purpose, which a harness must find: `python -m tests.harness.faults --port 8001`.

HARNESS_FAULT names the fault. Nothing of it is in the app: each takes the app apart from outside, in its own process.
"""

import argparse
import os
import threading
import time
from collections.abc import Callable, Iterable
from queue import Queue
from typing import Any

import django
from django.conf import settings

if os.environ.get("HARNESS_FAULT"):  # read by nobody but this server, and before Django opens the database
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "collection.settings")
    if os.environ["HARNESS_FAULT"] == "deferred":
        settings.DATABASES["default"]["OPTIONS"] |= {"transaction_mode": "DEFERRED"}
    django.setup()

from django.core.signals import request_finished, request_started
from django.db import close_old_connections, connections, transaction
from granian import Granian
from granian.constants import Interfaces
from granian.log import LogLevels

from collection.actions import floors, instruments, record, sites, surveys
from collection.handlers import Handler
from collection.management.serving import HOST, THREADS
from collection.models import Reading

Application = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]
FAULT = os.environ.get("HARNESS_FAULT", "")
#: For so long a fault leaves its gap open, so that few kills find it.
GAP_S = 0.03


def acknowledging_early(app: Application) -> Application:
    """Answer every POST before its transaction ends: that is left to a thread of its own."""
    for signal in (request_started, request_finished):  # they would close a connection with an open transaction
        signal.disconnect(close_old_connections)

    def answer(environ: dict[str, Any], start_response: Callable[..., Any]) -> Any:
        if environ["REQUEST_METHOD"] != "POST":
            return app(environ, start_response)
        told: Queue[list[bytes] | None] = Queue()
        threading.Thread(target=_write_late, args=(app, environ, start_response, told)).start()
        return told.get() or []

    return answer


def _write_late(app: Application, environ: Any, start_response: Any, told: Queue[Any]) -> None:
    try:
        with transaction.atomic():
            told.put(list(app(environ, start_response)))
            time.sleep(GAP_S)
    finally:
        told.put(None)
        connections["default"].close()


def without_atomic() -> None:
    """Take the transaction away from the recording of a survey, which then stops to think in its middle."""
    readings = Reading._default_manager
    kept = readings.bulk_create

    def think_and_save(rows: Any) -> Any:
        time.sleep(GAP_S)
        return kept(rows)

    readings.bulk_create = think_and_save  # type: ignore[method-assign]
    surveys.record_survey = surveys.record_survey.__wrapped__  # type: ignore[attr-defined]


def get_then_save() -> None:
    """Change rows without asking whether someone else was first."""

    def change(by: record.Author, row: Any, *, version: int, **fields: Any) -> Any:
        row.refresh_from_db()
        old = {name: getattr(row, name) for name in fields if getattr(row, name) != fields[name]}
        for name, value in fields.items():
            setattr(row, name, value)
        row.version += 1
        row.save()
        record.note(by, row, "changed", old=old, new={name: fields[name] for name in old})
        return row

    for actions in (sites, floors, instruments):
        actions.change = change  # type: ignore[attr-defined]


def planted(app: Application) -> Application:
    """Plant the fault that was asked for and return what serves."""
    if FAULT == "without_atomic":
        without_atomic()
    if FAULT == "get_then_save":
        get_then_save()
    return acknowledging_early(app) if FAULT == "early" else app


#: Planted once, by the process that answers.
application: Any = planted(Handler()) if FAULT and __name__ != "__main__" else None


def serve(port: int) -> None:
    """Serve as `manage.py start` does, with the fault."""
    Granian(
        "tests.harness.faults:application", address=HOST, port=port, interface=Interfaces.WSGI, workers=1,
        blocking_threads=THREADS, log_level=LogLevels.warning, respawn_failed_workers=True,
    ).serve()  # fmt: skip


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--port", type=int)
    serve(parser.parse_args().port)
