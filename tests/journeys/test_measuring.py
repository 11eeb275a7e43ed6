"""The measures of pages are measured: each finds the fault that was planted, and lets pass what is in order."""

import pytest
from playwright.sync_api import Page

from tests.sights import measuring

pytestmark = pytest.mark.browser

SHELL = """<!doctype html><html lang="en"><head><title>x</title><style>
body { margin: 0; font: 16px/1.5 sans-serif; background: white; color: black }
a.big, button { display: inline-block; min-width: 44px; min-height: 44px }
</style></head><body><main><h1>A page</h1>%s</main></body></html>"""

#: What is planted, and the kind of fault that must be found.
PLANTED = {
    # #767676 is the lightest grey that passes 4.5 on white; #777777 is 4.48 (from memory, well known).
    "<p style='color: #777777'>words</p>": "faint",
    "<p style='opacity: 0.4'>words</p>": "faint",
    "<p style='background: #777777; color: white'>words</p>": "faint",
    "<div style='background: black'><p>words</p></div>": "faint",
    "<svg width='99'><rect width='99' height='60' fill='#333'/><text x='9' y='30'>words</text></svg>": "faint",
    "<input placeholder='words' style='color: #aaa; background: white' aria-label='x'>": "small",
    "<style>::placeholder { color: #bbb }</style><input placeholder='words' aria-label='x'>": "faint",
    "<p style='background: linear-gradient(red, blue)'>words</p>": "unmeasured",
    "<button style='min-height: 20px; padding: 0; line-height: 1'>go</button>": "small",
    "<p><a href='/x'>a link that stands alone</a></p>": "small",
    "<p>See <a href='/x' style='display: inline-block'>this</a> and that</p>": "small",
    "<button>under</button><div style='position: relative; top: -60px; height: 70px'></div>": "small",
    "<input type='radio' id='r'><label for='r'>x</label>": "small",
    "<p style='width: 900px'>words</p>": "wide",
    "<p style='width: 80px; overflow: hidden; white-space: nowrap'>words that are cut at the end</p>": "clipped",
    "<div style='height: 20px; overflow: hidden'><p>one</p><p>two</p></div>": "clipped",
    "<p style='width: 80px'>Lanternreeflighthouse</p>": "clipped",
    "<svg width='60' height='30'><text x='20' y='20'>words that are cut</text></svg>": "clipped",
    "<svg width='200' height='60'><text x='20' y='30'>words</text><text x='30' y='32'>others</text></svg>": "clipped",
}  # fmt: skip

IN_ORDER = (
    "<p style='color: #767676'>words</p>",
    "<p>See <a href='/x'>this</a> and that</p>",
    "<a class='big' href='/x'>on its own</a>",
    "<label style='display: flex; min-height: 44px; min-width: 60px'><input type='checkbox'>x</label>",
    "<svg width='200' height='60'><rect width='200' height='60' fill='#fff'/><text x='20' y='30'>words</text></svg>",
    "<span style='position: absolute; width: 1px; height: 1px; overflow: hidden; white-space: nowrap'>for ears</span>",
    "<p style='width: 80px; overflow: hidden; text-overflow: ellipsis; white-space: nowrap'>words with dots</p>",
    "<div style='position: relative; height: 60px'><a href='/x'>a row<span style='position: absolute; inset: 0'></span>"
    "</a></div>",
)


@pytest.mark.parametrize(("planted", "kind"), PLANTED.items())
def test_a_planted_fault_is_found(page: Page, planted: str, kind: str) -> None:
    page.set_content(SHELL % planted)
    ((_, found),) = measuring.measures(page, measuring.PHONE, ("light",))
    assert [words for words in found if f", {kind}: " in words], found


def test_what_is_in_order_passes(page: Page) -> None:
    page.set_content(SHELL % "".join(IN_ORDER))
    ((_, found),) = measuring.measures(page, measuring.PHONE, ("light",))
    assert found == []


@pytest.mark.parametrize(
    ("planted", "rule"),
    [
        ("<img src='data:,'>", "image-alt"),
        ("<button></button>", "button-name"),
        ("<h4>too deep</h4>", "heading-order"),  # best practice, of moderate impact
        ("<p style='color: #999'>words</p>", "color-contrast"),
    ],
)
def test_axe_is_asked_about_everything(page: Page, planted: str, rule: str) -> None:
    page.set_content(SHELL % planted)
    assert any(f"axe {rule} " in words for words in measuring.findings(page))


def test_complaints_are_heard(page: Page) -> None:
    found = measuring.complaints(page)
    page.route("**/*", lambda route: route.fulfill(status=200, body="", content_type="text/html"))
    page.goto("http://localhost/")
    assert found == []
    page.evaluate("() => { console.error('planted') }")
    page.evaluate("() => { setTimeout(() => { throw new Error('thrown') }) }")
    page.evaluate("() => fetch('http://elsewhere.example/', { mode: 'no-cors' })")
    assert [words.split(":")[0] for words in found] == ["console", "script", "left"]
