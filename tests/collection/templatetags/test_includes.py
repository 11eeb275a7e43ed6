"""Shared pieces of pages: what a reader, a keypad and a screen reader get from each."""

import re
from html.parser import HTMLParser
from types import SimpleNamespace
from typing import Any

import pytest
from django import forms
from django.core.paginator import Paginator
from django.template import RequestContext, Template
from django.template.loader import render_to_string
from django.test import Client, RequestFactory

from collection.forms.fields import NumberField, WordField


class Level(forms.Form):
    """A form with one field of each look."""

    title = forms.CharField(label="Title", help_text="As it stands on the machine.")
    pitch = NumberField(label="Pitch", low=0, high=15, unit="degrees")
    high = WordField(label="Which end is high?", choices=[("rear", "rear"), ("front", "front")], help_text="Look.")
    dolly = forms.BooleanField(label="On dollies", required=False)
    key = forms.CharField(widget=forms.HiddenInput, required=False)


class _Elements(HTMLParser):
    """Every element with its attributes, in order."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, {name: value or "" for name, value in attrs}))


def elements(text: str, tag: str = "") -> list[dict[str, str]]:
    return [attrs for name, attrs in _Elements(text).found if tag in ("", name)]


def field(name: str, data: dict[str, str] | None = None, **given: Any) -> str:
    form = Level(data, label_suffix="")
    return render_to_string("includes/_field.html", {"field": form[name], **given})


def described(text: str, attrs: dict[str, str]) -> list[str]:
    """The ids that describe an input; each must be on the page."""
    ids = attrs.get("aria-describedby", "").split()
    assert set(ids) <= {attrs["id"] for attrs in elements(text) if "id" in attrs}
    return ids


def test_a_field_has_its_label_help_unit_and_keypad() -> None:
    text = field("pitch")
    entry = elements(text, "input")[0]
    assert elements(text, "label")[0]["for"] == entry["id"]
    assert entry["inputmode"] == "decimal"
    assert described(text, entry) == ["id_pitch_unit"]
    assert re.search(r'class="unit"[^>]*>degrees<', text)


def test_a_page_may_name_another_unit_and_keypad() -> None:
    text = field("title", unit="mm", inputmode="numeric")
    assert ">mm<" in text
    assert elements(text, "input")[0]["inputmode"] == "numeric"


def test_an_error_stands_beside_its_field_and_what_was_typed_is_kept() -> None:
    text = field("pitch", {"pitch": "6,5x"})
    entry = elements(text, "input")[0]
    assert entry["value"] == "6,5x"
    assert entry["aria-invalid"] == "true"
    assert described(text, entry) == ["id_pitch_unit", "id_pitch_error"]
    assert "has-error" in text


def test_choices_are_a_group_with_a_legend_and_described_as_one() -> None:
    text = field("high", {})
    group = elements(text, "fieldset")[0]
    assert "Which end is high?" in text.split("<legend>")[1]
    assert described(text, group) == ["id_high_helptext", "id_high_error"]
    labels, radios = elements(text, "label"), elements(text, "input")
    assert [label["for"] for label in labels] == [radio["id"] for radio in radios]
    assert len(radios) == 2


def test_an_optional_field_says_so_and_a_hidden_one_shows_nothing() -> None:
    assert "(optional)" not in field("title")
    assert "<label" not in field("key")
    assert 'type="checkbox"' in field("dolly")


def test_the_summary_links_each_error_to_its_field() -> None:
    form = Level({"title": "Tin Kettle", "pitch": "99"})
    form.is_valid()
    form.add_error(None, "Both cannot be true.")
    page = render_to_string("includes/_form.html", {"form": form, "button": "Save"})
    ids = {attrs["id"] for attrs in elements(page) if "id" in attrs}
    links = [attrs["href"] for attrs in elements(page, "a")]
    assert links == ["#id_pitch", "#id_high"]
    assert {link[1:] for link in links} <= ids
    assert "Both cannot be true." in page


def test_a_form_without_errors_has_no_summary() -> None:
    assert "alert" not in render_to_string("includes/_form.html", {"form": Level(), "button": "Save"})


@pytest.mark.django_db
def test_a_whole_form_carries_a_token_that_the_server_accepts() -> None:
    """The include is called with `only`, which keeps the page's csrf_token out."""
    request = RequestFactory().get("/")
    around = Template('{% include "includes/_form.html" with form=form button="Save" only %}')
    page = around.render(RequestContext(request, {"form": Level()}))
    tokens = [attrs["value"] for attrs in elements(page, "input") if attrs.get("name") == "csrfmiddlewaretoken"]
    assert len(tokens) == 1
    strict = Client(enforce_csrf_checks=True)
    strict.cookies["csrftoken"] = request.META["CSRF_COOKIE"]
    sent = {"login": "nobody@example.org", "password": "x"}
    assert strict.post("/accounts/login/", {**sent, "csrfmiddlewaretoken": "0" * 64}).status_code == 403
    assert strict.post("/accounts/login/", {**sent, "csrfmiddlewaretoken": tokens[0]}).status_code != 403


def test_a_machine_is_one_link_and_says_its_verdict_in_words() -> None:
    bars = [{"kind": "pitch", "value": 5.92, "u": 0.06, "want": 6.5, "tol": 0.2, "verdict": "out"}]
    row = {"title": "Lantern Reef", "place": "Tern Taproom", "url": "/m/", "verdict": "out", "bars": bars}
    page = render_to_string("includes/_machine_row.html", {**row, "next_step": "RL out 6 ½"})
    assert [attrs["href"] for attrs in elements(page, "a")] == ["/m/"]
    assert "out of spec" in page
    assert "5.92°" in page
    assert "RL\u00a0out\u00a06\u00a0½" in page  # a leg and its turns stay on one line


def test_a_machine_that_nobody_surveyed_has_no_bars() -> None:
    page = render_to_string("includes/_machine_row.html", {"title": "Cold Harbour", "url": "/m/", "verdict": "never"})
    assert "never surveyed" in page
    assert "<svg" not in page


def test_bars_follow_the_units_of_the_organization() -> None:
    bars = [
        {"kind": "roll", "value": 0.24, "u": 0.07, "tol": 0.15, "verdict": "out"},
        {"kind": "gap", "value": 0.6, "u": 0.2, "tol": 0.5, "verdict": "out", "foot": "FR"},
    ]
    page = render_to_string("includes/_bars.html", {"bars": bars, "angle_unit": "mm_per_m", "length_unit": "in"})
    text = page.replace("\u00a0", " ")
    assert "right high 4.2 mm/m" in text
    assert "0.024 in under FR" in text


@pytest.mark.parametrize(("number", "links"), [(1, ["?page=2&q=tern+%26+co"]), (2, ["?page=1&q=tern+%26+co"])])
def test_pages_keep_what_was_searched_for(number: int, links: list[str]) -> None:
    rows = Paginator(range(60), 50).get_page(number)
    page = render_to_string("includes/_pagination.html", {"rows": rows, "search": "tern & co"})
    found = [attrs["href"].replace("%20", "+") for attrs in elements(page, "a")]
    assert found == links


def test_one_page_needs_no_pages() -> None:
    rows = Paginator(range(3), 50).get_page(1)
    assert not render_to_string("includes/_pagination.html", {"rows": rows}).strip()


def test_the_cautions_say_what_can_hurt() -> None:
    page = render_to_string("includes/_cautions.html", {"short": False}).lower()
    said = ("two people", "held up by hand", "glass off", "power off", "thread", "exits", "wheelchair", "equations")
    for words in (*said, "maker’s manual", "local codes", "licensed practice"):
        assert words in page.replace("the glass off", "glass off").replace("the power off", "power off"), words
    short = render_to_string("includes/_cautions.html", {"short": True}).lower()
    assert "two people" in short
    assert "plug pulled" in short


@pytest.mark.parametrize("name", ["400", "403", "403_csrf", "404", "409", "422", "429", "500", "503"])
def test_each_error_page_says_what_happened_what_is_safe_and_what_to_do(name: str) -> None:
    """Also without a request: that is how the server renders 400 and 500."""
    page = render_to_string(f"{name}.html")
    for words in ("What happened", "What is safe", "What to do"):
        assert page.count(words) == 1
    assert page.count("<h1>") == 1


def test_a_refusal_gives_its_reason() -> None:
    assert "Bay 2 is taken." in render_to_string("422.html", {"reason": "Bay 2 is taken."})


def test_the_bar_of_places_marks_the_one_that_holds_this_page() -> None:
    request = RequestFactory().get("/sites/0b9f1c1e-0000-4000-8000-000000000000/")
    request.member = SimpleNamespace(organization=SimpleNamespace(name="Saltmarsh Route"))  # type: ignore[attr-defined]
    page = render_to_string("base.html", {}, request)
    marked = [attrs["href"] for attrs in elements(page, "a") if "aria-current" in attrs]
    assert marked == ["/sites/"]
    assert "Saltmarsh Route" in page


@pytest.mark.parametrize(("cookie", "theme"), [("dark", "dark"), ("light", "light"), ("x onload", None), (None, None)])
def test_the_chosen_theme_is_there_before_any_script_runs(cookie: str | None, theme: str | None) -> None:
    request = RequestFactory().get("/")
    if cookie:
        request.COOKIES["theme"] = cookie
    assert elements(render_to_string("base.html", {}, request), "html")[0].get("data-theme") == theme
