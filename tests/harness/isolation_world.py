"""Nine identities and three places like the Tern Taproom: the world in which nobody may see too much.

Saltmarsh Route              Alice owns, Bob works, Rosa worked there and left
    Tern Taproom             Vera reads it
    Quay House               Walt reads it
Dune Amusements              Charlie owns, Tom owns too
    Marsh Pavilion           Greta reads it
Dana is signed in and belongs nowhere. Tom works at Saltmarsh Route as well, but acts in Dune Amusements.
"""

import datetime
from collections.abc import Callable
from dataclasses import dataclass, replace
from http.cookies import SimpleCookie
from typing import Any

from django.conf import settings
from django.test import Client

from collection import models
from tests import factories as make
from tests.collection.access.table import ROWS, Row
from tests.factories import NOON
from tests.worlds import Cast, TernTaproom, cast, tern_taproom

ABSENT = "00000000-0000-4000-8000-000000000000"
#: What no address takes for a key, instead of one.
MALFORMED = "0000-not-a-key"
KINDS = ("own", "other site", "other organization", "absent", "malformed")
IDENTITIES = ("anonymous", "dana", "rosa", "charlie", "tom", "vera", "walt", "bob", "alice")
DAY = datetime.timedelta(days=1)


@dataclass(frozen=True)
class Identity:
    """Who asks: the cookies of a standing session, and the membership that acts, if any."""

    name: str
    cookies: dict[str, str]
    member: models.Membership | None
    user: models.User | None

    def client(self) -> Client:
        """A client with this session and nothing else."""
        client = Client(raise_request_exception=False)
        client.cookies = SimpleCookie(self.cookies)
        return client


@dataclass(frozen=True)
class TwoBooks:
    """The world drawn above."""

    taproom: TernTaproom
    hall: TernTaproom
    pavilion: TernTaproom
    identities: dict[str, Identity]

    def place(self, kind: str) -> TernTaproom:
        """The place whose rows an id of this kind names, as the people of the Tern Taproom see it."""
        return {"own": self.taproom, "other site": self.hall, "other organization": self.pavilion}[kind]

    def address(self, row: Row, kind: str) -> str:
        """The address of a row with ids of this kind."""
        if kind not in ("absent", "malformed"):
            return row.address(self.place(kind))
        url = row.address(self.taproom)
        known = [str(getattr(self.taproom, world).pk) for world in row.ids.values()]
        for key in known + [getattr(self.taproom, world) for world in row.secrets.values()]:
            url = url.replace(key, ABSENT if kind == "absent" else MALFORMED)
        return url


def two_books(first: Callable[["TwoBooks"], None] | None = None) -> TwoBooks:
    """Build the world, with every row that the table of addresses names.

    ``first`` is called while Dune Amusements has people, but no row yet: `pavilion` is the Tern Taproom until then.
    """
    people = cast()
    saltmarsh, dune = people.alice.organization, people.charlie.organization
    rosa, walt, greta, tom = (
        make.UserFactory(email=f"{name}@example.org") for name in ("rosa", "walt", "greta", "tom")
    )
    ended = make.MembershipFactory(
        user=rosa, organization=saltmarsh, role="technician", created_at=NOON - DAY, ended_at=NOON
    )
    reader = make.MembershipFactory(user=walt, organization=saltmarsh, role="viewer")
    theirs = make.MembershipFactory(user=greta, organization=dune, role="viewer")
    make.MembershipFactory(user=tom, organization=saltmarsh, role="technician", created_at=NOON - DAY)
    acts = make.MembershipFactory(user=tom, organization__name="Otter Arcade")
    taproom = tern_taproom(people)
    hall = tern_taproom(
        replace(people, vera=reader), site="Quay House", title="Copper Heron", code="CH-1", level="600 mm digital level"
    )
    fill(taproom, hall)
    members: dict[str, Any] = {name: getattr(people, name) for name in ("alice", "bob", "vera", "charlie")}
    members |= {"walt": reader, "tom": acts, "rosa": ended}
    standing = {name: member for name, member in members.items() if member.ended_at is None}
    users = {name: member.user for name, member in members.items()} | {"dana": people.dana}
    known = {
        name: Identity(name, _session(users.get(name), standing.get(name)), standing.get(name), users.get(name))
        for name in IDENTITIES
    }
    if first:
        first(TwoBooks(taproom, hall, taproom, known))
    pavilion = tern_taproom(
        Cast(alice=people.charlie, bob=people.charlie, vera=theirs, charlie=people.alice, dana=people.dana),
        site="Marsh Pavilion", title="Paper Lighthouse", code="PL-1", level="Dune level",
    )  # fmt: skip
    fill(pavilion)
    return TwoBooks(taproom, hall, pavilion, known)


def fill(*places: TernTaproom) -> None:
    """Make every row of the places that an address of the table names."""
    for world in sorted({world for row in ROWS for world in row.ids.values()} | {"report_link"}):
        for place in places:
            assert getattr(place, world).pk


def _session(user: models.User | None, member: models.Membership | None) -> dict[str, str]:
    """The cookie of somebody who signed in, and chose the organization that they act in."""
    if user is None:
        return {}
    client = Client()
    client.force_login(user)
    if member:
        session = client.session
        session["organization"] = str(member.organization_id)
        session.save()
    return {settings.SESSION_COOKIE_NAME: client.cookies[settings.SESSION_COOKIE_NAME].value}
