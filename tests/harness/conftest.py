"""A book that is built once; each test of durability works on a copy."""

import pytest

from tests.harness.books import Book


@pytest.fixture(scope="session")
def first_book(tmp_path_factory: pytest.TempPathFactory) -> Book:
    """A book with its world, whose server never runs."""
    return Book(tmp_path_factory.mktemp("book"))
