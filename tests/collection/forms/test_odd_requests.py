"""Requests that no page of ours sends: never a 500, nothing saved, and every answer with its policy."""

from collections.abc import Iterator
from itertools import batched
from urllib.parse import urlencode

import pytest
from django.test import Client
from django.urls import reverse

from collection import models
from tests.collection.access.table import ROWS, Row
from tests.collection.forms.test_hostile_posts import PAGES, fields_of
from tests.worlds import TernTaproom

LONG = "a" * 100_000
WORDS = [LONG, "\x00", "\ud800", "\U0010ffff", "\u202e", "<script>", "🦆" * 90, " ", "'\"; --", "{{ 1 }}", "\r\n"]
#: Those that go into each field alone too, so that no other field's refusal hides what this one does.
ALONE = ("\x00", "\ud800", " ")
#: A page that lists or filters, with what may stand in its address.
FILTERS = ("today", "due", "sites", "machines", "instruments")
#: On pages that are no list each value goes into all names at once: those that break readers and databases.
ODDEST_VALUES = ["abc", "9" * 30, "\x00", "\ud800", "'"]
ODD_NAMES = ("bay", "page", "q", "unit", "plan", "source", "even_if_in_spec", "next")
ODD_VALUES = ["abc", "-1", "0", "9" * 30, "\x00", "\ud800", "%", "_", "\\", "'", "1e9", "ünïcode", "[]", LONG[:3000]]


@pytest.fixture
def alice(taproom: TernTaproom) -> Client:
    # What a world makes when first asked for is there before anybody sends anything.
    assert all((taproom.plan, taproom.vial_pair, taproom.quick_check, taproom.report))
    assert all((taproom.colleague, taproom.invitation))
    client = Client()
    client.force_login(taproom.people.alice.user)
    return client


def rows_stored() -> int:
    tables = (models.Change, models.Site, models.Machine, models.Survey, models.Plan, models.Instrument)
    return sum(table.objects.count() for table in tables)


def sent_by(client: Client, taproom: TernTaproom) -> Iterator[tuple[Row, dict[str, str]]]:
    for row in PAGES:
        yield row, fields_of(client.get(row.address(taproom)).content.decode()).sent


#: As many long texts as one body may hold: Django refuses more than 2.5 MB as a whole.
AT_ONCE = 20


def urlencoded(client: Client, url: str, sent: dict[str, str]) -> int:
    """Send a form as bytes, so that even what is no character arrives as it is; return the status."""
    body = urlencode({name: value.encode("utf-8", "surrogatepass") for name, value in sent.items()})
    kind = "application/x-www-form-urlencoded"
    return client.generic("POST", url, body, content_type=kind).status_code


@pytest.mark.parametrize("text", WORDS, ids=[ascii(word)[1:12] for word in WORDS])
def test_no_text_in_any_field_breaks_a_page(alice: Client, taproom: TernTaproom, text: str) -> None:
    for row, sent in sent_by(alice, taproom):
        own = [name for name in sent if not name.endswith("_FORMS") and name != "write_key"]
        each = [[name] for name in own] if text in ALONE else []
        for names in (*batched(own, AT_ONCE, strict=False), *each):
            status = urlencoded(alice, row.address(taproom), {**sent, **dict.fromkeys(names, text)})
            assert status in (302, 409, 422), (row.name, names, status)


@pytest.mark.parametrize("name", FILTERS)
def test_no_text_in_an_address_breaks_a_list(alice: Client, taproom: TernTaproom, name: str) -> None:
    for key in ("page", "q", "verdict", "site", "bay", "unit", "plan", "source", "even_if_in_spec", "nobody"):
        for value in ODD_VALUES:
            query = urlencode({key: value.encode("utf-8", "surrogatepass")})
            assert alice.get(f"{reverse(name)}?{query}").status_code == 200, (name, key, value)


def test_no_text_in_an_address_breaks_any_other_page(alice: Client, taproom: TernTaproom) -> None:
    for row in (row for row in ROWS if row.answers.get("GET", (0,))[-1] == 200):
        for value in ODDEST_VALUES:
            query = urlencode(dict.fromkeys(ODD_NAMES, value.encode("utf-8", "surrogatepass")))
            status = alice.get(f"{row.address(taproom)}?{query}").status_code
            assert status == (404 if row.name == "machine_new" else 200), (row.name, value)  # no such bay
    for value in ODDEST_VALUES:
        query = urlencode(dict.fromkeys(ODD_NAMES[1:], value.encode("utf-8", "surrogatepass")))
        assert alice.get(f"{reverse('machine_new')}?{query}").status_code == 200, value


@pytest.mark.parametrize("total", ["10000", "-1", "abc", "", "1e3", "25", "0", "\x00", "٣", "9" * 400])
def test_a_wrong_count_of_rows_is_refused(alice: Client, taproom: TernTaproom, total: str) -> None:
    before = rows_stored()
    for name, pk in (
        ("survey_new", "machine"),
        ("survey_correct", "survey"),
        ("floor_slope", "floor"),
        ("bay_slope", "bay"),
    ):
        url = reverse(name, args=[getattr(taproom, pk).pk])
        page = fields_of(alice.get(url).content.decode()).sent
        for extra in ({}, {"add": "on"}, {"show": "on"}):
            for initial in ("2", total):
                sent = page | {"readings-TOTAL_FORMS": total, "readings-INITIAL_FORMS": initial} | extra
                assert alice.post(url, sent).status_code == (
                    422 if not extra or ("slope" in name and "show" in extra) else 200
                ), (name, extra)
        assert alice.post(url, {k: v for k, v in page.items() if "_FORMS" not in k}).status_code == 422
    answer = reverse("survey_answer", args=[taproom.machine.pk])
    assert alice.post(answer, page | {"readings-TOTAL_FORMS": total}).status_code == 200
    assert rows_stored() == before


def test_lists_where_one_word_is_asked_for(alice: Client, taproom: TernTaproom) -> None:
    for row, sent in sent_by(alice, taproom):
        twice = {name: [value, "x", ""] for name, value in sent.items()}
        assert alice.post(row.address(taproom), twice).status_code in (302, 422), row.name
        bracketed = {f"{name}[]": value for name, value in sent.items()}
        assert alice.post(row.address(taproom), bracketed).status_code == 422, row.name


@pytest.mark.parametrize(
    "kind", ["application/json", "text/plain", "application/octet-stream", "", "x", "multipart/form-data"]
)
def test_other_kinds_of_content_are_an_empty_form(alice: Client, taproom: TernTaproom, kind: str) -> None:
    before = rows_stored()
    for row in PAGES:
        answer = alice.post(row.address(taproom), data=b'{"name": "x"}', content_type=kind)
        assert answer.status_code in (400, 422), (row.name, kind, answer.status_code)
    assert rows_stored() == before


@pytest.mark.parametrize(
    "charset", ["utf-16", "unicode_escape", "raw_unicode_escape", "base64", "rot13", "zlib", "none", "utf-7"]
)
def test_text_that_is_not_utf_8_is_refused(alice: Client, taproom: TernTaproom, charset: str) -> None:
    boundary = f"multipart/form-data; boundary=BoUnDaRy; charset={charset}"
    body = b'--BoUnDaRy\r\nContent-Disposition: form-data; name="name"\r\n\r\n\\ud800\r\n--BoUnDaRy--\r\n'
    for kind in (boundary, f"application/x-www-form-urlencoded; charset={charset}"):
        assert alice.generic("POST", reverse("site_new"), body, content_type=kind).status_code == 400
    if charset in ("base64", "rot13", "zlib"):
        return  # no text encodings: Django's test client cannot make such a request, test_wsgi.py can
    assert (
        alice.get(reverse("machines") + "?q=%5Cud800", CONTENT_TYPE=f"text/html; charset={charset}").status_code == 400
    )


#: What a cookie or a header may hold on its way; a quoted cookie may hold any character by its number.
ODD_COOKIES = [
    '"aaaaaaaa\\000bbbb"',
    '"\\377\\377"',
    "a" * 5000,
    "{}",
    "",
    "=;=",
    '"',
    "%00",
    "ü",
    "ð\x9f\xa6\x86",
    "'; --",
]
ODD_HEADERS = ["", "yes", "-1", "9" * 30, "1e9", "{}", "ü", "a" * 5000, "'; --", "nobody.nowhere"]


def test_no_cookie_breaks_a_page(alice: Client) -> None:
    for name in ("sessionid", "theme", "csrftoken", "messages"):
        for value in ODD_COOKIES:
            answer = alice.get(reverse("quick"), headers={"cookie": f"{name}={value}"})
            assert answer.status_code == 200, (name, value)
            answer = alice.get(reverse("sites"), headers={"cookie": f"{name}={value}"})
            assert answer.status_code == 302, (name, value)  # nobody is signed in by it


def test_no_header_breaks_a_page(alice: Client) -> None:
    names = ("X-Keep", "X-Keep-Waited", "HX-Request", "HX-Current-URL", "HX-Target", "Accept-Language", "Referer",
             "Origin", "User-Agent", "If-None-Match", "If-Modified-Since", "Range", "X-Requested-With")  # fmt: skip
    for name in names:
        for value in ODD_HEADERS:
            for answer in (
                alice.get(reverse("sites"), headers={name: value}),
                alice.post(reverse("site_new"), {}, headers={name: value}),
            ):
                assert answer.status_code in (200, 206, 304, 403, 412, 416, 422), (name, value)


@pytest.mark.parametrize("word", ["a%00b", "%00", "%ED%A0%80", "%F0%9F%A6%86", "..%2f", "%27--", "a" * 3000, "%u0000"])
def test_no_word_in_a_path_breaks_a_page(alice: Client, word: str) -> None:
    for client in (alice, Client()):
        for path in (
            f"/accounts/confirm-email/{word}/", f"/accounts/password/reset/key/1-{word}/",
            f"/accounts/password/reset/key/{word}-set-password/", f"/sites/{word}/", f"/{word}",
            f"/static/{word}", f"/accounts/login/?next={word}", f"/machines/new/?bay={word}",
        ):  # fmt: skip
            assert client.get(path).status_code in (200, 302, 404), path


def test_malformed_keys_in_bodies(alice: Client, taproom: TernTaproom) -> None:
    before = rows_stored()
    for row, sent in sent_by(alice, taproom):
        for name in ("write_key", "bay", "instrument", "plan", "version", "organization"):
            for value in ("not-a-key", "{}", "0", "\x00", "9" * 40, "00000000-0000-0000-0000-00000000000g"):
                if name in sent and not (name == "instrument" and "slope" in row.name and value == ""):
                    assert alice.post(row.address(taproom), {**sent, name: value}).status_code == 422, (row.name, name)
    assert rows_stored() == before


def test_a_huge_body_and_a_thousand_fields(alice: Client, taproom: TernTaproom) -> None:
    for row in PAGES:
        assert alice.post(row.address(taproom), {"note": "a" * 3_000_000}).status_code == 400
        assert alice.post(row.address(taproom), {f"f{n}": "" for n in range(1200)}).status_code == 400


def test_head_answers_as_get_and_options_is_not_offered(alice: Client, taproom: TernTaproom) -> None:
    for row in ROWS:
        url = row.address(taproom)
        get = row.answers.get("GET")
        assert alice.head(url).status_code == (get[-1] if get else 405), row.name
        assert alice.options(url).status_code == 405, row.name
        assert alice.generic("BREW", url).status_code == 405, row.name
