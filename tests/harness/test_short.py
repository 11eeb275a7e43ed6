"""The short form of the harnesses of numbers and texts: nothing goes wrong, and what is planted is found.

The controls send fewer of the texts: they have to find faults, not each of them.
"""

from typing import Any
from unittest import mock

import pytest

from tests.harness import numbers, texts
from tests.harness.number_values import PLAIN, TURNS
from tests.harness.text_values import TEXTS
from tests.worlds import TernTaproom


def faults(found: dict[str, Any]) -> dict[str, Any]:
    names = ("silent_changes", "answers_of_500", "other", "uncovered")
    return {name: (found[name], found["wrong"]) for name in names if found[name]}


@pytest.mark.long
def test_no_number_is_changed_in_silence(taproom: TernTaproom) -> None:
    found = numbers.run(taproom, short=True)
    assert faults(found) == {}
    assert found["stored"] > 50
    assert found["refused"] > 300


@pytest.mark.one_database
def test_numbers_read_by_another_reader_are_found(taproom: TernTaproom) -> None:
    with mock.patch.object(numbers, "EACH", 2 * numbers.EACH), numbers.control():
        assert numbers.run(taproom, short=True)["silent_changes"] > 10


@pytest.mark.long
def test_no_text_is_changed_in_silence(taproom: TernTaproom) -> None:
    found = texts.run(taproom, short=True)
    assert faults(found) == {}
    assert found["kept_and_shown"] > 50
    assert found["refused"] > 50


@pytest.mark.one_database
def test_texts_read_by_another_reader_are_found(taproom: TernTaproom) -> None:
    with mock.patch.object(texts, "EACH", 3 * texts.EACH), texts.control():
        assert texts.run(taproom, short=True)["silent_changes"] > 10


def test_the_lists_are_long_enough() -> None:
    assert len({**PLAIN, **TURNS}) >= 60
    assert len(TEXTS) >= 45
