"""What happens to the rows when someone adds, changes, re-specifies or moves a machine."""

import uuid
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from collection.actions import machines as actions
from collection.actions.record import ActionRefused, StaleEdit
from collection.models import Change, Leg, Machine, MachineStatus, Spec, Standing
from collection.models.base import AppendOnlyError
from tests import factories as make
from tests.surveying import author
from tests.worlds import TernTaproom

FIELDS: dict[str, Any] = {
    "title": "Tin Kettle", "code": "TK-1", "era": "electromechanical", "body": "standard", "track_front_mm": 560,
    "track_rear_mm": 560, "base_mm": 1300, "lead_mm": 1.5875, "steps_per_turn": 4, "on_dollies": False,
}  # fmt: skip
NUMBERS = {"pitch_deg": 6.8, "pitch_tolerance_deg": 0.2, "roll_tolerance_deg": 0.1, "gap_tolerance_mm": 0.4}


def added(taproom: TernTaproom, **changes: Any) -> Machine:
    given = {"by": author(taproom.people.bob), "bay": None, "pitch_deg": None, **FIELDS, **changes}
    return actions.create_machine(**given)


def test_a_new_machine_has_every_part_and_a_line_for_each(taproom: TernTaproom) -> None:
    bay = make.BayFactory(member=taproom.people.alice, floor=taproom.floor)
    machine = added(taproom, bay=bay.pk)
    assert [(leg.place, leg.length_mm, leg.travel_mm, leg.pad_mm) for leg in Leg.objects.filter(machine=machine)] == [
        (place, 724, 41, 0) for place in range(4)
    ]
    assert Spec.objects.get(machine=machine).pitch_deg == 3.5  # presets.ERAS: common practice, no source
    assert MachineStatus.objects.get(machine=machine).next_step == "Survey it"
    nouns = sorted(Change.objects.filter(created_by=taproom.people.bob.user).values_list("noun", flat=True))
    assert nouns == ["leg"] * 4 + ["machine", "spec", "standing"]


def test_a_refused_machine_leaves_nothing(taproom: TernTaproom) -> None:
    before = (Machine.objects.count(), Leg.objects.count(), Spec.objects.count(), Change.objects.count())
    for changes in ({"code": "LR-1"}, {"bay": taproom.bay.pk}, {"bay": uuid.uuid4()}):
        with pytest.raises(ActionRefused):
            added(taproom, **changes)
    assert (Machine.objects.count(), Leg.objects.count(), Spec.objects.count(), Change.objects.count()) == before


def test_an_archived_bay_takes_nothing(taproom: TernTaproom) -> None:
    bay = make.BayFactory(member=taproom.people.alice, floor=taproom.floor, archived_at=make.NOON)
    with pytest.raises(ActionRefused, match="not there any more"):
        added(taproom, bay=bay.pk)


def test_a_viewer_is_no_author(taproom: TernTaproom) -> None:
    with pytest.raises(PermissionDenied):
        author(taproom.people.vera)


def test_a_change_names_old_and_new(taproom: TernTaproom) -> None:
    actions.change_machine(
        by=author(taproom.people.bob), machine=taproom.machine, version=1, code="LR-1", base_mm=1310.0
    )
    line = Change.objects.get(row_id=taproom.machine.pk)
    assert (line.old, line.new) == ({"base_mm": 1300.0}, {"base_mm": 1310.0})
    assert Machine.objects.get(pk=taproom.machine.pk).version == 2


def test_legs_move_the_machines_version_so_that_two_people_notice(taproom: TernTaproom) -> None:
    legs: list[dict[str, float | None]] = [
        {"exposure_mm": 1.0, "length_mm": 724.0, "travel_mm": 41.0, "pad_mm": 0.0} for _ in range(4)
    ]
    actions.change_legs(by=author(taproom.people.bob), machine=taproom.machine, version=1, legs=legs)
    other = [leg | {"exposure_mm": 2.0} for leg in legs]
    with pytest.raises(StaleEdit):
        actions.change_legs(by=author(taproom.people.alice), machine=taproom.machine, version=1, legs=other)
    with pytest.raises(StaleEdit):
        actions.change_machine(by=author(taproom.people.alice), machine=taproom.machine, version=1, code="LR-1")


def test_specs_are_added_with_their_reason_and_never_changed(taproom: TernTaproom) -> None:
    by = author(taproom.people.bob, timezone.now())  # after the world was made
    spec = actions.set_spec(by=by, machine=taproom.machine, version=1, why="The maker's manual", **NUMBERS)
    assert actions.set_spec(by=by, machine=taproom.machine, version=1, why="Again", **NUMBERS) == spec
    assert Change.objects.get(row_id=spec.pk).why == "The maker's manual"
    assert MachineStatus.objects.get(machine=taproom.machine).spec == spec
    spec.pitch_deg = 7
    with pytest.raises(AppendOnlyError):
        spec.save()
    with pytest.raises(AppendOnlyError):
        Spec.objects.filter(pk=spec.pk).update(pitch_deg=7)


def test_a_move_frees_the_old_bay_and_is_never_changed(taproom: TernTaproom) -> None:
    bay = make.BayFactory(member=taproom.people.alice, floor=taproom.floor)
    standing = actions.move_machine(
        by=author(taproom.people.bob), machine=taproom.machine, version=1, bay=bay.pk, why="Better light"
    )
    other = added(taproom, bay=taproom.bay.pk)
    assert other.bay == taproom.bay
    assert Change.objects.get(row_id=taproom.machine.pk).new == {"bay": str(bay.pk)}
    with pytest.raises(AppendOnlyError):
        Standing.objects.filter(pk=standing.pk).delete()


def test_a_machine_off_the_floor_stands_on_no_bay(taproom: TernTaproom) -> None:
    actions.move_machine(by=author(taproom.people.bob), machine=taproom.machine, version=1, bay=None, why="")
    assert Machine.objects.get(pk=taproom.machine.pk).bay is None
    assert Standing.objects.get(machine=taproom.machine).bay is None


def test_a_move_back_still_counts_as_moved(taproom: TernTaproom) -> None:
    """Feet never land where they stood."""
    assert taproom.survey
    later = make.NOON.replace(month=6)
    for version, bay in ((1, None), (2, taproom.bay.pk)):
        machine = Machine.objects.get(pk=taproom.machine.pk)
        actions.move_machine(by=author(taproom.people.bob, later), machine=machine, version=version, bay=bay, why="")
    assert MachineStatus.objects.get(machine=taproom.machine).moved_since_survey
