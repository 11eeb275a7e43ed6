"""What the code may never call, and that every item of the security standard has its test or its reason.

The items are those of levels 1 and 2 of the OWASP Application Security Verification Standard 5.0.0; DEVELOPERS.md says
in our own words what each asks for. The numbers here are read off its released table.
"""

import ast
import re
from collections.abc import Iterator

from rules_source import Files, imports, modules, python_files

CHAPTER = "Security, item by item"
#: How many items of level 1 and 2 begin each section; those after them are of level 3.
ITEMS = {
    "1.1": 2, "1.2": 9, "1.3": 11, "1.4": 3, "1.5": 2, "2.1": 3, "2.2": 3, "2.3": 4, "2.4": 1, "3.2": 2, "3.3": 4,
    "3.4": 6, "3.5": 5, "3.7": 2, "4.1": 3, "4.2": 1, "4.3": 2, "4.4": 4, "5.1": 1, "5.2": 3, "5.3": 2, "5.4": 3,
    "6.1": 3, "6.2": 12, "6.3": 4, "6.4": 4, "6.5": 5, "6.6": 3, "6.8": 4, "7.1": 3, "7.2": 4, "7.3": 2, "7.4": 5,
    "7.5": 2, "7.6": 2, "8.1": 2, "8.2": 3, "8.3": 1, "8.4": 1, "9.1": 3, "9.2": 4, "10.1": 2, "10.2": 2, "10.3": 4,
    "10.4": 11, "10.5": 5, "10.6": 2, "10.7": 3, "11.1": 2, "11.2": 3, "11.3": 3, "11.4": 4, "11.5": 1, "11.6": 1,
    "12.1": 3, "12.2": 2, "12.3": 4, "13.1": 1, "13.2": 5, "13.3": 2, "13.4": 5, "14.1": 2, "14.2": 4, "14.3": 3,
    "15.1": 3, "15.2": 3, "15.3": 7, "16.1": 1, "16.2": 5, "16.3": 4, "16.4": 3, "16.5": 3, "17.1": 1, "17.2": 4,
    "17.3": 2,
}  # fmt: skip
NUMBERS = [f"{section}.{place}" for section, count in ITEMS.items() for place in range(1, count + 1)]
#: How many of them, from the first on, are of level 1: the first to hold.
_FIRST = {
    "1.2": 5, "1.3": 2, "1.5": 1, "2.1": 1, "2.2": 2, "2.3": 1, "3.2": 2, "3.3": 1, "3.4": 2, "3.5": 3, "4.1": 1,
    "4.4": 1, "5.2": 2, "5.3": 2, "6.1": 1, "6.2": 8, "6.3": 2, "6.4": 2, "7.2": 4, "7.4": 2, "8.1": 1, "8.2": 2,
    "8.3": 1, "9.1": 3, "9.2": 1, "10.4": 5, "11.3": 2, "11.4": 1, "12.1": 1, "12.2": 2, "13.4": 1, "14.2": 1,
    "14.3": 1, "15.1": 1, "15.2": 1, "15.3": 1,
}  # fmt: skip
FIRST = frozenset(f"{section}.{place}" for section, count in _FIRST.items() for place in range(1, count + 1))
#: How an item without a test begins: what is so by design, what is missing still, what this app does not have.
WORDS = ("Reason: ", "Open: ", "Not here: ")

#: They run what they are given, or read it without asking what it is; or they ask other servers.
MODULES = frozenset({
    "marshal", "pickle", "shelve", "subprocess", "xml", "yaml", "ftplib", "http.client", "httpx", "requests",
    "telnetlib", "urllib.request", "urllib3",
})  # fmt: skip
CALLS = frozenset({"eval", "exec", "compile", "__import__", "os.system", "os.popen", "Template", "engines"})
#: Text that no longer is escaped: only where our own drawings and codes are made.
UNESCAPED = frozenset({"mark_safe", "SafeString", "SafeText"})
DRAWERS = ("collection/figures/", "collection/templatetags/")

_ROW = re.compile(r"^\| ((?:\**\d+\.\d+\.\d+)[^|]*) \| ([^|]+) \| ([^|]+) \|$", re.MULTILINE)
_TEST = re.compile(r"`(test_\w+)(?:::(\w+))?`")


def danger_faults(files: Files) -> list[str]:
    """Each module, call or unescaped text that could run or show what somebody typed, or ask another server."""
    known = modules(files)
    faults = []
    for path, tree in python_files(files, "collection", "leveling"):
        for found in imports(path, tree, known):
            if any(found.target == name or found.target.startswith(f"{name}.") for name in MODULES):
                faults.append(f"{path}:{found.line} imports {found.target}")
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and ast.unparse(node.func) in CALLS:
                faults.append(f"{path}:{node.lineno} calls {ast.unparse(node.func)}")
            if isinstance(node, ast.Call) and ast.unparse(node.func) in UNESCAPED and not path.startswith(DRAWERS):
                faults.append(f"{path}:{node.lineno} calls {ast.unparse(node.func)}: only drawings are not escaped")
    return faults


def template_faults(files: Files) -> list[str]:
    """Each place in a template that shows text without escaping it."""
    return [
        f"{path}:{number}: {found.group()}"
        for path, text in files.items()
        if path.startswith("templates/") and path.endswith(".html")
        for number, line in enumerate(text.splitlines(), 1)
        for found in re.finditer(r"\|\s*(?:safe|safeseq)\b|\{%\s*autoescape", line)
    ]


def standard_faults(files: Files) -> list[str]:
    """Each item of the standard without one row, each row without a test that exists or a reason."""
    rows = list(_rows(files.get("DEVELOPERS.md", "")))
    told = [number for numbers, _ in rows for number in numbers]
    faults = [f"DEVELOPERS.md, {CHAPTER}: no row for {number}" for number in NUMBERS if number not in told]
    faults += [f"DEVELOPERS.md, {CHAPTER}: {number} is no item" for number in told if number not in NUMBERS]
    faults += [f"DEVELOPERS.md, {CHAPTER}: {number} twice" for number in NUMBERS if told.count(number) > 1]
    tests: dict[str, str] = {}  # files of one name, such as a page's and its action's, are one here
    for path, text in files.items():
        if _is_test(path):
            stem = path.rsplit("/", 1)[1].removesuffix(".py")
            tests[stem] = tests.get(stem, "") + text
    for numbers, held in rows:
        named = _TEST.findall(held)
        if not named and not held.startswith(WORDS):
            faults.append(f"DEVELOPERS.md, {CHAPTER}: {numbers[0]} has neither a test nor a reason")
        for stem, function in named:
            if stem not in tests or (function and f"def {function}(" not in tests[stem]):
                faults.append(f"DEVELOPERS.md, {CHAPTER}: {numbers[0]} names {stem}{'::' * bool(function)}{function}")
    return faults


def _rows(text: str) -> Iterator[tuple[list[str], str]]:
    """Yield the numbers of each row, with what holds them. Numbers of level 1 are bold, and no others."""
    chapter = re.search(rf"^## {CHAPTER}$(.*?)(?=^## |\Z)", text, re.MULTILINE | re.DOTALL)
    for row in _ROW.finditer(chapter[1] if chapter else ""):
        numbers = [number for part in row[1].split(", ") for number in _numbers(part)]
        yield numbers, row[3].strip()


def _numbers(part: str) -> list[str]:
    """Return the numbers that a part stands for: one, or from one to another of the same level's look."""
    bold = part.startswith("**")
    first, _, last = part.strip("*").partition(" to ")
    if not last:
        return [first] if bold == (first in FIRST) else [f"{part} (bold is for level 1)"]
    if first not in NUMBERS or last not in NUMBERS:
        return [part]
    return NUMBERS[NUMBERS.index(first) : NUMBERS.index(last) + 1]


def _is_test(path: str) -> bool:
    return path.startswith("tests/") and path.endswith(".py") and path.rsplit("/", 1)[1].startswith("test_")
