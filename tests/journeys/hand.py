"""A person's hand on a page, which counts what it does: each click, text, choice and key is one input.

Opening an address, looking and waiting count nothing. A text counts once, however long it is, and the field need not
be clicked before.
"""

from dataclasses import dataclass, field

from playwright.sync_api import Locator, Page


@dataclass
class Hand:
    """Works a page as a person would; ``done`` tells each input in words, in order."""

    page: Page
    done: list[str] = field(default_factory=list)

    @property
    def inputs(self) -> int:
        """How many inputs it took so far."""
        return len(self.done)

    def click(self, target: Locator) -> None:
        """Click or tap a link, a button or a summary."""
        target.click()
        self._did("click", target)

    def fill(self, target: Locator, text: str) -> None:
        """Type a text into a field, in place of what stands there."""
        target.fill(text)
        self._did(f"type {text!r} into", target)

    def choose(self, target: Locator, option: str = "") -> None:
        """Choose a chip or tick a box; with an option, choose it by its words from a list."""
        if option:
            target.select_option(option)
        else:
            target.check()
        self._did(f"choose {option!r} in" if option else "choose", target)

    def press(self, key: str) -> None:
        """Press a key, such as "Enter", wherever the focus is."""
        self.page.keyboard.press(key)
        self.done.append(f"press {key}")

    def _did(self, what: str, target: Locator) -> None:
        # Said in the locator's own words, so that a failed count can be read like a story.
        self.done.append(f"{what} {str(target).partition(' selector=')[2].rstrip('>')}")
