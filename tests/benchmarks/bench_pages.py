"""How fast pages are on a poor phone with a poor line: `uv run python tests/benchmarks/bench_pages.py`.

Headless Chromium, 390 px, the processor slowed to a quarter, and the line of Lighthouse's "mobileSlow4G" as DevTools
applies it: 562.5 ms before each answer, 1.44 Mbit/s down, 675 kbit/s up (GoogleChrome/lighthouse, docs/throttling.md
and core/config/constants.js). Measured by the browser itself: Largest Contentful Paint, Cumulative Layout Shift
(web.dev, Web Vitals) and Event Timing (W3C), medians of five visits; the worst shift and tap of all.

Each page twice: as people come to it, with what the sign-in page left in the browser, and cold, with nothing kept, as
if the sign-in page had never been. The peer is a page of one line of text without sheet or script on the same line and
processor: what the conditions alone cost. The last line is JSON.
"""

import json
import os
import statistics
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import django
from playwright.sync_api import Browser, Page, sync_playwright

if __name__ == "__main__":  # run as a file, Django is not ready yet and this folder is on the path
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    DATA = tempfile.TemporaryDirectory()
    os.environ.update(LEVELBOOK_DATA=DATA.name, DJANGO_SETTINGS_MODULE="collection.settings")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"  # Playwright runs an event loop beside the ORM
    django.setup()

from django.conf import settings
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from tests.crowd import crowd
from tests.own_server import served
from tests.worlds import tern_taproom

VISITS = 5
MACHINES = 400
SLOW_4G = {
    "offline": False,
    "latency": 150 * 3.75,
    "downloadThroughput": 1.6 * 1024 * 0.9 * 1024 / 8,
    "uploadThroughput": 750 * 0.9 * 1024 / 8,
}
CPU_SLOWDOWN = 4
LIMITS = {"lcp_ms": 1500, "cls": 0.05, "tap_ms": 150, "kb": 150}

WATCH = """
window.seen = {lcp: 0, cls: 0, taps: []};
new PerformanceObserver((list) => list.getEntries().forEach((e) => { seen.lcp = e.startTime; }))
  .observe({type: "largest-contentful-paint", buffered: true});
new PerformanceObserver((list) => list.getEntries().forEach((e) => { if (!e.hadRecentInput) seen.cls += e.value; }))
  .observe({type: "layout-shift", buffered: true});
new PerformanceObserver((list) => list.getEntries().forEach((e) => {
    if (e.interactionId) seen.taps.push([e.name, e.duration]);
  })).observe({type: "event", durationThreshold: 16, buffered: true});
"""


def main() -> None:
    """Measure each page, print a line each, and one JSON line last."""
    call_command("migrate", verbosity=0)
    addresses, cookie = fill()
    with served(str(settings.DATA_DIR)) as base, bare_page() as bare, sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"])
        peer = measure(browser, bare, "", lambda page: None)
        report(f"one line of text, the peer ({browser.version})", peer)
        told = {"name": "pages on a slow phone", "visits": VISITS, "machines": MACHINES, "limits": LIMITS}
        for way, before in (("as people come", base + reverse("account_login")), ("cold", "")):
            told[way] = pages = {
                name: measure(browser, base + address, cookie, taps, before)
                for name, (address, taps) in addresses.items()
            }
            for name, found in pages.items():
                report(f"{name}, {way}", found)
            worst = {key: max(found[key] for found in pages.values()) for key in LIMITS}
            told[f"{way}, met"] = {key: worst[key] <= limit for key, limit in LIMITS.items()}
        browser.close()
    say(json.dumps(told | {"peer": "a bare line of text", "peer_lcp_ms": peer["lcp_ms"]}))


def fill() -> tuple[dict[str, tuple[str, Callable[[Page], None]]], str]:
    """Fill the book: 400 machines and a plan in hand. Return the pages with their taps, and Alice's session."""
    taproom = tern_taproom()
    crowd(taproom, MACHINES - 1)
    client = Client()
    client.force_login(taproom.people.alice.user)
    pages = {
        "Today, 400 machines": (reverse("today"), tap_today),
        "Survey": (reverse("survey_new", args=[taproom.machine.pk]), tap_survey),
        "Leg plan": (reverse("plan", args=[taproom.plan.pk]), tap_plan),
    }
    return pages, client.cookies["sessionid"].value


def tap_today(page: Page) -> None:
    """Go into the search and type."""
    page.locator("input[name=q]").click()
    page.keyboard.type("Marsh", delay=80)
    page.wait_for_load_state("networkidle")


def tap_survey(page: Page) -> None:
    """Tick, type what the level shows, say which end is high, add a reading."""
    row = page.locator("fieldset.reading").nth(1)
    page.get_by_label("Balls out").click()
    row.locator("input[name$=value]").first.click()
    page.keyboard.type("0.3", delay=80)
    row.get_by_label("left", exact=True).first.click()
    page.wait_for_load_state("networkidle")
    page.get_by_role("button", name="Add a reading").click()
    page.wait_for_load_state("networkidle")


def tap_plan(page: Page) -> None:
    """Tick a step off, open what else was turned."""
    page.locator("ol.steps input").first.click()
    page.get_by_text("I turned something else").click()


def measure(
    browser: Browser, address: str, session: str, taps: Callable[[Page], None], before: str = ""
) -> dict[str, float]:
    """Return the medians of several visits, and the worst shift and tap of all of them."""
    visits = [visit(browser, address, session, taps, before) for _ in range(VISITS)]
    return {
        "lcp_ms": round(statistics.median(found["lcp_ms"] for found in visits)),
        "cls": round(max(found["cls"] for found in visits), 4),
        "tap_ms": max(found["tap_ms"] for found in visits),
        "kb": round(statistics.median(found["kb"] for found in visits), 1),
        "requests": visits[0]["requests"],
    }


def visit(browser: Browser, address: str, session: str, taps: Callable[[Page], None], before: str) -> dict[str, float]:
    """Come from the page before, if any; open this one until it is quiet, tap, and ask the browser what it saw."""
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    if before:
        page = context.new_page()
        page.goto(before, wait_until="networkidle")
        page.close()
    if session:
        context.add_cookies([{"name": "sessionid", "value": session, "url": address}])
    context.add_init_script(WATCH)
    page = context.new_page()
    wire = context.new_cdp_session(page)
    bytes_of: dict[str, float] = {}
    wire.on("Network.loadingFinished", lambda event: bytes_of.update({event["requestId"]: event["encodedDataLength"]}))
    wire.send("Network.enable")
    wire.send("Network.emulateNetworkConditions", SLOW_4G)
    wire.send("Emulation.setCPUThrottlingRate", {"rate": CPU_SLOWDOWN})
    page.goto(address, wait_until="networkidle")
    loaded = {"kb": sum(bytes_of.values()) / 1000, "requests": float(len(bytes_of))}
    first: Any = page.evaluate("() => ({lcp: seen.lcp, cls: seen.cls})")
    taps(page)
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => setTimeout(done, 300)))")
    seen: Any = page.evaluate("() => seen")
    context.close()
    # The browser reports no event shorter than 16 ms, so none reported means at most that.
    tap = max((length for _, length in seen["taps"]), default=16)
    return {"lcp_ms": first["lcp"], "cls": seen["cls"], "tap_ms": tap, **loaded}


@contextmanager
def bare_page() -> Iterator[str]:
    """Serve one line of text, and yield its address."""

    class Line(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            """Answer with the line."""
            body = b"<!doctype html><title>Line</title><link rel=icon href=data:,><p>One line of text."
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: Any) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Line)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()


def report(name: str, found: dict[str, float]) -> None:
    """Print one page's figures."""
    say(
        f"{name}: LCP {found['lcp_ms']} ms, CLS {found['cls']}, slowest tap {found['tap_ms']} ms,"
        f" {found['kb']} kB in {found['requests']:.0f} requests"
    )


def say(text: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
