"""Remakes the pictures of the README and of the guide from the demo: `uv run python tests/pictures.py`.

It needs Debian's Chromium. The README shows whole windows; the guide shows cuts of pages, small and sharp.
"""

import base64
import re
import shutil
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

from playwright.sync_api import Browser, Locator, Page, sync_playwright

PROJECT = Path(__file__).parents[1]
FOLDER = PROJECT / "tests" / "data" / "pictures"
GUIDE = PROJECT / "collection" / "static" / "collection" / "guide"
PORT = 8799
BASE = f"http://127.0.0.1:{PORT}"
#: Size of a cut of the guide, as its page shows it; stored twice as fine.
CUT_WIDTH, CUT_HEIGHT, FINE, QUALITY = 390, 340, 2, 75
PHONE, LAPTOP = {"width": 390, "height": 844}, {"width": 1280, "height": 900}


def main() -> None:
    """Serve the demo from a folder of its own, take the pictures, stop the server."""
    for folder in (FOLDER, GUIDE):
        folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as data:
        command = [sys.executable, "-u", "manage.py", "demo", "--port", str(PORT)]
        server = subprocess.Popen(
            command,
            cwd=PROJECT,
            env={"PATH": "/usr/bin:/bin", "LEVELBOOK_DATA": data},
            stdout=subprocess.PIPE,
            text=True,
        )
        try:
            email, password = sign_in_of(server)
            with sync_playwright() as play:
                browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
                take_all(browser, email, password)
                browser.close()
        finally:
            server.terminate()
            server.wait(timeout=20)


def sign_in_of(server: "subprocess.Popen[str]") -> tuple[str, str]:
    """Read the printed sign-in, and wait until the server answers."""
    assert server.stdout is not None
    for line in server.stdout:
        found = re.search(r"Sign in as (\S+) with the password (\S+)", line)
        if found:
            break
    for _ in range(100):
        try:
            urllib.request.urlopen(BASE, timeout=1)
            return found.group(1), found.group(2)
        except OSError:
            time.sleep(0.2)
    raise SystemExit("the demo does not answer")


def take_all(browser: Browser, email: str, password: str) -> None:
    """Take each picture as a person would come to the page."""
    for name, size, scheme in (("phone", PHONE, "light"), ("dark", PHONE, "dark"), ("laptop", LAPTOP, "light")):
        context = browser.new_context(viewport=size, color_scheme=scheme, reduced_motion="reduce")  # type: ignore[arg-type]
        page = context.new_page()
        page.goto(f"{BASE}/accounts/login/")
        page.fill("input[name=login]", email)
        page.fill("input[name=password]", password)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/today/")
        {"phone": phone, "dark": dark, "laptop": laptop}[name](page)
        context.close()


def phone(page: Page) -> None:
    """Today, a floor, a survey and a leg plan of Lantern Reef."""
    shoot(page, "today-phone")
    cut(page, "today", page.locator("main ul.rows > li:has(.verdict-out)").first)
    page.goto(f"{BASE}/sites/?q=Tern")
    page.get_by_role("link", name="Tern Taproom", exact=True).click()
    page.get_by_role("link", name="Main room", exact=True).first.click()
    cut(page, "floor", page.locator("main svg").first)
    open_machine(page)
    page.get_by_role("button", name="Work out the turns").click()
    page.locator("#lift-1").scroll_into_view_if_needed()
    page.locator("#lift-1").evaluate("card => card.scrollIntoView()")
    shoot(page, "plan-phone")
    cut(page, "turns", page.locator("#lift-1"))
    page.goto(f"{page.url.split('#')[0]}work/")
    turn = page.locator("main .work-turn:visible").first
    for _ in range(4):
        if turn.is_visible():
            break
        page.wait_for_timeout(600)  # a press within half a second of a new step is not meant for it
        page.get_by_role("button", name="Next").first.click()
    cut(page, "lift", page.locator("main .work"), above_px=0)
    open_machine(page)
    page.get_by_role("link", name="Survey now").click()
    cut(page, "look", page.get_by_role("group", name=re.compile("Before you read")))
    read_two(page)
    cut(page, "read", page.locator(".survey-says .card"))


def dark(page: Page) -> None:
    """A step under the machine, and a survey being typed, with its live answer."""
    open_machine(page)
    page.locator("a[href^='/plans/']").first.click()
    page.get_by_role("link", name="Under the machine").click()
    for _ in range(2):
        page.wait_for_timeout(600)  # a press within half a second of a new step is not meant for it
        page.get_by_role("button", name="Done, next").click()
    shoot(page, "work-phone-dark")
    open_machine(page)
    page.get_by_role("link", name="Survey now").click()
    read_two(page)
    page.locator("#survey-answer").evaluate("answer => answer.parentElement.scrollIntoView()")
    shoot(page, "survey-phone-dark")


def laptop(page: Page) -> None:
    """A machine with its history, and a floor to scale."""
    open_machine(page)
    shoot(page, "machine-laptop")


def read_two(page: Page) -> None:
    """Type two readings into a survey, and wait for its answer."""
    rows = page.locator("fieldset.reading")
    rows.nth(0).locator("input[name$=value]").first.fill("6.2")
    rows.nth(1).locator("input[name$=value]").first.fill("0.3")
    rows.nth(1).get_by_label("left", exact=True).first.check()
    page.get_by_label("All four bear").check()
    page.locator("#survey-answer .bars").wait_for()


def open_machine(page: Page) -> None:
    """Go to Lantern Reef."""
    page.goto(f"{BASE}/machines/?q=Lantern")
    page.get_by_role("link", name="Lantern Reef", exact=True).click()


def shoot(page: Page, name: str) -> None:
    """Store what the window shows."""
    page.wait_for_load_state("networkidle")
    page.screenshot(path=str(FOLDER / f"{name}.png"))


def cut(page: Page, name: str, start: Locator, above_px: int = 14) -> None:
    """Store the piece of a page that begins a little above this element."""
    page.wait_for_load_state("networkidle")
    page.locator(".bar-nav").evaluate("bar => { bar.style.display = 'none' }")  # it would lie over the cut
    top = start.evaluate("it => it.getBoundingClientRect().top + scrollY")
    clip = {"x": 0, "y": top - above_px, "width": CUT_WIDTH, "height": CUT_HEIGHT, "scale": FINE}
    picture = page.context.new_cdp_session(page).send(
        "Page.captureScreenshot", {"format": "webp", "quality": QUALITY, "clip": clip, "captureBeyondViewport": True}
    )
    page.locator(".bar-nav").evaluate("bar => { bar.style.display = '' }")
    (GUIDE / f"{name}.webp").write_bytes(base64.b64decode(picture["data"]))


if __name__ == "__main__":
    main()
