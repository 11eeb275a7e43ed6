"""Every text of number_values.py in every number field of every form: refused by name, or stored as it is meant.

`uv run python -m tests.harness numbers [--short] [--control]`. The control puts Django's own FloatField in the place of
ours: then silent changes must be found, or this could not find any.
"""

import contextlib
from collections import Counter
from collections.abc import Iterator
from typing import Any
from unittest import mock

from django import forms
from django.db import transaction
from django.test import Client

from collection.forms.fields import NumberField
from collection.forms.surveys_readings import ShownField
from tests.collection.access.table import ROWS
from tests.collection.forms.test_hostile_posts import PAGES, fields_of
from tests.harness.filled import ASKED, FILLED, Filled, is_named
from tests.harness.number_values import FRACTION, PLAIN, TURNS
from tests.worlds import TernTaproom

#: In the short form each field gets every so many of the texts, each time others.
EACH = 20


def meaning(text: str, unit: str) -> float | str:
    """What a text means in a field, or why it is refused there."""
    if unit == "turns":
        return {**PLAIN, **TURNS}[text]
    return PLAIN.get(text, FRACTION)


def outcome(
    client: Client, world: TernTaproom, page: Filled, body: dict[str, str], name: str, meant: float | str
) -> str:
    """Send one text in one field and say what became of it; nothing of it stays."""
    with _undone():
        answer = client.post(page.address(world), body)
        if answer.status_code >= 500:
            return "500"
        if answer.status_code == 422:
            named = isinstance(meant, float) or is_named(answer.content.decode(), name)
            return ("refused" if isinstance(meant, str) else "refused here") if named else "not named"
        if answer.status_code != 302:
            return f"status {answer.status_code}"
        if isinstance(meant, str):
            return "silent"
        stored = page.numbers[name](world)
    return "stored" if stored is not None and abs(stored - meant) <= 1e-12 * max(1, abs(meant)) else "silent"


def tries(client: Client, world: TernTaproom, each: int) -> Iterator[tuple[str, str, str]]:
    """Yield page and field, text, and what became of it."""
    texts, turn = list({**PLAIN, **TURNS}), 0
    for page in FILLED:
        if not page.numbers:
            continue
        units = fields_of(client.get(page.address(world, page.shown)).content.decode()).units
        body = page.body(client, world)
        for name in page.numbers:
            for text in texts[turn % each :: each]:
                found = outcome(client, world, page, body | {name: text}, name, meaning(text, units.get(name, "")))
                yield f"{page.page}{page.query} {name}", text, found
            turn += 1


def asked(client: Client, world: TernTaproom, each: int) -> Iterator[tuple[str, str, str]]:
    """Yield the same of pages that are asked in their address."""
    addresses = {row.name: row.address(world) for row in ROWS if row.name in ASKED}
    for name, address in addresses.items():
        reader = fields_of(client.get(address).content.decode())
        for turn, number in enumerate(sorted(reader.numbers)):
            for text in list(PLAIN)[turn % each :: each]:
                status = client.get(address, reader.sent | {"pitch": "6", "roll": "0", number: text}).status_code
                yield f"{name} {number}", text, "answered" if status in (200, 302, 422) else str(status)


def uncovered(client: Client, world: TernTaproom) -> set[str]:
    """Number fields of any page that this harness does not fill."""
    known = {(page.page, name) for page in FILLED for name in page.numbers}
    return {
        f"{row.name} {name}"
        for row in PAGES
        for name in fields_of(client.get(row.address(world)).content.decode()).numbers
        if (row.name, name) not in known
    }


@contextlib.contextmanager
def control() -> Iterator[None]:
    """Django's own field of numbers instead of ours."""

    def clean(self: NumberField, value: Any) -> Any:
        plain = forms.FloatField(min_value=self.low, max_value=self.high, required=self.required)
        return plain.clean(value)

    with mock.patch.object(NumberField, "clean", clean), mock.patch.object(ShownField, "clean", clean):
        yield


def run(world: TernTaproom, *, short: bool = False) -> dict[str, Any]:
    """Try all and count."""
    each = EACH if short else 1
    client = Client(raise_request_exception=False)
    client.force_login(world.people.alice.user)
    found = [*tries(client, world, each), *asked(client, world, each)]
    counts = Counter(kind for _, _, kind in found)
    wrong = [row for row in found if row[2] not in ("stored", "refused", "refused here", "answered")]
    return {
        "posts": len(found), "values": len({**PLAIN, **TURNS}), "fields": len({where for where, _, _ in found}),
        "stored": counts["stored"], "refused": counts["refused"] + counts["refused here"],
        "silent_changes": counts["silent"], "answers_of_500": counts["500"],
        "other": len(wrong) - counts["silent"] - counts["500"], "uncovered": sorted(uncovered(client, world)),
        "wrong": wrong[:20],
    }  # fmt: skip


@contextlib.contextmanager
def _undone() -> Iterator[None]:
    with transaction.atomic():
        yield
        transaction.set_rollback(True)
