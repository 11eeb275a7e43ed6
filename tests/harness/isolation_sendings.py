"""Every good sending of every page that writes, with the fields of its form that take keys."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django import forms as django_forms
from django.urls import reverse

from collection.forms.people import ChooseOrganizationForm
from tests.collection.actions.test_whole_or_nothing import posts
from tests.harness.isolation_world import TwoBooks

#: Keys that the page itself makes: another organization's is refused as "used", whoever asks; nothing of it is told.
MADE_BY_THE_PAGE = {"write_key"}


@dataclass(frozen=True)
class Sending:
    """One good sending of Alice's: its form, and for each field that takes a key one that is taken, where known."""

    url: str
    body: dict[str, Any]
    form: type[Any] | None = None
    own: dict[str, str] = field(default_factory=dict)

    @property
    def takes(self) -> set[str]:
        """The fields of its form that take keys."""
        found = taking(self.form) if self.form else set()
        return found - {"bay"} if self.body.get("site_name") else found  # a bay or a site, never both

    def body_with(self, name: str) -> dict[str, Any]:
        """The same sending with a key of Alice's own in this field."""
        return {**self.body, name: self.own[name]}


def taking(form: type[Any]) -> set[str]:
    """The fields of a form that take keys: a UUIDField, or a choice whose answers come from rows."""
    fields: dict[str, Any] = form.base_fields
    return {
        name
        for name, each in fields.items()
        if name not in MADE_BY_THE_PAGE
        and (
            isinstance(each, django_forms.UUIDField)
            or (isinstance(each, django_forms.ChoiceField) and not [key for key, _ in each.choices if key])
        )
    }


def sendings(books: TwoBooks) -> list[Sending]:
    """Return the good sendings, each with what its page offers."""
    alice = books.identities["alice"].client()
    organization = str(books.taproom.site.organization_id)
    made = [_told(alice, url, body, books) for url, body in posts(books.taproom, alice)]
    choose = {"organization": organization}
    return [*made, Sending(reverse("organization_choose"), choose, ChooseOrganizationForm, choose)]


def _told(client: Any, url: str, body: dict[str, Any], books: TwoBooks) -> Sending:
    context = client.get(url, follow=True).context
    form = context.get("form") if context else None
    if form is None:
        return Sending(url, body)
    offered = {name: _keys(form.fields[name]) for name in taking(type(form))}
    own = {name: str(books.taproom.site.organization_id) for name in offered if name == "opened_for"}
    level = str(books.taproom.instrument.pk)
    for name, keys in offered.items():
        if keys or name in body:
            typed = body.get(name) or (level if level in keys else keys[0])
            own[name] = typed[0] if isinstance(typed, list) else str(typed)
    return Sending(url, body, type(form), own)


def _keys(each: Any) -> list[str]:
    """The keys that a field offers, whether in groups or not."""
    return list(_flat(getattr(each, "choices", None) or getattr(each.widget, "choices", ())))


def _flat(choices: Iterable[Any]) -> Iterable[str]:
    for key, words in choices:
        if isinstance(words, list | tuple):
            yield from _flat(words)
        elif len(str(key)) == 36:
            yield str(key)
