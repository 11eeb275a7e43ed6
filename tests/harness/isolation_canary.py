"""The canary: an organization whose every text and number is unlikely, and an ear for any of them where others look.

`mark` rewrites every row of Dune Amusements: each text gets a word that nobody writes, each number digits of its own.
How its pages round and put the numbers is learned from its owner's own pages: what shows there and did not show to
others before Dune Amusements kept anything is a mark as well.
"""

import logging
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.apps import apps
from django.conf import settings
from django.db import connection
from django.db import models as django_models

from collection import models
from collection.models import guards
from tests.collection.access.table import ROWS
from tests.collection.access.tenants import TENANT
from tests.harness.isolation_walk import Answer, Walk
from tests.harness.isolation_world import Identity, TwoBooks, two_books

WORD = "Zqx"
#: Who may hear the marks.
CANARY = "charlie"
#: Texts that are words of the code or of the machine, though no constraint lists them, and digests of secrets.
CODES = {"time_zone", "engine_version", "light_foot", "spot", "noun", "verb", "token_sha256"}
_UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
#: A number of four digits or more that stands for itself: shorter ones are nobody's own.
_NUMBER = re.compile(r"(?<![\w.,-])\d[\d,]*(?:\.\d+)?(?![\w-])")
_SEED = (0.0173, 0.0191, 0.0137, 0.0119, 0.0151)


@dataclass
class Canary:
    """The marks, and every place where one was heard by somebody who must not."""

    organization: models.Organization
    before: set[str]
    words: int = 0
    numbers: int = 0
    tokens: set[str] = field(default_factory=set)
    keys: set[str] = field(default_factory=set)
    secrets: set[str] = field(default_factory=set)
    hits: list[str] = field(default_factory=list)
    looked_at: dict[str, int] = field(default_factory=lambda: {"pages": 0, "mail": 0, "logs": 0, "files": 0})
    records: list[str] = field(default_factory=list)

    def mark(self) -> None:
        """Rewrite every text and number of the organization, those of the record too, whose guards rest meanwhile."""
        for table in guards.recorded_tables():
            guards.take_down(connection, table)
        for label, whose in TENANT.items():
            model = apps.get_model(label)
            for row in model._base_manager.filter(**{whose: self.organization.pk}):
                self.keys.add(str(row.pk))
                changes = {each.attname: self._marked(model, each, row) for each in model._meta.concrete_fields}
                changes = {name: value for name, value in changes.items() if value is not None}
                if changes:
                    django_models.QuerySet(model).filter(pk=row.pk).update(**changes)
        for member in models.Membership.objects.filter(organization=self.organization).select_related("user"):
            self.keys.add(str(member.user_id))
            if not member.user.memberships.exclude(organization=self.organization).exists():
                models.User.objects.filter(pk=member.user_id).update(email=f"{self._word()}@example.org".lower())
        for table in guards.recorded_tables():
            guards.put_up(connection, table)

    def learn(self, pages: list[str]) -> None:
        """Take from the owner's own pages how the marked numbers show."""
        self.tokens = {number for page in pages for number in numbers_in(page)} - self.before

    def heard(self, who: Identity, request: str, answer: Answer) -> None:
        """Look at all that came of a request."""
        records, self.records[:] = list(self.records), []
        if who.name == CANARY:
            return
        self.looked_at["pages"] += 1
        self.looked_at["mail"] += len(answer.mail)
        self.looked_at["logs"] += len(records)
        self.look(f"{who.name}: {request[:200]}", request, answer.told())
        for each in answer.mail:
            to = each.split("]")[0]
            if WORD.lower() not in to.lower():
                self.look(f"mail after {request[:200]}", request, each)
        for each in records:
            self.look(f"log after {request[:200]}", request, each)

    def look(self, where: str, known: str, text: str) -> None:
        """Note each mark in a text that the one who asked did not bring."""
        known = known.lower()
        found = {word for word in re.findall(rf"{WORD}\w+", text, re.IGNORECASE) if word.lower() not in known}
        found |= {key for key in _UUID.findall(text) if key in self.keys and key not in known}
        found |= {secret for secret in self.secrets if secret in text and secret.lower() not in known}
        found |= {number for number in numbers_in(text) & self.tokens if number not in known}
        self.hits += [f"{where}: {mark}" for mark in sorted(found)]

    @contextmanager
    def listening(self) -> Iterator[None]:
        """Hear every line of every log, whatever its level, and see what is written beside the database."""
        ear, root = _Ear(self.records), logging.getLogger()
        level, handlers, files = root.level, root.handlers[:], _files()
        root.setLevel(logging.DEBUG)
        root.handlers[:] = [ear]
        try:
            yield
        finally:
            root.setLevel(level)
            root.handlers[:] = handlers
            self.looked_at["files"] = len(files)
            for path in sorted(_files().keys() ^ files.keys()):
                self.hits.append(f"file {path.name} was written by a request")

    def _word(self) -> str:
        self.words += 1
        letters = "bcdfghklmn"
        return WORD + "".join(letters[int(digit)] for digit in f"{self.words:05d}")

    def _marked(self, model: Any, each: Any, row: Any) -> Any:
        value = getattr(row, each.attname)
        if value in (None, "") or each.is_relation or each.primary_key or each.name in CODES:
            return None
        if isinstance(each, django_models.FloatField):
            return self._number(value, *_range_of(model, each.name))
        if isinstance(each, django_models.JSONField):
            return self._json(value)
        if isinstance(each, django_models.CharField | django_models.TextField) and not _is_code(model, each.name):
            return self._word()[: each.max_length or 80]
        return None

    def _number(self, value: float, low: float = float("-inf"), high: float = float("inf")) -> float:
        self.numbers += 1
        share = _SEED[self.numbers % len(_SEED)]
        for odd in (value * (1 + share) + share, value * (1 - share) - share, value):
            if low <= odd <= high:
                return odd
        return value

    def _json(self, value: Any) -> Any:
        if isinstance(value, dict):
            return {name: self._json(each) for name, each in value.items()}
        if isinstance(value, list):
            return [self._json(each) for each in value]
        return self._number(value) if isinstance(value, float) and value and not value.is_integer() else value


def marked_books() -> tuple[TwoBooks, Canary]:
    """Build the world with Dune Amusements marked."""
    before: set[str] = set()

    def look(books: TwoBooks) -> None:
        for kind in ("own", "other site"):
            before.update(number for page in _pages(books, kind, "alice") for number in numbers_in(page))

    books = two_books(look)
    canary = Canary(books.pavilion.site.organization, before)
    canary.mark()
    canary.secrets.add(books.pavilion.report_token)
    canary.learn(_pages(books, "other organization", "charlie"))
    return books, canary


def numbers_in(text: str) -> set[str]:
    """The numbers in a text that have four digits or more."""
    return {found for found in _NUMBER.findall(text) if len(re.sub(r"\D", "", found).lstrip("0")) >= 4}


def _pages(books: TwoBooks, kind: str, reader: str) -> list[str]:
    """Every page about the rows of a kind, as a reader sees it."""
    walk = Walk(books)
    rows = [row for row in ROWS if row.answers.get("GET", (0,))[-1] == 200 and (row.keyed or kind != "other site")]
    return [walk.send(reader, "GET", books.address(row, kind if row.keyed else "own")).text for row in rows]


class _Ear(logging.Handler):
    def __init__(self, records: list[str]) -> None:
        super().__init__(logging.DEBUG)
        self.lines = records

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(f"{record.name} {record.getMessage()} {record.exc_text or ''}")


def _is_code(model: Any, name: str) -> bool:
    """Whether a constraint lists the words that a text may hold."""
    return f"{name}__in" in dict(_conditions(model))


def _range_of(model: Any, name: str) -> tuple[float, float]:
    known = dict(_conditions(model))
    return known.get(f"{name}__gte", float("-inf")), known.get(f"{name}__lte", float("inf"))


def _conditions(model: Any) -> Iterator[tuple[str, Any]]:
    """Each lookup of the table's constraints with its value."""
    waiting = [each.condition for each in model._meta.constraints if isinstance(each, django_models.CheckConstraint)]
    while waiting:
        found = waiting.pop()
        if isinstance(found, tuple):
            yield found
        else:
            waiting += found.children


def _files() -> dict[Path, int]:
    """Every file in the data folder but the database's own."""
    folder = Path(settings.DATA_DIR)
    return {
        path: path.stat().st_mtime_ns for path in folder.rglob("*") if path.is_file() and "sqlite3" not in path.name
    }
