"""The short form of `full_disk.py`: nothing half done wherever the disk fails; and that a half is seen."""

from pathlib import Path

import pytest

from tests.harness.books import Book, open_book
from tests.harness.full_disk import PAGE, run

pytestmark = [pytest.mark.long, pytest.mark.one_database]


def test_a_write_that_the_disk_refused_leaves_nothing_and_is_taken_later(tmp_path: Path, first_book: Book) -> None:
    with open_book(tmp_path, like=first_book) as book:
        book.start(warm=True)
        tally = run(book, shorts=2, longs=2, step=12 * PAGE)
    assert tally.wrong == []
    assert tally.writes == 4
    assert set(tally.refused) == {503}
    assert tally.refused[503] > 20


def test_it_sees_a_survey_of_which_a_part_was_stored(tmp_path: Path, first_book: Book) -> None:
    with open_book(tmp_path, like=first_book, fault="without_atomic") as book:
        book.start(warm=True)
        tally = run(book, shorts=0, longs=1, step=12 * PAGE)
    assert any("left something behind" in fault for fault in tally.wrong)
