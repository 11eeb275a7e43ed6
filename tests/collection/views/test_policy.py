"""What every page is made of: a content policy without holes, and nothing in the page that it would have to allow.

Each checker is shown to find a fault that was planted. The words of the policy are those of Content Security Policy
Level 3 (W3C): `unsafe-inline`, `unsafe-eval`, `unsafe-hashes`.
"""

from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any
from unittest import mock
from urllib.parse import urlsplit

import pytest
from django.test import Client
from django.urls import reverse

from collection.actions.record import ActionRefused, StaleEdit
from tests.codes import half_way, proven, with_app
from tests.collection.access.table import ROWS
from tests.factories import PASSWORD
from tests.passkeys import with_passkey
from tests.worlds import TernTaproom

#: Attributes that make a browser ask for something, or send something.
ADDRESSES = ("src", "href", "action", "formaction", "poster", "data", "srcset", "xlink:href", "hx-get", "hx-post")
#: Hands the key to an authenticator app on this very device, and asks no server.
TO_AN_APP = "otpauth://totp/"


class Parts(HTMLParser):
    """Notes what a strict policy would refuse, and each address that leads to another origin."""

    def __init__(self) -> None:
        super().__init__()
        self.faults: list[str] = []
        self.tags = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags += 1
        names = dict(attrs)
        if tag == "style":
            self.faults.append("a <style>")
        if tag == "script" and not names.get("src"):
            self.faults.append("a <script> without src")
        if tag == "base":
            self.faults.append("a <base>")
        for name, value in attrs:
            self._look_at(tag, name, value or "")

    def _look_at(self, tag: str, name: str, value: str) -> None:
        if name == "style" or name.startswith(("on", "hx-on")):
            self.faults.append(f"<{tag} {name}=>")
        if value.strip().lower().replace("\t", "").startswith(("javascript:", "vbscript:", "data:text")):
            self.faults.append(f"<{tag} {name}={value}>")
        if name in ADDRESSES and not value.startswith(TO_AN_APP) and (urlsplit(value).netloc or value.startswith("\\")):
            self.faults.append(f"<{tag} {name}={value}> leaves the origin")


def page_faults(html: str) -> list[str]:
    """Return what in a page a strict policy would refuse, or would lead elsewhere."""
    parts = Parts()
    parts.feed(html)
    parts.close()
    return parts.faults if parts.tags else ["no page at all"]


def policy_faults(policy: str) -> list[str]:
    """Return what is loose in a content security policy."""
    rules = {words[0]: words[1:] for rule in policy.split(";") if (words := rule.split())}
    faults = [f"{name} {word}" for name, words in rules.items() for word in words if _is_loose(name, word)]
    wanted = {"default-src": ["'self'"], "base-uri": ["'none'"], "object-src": ["'none'"], "form-action": ["'self'"]}
    return faults + [f"{name} is {rules.get(name)}" for name, words in wanted.items() if rules.get(name) != words]


def _is_loose(name: str, word: str) -> bool:
    if word == "data:":
        return name != "img-src"
    return word not in ("'self'", "'none'")


def faults_of(answer: Any) -> list[str]:
    """Return what is wrong with an answer: its policy, and its page if it is one."""
    faults = policy_faults(answer.headers.get("Content-Security-Policy", ""))
    if answer.headers.get("Content-Type", "").startswith("text/html") and answer.content:
        faults += page_faults(answer.content.decode())
    return faults


def answers(taproom: TernTaproom) -> Iterator[tuple[str, Any]]:
    """Yield every answer of the table's addresses: to anyone, to Alice, to an empty form, and each error."""
    assert taproom.plan
    alice = Client(raise_request_exception=False)
    anyone = Client()
    for row in ROWS:
        alice.force_login(taproom.people.alice.user)  # one of the rows signs her out
        address = row.address(taproom)
        yield f"{row.name}, seen by anyone", anyone.get(address)
        yield f"{row.name}, seen by Alice", alice.get(address)
        if "POST" in row.answers:
            yield f"{row.name}, sent empty", alice.post(address, {})
            yield f"{row.name}, a piece", alice.post(address, {}, headers={"HX-Request": "true"})
    yield from answers_about_a_second_factor(taproom)
    yield "404", alice.get("/nowhere/")
    yield "400", alice.get(reverse("today"), headers={"host": "elsewhere.example"})
    yield "403", Client(enforce_csrf_checks=True).post(reverse("account_login"), {})
    for error in (StaleEdit(taproom.people.alice, taproom.site), ActionRefused("Not now."), RuntimeError("planted")):
        with mock.patch("collection.queries.sites.sites_of", side_effect=error):
            yield type(error).__name__, alice.get(reverse("sites"))


def answers_about_a_second_factor(taproom: TernTaproom) -> Iterator[tuple[str, Any]]:
    """Yield what only shows to people who have one, or have just proven who they are."""
    alice, bob = taproom.people.alice.user, taproom.people.bob.user
    with_app(bob)
    key = with_passkey(bob)
    half = half_way(bob)
    yield "mfa_authenticate, half way", half.get(reverse("mfa_authenticate"))
    yield "mfa_authenticate, sent empty", half.post(reverse("mfa_authenticate"), {"code": ""})
    for user in (alice, bob):
        client = Client()
        client.force_login(user)
        proven(client, user)
        for row in ROWS:
            if row.name.startswith(("mfa_", "device")):
                address = reverse(row.name, kwargs={**row.words, "pk": key.pk} if row.words else {})
                yield f"{row.name}, proven {user}", client.get(address)


def test_every_answer_is_strict(taproom: TernTaproom) -> None:
    found, pages, statuses = {}, 0, set()
    for name, answer in answers(taproom):
        statuses.add(answer.status_code)
        pages += bool(answer.content)
        if faults := faults_of(answer):
            found[name] = faults
    assert found == {}
    assert pages > 2 * len(ROWS)
    assert statuses >= {200, 302, 400, 403, 404, 405, 409, 422, 500}


def test_the_pages_of_a_worked_plan_are_strict(taproom: TernTaproom) -> None:
    client = Client()
    client.post(reverse("account_login"), {"login": "bob@example.org", "password": PASSWORD})
    for name, kept in (("survey", taproom.survey), ("plan", taproom.plan), ("machine", taproom.machine)):
        answer = client.get(reverse(name, args=[kept.pk]))
        assert answer.status_code == 200
        assert faults_of(answer) == []


@pytest.mark.parametrize(
    "planted",
    [
        '<p style="color: red">',
        "<p style=color:red>",
        "<style>p {}</style>",
        "<svg><style>p {}</style></svg>",
        "<script>alert(1)</script>",
        '<script type="module">1</script>',
        "<script src>1</script>",
        "<button onclick=go()>",
        '<body ONLOAD="go()">',
        '<p hx-on:click="go()">',
        '<a href="javascript:go()">',
        '<a href=" JavaScript:go()">',
        '<a href="java\tscript:go()">',
        '<form action="https://elsewhere.example/">',
        '<img src="//elsewhere.example/x.png">',
        '<link href="http://elsewhere.example/x.css">',
        '<button formaction="https://elsewhere.example/">',
        '<use xlink:href="https://elsewhere.example/x.svg">',
        '<a href="\\\\elsewhere.example/">',
        '<base href="/">',
        "",
    ],
)
def test_a_planted_fault_in_a_page_is_found(planted: str) -> None:
    assert page_faults(planted)


@pytest.mark.parametrize(
    "planted",
    [
        "",
        "default-src 'self' 'unsafe-inline'; base-uri 'none'; object-src 'none'; form-action 'self'",
        "default-src 'self'; script-src 'unsafe-eval'; base-uri 'none'; object-src 'none'; form-action 'self'",
        "default-src 'self'; style-src 'unsafe-hashes'; base-uri 'none'; object-src 'none'; form-action 'self'",
        "default-src 'self'; script-src data:; base-uri 'none'; object-src 'none'; form-action 'self'",
        "default-src 'self'; script-src https:; base-uri 'none'; object-src 'none'; form-action 'self'",
        "default-src 'self'; font-src elsewhere.example; base-uri 'none'; object-src 'none'; form-action 'self'",
        "default-src *; base-uri 'none'; object-src 'none'; form-action 'self'",
        "default-src 'self'; object-src 'none'; form-action 'self'",
    ],
)
def test_a_planted_fault_in_the_policy_is_found(planted: str) -> None:
    assert policy_faults(planted)


def test_what_is_in_order_passes() -> None:
    good = '<a href="/today/">Today</a><script src="/static/x.js" defer></script><img src="data:image/png;base64,AA">'
    assert page_faults(good) == []
    policy = "default-src 'self'; img-src 'self' data:; base-uri 'none'; object-src 'none'; form-action 'self'"
    assert policy_faults(policy) == []
