"""Every page asks the database at most 15 times, and as often with 1,000 machines as with 10."""

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.collection.access.table import ROWS, Row
from tests.crowd import crowd
from tests.worlds import TernTaproom

MOST = 15
FEW, MANY = 10, 1000


def counts(taproom: TernTaproom, rows: list[Row]) -> dict[str, int]:
    """Return how often each page asks when Alice reads it."""
    client = Client()
    client.force_login(taproom.people.alice.user)
    found = {}
    for row in rows:
        url = row.address(taproom)
        client.get(url)  # the first visit may write the session
        with CaptureQueriesContext(connection) as asked:
            answer = client.get(url)
        assert answer.status_code == row.answers["GET"][-1], row.name
        found[row.name] = len(asked)
    return found


def test_every_page_asks_a_fixed_number_of_times(taproom: TernTaproom) -> None:
    assert taproom.plan.outcome == "plan"
    pages = [row for row in ROWS if row.answers.get("GET", (0,))[-1] == 200]
    assert all(row.address(taproom) for row in pages)  # so that what a world makes when asked is there before any count
    crowd(taproom, FEW)
    few = counts(taproom, pages)
    crowd(taproom, MANY - FEW)
    many = counts(taproom, pages)
    assert len(pages) >= 20
    assert many == few
    assert max(many.values()) <= MOST, many
