"""Founding an organization and changing it."""

import uuid

import pytest
from django.core.exceptions import PermissionDenied

from collection.actions.people import change_organization, found_organization
from collection.actions.record import ActionRefused, StaleEdit
from collection.models import Membership, Organization
from tests.factories import NOON
from tests.surveying import author
from tests.worlds import Cast


def test_one_key_founds_one_organization(people: Cast) -> None:
    key = uuid.uuid4()
    first = found_organization(user=people.dana, name="Barn", at=NOON, key=key)
    assert found_organization(user=people.dana, name="Barn again", at=NOON, key=key) == first
    assert Organization.objects.filter(name__startswith="Barn").count() == 1
    assert (first.role, first.user) == ("owner", people.dana)


def test_a_key_of_someone_else_is_no_door(people: Cast) -> None:
    """The key of Alice's membership, sent by Dana, must not answer with it."""
    with pytest.raises(ActionRefused):
        found_organization(user=people.dana, name="Barn", at=NOON, key=people.alice.pk)
    assert not Organization.objects.filter(name="Barn").exists()


def test_only_an_owner_changes_it_and_no_stale_edit_passes(people: Cast) -> None:
    with pytest.raises(PermissionDenied):
        change_organization(by=author(people.bob), version=1, name="Bob's")
    changed = change_organization(by=author(people.alice), version=1, name="Saltmarsh", length_unit="in")
    assert (changed.name, changed.length_unit, changed.version) == ("Saltmarsh", "in", 2)
    with pytest.raises(StaleEdit):
        change_organization(by=author(people.alice), version=1, name="Late")
    assert Membership.objects.get(pk=people.alice.pk).organization.name == "Saltmarsh"
