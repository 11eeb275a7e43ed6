"""The style sheets: every text colour can be read on its ground, in both themes; nothing comes from elsewhere."""

import re
from pathlib import Path

import pytest
from django.conf import settings

SHEETS = Path(settings.BASE_DIR) / "collection" / "static" / "collection"
TOKENS = (SHEETS / "tokens.css").read_text(encoding="utf-8")

Theme = dict[str, str]


def block(opening: str) -> Theme:
    """The tokens of the block that begins with these words."""
    body = TOKENS.split(opening, 1)[1].split("}", 1)[0]
    return dict(re.findall(r"--([a-z-]+):\s*([^;]+);", body))


def themes() -> dict[str, Theme]:
    """The two sets of colours."""
    return {"light": block("\n:root {"), "dark": block(':root[data-theme="dark"] {')}


def luminance(colour: str) -> float:
    """Relative luminance of sRGB, WCAG 2.2, definition "relative luminance" (with 0.04045 as in IEC 61966-2-1)."""
    assert re.fullmatch(r"#[0-9a-f]{6}", colour), colour
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.2, definition "contrast ratio"."""
    dark, bright = sorted((luminance(one), luminance(other)))
    return (bright + 0.05) / (dark + 0.05)


#: Text on its grounds: at least 4.5 (WCAG 2.2, criterion 1.4.3).
TEXT = [
    *((text, ground) for text in ("ink", "soft", "accent", "accent-strong", "in", "out", "open")
      for ground in ("paper", "card")),
    *((text, ground) for text in ("ink", "soft") for ground in ("well", "accent-tint")),
    ("ink", "hover"), ("soft", "hover"), ("ink", "open-tint"), ("ink", "out-tint"), ("ink", "band"),
    ("in", "in-tint"), ("out", "out-tint"), ("open", "open-tint"), ("accent", "accent-tint"),
    ("accent-ink", "accent"), ("accent-ink", "accent-strong"),
]  # fmt: skip
#: What must be seen to be used or understood: at least 3 (WCAG 2.2, criterion 1.4.11).
MARKS = [
    *((mark, ground) for mark in ("in", "out", "open", "want", "ink") for ground in ("card", "band")),
    ("edge", "card"), ("edge", "paper"), ("accent", "paper"), ("accent", "card"), ("soft", "well"),
]  # fmt: skip


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), TEXT)
def test_text_can_be_read(theme: str, text: str, ground: str) -> None:
    tokens = themes()[theme]
    assert contrast(tokens[text], tokens[ground]) >= 4.5


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("mark", "ground"), MARKS)
def test_marks_and_edges_can_be_seen(theme: str, mark: str, ground: str) -> None:
    tokens = themes()[theme]
    assert contrast(tokens[mark], tokens[ground]) >= 3


def test_the_measure_of_contrast_is_right() -> None:
    """Black on white is 21; #767676 is the lightest grey that passes 4.5 on white (from memory, well known)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


def test_the_dark_of_the_device_is_the_dark_one_chooses() -> None:
    assert block(':root:not([data-theme="light"]) {') == block(':root[data-theme="dark"] {')


def test_each_theme_names_the_same_tokens_and_paper_all_of_them() -> None:
    names = {theme: set(tokens) for theme, tokens in themes().items()}
    assert names["light"] == names["dark"]
    paper = (SHEETS / "print.css").read_text(encoding="utf-8")
    assert names["dark"] <= set(re.findall(r"--([a-z-]+):", paper))


def test_every_token_that_a_sheet_uses_exists() -> None:
    known = set(re.findall(r"--([a-z-]+):", TOKENS))
    for sheet in SHEETS.glob("*.css"):
        used = set(re.findall(r"var\(--([a-z-]+)", sheet.read_text(encoding="utf-8")))
        assert used <= known, f"{sheet.name}: {used - known}"


def test_colours_stand_in_the_tokens_only() -> None:
    for sheet in SHEETS.glob("*.css"):
        if sheet.name not in ("tokens.css", "print.css"):
            text = re.sub(r"/\*.*?\*/", "", sheet.read_text(encoding="utf-8"), flags=re.DOTALL)
            assert not re.search(r":[^;{]*(#[0-9a-f]{3,8}\b|rgb|hsl)", text), sheet.name


def test_a_sheet_can_be_read_in_one_sitting() -> None:
    for sheet in [*SHEETS.glob("*.css"), *SHEETS.glob("*.js")]:
        assert len(sheet.read_text(encoding="utf-8").splitlines()) <= 400, sheet.name


def test_every_file_that_a_sheet_asks_for_is_here() -> None:
    for sheet in SHEETS.glob("*.css"):
        for name in re.findall(r'url\("([^"]+)"\)', sheet.read_text(encoding="utf-8")):
            assert (SHEETS / name).is_file(), f"{sheet.name}: {name}"


def test_what_others_made_carries_its_licence() -> None:
    for folder in (SHEETS / "vendor").iterdir():
        assert [name for name in folder.iterdir() if name.name.startswith("LICENSE")], folder.name
