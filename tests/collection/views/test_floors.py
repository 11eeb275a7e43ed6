"""A person draws a floor, puts bays on it and reads its slope."""

import uuid
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from collection.models import Bay, Floor, FloorReading, FloorSlope, Membership
from tests import factories as make
from tests.worlds import TernTaproom

SignIn = Callable[[Membership], Client]
FLOOR = {"name": "Back room", "surface": "tile", "width_mm": "9000", "depth_mm": "4000"}
BAY = {"name": "Bay 7", "heading_deg": "90", "x_mm": "1200", "y_mm": "800", "front_reachable": "on"}


def slope(*rows: tuple[str, str], unit: str = "deg", **extra: str) -> dict[str, str]:
    """Return what the slope page sends for these (amount, direction) rows."""
    typed = {"unit": unit, "readings-TOTAL_FORMS": str(len(rows)), "readings-INITIAL_FORMS": "0", **extra}
    for place, (amount, toward) in enumerate(rows):
        typed[f"readings-{place}-amount"] = amount
        typed[f"readings-{place}-rises_toward"] = toward
    return typed


def test_it_adds_a_floor_once(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    key = str(uuid.uuid4())
    for _ in range(2):
        answer = bob.post(reverse("floor_new", args=[taproom.site.pk]), {**FLOOR, "write_key": key})
        assert answer.status_code == 302
        assert answer.url == reverse("floor", args=[key])
    assert Floor.objects.get(pk=key).depth_mm == 4000
    assert Floor.objects.count() == 2


@pytest.mark.parametrize(("field", "text"), [("name", ""), ("width_mm", "12 m"), ("depth_mm", "1"), ("surface", "ice")])
def test_it_refuses_a_floor_and_keeps_what_was_typed(
    taproom: TernTaproom, as_member: SignIn, field: str, text: str
) -> None:
    answer = as_member(taproom.people.bob).post(reverse("floor_new", args=[taproom.site.pk]), {**FLOOR, field: text})
    assert answer.status_code == 422
    assert answer.context["form"].errors.keys() == {field}
    assert answer.context["form"]["depth_mm"].value() == {**FLOOR, field: text}["depth_mm"]
    assert Floor.objects.count() == 1


def test_it_refuses_a_name_twice(taproom: TernTaproom, as_member: SignIn) -> None:
    typed = {**FLOOR, "name": taproom.floor.name}
    answer = as_member(taproom.people.bob).post(reverse("floor_new", args=[taproom.site.pk]), typed)
    assert answer.status_code == 422
    assert "name" in answer.context["form"].errors


def test_it_refuses_a_stale_edit(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    url = reverse("floor_edit", args=[taproom.floor.pk])
    assert bob.post(url, {**FLOOR, "version": "1"}).status_code == 302
    answer = bob.post(url, {**FLOOR, "name": "Other", "version": "1"})
    assert answer.status_code == 409
    assert Floor.objects.get(pk=taproom.floor.pk).name == "Back room"


def test_it_adds_and_turns_a_bay(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    answer = bob.post(reverse("bay_new", args=[taproom.floor.pk]), BAY)
    bay = Bay.objects.get(name="Bay 7")
    assert answer.url == reverse("bay", args=[bay.pk])
    assert (bay.heading_deg, bay.front_reachable, bay.rear_reachable) == (90, True, False)
    bob.post(reverse("bay_edit", args=[bay.pk]), {**BAY, "heading_deg": "180", "version": "1"})
    bay.refresh_from_db()
    assert (bay.heading_deg, bay.version) == (180, 2)


def test_it_refuses_a_bay_outside_its_floor(taproom: TernTaproom, as_member: SignIn) -> None:
    url = reverse("bay_new", args=[taproom.floor.pk])
    answer = as_member(taproom.people.bob).post(url, {**BAY, "x_mm": "8001"})
    assert answer.status_code == 422
    assert "8000 mm" in answer.context["form"].errors["x_mm"][0]


def test_it_records_the_slope_of_a_floor_as_typed(taproom: TernTaproom, as_member: SignIn) -> None:
    url = reverse("floor_slope", args=[taproom.floor.pk])
    answer = as_member(taproom.people.bob).post(url, slope(("10", "180"), ("5.0", "90"), unit="mm_per_m"))
    assert answer.status_code == 302
    found = FloorSlope.objects.get()
    # 10 mm/m up toward the front wall and 5 mm/m up toward the right wall, by hand
    assert found.gy == pytest.approx(-0.010, abs=1e-9)
    assert found.gx == pytest.approx(0.005, abs=1e-9)
    assert found.bay is None
    assert [(r.text, r.unit, r.rises_toward_deg) for r in FloorReading.objects.all()] == [
        ("10", "mm_per_m", 180),
        ("5.0", "mm_per_m", 90),
    ]


def test_a_bays_own_slope_counts_before_its_floors(taproom: TernTaproom, as_member: SignIn) -> None:
    bob = as_member(taproom.people.bob)
    make.FloorSlopeFactory(member=taproom.people.alice, floor=taproom.floor, gx=0.02)
    assert bob.get(reverse("bay", args=[taproom.bay.pk])).context["slope"].gx == 0.02
    bob.post(reverse("bay_slope", args=[taproom.bay.pk]), slope(("0", "0"), ("0.3", "270")))
    assert bob.get(reverse("bay", args=[taproom.bay.pk])).context["slope"].gx == pytest.approx(-0.005236, abs=1e-6)


@pytest.mark.parametrize(
    "typed",
    [
        slope(("0.4", "0"), ("0.2", "180")),  # both along one line
        slope(("0.4", "0"), ("", "90")),  # one reading only
        slope(("16", "0"), ("0.2", "90")),  # steeper than any floor
        slope(("0,4", "0"), ("0.2", "90")),  # a comma
        slope(("0.4", "12"), ("0.2", "90")),  # no such direction
        slope(("0.4", "0"), ("0.2", "90"), unit="cubits"),
        slope(("0.4", "0"), ("0.2", "90"), instrument=str(uuid.uuid4())),  # not an instrument of theirs
    ],
)
def test_it_refuses_a_slope_and_saves_nothing(taproom: TernTaproom, as_member: SignIn, typed: dict[str, str]) -> None:
    answer = as_member(taproom.people.bob).post(reverse("floor_slope", args=[taproom.floor.pk]), typed)
    assert answer.status_code == 422
    assert typed["readings-0-amount"] in answer.content.decode()
    assert not FloorSlope.objects.exists()


def test_it_adds_a_row_and_keeps_what_was_typed(taproom: TernTaproom, as_member: SignIn) -> None:
    typed = slope(("0.4", "0"), ("0.2", "90"), add="1")
    answer = as_member(taproom.people.bob).post(reverse("floor_slope", args=[taproom.floor.pk]), typed)
    assert answer.status_code == 200
    assert [row["amount"].value() for row in answer.context["rows"].forms] == ["0.4", "0.2", None]


@pytest.mark.parametrize("count", [3, 30])
def test_its_pages_ask_a_fixed_number_of_times(
    taproom: TernTaproom, as_member: SignIn, count: int, django_assert_max_num_queries: Callable[[int], object]
) -> None:
    for place in range(count):
        bay = make.BayFactory(member=taproom.people.alice, floor=taproom.floor)
        make.MachineFactory(member=taproom.people.alice, bay=bay)
        make.FloorSlopeFactory(member=taproom.people.alice, floor=taproom.floor, bay=bay if place % 2 else None)
    bob = as_member(taproom.people.bob)
    bob.get(reverse("acting"))  # the first visit notes the device
    for name, pk in (("site", taproom.site.pk), ("floor", taproom.floor.pk), ("bay", taproom.bay.pk)):
        with django_assert_max_num_queries(9):  # type: ignore[attr-defined]
            assert bob.get(reverse(name, args=[pk])).status_code == 200


def test_bays_stand_as_people_count_with_who_stands_there(taproom: TernTaproom, as_member: SignIn) -> None:
    for number in (10, 2):
        make.BayFactory(member=taproom.people.alice, floor=taproom.floor, name=f"Bay {number}")
    make.FloorSlopeFactory(member=taproom.people.alice, floor=taproom.floor, bay=taproom.bay, gx=0.01, gy=0.0)
    answer = as_member(taproom.people.bob).get(reverse("floor", args=[taproom.floor.pk]))
    assert [bay.name for bay, _ in answer.context["bays"]] == ["Bay 1", "Bay 2", "Bay 10"]
    shapes = {shape["label"]: shape for shape in answer.context["shapes"]}
    assert shapes["Bay 1"]["slope"] == (0.01, 0.0)
    assert shapes["Bay 2"]["slope"] is None
    table = answer.content.decode().split("The plan as a table")[1].split("</table>")[0]
    for words in ("Lantern Reef, never surveyed", "free", "back wall", "falls 0.57° toward the left wall, read here"):
        assert words in table


def test_a_bay_shows_itself_among_the_others(taproom: TernTaproom, as_member: SignIn) -> None:
    other = make.BayFactory(member=taproom.people.alice, floor=taproom.floor, name="Bay 2")
    answer = as_member(taproom.people.bob).get(reverse("bay", args=[taproom.bay.pk]))
    assert [(shape["label"], shape["here"]) for shape in answer.context["shapes"]] == [
        ("Bay 1", True),
        ("Bay 2", False),
    ]
    page = answer.content.decode()
    assert page.count("bay-here") == 1
    assert f'href="{reverse("bay", args=[other.pk])}"' in page
    assert page.index("Standing here") < page.index("What the floor does")


def test_a_site_tells_how_each_floor_falls(taproom: TernTaproom, as_member: SignIn) -> None:
    bob, url = as_member(taproom.people.bob), reverse("site", args=[taproom.site.pk])
    assert "slope not read yet" in bob.get(url).content.decode()
    make.FloorSlopeFactory(member=taproom.people.alice, floor=taproom.floor, gx=0.0, gy=-0.01)
    page = bob.get(url).content.decode()
    assert "falls 0.57° toward the back wall" in page  # 10 mm/m is 0.573 degree
    assert "1 of 1 bay taken" in page
