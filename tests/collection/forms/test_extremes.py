"""Every number at both ends of its range and just beyond, and machines at the edge of what is allowed.

The engine answers or refuses in words; the database's own ranges never have to stop what a form let through.
"""

import itertools
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from collection import models
from collection.forms.fields import NumberField
from tests import factories as make
from tests.collection.forms.test_hostile_posts import PAGES, fields_of
from tests.surveying import sent
from tests.worlds import TernTaproom


@pytest.fixture
def alice(taproom: TernTaproom) -> Client:
    # What a world makes when first asked for is there before anybody sends anything.
    assert all((taproom.survey, taproom.vial_pair, taproom.quick_check))
    client = Client()
    client.force_login(taproom.people.alice.user)
    return client


def number_fields(answer: Any) -> dict[str, NumberField]:
    """The number fields of a page by the name that is sent, those in rows included."""
    form = answer.context["form"]
    found = {form.add_prefix(name): field for name, field in form.fields.items()}
    for row in getattr(answer.context.get("rows") or getattr(form, "rows", None), "forms", []):
        found |= {row.add_prefix(name): field for name, field in row.fields.items()}
    return {name: field for name, field in found.items() if isinstance(field, NumberField)}


def test_each_number_at_its_ends_and_beyond(alice: Client, taproom: TernTaproom) -> None:
    tried = 0
    for row in PAGES:
        url = row.address(taproom)
        shown = alice.get(url)
        page = fields_of(shown.content.decode()).sent
        for name, field in number_fields(shown).items():
            step = max(1e-6, 1e-9 * field.high)
            for number in (field.low, field.high, field.low - step, field.high + step, -field.high):
                answer = alice.post(url, page | {name: f"{number:.12f}".rstrip("0").rstrip(".")})
                if answer.status_code == 302:  # what was saved is the page's next beginning
                    page = fields_of(alice.get(url).content.decode()).sent
                assert answer.status_code in (302, 422), (row.name, name, number)
                if not field.low <= number <= field.high:
                    assert answer.status_code == 422, (row.name, name, number)
                tried += 1
    assert tried > 300


@pytest.mark.parametrize("end", ["low", "high"])
def test_all_numbers_of_a_page_at_one_end(alice: Client, taproom: TernTaproom, end: str) -> None:
    for row in PAGES:
        url = row.address(taproom)
        answer = alice.get(url)
        page = fields_of(answer.content.decode()).sent
        numbers = {name: f"{getattr(field, end):g}" for name, field in number_fields(answer).items()}
        assert alice.post(url, page | numbers).status_code in (302, 422), row.name


DIRECTIONS = ("0", "45", "90", "135", "180", "225", "270", "315")


def test_steep_slopes_toward_any_two_directions(alice: Client, taproom: TernTaproom) -> None:
    """15 degrees toward one corner and 0 toward the wall beside it would be a floor of 21 degrees."""
    url = reverse("bay_slope", args=[taproom.bay.pk])
    saved = 0
    for toward in itertools.combinations(DIRECTIONS, 2):
        for amounts in (("15", "0"), ("0", "15"), ("15", "15"), ("7", "7")):
            page = {"unit": "deg", "readings-TOTAL_FORMS": "2", "readings-INITIAL_FORMS": "2"}
            for place in (0, 1):
                page[f"readings-{place}-amount"] = amounts[place]
                page[f"readings-{place}-rises_toward"] = toward[place]
            answer = alice.post(url, page)
            assert answer.status_code in (302, 422), (toward, amounts)
            saved += answer.status_code == 302
    assert saved == models.FloorSlope.objects.count() > 20
    assert alice.get(reverse("bay", args=[taproom.bay.pk])).status_code == 200


BESIDE_15 = [
    ("mm_per_m", "267.9491925"), ("percent", "26.79491925"), ("deg", "90"), ("deg", "260"), ("mm_per_m", "260"),
    ("in_per_ft", "3.2153903"),
]  # fmt: skip


@pytest.mark.parametrize(("unit", "amount"), BESIDE_15)
def test_a_slope_beside_15_degrees(alice: Client, taproom: TernTaproom, unit: str, amount: str) -> None:
    """tan 15 degrees is 0.26794919243: 267.9491924 mm/m, 3.215390309 in/ft."""
    page = {"unit": unit, "readings-TOTAL_FORMS": "2", "readings-INITIAL_FORMS": "2", "readings-0-amount": amount}
    page |= {"readings-0-rises_toward": "0", "readings-1-amount": "0", "readings-1-rises_toward": "90"}
    answer = alice.post(reverse("bay_slope", args=[taproom.bay.pk]), page)
    assert answer.status_code == (302 if amount in ("260", "3.2153903") and unit != "deg" else 422)


#: Front and rear track, base, lead: the ends of the ranges against each other.
TRACKS = ((200, 200), (2000, 2000), (200, 2000), (2000, 200))
#: Half of all: each two of the ends meet, in some order of tracks (an orthogonal array).
HALF = [
    (tracks, base, lead)
    for place, (tracks, base, lead) in enumerate(itertools.product(TRACKS, (400, 3000), (0.5, 5)))
    if (place // 4 + place // 2 + place) % 2 == 0
]
#: A second database is shown two of them: what its own ranges could stop is in each.
MACHINES = [
    pytest.param(*machine, marks=() if machine[1:] == (400, 0.5) else pytest.mark.one_database) for machine in HALF
]


@pytest.mark.parametrize(("tracks", "base", "lead"), MACHINES)
def test_a_machine_at_the_edge_of_what_is_allowed(
    alice: Client, taproom: TernTaproom, tracks: tuple[int, int], base: int, lead: float
) -> None:
    make.FloorSlopeFactory(member=taproom.people.alice, floor=taproom.floor, gx=0.2, gy=-0.25, u_gx=0.05, u_gy=0.05)
    models.Machine.objects.update(track_front_mm=tracks[0], track_rear_mm=tracks[1], base_mm=base, lead_mm=lead)
    travel, exposure = (1, 1) if tracks[0] == tracks[1] else (200, 0)
    models.Leg.objects.update(travel_mm=travel, exposure_mm=exposure, length_mm=1500, pad_mm=100)
    coarse = make.InstrumentFactory(
        member=taproom.people.alice, resolution_deg=2, accuracy_deg=5, alignment_deg=10, repeat_deg=2
    )
    survey, plan = (reverse(name, args=[taproom.machine.pk]) for name in ("survey_new", "plan_new"))
    work = {"front_reachable": "on", "rear_reachable": "on", "steps_per_turn": "8", "even_if_in_spec": "on"}
    for along, across in ((("20", "rear"), ("20", "right")), (("20", "front"), ("20", "left")), (("0", "level"),) * 2):
        for stance, gap in (("all_bearing", ""), ("FL", "20"), ("RR", "0.01"), ("unknown", "")):
            rows = (("along", *along), ("across", *across))
            answer = alice.post(survey, sent(coarse.pk, *rows, stance=stance, gap=gap, gap_unit="mm"))
            assert answer.status_code in (302, 422)
            if answer.status_code == 302:
                assert alice.get(answer.url).status_code == 200
            for source in ("survey", "floor"):
                made = alice.post(plan, {"source": source, **work})
                assert made.status_code in (302, 422)
                if made.status_code == 302:
                    assert alice.get(made.url).status_code == 200
    for name in ("machine", "machine_legs", "machine_edit", "survey_new", "plan_new"):
        assert alice.get(reverse(name, args=[taproom.machine.pk])).status_code == 200
    assert models.Survey.objects.count() > 1
