"""A person adds a machine: body and era are enough, no tape measure."""

import uuid
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from collection.models import Bay, Leg, Machine, MachineStatus, Membership, Spec, Standing
from tests import factories as make
from tests.worlds import TernTaproom

SignIn = Callable[[Membership], Client]
URL = reverse("machine_new")
MACHINE = {
    "title": "Paper Lighthouse",
    "code": "PL-1",
    "era": "early_solid_state",
    "body": "wide",
    "thread": "3/8-16 UNC",
    "steps_per_turn": "4",
}


@pytest.fixture
def free(taproom: TernTaproom) -> Bay:
    """A bay where nothing stands."""
    bay: Bay = make.BayFactory(member=taproom.people.alice, floor=taproom.floor, name="Bay 2")
    return bay


def test_body_and_era_are_enough(taproom: TernTaproom, free: Bay, as_member: SignIn) -> None:
    answer = as_member(taproom.people.bob).post(URL, {**MACHINE, "bay": str(free.pk)})
    machine = Machine.objects.get(code="PL-1")
    assert answer.url == reverse("machine", args=[machine.pk])
    # presets.BODIES and THREADS: common practice, no source; the thread's lead is ASME B1.1, 16 threads per inch
    assert (machine.track_front_mm, machine.track_rear_mm, machine.base_mm) == (660, 660, 1300)
    assert machine.lead_mm == 1.5875
    assert machine.bay == free
    assert [leg.exposure_mm for leg in Leg.objects.filter(machine=machine)] == [None] * 4
    spec = Spec.objects.get(machine=machine)
    assert (spec.pitch_deg, spec.pitch_tolerance_deg, spec.roll_tolerance_deg) == (5.5, 0.2, 0.15)
    assert "early solid-state" in spec.why
    assert Standing.objects.get(machine=machine).bay == free
    assert MachineStatus.objects.get(machine=machine).verdict == "never"


def test_sent_twice_it_is_added_once(taproom: TernTaproom, free: Bay, as_member: SignIn) -> None:
    bob, key = as_member(taproom.people.bob), str(uuid.uuid4())
    for _ in range(2):
        answer = bob.post(URL, {**MACHINE, "bay": str(free.pk), "write_key": key})
        assert answer.url == reverse("machine", args=[key])
    assert Machine.objects.filter(code="PL-1").count() == 1
    assert Leg.objects.filter(machine=key).count() == 4
    assert Standing.objects.filter(machine=key).count() == 1


def test_the_wanted_pitch_may_be_ones_own(taproom: TernTaproom, as_member: SignIn) -> None:
    as_member(taproom.people.bob).post(URL, {**MACHINE, "pitch_deg": "6.2"})
    assert Spec.objects.get(machine__code="PL-1").pitch_deg == 6.2
    assert Machine.objects.get(code="PL-1").bay is None


def test_the_address_preselects_a_bay(taproom: TernTaproom, free: Bay, as_member: SignIn) -> None:
    page = as_member(taproom.people.bob).get(URL, {"bay": str(free.pk)}).content.decode()
    assert f'<option value="{free.pk}" selected>Main room · Bay 2</option>' in page


@pytest.mark.parametrize("text", ["nonsense", "00000000-0000-4000-8000-000000000000"])
def test_a_bay_that_is_not_there_is_absent(taproom: TernTaproom, as_member: SignIn, text: str) -> None:
    assert as_member(taproom.people.bob).get(URL, {"bay": text}).status_code == 404


def test_another_organizations_bay_is_absent(taproom: TernTaproom, as_member: SignIn) -> None:
    theirs = make.BayFactory(member=taproom.people.charlie)
    bob = as_member(taproom.people.bob)
    assert bob.get(URL, {"bay": str(theirs.pk)}).status_code == 404
    answer = bob.post(URL, {**MACHINE, "bay": str(theirs.pk)})
    assert answer.status_code == 422
    assert answer.context["form"].errors["bay"] == ["That bay is not there any more. Choose another."]


def test_only_free_bays_are_offered(taproom: TernTaproom, free: Bay, as_member: SignIn) -> None:
    page = as_member(taproom.people.bob).get(URL).content.decode()
    assert str(free.pk) in page
    assert str(taproom.bay.pk) not in page


def test_it_refuses_a_bay_that_was_taken_meanwhile(taproom: TernTaproom, as_member: SignIn) -> None:
    answer = as_member(taproom.people.bob).post(URL, {**MACHINE, "bay": str(taproom.bay.pk)})
    assert answer.status_code == 422
    assert "Lantern Reef stands on Bay 1" in str(answer.context["form"].errors["bay"])
    assert not Machine.objects.filter(code="PL-1").exists()


def test_it_refuses_a_code_twice(taproom: TernTaproom, as_member: SignIn) -> None:
    answer = as_member(taproom.people.bob).post(URL, {**MACHINE, "code": "LR-1"})
    assert answer.status_code == 422
    assert answer.context["form"].errors["code"] == ["Lantern Reef has this code. Choose another."]


def test_another_organization_may_use_the_same_code(taproom: TernTaproom, as_member: SignIn) -> None:
    assert as_member(taproom.people.charlie).post(URL, {**MACHINE, "code": "LR-1"}).status_code == 302


def test_it_offers_a_code_that_is_free(taproom: TernTaproom, as_member: SignIn) -> None:
    make.MachineFactory(member=taproom.people.alice, code="M-7")
    make.MachineFactory(member=taproom.people.alice, code="M-old")
    page = as_member(taproom.people.bob).get(URL)
    assert page.context["form"]["code"].value() == "M-8"


@pytest.mark.parametrize(
    ("field", "text"),
    [("title", ""), ("title", "x" * 81), ("code", "\x00"), ("era", "baroque"), ("body", ""), ("thread", "M8"),
     ("pitch_deg", "6,5"), ("pitch_deg", "16"), ("track_front_mm", "199"), ("base_mm", "nan"), ("bay", "here"),
     ("steps_per_turn", "3"), ("lead_mm", "2")],
)  # fmt: skip
def test_it_refuses_and_keeps_what_was_typed(taproom: TernTaproom, as_member: SignIn, field: str, text: str) -> None:
    answer = as_member(taproom.people.bob).post(URL, {**MACHINE, field: text})
    assert answer.status_code == 422
    form = answer.context["form"]
    assert set(form.errors) == {field}
    assert form[field].value() == text
    assert form["code"].value() == {**MACHINE, field: text}["code"]
    assert Machine.objects.count() == 1


def test_a_viewer_may_not(taproom: TernTaproom, as_member: SignIn) -> None:
    assert as_member(taproom.people.vera).post(URL, MACHINE).status_code == 403
    assert Machine.objects.count() == 1
