"""Every text of text_values.py in every field for words of every form: refused by name, or kept and shown as it is.

`uv run python -m tests.harness texts [--short] [--control]`. The control puts Django's own CharField in the place of
ours: then texts must be found that are kept though they cannot be shown.
"""

import contextlib
from collections import Counter
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any
from unittest import mock
from urllib.parse import urlencode

from django import forms
from django.db import transaction
from django.test import Client

from collection.forms.fields import TextField
from tests.harness.filled import FILLED, Filled, is_named
from tests.harness.text_values import TEXTS
from tests.worlds import TernTaproom

#: In the short form each field gets every so many of the texts, each time others.
EACH = 7
#: Texts of several lines are kept where several lines may be written, as a browser sends their breaks.
LINES = {"two lines", "two lines by a sign of its own", "a header's end"}
AREAS = {("site_new", "notes"), ("site_edit", "notes")}
ENCODED = "application/x-www-form-urlencoded"


class Words(HTMLParser):
    """All that a page says or holds in a field, and the names of its elements."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self.tags: Counter[str] = Counter()
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        self.found += [value or "" for name, value in attrs if name in ("value", "data-keep")]
        assert not {name for name, _ in attrs if name.startswith("on")}

    def handle_data(self, data: str) -> None:
        self.found.append(data)


def outcome(client: Client, world: TernTaproom, page: Filled, body: dict[str, str], name: str, what: str) -> str:
    """Send one text in one field and say what became of it; nothing of it stays."""
    text, is_kept = TEXTS[what]
    is_kept = is_kept or (what in LINES and (page.page, name) in AREAS)
    sent = urlencode({key: value.encode("utf-8", "surrogatepass") for key, value in (body | {name: text}).items()})
    with _undone():
        answer = client.generic("POST", page.address(world), sent, content_type=ENCODED)
        if answer.status_code >= 500:
            return "500"
        if answer.status_code == 422:
            return "refused" if is_named(answer.content.decode(), name) else "not named"
        if answer.status_code != 302:
            return f"status {answer.status_code}"
        stored, wanted = page.texts[name](world), text.strip()
        if wanted == "" and stored == "":
            return "left open"
        if stored != wanted or not is_kept:
            return "silent"
        return _shown(client.get(answer["Location"]), wanted)


def _shown(answer: Any, text: str) -> str:
    if answer.status_code >= 500:
        return "500"
    if answer.status_code != 200:
        return "kept"  # it led on to the sign-in or another page
    page = Words(answer.content.decode())
    whole = " ".join(" ".join(page.found).split())
    return "kept and shown" if " ".join(text.split()) in whole else "kept"


def tries(client: Client, world: TernTaproom, each: int) -> Iterator[tuple[str, str, str]]:
    """Yield page and field, what the text is, and what became of it."""
    whats, turn = list(TEXTS), 0
    for page in FILLED:
        body = page.body(client, world) if page.texts else {}
        for name in page.texts:
            for what in whats[turn % each :: each]:
                yield f"{page.page} {name}", what, outcome(client, world, page, body, name, what)
            turn += 1


@contextlib.contextmanager
def control() -> Iterator[None]:
    """Django's own field of texts instead of ours."""
    with mock.patch.object(TextField, "to_python", forms.CharField.to_python):
        yield


def run(world: TernTaproom, *, short: bool = False) -> dict[str, Any]:
    """Try all and count."""
    client = Client(raise_request_exception=False)
    client.force_login(world.people.alice.user)
    found = list(tries(client, world, EACH if short else 1))
    counts = Counter(kind for _, _, kind in found)
    fine = ("refused", "kept", "kept and shown", "left open")
    wrong = [row for row in found if row[2] not in fine]
    return {
        "posts": len(found), "values": len(TEXTS), "fields": len({where for where, _, _ in found}),
        **{kind.replace(" ", "_"): counts[kind] for kind in fine}, "silent_changes": counts["silent"],
        "answers_of_500": counts["500"], "other": len(wrong) - counts["silent"] - counts["500"],
        "uncovered": [], "wrong": wrong[:20],
    }  # fmt: skip


@contextlib.contextmanager
def _undone() -> Iterator[None]:
    with transaction.atomic():
        yield
        transaction.set_rollback(True)
