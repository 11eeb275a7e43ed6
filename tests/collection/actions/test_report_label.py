"""A machine has one label at a time; its secret stands nowhere, and an ended one leads nowhere."""

import datetime
import uuid

import pytest
from django.conf import settings
from django.db import IntegrityError, transaction
from django.http import Http404
from django.test import override_settings

from collection import models
from collection.access import report_link_for
from collection.actions.record import ActionRefused, KeyUsed
from collection.actions.reports import LabelEnded, make_label, report_problem
from collection.models.base import hash_of
from tests import factories as make
from tests.factories import NOON
from tests.surveying import author
from tests.worlds import TernTaproom

DAY = datetime.timedelta(days=1)


def test_its_secret_has_256_bits_and_the_row_only_its_digest(taproom: TernTaproom) -> None:
    link = taproom.report_link
    assert len(link.token) == 43, "base64 of 32 bytes without padding"
    assert link.token_sha256 == hash_of(link.token)
    assert link.can_be_printed
    assert report_link_for(link.token) == link
    stored = str(models.ReportLink.objects.filter(pk=link.pk).values().get())
    stored += str(list(models.Change.objects.filter(row_id=link.pk).values()))
    assert link.token not in stored


def test_made_again_it_is_the_one_that_stands(taproom: TernTaproom) -> None:
    again = make_label(by=author(taproom.people.bob), machine=taproom.machine)
    assert (again, again.machine) == (taproom.report_link, taproom.machine)
    assert models.ReportLink.objects.count() == 1


def test_replaced_the_old_one_leads_nowhere_and_the_line_says_who(taproom: TernTaproom) -> None:
    old, by = taproom.report_link, author(taproom.people.bob, NOON + DAY)
    new = make_label(by=by, machine=taproom.machine, replaces=old.pk)
    assert make_label(by=by, machine=taproom.machine, replaces=old.pk) == new, "sent twice"
    old.refresh_from_db()
    assert (old.ended_at, new.ended_at) == (NOON + DAY, None)
    assert report_link_for(new.token) == new
    with pytest.raises(Http404):
        report_link_for(old.token)
    with pytest.raises(LabelEnded):
        report_problem(link=old, problem="moved", key=uuid.uuid4(), at=NOON + DAY)
    lines = models.Change.objects.filter(noun="reportlink").order_by("created_at", "id")
    assert {(line.verb, line.row_id, line.created_by_id) for line in lines} == {
        ("added", old.pk, taproom.people.alice.user_id),
        ("ended", old.pk, taproom.people.bob.user_id),
        ("added", new.pk, taproom.people.bob.user_id),
    }


def test_who_replaces_another_label_than_the_one_that_stands_is_too_late(taproom: TernTaproom) -> None:
    first = taproom.report_link
    second = make_label(by=author(taproom.people.bob), machine=taproom.machine, replaces=first.pk)
    assert make_label(by=author(taproom.people.alice), machine=taproom.machine, replaces=first.pk) == second
    assert models.ReportLink.objects.count() == 2


def test_a_key_of_another_organization_is_refused(taproom: TernTaproom) -> None:
    theirs = make.MachineFactory(member=taproom.people.charlie)
    link = make_label(by=author(taproom.people.charlie), machine=theirs)
    with pytest.raises(KeyUsed):
        make_label(by=author(taproom.people.bob, key=link.pk), machine=taproom.machine)


def test_an_archived_machine_gets_none_and_its_old_one_leads_nowhere(taproom: TernTaproom) -> None:
    token = taproom.report_token
    models.Machine.objects.filter(pk=taproom.machine.pk).update(archived_at=NOON)
    with pytest.raises(ActionRefused, match="archived"):
        make_label(by=author(taproom.people.bob), machine=taproom.machine)
    with pytest.raises(Http404):
        report_link_for(token)


def test_under_a_new_secret_key_printed_labels_work_but_cannot_be_printed_again(taproom: TernTaproom) -> None:
    link, token = taproom.report_link, taproom.report_token
    with override_settings(SECRET_KEY="another" * 10):
        assert report_link_for(token) == link
        assert not link.can_be_printed
    with override_settings(SECRET_KEY="another" * 10, SECRET_KEY_FALLBACKS=[settings.SECRET_KEY]):
        assert link.can_be_printed
        assert link.token == token


def test_two_cannot_stand_at_one_machine(taproom: TernTaproom) -> None:
    stamp = author(taproom.people.alice).stamp()
    assert taproom.report_link
    with pytest.raises(IntegrityError), transaction.atomic():
        models.ReportLink.objects.create(machine=taproom.machine, token_sha256="0" * 64, **stamp)
