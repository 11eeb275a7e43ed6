"""Every address, every method, every kind of person: as the table says, and no address without a row."""

from collections.abc import Iterator

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from tests.collection.access.table import IDENTITIES, ROWS, Row
from tests.worlds import TernTaproom

METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
ABSENT = "00000000-0000-4000-8000-000000000000"


def addresses(resolver: URLResolver | None = None) -> Iterator[str]:
    """Yield the name of every address that the app answers."""
    for entry in (resolver or get_resolver()).url_patterns:
        if isinstance(entry, URLResolver):
            yield from addresses(entry)
        elif isinstance(entry, URLPattern):
            yield entry.name or str(entry.pattern)


def client_for(identity: str, taproom: TernTaproom) -> Client:
    client = Client()
    if identity == "dana":
        client.force_login(taproom.people.dana)
    elif identity != "anonymous":
        client.force_login(getattr(taproom.people, identity).user)
    return client


def test_every_address_has_a_row() -> None:
    assert sorted(set(addresses())) == sorted({row.name for row in ROWS})


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_it_answers_as_the_table_says(row: Row, taproom: TernTaproom) -> None:
    url = row.address(taproom)
    found = {
        method: tuple(client_for(identity, taproom).generic(method, url).status_code for identity in IDENTITIES)
        for method in row.answers
    }
    assert found == row.answers


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_it_refuses_other_methods(row: Row, taproom: TernTaproom) -> None:
    url = row.address(taproom)
    others = [method for method in METHODS if method not in row.answers]
    answers = {method: client_for("alice", taproom).generic(method, url).status_code for method in others}
    assert set(answers.values()) <= {405}, answers


@pytest.mark.parametrize("row", [row for row in ROWS if row.ids], ids=lambda row: row.name)
def test_a_strangers_row_looks_absent(row: Row, taproom: TernTaproom) -> None:
    theirs = row.address(taproom)
    absent = reverse(row.name, kwargs=dict.fromkeys(row.ids, ABSENT))
    charlie = client_for("charlie", taproom)
    for method in row.answers:
        one, other = charlie.generic(method, theirs), charlie.generic(method, absent)
        assert (one.status_code, one.content) == (other.status_code, other.content)
