"""The steps of bodies and queries: each key that a form or an address takes, of every kind.

The fields that take keys are found in the forms' classes: a UUIDField, or a choice whose answers come from rows. A new
one must be told its table here, and must be reached by a good sending, or `missed` names it.
"""

import ast
import importlib
import pkgutil
from functools import cache
from pathlib import Path

from django import forms as django_forms
from django.urls import reverse

import collection.forms
import collection.views
from tests.collection.access.table import ROWS, Row
from tests.harness.isolation_sendings import Sending, taking
from tests.harness.isolation_walk import Answer, Step, Walk
from tests.harness.isolation_world import ABSENT, TwoBooks
from tests.worlds import TernTaproom

#: What a field that takes a key takes the key of, as an attribute of a place.
TAKES = {
    "bay": "bay",
    "instrument": "instrument",
    "instrument_across": "instrument",
    "level": "instrument",
    "plan": "plan",
    "sites": "site",
    "pair_with": "survey",
    "replaces": "report_link",
    "opened_for": "organization",
    "organization": "organization",
}
#: What a key that is not one's own gets. The label that stands stays as it is, whichever other key a page names.
REFUSED = {"organization": 404, "replaces": 302}
#: Whose keys an address may name.
WORLDS = ("site", "bay", "plan", "machine")
#: A key is malformed in many ways.
MALFORMED = ("not-a-key", "00000000-0000-4000-8000-00000000000g", "1", "' OR 1=1 --", "0" * 400)


#: Forms that are read from an address alone.
ASKED = ("HistoryForm",)
#: Fields that no sending of Alice's can show: she is the last owner, so she may not leave.
NOT_HERS = {"LeaveForm.opened_for"}


def takers() -> set[str]:
    """Every field of our forms that takes a key in a body, as `Class.field`."""
    found = set()
    for _, name, _ in pkgutil.iter_modules(collection.forms.__path__):
        for form in vars(importlib.import_module(f"collection.forms.{name}")).values():
            if isinstance(form, type) and issubclass(form, django_forms.Form) and form.__module__.startswith("coll"):
                found |= {f"{form.__name__}.{field}" for field in taking(form) if form.__name__ not in ASKED}
    return found - NOT_HERS


def key_of(place: TernTaproom, field: str) -> str:
    """The key of a row of this place that the field could take."""
    if TAKES[field] == "organization":
        return str(place.site.organization_id)
    return str(getattr(place, TAKES[field]).pk)


def body_steps(books: TwoBooks, sendings: list[Sending], *, short: bool = False) -> list[Step]:
    """A step for each good sending x field that takes a key x kind of key."""
    return [
        step
        for sending in sendings
        for field in sorted(sending.takes)
        for step in (
            *([_good_step(sending, field)] if field in sending.own else []),
            _foreign_step(books, sending, field),
            *(_malformed_step(sending, field, key) for key in (MALFORMED[:1] if short else MALFORMED)),
        )
    ]


def missed(sendings: list[Sending]) -> set[str]:
    """The fields that take keys which no good sending reaches."""
    reached = {f"{form.__name__}.{name}" for each in sendings if each.form for form in each.form.__mro__
               if issubclass(form, django_forms.Form) for name in taking(form) & each.takes}  # fmt: skip
    return takers() - reached


def unproved(sendings: list[Sending]) -> set[str]:
    """The fields of which no sending shows that a key of one's own is taken, so that a refusal says little."""
    return {name for each in sendings for name in each.takes} - {name for each in sendings for name in each.own}


def _good_step(sending: Sending, field: str) -> Step:
    def run(walk: Walk) -> list[str]:
        answer = walk.send("alice", "POST", sending.url, sending.body_with(field), check_keys=True)
        return answer.faults + ([] if answer.status == 302 else [f"{answer.status} with a key of her own, not 302"])

    return Step("bodies", f"{sending.url} {field}, own", run)


def _foreign_step(books: TwoBooks, sending: Sending, field: str) -> Step:
    def run(walk: Walk) -> list[str]:
        key = key_of(books.pavilion, field)
        answers = [walk.send("alice", "POST", sending.url, {**sending.body, field: each}) for each in (key, ABSENT)]
        wanted = REFUSED.get(field, 422)
        faults = [f"{answer.status}, not {wanted}" for answer in answers if answer.status != wanted]
        for answer in answers:
            faults += answer.faults
        return faults + walk.differ(answers[0], answers[1], key)

    return Step("bodies", f"{sending.url} {field}, other organization", run)


def _malformed_step(sending: Sending, field: str, key: str) -> Step:
    def run(walk: Walk) -> list[str]:
        answer = walk.send("alice", "POST", sending.url, {**sending.body, field: key})
        wanted = 404 if field == "organization" else 422
        return answer.faults + ([f"{answer.status}, not {wanted}"] if answer.status != wanted else [])

    return Step("bodies", f"{sending.url} {field}, malformed {key[:20]}", run)


@cache
def asked_names() -> frozenset[str]:
    """Every name that a view looks for in its address, found in the views' own text."""
    found = set()
    for path in sorted(Path(collection.views.__path__[0]).glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            match node:
                case ast.Call(func=ast.Attribute(value=where, attr="get"), args=[ast.Constant(value=str(name)), *_]):
                    pass
                case ast.Subscript(value=where, slice=ast.Constant(value=str(name))):
                    pass
                case ast.Compare(left=ast.Constant(value=str(name)), comparators=[where]):
                    pass
                case _:
                    continue
            if ast.unparse(where).endswith(".GET"):
                found.add(name)
    return frozenset(found)


def query_steps(*, short: bool = False) -> list[Step]:
    """A step for each page x reader x key of a row that is not the reader's, as every name of every view's address."""
    pages = [row for row in ROWS if row.answers.get("GET", (0,))[-1] == 200]
    return [
        _query_step(row, identity, kind, WORLDS[:1] if short else WORLDS)
        for row in pages
        for identity, kind in (("alice", "other organization"), ("vera", "other organization"), ("vera", "other site"))
    ]


def _query_step(row: Row, identity: str, kind: str, worlds: tuple[str, ...]) -> Step:
    def run(walk: Walk) -> list[str]:
        faults = []
        for world in worlds:
            key = str(getattr(walk.books.place(kind), world).pk)
            theirs, absent = (_asked(walk, identity, row, each) for each in (key, ABSENT))
            faults += [*theirs.faults, *absent.faults, *walk.differ(theirs, absent, key)]
        return faults

    return Step("queries", f"{row.name} as {identity}, {kind} id", run)


def _asked(walk: Walk, identity: str, row: Row, key: str) -> Answer:
    """One page with the key as every name that any view looks for."""
    names = sorted(asked_names() - {"page", "q", "next"})
    query = "&".join([*(f"{name}={key}" for name in names), f"next={reverse('survey_new', args=[key])}"])
    return walk.send(identity, "GET", f"{walk.books.address(row, 'own')}?{query}")
