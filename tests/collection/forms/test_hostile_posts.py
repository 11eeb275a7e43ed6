"""What is no number, in every number field of every page: 422 with the field, its remedy and what was typed.

The pages themselves say which fields they have, so a new field is tested as soon as a page shows it. What becomes of
each text is for tests/harness/numbers.py.
"""

from html.parser import HTMLParser

import pytest
from django.test import Client

from tests.collection.access.table import ROWS, Row
from tests.worlds import TernTaproom

#: Pages with a form that Alice may fill; a plan's own page holds the forms of its buttons.
PAGES = [row for row in ROWS if row.answers.get("POST", (0,))[-1] == 422 and row.answers.get("GET", (0,))[-1] == 200]


class FormReader(HTMLParser):
    """Collects what a browser would send from the last form of a page, and which of it are number fields."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.sent: dict[str, str] = {}
        self.numbers: set[str] = set()
        self.units: dict[str, str] = {}
        self.select = self.area = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        known = {name: value or "" for name, value in attrs}
        name = known.get("name", "")
        if tag == "select":
            self.select = name
        elif tag == "option" and (self.select not in self.sent or "selected" in known):
            self.sent[self.select] = known.get("value", "")
        elif tag == "textarea":
            self.area, self.sent[name] = name, ""
        elif tag == "input" and (known.get("type") not in ("radio", "checkbox") or "checked" in known):
            self.sent[name] = known.get("value", "on" if known.get("type") == "checkbox" else "")
            if "data-unit" in known:
                self.numbers.add(name)
                self.units[name] = known["data-unit"]

    def handle_data(self, data: str) -> None:
        if self.area:
            self.sent[self.area] += data.removeprefix("\n")

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            self.area = ""


def fields_of(page: str) -> FormReader:
    return FormReader(page)


def pages_with_numbers(client: Client, taproom: TernTaproom) -> dict[str, tuple[Row, FormReader]]:
    found = {}
    for row in PAGES:
        reader = fields_of(client.get(row.address(taproom)).content.decode())
        if reader.numbers:
            found[row.name] = (row, reader)
    return found


@pytest.fixture
def alice(taproom: TernTaproom) -> Client:
    client = Client()
    client.force_login(taproom.people.alice.user)
    return client


def test_a_refused_number_names_its_field_and_is_still_there(alice: Client, taproom: TernTaproom) -> None:
    pages = pages_with_numbers(alice, taproom)
    text = "6;5"
    for name, (row, reader) in pages.items():
        for number in reader.numbers:
            answer = alice.post(row.address(taproom), {**reader.sent, number: text})
            html = answer.content.decode()
            assert answer.status_code == 422, (name, number)
            assert f'id="id_{number}_error"' in html, (name, number)
            assert "Write digits only" in html or "Write a number" in html, (name, number)
            assert f'value="{text}"' in html, (name, number)
