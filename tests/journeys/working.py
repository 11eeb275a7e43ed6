"""Works the page under the machine at a person's pace: each step is seen before the next press."""

from playwright.sync_api import Page, expect

#: As long as work.js takes a press after a new step for one that was not meant for it.
UNSEEN_MS = 500

#: Notes when something last came on the screen or into focus.
WATCH = """
for (const name of ["work:step", "focusin"]) {
  document.addEventListener(name, () => { window.cameUp = performance.now(); });
}
"""


def watch(page: Page) -> None:
    """Let pages that are opened from now on note when their steps appear."""
    page.add_init_script(WATCH)


def see(page: Page) -> None:
    """Wait until what stands on the screen has been seen."""
    page.wait_for_function(f"() => performance.now() - window.cameUp > {UNSEEN_MS}")


def forward(page: Page, steps: int = 1) -> None:
    """Press "Done, next" on so many steps."""
    for _ in range(steps):
        see(page)
        page.get_by_role("button", name="Done, next").click()


def record(page: Page) -> None:
    """Press the button that records the lift."""
    expect(page.get_by_role("heading", name="What did you turn?")).to_be_visible()
    see(page)
    page.get_by_role("button", name="Record this lift").click()


def press(page: Page, key: str) -> None:
    """Press a key once what stands on the screen has been seen."""
    see(page)
    page.keyboard.press(key)
