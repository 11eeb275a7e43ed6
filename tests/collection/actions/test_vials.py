"""What happens to the rows when someone adds a vial, records a pair or leaves one out."""

import datetime
from typing import Any

import pytest
from django.utils import timezone

from collection.actions.instruments import Shown, change_instrument, check_zero, create_instrument, record_event
from collection.actions.record import ActionRefused
from collection.actions.vials import create_vial, leave_out, record_pair
from collection.models import Change, Instrument, VialPair
from collection.queries.vials import pairs_of
from tests.factories import NOON
from tests.surveying import author, pair_of
from tests.worlds import TernTaproom

PAIR: dict[str, Any] = {
    "shown": 6.5, "shown_text": "6.50", "unit": "deg", "high_end": "rear", "lines": 0.5, "lines_text": ".5",
    "side": "front",
}  # fmt: skip


def recorded(taproom: TernTaproom, **more: Any) -> VialPair:
    given = {"vial": taproom.vial, "level": taproom.instrument, **PAIR, **more}
    return record_pair(by=author(taproom.people.bob), **given)


def test_a_vial_is_added_to_its_machine(taproom: TernTaproom) -> None:
    vial = create_vial(
        by=author(taproom.people.bob), machine=taproom.machine, name="Its vial", direction="across", reach_lines=3.0
    )
    kept = Instrument.objects.get(pk=vial.pk)
    assert (kept.kind, kept.machine, kept.direction, kept.reach_lines) == ("vial", taproom.machine, "across", 3.0)


def test_an_archived_machine_gets_no_vial(taproom: TernTaproom) -> None:
    taproom.machine.archived_at = NOON
    with pytest.raises(ActionRefused, match="archived"):
        create_vial(by=author(taproom.people.bob), machine=taproom.machine, name="Its vial", direction="along")


def test_a_pair_keeps_what_was_typed_and_its_level(taproom: TernTaproom) -> None:
    first, turned = Shown("0.2", 0.2, "right"), Shown("0", 0.0, "level")
    check = check_zero(
        by=author(taproom.people.bob), instrument=taproom.instrument, unit="deg", first=first, turned=turned
    )
    kept = VialPair.objects.get(pk=recorded(taproom).pk)
    assert (kept.level_text, kept.lines_text, kept.bubble_side, kept.level_high) == ("6.50", ".5", "front", "rear")
    assert kept.position_lines == -0.5
    # zero = (r0 + r180)/2 = 0.1, taken out of 6.5 (DEVELOPERS.md, Geometry)
    assert kept.tilt_deg == pytest.approx(6.4, abs=1e-12)
    assert kept.inputs["instrument"]["zero_deg"] == pytest.approx(0.1, abs=1e-12)
    assert kept.inputs["zero_check"] == str(check.pk)
    assert Change.objects.get(row_id=kept.pk).verb == "added"


def test_a_pair_sent_twice_is_kept_once(taproom: TernTaproom) -> None:
    by = author(taproom.people.bob)
    for _ in range(2):
        record_pair(by=by, vial=taproom.vial, level=taproom.instrument, **PAIR)
    assert VialPair.objects.count() == 4  # with the three of the world


@pytest.mark.parametrize(
    ("more", "field"),
    [({"lines": 2.5}, "lines"), ({"shown": 21.0}, "shown"), ({"shown": 40.0, "unit": "percent"}, "shown")],
)
def test_what_no_playfield_shows_is_refused(taproom: TernTaproom, more: dict[str, Any], field: str) -> None:
    with pytest.raises(ActionRefused) as refused:
        recorded(taproom, **more)
    assert refused.value.field == field
    assert VialPair.objects.count() == 3


def test_only_a_level_with_a_number_teaches(taproom: TernTaproom) -> None:
    bubble = create_instrument(by=author(taproom.people.bob), name="Bubble", kind="bubble")
    with pytest.raises(ActionRefused, match="shows a number"):
        recorded(taproom, level=bubble)
    with pytest.raises(ActionRefused, match="This is none"):
        recorded(taproom, vial=taproom.instrument)


def test_a_pair_left_out_stays_and_does_not_count(taproom: TernTaproom) -> None:
    pair = taproom.vial_pair
    row = leave_out(by=author(taproom.people.bob, why="Leaned on it."), pair=pair)
    assert (row.supersedes_id, row.why, row.tilt_deg, row.lines_text) == (
        pair.pk, "Leaned on it.", pair.tilt_deg, pair.lines_text,
    )  # fmt: skip
    assert VialPair.objects.count() == 4
    assert [one.position_lines for one in pairs_of(vial=taproom.vial)] == [-1, 0]


def test_leaving_out_needs_a_reason_and_happens_once(taproom: TernTaproom) -> None:
    with pytest.raises(ActionRefused, match="what was wrong"):
        leave_out(by=author(taproom.people.bob), pair=taproom.vial_pair)
    row = leave_out(by=author(taproom.people.bob, why="Wrong."), pair=taproom.vial_pair)
    for pair in (taproom.vial_pair, row):
        with pytest.raises(ActionRefused, match="already"):
            leave_out(by=author(taproom.people.bob, why="Wrong."), pair=pair)


def test_pairs_before_the_vial_was_moved_do_not_count(taproom: TernTaproom) -> None:
    vial = taproom.vial
    moved = NOON + datetime.timedelta(hours=1)
    record_event(by=author(taproom.people.bob, timezone.now()), instrument=vial, kind="repaired", happened_at=moved)
    assert pairs_of(vial=vial) == []
    assert len(pairs_of(vial=vial, at=NOON + datetime.timedelta(minutes=30))) == 3, "then they counted"
    later = moved + datetime.timedelta(minutes=1)
    pair_of(vial, taproom.instrument, by=taproom.people.bob, lines=1, shown=6.9, at=later)
    assert [pair.tilt_deg for pair in pairs_of(vial=vial)] == [6.9]
    assert len(pairs_of(vial=vial, at=NOON + datetime.timedelta(minutes=30))) == 3, "not what it was taught elsewhere"


def test_a_pair_counts_for_readings_before_it_too(taproom: TernTaproom) -> None:
    """The vial sits as it sat, so what is learned today mends yesterday's survey."""
    assert len(pairs_of(vial=taproom.vial, at=NOON - datetime.timedelta(days=30))) == 3


def test_what_was_used_stays_what_it_is(taproom: TernTaproom) -> None:
    bob = taproom.people.bob
    assert taproom.vial_pair
    for row, change in ((taproom.instrument, {"kind": "bubble"}), (taproom.vial, {"direction": "across"})):
        with pytest.raises(ActionRefused, match="cannot change"):
            change_instrument(by=author(bob), instrument=row, version=1, name=row.name, **change)
    fresh = create_instrument(by=author(bob), name="Ball", kind="ball")
    changed = change_instrument(by=author(bob), instrument=fresh, version=1, name="Bubble", kind="bubble")
    assert Instrument.objects.get(pk=changed.pk).kind == "bubble"
    with pytest.raises(ActionRefused, match="belongs to its machine"):
        change_instrument(by=author(bob), instrument=fresh, version=2, name="Bubble", kind="vial")


def test_a_bubble_has_no_zero_to_check(taproom: TernTaproom) -> None:
    bubble = create_instrument(by=author(taproom.people.bob), name="Bubble", kind="bubble")
    none = Shown("0", 0.0, "level")
    with pytest.raises(ActionRefused, match="no zero to check"):
        check_zero(by=author(taproom.people.bob), instrument=bubble, unit="deg", first=none, turned=none)
