"""The server with a fault planted on purpose, which a harness must find: `python -m tests.harness.faults --port 8001`.

HARNESS_FAULT names the fault. Nothing of it is in the app: each takes the app apart from outside, in its own process.
"""

import argparse
import os
import time
from collections.abc import Callable, Iterable
from typing import Any

import django
from django.conf import settings

if os.environ.get("HARNESS_FAULT"):  # read by nobody but this server, and before Django opens the database
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "collection.settings")
    if os.environ["HARNESS_FAULT"] == "deferred":
        settings.DATABASES["default"]["OPTIONS"] |= {"transaction_mode": "DEFERRED"}
    django.setup()

from django.core.wsgi import get_wsgi_application
from django.db import transaction
from granian import Granian
from granian.constants import Interfaces
from granian.log import LogLevels

from collection.actions import floors, instruments, record, sites, surveys
from collection.management.serving import HOST, THREADS

Application = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]
FAULT = os.environ.get("HARNESS_FAULT", "")
#: For so long a fault leaves its gap open, so that few kills find it.
GAP_S = 0.03


class EarlyAnswer:
    """An answer whose write is committed only after it was sent."""

    def __init__(self, answer: Any, write: transaction.Atomic) -> None:
        self.answer, self.write = answer, write

    def __iter__(self) -> Any:
        return iter(self.answer)

    def close(self) -> None:
        """What a server calls once the answer is on its way."""
        time.sleep(GAP_S)
        self.write.__exit__(None, None, None)
        self.answer.close()


def acknowledging_early(app: Application) -> Application:
    """Answer every POST before its transaction ends."""

    def answer(environ: dict[str, Any], start_response: Callable[..., Any]) -> Any:
        if environ["REQUEST_METHOD"] != "POST":
            return app(environ, start_response)
        write = transaction.atomic()
        write.__enter__()
        return EarlyAnswer(app(environ, start_response), write)

    return answer


def without_atomic() -> None:
    """Take the transaction away from the recording of a survey, which then stops to think in its middle."""
    recorded, kept = surveys.record_survey, surveys._save

    def save_and_think(*arguments: Any) -> None:
        kept(*arguments)
        time.sleep(GAP_S)

    surveys._save = save_and_think
    surveys.record_survey = recorded.__wrapped__  # type: ignore[attr-defined]


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


application: Any = planted(get_wsgi_application()) if FAULT else None

if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--port", type=int)
    Granian(
        "tests.harness.faults:application", address=HOST, port=parser.parse_args().port, interface=Interfaces.WSGI,
        workers=1, blocking_threads=THREADS, log_level=LogLevels.warning,
    ).serve()  # fmt: skip
