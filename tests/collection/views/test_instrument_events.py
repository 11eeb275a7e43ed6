"""A person tells that a level was dropped; every page that builds on its zero says so until it is checked again."""

import datetime
import uuid
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from collection.models import InstrumentEvent, Membership, Site, ZeroCheck, guards
from tests import factories as make
from tests.surveying import author, sent
from tests.worlds import TernTaproom

SignIn = Callable[[Membership], Client]
PAIR = {"unit": "deg", "first": "0.3", "first_high": "right", "turned": "0.1", "turned_high": "right"}
DAY = datetime.timedelta(days=1)
SAYS_SO = "ropped since its last zero check: check its zero first"


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


@pytest.fixture
def url(taproom: TernTaproom) -> str:
    return reverse("instrument_event", args=[taproom.instrument.pk])


def page_of(client: Client, name: str, *ids: object) -> str:
    return " ".join(client.get(reverse(name, args=ids)).content.decode().split())


def check(taproom: TernTaproom, client: Client) -> None:
    assert client.post(reverse("instrument_zero", args=[taproom.instrument.pk]), PAIR).status_code == 302


def drop(client: Client, url: str, **more: str) -> None:
    assert client.post(url, {"kind": "dropped", "happened_at": "", "note": "", **more}).status_code == 302


def age(taproom: TernTaproom, days: float, **numbers: float) -> None:
    """Store a zero check that is so many days old."""
    stamp = author(taproom.people.bob, timezone.now()).stamp()
    row = {"zero_deg": 0.1, "u_zero_deg": 0.03} | numbers
    ZeroCheck.objects.create(
        instrument=taproom.instrument, first_text="0.1", first_high="right", reversed_text="0.1", reversed_high="left",
        unit="deg", engine_version="1", checked_at=timezone.now() - days * DAY, **row, **stamp,
    )  # fmt: skip


def test_every_page_says_so_until_it_is_checked(taproom: TernTaproom, bob: Client, url: str) -> None:
    level, machine = taproom.instrument.pk, taproom.machine.pk
    check(taproom, bob)
    pages = [("instrument", level), ("instruments",), ("today",), ("survey_new", machine)]
    for page in pages:
        assert SAYS_SO not in page_of(bob, *page), page
    drop(bob, url)
    for page in pages:
        assert SAYS_SO in page_of(bob, *page), page
    assert "Not known" in page_of(bob, "instrument", level)
    check(taproom, bob)
    for page in pages:
        assert SAYS_SO not in page_of(bob, *page), page


def test_the_survey_says_what_it_did_about_it(taproom: TernTaproom, bob: Client, url: str) -> None:
    check(taproom, bob)
    drop(bob, url)
    readings = (("along", "6.5", "rear"), ("across", "0.1", "left"))
    typed = sent(taproom.instrument.pk, *readings)
    words = "Check its zero first, or turn it end for end at each reading."
    live = bob.post(reverse("survey_answer", args=[taproom.machine.pk]), typed, headers={"HX-Request": "true"})
    assert words in live.content.decode()
    saved = bob.post(reverse("survey_new", args=[taproom.machine.pk]), typed)
    page = " ".join(bob.get(saved.url).content.decode().split())
    assert words in page
    assert "the level was dropped since its last zero check, so u 0.20° is added unless" in page
    assert page.count('<td class="num">0.200</td>') == 2, "its part of the budget shows, along and across"
    machine = page_of(bob, "machine", taproom.machine.pk)
    assert "the level was dropped since its last zero check" in machine


def test_a_level_that_is_turned_at_each_reading_needs_no_advice(taproom: TernTaproom, bob: Client, url: str) -> None:
    drop(bob, url)
    turned = {f"readings-{place}-turned_value": number for place, number in enumerate(("6.5", "0.1"))}
    turned |= {f"readings-{place}-turned_high_end": end for place, end in enumerate(("rear", "left"))}
    typed = sent(taproom.instrument.pk, ("along", "6.5", "rear"), ("across", "0.1", "left"), **turned)
    live = bob.post(reverse("survey_answer", args=[taproom.machine.pk]), typed, headers={"HX-Request": "true"})
    assert live.status_code == 200
    assert "Check its zero first" not in live.content.decode()


def test_a_stale_check_is_told_with_its_age_and_how_sure_it_still_is(taproom: TernTaproom, bob: Client) -> None:
    age(taproom, 220)
    page = page_of(bob, "instrument", taproom.instrument.pk)
    assert "Check it again.</strong> Checked 7 months ago; u has grown from 0.03° to 0.07°." in page
    # hypot(0.03, 0.1 * 220/365.25) = 0.0672; 0.1 degree a year is common practice, no source
    assert "ero checked 7 months ago; u has grown to 0.07°" in page_of(bob, "today")
    assert "checked 7 months ago; u has grown to 0.07°" in page_of(bob, "instruments")
    check(taproom, bob)
    assert "Checked today" in page_of(bob, "instrument", taproom.instrument.pk)
    assert "Zero checks due" not in page_of(bob, "today")


def test_today_keeps_to_three_levels_and_to_those_who_see_them(taproom: TernTaproom, as_member: SignIn) -> None:
    stamp = author(taproom.people.bob, timezone.now()).stamp()
    for number in range(4):
        level = make.InstrumentFactory(member=taproom.people.alice, name=f"Level {number}")
        InstrumentEvent.objects.create(instrument=level, kind="dropped", happened_at=timezone.now() - DAY, **stamp)
    page = page_of(as_member(taproom.people.bob), "today")
    assert [f"Level {number}" in page for number in range(4)] == [True, True, True, False]
    assert 'href="/instruments/">All instruments</a>' in page
    assert "Zero checks due" not in page_of(as_member(taproom.people.vera), "today")
    assert "Zero checks due" not in page_of(as_member(taproom.people.charlie), "today")


def test_when_it_happened_is_read_at_the_site(taproom: TernTaproom, bob: Client, url: str) -> None:
    Site.objects.update(time_zone="America/Halifax")
    assert "By the clock at Tern Taproom." in bob.get(url).content.decode()
    drop(bob, url, happened_at="2026-01-05T12:30", note="Off the bar")
    event = InstrumentEvent.objects.get()
    # Halifax is four hours behind UTC in winter
    assert event.happened_at == datetime.datetime(2026, 1, 5, 16, 30, tzinfo=datetime.UTC)
    page = page_of(bob, "instrument", taproom.instrument.pk)
    assert "Off the bar" in page
    assert "Mon 5 Jan 2026, 12:30" in page.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"kind": ""}, "kind"),
        ({"kind": "lent"}, "kind"),
        ({"happened_at": "yesterday"}, "happened_at"),
        ({"happened_at": "1999-12-31T12:00"}, "happened_at"),
        ({"happened_at": "2099-01-01T12:00"}, "happened_at"),
        ({"note": "x" * 201}, "note"),
        ({"note": "a\u202eb"}, "note"),
    ],
)
def test_it_refuses_and_keeps_what_was_typed(bob: Client, url: str, typed: dict[str, str], field: str) -> None:
    answer = bob.post(url, {"kind": "battery", "happened_at": "", "note": "two cells", **typed})
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {field}
    assert answer.context["form"]["note"].value() == typed.get("note", "two cells")
    assert InstrumentEvent.objects.count() == 0


def test_done_twice_it_is_kept_once(bob: Client, url: str) -> None:
    key = str(uuid.uuid4())
    for _ in range(2):
        drop(bob, url, write_key=key)
    assert InstrumentEvent.objects.count() == 1


def test_a_check_that_is_only_shown_saves_nothing_and_loses_nothing(taproom: TernTaproom, bob: Client) -> None:
    url, key = reverse("instrument_zero", args=[taproom.instrument.pk]), str(uuid.uuid4())
    typed = PAIR | {"show": "1", "write_key": key}
    answer = bob.post(url, typed)
    page = answer.content.decode()
    assert answer.status_code == 200
    assert '<p class="big">0.10°, marked\u00a0end high</p>' in page
    form = answer.context["form"]
    assert {name: form[name].value() for name in PAIR} == PAIR
    assert form["write_key"].value() == key
    piece = bob.post(url, typed, headers={"HX-Request": "true"}).content.decode()
    assert piece.lstrip().startswith('<div class="piece" id="zero-found"')
    assert "Save the check" not in piece
    for half in ({"turned": ""}, {"turned": "x"}, {"turned_high": ""}):
        answer = bob.post(url, typed | half, headers={"HX-Request": "true"})
        assert answer.status_code == 200
        assert "The zero shows here once both readings are in." in answer.content.decode()
    too_large = typed | {"first": "8", "turned": "8", "turned_high": "left"}
    assert "more than 5 degrees" in bob.post(url, too_large, headers={"HX-Request": "true"}).content.decode()
    assert ZeroCheck.objects.count() == 0


def test_a_check_beside_the_last_one_says_whether_it_moved(taproom: TernTaproom, bob: Client) -> None:
    age(taproom, 220)
    url, asked = reverse("instrument_zero", args=[taproom.instrument.pk]), PAIR | {"show": "1"}
    same = " ".join(bob.post(url, asked).content.decode().split())
    assert "As 7 months ago: 0.10°, marked end high." in same
    moved = " ".join(bob.post(url, asked | {"first": "0.9"}).content.decode().split())
    assert "It moved:</b> 7 months ago it was" in moved
    assert "Read both again to be sure." in moved


def test_the_zero_over_time_is_drawn_with_the_log_beside_it(taproom: TernTaproom, bob: Client, url: str) -> None:
    age(taproom, 400)
    age(taproom, 200)
    drop(bob, url)
    page = page_of(bob, "instrument", taproom.instrument.pk)
    assert "Its zero in 2 checks from" in page
    assert page.count("end high</b>") == 2
    assert "<b>Dropped</b>" in page
    assert page.count("event-line") == 1


@pytest.mark.parametrize("numbers", [{"accuracy_deg": 0.0}, {"accuracy_deg": 5.0, "resolution_deg": 2.0}])
def test_the_chart_stands_at_the_ends_of_what_a_level_may_be(
    taproom: TernTaproom, bob: Client, numbers: dict[str, float]
) -> None:
    type(taproom.instrument).objects.update(**numbers)
    age(taproom, 400, zero_deg=-5, u_zero_deg=0)
    age(taproom, 0, zero_deg=5, u_zero_deg=0)
    assert "Its zero in 2 checks" in page_of(bob, "instrument", taproom.instrument.pk)
    guards.take_down(connection, ZeroCheck._meta.db_table)
    ZeroCheck.objects.all()._raw_delete("default")
    for days in (300, 0):
        age(taproom, days, zero_deg=0, u_zero_deg=0)
    assert "Its zero in 2 checks" in page_of(bob, "instrument", taproom.instrument.pk)


def test_a_long_history_comes_in_pages_and_the_zero_stays_on_top(taproom: TernTaproom, bob: Client, url: str) -> None:
    for number in range(30):
        age(taproom, 100 + number)
    drop(bob, url)
    later = bob.get(reverse("instrument", args=[taproom.instrument.pk]), {"page": "2"}).content.decode()
    assert "Not known" in later
    assert "26 to 31" in later


def test_care_is_told(taproom: TernTaproom, bob: Client) -> None:
    page = page_of(bob, "instrument", taproom.instrument.pk)
    for words in ("take the batteries out", "reads as 0.05°", "maker’s manual comes first"):
        assert words in page


def test_pages_ask_as_often_with_3_events_as_with_30(taproom: TernTaproom, bob: Client, url: str) -> None:
    urls = [reverse(name) for name in ("today", "instruments")]
    urls += [reverse("instrument", args=[taproom.instrument.pk]), reverse("survey_new", args=[taproom.machine.pk]), url]
    asked = []
    for more in (3, 27):
        for _ in range(more):
            make.InstrumentFactory(member=taproom.people.alice)
            check(taproom, bob)
            drop(bob, url)
        counts = []
        for address in urls:
            with CaptureQueriesContext(connection) as queries:
                bob.get(address)
            counts.append(len(queries))
        asked.append(counts)
    assert asked[0] == asked[1]
    assert max(asked[0]) <= 12, asked
