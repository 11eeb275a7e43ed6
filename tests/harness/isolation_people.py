"""The steps about who belongs here: invitations and the addresses they are for, and refusals past the pages."""

import contextlib
import importlib
import uuid
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

from allauth.account.models import EmailAddress
from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import Http404
from django.test import Client
from django.urls import reverse

from collection import models
from collection.models.base import hash_of
from tests.collection.forms.test_hostile_posts import fields_of
from tests.factories import NOON
from tests.harness.isolation_walk import Step, Walk

TOKEN = "another-token-of-a-link-in-a-mail"
OPEN, ACCEPT = reverse("invitation_open", args=[TOKEN]), reverse("invitation_accept")
#: What the page of an invitation offers, by what it knows of the one who opened it.
SIGN_IN, MAKE_ACCOUNT, JOIN = "Sign in to join", "Make an account", ">Join</button>"
STANDS, OTHERS = "already, as", "Sign out and go on"


def people_steps() -> list[Step]:
    """Return all of them."""
    return [Step("journeys", words, run) for words, run in _PEOPLE.items()]


def _opened(walk: Walk, who: str, email: str, addresses: Iterable[tuple[str, str, bool]], method: str) -> str:
    """Open Alice's invitation for an address, while people have these other ones; say what came of it."""
    identity = walk.books.identities[who]
    with transaction.atomic():
        if not identity.cookies:  # a session keeps which link was opened
            session = Client().session
            session.save()
            identity = replace(identity, cookies={settings.SESSION_COOKIE_NAME: str(session.session_key)})
        rows = models.Invitation.objects.filter(pk=walk.books.taproom.invitation.pk)
        rows.update(token_sha256=hash_of(TOKEN), email=email)
        for owner, address, verified in addresses:
            user = walk.books.identities[owner].user
            EmailAddress.objects.create(user=user, email=address, verified=verified, primary=False)
        walk.ask(identity, "GET", OPEN)
        answer = walk.ask(identity, method, ACCEPT)
        transaction.set_rollback(True)
    if method == "POST":
        return str(answer.status)
    return next((words for words in (SIGN_IN, MAKE_ACCOUNT, JOIN, STANDS, OTHERS) if words in answer.text), "nothing")


def _an_invitation_knows_whom_it_is_for(walk: Walk) -> list[str]:
    """An address counts as somebody's once it is confirmed, however its letters are written; nobody else's does."""
    mine, other = ("dana", "dana.two@example.org", True), ("dana", "dana.three@example.org", True)
    bobs, unproven = ("bob", "dana.two@example.org", True), ("dana", "dana.two@example.org", False)
    two, faults, known = "dana.two@example.org", [], walk.books.identities
    mail = {who: models.User.objects.get(pk=known[who].user.pk).email for who in ("rosa", "charlie", "bob")}  # type: ignore[union-attr]
    for who, email, addresses, wanted, status in (
        ("anonymous", mail["bob"], (), SIGN_IN, "302"),
        ("anonymous", "nobody@example.org", (other,), MAKE_ACCOUNT, "302"),
        ("anonymous", two, (mine,), SIGN_IN, "302"),
        ("anonymous", two, (unproven,), MAKE_ACCOUNT, "302"),
        ("dana", two, (mine,), JOIN, "302"),
        ("dana", "Dana.Two@example.org", (mine,), JOIN, "302"),
        ("dana", two, (unproven,), OTHERS, "422"),
        ("dana", two, (bobs,), OTHERS, "422"),
        ("dana", two, (other,), OTHERS, "422"),
        ("rosa", mail["rosa"], (), JOIN, "302"),
        ("charlie", mail["charlie"], (), JOIN, "302"),
        ("bob", mail["bob"], (), STANDS, "422"),
    ):
        told = _opened(walk, who, email, addresses, "GET"), _opened(walk, who, email, addresses, "POST")
        faults += [] if told == (wanted, status) else [f"{who}, {email}, {addresses}: {told}"]
    return faults


def _a_label_that_ended_is_absent(walk: Walk) -> list[str]:
    """A replaced label, and one of an archived machine: nothing is shown, nothing is told."""
    link, faults = walk.books.taproom.report_link, []
    url = reverse("report", args=[walk.books.taproom.report_token])
    machine = models.Machine.objects.filter(pk=link.machine_id)
    for rows, change in ((models.ReportLink.objects.filter(pk=link.pk), "ended_at"), (machine, "archived_at")):
        with transaction.atomic():
            rows.update(**{change: NOON})
            answers = [walk.ask(walk.books.identities["anonymous"], method, url) for method in ("GET", "POST")]
            absent = walk.ask(walk.books.identities["anonymous"], "GET", reverse("report", args=["no-such-label"]))
            transaction.set_rollback(True)
        faults += [f"{change}: {answer.status}, not 404" for answer in answers if answer.status != 404]
        faults += walk.differ(answers[0], absent, walk.books.taproom.report_token, "no-such-label")
    return faults


def _only_an_owner_decides_about_people(walk: Walk) -> list[str]:
    """Past the pages, in the actions themselves: Bob was an owner when he opened a page, and is none when it comes."""
    invitations = importlib.import_module("collection.actions.invitations")
    people = importlib.import_module("collection.actions.people")
    record = importlib.import_module("collection.actions.record")
    bob, vera = (walk.books.identities[who].member for who in ("bob", "vera"))
    invitation = {"invitation": walk.books.taproom.invitation, "version": walk.books.taproom.invitation.version}
    colleague: dict[str, Any] = {"colleague": vera, "version": vera.version}  # type: ignore[union-attr]

    def send(invitation: Any, token: str) -> None:
        """Send nothing."""

    deeds: dict[str, Callable[[Any], Any]] = {
        "invited": lambda by: invitations.send_invitation(
            by=by, email="x@example.org", role="owner", sites=(), send=send
        ),
        "sent again": lambda by: invitations.send_invitation_again(by=by, send=send, **invitation),
        "withdrew": lambda by: invitations.withdraw_invitation(by=by, **invitation),
        "changed": lambda by: people.change_colleague(by=by, role="owner", **colleague),
        "ended": lambda by: people.end_membership(by=by, **colleague),
        "handed over": lambda by: people.hand_over(by=by, **colleague),
    }
    faults = []
    for words, deed in deeds.items():
        try:
            with transaction.atomic():
                deed(record.Author(member=bob, at=NOON, key=uuid.uuid4()))
                faults.append(f"a technician {words}")
                transaction.set_rollback(True)
        except PermissionDenied:
            pass
        except record.ActionRefused as refused:
            faults.append(f"a technician {words}: only {refused.reason}")
    return faults


def _a_site_of_another_is_none(walk: Walk) -> list[str]:
    """Past the pages: a key of another organization's site beside one's own, or an absent one alone."""
    access = importlib.import_module("collection.access")
    alice, own = walk.books.identities["alice"].member, walk.books.taproom.site.pk
    faults = [] if access.sites_for(alice, [own]) == [walk.books.taproom.site] else ["Alice's own site is not found"]
    for key in (walk.books.pavilion.site.pk, uuid.uuid4()):
        with contextlib.suppress(Http404):
            faults.append(f"found {access.sites_for(alice, [own, key])}")
    return faults


def _an_address_is_somebodys_once_it_is_proven(walk: Walk) -> list[str]:
    """Past the pages: which address may be the first, and which others go with an account that proved nothing."""
    people = importlib.import_module("collection.queries.people")
    dana, bob = (walk.books.identities[who].user for who in ("dana", "bob"))
    two, three, four, eves = (f"{name}@example.org" for name in ("dana.two", "dana.three", "dana.four", "eve"))
    with transaction.atomic():
        models.User.objects.create(email=eves)
        rows = ((dana, two, True), (dana, three, False), (bob, four, True), (dana, eves, True))
        for user, email, verified in rows:
            EmailAddress.objects.create(user=user, email=email, verified=verified, primary=False)
        told = {email: people.why_not_first(user=dana, email=email)[:7] for _, email, _ in rows}
        gone = {email: people.unsure_beside(user=dana, email=email) for email in (two.upper(), three, four)}
        hers = sorted(EmailAddress.objects.filter(user=dana).values_list("email", flat=True))
        transaction.set_rollback(True)
    wanted = {two: "", three: "Confirm", four: "Confirm", eves: eves[:7]}
    faults = [f"{email}: {told[email]!r}" for email in wanted if told[email] != wanted[email]]
    beside = {two.upper(): [], three: [email for email in hers if email != three], four: hers}
    return faults + [f"beside {email}: {gone[email]}" for email in beside if gone[email] != beside[email]]


def _another_surface_is_another_drift(walk: Walk) -> list[str]:
    """A floor's surface decides when its machines are due: they are asked for as the organization's own."""
    alice, url = walk.books.identities["alice"], reverse("floor_edit", args=[walk.books.taproom.floor.pk])
    with transaction.atomic():
        body = fields_of(walk.ask(alice, "GET", url).text).sent | {"surface": "timber"}
        answer = walk.ask(alice, "POST", url, body, check_keys=True)
        transaction.set_rollback(True)
    return answer.faults + ([] if answer.status == 302 else [f"the floor: {answer.status}"])


_PEOPLE: dict[str, Callable[[Walk], list[str]]] = {
    "an invitation knows whom it is for": _an_invitation_knows_whom_it_is_for,
    "a label that ended is absent": _a_label_that_ended_is_absent,
    "only an owner decides about people, in the actions too": _only_an_owner_decides_about_people,
    "a site of another organization is none, in the actions too": _a_site_of_another_is_none,
    "an address is somebody's once it is proven": _an_address_is_somebodys_once_it_is_proven,
    "another surface is another drift": _another_surface_is_another_drift,
}
