"""What the documents must say: every setting, every command, every word, and how to begin."""

import ast
import re

from rules_source import Files, parse

SETTINGS = ("collection/settings.py", "collection/environment.py")
DOCUMENTS = ("README.md", "DEVELOPERS.md")
TEST_COMMAND = "pip install uv && uv run pytest"
DEMO_COMMAND = "pip install uv && uv run manage.py demo"

#: One meaning each, in code, pages and documents.
WORDS = (
    "organization", "site", "floor", "bay", "machine", "leg", "leveler", "pitch", "roll", "twist",
    "light foot", "survey", "reading", "leg plan", "spec", "verdict", "drift", "due date", "round",
)  # fmt: skip
CHAPTERS = ("Map", "Glossary", "Geometry", "Add a field to a survey", "Changes")
#: What a reader must find in the README before lifting anything.
CAUTIONS = ("two people", "unplugged", "maker's manual")

_GLOSSARY = re.compile(r"^#+ Glossary\s*$(.*?)(?=^#|\Z)", re.MULTILINE | re.DOTALL)
_TERM = re.compile(r"^(?:\| *([^|]+?) *\||[-* ]*\*\*(.+?)\*\*)", re.MULTILINE)
_NAME = re.compile(r"[A-Z][A-Z0-9]*(_[A-Z0-9]+)+|DEBUG")


def settings_read(files: Files) -> set[str]:
    """Return the names of the environment variables that the settings know."""
    names: set[str] = set()
    for path in SETTINGS:
        tree = parse(files.get(path, ""))
        prefix = _prefix(tree)
        for node in ast.walk(tree):
            if isinstance(node, ast.Call):
                names |= {text for text in map(_text, node.args) if _reads(node) and _NAME.fullmatch(text)}
            elif isinstance(node, ast.Subscript) and "environ" in ast.unparse(node.value):
                names.add(_text(node.slice))
            elif isinstance(node, ast.BinOp) and ast.unparse(node.left) == "PREFIX":
                names.add(prefix + _text(node.right) if _text(node.right) else "")
            elif isinstance(node, ast.Assign) and ast.unparse(node.targets[0]).endswith("NAMES"):
                inside = [_text(item) for item in ast.walk(node.value)]
                names |= {prefix + text for text in inside if text.isupper()}
    return names - {""}


def settings_faults(files: Files) -> list[str]:
    """Each environment variable that no document names."""
    return [
        f"{name} is read from the environment, but neither README.md nor DEVELOPERS.md names it"
        for name in sorted(settings_read(files))
        if not re.search(rf"\b{name}\b", _documents(files))
    ]


def command_faults(files: Files) -> list[str]:
    """Each management command that no document names."""
    found = [re.fullmatch(r"collection/management/commands/([a-z]\w*)\.py", path) for path in files]
    return [
        f"manage.py {name[1]}: neither README.md nor DEVELOPERS.md names it"
        for name in found
        if name and not re.search(rf"manage\.py {name[1]}\b", _documents(files))
    ]


def glossary_faults(files: Files) -> list[str]:
    """Each word of the trade that the glossary does not explain."""
    terms = glossary(files.get("DEVELOPERS.md", ""))
    return [f"DEVELOPERS.md, Glossary: no entry for {word}" for word in WORDS if word not in terms]


def glossary(text: str) -> set[str]:
    """Return the terms of the chapter Glossary: the first cell of a row, or bold words that begin a line."""
    chapter = _GLOSSARY.search(text)
    rows = _TERM.findall(chapter[1]) if chapter else []
    cells = ["".join(row).replace("*", "").replace("`", "") for row in rows]
    return {term.strip().lower() for cell in cells for term in cell.split(",")}


def opening_faults(files: Files) -> list[str]:
    """What the README lacks on its first screen, and the chapters that DEVELOPERS.md lacks."""
    readme, developers = files.get("README.md", ""), files.get("DEVELOPERS.md", "")
    commands = (TEST_COMMAND, DEMO_COMMAND)
    faults = [f"README.md: no line with `{line}`" for line in commands if line not in readme]
    faults += [f"README.md: no caution about {words!r}" for words in CAUTIONS if words not in readme.lower()]
    if not re.match(r"# Levelbook\n+[^#`|!<\n-][^\n]{80,}", readme):
        faults.append("README.md: does not open with its name and the job in one paragraph")
    chapters = re.findall(r"^#+ +(.+?) *$", developers, re.MULTILINE)
    faults += [f"DEVELOPERS.md: no chapter {name}" for name in CHAPTERS if name not in chapters]
    return faults


def _documents(files: Files) -> str:
    return "\n".join(files.get(path, "") for path in DOCUMENTS)


def _prefix(tree: ast.Module) -> str:
    for node in tree.body:
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "PREFIX":
            return _text(node.value)
    return ""


def _text(node: ast.AST) -> str:
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""


def _reads(call: ast.Call) -> bool:
    return "environ" in ast.unparse(call) or "getenv" in ast.unparse(call.func)
