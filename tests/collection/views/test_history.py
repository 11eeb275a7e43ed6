"""The history as people read it: everything for an owner, one thing for whoever works on it."""

import datetime
import re
import uuid
from collections.abc import Callable
from html import unescape
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from collection import models
from collection.actions.machines import change_legs, change_machine, move_machine, set_spec
from collection.actions.sites import change_site
from tests import factories as make
from tests.collection.forms.test_hostile_posts import fields_of
from tests.factories import NOON
from tests.surveying import author
from tests.worlds import TernTaproom

SignIn = Callable[[models.Membership], Client]
ALL = reverse("history")
DAY = datetime.timedelta(days=1)


@pytest.fixture
def alice(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.alice)


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


def renamed(taproom: TernTaproom, title: str, why: str = "", at: datetime.datetime = NOON) -> models.Machine:
    machine = models.Machine.objects.get(pk=taproom.machine.pk)
    by = author(taproom.people.bob, at, why=why)
    return change_machine(by=by, machine=machine, version=machine.version, title=title, code=machine.code)


def words_of(client: Client, url: str, **query: str) -> str:
    """What a page says, in one line of text."""
    answer = client.get(url, query)
    assert answer.status_code == 200, answer.content
    return text_of(answer.content.decode())


def text_of(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html.partition("<main")[2].partition("</main>")[0])).split())


def test_it_says_who_when_what_and_why(taproom: TernTaproom, alice: Client) -> None:
    taproom.site.time_zone = "Europe/Dublin"
    taproom.site.save()
    renamed(taproom, "Lantern Reef II", why="A second one came.")
    words = words_of(alice, ALL)
    assert "Changed machine Lantern Reef II" in words
    assert "Title: Lantern Reef → became Lantern Reef II" in words
    assert "“A second one came.”" in words
    assert "Mon 4 May 2026, 13:00, bob@example.org" in words
    assert "Times in Europe/Dublin" in words
    assert reverse("machine", args=[taproom.machine.pk]) in alice.get(ALL).content.decode()


def test_the_newest_stands_first_and_pages_follow(taproom: TernTaproom, alice: Client) -> None:
    for number in range(55):
        renamed(taproom, f"Lantern Reef {number}")
    assert words_of(alice, ALL).index("Lantern Reef 54") < words_of(alice, ALL).index("became Lantern Reef 53")
    assert "1 to 50 of 55" in words_of(alice, ALL)
    assert "became Lantern Reef 0 " in words_of(alice, ALL, page="2")


def test_it_is_narrowed_by_person_kind_and_days(taproom: TernTaproom, alice: Client) -> None:
    renamed(taproom, "Tin Kettle", at=NOON)
    renamed(taproom, "Paper Lighthouse", at=NOON + 2 * DAY)
    words: dict[str, Any] = {"address": "4 Mudflat Lane", "time_zone": "UTC", "notes": ""}
    change_site(by=author(taproom.people.alice), site=taproom.site, version=1, name="Tern Taproom", **words)
    bob = str(taproom.people.bob.user_id)
    assert "Address:" not in words_of(alice, ALL, who=bob)
    assert "Address:" in words_of(alice, ALL, kind="site")
    assert "Tin Kettle" not in words_of(alice, ALL, kind="site")
    assert "became Tin Kettle" in words_of(alice, ALL, since="2026-05-04", until="2026-05-05")
    assert "became Paper" not in words_of(alice, ALL, since="2026-05-04", until="2026-05-05")
    assert "became Tin Kettle" not in words_of(alice, ALL, since="2026-05-05")
    assert "became Paper" in words_of(alice, ALL, who=bob, kind="machine", since="2026-05-06", until="2026-05-06")
    assert "Nothing fits" in words_of(alice, ALL, who=bob, kind="site")


def test_days_are_those_of_the_site(taproom: TernTaproom, alice: Client) -> None:
    models.Site.objects.update(time_zone="Pacific/Auckland")
    renamed(taproom, "Tin Kettle", at=NOON.replace(hour=13))  # 1 in the morning of the next day there
    assert "Nothing fits" in words_of(alice, ALL, until="2026-05-04")
    assert "Tue 5 May 2026, 01:00" in words_of(alice, ALL, since="2026-05-05", until="2026-05-05")


def test_pages_keep_what_was_asked(taproom: TernTaproom, alice: Client) -> None:
    for number in range(51):
        renamed(taproom, f"Lantern Reef {number}")
    html = alice.get(ALL, {"kind": "machine", "since": "2026-05-04"}).content.decode()
    assert "?page=2&amp;kind=machine&amp;since=2026-05-04" in html.replace("&amp;amp;", "&amp;")


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ({"since": "4.5.2026"}, "Write the day as year-month-day"),
        ({"since": "２０２６-05-04"}, "Write the day as year-month-day"),
        ({"until": "2026-02-30"}, "Write the day as year-month-day"),
        ({"until": "0001-01-01"}, "Choose a day from 2000"),
        ({"since": "2026-05-05", "until": "2026-05-04"}, "before the first day"),
        ({"who": "nobody"}, "Choose one of the answers shown"),
        ({"kind": "shoes"}, "Choose one of the answers shown"),
    ],
)  # fmt: skip
def test_what_is_not_clear_is_refused_with_its_remedy(alice: Client, query: dict[str, str], says: str) -> None:
    answer = alice.get(ALL, query)
    assert answer.status_code == 422
    assert says in text_of(answer.content.decode())


def test_another_organizations_lines_and_people_do_not_show(taproom: TernTaproom, as_member: SignIn) -> None:
    renamed(taproom, "Tin Kettle")
    words = words_of(as_member(taproom.people.charlie), ALL)
    assert "Nothing yet" in words
    assert "bob@example.org" not in words
    bob = str(taproom.people.bob.user_id)
    assert as_member(taproom.people.charlie).get(ALL, {"who": bob}).status_code == 422


def test_the_history_of_a_machine_tells_its_legs_spec_and_place_too(taproom: TernTaproom, bob: Client) -> None:
    by, machine = author(taproom.people.bob), taproom.machine
    legs = [{"length_mm": 724, "travel_mm": 41, "exposure_mm": 12 + place, "pad_mm": 0} for place in range(4)]
    change_legs(by=by, machine=machine, version=1, legs=legs)
    spec = {"pitch_deg": 6.25, "pitch_tolerance_deg": 0.2, "roll_tolerance_deg": 0.15, "gap_tolerance_mm": 0.5}
    set_spec(by=author(taproom.people.bob), machine=machine, version=1, why="Slower for children.", **spec)
    machine.refresh_from_db()
    move_machine(by=author(taproom.people.bob), machine=machine, version=2, bay=None, why="To the workshop.")
    other = make.MachineFactory(member=taproom.people.alice, title="Tin Kettle")
    set_spec(by=author(taproom.people.bob), machine=other, version=1, why="For the league.", **spec)
    words = words_of(bob, reverse("machine_history", args=[machine.pk]))
    assert "Changed leg FR of Lantern Reef" in words
    assert "Leveler out by: 12 mm → became 13 mm" in words
    assert "Set the spec of Lantern Reef “Slower for children.”" in words
    assert "Wanted pitch 6.25°" in words
    assert "Bay: Bay 1, Tern Taproom → became empty" in words
    assert "For the league." not in words


def test_what_was_not_there_has_no_before(taproom: TernTaproom, bob: Client) -> None:
    lengths = {"length_mm": 724, "travel_mm": 41, "pad_mm": 0}
    for version, exposures in enumerate(([None] * 4, [12.0, 0.0, None, None]), start=1):
        change_legs(
            by=author(taproom.people.bob), machine=taproom.machine, version=version,
            legs=[{**lengths, "exposure_mm": exposure} for exposure in exposures],
        )  # fmt: skip
    words = words_of(bob, reverse("machine_history", args=[taproom.machine.pk]))
    assert "Leveler out by: 12 mm" in words
    assert "Leveler out by: 0 mm" in words
    assert words.count("→ became empty") == 4, "what was taken away has"
    assert words.count("→") == 4


def test_lengths_and_slopes_are_in_the_organizations_units(taproom: TernTaproom, bob: Client) -> None:
    models.Organization.objects.update(angle_unit="mm_per_m", length_unit="in")
    spec = {"pitch_deg": 6.25, "pitch_tolerance_deg": 0.2, "roll_tolerance_deg": 0.15, "gap_tolerance_mm": 0.508}
    set_spec(by=author(taproom.people.bob), machine=taproom.machine, version=1, why="x", **spec)
    words = words_of(bob, reverse("machine_history", args=[taproom.machine.pk]))
    assert "Gap at most 0.02 in" in words
    assert "Wanted pitch 109.5178 mm/m" in words


def test_a_change_by_a_form_keeps_its_reason(taproom: TernTaproom, bob: Client) -> None:
    url = reverse("machine_edit", args=[taproom.machine.pk])
    typed = fields_of(bob.get(url).content.decode()).sent | {"title": "Tin Kettle", "why": "The plate says so."}
    assert bob.post(url, typed).status_code == 302
    assert models.Change.objects.get(row_id=taproom.machine.pk).why == "The plate says so."
    assert "“The plate says so.”" in words_of(bob, reverse("machine_history", args=[taproom.machine.pk]))


def test_every_page_about_a_thing_leads_to_its_history_but_for_readers(
    taproom: TernTaproom, bob: Client, as_member: SignIn
) -> None:
    vera = as_member(taproom.people.vera)
    for noun in ("site", "floor", "bay", "machine", "instrument", "survey", "plan", "quick_check", "organization"):
        thing = getattr(taproom, noun)
        page = reverse(noun, args=[] if noun == "organization" else [thing.pk])
        link = reverse(f"{noun}_history", args=[thing.pk])
        assert f'href="{link}"' in bob.get(page).content.decode(), noun
        assert link not in vera.get(page).content.decode(), noun


def test_what_has_no_word_yet_shows_its_bare_name(taproom: TernTaproom, alice: Client) -> None:
    line: dict[str, Any] = author(taproom.people.alice).stamp() | {"row_id": taproom.site.pk, "write": taproom.site.pk}
    gone = line | {"row_id": uuid.uuid4()}
    models.Change.objects.create(noun="tealeaf", verb="read", new={"omen": "<b>rain</b>", "when": None}, **gone)
    models.Change.objects.create(noun="site", verb="changed", old={"mood": 1}, new={"mood": {"a": 2}}, **line)
    words = words_of(alice, ALL)
    assert "Read “tealeaf” that is not here any more" in words
    assert "“omen” <b>rain</b>" in words, "as text, not as a tag"
    assert "“mood”: 1 → became {'a': 2}" in words


def test_a_full_page_asks_as_often_as_a_short_one(taproom: TernTaproom, alice: Client) -> None:
    renamed(taproom, "Tin Kettle")
    assert all((taproom.plan, taproom.quick_check, taproom.vial_pair))
    counts = []
    for _ in range(2):
        found = []
        for url in (ALL, reverse("machine_history", args=[taproom.machine.pk])):
            alice.get(url)
            with CaptureQueriesContext(connection) as asked:
                assert alice.get(url).status_code == 200
            found.append(len(asked))
        counts.append(found)
        for number in range(60):
            renamed(taproom, f"Lantern Reef {number}")
    assert counts[0] == counts[1]
    assert max(counts[0]) <= 10


def test_the_history_of_a_machine_tells_its_label_and_how_reports_were_closed(
    taproom: TernTaproom, bob: Client
) -> None:
    url = reverse("report_close", args=[taproom.report.pk])
    typed = fields_of(bob.get(url).content.decode()).sent | {"why": "A coin under a foot."}
    assert bob.post(url, typed).status_code == 302
    words = words_of(bob, reverse("machine_history", args=[taproom.machine.pk]))
    assert "Made the label of Lantern Reef" in words
    assert "Closed a report of Lantern Reef, Mon 4 May 2026 “A coin under a foot.”" in words
    assert "Answered by" not in words
    assert taproom.report_token not in words
    assert taproom.report_link.token_sha256 not in words


def test_owners_alone_see_who_was_invited(taproom: TernTaproom, alice: Client, bob: Client) -> None:
    assert taproom.invitation
    url = reverse("organization_history", args=[taproom.organization.pk])
    words = words_of(alice, url)
    assert "Sent the invitation of wren@example.org" in words
    assert "Role site viewer" in words
    assert "Sites to read Tern Taproom" in words
    assert "wren" not in words_of(bob, url)
