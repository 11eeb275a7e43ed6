"""The short form of `kills.py`: 50 kills, nothing lost, nothing halved; and that both are seen where they are."""

from pathlib import Path

import pytest

from tests.harness.books import Book, open_book
from tests.harness.kills import HANDS, run

pytestmark = [pytest.mark.long, pytest.mark.one_database]


def test_nothing_acknowledged_is_lost_and_nothing_halved_by_50_kills(tmp_path: Path, first_book: Book) -> None:
    with open_book(tmp_path, like=first_book) as book:
        tally = run(book, kills=50, writes=1000, seconds=500)
    assert tally.faults == []
    assert sum(tally.kills.values()) == 50
    assert sum(tally.acknowledged.values()) >= 1000
    assert {"site", "bay", "instrument", "survey", "plan", "adjustment"} <= set(tally.acknowledged)
    assert tally.sent_again
    assert tally.back_s, "the process that answers was never killed alone"


def test_it_sees_writes_that_were_acknowledged_before_they_were_stored(tmp_path: Path, first_book: Book) -> None:
    with open_book(tmp_path, like=first_book, fault="early") as book:
        tally = run(book, kills=20, writes=200, seconds=120, until_found=True)
    assert tally.lost


def test_it_sees_surveys_whose_parts_were_stored_one_by_one(tmp_path: Path, first_book: Book) -> None:
    with open_book(tmp_path, like=first_book, fault="without_atomic") as book:
        tally = run(book, kills=20, writes=200, seconds=120, long_hands=HANDS, until_found=True)
    assert tally.halves
