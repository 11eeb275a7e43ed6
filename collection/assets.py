"""What a page asks for beside itself: one style sheet made of many small ones, and addresses that change with the file.

Browsers on a slow line pay for every request, people read small sheets; so the sheets are joined when the server
starts. An address carries a digest of the file, so a browser may keep what it has for a year.
"""

import hashlib
import os
import tempfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import rcssmin
from django.conf import settings
from django.contrib.staticfiles import finders
from django.core.files.storage import FileSystemStorage
from django.templatetags.static import static

#: The joined sheet, as `static` names it.
STYLE = "collection/all.css"
#: What it is made of, in the order of the cascade: the page's frame and parts first, then what single nouns need.
SHEETS = (
    "tokens", "levelbook", "frame", "parts", "rows", "lists", "forms", "clashes", "bars", "figures",
    "machines", "today", "surveys", "reading", "plans", "quick", "guide", "work", "work_steps",
    "paper", "paper_print", "keep", "people", "instruments", "quick_checks", "vials", "account", "reports",
    "history", "reach",
)  # fmt: skip
#: The sheet that holds on paper only.
PAPER = "print"

_FOLDER = Path(__file__).parent / "static" / "collection"
_PICO = '@import url("vendor/pico/pico.classless.min.css") layer(pico);'
_MADE_IN = Path(settings.DATA_DIR) / "static"


def joined() -> str:
    """Return all sheets as one text without comments and needless space; the font's address carries its digest."""
    pico = (
        (_FOLDER / "vendor/pico/pico.classless.min.css").read_text(encoding="utf-8").removeprefix('@charset "UTF-8";')
    )
    sheets = "\n".join(_read(name) for name in SHEETS).replace(_PICO, "")
    text = f"@layer pico {{{pico}}}\n{sheets}\n@media print {{\n{_read(PAPER)}\n}}\n"
    font = "vendor/atkinson/atkinson-hyperlegible-next-latin-wght-normal.woff2"
    text = text.replace(f'url("{font}")', f'url("{address(f"collection/{font}")}")')
    return str(rcssmin.cssmin(text, keep_bang_comments=True))  # those are the licences of others


def address(name: str) -> str:
    """Return the address of a static file with a digest of what is in it.

    Raises FileNotFoundError if there is no such file.
    """
    return f"{static(name)}?v={_digest(name)}"


class StyleFinder(finders.BaseFinder):
    """Finds the joined sheet among the static files, and writes it first where it is not there as it is now."""

    def find(self, path: str, find_all: bool = False) -> Any:
        """Return where the joined sheet lies, or nothing for every other name."""
        found = [str(self._made())] if path == STYLE else []
        return found if find_all else next(iter(found), [])

    def list(self, ignore_patterns: Any) -> Iterator[tuple[str, FileSystemStorage]]:
        """Yield the joined sheet with the folder it lies in."""
        self._made()
        yield STYLE, FileSystemStorage(location=_MADE_IN)

    def _made(self) -> Path:
        path, text = _MADE_IN / STYLE, joined().encode()
        if not path.exists() or path.read_bytes() != text:
            path.parent.mkdir(parents=True, exist_ok=True)
            handle, unfinished = tempfile.mkstemp(dir=path.parent)
            with os.fdopen(handle, "wb") as file:
                file.write(text)
            os.chmod(unfinished, 0o644)
            os.replace(unfinished, path)  # at once, since several processes may start together
        return path


@cache
def _digest(name: str) -> str:
    found = finders.find(name)
    if not found:
        raise FileNotFoundError(f"There is no static file {name}.")
    return hashlib.sha256(Path(str(found)).read_bytes()).hexdigest()[:12]


def _read(name: str) -> str:
    return (_FOLDER / f"{name}.css").read_text(encoding="utf-8")
