"""The record: rows that are never changed, a line for each write, one write per key, no write by a reader."""

import uuid
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.utils import timezone

from collection.actions import sites as actions
from collection.actions.record import ActionRefused, Author, StaleEdit
from collection.models import Change, FloorSlope, Membership, Site
from collection.models.base import AppendOnlyError
from tests import factories as make
from tests.worlds import TernTaproom

WORDS: dict[str, Any] = {"name": "Ferry Hall", "address": "", "time_zone": "UTC", "notes": ""}


def author(member: Membership, why: str = "") -> Author:
    return Author(member=member, at=timezone.now(), key=uuid.uuid4(), why=why)


def test_a_write_sent_twice_has_one_effect(taproom: TernTaproom) -> None:
    by = author(taproom.people.bob)
    assert actions.create_site(by=by, **WORDS) == actions.create_site(by=by, **WORDS)
    assert Site.objects.filter(name="Ferry Hall").count() == 1
    assert Change.objects.filter(row_id=by.key).count() == 1


def test_it_writes_down_who_what_and_why(taproom: TernTaproom) -> None:
    by = author(taproom.people.bob, why="The pier was renumbered")
    changes = {**WORDS, "name": "Tern Taproom", "address": "4 Mudflat Lane"}
    actions.change_site(by=by, site=taproom.site, version=1, **changes)
    line = Change.objects.get(row_id=taproom.site.pk)
    assert (line.verb, line.why, line.created_by) == ("changed", by.why, taproom.people.bob.user)
    assert line.old == {"address": "2 Mudflat Lane"}
    assert line.new == {"address": "4 Mudflat Lane"}


def test_a_stale_edit_is_refused_and_leaves_no_line(taproom: TernTaproom) -> None:
    with pytest.raises(StaleEdit):
        actions.change_site(by=author(taproom.people.bob), site=taproom.site, version=7, **WORDS)
    assert not Change.objects.exists()


def test_a_reader_cannot_even_become_an_author(taproom: TernTaproom) -> None:
    with pytest.raises(PermissionDenied):
        author(taproom.people.vera)


def test_a_refusal_names_the_field(taproom: TernTaproom) -> None:
    with pytest.raises(ActionRefused) as refused:
        actions.create_site(by=author(taproom.people.bob), **{**WORDS, "name": "Tern Taproom"})
    assert refused.value.field == "name"


def test_another_organization_may_use_the_same_name(taproom: TernTaproom) -> None:
    made = actions.create_site(by=author(taproom.people.charlie), **{**WORDS, "name": "Tern Taproom"})
    assert made.organization == taproom.people.charlie.organization


def test_rows_of_the_record_are_never_changed_or_deleted(taproom: TernTaproom) -> None:
    slope = make.FloorSlopeFactory(member=taproom.people.alice, floor=taproom.floor)
    for forbidden in (slope.save, slope.delete, FloorSlope.objects.all().delete):
        with pytest.raises(AppendOnlyError):
            forbidden()
    with pytest.raises(AppendOnlyError):
        FloorSlope.objects.update(gx=0)


def test_the_database_itself_refuses_what_is_out_of_range(taproom: TernTaproom) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        make.FloorSlopeFactory(member=taproom.people.alice, floor=taproom.floor, gx=0.4)
    with pytest.raises(IntegrityError), transaction.atomic():
        make.FloorFactory(member=taproom.people.alice, site=taproom.site, surface="ice")
