"""A person changes a machine: its names and body, its legs, what it should read, where it stands."""

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from collection.models import Bay, Change, Leg, Machine, MachineStatus, Membership, Spec, Standing
from tests import factories as make
from tests.worlds import TernTaproom

SignIn = Callable[[Membership], Client]
MACHINE = {
    "title": "Lantern Reef",
    "code": "LR-1",
    "era": "modern",
    "body": "standard",
    "thread": "3/8-16 UNC",
    "steps_per_turn": "4",
    "version": "1",
}
SPEC = {
    "pitch_deg": "6.8",
    "pitch_tolerance_deg": "0.2",
    "roll_tolerance_deg": "0.15",
    "gap_tolerance_mm": "0.5",
    "why": "Faster for the league",
    "version": "1",
}


@pytest.fixture
def free(taproom: TernTaproom) -> Bay:
    """A bay where nothing stands."""
    bay: Bay = make.BayFactory(member=taproom.people.alice, floor=taproom.floor, name="Bay 2")
    return bay


def legs_typed(**changes: str) -> dict[str, str]:
    """Return what the page of the legs sends as it was shown, but for these fields."""
    typed = {"version": "1", "exposure_unit": "mm"}
    for leg, exposure in zip(("FL", "FR", "RL", "RR"), ("12", "12", "20", "20"), strict=True):
        typed |= {f"{leg}_length_mm": "724", f"{leg}_travel_mm": "41", f"{leg}_pad_mm": "0"}
        typed[f"{leg}_exposure_mm"] = exposure
    return typed | changes


def test_an_edit_changes_what_was_typed_and_nothing_else(taproom: TernTaproom, as_member: SignIn) -> None:
    url = reverse("machine_edit", args=[taproom.machine.pk])
    bob = as_member(taproom.people.bob)
    shown = bob.get(url).context["form"]
    typed = {name: field.value() for name, field in ((f.name, f) for f in shown) if field.value() not in (None, False)}
    answer = bob.post(url, {**typed, "title": "Lantern Reef II"})
    assert answer.url == reverse("machine", args=[taproom.machine.pk])
    line = Change.objects.get(row_id=taproom.machine.pk, verb="changed")
    assert line.old == {"title": "Lantern Reef"}
    assert line.new == {"title": "Lantern Reef II"}


def test_another_body_brings_its_own_size(taproom: TernTaproom, as_member: SignIn) -> None:
    url = reverse("machine_edit", args=[taproom.machine.pk])
    as_member(taproom.people.bob).post(url, {**MACHINE, "body": "wide"})
    machine = Machine.objects.get(pk=taproom.machine.pk)
    assert (machine.track_front_mm, machine.track_rear_mm, machine.base_mm) == (660, 660, 1300)


def test_a_stale_edit_is_told_and_changes_nothing(taproom: TernTaproom, as_member: SignIn) -> None:
    bob, url = as_member(taproom.people.bob), reverse("machine_edit", args=[taproom.machine.pk])
    assert bob.post(url, {**MACHINE, "title": "First"}).status_code == 302
    answer = bob.post(url, {**MACHINE, "title": "Second"})
    assert answer.status_code == 409
    assert answer.context["form"]["title"].value() == "Second"
    assert Machine.objects.get(pk=taproom.machine.pk).title == "First"


def test_it_refuses_the_code_of_another_machine(taproom: TernTaproom, as_member: SignIn) -> None:
    make.MachineFactory(member=taproom.people.alice, title="Tin Kettle", code="TK-9")
    url = reverse("machine_edit", args=[taproom.machine.pk])
    answer = as_member(taproom.people.bob).post(url, {**MACHINE, "code": "TK-9"})
    assert answer.status_code == 422
    assert answer.context["form"].errors["code"] == ["Tin Kettle has this code. Choose another."]


def test_legs_change_with_a_line_in_the_history_for_each(taproom: TernTaproom, as_member: SignIn) -> None:
    url = reverse("machine_legs", args=[taproom.machine.pk])
    as_member(taproom.people.bob).post(url, legs_typed(RR_exposure_mm="22.5", FL_pad_mm="3", FR_exposure_mm=""))
    legs = Leg.objects.filter(machine=taproom.machine)
    assert [(leg.exposure_mm, leg.pad_mm) for leg in legs] == [(12, 3), (None, 0), (20, 0), (22.5, 0)]
    lines = {line.row_id: (line.old, line.new) for line in Change.objects.filter(noun="leg")}
    assert lines == {
        legs[0].pk: ({"pad_mm": 0}, {"pad_mm": 3}),
        legs[1].pk: ({"exposure_mm": 12}, {"exposure_mm": None}),
        legs[3].pk: ({"exposure_mm": 20}, {"exposure_mm": 22.5}),
    }


def test_turns_from_fully_in_become_mm_by_the_lead(taproom: TernTaproom, as_member: SignIn) -> None:
    """3/8-16 UNC, ASME B1.1: 6 1/2 turns of 1.5875 mm are 10.31875 mm."""
    bob, url = as_member(taproom.people.bob), reverse("machine_legs", args=[taproom.machine.pk])
    shown = bob.get(url, {"unit": "turns"}).context["form"]
    typed = {field.name: field.value() for field in shown}
    assert typed["RL_exposure_mm"] == "12.598"
    bob.post(url, typed | {"FL_exposure_mm": "6 1/2"})
    exposures = [leg.exposure_mm for leg in Leg.objects.filter(machine=taproom.machine)]
    assert exposures[0] == pytest.approx(10.31875, abs=1e-9)
    assert exposures[1:] == [12, 20, 20], "what nobody touched keeps its number exactly"


def test_a_stale_page_of_legs_changes_nothing(taproom: TernTaproom, as_member: SignIn) -> None:
    bob, url = as_member(taproom.people.bob), reverse("machine_legs", args=[taproom.machine.pk])
    assert bob.post(url, legs_typed(FL_exposure_mm="13")).status_code == 302
    assert bob.post(url, legs_typed(FL_exposure_mm="14")).status_code == 409
    assert Leg.objects.get(machine=taproom.machine, place=0).exposure_mm == 13


@pytest.mark.parametrize(
    ("field", "text"),
    [("FL_exposure_mm", "41.5"), ("FR_exposure_mm", "1,5"), ("RL_length_mm", ""), ("RR_travel_mm", "0"),
     ("RL_pad_mm", "-1"), ("FL_length_mm", "inf"), ("exposure_unit", "ells"), ("version", "")],
)  # fmt: skip
def test_it_refuses_legs_and_keeps_what_was_typed(
    taproom: TernTaproom, as_member: SignIn, field: str, text: str
) -> None:
    url = reverse("machine_legs", args=[taproom.machine.pk])
    answer = as_member(taproom.people.bob).post(url, legs_typed(FR_pad_mm="7") | {field: text})
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {field}
    assert answer.context["form"]["FR_pad_mm"].value() == "7"
    assert Leg.objects.get(machine=taproom.machine, place=1).pad_mm == 0


def test_a_spec_is_added_and_counts(taproom: TernTaproom, as_member: SignIn) -> None:
    url, key = reverse("machine_spec", args=[taproom.machine.pk]), str(uuid.uuid4())
    bob = as_member(taproom.people.bob)
    for _ in range(2):
        assert bob.post(url, {**SPEC, "write_key": key}).status_code == 302
    specs = Spec.objects.filter(machine=taproom.machine).order_by("created_at")
    assert [spec.pitch_deg for spec in specs] == [6.5, 6.8]
    assert str(MachineStatus.objects.get(machine=taproom.machine).spec_id) == key
    page = bob.get(reverse("machine", args=[taproom.machine.pk])).content.decode()
    assert page.index("Faster for the league") < page.index("Usual for its era")


def test_a_new_spec_judges_the_newest_survey_again(taproom: TernTaproom, as_member: SignIn) -> None:
    """6.0 read, so a wanted 6.0 brings pitch in; roll left high 0.3 stays out until its tolerance is 1."""
    assert taproom.survey.verdict == "out"
    url = reverse("machine_spec", args=[taproom.machine.pk])
    as_member(taproom.people.bob).post(url, {**SPEC, "pitch_deg": "6", "roll_tolerance_deg": "1"})
    assert MachineStatus.objects.get(machine=taproom.machine).verdict == "in"


@pytest.mark.parametrize(
    ("field", "text"),
    [("pitch_deg", "-1"), ("pitch_deg", "15.1"), ("pitch_tolerance_deg", "0"), ("roll_tolerance_deg", "four"),
     ("gap_tolerance_mm", "0.01"), ("why", ""), ("why", "w" * 401)],
)  # fmt: skip
def test_it_refuses_a_spec_and_keeps_what_was_typed(
    taproom: TernTaproom, as_member: SignIn, field: str, text: str
) -> None:
    url = reverse("machine_spec", args=[taproom.machine.pk])
    answer = as_member(taproom.people.bob).post(url, {**SPEC, field: text})
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {field}
    assert answer.context["form"][field].value() == text
    assert Spec.objects.filter(machine=taproom.machine).count() == 1


def move(client: Client, machine: Machine, bay: Any, version: int = 1, **more: str) -> Any:
    url = reverse("machine_move", args=[machine.pk])
    return client.post(url, {"bay": str(bay), "version": str(version), "why": "Swap for the league", **more})


def test_a_move_is_recorded_and_asks_for_a_survey(taproom: TernTaproom, free: Bay, as_member: SignIn) -> None:
    assert taproom.survey
    bob, key = as_member(taproom.people.bob), str(uuid.uuid4())
    for _ in range(2):
        assert move(bob, taproom.machine, free.pk, write_key=key).status_code == 302
    assert Machine.objects.get(pk=taproom.machine.pk).bay == free
    standing = Standing.objects.get(machine=taproom.machine)
    assert (standing.bay, standing.why) == (free, "Swap for the league")
    status = MachineStatus.objects.get(machine=taproom.machine)
    assert status.moved_since_survey
    assert "Moved since its survey" in bob.get(reverse("machine", args=[taproom.machine.pk])).content.decode()


def test_off_the_floor_has_to_be_chosen(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    answer = move(bob, taproom.machine, "")
    assert answer.status_code == 422
    assert answer.context["form"].errors["bay"] == ["Choose where it goes."]
    assert move(bob, taproom.machine, "off").status_code == 302
    machine = Machine.objects.get(pk=taproom.machine.pk)
    assert machine.bay is None
    assert "off the floor since" in bob.get(reverse("machine", args=[machine.pk])).content.decode()
    assert 'value="off"' not in bob.get(reverse("machine_move", args=[machine.pk])).content.decode()


def test_it_refuses_a_taken_bay_its_own_and_a_strangers(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    other = make.MachineFactory(member=taproom.people.alice, title="Tin Kettle")
    theirs = make.BayFactory(member=taproom.people.charlie)
    for bay, words in (
        (other.bay.pk, "Tin Kettle stands on"),
        (taproom.bay.pk, "It stands there already"),
        (theirs.pk, "not there any more"),
        ("elsewhere", "one of the places shown"),
    ):
        answer = move(bob, taproom.machine, bay)
        assert answer.status_code == 422
        assert words in str(answer.context["form"].errors["bay"])
    assert not Standing.objects.filter(machine=taproom.machine).exists()


def test_a_stale_move_changes_nothing(taproom: TernTaproom, free: Bay, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    assert move(bob, taproom.machine, "off").status_code == 302
    assert move(bob, taproom.machine, free.pk).status_code == 409
    assert Machine.objects.get(pk=taproom.machine.pk).bay is None


def test_a_viewer_and_a_stranger_change_nothing(taproom: TernTaproom, free: Bay, as_member: SignIn) -> None:
    for member, status in ((taproom.people.vera, 403), (taproom.people.charlie, 404)):
        client = as_member(member)
        assert move(client, taproom.machine, free.pk).status_code == status
        for name, typed in (("machine_edit", MACHINE), ("machine_legs", legs_typed()), ("machine_spec", SPEC)):
            assert client.post(reverse(name, args=[taproom.machine.pk]), typed).status_code == status
    assert Machine.objects.get(pk=taproom.machine.pk).version == 1
    assert Spec.objects.count() == 1


def test_the_summary_of_errors_names_the_leg(taproom: TernTaproom, as_member: SignIn) -> None:
    """Four legs have a field "Out by": the summary says whose."""
    url = reverse("machine_legs", args=[taproom.machine.pk])
    page = as_member(taproom.people.bob).post(url, legs_typed(RL_exposure_mm="60")).content.decode()
    assert "RL, out by:</b> That is more than its travel" in page
