"""Pages hold no inline style or script and ask no other server; includes say what they take."""

import ast
import re
from collections.abc import Iterator
from html.parser import HTMLParser

from rules_source import Files, python_files

_ORIGIN = re.compile(r"(?:https?:)?//(?!www\.w3\.org/)[a-z0-9.-]+\.[a-z]{2,}", re.IGNORECASE)
_SVG_SPEAK = re.compile(r"\bstyle\s*=|<style\b|<script\b|\bon[a-z]+\s*=", re.IGNORECASE)
_TEMPLATE_CODE = re.compile(r"\{#.*?#\}|\{%\s*comment\b.*?\{%\s*endcomment\s*%\}|\{%.*?%\}|\{\{.*?\}\}", re.DOTALL)
_INCLUDE = re.compile(r"\{%-?\s*include\s+(?P<rest>.*?)\s*-?%\}", re.DOTALL)
_LEADING_COMMENT = re.compile(r"\s*\{%\s*comment\b[^%]*%\}(?P<words>.*?)\{%\s*endcomment\s*%\}", re.DOTALL)


class _Tags(HTMLParser):
    """Notes each tag or attribute that a strict content security policy would block."""

    def __init__(self) -> None:
        super().__init__()
        self.faults: list[tuple[int, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = dict(attrs)
        line = self.getpos()[0]
        if tag == "style":
            self.faults.append((line, "a <style> element"))
        if tag == "script" and "src" not in names:
            self.faults.append((line, "a <script> without src"))
        for name, value in names.items():
            if name == "style" or name.startswith(("on", "hx-on")):
                self.faults.append((line, f"the attribute {name}"))
            if (value or "").strip().lower().startswith("javascript:"):
                self.faults.append((line, f"a script in {name}"))


def inline_faults(files: Files) -> list[str]:
    """Each inline style or script in a template or a drawing."""
    faults = []
    for path, text in _markup(files):
        tags = _Tags()
        tags.feed(_TEMPLATE_CODE.sub(_same_lines, text))
        tags.close()
        faults += [f"{path}:{line}: {what}" for line, what in tags.faults]
    return faults


def drawing_faults(files: Files) -> list[str]:
    """Each text in a template tag or a figure that would draw an inline style or script."""
    return [
        f"{path}:{node.lineno}: draws {found.group()!r}"
        for path, tree in python_files(files, "collection/templatetags", "collection/figures")
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
        for found in [_SVG_SPEAK.search(node.value)]
        if found
    ]


def origin_faults(files: Files) -> list[str]:
    """Each address of another server in a template, a drawing or a style sheet of ours."""
    faults = []
    for path, text in [*_markup(files), *_own_sheets(files)]:
        for number, line in enumerate(text.splitlines(), 1):
            faults += [f"{path}:{number}: {found.group()}" for found in _ORIGIN.finditer(line)]
    return faults


def include_faults(files: Files) -> list[str]:
    """Each include without its list of inputs; each call without `only` or with an unlisted input."""
    listed = {}
    faults = []
    for path, text in files.items():
        if path.startswith("templates/includes/"):
            found = _LEADING_COMMENT.match(text)
            listed[path.removeprefix("templates/")] = found["words"] if found else ""
            if not found or not found["words"].strip():
                faults.append(f"{path}: does not start with a comment that lists its inputs")
            if not path.rsplit("/", 1)[1].startswith("_"):
                faults.append(f"{path}: an include's name starts with _")
    for path, line, rest in _include_calls(files):
        if not re.search(r"\sonly$", rest):
            faults.append(f"{path}:{line}: include {rest} does not end with only")
        words = listed.get(rest.split()[0].strip("\"'"))
        for name in re.findall(r"(\w+)=", rest):
            if words is not None and not re.search(rf"\b{name}\b", words):
                faults.append(f"{path}:{line}: passes {name}, which the include does not list")
    return faults


def _markup(files: Files) -> Iterator[tuple[str, str]]:
    """Yield our templates and drawings; what others wrote is under `vendor`."""
    for path, text in files.items():
        if path.startswith("templates/") or (path.startswith("collection/static/") and path.endswith(".svg")):
            yield path, text


def _own_sheets(files: Files) -> Iterator[tuple[str, str]]:
    for path, text in files.items():
        ours = path.startswith("collection/static/") and "/vendor/" not in path
        if ours and path.endswith((".css", ".js")):
            yield path, text


def _include_calls(files: Files) -> Iterator[tuple[str, int, str]]:
    for path, text in files.items():
        if path.startswith("templates/"):
            for found in _INCLUDE.finditer(text):
                yield path, text[: found.start()].count("\n") + 1, found["rest"]


def _same_lines(found: re.Match[str]) -> str:
    return "\n" * found.group().count("\n")
