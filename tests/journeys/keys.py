"""A keyboard and nothing else. Each stop of the focus is looked at: it must show where it is, and lie in sight."""

import re
from pathlib import Path

from playwright.sync_api import Page

_LOOK = (Path(__file__).parent / "keys.js").read_text(encoding="utf-8")


class Keys:
    """Goes through a page by Tab, arrows, Space and Enter; ``stops`` tells where the focus was."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.stops: list[str] = []
        self.faults: list[str] = []
        self._last = 0.0

    def press(self, key: str) -> None:
        """Press a key."""
        self.page.keyboard.press(key)

    def enter(self) -> None:
        """Press Enter where it leads to another page, and wait for that."""
        self.page.evaluate("() => { document.body.dataset.left = 'no' }")
        self.press("Enter")
        self.page.wait_for_function("() => document.readyState === 'complete' && document.body.dataset.left !== 'no'")
        self._last = 0.0

    def type(self, words: str) -> None:
        """Type in place of what the field holds."""
        self.press("Control+a")
        self.page.keyboard.type(words)

    def tab_to(self, words: str, *, legend: str = "", backwards: bool = False, most: int = 90) -> None:
        """Press Tab until the focus is on what these words name, inside the group of that legend if told."""
        for _ in range(most):
            self.press("Shift+Tab" if backwards else "Tab")
            stop = self.look(backwards=backwards)
            if stop and re.search(words, stop["words"]) and re.search(legend, stop["legend"]):
                return
        raise AssertionError(f"no stop named {words!r} {legend!r}; the last were {self.stops[-most:]}")

    def choose(self, words: str, *, legend: str) -> None:
        """Go to a group of choices and take one with Space and the arrows."""
        self.tab_to("", legend=legend)
        self.press("Space")
        for _ in range(12):
            stop = self.look(moves=False)
            if stop and stop["checked"] and re.search(words, stop["words"]):
                return
            self.press("ArrowDown")
        raise AssertionError(f"{legend!r} has no choice {words!r}; the last were {self.stops[-12:]}")

    def look(self, *, backwards: bool = False, moves: bool = True) -> dict[str, object] | None:
        """Note where the focus is, and what is wrong there."""
        stop: dict[str, object] | None = self.page.evaluate(_LOOK)
        if stop is None:  # the browser's own bar, on the way round
            self._last = 0.0
            return None
        name = f"{stop['kind']} {stop['words'] or stop['legend']!s}"[:70]
        self.stops.append(name)
        if not stop["ring"]:
            self.faults.append(f"{name}: no visible focus")
        if not stop["seen"]:
            self.faults.append(f"{name}: out of sight or covered")
        if moves and stop["main"]:
            if not backwards and float(str(stop["bottom"])) < self._last - 1:
                self.faults.append(f"{name}: the focus went up the page")
            self._last = float(str(stop["top"]))
        return stop
