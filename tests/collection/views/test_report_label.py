"""The label of a machine: made by a press, printed again at any time, replaced where it is misused."""

from collections.abc import Callable

import pytest
from django.test import Client, override_settings
from django.urls import reverse

from collection import models
from tests.collection.forms.test_hostile_posts import fields_of
from tests.factories import NOON
from tests.worlds import TernTaproom

SignIn = Callable[[models.Membership], Client]


@pytest.fixture
def url(taproom: TernTaproom) -> str:
    return reverse("report", args=[taproom.report_token])


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


def test_it_is_made_by_a_press_and_shown_to_print(taproom: TernTaproom, bob: Client) -> None:
    page = reverse("machine_label", args=[taproom.machine.pk])
    first = bob.get(page).content.decode()
    assert "Make a label" in first
    assert "data-print-button" not in first
    assert not models.ReportLink.objects.exists(), "looking makes none"
    assert bob.post(page, fields_of(first).sent).status_code == 302
    answer = bob.get(page)
    html = answer.content.decode()
    address = f"http://testserver{reverse('report', args=[models.ReportLink.objects.get().token])}"
    assert f'href="{address}"' in html
    for words in ("Something wrong?", "Scan and tell.", "<b>Lantern Reef</b> LR-1", "Replace the label"):
        assert words in html
    assert "no-store" in answer.headers["Cache-Control"]


def test_replacing_it_ends_the_old_one(taproom: TernTaproom, bob: Client, url: str) -> None:
    page = reverse("machine_label", args=[taproom.machine.pk])
    form = fields_of(bob.get(page).content.decode()).sent
    assert form["replaces"] == str(taproom.report_link.pk)
    assert bob.post(page, form).status_code == 302
    assert bob.post(page, form).status_code == 302, "sent twice"
    assert models.ReportLink.objects.count() == 2
    assert Client().get(url).status_code == 404
    assert Client().get(reverse("report", args=[_standing().token])).status_code == 200


def test_under_a_new_secret_key_it_says_what_to_do(taproom: TernTaproom, as_member: SignIn) -> None:
    page, token = reverse("machine_label", args=[taproom.machine.pk]), taproom.report_token
    with override_settings(SECRET_KEY="another" * 10):
        bob = as_member(taproom.people.bob)
        html = bob.get(page).content.decode()
        assert "cannot be printed again" in html
        assert "Scan and tell." not in html
        assert Client().get(reverse("report", args=[token])).status_code == 200
        assert bob.post(page, fields_of(html).sent).status_code == 302
        assert "Scan and tell." in bob.get(page).content.decode()


def test_an_archived_machine_gets_none(taproom: TernTaproom, bob: Client) -> None:
    models.Machine.objects.filter(pk=taproom.machine.pk).update(archived_at=NOON)
    answer = bob.post(reverse("machine_label", args=[taproom.machine.pk]), {})
    assert answer.status_code == 422
    assert "archived" in answer.content.decode()


def test_the_machines_page_leads_to_it_for_those_who_write(taproom: TernTaproom, as_member: SignIn) -> None:
    machine, label = (reverse(name, args=[taproom.machine.pk]) for name in ("machine", "machine_label"))
    assert label in as_member(taproom.people.bob).get(machine).content.decode()
    assert label not in as_member(taproom.people.vera).get(machine).content.decode()


def _standing() -> models.ReportLink:
    link: models.ReportLink = models.ReportLink.objects.get(ended_at__isnull=True)
    return link
