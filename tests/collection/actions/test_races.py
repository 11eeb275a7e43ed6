"""Writes at the same moment, on the database as it is really set up: one effect, no error, nothing lost.

Threads need rows that are really committed, so these tests clean the tables themselves.
"""

import threading
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connections
from django.test import Client
from django.urls import reverse

from collection import models
from tests import factories as make
from tests.collection.forms.test_hostile_posts import fields_of
from tests.collection.views.test_sent_twice import ADDING, AT_A_SITE, SPEC
from tests.surveying import sent
from tests.worlds import TernTaproom, tern_taproom

pytestmark = pytest.mark.django_db(transaction=True)
#: How many people press at the same moment.
AT_ONCE = 4


def together(*acts: Callable[[], Any]) -> list[Any]:
    """Run each in a thread with a connection of its own, all let go at once; return what each gave."""
    gate, found = threading.Barrier(len(acts)), [None] * len(acts)

    def run(place: int) -> None:
        try:
            gate.wait(10)
            found[place] = acts[place]()
        except BaseException as error:
            found[place] = error  # type: ignore[call-overload]
        finally:
            connections["default"].close()

    threads = [threading.Thread(target=run, args=(place,)) for place in range(len(acts))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert not any(isinstance(each, BaseException) for each in found), found
    return found


@pytest.fixture
def taproom(transactional_db: None) -> TernTaproom:
    world = tern_taproom()
    assert world.survey
    return world


def client_of(member: models.Membership) -> Client:
    client = Client()
    client.force_login(member.user)
    return client


def address(taproom: TernTaproom, name: str, noun: str) -> str:
    return reverse(name, args=[getattr(taproom, noun).pk] if noun else [])


@pytest.mark.parametrize(("name", "noun", "typed", "other", "table"), ADDING, ids=[row[0] for row in ADDING])
def test_one_page_pressed_many_times_at_once(
    taproom: TernTaproom, name: str, noun: str, typed: dict[str, str], other: dict[str, str], table: Any
) -> None:
    url, page, before = address(taproom, name, noun), typed | {"write_key": str(uuid.uuid4())}, table.objects.count()
    clients = [client_of(taproom.people.bob) for _ in range(AT_ONCE)]
    answers = together(*(lambda client=client: client.post(url, page) for client in clients))
    assert [answer.status_code for answer in answers] == [302] * AT_ONCE
    assert len({answer.url for answer in answers}) == 1
    assert table.objects.count() == before + 1


@pytest.mark.parametrize(
    ("name", "noun", "typed", "other", "table"),
    [row for row in ADDING if row[0] in ("site_new", "floor_new", "bay_new", "instrument_new", "machine_new")],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_the_same_name_from_several_people_at_once(
    taproom: TernTaproom, name: str, noun: str, typed: dict[str, str], other: dict[str, str], table: Any
) -> None:
    url, before = address(taproom, name, noun), table.objects.count()
    clients = [client_of(member) for member in (taproom.people.bob, taproom.people.alice) * 2]
    answers = together(*(lambda client=client: client.post(url, typed) for client in clients))
    assert sorted(answer.status_code for answer in answers) == [302, 422, 422, 422]
    assert table.objects.count() == before + 1


def test_one_bay_for_two_machines_at_once(taproom: TernTaproom) -> None:
    alice = taproom.people.alice
    free = make.BayFactory(member=alice, floor=taproom.floor)
    machines = [make.MachineFactory(member=alice, bay=None) for _ in range(AT_ONCE)]
    pages = [(client_of(alice), reverse("machine_move", args=[machine.pk])) for machine in machines]
    page = {"bay": str(free.pk), "version": "1"}
    answers = together(*(lambda c=client, u=url: c.post(u, page) for client, url in pages))
    assert sorted(answer.status_code for answer in answers) == [302, 422, 422, 422]
    assert models.Machine.objects.filter(bay=free).count() == 1


def test_machines_at_one_new_site_at_once(taproom: TernTaproom) -> None:
    """One of them makes the site and its floor; each gets a bay of its own."""
    pages = [AT_A_SITE | {"code": f"TK-{number}"} for number in range(AT_ONCE)]
    clients = [(client_of(taproom.people.bob), page) for page in pages]
    answers = together(*(lambda c=client, p=page: c.post(reverse("machine_new"), p) for client, page in clients))
    assert [answer.status_code for answer in answers] == [302] * AT_ONCE
    floor = models.Floor.objects.get(site__name=AT_A_SITE["site_name"])
    names = models.Machine.objects.filter(bay__floor=floor).values_list("bay__name", flat=True)
    assert sorted(names) == [f"Bay {number + 1}" for number in range(AT_ONCE)]


def test_edits_at_once_have_one_winner(taproom: TernTaproom) -> None:
    url = reverse("machine_edit", args=[taproom.machine.pk])
    clients = [client_of(taproom.people.alice) for _ in range(AT_ONCE)]
    page = fields_of(clients[0].get(url).content.decode()).sent
    titles = [f"Tin Kettle {number}" for number in range(AT_ONCE)]
    answers = together(
        *(
            lambda c=client, t=title: c.post(url, page | {"title": t})
            for client, title in zip(clients, titles, strict=True)
        )
    )
    assert sorted(answer.status_code for answer in answers) == [302, 409, 409, 409]
    taproom.machine.refresh_from_db()
    won = next(title for title, answer in zip(titles, answers, strict=True) if answer.status_code == 302)
    assert (taproom.machine.title, taproom.machine.version) == (won, 2)
    assert models.Change.objects.filter(row_id=taproom.machine.pk, verb="changed").count() == 1


def test_everything_about_one_machine_at_once(taproom: TernTaproom) -> None:
    """Survey, spec, plan, turns, move, legs: each done or refused in words, and the status follows the record."""
    plan, machine = taproom.plan, taproom.machine.pk
    free = make.BayFactory(member=taproom.people.alice, floor=taproom.floor)
    rows = (("along", "6.4", "rear"), ("across", "0.1", "left"))
    legs = fields_of(client_of(taproom.people.alice).get(reverse("machine_legs", args=[machine])).content.decode()).sent
    pages = [
        (reverse("survey_new", args=[machine]), sent(taproom.instrument.pk, *rows)),
        (reverse("machine_spec", args=[machine]), SPEC),
        (reverse("plan_new", args=[machine]), {"source": "survey", "rear_reachable": "on", "steps_per_turn": "4"}),
        (reverse("plan_turned", args=[plan.pk]), {"lift": "1", "as_shown": "on"}),
        (reverse("machine_move", args=[machine]), {"bay": str(free.pk), "version": "1"}),
        (reverse("machine_legs", args=[machine]), legs | {"FL_exposure_mm": "13"}),
        (reverse("plan_set_aside", args=[plan.pk]), {"why": "Sold."}),
    ]
    clients = [client_of(taproom.people.alice) for _ in pages]
    answers = together(
        *(lambda c=client, u=url, p=page: c.post(u, p) for client, (url, page) in zip(clients, pages, strict=True))
    )
    assert {answer.status_code for answer in answers} <= {302, 409, 422}, answers
    assert models.Plan.objects.filter(state__in=("open", "turned")).count() <= 1
    status = models.MachineStatus.objects.get(machine=machine)
    assert status.spec == models.Spec.objects.filter(machine=machine).latest("created_at")
    assert status.survey == models.Survey.objects.filter(machine=machine).latest("measured_at")
    assert sum(leg.steps != 0 for leg in plan.legs.all()) >= models.Adjustment.objects.filter(plan=plan).count()


def test_one_lift_recorded_by_two_people_at_once(taproom: TernTaproom) -> None:
    plan = taproom.plan
    before = list(taproom.machine.legs.order_by("place").values_list("exposure_mm", flat=True))
    url, clients = reverse("plan_turned", args=[plan.pk]), [client_of(taproom.people.bob) for _ in range(AT_ONCE)]
    page = {"lift": "1", "as_shown": "on"}
    answers = together(*(lambda client=client: client.post(url, page) for client in clients))
    assert sorted(answer.status_code for answer in answers) == [302, 422, 422, 422]
    for leg, was in zip(plan.answer["legs"], before, strict=True):
        now = models.Leg.objects.get(machine=taproom.machine, place=["FL", "FR", "RL", "RR"].index(leg["name"]))
        assert now.exposure_mm == pytest.approx(was + (leg["height_mm"] if leg["lift"] == 1 else 0))
