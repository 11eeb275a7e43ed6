"""People and their organization: who belongs to it, which units it shows, working in another one."""

import datetime
import uuid
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from collection.models import Membership, Organization
from tests import factories as make
from tests.factories import NOON
from tests.worlds import Cast, TernTaproom

SignIn = Callable[[Membership], Client]
UNITS = {"name": "Saltmarsh Route", "angle_unit": "mm_per_m", "length_unit": "in", "version": "1"}


def test_the_page_names_members_roles_and_units(people: Cast, as_member: SignIn) -> None:
    page = as_member(people.bob).get(reverse("organization")).content.decode()
    for words in ("alice@example.org", "bob@example.org", "vera@example.org", "owner", "technician", "site viewer"):
        assert words in page
    assert "charlie@example.org" not in page
    assert reverse("organization_edit") not in page


def test_someone_who_left_is_not_a_member(people: Cast, as_member: SignIn) -> None:
    Membership.objects.filter(pk=people.vera.pk).update(ended_at=timezone.now())
    assert "vera@example.org" not in as_member(people.bob).get(reverse("organization")).content.decode()


def test_an_owner_changes_name_and_units(people: Cast, as_member: SignIn) -> None:
    answer = as_member(people.alice).post(reverse("organization_edit"), {**UNITS, "name": "Saltmarsh"})
    assert answer.url == reverse("organization")
    changed = Organization.objects.get(pk=people.alice.organization_id)
    assert (changed.name, changed.angle_unit, changed.length_unit, changed.version) == (
        "Saltmarsh",
        "mm_per_m",
        "in",
        2,
    )
    page = as_member(people.bob).get(reverse("organization")).content.decode()
    assert "inches" in page


@pytest.mark.parametrize("who", ["bob", "vera"])
def test_others_may_not(people: Cast, as_member: SignIn, who: str) -> None:
    client = as_member(getattr(people, who))
    assert client.get(reverse("organization_edit")).status_code == 403
    assert client.post(reverse("organization_edit"), UNITS).status_code == 403
    assert Organization.objects.get(pk=people.alice.organization_id).angle_unit == "deg"


@pytest.mark.parametrize(
    ("field", "text"), [("name", ""), ("name", "\u202e"), ("angle_unit", "gon"), ("length_unit", "ell")]
)
def test_it_refuses_and_keeps_what_was_typed(people: Cast, as_member: SignIn, field: str, text: str) -> None:
    answer = as_member(people.alice).post(reverse("organization_edit"), {**UNITS, field: text})
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {field}
    assert answer.context["form"][field].value() == text
    assert Organization.objects.get(pk=people.alice.organization_id).version == 1


def test_a_stale_edit_is_told(people: Cast, as_member: SignIn) -> None:
    alice = as_member(people.alice)
    assert alice.post(reverse("organization_edit"), UNITS).status_code == 302
    assert alice.post(reverse("organization_edit"), {**UNITS, "name": "Late"}).status_code == 409
    assert Organization.objects.get(pk=people.alice.organization_id).name == "Saltmarsh Route"


def test_someone_without_an_organization_founds_one_once(people: Cast) -> None:
    dana, key = Client(), str(uuid.uuid4())
    dana.force_login(people.dana)
    assert dana.get(reverse("today")).url == reverse("organization_new")
    for _ in range(2):
        answer = dana.post(reverse("organization_new"), {"name": "Dana's barn", "write_key": key})
        assert answer.url == reverse("today")
    assert Membership.objects.get(user=people.dana).role == "owner"
    assert dana.get(reverse("today")).status_code == 200


def test_one_works_in_one_organization_at_a_time(taproom: TernTaproom, as_member: SignIn) -> None:
    people = taproom.people
    second = make.MembershipFactory(
        user=people.bob.user,
        organization=people.charlie.organization,
        role="technician",
        created_at=NOON + datetime.timedelta(days=1),
    )
    bob = as_member(people.bob)
    url = reverse("machine", args=[taproom.machine.pk])
    assert bob.get(url).status_code == 200
    answer = bob.post(reverse("organization_choose"), {"organization": str(second.organization_id)})
    assert answer.url == reverse("today")
    assert bob.get(url).status_code == 404
    assert "Dune Amusements" in bob.get(reverse("organization")).content.decode()


def test_one_cannot_choose_what_one_does_not_belong_to(people: Cast, as_member: SignIn) -> None:
    bob = as_member(people.bob)
    for text in (str(people.charlie.organization_id), str(uuid.uuid4()), "nonsense", ""):
        assert bob.post(reverse("organization_choose"), {"organization": text}).status_code == 404
    assert bob.get(reverse("organization")).context["organization"] == people.bob.organization


def test_it_asks_as_often_for_3_members_as_for_30(people: Cast, as_member: SignIn) -> None:
    alice = as_member(people.alice)
    asked = []
    for more in (0, 27):
        for _ in range(more):
            make.MembershipFactory(organization=people.alice.organization, role="technician")
        with CaptureQueriesContext(connection) as queries:
            alice.get(reverse("organization"))
        asked.append(len(queries))
    assert asked[0] == asked[1] <= 6
