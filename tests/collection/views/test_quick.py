"""The quick answer over HTTP: for anyone, by its address alone, with nothing asked of any table."""

import re
from typing import Any
from urllib.parse import quote, urlencode

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from collection.forms.fields import NumberField
from collection.forms.quick import QuickForm
from tests.harness.number_values import PLAIN, TURNS
from tests.worlds import TernTaproom

ASKED = {"pitch": "6.0", "roll": "0.3", "high": "left"}
NUMBERS = [name for name, field in QuickForm.base_fields.items() if isinstance(field, NumberField)]
#: What is asked of the tables of everyone who is signed in, on any page: who they are and where they act.
WHO_ASKS = {"django_session", "collection_user", "collection_membership", "collection_organization"}


def ask(client: Client | None = None, htmx: bool = False, **more: str) -> Any:
    headers = {"HX-Request": "true"} if htmx else {}
    return (client or Client()).get("/quick/", {**ASKED, **more}, headers=headers)


def words_of(html: str) -> str:
    """Return the text of the answer alone."""
    return re.sub(r"<[^>]+>|\s+", " ", html.split('id="turns"', 1)[1].split("</main>")[0])


def test_it_answers_without_an_account() -> None:
    page = ask()
    assert page.status_code == 200
    html = page.content.decode()
    for words in ("Lift 1 of 2: the rear", "Lift 2 of 2: the front", "Rear right</b> out\u00a01\u00a0¾\u00a0turns",
                  "Two people or a lift aid", "How do we know?", "0.0700°", "one standard uncertainty",
                  "What we took for granted", "no published source", "Keep this in a book"):  # fmt: skip
        assert words in html, words


def test_an_empty_page_asks_and_says_nothing_wrong() -> None:
    html = Client().get("/quick/").content.decode()
    assert "The turns show here" in html
    assert 'role="alert"' not in html
    assert 'value="modern"' in html


def test_it_asks_no_table_at_all(django_assert_num_queries: Any, db: None) -> None:
    client = Client()
    with django_assert_num_queries(0):
        for more in ({}, {"pitch": "x"}, {"ends": "front"}, {"stance": "FL", "gap_mm": "1.5"}):
            ask(client, **more)
        client.get("/quick/")
        client.get("/guide/")
        client.get("/")


def test_it_asks_no_more_about_someone_signed_in_than_who_it_is(taproom: TernTaproom) -> None:
    client = Client()
    client.force_login(taproom.people.alice.user)
    ask(client)  # the first visit notes the device
    with CaptureQueriesContext(connection) as asked:
        html = ask(client).content.decode()
    asked_of = {table for query in asked for table in re.findall(r'(?:FROM|JOIN) "(\w+)"', query["sql"])}
    assert asked_of
    assert asked_of <= WHO_ASKS
    assert "Keep this in a book" not in html
    assert "To your machines" in html
    for theirs in ("Lantern Reef", "Tern Taproom", "Bay 1"):
        assert theirs not in html


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE", "OPTIONS"])
@pytest.mark.parametrize("url", ["/quick/", "/guide/"])
def test_it_only_shows(method: str, url: str) -> None:
    assert Client().generic(method, url, QUERY_STRING=urlencode(ASKED)).status_code == 405
    assert Client().head(url, ASKED).status_code == 200


def test_what_is_not_clear_is_told_at_its_field_and_stays_typed() -> None:
    page = ask(pitch="6,0", high="", roll="0.3", want_deg="7", gap_tolerance_mm="six")
    html = page.content.decode()
    assert page.status_code == 422
    assert "Not clear yet" in html
    assert "Nothing is saved" not in html
    for name in ("pitch", "high", "gap_tolerance_mm"):
        assert f'href="#id_{name}"' in html, name
        assert f'id="id_{name}_error"' in html, name
    for typed in ("6,0", "0.3", "7", "six"):
        assert f'value="{typed}"' in html, typed
    assert '<details class="quick-more" open' in html  # what is wrong is not hidden
    assert 'id="turns"' not in html


@pytest.mark.parametrize("name", NUMBERS)
def test_no_text_in_a_number_breaks_it(name: str) -> None:
    light = {"stance": "FL", "gap_mm": "1"} | ({"thread": "other"} if name == "lead_mm" else {})
    for text in {**PLAIN, **TURNS}:
        page = ask(**{**light, name: text})
        assert page.status_code in (200, 422), (name, text)
        if page.status_code == 422:
            assert f'id="id_{name}_error"' in page.content.decode() or not text.strip(), (name, text)


@pytest.mark.parametrize(
    "text", ["\x00", "\ud800", "\u202e", "<script>alert(1)</script>", "a" * 100_000, "'", "{{ 1 }}"]
)
def test_no_text_in_any_field_breaks_it(text: str) -> None:
    for name in QuickForm.base_fields:
        query = urlencode({**ASKED, name: "?"}).replace("%3F", quote(text.encode("utf-8", "surrogatepass")))
        page = Client().get(f"/quick/?{query}")
        assert page.status_code in (200, 422), name
        assert "<script>alert" not in page.content.decode()


def test_the_piece_follows_the_typing_and_names_its_address() -> None:
    piece = ask(htmx=True)
    html = piece.content.decode()
    assert html.lstrip().startswith('<div class="piece quick-answer" id="quick-answer"')
    assert "<html" not in html
    assert "HX-Request" in piece.headers["Vary"]
    address = piece.headers["HX-Replace-Url"]
    assert address == "/quick/?pitch=6.0&roll=0.3&high=left&era=modern&body=standard&ends=both"
    assert words_of(Client().get(address).content.decode()) == words_of(ask().content.decode())


def test_a_half_typed_question_is_told_softly() -> None:
    piece = ask(htmx=True, pitch="6.", roll="", high="")
    assert piece.status_code == 422
    assert "HX-Replace-Url" not in piece.headers
    assert "Write the pitch and the roll" in piece.content.decode()
    assert "Not clear yet" in ask(htmx=True, pitch="6,5").content.decode()


@pytest.mark.parametrize("more", [
    {}, {"want_deg": "7"}, {"body": "wide", "ends": "dollies"}, {"stance": "FR", "gap_mm": "1.2"}, {"closer": "on"},
    {"shows": "mm_per_m", "pitch": "105", "roll": "4"}, {"front_in": "on", "steps_per_turn": "8"}, {"ends": "rear"},
])  # fmt: skip
def test_the_link_on_the_page_gives_the_same_answer(more: dict[str, str]) -> None:
    html = ask(**more).content.decode()
    address = re.search(r'<a href="(/quick/\?[^"]+)">link to this answer', html)
    assert address
    again = Client().get(address[1].replace("&amp;", "&"))
    assert again.status_code == 200
    assert words_of(again.content.decode()) == words_of(html)


def test_what_a_browser_sends_becomes_the_short_address() -> None:
    """A form sends its empty fields too; without JavaScript the short address comes by a redirect."""
    sent = {"want_deg": "", "gap_mm": "", "lead_mm": "", "thread": "3/8-16 UNC", "steps_per_turn": "8"}
    page = ask(**sent)
    short = "/quick/?pitch=6.0&roll=0.3&high=left&era=modern&body=standard&ends=both&steps_per_turn=8"
    assert (page.status_code, page.headers.get("Location")) == (302, short)
    assert Client().get(short).status_code == 200
    assert ask(htmx=True, **sent).status_code == 200
    assert ask(pitch="6,0", **sent).status_code == 422
    level = Client().get("/quick/?pitch=6.5&roll=&high=level", follow=True)
    assert level.redirect_chain == [("/quick/?pitch=6.5&high=level&era=modern&body=standard&ends=both", 302)]


def test_how_legs_are_chosen_is_told_in_the_same_words() -> None:
    """In the order of the engine: lifts, legs, nearness, steps (leveling/turns.py)."""
    words = (
        "the fewest lifts, then the fewest legs, then the nearest to the middle of the spec, by thirds of the aim, "
        "then the fewest turns"
    )
    for html in (ask().content.decode(), Client().get("/guide/").content.decode()):
        assert words in html
        assert "no other plan is shorter" not in html


def test_in_spec_turns_nothing_and_offers_to_plan_even_so() -> None:
    html = ask(pitch="6.5", roll="0", high="level").content.decode()
    assert "In spec: turn nothing" in html
    assert 'class="lift' not in html
    even_so = re.search(r'<a href="([^"]+)">Plan even so', ask(pitch="6.4", roll="0.1").content.decode())
    assert even_so
    assert "Lift 1 of" in Client().get(even_so[1].replace("&amp;", "&").partition("#")[0]).content.decode()


def test_nothing_fits_says_what_stops_it_and_what_helps() -> None:
    html = ask(ends="front").content.decode()
    for words in ("Nothing fits", "It needs the rear", "pull the machine out", "The machine stays out of spec"):
        assert words in html, words


def test_a_page_has_one_primary_button_of_its_answer() -> None:
    html = ask().content.decode()
    assert html.count('class="button"') == 1  # the form's own is drawn quiet beside an answer


def test_it_is_private_to_the_browser_and_under_the_policy() -> None:
    page = ask()
    assert "private" in page.headers["Cache-Control"]
    assert "no-cache" in page.headers["Cache-Control"]
    assert "unsafe" not in page.headers["Content-Security-Policy"]


IMPOSSIBLE = [
    {"pitch": "9", "roll": "0", "high": "level"},
    {"pitch": "0", "roll": "0", "high": "level"},
    {"pitch": "6.5", "roll": "0", "high": "level", "want_deg": "15"},
    {"pitch": "6.5", "roll": "0", "high": "level", "shows": "mm_per_m"},
]


@pytest.mark.parametrize("more", IMPOSSIBLE)
def test_turns_that_no_leveler_reaches_are_not_the_answer(more: dict[str, str]) -> None:
    """41 mm are the usual whole travel of a 2 in stem: common practice, no source. 35.5 x 1.5875 mm = 56.4 mm."""
    html = ask(**more).content.decode()
    answer = html.split('id="turns"', 1)[1].split("What we took for granted")[0]
    headline, folded = answer.split("<details>", 1)
    assert headline.split("</h2>")[0].endswith("No leveler reaches that</span>")
    said = ("front left would turn", "front right would turn", "41.0", "What would help:", "the number and its unit")
    for words in said:
        assert words in headline, words
    assert "What it would take" in folded
    for words in ("Chance", 'type="checkbox"', "<article", "It should read then", "exposures"):
        assert words not in answer, words
    assert ("Is the pitch 6.5 degrees?" in headline) is ("shows" in more)


def test_what_helps_is_possible_and_adds_up() -> None:
    """2.5 degrees over 1300 mm are 56 mm: 17 3/4 turns of each leg, or 41 mm and a pad of 15.4 mm."""
    both = ask(pitch="9", roll="0", high="level").content.decode().replace("\u00a0", " ")
    assert "FL out 17 ¾ turns, FR out 17 ¾ turns, RL in 17 ¾ turns, RR in 17 ¾ turns" in both
    assert "under FL" in both
    assert "15.4" in both
    shut = ask(pitch="9", roll="0", high="level", ends="rear").content.decode()
    assert "Share it among" not in shut
    assert "Pads beside" not in shut  # they would stand under the front, which cannot be lifted


def test_turns_that_would_make_it_rock_are_not_work_to_do() -> None:
    html = ask(ends="front").content.decode()
    answer = html.split('id="turns"', 1)[1].split("What we took for granted")[0]
    assert "Better not turn by it yet" in answer.split("<details>")[0]
    assert "What it would take" in answer
    for words in ('type="checkbox"', "<article", "Chance"):
        assert words not in answer, words


def test_feet_that_nobody_checked_are_told_as_a_survey_tells_them() -> None:
    html = Client().get("/quick/?pitch=6.5&high=level&stance=unknown").content.decode()
    assert "Borderline: turn nothing yet" in html
    assert "Check the feet: press down on each corner" in html
    assert "Chance that pitch and roll are in spec" in html
    assert "In spec: turn nothing" not in html
    assert "All four feet bear." not in html
    assert "Nobody checked the feet" in html
