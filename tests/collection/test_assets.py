"""The one style sheet that pages ask for, and addresses that change with what is in the file."""

import gzip
import re
from pathlib import Path

import pytest
import rcssmin
from django.contrib.staticfiles import finders
from django.test import Client
from django.urls import reverse

from collection import assets

FOLDER = Path(assets.__file__).parent / "static" / "collection"


def test_every_sheet_of_ours_is_in_it_once() -> None:
    assert sorted([*assets.SHEETS, assets.PAPER]) == sorted(sheet.stem for sheet in FOLDER.glob("*.css"))


def test_it_asks_for_nothing_but_the_font() -> None:
    text = assets.joined()
    assert "@import" not in text
    asked = re.findall(r'url\("?([^")]+)"?\)', text)
    ours = [address for address in asked if not address.startswith("data:")]
    assert len(ours) == 1
    assert re.fullmatch(r"/static/collection/vendor/atkinson/[\w-]+\.woff2\?v=[0-9a-f]{12}", ours[0])


def test_paper_comes_last_and_holds_on_paper_only() -> None:
    text = assets.joined()
    paper = "@media print{" + short(sheet(assets.PAPER))
    assert text.endswith(paper + "}")
    assert all(0 < text.index(short(sheet(name))[-200:]) < text.index(paper) for name in assets.SHEETS)
    assert text.count("{") == text.count("}")


def test_it_says_the_same_as_the_sheets_and_keeps_the_licence_of_others() -> None:
    """Hand-worked: what a small sheet must become."""
    assert short("a { color: red; }\n/* why */\nb > c { margin: calc(1rem + 2px) 0; }") == (
        "a{color:red}b>c{margin:calc(1rem + 2px) 0}"
    )
    assert assets.joined().count("/*!") == 1


def sheet(name: str) -> str:
    """A sheet of ours as people read it."""
    return (FOLDER / f"{name}.css").read_text(encoding="utf-8")


def short(text: str) -> str:
    """The same without comments and needless space."""
    return str(rcssmin.cssmin(text, keep_bang_comments=True))


def test_the_finder_writes_it_and_knows_no_other_name() -> None:
    found = finders.find(assets.STYLE)
    assert Path(str(found)).read_text(encoding="utf-8") == assets.joined()
    assert assets.StyleFinder().find("collection/other.css") == []
    assert [name for name, _ in assets.StyleFinder().list(None)] == [assets.STYLE]


def test_the_finder_mends_an_old_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(assets, "_MADE_IN", tmp_path)
    path = Path(str(assets.StyleFinder().find(assets.STYLE)))
    path.write_text("old", encoding="utf-8")
    assert Path(str(assets.StyleFinder().find(assets.STYLE))).read_text(encoding="utf-8") == assets.joined()
    assert list(path.parent.iterdir()) == [path]


def test_an_address_carries_what_is_in_the_file() -> None:
    assert re.fullmatch(r"/static/collection/mark\.svg\?v=[0-9a-f]{12}", assets.address("collection/mark.svg"))
    with pytest.raises(FileNotFoundError, match=r"collection/nothing\.svg"):
        assets.address("collection/nothing.svg")


@pytest.mark.django_db
def test_a_page_asks_for_one_sheet_and_every_address_has_a_digest() -> None:
    answer = Client().get(reverse("welcome"))
    text = answer.content.decode()
    assert text.count('rel="stylesheet"') == 1
    asked = re.findall(r'"(/static/[^"]+)"', text)
    assert len(asked) >= 4
    assert all(re.search(r"\?v=[0-9a-f]{12}$", address) for address in asked)


@pytest.mark.django_db
def test_files_may_be_kept_for_a_year_and_pages_go_out_packed() -> None:
    answer = Client().get(assets.address("collection/levelbook.js"))
    assert answer.headers["Cache-Control"] == "max-age=31536000, public"
    answer.close()
    packed = Client(headers={"accept-encoding": "gzip"}).get(reverse("welcome"))
    assert packed.headers["Content-Encoding"] == "gzip"
    assert b"<!doctype html>" in gzip.decompress(packed.content)
