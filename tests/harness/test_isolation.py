"""The walk in its short form: nobody gets what the table does not give them, no request asks the database for more than
its own organization, and nothing of the canary is heard. Each part first fails on a seeded fault.

The long form is `tests/harness/matrix.py`, `canary.py` and `mutants.py`.
"""

import json
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from django.conf import settings
from django.db import transaction
from django.urls import URLPattern, URLResolver, get_resolver

from collection import access, models
from tests import factories as make
from tests.collection.access.table import ROWS
from tests.harness.isolation_bodies import asked_names, missed, takers, unproved
from tests.harness.isolation_canary import Canary, marked_books
from tests.harness.isolation_leaks import LEAKS, without_scope
from tests.harness.isolation_sendings import Sending, sendings
from tests.harness.isolation_stage import frozen
from tests.harness.isolation_steps import all_steps
from tests.harness.isolation_walk import Step, Walk, faults_of
from tests.harness.isolation_watch import crossing
from tests.worlds import TernTaproom

PARTS = ("matrix", "bodies", "queries", "sendings", "chains", "journeys", "mail")
pytestmark = [pytest.mark.long, pytest.mark.one_database]


@dataclass
class Stage:
    """The world with its canary, and every step."""

    walk: Walk
    canary: Canary
    steps: list[Step]
    good: list[Sending]

    def of(self, part: str) -> list[Step]:
        return [step for step in self.steps if step.part == part]


@pytest.fixture(scope="module")
def stage(django_db_setup: None, django_db_blocker: pytest.FixtureRequest) -> Iterator[Stage]:
    with django_db_blocker.unblock(), frozen(), transaction.atomic():  # type: ignore[attr-defined]
        books, canary = marked_books()
        yield Stage(Walk(books), canary, all_steps(books, short=True), sendings(books))
        transaction.set_rollback(True)


def addresses(resolver: URLResolver | None = None, above: frozenset[str] = frozenset()) -> Iterator[Any]:
    """Yield the name of every address that the app answers, with the keys in it."""
    for entry in (resolver or get_resolver()).url_patterns:
        keys = above | set(entry.pattern.regex.groupindex)
        if isinstance(entry, URLResolver):
            yield from addresses(entry, keys)
        elif isinstance(entry, URLPattern):
            yield entry.name or str(entry.pattern), keys


def test_a_crossing_of_two_organizations_is_found(taproom: TernTaproom) -> None:
    """Also the one test here that asks pytest for a database of its own; all others share the stage."""
    assert crossing() == []
    models.Machine.objects.filter(pk=taproom.machine.pk).update(bay=make.BayFactory(member=taproom.people.charlie))
    assert [fault.split(" of ")[0] for fault in crossing()] == ["collection.Machine.bay"]


def test_every_address_has_a_row_and_every_key_in_it_a_kind() -> None:
    rows = {row.name: set(row.ids) | set(row.words) | set(row.secrets) for row in ROWS}
    known = dict(addresses())
    assert sorted(known) == sorted(rows)
    assert {name: keys for name, keys in known.items() if keys != rows[name]} == {}


def test_every_field_that_takes_a_key_is_tried(stage: Stage) -> None:
    assert len(takers()) >= 12
    assert missed(stage.good) == set()
    assert unproved(stage.good) <= {"pair_with"}  # only right after a survey; test_quick_checks.py shows it taken
    assert missed(stage.good[:3]) != set()
    assert asked_names() >= {"site", "bay", "plan", "next", "q"}


@pytest.mark.parametrize("part", PARTS)
def test_nobody_gets_what_is_not_theirs(stage: Stage, part: str) -> None:
    steps, before = stage.of(part), stage.walk.requests
    stage.walk.heard = stage.canary.heard
    with stage.canary.listening():
        assert faults_of(stage.walk, steps) == []
    stage.walk.heard = None
    assert stage.canary.hits == []
    assert stage.walk.requests - before >= len(steps) > 0
    assert part == "mail" or stage.canary.looked_at["logs"]


def test_the_world_keeps_its_organizations_apart(stage: Stage) -> None:
    assert crossing() == []


@pytest.mark.parametrize("part", ["matrix", "bodies", "queries", "sendings", "chains", "journeys"])
def test_a_forgotten_organization_is_found_in_every_part(stage: Stage, part: str) -> None:
    with without_scope():
        steps = stage.of(part)
        found = faults_of(stage.walk, [*steps[::-1][:60], *steps[::12]], most=1)
    assert found


def test_each_guard_that_is_gone_is_found(stage: Stage) -> None:
    """A reader who may write, a technician who is an owner, a member who left, a reader of every site."""
    everyone = property(lambda member: True)
    cells = [step for step in stage.of("matrix") if "own id" in step.name or "other site" in step.name]
    for gone in (
        patch.object(models.Membership, "may_write", everyone),
        patch.object(models.Membership, "is_owner", everyone),
        patch.object(access, "_SITE_OF", dict.fromkeys(access._SITE_OF, "id")),
    ):
        with gone:
            assert faults_of(stage.walk, [step for step in cells if " as vera" in step.name or " as bob" in step.name],
                             most=1)  # fmt: skip


@pytest.mark.parametrize("name", sorted(LEAKS))
def test_a_planted_leak_is_heard(stage: Stage, name: str) -> None:
    canary = stage.canary
    with transaction.atomic(), canary.listening():
        LEAKS[name](Walk(stage.walk.books, heard=canary.heard), canary)
        transaction.set_rollback(True)
    assert canary.hits
    canary.hits.clear()
    for path in Path(settings.DATA_DIR).glob("planted-*.csv"):
        path.unlink()


def test_the_short_form_holds_what_tells_most(stage: Stage) -> None:
    counts = Counter(step.part for step in stage.steps)
    assert counts["matrix"] > 1500
    assert all(counts[part] for part in PARTS)
    assert (stage.canary.words > 20, stage.canary.numbers > 200, len(stage.canary.tokens) > 50) == (True,) * 3


def test_mutants_of_a_few_checks_are_caught() -> None:
    """One view without its door; all of them: `uv run python tests/harness/mutants.py`."""
    command = [sys.executable, str(Path(__file__).with_name("mutants.py")), "--only", "queries/sites.py", "--few"]
    done = subprocess.run(command, check=True, capture_output=True, text=True, timeout=500)
    told = json.loads(done.stdout.splitlines()[-1])
    assert (told["mutants"], told["caught"], told["survived"]) == (4, 3, 0)
