"""A person adds the vial of a machine, teaches it by pairs, reads it and prints its strip."""

import re
import uuid
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from collection.actions.machines import set_spec
from collection.models import Instrument, Membership, VialPair
from tests import factories as make
from tests.collection.views.test_plan_work import words
from tests.surveying import author, pair_of
from tests.worlds import TernTaproom

SignIn = Callable[[Membership], Client]
VIAL = {"name": "Its vial", "direction": "along", "reach_lines": "2", "deg_per_line": "", "middle_deg": ""}


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


def pair(taproom: TernTaproom, **more: str) -> dict[str, str]:
    sent = {"level": str(taproom.instrument.pk), "shown": "6.8", "high_end": "rear", "unit": "", "lines": "0.5"}
    return {**sent, "side": "rear", **more}


def wanted(taproom: TernTaproom, pitch_deg: float) -> None:
    """Say what Lantern Reef should read from now on."""
    numbers = {"pitch_deg": pitch_deg, "pitch_tolerance_deg": 0.2, "roll_tolerance_deg": 0.15, "gap_tolerance_mm": 0.5}
    by, version = author(taproom.people.alice, timezone.now()), taproom.machine.specs.count()
    set_spec(by=by, machine=taproom.machine, version=version, why="Steeper.", **numbers)


def page_of(client: Client, name: str, row: Instrument, **query: str) -> str:
    answer = client.get(reverse(name, args=[row.pk], query=query))
    assert answer.status_code == 200
    return words(answer.content.decode())


def test_it_is_added_from_the_page_of_its_machine(taproom: TernTaproom, bob: Client) -> None:
    address = reverse("vial_new", args=[taproom.machine.pk])
    assert f'href="{address}"' in bob.get(reverse("machine", args=[taproom.machine.pk])).content.decode()
    assert bob.get(address).context["form"]["name"].value() == "Vial of Lantern Reef"
    answer = bob.post(address, {**VIAL, "deg_per_line": "0.4", "middle_deg": "6.5"})
    vial = Instrument.objects.get(kind="vial")
    assert answer.url == reverse("instrument", args=[vial.pk])
    assert (vial.machine, vial.deg_per_line, vial.middle_deg) == (taproom.machine, 0.4, 6.5)
    text = page_of(bob, "instrument", vial)
    assert "From the manual of the machine alone" in text
    assert "Its vial" in bob.get(reverse("machine", args=[taproom.machine.pk])).content.decode()


def test_who_looks_for_it_among_the_instruments_is_sent_to_the_machine(bob: Client) -> None:
    page = bob.get(reverse("instrument_new"), {"kind": "vial"}).content.decode()
    assert "A vial belongs to one machine" in page
    assert bob.post(reverse("instrument_new"), {"kind": "vial", "name": "x"}).status_code == 422
    assert not Instrument.objects.filter(kind="vial").exists()


def test_three_pairs_teach_it(taproom: TernTaproom, bob: Client) -> None:
    """Half a degree a line through 6.5 in the middle: the wanted pitch of 6.5 is in the middle."""
    text = page_of(bob, "instrument", taproom.vial)
    assert "1 line = 0.50°" in text
    assert "Learned from 3 pairs" in text
    assert "belongs in the middle" in text
    assert "Add a pair" in text


def test_a_pair_is_typed_and_kept(taproom: TernTaproom, bob: Client) -> None:
    address, key = reverse("vial_pair_new", args=[taproom.vial.pk]), str(uuid.uuid4())
    for _ in range(2):
        answer = bob.post(address, pair(taproom, write_key=key))
        assert answer.url == reverse("instrument", args=[taproom.vial.pk])
    kept = VialPair.objects.get(pk=key)
    assert (kept.level_text, kept.level_unit, kept.tilt_deg, kept.position_lines) == ("6.8", "deg", 6.8, 0.5)


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"shown": ""}, "shown"), ({"shown": "-6.5"}, "shown"), ({"shown": "21"}, "shown"),
        ({"high_end": ""}, "high_end"), ({"high_end": "level"}, "high_end"), ({"high_end": "left"}, "high_end"),
        ({"lines": "2.5"}, "lines"), ({"lines": ""}, "lines"), ({"side": ""}, "side"), ({"side": "middle"}, "side"),
        ({"side": "right"}, "side"), ({"level": str(uuid.uuid4())}, "level"), ({"unit": "gon"}, "unit"),
    ],
)  # fmt: skip
def test_it_refuses_a_pair_and_keeps_what_was_typed(
    taproom: TernTaproom, bob: Client, typed: dict[str, str], field: str
) -> None:
    assert taproom.vial
    answer = bob.post(reverse("vial_pair_new", args=[taproom.vial.pk]), pair(taproom, **typed))
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {field}
    assert answer.context["form"]["shown"].value() == typed.get("shown", "6.8")
    assert VialPair.objects.count() == 3


def test_show_says_what_it_teaches_and_stores_nothing(taproom: TernTaproom, bob: Client) -> None:
    address = reverse("vial_pair_new", args=[taproom.vial.pk])
    piece = bob.post(address, pair(taproom, show="1"), headers={"HX-Request": "true"}).content.decode()
    assert piece.lstrip().startswith('<div class="piece" id="vial-so-far"')
    assert "Learned from 4 pairs" in piece
    whole = bob.post(address, pair(taproom, show="1", shown="6"))
    assert whole.context["form"]["shown"].value() == "6"
    assert VialPair.objects.count() == 3


def test_a_stranger_of_a_kind_has_no_vial_pages(taproom: TernTaproom, bob: Client) -> None:
    for name in ("vial_pair_new", "vial_strip"):
        assert bob.get(reverse(name, args=[taproom.instrument.pk])).status_code == 404


def test_a_wrong_pair_is_left_out_with_its_reason(taproom: TernTaproom, bob: Client) -> None:
    address = reverse("vial_pair_leave_out", args=[taproom.vial_pair.pk])
    assert "Leave this pair out?" in bob.get(address).content.decode()
    assert bob.post(address, {"why": ""}).status_code == 422
    assert bob.post(address, {"why": "Somebody leaned on it."}).status_code == 302
    text = page_of(bob, "instrument", taproom.vial)
    assert "Left out: Somebody leaned on it." in text
    assert "Learned from 2 pairs" in text
    assert "left out already" in bob.post(address, {"why": "Again."}).content.decode()


@pytest.mark.parametrize(
    ("shown", "advice"),
    [
        ([(0.5, 6.5)], "One pair tells one place only."),
        ([(0.5, 6.5), (0.5, 6.6)], "The bubble hardly moved between the pairs."),
        ([(2, 5.5), (0, 6.5), (-2, 7.5)], "A bubble goes to the high end"),
        ([(-2, 5.5), (-1, 7.9), (0, 6.1), (1, 8.4)], "The pairs disagree"),
        ([], "Not learned yet"),
    ],
)
def test_it_says_what_to_do_until_it_is_learned(
    taproom: TernTaproom, bob: Client, shown: list[tuple[float, float]], advice: str
) -> None:
    vial = make.InstrumentFactory(member=taproom.people.alice, kind="vial", machine=taproom.machine, direction="along")
    for lines, tilt in shown:
        pair_of(vial, taproom.instrument, by=taproom.people.bob, lines=lines, shown=tilt)
    assert advice in page_of(bob, "instrument", vial)
    strip = page_of(bob, "vial_strip", vial)
    assert "No strip yet" in strip
    assert "<svg" not in bob.get(reverse("vial_strip", args=[vial.pk])).content.decode().split("paper-state")[1]


def test_it_is_read_without_storing_anything(taproom: TernTaproom, bob: Client) -> None:
    """0.5 lines to the rear at half a degree a line: 6.75."""
    assert "6.75°" in page_of(bob, "instrument", taproom.vial, lines="0.5", side="rear")
    assert "6.25°" in page_of(bob, "instrument", taproom.vial, lines="0.5", side="front")
    assert "beyond its last line" in page_of(bob, "instrument", taproom.vial, lines="3", side="rear")
    assert "Write digits only" in page_of(bob, "instrument", taproom.vial, lines="six", side="rear")
    assert "say to which side" in page_of(bob, "instrument", taproom.vial, lines="1").lower()


def test_the_strip_shows_the_place_at_true_size(taproom: TernTaproom, bob: Client) -> None:
    """Wanted 6.75 is half a line to the rear: with 8 mm a line 4 mm right of the middle of 2 x (2 x 8 + 10) mm."""
    assert taproom.vial_pair
    wanted(taproom, 6.75)
    html = bob.get(reverse("vial_strip", args=[taproom.vial.pk]), {"spacing_mm": "8"}).content.decode()
    assert 'width="52.00mm"' in html
    assert 'd="M30.00 12.4' in html  # the arrow's tip: 26 + 4 mm
    text = words(html).replace("&nbsp;", " ").replace("\u00a0", " ")
    for part in ("belongs 0.5 lines to the rear", "wanted pitch 6.75°", "learned from 3 pairs", "lines 8 mm apart",
                 "This bar is 50 mm long", "Lantern Reef, LR-1"):  # fmt: skip
        assert part in text, part
    assert re.search(r'width="52\.00mm" height="8\.00mm"', html), "the bar of 50 mm has 1 mm of room at either end"


def test_a_strip_beyond_the_lines_or_the_sheet_is_refused(taproom: TernTaproom, bob: Client) -> None:
    assert taproom.vial_pair
    address = reverse("vial_strip", args=[taproom.vial.pk])
    answer = bob.get(address, {"spacing_mm": "90"})
    assert answer.status_code == 422
    assert "Write a number" in words(answer.content.decode())
    wanted(taproom, 7.9)
    beyond = words(bob.get(address).content.decode())
    assert "beyond the last line" in beyond
    assert "Add a pair" not in beyond  # no pair brings the line's end nearer


def test_moving_it_is_told_and_ends_what_it_learned(taproom: TernTaproom, bob: Client) -> None:
    assert taproom.vial_pair
    address = reverse("instrument_event", args=[taproom.vial.pk])
    page = bob.get(address).content.decode()
    assert "Moved, refitted or replaced" in page
    assert "Battery" not in page
    assert bob.post(address, {"kind": "battery"}).status_code == 422
    assert bob.post(address, {"kind": "repaired"}).status_code == 302
    text = page_of(bob, "instrument", taproom.vial)
    assert "Not learned yet" in text
    assert text.count("Does not count: the vial was moved or refitted since.") == 3


def test_a_vial_is_changed(taproom: TernTaproom, bob: Client) -> None:
    address = reverse("instrument_edit", args=[taproom.vial.pk])
    shown = {field.name: field.value() for field in bob.get(address).context["form"]}
    assert bob.post(address, {**shown, "reach_lines": "4"}).status_code == 302
    assert Instrument.objects.get(pk=taproom.vial.pk).reach_lines == 4
    answer = bob.post(address, {**shown, "version": "2", "direction": "across"})
    assert answer.status_code == 422, "it has pairs"
    assert "direction" in answer.context["form"].errors


def test_pages_ask_as_often_for_3_as_for_30(taproom: TernTaproom, bob: Client) -> None:
    urls = [reverse(name, args=[taproom.vial.pk]) for name in ("instrument", "vial_pair_new", "vial_strip")]
    asked = []
    bob.get(urls[0])  # the first visit notes the device
    for more in (1, 27):
        for number in range(more):
            pair_of(taproom.vial, taproom.instrument, by=taproom.people.bob, lines=0.5, shown=6.7 + number / 100)
        counts = []
        for url in urls:
            with CaptureQueriesContext(connection) as queries:
                assert bob.get(url).status_code == 200
            counts.append(len(queries))
        asked.append(counts)
    assert asked[0] == asked[1]
    assert max(asked[0]) <= 12
