"""What a browser measures on a page as it is rendered: axe's findings, contrast, targets, width, clipping."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from playwright.sync_api import Page

AXE = (Path(__file__).parents[1] / "data" / "vendor" / "axe-core" / "axe.min.js").read_text(encoding="utf-8")
MEASURE = (Path(__file__).parent / "measure.js").read_text(encoding="utf-8")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

#: WCAG 2.2, criterion 1.4.3, for text of any size; and 2.5.5, which asks 44 px of what is no link in a sentence.
CONTRAST, TARGET_PX = 4.5, 44
PHONE, LAPTOP = 390, 1280
THEMES = ("light", "dark")
#: The tallest window that we ask of the browser.
_TALLEST = 16_000
#: Rows far down are drawn only when they come into the window, and may be taller than they seemed: here all are drawn.
_HEIGHT = """() => {
    const sheet = document.adoptedStyleSheets[0] ?? new CSSStyleSheet();
    sheet.replaceSync("* { content-visibility: visible !important }");
    document.adoptedStyleSheets = [sheet];
    return document.documentElement.scrollHeight;
}"""


def findings(page: Page, rules: list[str] | None = None) -> list[str]:
    """Return all that axe finds on the page as it stands, of any impact; only these rules if some are named."""
    page.evaluate(AXE)
    which = {"type": "rule", "values": rules} if rules else {"type": "tag", "values": TAGS}
    # Nothing is loaded a second time for it: our sheets are of our own origin, and no page plays anything.
    options = {"runOnly": which, "resultTypes": ["violations"], "elementRef": False, "preload": False}
    report = page.evaluate("options => axe.run(options)", options)
    return [
        f"axe {finding['id']} ({finding['impact']}): {node['html'][:140]}"
        for finding in report["violations"]
        for node in finding["nodes"]
    ]


def measures(page: Page, width: int, themes: tuple[str, ...] = THEMES) -> Iterator[tuple[str, list[str]]]:
    """Fit the window to this width, and yield each theme while it is on, with what is wrong in it.

    Sizes do not hang on colours, so only the first theme is asked about them.
    """
    fit(page, width)
    for theme in themes:
        page.emulate_media(color_scheme=theme)  # type: ignore[arg-type]
        told = {"least": CONTRAST, "target": TARGET_PX, "coloursOnly": theme != themes[0]}
        report: dict[str, list[str]] = page.evaluate(MEASURE, told)
        yield theme, [f"{width} px, {theme}, {kind}: {words}" for kind, found in report.items() for words in found]


def fit(page: Page, width: int) -> None:
    """Make the window as wide as told and as tall as its page."""
    tall = 844
    for _ in range(3):
        page.set_viewport_size({"width": width, "height": tall})
        height = page.evaluate(_HEIGHT)
        if height > _TALLEST:  # the bar at the window's foot would lie on texts that one can scroll out from under it
            page.evaluate("() => document.adoptedStyleSheets[0].insertRule('.bar-nav { display: none !important }')")
            height = _TALLEST
        if height <= tall:
            break
        tall = height


def open_all(page: Page) -> int:
    """Open every `details`; return how many were closed."""
    count: int = page.evaluate(
        "() => { const shut = document.querySelectorAll('details:not([open])');"
        " shut.forEach(part => { part.open = true }); return shut.length }"
    )
    return count


def complaints(page: Page) -> list[str]:
    """Return the list that fills with script errors, policy reports and requests that leave the origin."""
    found: list[str] = []
    page.on("pageerror", lambda error: found.append(f"script: {error}"))
    page.on("console", lambda message: found.append(f"console: {message.text}") if _is_bad(message) else None)
    page.on("request", lambda request: None if _is_ours(request.url) else found.append(f"left: {request.url}"))
    return found


def _is_bad(message: Any) -> bool:
    """The browser itself logs that a page came with 422 or 404, which is what we asked for."""
    return message.type in ("error", "warning") and "Failed to load resource" not in message.text


def _is_ours(url: str) -> bool:
    return url.startswith(("http://localhost", "http://127.0.0.1", "data:", "blob:", "about:"))
