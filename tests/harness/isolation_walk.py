"""One walk through the app: requests as any identity, each undone afterwards, watched, and told without its tokens."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from http.cookies import SimpleCookie
from typing import Any

from django.conf import settings
from django.core import mail
from django.core.cache import cache
from django.db import transaction
from django.test import Client

from collection.middleware import device_key
from tests.harness.isolation_watch import Watch, crossing
from tests.harness.isolation_world import ABSENT, Identity, TwoBooks

#: What differs each time a page is made: tokens against forged requests, and the key of a write.
_TOKENS = (
    re.compile(r'(name="csrfmiddlewaretoken" value=")[A-Za-z0-9]{64}'),
    re.compile(r'(name="write_key" value=")[0-9a-f-]{36}'),
    re.compile(r'(?:("token": ")|(data-token="))[A-Za-z0-9]{64}'),
)


#: A new session has its own cookie, and a length says nothing that the page does not.
_HEADERS = ("Set-Cookie", "Content-Length")


@dataclass(frozen=True)
class Answer:
    """What came back; ``founded`` holds the organizations that the one who asked may act for now."""

    status: int
    text: str
    headers: dict[str, str]
    faults: list[str]
    mail: list[str]
    founded: frozenset[str]

    def told(self, *keys: str) -> str:
        """Status, headers and page, without tokens and without the keys that were asked for."""
        known = "\n".join(f"{name}: {value}" for name, value in sorted(self.headers.items()))
        text = f"{self.status}\n{known}\n\n{self.text}"
        for key in keys:
            text = text.replace(key, "KEY")
        for token in _TOKENS:
            text = token.sub(r"\1TOKEN", text)
        return text


@dataclass
class Walk:
    """Sends requests in the world; counts them, and hands every answer to ``heard``."""

    books: TwoBooks
    client: Client = field(default_factory=lambda: Client(raise_request_exception=False))
    heard: Callable[[Identity, str, Answer], None] | None = None
    requests: int = 0
    scopes: int = 0
    asking: str = ""

    def send(
        self,
        identity: str | Identity,
        method: str,
        url: str,
        data: Mapping[str, Any] | None = None,
        *,
        headers: Mapping[str, str] | None = None,
        check_keys: bool = False,
    ) -> Answer:
        """Ask as an identity, look at what that did, and undo it."""
        who = self.books.identities[identity] if isinstance(identity, str) else identity
        with transaction.atomic():
            answer = self.ask(who, method, url, data, headers=headers, check_keys=check_keys)
            transaction.set_rollback(True)
        return answer

    def ask(
        self,
        who: Identity,
        method: str,
        url: str,
        data: Mapping[str, Any] | None = None,
        *,
        headers: Mapping[str, str] | None = None,
        check_keys: bool = False,
        founded: frozenset[str] = frozenset(),
    ) -> Answer:
        """The same without undoing it; ``founded`` is what an answer before it says."""
        cache.clear()  # no rate limit from one request to the next
        if session := who.cookies.get(settings.SESSION_COOKIE_NAME):
            cache.set(device_key(session), True)  # the device was here: noting it again each time takes a quarter
        self.requests, self.asking = self.requests + 1, who.name
        self.client.cookies = SimpleCookie(who.cookies)
        watch, outbox = Watch(who), len(getattr(mail, "outbox", []))
        watch.own |= founded
        with watch.watching():
            if method == "POST":
                found = self.client.post(url, data or {}, headers=headers)
            else:
                found = self.client.generic(method, url, headers=headers)
        faults = watch.settle() + (crossing() if check_keys else [])
        self.scopes += watch.scopes
        sent = [
            f"{each.to} {each.subject}\n{each.body}\n{each.extra_headers}"
            for each in getattr(mail, "outbox", [])[outbox:]
        ]
        answer = Answer(
            status=found.status_code,
            text=found.content.decode(errors="replace"),
            headers={name: value for name, value in found.headers.items() if name not in _HEADERS},
            faults=[f"{method} {url} as {who.name}: {fault}" for fault in faults],
            mail=sent,
            founded=frozenset(watch.own),
        )
        if self.heard:
            self.heard(who, f"{method} {url} {dict(data or {})}", answer)
        return answer

    def differ(self, one: Answer, other: Answer, *keys: str) -> list[str]:
        """The first line in which an answer differs from that for an absent key."""
        told, absent = one.told(ABSENT, *keys).splitlines(), other.told(ABSENT, *keys).splitlines()
        if told == absent:
            return []
        pairs = [(a, b) for a, b in zip(told, absent, strict=False) if a != b]
        where = pairs[0] if pairs else (f"{len(told)} lines", f"{len(absent)} lines")
        return [f"it tells a stranger's row from an absent one: {where[0][:120]!r}, not {where[1][:120]!r}"]


@dataclass(frozen=True)
class Step:
    """One thing to try: it returns what was wrong."""

    part: str
    name: str
    run: Callable[[Walk], list[str]]


def faults_of(walk: Walk, steps: list[Step], *, most: int = 0) -> list[str]:
    """Run the steps and return what was wrong, with the name of each step; at most so many, if a number is given."""
    found: list[str] = []
    for step in steps:
        found += [f"{step.part}: {step.name}: {fault}" for fault in step.run(walk)]
        if most and len(found) >= most:
            break
    return found
