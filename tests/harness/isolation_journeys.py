"""The steps that take more than one request, or go past the pages: keys used before, refusals in the actions, and what
acts on the next request of a standing session."""

import datetime
import importlib
import uuid
from collections.abc import Callable
from typing import Any

from django.apps import apps
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.urls import reverse

from collection import models
from tests.collection.access.tenants import TENANT
from tests.collection.views.test_machines_change import legs_typed
from tests.factories import NOON
from tests.harness.isolation_sendings import Sending
from tests.harness.isolation_walk import Step, Walk

KEY = "7d0f4a52-5c1e-4f0b-9a3e-2b6c8d9e0f10"


def journey_steps(good: list[Sending]) -> list[Step]:
    """Return all of them."""
    return [
        *[step for each in good for step in (_twice(each), _anothers_key(each))],
        *[Step("journeys", words, run) for words, run in _JOURNEYS.items()],
    ]


def _twice(sending: Sending) -> Step:
    """The same page sent twice is answered alike, and writes once."""

    def run(walk: Walk) -> list[str]:
        alice, body = walk.books.identities["alice"], {**sending.body, "write_key": KEY}
        with transaction.atomic():
            one = walk.ask(alice, "POST", sending.url, body)
            two = walk.ask(alice, "POST", sending.url, body, founded=one.founded)
            transaction.set_rollback(True)
        alike = (one.status, one.headers.get("Location")) == (two.status, two.headers.get("Location"))
        return one.faults + two.faults + ([] if alike else [f"{one.status} first, then {two.status}"])

    return Step("journeys", f"{sending.url} sent twice", run)


def _anothers_key(sending: Sending) -> Step:
    """A key that is a row of another organization: refused, and that row is as it was."""

    def run(walk: Walk) -> list[str]:
        alice = walk.books.identities["alice"]
        with transaction.atomic():
            walk.ask(alice, "POST", sending.url, {**sending.body, "write_key": KEY})
            made = [label for label in TENANT if _has_uuid(label) and _row(label, pk=KEY)]
            transaction.set_rollback(True)
        dune = walk.books.pavilion.site.organization
        theirs = [row for label in made for row in [_row(label, **{TENANT[label]: dune.pk})] if row]
        faults = []
        for row in theirs:
            answer = walk.send("alice", "POST", sending.url, {**sending.body, "write_key": str(row.pk)})
            faults += answer.faults + ([] if answer.status == 422 else [f"{answer.status}, not 422"])
        return faults

    return Step("journeys", f"{sending.url} with another organization's key", run)


def _has_uuid(label: str) -> bool:
    return apps.get_model(label)._meta.pk.get_internal_type() == "UUIDField"


def _row(label: str, **asked: Any) -> Any:
    return apps.get_model(label)._base_manager.filter(**asked).first()


def _refused(act: Callable[[], Any]) -> list[str]:
    try:
        with transaction.atomic():
            act()
            transaction.set_rollback(True)
    except PermissionDenied:
        return []
    return ["it was done"]


def _a_reader_is_no_author(walk: Walk) -> list[str]:
    record = importlib.import_module("collection.actions.record")
    vera = walk.books.identities["vera"].member
    return _refused(lambda: record.Author(member=vera, at=NOON, key=uuid.uuid4()))


def _a_technician_changes_no_organization(walk: Walk) -> list[str]:
    record = importlib.import_module("collection.actions.record")
    people = importlib.import_module("collection.actions.people")
    by = record.Author(member=walk.books.identities["bob"].member, at=NOON, key=uuid.uuid4())
    return _refused(
        lambda: people.change_organization(by=by, version=1, name="Bob’s", angle_unit="deg", length_unit="mm")
    )


def _changed(walk: Walk, identity: str, change: dict[str, Any], *asked: tuple[str, str, int]) -> list[str]:
    """What a standing session gets on its next request after its membership was changed."""
    who, faults = walk.books.identities[identity], []
    with transaction.atomic():
        models.Membership.objects.filter(pk=who.member.pk).update(**change)  # type: ignore[union-attr]
        for method, url, wanted in asked:
            answer = walk.ask(who, method, url)
            faults += [] if answer.status == wanted else [f"{method} {url}: {answer.status}, not {wanted}"]
        transaction.set_rollback(True)
    return faults


def _a_removed_member_is_out(walk: Walk) -> list[str]:
    machine = reverse("machine", args=[walk.books.taproom.machine.pk])
    faults = _changed(walk, "bob", {"ended_at": NOON}, ("GET", machine, 302), ("POST", reverse("site_new"), 302))
    return faults + _changed(walk, "alice", {"ended_at": NOON}, ("GET", reverse("organization_edit"), 302))


def _a_role_changes_at_once(walk: Walk) -> list[str]:
    edit, owner = reverse("machine_edit", args=[walk.books.taproom.machine.pk]), reverse("organization_edit")
    faults = _changed(walk, "bob", {"role": "viewer"}, ("GET", edit, 403), ("POST", reverse("site_new"), 403))
    faults += _changed(walk, "bob", {"role": "owner"}, ("GET", owner, 200))
    return faults + _changed(walk, "alice", {"role": "technician"}, ("GET", owner, 403), ("GET", edit, 200))


def _a_site_taken_away_is_gone(walk: Walk) -> list[str]:
    vera, url = walk.books.identities["vera"], reverse("machine", args=[walk.books.taproom.machine.pk])
    with transaction.atomic():
        before = walk.ask(vera, "GET", url).status
        models.Membership.objects.get(pk=vera.member.pk).sites.clear()  # type: ignore[union-attr]
        after = walk.ask(vera, "GET", url).status
        transaction.set_rollback(True)
    return [] if (before, after) == (200, 404) else [f"{before}, then {after}"]


def _only_a_member_chooses(walk: Walk) -> list[str]:
    """An organization of somebody else, one that is left, and no key at all."""
    url, dune = reverse("organization_choose"), str(walk.books.pavilion.site.organization_id)
    ours = str(walk.books.taproom.site.organization_id)
    asked = [("alice", dune, 404), ("rosa", ours, 404), ("tom", ours, 302), ("tom", dune, 404), ("alice", "x", 404)]
    answers = [(who, key, wanted, walk.send(who, "POST", url, {"organization": key})) for who, key, wanted in asked]
    return [f"{who} chose {key}: {a.status}, not {wanted}" for who, key, wanted, a in answers if a.status != wanted]


def _nothing_is_saved_for_another(walk: Walk) -> list[str]:
    """What was typed on a device is bound to who typed it, and for which organization."""
    site = {"name": "Millpond Bowl", "time_zone": "UTC"}
    books, faults = walk.books, []
    bob, tom = books.identities["bob"].member, books.identities["tom"].user
    saltmarsh, arcade = books.taproom.site.organization_id, books.identities["tom"].member.organization_id
    for who, signature, wanted in (
        ("bob", bob.signature, 201),  # type: ignore[union-attr]
        ("alice", bob.signature, 412),  # type: ignore[union-attr]
        ("tom", f"{tom.pk}.{saltmarsh}", 412),  # type: ignore[union-attr]
        ("tom", f"{tom.pk}.{arcade}", 201),  # type: ignore[union-attr]
        ("dana", bob.signature, 412),  # type: ignore[union-attr]
        ("anonymous", bob.signature, 401),  # type: ignore[union-attr]
    ):
        answer = walk.send(who, "POST", reverse("site_new"), site, headers={"X-Keep": signature})
        faults += answer.faults
        faults += [] if answer.status == wanted else [f"{who} sent {signature}: {answer.status}, not {wanted}"]
    answer = walk.send("tom", "POST", reverse("site_new"), {**site, "opened_for": str(saltmarsh)})
    return faults + ([] if answer.status == 422 else [f"opened for another organization: {answer.status}, not 422"])


def _people_are_told_to_their_own(walk: Walk) -> list[str]:
    """Who belongs here: nobody who left, nobody of another organization; a reader sees no other reader."""
    faults = []
    for who, seen, unseen in (
        ("alice", ("bob@", "vera@", "walt@"), ("rosa@", "charlie@", "greta@")),
        ("vera", ("alice@", "bob@", "vera@"), ("walt@", "rosa@", "charlie@")),
        ("tom", ("tom@",), ("alice@", "bob@", "vera@")),
    ):
        text = walk.send(who, "GET", reverse("organization")).text.replace("<wbr>", "")
        faults += [f"{who} does not see {each}" for each in seen if each not in text]
        faults += [f"{who} sees {each}" for each in unseen if each in text]
    return faults


def _who_left_acts_nowhere(walk: Walk) -> list[str]:
    """Tom left Otter Arcade while acting there: he acts in his other one, and what he had open is not saved in it."""
    tom = walk.books.identities["tom"]
    left = tom.member.organization  # type: ignore[union-attr]
    with transaction.atomic():
        models.Membership.objects.filter(pk=tom.member.pk).update(ended_at=NOON)  # type: ignore[union-attr]
        opened = {"name": "Millpond Bowl", "time_zone": "UTC", "opened_for": str(left.pk)}
        saved = walk.ask(tom, "POST", reverse("site_new"), opened).status
        named = left.name in walk.ask(tom, "GET", reverse("organization")).text
        transaction.set_rollback(True)
    return [] if (saved, named) == (422, False) else [f"{saved}, {named}"]


def _a_bay_elsewhere_is_not_named(walk: Walk) -> list[str]:
    """A machine that came from a site which Vera may not read: it stood elsewhere."""
    books = walk.books
    with transaction.atomic():
        stamp = {"organization": books.taproom.site.organization, "created_by": books.taproom.people.alice.user}
        for hours, bay in enumerate((books.hall.bay, books.taproom.bay)):
            at = NOON + datetime.timedelta(minutes=hours)
            models.Standing.objects.create(machine=books.taproom.machine, bay=bay, created_at=at, **stamp)
        url = reverse("machine", args=[books.taproom.machine.pk])
        vera, bob = (walk.ask(books.identities[who], "GET", url) for who in ("vera", "bob"))
        transaction.set_rollback(True)
    told = books.hall.site.name in vera.text, books.hall.site.name in bob.text, "Elsewhere" in vera.text
    return vera.faults + bob.faults + ([] if told == (False, True, True) else [f"{told}"])


def _a_dropped_level_is_told_to_who_may_check_it(walk: Walk) -> list[str]:
    """Vera reaches no level, so that none is due for her."""
    level, url, books = walk.books.taproom.instrument, reverse("today"), walk.books
    stamp = {"organization": level.organization, "created_by": level.created_by, "created_at": NOON}
    with transaction.atomic():
        models.InstrumentEvent.objects.create(instrument=level, kind="dropped", happened_at=NOON, **stamp)
        vera, bob = (walk.ask(books.identities[who], "GET", url) for who in ("vera", "bob"))
        transaction.set_rollback(True)
    told = level.name in vera.text, level.name in bob.text
    return vera.faults + bob.faults + ([] if told == (False, True) else [f"told to Vera and Bob: {told}"])


def _a_reader_reads_one_site(walk: Walk) -> list[str]:
    """Lists, counts and searches name nothing of the other site, and no instrument: those belong to no site."""
    hall, faults = walk.books.hall, []
    unseen = (hall.site.name, hall.machine.title, hall.machine.code, walk.books.taproom.instrument.name)
    for name in ("today", "machines", "sites", "instruments"):
        for query in ("", f"?site={hall.site.pk}", "?q=e", "?verdict=borderline"):
            answer = walk.send("vera", "GET", f"{reverse(name)}{query}")
            faults += answer.faults + [f"{name}{query} names {each}" for each in unseen if each in answer.text]
        if name != "instruments":
            seen = walk.send("alice", "GET", reverse(name)).text
            faults += [] if hall.site.name in seen or hall.machine.title in seen else [f"{name} shows Alice less"]
    return faults


def _a_stale_page_tells_of_its_own_row(walk: Walk) -> list[str]:
    """Who wrote what meanwhile is read from the history: of this machine and its legs, in this organization."""
    alice, url = walk.books.identities["alice"], reverse("machine_legs", args=[walk.books.taproom.machine.pk])
    with transaction.atomic():
        answers = [walk.ask(alice, "POST", url, legs_typed(FL_exposure_mm=typed)) for typed in ("13", "14")]
        transaction.set_rollback(True)
    got = [answer.status for answer in answers]
    return [fault for answer in answers for fault in answer.faults] + ([] if got == [302, 409] else [f"{got}"])


_JOURNEYS: dict[str, Callable[[Walk], list[str]]] = {
    "a reader is no author": _a_reader_is_no_author,
    "a technician changes no organization": _a_technician_changes_no_organization,
    "a removed member is out on the next request": _a_removed_member_is_out,
    "a role changes on the next request": _a_role_changes_at_once,
    "a site taken away from a reader is gone as vera": _a_site_taken_away_is_gone,
    "only a member chooses an organization": _only_a_member_chooses,
    "nothing is saved for another person or organization": _nothing_is_saved_for_another,
    "people are told to their own as vera": _people_are_told_to_their_own,
    "a reader reads one site as vera": _a_reader_reads_one_site,
    "a dropped level is told to who may check it as vera": _a_dropped_level_is_told_to_who_may_check_it,
    "a stale page tells of its own row": _a_stale_page_tells_of_its_own_row,
    "who left acts nowhere": _who_left_acts_nowhere,
    "a bay elsewhere is not named as vera": _a_bay_elsewhere_is_not_named,
}
