"""Two people's edits of one row: what a page showed when it was opened, and what is asked where both changed a field.

A page carries what it showed, signed: the base by which a merge tells who changed what. Where an edit turns out to be
stale, the page asks field by field, in radio buttons named `merge-…`; the answers are put in before anything is read.
"""

import datetime
from dataclasses import dataclass
from typing import Any

from django import forms
from django.core import signing
from django.http import QueryDict

YOURS, THEIRS = "yours", "theirs"
PREFIX = "merge-"
#: Holds what is stored now, on a page that asks: the base of the next merge.
WITH = f"{PREFIX}with"
_SALT = "levelbook.opened-with"

#: Values as a page sends them, by the key of their question: most questions are about one field.
Parts = dict[str, dict[str, Any]]


@dataclass(frozen=True)
class Clash:
    """One question of a merge: what you wrote, what is stored now, who put that there and when.

    It stands in the place of the field ``leader``; ``with_page`` is what goes along once for the whole page.
    """

    key: str
    leader: str
    label: str
    yours: list[str]
    theirs: list[str]
    picked: str
    by: str = ""
    at: datetime.datetime | None = None
    with_page: str = ""

    @property
    def name(self) -> str:
        """The name of its radio buttons."""
        return PREFIX + self.key

    @property
    def words(self) -> str:
        """What the summary of errors says of it."""
        now = f"It says “{self.theirs[0]}” now" if len(self.theirs) == 1 else "It was changed meanwhile"
        return f"{now}. Choose which one stays."


def signed(version: int, parts: Parts) -> str:
    """Return what a page shows of a row, as it carries it."""
    return signing.dumps({"version": version, "parts": parts}, salt=_SALT, compress=True)


def read(text: str) -> tuple[int, Parts] | None:
    """Return version and values of a page, or None if it does not carry them or somebody touched them."""
    try:
        found = signing.loads(text, salt=_SALT)
    except (signing.BadSignature, ValueError):  # ValueError: text that cannot be bytes
        return None
    return found["version"], found["parts"]


def with_answers(sent: QueryDict) -> QueryDict:
    """Return what was sent, with theirs put in where the person chose it, as an edit of what the page asked about."""
    page = read(sent.get(WITH, ""))
    if page is None:
        return sent
    merged = sent.copy()
    version, parts = page
    for key, values in parts.items():
        if sent.get(PREFIX + key) == THEIRS:
            for name, value in values.items():
                # A tick, too: "True" and "False" are read as such.
                merged.setlist(name, value if isinstance(value, list) else [str(value)])
    merged["version"], merged["opened_with"] = str(version), sent.get(WITH, "")
    return merged


def as_sent(field: forms.Field, value: Any) -> Any:
    """Return a field's value as a page sends it, so that it can be compared and carried."""
    if isinstance(field, forms.BooleanField):
        return bool(value)
    if isinstance(field, forms.MultipleChoiceField):
        return sorted(map(str, value or ()))
    return "" if value is None else str(value)


def is_same(field: forms.Field, one: Any, other: Any) -> bool:
    """Return whether two values mean the same, however they were typed."""
    return one == other or _meaning(field, one) == _meaning(field, other)


def shown(field: forms.Field, value: Any) -> str:
    """Return a value in the words of its page."""
    if isinstance(field, forms.BooleanField):
        return "yes" if value else "no"
    several = value if isinstance(value, list) else [value]
    words = [str(name) for choice, name in _choices(field) if str(choice) in several]
    if words or isinstance(value, list):
        return ", ".join(words) or "none"
    unit = getattr(field, "unit", "")
    return f"{value} {unit}".strip() if value else "nothing"


def _choices(field: Any) -> list[tuple[Any, Any]]:
    """A field's choices, those in groups included."""
    found: list[tuple[Any, Any]] = []
    offered: Any = getattr(field, "choices", None) or getattr(field.widget, "choices", ())
    for choice, words in offered:
        found += words if isinstance(words, list | tuple) else [(choice, words)]
    return found


def _meaning(field: forms.Field, value: Any) -> Any:
    try:
        return field.clean(value)
    except forms.ValidationError:
        return value
