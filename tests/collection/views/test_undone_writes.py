"""A write that the database undid for want of room or time is told as one: 503, and that nothing of it is saved."""

import sqlite3
from unittest import mock

import psycopg
import pytest
from django.db import OperationalError
from django.test import Client
from django.urls import reverse

from tests.collection.views.test_sent_twice import SITE
from tests.worlds import TernTaproom

NOTHING_SAVED = "Nothing of what you sent is saved"


def undone_write(name: str) -> OperationalError:
    """What Django raises when SQLite gives this error."""
    cause = sqlite3.OperationalError("planted")
    cause.sqlite_errorname = name
    return _raised(cause)


def _raised(cause: Exception) -> OperationalError:
    error = OperationalError("planted")
    error.__cause__ = cause
    return error


@pytest.fixture
def alice(taproom: TernTaproom) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(taproom.people.alice.user)
    return client


def sent(client: Client, error: Exception, **headers: str) -> tuple[int, str]:
    with mock.patch("collection.actions.sites.add", side_effect=error):
        answer = client.post(reverse("site_new"), SITE, headers=headers)
    return answer.status_code, answer.content.decode()


@pytest.mark.parametrize("name", ["SQLITE_FULL", "SQLITE_IOERR_WRITE", "SQLITE_BUSY", "SQLITE_READONLY"])
def test_sqlite_undid_it(alice: Client, name: str, caplog: pytest.LogCaptureFixture) -> None:
    status, page = sent(alice, undone_write(name))
    assert (status, NOTHING_SAVED in page) == (503, True)
    assert "The database did not take a write: planted" in caplog.text


@pytest.mark.parametrize("error", [psycopg.errors.DiskFull, psycopg.errors.DeadlockDetected])
def test_postgresql_undid_it(alice: Client, error: type[Exception]) -> None:
    status, page = sent(alice, _raised(error("planted")))
    assert (status, NOTHING_SAVED in page) == (503, True)


@pytest.mark.parametrize("error", [undone_write("SQLITE_IOERR_FSYNC"), _raised(psycopg.OperationalError("gone"))])
def test_where_nobody_knows_it_promises_nothing(alice: Client, error: Exception) -> None:
    """A sync failed, or the server of the database went away in the middle."""
    status, page = sent(alice, error)
    assert (status, NOTHING_SAVED in page) == (500, False)


def test_a_device_keeps_what_was_not_taken(alice: Client, taproom: TernTaproom) -> None:
    """It lets go only of what was acknowledged or refused."""
    alice_signs = taproom.people.alice.signature
    assert sent(alice, undone_write("SQLITE_FULL"), **{"X-Keep": alice_signs})[0] == 503
