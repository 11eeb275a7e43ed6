"""Every table is declared, as one organization's or as everybody's, and a tenant's table says whose its rows are."""

from typing import Any

import pytest
from django.apps import apps
from django.core.exceptions import FieldDoesNotExist

from collection import models
from collection.models.base import OrganizationQuerySet
from tests.collection.access.tenants import GLOBAL, TENANT


def tables() -> dict[str, Any]:
    return {model._meta.label: model for model in apps.get_models(include_auto_created=True)}


def undeclared(labels: set[str]) -> list[str]:
    return sorted(labels ^ (TENANT.keys() | GLOBAL.keys())) + sorted(TENANT.keys() & GLOBAL.keys())


def leads_to_an_organization(model: Any, path: str) -> bool:
    """Whether each part of the path is a required foreign key (or the row's own key), the last to the organization."""
    for name in path.split("__"):
        try:
            found = model._meta.get_field(name)
        except FieldDoesNotExist:
            return False
        if found.null:
            return False
        model = found.related_model or (model if found.primary_key else None)
        if model is None:
            return False
    return model is models.Organization


def test_every_table_is_declared_once() -> None:
    assert undeclared(set(tables())) == []


def test_a_new_table_without_a_line_is_named() -> None:
    assert undeclared({*tables(), "collection.Forgotten"}) == ["collection.Forgotten"]


@pytest.mark.parametrize("label", sorted(TENANT))
def test_a_tenants_row_says_whose_it_is(label: str) -> None:
    assert leads_to_an_organization(tables()[label], TENANT[label])


@pytest.mark.parametrize(
    ("label", "path"), [("collection.User", "id"), ("collection.Leg", "machine"), ("collection.Leg", "owner")]
)
def test_a_path_that_leads_elsewhere_is_found(label: str, path: str) -> None:
    assert not leads_to_an_organization(tables()[label], path)


@pytest.mark.parametrize("label", sorted(TENANT.keys() - {"collection.Organization", "collection.Membership"}))
def test_its_rows_can_be_asked_for_by_organization(label: str) -> None:
    """A membership is also asked for by its person, across organizations; its sites by the membership."""
    if TENANT[label] == "organization":
        assert isinstance(tables()[label]._default_manager.all(), OrganizationQuerySet)


def test_nothing_global_hides_an_organization() -> None:
    named = {label for label in GLOBAL for each in tables()[label]._meta.fields if each.related_model in _OF_TENANTS}
    assert named == set()


_OF_TENANTS = [model for label, model in tables().items() if label in TENANT]
