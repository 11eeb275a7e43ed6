"""A person keeps levels: adds one with its usual numbers, and checks its zero by turning it end for end."""

import uuid
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from collection.models import Instrument, Membership, ZeroCheck
from tests import factories as make
from tests.worlds import TernTaproom

SignIn = Callable[[Membership], Client]
LEVEL = {
    "name": "Red level",
    "kind": "digital_level",
    "unit": "deg",
    "resolution": "0.1",
    "accuracy": "0.1",
    "base_mm": "230",
    "alignment_deg": "1",
    "repeat_deg": "0.03",
}
PAIR = {"unit": "deg", "first": "0.3", "first_high": "right", "turned": "0.1", "turned_high": "right"}


def zero_of(taproom: TernTaproom, client: Client, **changes: str) -> ZeroCheck:
    answer = client.post(reverse("instrument_zero", args=[taproom.instrument.pk]), PAIR | changes)
    assert answer.status_code == 302, answer.context["form"].errors
    check: ZeroCheck = ZeroCheck.objects.latest("created_at")
    return check


def test_the_defaults_fit_a_plain_level(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    shown = bob.get(reverse("instrument_new")).context["form"]
    typed = {field.name: field.value() for field in shown if field.name != "name"}
    answer = bob.post(reverse("instrument_new"), typed | {"name": "Red level"})
    level = Instrument.objects.get(name="Red level")
    assert answer.url == reverse("instrument", args=[level.pk])
    numbers = (level.resolution_deg, level.accuracy_deg, level.base_mm, level.alignment_deg, level.repeat_deg)
    assert numbers == (0.1, 0.1, 230, 1, 0.03)  # presets.py: common practice, no source


def test_sent_twice_it_is_added_once(taproom: TernTaproom, as_member: SignIn) -> None:
    bob, key = as_member(taproom.people.bob), str(uuid.uuid4())
    for _ in range(2):
        answer = bob.post(reverse("instrument_new"), {**LEVEL, "write_key": key})
        assert answer.url == reverse("instrument", args=[key])
    assert Instrument.objects.filter(name="Red level").count() == 1


def test_steps_and_accuracy_are_in_the_unit_it_shows(taproom: TernTaproom, as_member: SignIn) -> None:
    """1 mm/m is 0.0572958 degree (arctangent of 1/1000)."""
    bob = as_member(taproom.people.bob)
    bob.post(reverse("instrument_new"), {**LEVEL, "unit": "mm_per_m", "resolution": "1", "accuracy": "0.5"})
    level = Instrument.objects.get(name="Red level")
    assert level.resolution_deg == pytest.approx(0.0572958, abs=1e-7)
    assert level.accuracy_deg == pytest.approx(0.0286479, abs=1e-7)
    shown = bob.get(reverse("instrument_edit", args=[level.pk])).context["form"]
    assert (shown["resolution"].value(), shown["accuracy"].value()) == ("1", "0.5")
    bob.post(reverse("instrument_edit", args=[level.pk]), {field.name: field.value() for field in shown})
    again = Instrument.objects.get(pk=level.pk)
    assert (again.resolution_deg, again.accuracy_deg) == (level.resolution_deg, level.accuracy_deg)


@pytest.mark.parametrize(
    ("field", "text"),
    [("name", ""), ("name", "x" * 81), ("kind", "rope"), ("unit", "gon"), ("resolution", "0"), ("resolution", "2.5"),
     ("resolution", "0,1"), ("accuracy", "-0.1"), ("accuracy", "5.1"), ("base_mm", "10"), ("alignment_deg", "11"),
     ("repeat_deg", "nan")],
)  # fmt: skip
def test_it_refuses_and_keeps_what_was_typed(taproom: TernTaproom, as_member: SignIn, field: str, text: str) -> None:
    answer = as_member(taproom.people.bob).post(reverse("instrument_new"), {**LEVEL, field: text})
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {field}
    assert answer.context["form"][field].value() == text
    assert Instrument.objects.count() == 1


def test_a_step_out_of_range_is_told_in_its_own_unit(taproom: TernTaproom, as_member: SignIn) -> None:
    typed = {**LEVEL, "unit": "mm_per_m", "resolution": "100"}
    answer = as_member(taproom.people.bob).post(reverse("instrument_new"), typed)
    assert answer.status_code == 422
    assert "34.92076949 mm/m" in str(answer.context["form"].errors["resolution"])  # tangent of 2 degrees


def test_it_refuses_a_name_twice_and_a_stale_edit(taproom: TernTaproom, as_member: SignIn) -> None:
    bob, url = as_member(taproom.people.bob), reverse("instrument_edit", args=[taproom.instrument.pk])
    make.InstrumentFactory(member=taproom.people.alice, name="Blue level")
    assert bob.post(url, {**LEVEL, "version": "1"}).status_code == 302
    assert bob.post(url, {**LEVEL, "name": "Other", "version": "1"}).status_code == 409
    answer = bob.post(url, {**LEVEL, "name": "Blue level", "version": "2"})
    assert answer.status_code == 422
    assert "name" in answer.context["form"].errors
    assert Instrument.objects.get(pk=taproom.instrument.pk).name == "Red level"


@pytest.mark.parametrize(
    ("first", "turned", "zero_deg"),
    [
        # zero = (r0 + r180)/2 with the level's own sign; turned around, its sign is the opposite of the surface's
        (("0.3", "right"), ("0.1", "right"), 0.1),  # surface right high 0.2, display 0.1 too high at the marked end
        (("0.1", "right"), ("0.3", "right"), -0.1),
        (("0.2", "right"), ("0.2", "right"), 0.0),  # reversal cancels the surface's own slope
        (("0.1", "right"), ("0.1", "left"), 0.1),  # a level surface
        (("0.1", "left"), ("0.1", "right"), -0.1),
        (("0", "level"), ("0.2", "left"), 0.1),
        (("0.1", "right"), ("0", "right"), 0.05),  # a side beside 0 means nothing
    ],
)
def test_a_reversed_pair_gives_the_zero(
    taproom: TernTaproom, as_member: SignIn,
    first: tuple[str, str], turned: tuple[str, str], zero_deg: float,
) -> None:  # fmt: skip
    """Derived in DEVELOPERS.md, Geometry."""
    typed = {"first": first[0], "first_high": first[1], "turned": turned[0], "turned_high": turned[1]}
    check = zero_of(taproom, as_member(taproom.people.bob), **typed)
    assert check.zero_deg == pytest.approx(zero_deg, abs=1e-12)
    # JCGM 100:2008, 4.3.7: 0.1/sqrt 12 of rounding; two readings average the spread of 0.03
    assert check.u_zero_deg == pytest.approx((0.01 / 12 + 0.03**2 / 2) ** 0.5, abs=1e-9)
    assert (check.first_text, check.first_high, check.reversed_text, check.reversed_high) == (*first, *turned)


def test_a_check_in_mm_per_m_is_kept_as_typed(taproom: TernTaproom, as_member: SignIn) -> None:
    check = zero_of(taproom, as_member(taproom.people.bob), unit="mm_per_m", first="2", turned="0", turned_high="level")
    assert (check.first_text, check.unit) == ("2", "mm_per_m")
    assert check.zero_deg == pytest.approx(0.0572957, abs=1e-6)


def test_a_check_sent_twice_is_kept_once(taproom: TernTaproom, as_member: SignIn) -> None:
    bob, key = as_member(taproom.people.bob), str(uuid.uuid4())
    for _ in range(2):
        zero_of(taproom, bob, write_key=key)
    assert ZeroCheck.objects.count() == 1


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"first": ""}, "first"),
        ({"first": "-0.3"}, "first"),
        ({"turned": "46"}, "turned"),
        ({"first_high": ""}, "first_high"),
        ({"turned_high": "level"}, "turned_high"),
        ({"first": "300", "unit": "percent"}, "first"),
        ({"unit": "gon"}, "unit"),
        ({"first": "8", "turned": "8", "turned_high": "left"}, "__all__"),  # a zero error of 8 degrees
    ],
)
def test_it_refuses_a_check_and_keeps_what_was_typed(
    taproom: TernTaproom, as_member: SignIn, typed: dict[str, str], field: str
) -> None:
    url = reverse("instrument_zero", args=[taproom.instrument.pk])
    answer = as_member(taproom.people.bob).post(url, PAIR | typed)
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {field}
    assert answer.context["form"]["first"].value() == (PAIR | typed)["first"]
    assert ZeroCheck.objects.count() == 0


def test_the_page_says_the_zero_and_its_meaning(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    url = reverse("instrument", args=[taproom.instrument.pk])
    assert "Never checked" in bob.get(url).content.decode()
    zero_of(taproom, bob)
    page = bob.get(url).content.decode()
    assert "0.10°, marked\u00a0end high" in page
    assert "0.3\u00a0degrees, right high" in page
    zero_of(taproom, bob, turned="0.3")
    page = bob.get(url).content.decode()
    assert page.index("none to tell") < page.index("0.10°, marked")
    assert "zero none to tell" in bob.get(reverse("instruments")).content.decode()


def test_the_list_finds_by_name_and_htmx_gets_rows_only(taproom: TernTaproom, as_member: SignIn) -> None:
    make.InstrumentFactory(member=taproom.people.alice, name="Blue level")
    make.InstrumentFactory(member=taproom.people.charlie, name="Blue stranger")
    bob = as_member(taproom.people.bob)
    answer = bob.get(reverse("instruments"), {"q": "blue"}, headers={"HX-Request": "true"})
    assert [row.instrument.name for row in answer.context["rows"]] == ["Blue level"]
    assert answer.content.decode().lstrip().startswith('<div id="instrument-rows"')


def test_pages_ask_as_often_for_3_as_for_30(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    urls = [reverse("instruments"), reverse("instrument", args=[taproom.instrument.pk])]
    asked = []
    for more in (3, 27):
        for _ in range(more):
            make.InstrumentFactory(member=taproom.people.alice)
            zero_of(taproom, bob)
        counts = []
        for url in urls:
            with CaptureQueriesContext(connection) as queries:
                bob.get(url)
            counts.append(len(queries))
        asked.append(counts)
    assert asked[0] == asked[1]
    assert max(asked[0]) <= 10


def test_an_empty_check_says_which_reading_lacks_what(taproom: TernTaproom, as_member: SignIn) -> None:
    url = reverse("instrument_zero", args=[taproom.instrument.pk])
    page = as_member(taproom.people.bob).post(url, {"unit": "deg"}).content.decode()
    for words in ("1. It shows:</b> Write a number.", "2. High side:</b> Choose one of the answers shown."):
        assert words in page
