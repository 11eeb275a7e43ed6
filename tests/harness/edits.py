"""Edits that compete: several people count upward in the same few texts, so that a lost edit is a number too low.

A text is "17 form3-41": the seventeenth edit, by whom, his forty-first. Who comes too late is told (409), reads the
page again and counts on from what it says now.
"""

import random
import re
import time
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from tests.collection.forms.test_hostile_posts import FormReader
from tests.collection.views.test_sent_twice import LEVEL
from tests.harness.senders import Answer, Sender
from tests.harness.stored import Mark, plain
from tests.harness.work import BAY, survey

#: Several edits of one row may compete: those of one text, and of another text in the same row.
TEXTS = (("site", "address"), ("site", "notes"), ("bay", "name"), ("instrument", "name"), ("machine", "title"))
ROWS_EACH = 2
#: A text as an edit left it.
COUNTED = re.compile(r"\d+ (?:form|piece|kept|task)\d+-\d+")
#: How an edit reaches us over HTTP: as a plain form, as a piece for htmx, and as what a device keeps until it is told.
PATHS: dict[str, Callable[[Sender], Mapping[str, str]]] = {
    "form": lambda sender: {},
    "piece": lambda sender: {"HX-Request": "true"},
    "kept": lambda sender: {"X-Keep": sender.signature},
}


class PageReader(FormReader):
    """What a browser would send from a page, the words in its large fields too."""

    area = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        super().handle_starttag(tag, attrs)
        self.area = dict(attrs).get("name") or "" if tag == "textarea" else ""

    def handle_data(self, data: str) -> None:
        if self.area:
            self.sent[self.area] += data.strip()

    def handle_endtag(self, tag: str) -> None:
        self.area = ""


@dataclass(frozen=True)
class Text:
    """One text that is counted in."""

    noun: str
    row: str
    field: str

    @property
    def page(self) -> str:
        """The address of its form."""
        return f"/{self.noun}s/{self.row}/edit/"

    def mark(self, says: str) -> Mark:
        """What tells this edit in the history."""
        return self.noun, plain(self.row), self.field, says


@dataclass
class Outcome:
    """What one writer was told."""

    done: list[Mark] = field(default_factory=list)
    stale: int = 0
    blind: int = 0  # told to be too late without seeing both values, since others wrote once more at that moment
    wrong: list[str] = field(default_factory=list)


def texts_of(world: Mapping[str, Any]) -> list[Text]:
    """The texts that all writers count in."""
    rows = {noun: world[f"{noun}s"][:ROWS_EACH] for noun in ("site", "bay", "instrument")}
    rows["machine"] = [each["machine"] for each in world["machines"][:ROWS_EACH]]
    return [Text(noun, row, name) for noun, name in TEXTS for row in rows[noun]]


def next_count(says: str, who: str) -> str:
    """The text after this one: one more, by whom."""
    first = says.split(" ")[0]
    return f"{int(first) + 1 if first.isdecimal() else 1} {who}"


def write_over_http(
    sender: Sender, world: Mapping[str, Any], *, path: str, name: str, writes: int, until: float
) -> Outcome:
    """Write so many times, or until that moment: mostly edits that compete, else a bay, a level or a survey."""
    outcome, rng, texts = Outcome(), random.Random(name), texts_of(world)
    headers = PATHS[path](sender)
    for number in range(writes):
        if time.monotonic() > until:
            break
        who, other = f"{name}-{number}", number % 10
        if other < 7:
            _edit(sender, rng.choice(texts), who, headers, outcome)
        elif other < 9 or number % 20 == 9:
            _add(sender, world, who, headers, outcome)
        else:
            told = survey(dict(world), rng.choice(world["machines"])["machine"], "6.4", who)
            _keep(outcome, sender.post(told.path, told.data, headers), told.mark)
    return outcome


def _edit(sender: Sender, text: Text, who: str, headers: Mapping[str, str], outcome: Outcome) -> None:
    while True:
        shown = sender.get(text.page)
        if shown.status != 200:
            outcome.wrong.append(f"{shown.status} to {text.page}: {shown.body[:200]}")
            return
        page = PageReader(shown.body).sent
        says = next_count(page[text.field], who)
        answer = sender.post(text.page, page | {text.field: says, "write_key": str(uuid.uuid4())}, headers)
        if answer.status != 409:
            _keep(outcome, answer, text.mark(says))
            return
        outcome.stale += 1
        if says not in answer.body or len(set(COUNTED.findall(answer.body))) < 2:
            outcome.blind += 1


def _add(sender: Sender, world: Mapping[str, Any], who: str, headers: Mapping[str, str], outcome: Outcome) -> None:
    key = str(uuid.uuid4())
    noun, page, typed = ("bay", f"/floors/{world['floor']}/bays/new/", BAY)
    if key < "8":
        noun, page, typed = ("instrument", "/instruments/new/", LEVEL)
    answer = sender.post(page, {**typed, "name": who, "write_key": key}, headers)
    _keep(outcome, answer, (noun, plain(key), "name", who))


def _keep(outcome: Outcome, answer: Answer, mark: Mark) -> None:
    if answer.is_done:
        outcome.done.append(mark)
    else:
        outcome.wrong.append(f"{answer.status} for {mark}: {answer.body[:200]}")
