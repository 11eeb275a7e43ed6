"""Labels and reports in their states: told once, told by many, closed; labels that ended, and too much told."""

import datetime
import uuid
from collections.abc import Iterator
from typing import Any

from django.test import Client
from django.urls import reverse
from django.utils import timezone

from collection import models
from collection.actions.reports import close_report, make_label, report_problem
from collection.models.reports import PROBLEMS
from tests import factories as make
from tests.sights.pages import HOST, Sight
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom

_DAY, _HOUR = datetime.timedelta(days=1), datetime.timedelta(hours=1)
_IN_SPEC = [along(6.5, turned_value=6.5), across(0, "level", turned_value=0, turned_high_end="level")]


def reports(world: TernTaproom) -> Iterator[Sight]:
    """Yield the pages of a machine that was reported, of its label, and what strangers meet."""
    who, now = world.people.alice.user, timezone.now()
    machine = make.MachineFactory(member=world.people.alice, title="Paper Lighthouse", bay__floor=world.floor)
    survey_of(machine, by=world.people.bob, instrument=world.instrument, readings=_IN_SPEC, at=now - 9 * _DAY)
    link = make_label(by=author(world.people.alice, now - 9 * _DAY), machine=machine)
    yield Sight("machine_label", "made", who, reverse("machine_label", args=[machine.pk]))
    _tell(link, "too_steep", now - 8 * _DAY)
    survey_of(machine, by=world.people.bob, instrument=world.instrument, readings=_IN_SPEC, at=now - 7 * _DAY)
    played = _tell(link, "moved", now - 6 * _DAY)
    close_report(by=author(world.people.bob, now - 5 * _DAY, why="Pushed by a dancer, and back."), report=played)
    yield Sight("machine", "reports-closed", who, reverse("machine", args=[machine.pk]))
    told = _tell(link, "rolls_left", now - 3 * _HOUR)
    yield Sight("machine", "reported", who, reverse("machine", args=[machine.pk]))
    for name in ("today", "machines"):
        yield Sight(name, "reported", who, reverse(name))
    yield Sight("machine", "reported-to-a-reader", world.people.vera.user, reverse("machine", args=[machine.pk]))
    _tell(link, "rolls_left", now - _HOUR)
    yield Sight("report_close", "told-twice", who, reverse("report_close", args=[told.pk]))
    for number, problem in enumerate(PROBLEMS):
        _tell(link, problem, now - (5 - number) * _HOUR / 10)
    yield Sight("machine", "reported-by-many", who, reverse("machine", args=[machine.pk]))
    yield Sight("today", "reported-by-many", who, reverse("today"))
    yield Sight("site_sheet", "reported", who, reverse("site_sheet", args=[world.site.pk]))
    models.ReportLink.objects.filter(pk=link.pk).update(token_sha256="0" * 64)  # as under another secret key
    yield Sight("machine_label", "another-key", who, reverse("machine_label", args=[machine.pk]))
    yield Sight("report", "ended", None, reverse("report", args=["no-such-label"]), 404)
    address = reverse("report", args=[world.report_token])
    yield Sight("report", "too-often", None, address, 429, answer=lambda: _too_often(address))


def _tell(link: models.ReportLink, problem: str, at: datetime.datetime) -> models.Report:
    return report_problem(link=link, problem=problem, key=uuid.uuid4(), at=at)


def _too_often(address: str) -> Any:
    """What the label's page answers when one address of the network has told too much."""
    stranger = Client(SERVER_NAME=HOST, REMOTE_ADDR="203.0.113.9")
    for _ in range(60):
        answer = stranger.post(address, {"problem": "moved"})
        if answer.status_code == 429:
            break
    return answer
