"""The short form of replay.py: a hundred random edits, and the faults that it must see."""

import random
import uuid
from dataclasses import replace
from typing import Any
from unittest import mock

import pytest
from django.utils import timezone

from collection.actions import record
from collection.actions.record import Author
from collection.actions.reports import close_report, make_label, report_problem
from collection.models import Change, Leg, Machine, Membership, Organization, Report
from tests.harness.folding import compared, differences, lines_of, present
from tests.harness.replay import books, edited, report

EDITS = 100
PATHS = {"form", "htmx", "kept on a device", "sent twice", "stale", "correction", "action"}


@pytest.mark.long
def test_the_history_gives_the_present_state_and_every_line_is_needed(db: None) -> None:
    editors = edited(EDITS)
    found = report(editors)
    assert [differences(editor.member.organization) for editor in editors] == [[], []]
    assert found["edits"] >= EDITS
    assert found["by_path"].keys() == PATHS
    assert len(found["rows"]) >= 22, found["rows"]
    for organization in (editor.member.organization for editor in editors):
        lines, now = lines_of(organization), present(organization)
        for place, line in enumerate(lines):
            assert compared(lines[:place] + lines[place + 1 :], now), f"nobody misses {line.noun} {line.verb}"
        assert compared(lines[::-1], now), "nobody sees the order"


class Forgetful:
    """The table of lines, which drops those of one noun."""

    def __init__(self, noun: str) -> None:
        self.objects, self.noun = self, noun

    def create(self, **line: Any) -> None:
        if line["noun"] != self.noun:
            Change.objects.create(**line)

    def __getattr__(self, name: str) -> Any:
        return getattr(Change.objects, name)


def book() -> Organization:
    """A book with one of each thing, made by its forms."""
    return books(random.Random(1), count=1)[0].member.organization


def test_it_finds_nothing_in_a_book_that_is_whole(db: None) -> None:
    assert differences(book()) == []


@pytest.mark.parametrize("noun", ["leg", "spec", "membership", "bay"])
def test_it_fails_where_one_kind_of_line_is_dropped(db: None, noun: str) -> None:
    with mock.patch.object(record, "Change", Forgetful(noun)):
        made = book()
    assert {words.split()[0] for words in differences(made)} == {noun}


def test_it_fails_where_parts_of_a_row_are_left_out_of_its_line(db: None) -> None:
    made = book()
    lines = lines_of(made)
    assert sum(len(line.new.pop("readings", [])) for line in lines) == 4
    assert {words.split()[0] for words in compared(lines, present(made))} == {"reading", "floorreading"}


def test_it_fails_where_a_row_is_changed_past_the_actions(db: None) -> None:
    made = book()
    Leg.objects.for_org(made).filter(place=2).update(exposure_mm=7.5)
    assert [words.partition(".")[2] for words in differences(made)] == ["exposure_mm: told None, is 7.5"]


def test_a_report_begins_untold_and_its_end_must_be_told(db: None) -> None:
    """Nobody we know is the author of what a stranger tells; whoever closes it is."""
    made = book()
    by = Author(member=Membership.objects.get(organization=made), at=timezone.now(), key=uuid.uuid4(), why="Seen to.")
    link = make_label(by=by, machine=Machine.objects.for_org(made).get())
    told = report_problem(link=link, problem="wobbles", key=uuid.uuid4(), at=by.at)
    assert differences(made) == []
    Report.objects.for_org(made).update(closed_at=by.at, closed_by=by.member.user, closed_why="Seen to.")
    ended = {"closed_at", "closed_by", "closed_why"}
    assert {words.partition(".")[2].split(":")[0] for words in differences(made)} == ended
    Report.objects.for_org(made).update(closed_at=None, closed_by=None, closed_why="")
    close_report(by=replace(by, key=uuid.uuid4()), report=told)
    assert differences(made) == []
