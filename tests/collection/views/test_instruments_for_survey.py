"""Someone who wants to survey and has no level yet: adds it with its usual values and comes straight back."""

import uuid
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from collection.models import Instrument, Membership
from tests.worlds import TernTaproom

SignIn = Callable[[Membership], Client]
URL = reverse("instrument_new")


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    taproom.instrument.archived_at = taproom.site.created_at
    taproom.instrument.save()
    return as_member(taproom.people.bob)


@pytest.fixture
def survey_page(taproom: TernTaproom) -> str:
    return reverse("survey_new", args=[taproom.machine.pk])


def shown(client: Client, address: str) -> dict[str, str]:
    """What a browser sends from the page as it is shown."""
    form = client.get(address).context["form"]
    return {field.name: str(field.value()) for field in form if field.value() is not None}


def test_the_survey_page_leads_there_and_saving_leads_back(bob: Client, survey_page: str) -> None:
    address = f"{URL}?next={survey_page}"
    page = bob.get(survey_page).content.decode()
    assert f'<a class="button" href="{address}">Add your level</a>' in page
    assert "Save and go on" in bob.get(address).content.decode()
    answer = bob.post(address, shown(bob, address))
    assert (answer.status_code, answer.url) == (302, survey_page)
    level = Instrument.objects.get(archived_at=None)
    # presets.py: common practice, no source
    assert (level.name, level.kind, level.unit) == ("Digital level, 0.1°", "digital_level", "deg")
    assert (level.resolution_deg, level.accuracy_deg, level.base_mm) == (0.1, 0.1, 230)
    assert "fieldset" in bob.get(survey_page).content.decode()


def test_done_twice_adds_one_and_leads_back_twice(bob: Client, survey_page: str) -> None:
    address = f"{URL}?next={survey_page}"
    sent = shown(bob, address) | {"write_key": str(uuid.uuid4())}
    assert [bob.post(address, sent).url for _ in range(2)] == [survey_page] * 2
    assert Instrument.objects.filter(archived_at=None).count() == 1


def test_an_error_keeps_the_way_back(bob: Client, survey_page: str) -> None:
    address = f"{URL}?next={survey_page}"
    answer = bob.post(address, shown(bob, address) | {"resolution": "nan"})
    assert answer.status_code == 422
    assert "Save and go on" in answer.content.decode()
    assert 'method="post" novalidate' in answer.content.decode(), "without an action it is sent to this very address"


@pytest.mark.parametrize(
    "where",
    [
        "https://example.org/", "//example.org/", "///example.org", "/\\example.org", "\\\\example.org",
        "javascript:alert(1)", "https://example.org{survey}", "//example.org{survey}", "{survey}?next=//example.org",
        "{survey}#x", "{survey}\n", " {survey}", "/today/", "/accounts/logout/", "{survey}../../edit/", "today", "",
        "\x00", "/machines/not-a-key/surveys/new/",
    ],
)  # fmt: skip
def test_no_other_address_is_a_way_back(bob: Client, survey_page: str, where: str) -> None:
    address = reverse("instrument_new", query={"next": where.format(survey=survey_page)})
    page = bob.get(address)
    assert "Save and go on" not in page.content.decode()
    answer = bob.post(address, shown(bob, address))
    assert answer.url == reverse("instrument", args=[Instrument.objects.get(archived_at=None).pk])


def test_the_way_back_to_a_strangers_machine_is_closed_as_ever(
    taproom: TernTaproom, as_member: SignIn, survey_page: str
) -> None:
    charlie, address = as_member(taproom.people.charlie), f"{URL}?next={survey_page}"
    assert "Lantern Reef" not in charlie.get(address).content.decode()
    answer = charlie.post(address, shown(charlie, address))
    assert charlie.get(answer.url).status_code == 404


def test_the_usual_name_is_offered_once(taproom: TernTaproom, bob: Client) -> None:
    for name in ("Digital level, 0.1°", "Digital level, 0.1° (2)", "Digital level, 0.1° (3)"):
        assert bob.get(URL).context["form"]["name"].value() == name
        bob.post(URL, shown(bob, URL))
    assert Instrument.objects.filter(archived_at=None).count() == 3


def test_a_reader_may_not(taproom: TernTaproom, as_member: SignIn, survey_page: str) -> None:
    assert as_member(taproom.people.vera).get(f"{URL}?next={survey_page}").status_code == 403
