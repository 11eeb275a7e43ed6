"""The steps of secrets: a label, the link of an invitation, and what is a person's own, whatever the organization."""

from collections.abc import Callable

from allauth.usersessions.models import UserSession
from django.db import transaction
from django.test import Client
from django.urls import reverse

from collection import models
from collection.models.base import hash_of
from tests.codes import proven
from tests.factories import NOON
from tests.harness.isolation_walk import Step, Walk
from tests.harness.isolation_world import Identity

TOKEN = "the-token-of-a-link-in-a-mail"


def secret_steps() -> list[Step]:
    """Return all of them."""
    return [Step("journeys", words, run) for words, run in _SECRETS.items()]


def _a_problem_is_told(walk: Walk) -> list[str]:
    """By anyone, of a machine of any organization; what comes back is the same, and names nothing of the book."""
    faults = []
    for place in (walk.books.taproom, walk.books.hall, walk.books.pavilion):
        url, told = reverse("report", args=[place.report_token]), []
        for who in ("anonymous", "dana", "charlie", "vera", "alice"):
            with transaction.atomic():
                answer = walk.ask(walk.books.identities[who], "POST", url, {"problem": "wobbles"}, check_keys=True)
                rows = models.Report.objects.filter(machine=place.machine, problem="wobbles").count()
                transaction.set_rollback(True)
            told.append((answer.status, answer.headers.get("Location"), answer.text, rows))
            faults += answer.faults
        faults += [f"{each[:2]}, {each[3]} rows" for each in told if each != (302, reverse("report_thanks"), "", 1)]
    return faults


def _link_for(walk: Walk, who: Identity) -> models.Invitation:
    """Alice's invitation to read the Tern Taproom, for somebody, with a link whose token is known."""
    rows = models.Invitation.objects.filter(pk=walk.books.taproom.invitation.pk)
    rows.update(token_sha256=hash_of(TOKEN), email=who.user.email)  # type: ignore[union-attr]
    return rows.get()


def _a_link_opens_one_organization(walk: Walk) -> list[str]:
    """To whom it was sent, as a reader of its site; nobody else joins by it, and it shows no row of the book."""
    dana, books, faults = walk.books.identities["dana"], walk.books, []
    accept, mine = reverse("invitation_accept"), reverse("machine", args=[books.taproom.machine.pk])
    theirs = [reverse("machine", args=[each.machine.pk]) for each in (books.hall, books.pavilion)]
    asked = [("GET", reverse("invitation_open", args=[TOKEN]), 302), ("GET", accept, 200)]
    for who, joins in (("dana", True), ("charlie", False), ("bob", False), ("rosa", False)):
        after = [("POST", accept, 302), ("GET", mine, 200), ("GET", theirs[0], 404), ("GET", theirs[1], 404)]
        after = after if joins else [("POST", accept, 422)]
        with transaction.atomic():
            invitation, founded = _link_for(walk, dana), frozenset[str]()
            before = models.Membership.objects.count()
            for method, url, wanted in [*asked, *after]:
                answer = walk.ask(books.identities[who], method, url, founded=founded, check_keys=method == "POST")
                founded = answer.founded
                faults += answer.faults + ([] if answer.status == wanted else [f"{who} {url}: {answer.status}"])
                faults += [f"{who} sees a machine"] if not joins and books.taproom.machine.title in answer.text else []
            joined = models.Membership.objects.count() - before, _accepted(invitation)
            transaction.set_rollback(True)
        faults += [] if joined == (int(joins), joins) else [f"{who}: {joined}"]
    return faults


def _accepted(invitation: models.Invitation) -> bool:
    return models.Invitation.objects.filter(pk=invitation.pk, accepted_at__isnull=False).exists()


def _a_dead_link_opens_nothing(walk: Walk) -> list[str]:
    """Withdrawn, or too old: it looks as one that never was, also to whom it was sent, and closes what it opened."""
    dana, faults = walk.books.identities["dana"], []
    urls = reverse("invitation_open", args=[TOKEN]), reverse("invitation_accept")
    for change in ({"withdrawn_at": NOON}, {"created_at": NOON.replace(year=2020), "expires_at": NOON}):
        with transaction.atomic():
            rows = models.Invitation.objects.filter(pk=_link_for(walk, dana).pk)
            answers = [walk.ask(dana, "GET", url) for url in urls]
            rows.update(**change)
            answers += [walk.ask(dana, method, url) for url in urls for method in ("GET", "POST")]
            absent = walk.ask(dana, "GET", reverse("invitation_open", args=["no-such-token"]))
            transaction.set_rollback(True)
        faults += [fault for each in answers for fault in each.faults]
        got = [each.status for each in answers]
        faults += [] if got == [302, 200, 404, 405, 404, 404] else [f"{change}: {got}"]
        faults += walk.differ(answers[2], absent)
    return faults


def _devices_are_ones_own(walk: Walk) -> list[str]:
    """Where Bob is signed in is shown to Bob alone, and nobody else ends it: not even an owner, who gets 404."""
    bob, alice = (walk.books.identities[who] for who in ("bob", "alice"))
    with transaction.atomic():
        phone, answers, again = Client(), [], list[bool]()
        phone.force_login(bob.user)
        key = phone.session.session_key
        device = UserSession.objects.create(user=bob.user, ip="192.0.2.77", user_agent="Bob’s", session_key=key)
        shown = [("192.0.2.77" in walk.ask(who, "GET", reverse("devices")).text) for who in (bob, alice)]
        for url, body in ((reverse("device_end", args=[device.pk]), None), (reverse("devices_end"), {"here": "on"})):
            asked = walk.ask(bob, "POST", url, body)
            answers.append(asked)
            again.append(asked.headers.get("Location", "").startswith(reverse("account_reauthenticate")))
        proven(alice.client(), alice.user)
        for pk in (device.pk, 999999999):
            answers.append(walk.ask(alice, "POST", reverse("device_end", args=[pk])))
        stands = UserSession.objects.filter(pk=device.pk).exists()
        transaction.set_rollback(True)
    faults = [fault for answer in answers for fault in answer.faults]
    faults += [] if (shown, stands) == ([True, False], True) else [f"shown {shown}, stands {stands}"]
    got = [answer.status for answer in answers]
    faults += [] if again == [True, True] else [f"Bob is asked again who he is: {again}"]
    return faults + ([] if got == [302, 302, 404, 404] else [f"{got}"])


_SECRETS: dict[str, Callable[[Walk], list[str]]] = {
    "a problem is told through a label as anyone": _a_problem_is_told,
    "a link opens one organization, to one person": _a_link_opens_one_organization,
    "a dead link opens nothing": _a_dead_link_opens_nothing,
    "devices are one's own": _devices_are_ones_own,
}
