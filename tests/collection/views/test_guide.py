"""The guide and the welcome page: public, with pictures that are there, small and as large as they say."""

import re
from html.parser import HTMLParser

from django.conf import settings
from django.test import Client
from PIL import Image

MOST_BYTES = 40_000


class Pictures(HTMLParser):
    """Collects the pictures of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.found: list[dict[str, str]] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "img":
            self.found.append({name: value or "" for name, value in attrs})


def test_the_guide_tells_the_job_in_six_steps_with_a_picture_each() -> None:
    html = Client().get("/guide/").content.decode()
    assert [int(number) for number in re.findall(r"<h2>(\d)\. ", html)] == [1, 2, 3, 4, 5, 6]
    assert html.count("<figure>") == 6
    assert "Before you lift" in html


def test_each_picture_is_there_and_small_and_says_its_size() -> None:
    pictures = Pictures(Client().get("/guide/").content.decode()).found
    folder = settings.BASE_DIR / "collection" / "static" / "collection" / "guide"
    assert {picture["src"].partition("?")[0].rpartition("/")[2] for picture in pictures} == {
        path.name for path in folder.iterdir()
    }
    for picture in pictures:
        path = folder / picture["src"].partition("?")[0].rpartition("/")[2]
        assert path.stat().st_size <= MOST_BYTES, path.name
        with Image.open(path) as drawn:
            assert drawn.width / drawn.height == int(picture["width"]) / int(picture["height"]), path.name
        assert picture["loading"] == "lazy"
        assert len(picture["alt"]) > 30


def test_every_page_leads_to_guide_and_quick_answer() -> None:
    for url in ("/", "/quick/", "/guide/", "/accounts/login/", "/nowhere/"):
        html = Client().get(url).content.decode()
        assert 'href="/guide/"' in html, url
        assert 'href="/quick/"' in html, url


def test_the_welcome_page_shows_the_example_that_it_links_to() -> None:
    html = Client().get("/").content.decode()
    assert html.count('class="button"') == 1  # one primary: Start a book
    link = re.search(r'href="(/quick/\?[^"#]+)#turns"', html)
    assert link
    answer = Client().get(link[1].replace("&amp;", "&")).content.decode()
    summary = re.search(r"So turn: <b>([^<]+)</b>", html)
    assert summary
    assert summary[1] in answer
