"""A person keeps instruments that show no number: each is asked what its kind needs, and says how sure it is."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from collection.arrays.instruments import how_sure
from collection.models import Instrument, Membership
from collection.queries.instruments import due_of
from tests import factories as make
from tests.collection.views.test_plan_work import words
from tests.surveying import survey_of
from tests.worlds import TernTaproom

SignIn = Callable[[Membership], Client]
NEW = reverse("instrument_new")
OF_LEVELS = {"unit", "resolution", "accuracy", "base_mm", "alignment_deg", "repeat_deg"}
ASKED = {
    "digital_level": OF_LEVELS,
    "inclinometer": OF_LEVELS,
    "bubble": {"sensitivity_deg", "own_error_deg", "alignment_deg", "repeat_deg"},
    "blocks": {"sensitivity_deg", "own_error_deg", "block_tolerance_deg", "repeat_deg"},
    "ball": {"run_mm", "film_hz", "run_askew_deg"},
}


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


def shown(client: Client, kind: str) -> dict[str, str]:
    """What a browser sends from the page of a kind as it is shown."""
    form = client.get(NEW, {"kind": kind}).context["form"]
    return {field.name: str(field.value() if field.value() is not None else "") for field in form}


def page_of(client: Client, row: Instrument) -> str:
    return words(client.get(reverse("instrument", args=[row.pk])).content.decode())


@pytest.mark.parametrize("kind", ASKED)
def test_each_kind_is_asked_what_it_needs_and_saved_as_usual(bob: Client, kind: str) -> None:
    sent = shown(bob, kind)
    assert sent.keys() - {"name", "kind", "write_key", "opened_for"} == ASKED[kind]
    answer = bob.post(NEW, sent)
    made = Instrument.objects.exclude(name="230 mm digital level").get()
    assert answer.url == reverse("instrument", args=[made.pk])
    assert made.kind == kind
    assert made.kind_words in page_of(bob, made)


def test_what_is_typed_goes_into_its_columns(bob: Client) -> None:
    bob.post(NEW, {**shown(bob, "bubble"), "sensitivity_deg": "0.25", "own_error_deg": "0.07"})
    bubble = Instrument.objects.get(kind="bubble")
    assert (bubble.sensitivity_deg, bubble.accuracy_deg) == (0.25, 0.07)
    bob.post(NEW, {**shown(bob, "ball"), "film_hz": "240", "run_mm": "500", "run_askew_deg": "0.3"})
    ball = Instrument.objects.get(kind="ball")
    assert (ball.film_hz, ball.run_mm, ball.alignment_deg) == (240, 500, 0.3)


@pytest.mark.parametrize(
    ("kind", "field", "text"),
    [("bubble", "sensitivity_deg", "0"), ("bubble", "own_error_deg", "5.1"), ("blocks", "block_tolerance_deg", "2.1"),
     ("ball", "run_mm", "49"), ("ball", "film_hz", "9"), ("ball", "film_hz", "240,5"), ("ball", "run_askew_deg", "")],
)  # fmt: skip
def test_it_refuses_and_keeps_what_was_typed(bob: Client, kind: str, field: str, text: str) -> None:
    answer = bob.post(NEW, {**shown(bob, kind), field: text})
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {field}
    assert answer.context["form"][field].value() == text
    assert Instrument.objects.count() == 1


def test_a_kind_that_is_none_is_refused(bob: Client) -> None:
    answer = bob.post(NEW, {**shown(bob, "ball"), "kind": "rope"})
    assert answer.status_code == 422
    assert "kind" in answer.context["form"].errors


def test_a_change_shows_what_was_typed_and_keeps_the_rest(taproom: TernTaproom, bob: Client) -> None:
    ball = make.InstrumentFactory(member=taproom.people.alice, kind="ball", film_hz=120, alignment_deg=0.4)
    address = reverse("instrument_edit", args=[ball.pk])
    sent = {field.name: field.value() or "" for field in bob.get(address).context["form"]}
    assert (sent["film_hz"], sent["run_mm"], sent["run_askew_deg"]) == ("120", "450", "0.4")
    assert bob.post(address, {**sent, "film_hz": ""}).status_code == 302
    changed = Instrument.objects.get(pk=ball.pk)
    assert (changed.film_hz, changed.run_mm, changed.alignment_deg, changed.resolution_deg) == (None, 450, 0.4, 0.1)


def test_the_kind_may_change_until_it_is_used(taproom: TernTaproom, bob: Client) -> None:
    address = reverse("instrument_edit", args=[taproom.instrument.pk])
    page = bob.get(address, {"kind": "bubble"})
    assert page.context["form"]["kind"].value() == "bubble"
    sent = {field.name: field.value() or "" for field in page.context["form"]}
    survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument)
    answer = bob.post(address, sent)
    assert answer.status_code == 422
    assert "It was used as what it is" in words(answer.content.decode())
    assert Instrument.objects.get(pk=taproom.instrument.pk).kind == "digital_level"
    assert 'aria-label="Kind of instrument"' not in bob.get(address).content.decode()


def test_how_sure_a_reading_is_by_hand(taproom: TernTaproom) -> None:
    """Budgets on paper, at 6.5 degrees of pitch; common practice for the limits, no source (presets.py)."""
    # rounding 0.1/sqrt 12, accuracy 0.1/sqrt 3 (GUM 4.3.7), spread 0.03: 0.0712; and across 1 degree askew is
    # 0.113/sqrt 3 = 0.0654 of roll (DESIGN, section 3)
    level = how_sure(Instrument(kind="digital_level"))
    assert level.u_pitch_deg == pytest.approx(0.0712, abs=5e-4)
    assert level.u_roll_deg == pytest.approx((0.0712**2 + 0.0654**2) ** 0.5, abs=5e-4)
    # "level" within 0.1: 0.1/sqrt 3, and own error, askew and spread as above
    bubble = how_sure(Instrument(kind="bubble"))
    assert bubble.u_pitch_deg is None
    assert bubble.u_roll_deg == pytest.approx((2 * 0.01 / 3 + 0.0654**2 + 0.03**2) ** 0.5, abs=5e-4)
    # a tenth of a second is more than 1 degree, film about 0.05 (DESIGN, section 4.2)
    ball = how_sure(Instrument(kind="ball", alignment_deg=0.2))
    assert ball.u_pitch_deg is not None
    assert ball.u_film_deg is not None
    assert ball.u_pitch_deg > 1
    assert ball.u_film_deg == pytest.approx(0.05, abs=0.005)


@pytest.mark.parametrize(
    ("kind", "told"),
    [("bubble", "It cannot tell pitch"), ("blocks", "half the step between them decides"),
     ("ball", "reads the pitch low by what friction takes")],
)  # fmt: skip
def test_its_page_says_what_it_is_good_for(taproom: TernTaproom, bob: Client, kind: str, told: str) -> None:
    text = page_of(bob, make.InstrumentFactory(member=taproom.people.alice, kind=kind))
    assert told in text
    assert "batteries" not in text
    assert "Check its zero" not in text
    assert "batteries" in page_of(bob, taproom.instrument)


def test_only_what_shows_a_number_has_a_zero_or_events(taproom: TernTaproom, bob: Client) -> None:
    for kind in ("bubble", "blocks", "ball"):
        row = make.InstrumentFactory(member=taproom.people.alice, kind=kind)
        for name in ("instrument_zero", "instrument_event"):
            assert bob.get(reverse(name, args=[row.pk])).status_code == 404
    assert bob.get(reverse("instrument_zero", args=[taproom.vial.pk])).status_code == 404
    assert due_of(member=taproom.people.bob, now=timezone.now()) == []


def test_the_list_says_what_counts_for_each_kind(taproom: TernTaproom, bob: Client) -> None:
    for kind in ("bubble", "blocks", "ball"):
        make.InstrumentFactory(member=taproom.people.alice, kind=kind)
    assert taproom.vial
    text = words(bob.get(reverse("instruments")).content.decode())
    for part in ("tells level or a side, no number", "pitch between two blocks", "run of 450 mm", "2 lines either way"):
        assert part in text


def test_floors_are_read_with_what_shows_a_number(taproom: TernTaproom, bob: Client) -> None:
    make.InstrumentFactory(member=taproom.people.alice, kind="bubble", name="Our bubble")
    assert "Our bubble" not in bob.get(reverse("floor_slope", args=[taproom.floor.pk])).content.decode()
