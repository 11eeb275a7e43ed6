"""Photographs every page in every state: `uv run python tests/screens.py FOLDER [--pages site] [--states long]`.

Full pages at 390 and 1280 px, light and dark, as `<page>-<state>-<width>-<theme>.png`, and one sheet for each page
with all its states side by side. Prints what a browser finds wrong: overflow, complaints in the console, parts that
are cut, faint texts, small targets; `--axe` adds axe's findings. The book, the server and the browser are its own, in
a folder that is gone afterwards; needs Debian's Chromium.
"""

import argparse
import logging
import os
import shutil
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import django
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

if __name__ == "__main__":  # run as a file, Django is not ready yet and this folder is on the path
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    DATA = tempfile.TemporaryDirectory()
    os.environ.update(LEVELBOOK_DATA=DATA.name, DJANGO_SETTINGS_MODULE="collection.settings")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"  # Playwright runs an event loop beside the ORM
    django.setup()

from django.conf import settings
from django.core.management import call_command
from django.core.servers.basehttp import ThreadedWSGIServer, WSGIRequestHandler
from django.core.wsgi import get_wsgi_application

from tests.sights import measuring, pages, worlds
from tests.sights.clashes import clashes
from tests.sights.pages import Sight
from tests.sights.people import people
from tests.sights.quick_checks import quick_checks
from tests.sights.reports import reports
from tests.sights.response import taught
from tests.sights.second_factor import second_factor

WIDTHS = (measuring.PHONE, measuring.LAPTOP)
#: Where hundreds of machines show.
CROWDED = ("today", "due", "machines", "sites", "site", "floor", "instruments")
STATES = ("full", "open", "reader", "empty", "error", "clash", "long", "crowd", "print")


class Quiet(WSGIRequestHandler):
    """Answers without a line in the terminal for each request."""

    def log_message(self, *words: object) -> None:
        pass


@contextmanager
def served() -> Iterator[str]:
    """Serve the app from this very process, so that a fault can be planted, and yield its address."""
    server = ThreadedWSGIServer(("127.0.0.1", 0), Quiet, allow_reuse_address=False)
    server.set_app(get_wsgi_application())
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def sights(states: set[str]) -> Iterator[Sight]:
    """Yield what there is to see in the states asked for; each world is built when its first page is due."""
    if states & {"full", "open", "reader", "error", "print", "clash"}:
        world = worlds.demo()
        if "full" in states:
            yield from pages.public(world)
            yield from pages.shown(world)
            yield from pages.special(world)
            yield from pages.plans(worlds.plans_of_every_kind(world), world.people.alice.user)
            yield from pages.levels(world, worlds.levels_of_every_kind(world))
            yield from pages.kinds(world, worlds.kinds_of_instruments(world))
            yield from pages.other_kinds(worlds.surveys_of_other_kinds(world), world.people.alice.user)
            yield from pages.weighed(worlds.weighed(world), world.people.alice.user)
            yield from pages.twisted(worlds.twisted(world), world.people.alice.user)
            yield from quick_checks(world)
            yield from taught(world)
            yield from people(world)
            yield from second_factor(world)
            yield from reports(world)
        if "clash" in states:
            yield from clashes(world)
        if "open" in states:
            yield from pages.opened(pages.shown(world))
        if "print" in states:
            yield from pages.printed(pages.shown(world))
        if "reader" in states:
            yield from pages.read_only(world)
        if "error" in states:
            yield from pages.refused(world)
            yield from pages.troubles(world)
    if "empty" in states:
        yield from pages.empty(worlds.bare(), worlds.fresh())
    if "long" in states:
        yield from pages.shown(worlds.long_names(), "long")
    if "crowd" in states:
        yield from (sight for sight in pages.shown(worlds.crowded(), "crowd") if sight.page in CROWDED)


class Photographer:
    """Goes from sight to sight, a window for each person, and keeps what is wrong."""

    def __init__(self, browser: Browser, base: str, folder: Path, axe: bool) -> None:
        self.browser, self.base, self.folder, self.axe = browser, base, folder, axe
        self.windows: dict[str, tuple[BrowserContext, Page, list[str]]] = {}
        self.taken: dict[str, list[Path]] = {}
        self.faults: dict[str, list[str]] = {}

    def take(self, sight: Sight) -> None:
        """Store four pictures of one sight, and note its faults."""
        page, complaints = self._window(sight)
        complaints.clear()
        page.emulate_media(color_scheme="light", media="print" if sight.state == "print" else "screen")
        faults = sight.reach(page, self.base)
        if sight.opened and not measuring.open_all(page):
            return
        faults += complaints
        for width in WIDTHS:
            for theme, found in measuring.measures(page, width):
                faults += [words for words in found if sight.state != "print" or ", small: " not in words]
                self._shoot(page, sight, width, theme)
        if self.axe:
            faults += measuring.findings(page)
        if faults:
            self.faults[sight.name] = faults

    def sheets(self) -> None:
        """Put all pictures of each page on one sheet, phones above laptops."""
        for name, paths in self.taken.items():
            contact_sheet(paths, self.folder / "sheets" / f"{name}.png")

    def _window(self, sight: Sight) -> tuple[Page, list[str]]:
        key = sight.who.email if sight.who else ""
        if key not in self.windows:
            context = self.browser.new_context(reduced_motion="reduce")
            context.set_default_timeout(20_000)
            if sight.who:
                context.add_cookies([pages.cookie_of(sight.who, self.base)])  # type: ignore[list-item]
            page = context.new_page()
            self.windows[key] = (context, page, measuring.complaints(page))
        _, page, complaints = self.windows[key]
        return page, complaints

    def _shoot(self, page: Page, sight: Sight, width: int, theme: str) -> None:
        path = self.folder / f"{sight.name}-{width}-{theme}.png"
        page.screenshot(path=str(path), animations="disabled")
        self.taken.setdefault(sight.page, []).append(path)


def listing(faults: dict[str, list[str]]) -> str:
    """Return each fault once, with the sights that have it; what is wrong everywhere comes first."""
    where: dict[str, list[str]] = {}
    for name, found in faults.items():
        for words in dict.fromkeys(found):
            where.setdefault(words, []).append(name)
    lines = sorted(where.items(), key=lambda entry: (-len(entry[1]), entry[0]))
    return "".join(f"{words}\n    {len(names)}: {' '.join(names[:8])}\n" for words, names in lines)


def contact_sheet(paths: list[Path], sheet: Path, height: int = 1500) -> None:
    """Put pictures side by side, each at most this tall; what is longer is cut at the bottom."""
    pictures = []
    for path in paths:
        picture = Image.open(path).convert("RGB")
        scale = min(1.0, 640 / picture.width)
        small = picture.resize((round(picture.width * scale), round(picture.height * scale)))
        pictures.append(small.crop((0, 0, small.width, min(height, small.height))))
    whole = Image.new("RGB", (sum(one.width + 8 for one in pictures), max(one.height for one in pictures)), "grey")
    left = 0
    for picture in pictures:
        whole.paste(picture, (left, 0))
        left += picture.width + 8
    sheet.parent.mkdir(exist_ok=True)
    whole.save(sheet)


def main() -> None:
    """Take the pictures that the command line asks for, then say what is wrong."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    asked.add_argument("folder", type=Path, help="where the pictures go")
    asked.add_argument("--pages", nargs="+", default=[], help="only these pages, by their names in the access table")
    asked.add_argument("--states", nargs="+", default=STATES, choices=STATES, help="only these states")
    asked.add_argument("--axe", action="store_true", help="ask axe too")
    told = asked.parse_args()
    told.folder.mkdir(parents=True, exist_ok=True)
    logging.disable()  # that a form was refused is what we came for
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    call_command("migrate", verbosity=0)
    with served() as base, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"])
        photographer = Photographer(browser, base, told.folder, told.axe)
        try:
            for sight in sights(set(told.states)):
                if not told.pages or sight.page in told.pages:
                    photographer.take(sight)
        finally:
            photographer.sheets()
            sys.stdout.write(listing(photographer.faults))
        browser.close()
    taken = sum(len(paths) for paths in photographer.taken.values())
    sys.stdout.write(
        f"{taken} pictures of {len(photographer.taken)} pages; {len(photographer.faults)} sights with faults\n"
    )


if __name__ == "__main__":
    main()
