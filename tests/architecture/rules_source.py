"""The source tree as the rules see it: paths with their texts, and what each Python file imports.

A rule is a function from such a tree to a list of faults, one line each, so it can be run on the real tree
and on a planted one: `{"collection/views/sites.py": "import numpy"}`.
"""

import ast
import subprocess
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

Files = Mapping[str, str]
Function = ast.FunctionDef | ast.AsyncFunctionDef

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Import:
    """One import of one module. `function` is the function around it, or empty at the top of the file."""

    line: int
    target: str
    function: str
    typing_only: bool


@cache
def tracked_paths() -> tuple[str, ...]:
    """Return every file that git holds or would take with `git add`, from the top of the repository."""
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout
    return tuple(sorted({path for path in listed.split("\0") if (ROOT / path).is_file()}))


@cache
def project() -> Files:
    """Return the project's text files; pictures and fonts are left out."""
    texts = {}
    for path in tracked_paths():
        raw = (ROOT / path).read_bytes()
        if b"\0" not in raw:
            texts[path] = raw.decode("utf-8")
    return texts


@cache
def parse(text: str) -> ast.Module:
    """Return the syntax tree of one file; every rule shares it."""
    return ast.parse(text)


def python_files(files: Files, *folders: str) -> Iterator[tuple[str, ast.Module]]:
    """Yield each Python file below the folders (or all of them) but migrations, which Django writes."""
    for path, text in files.items():
        below = not folders or path.startswith(tuple(f"{folder}/" for folder in folders))
        if path.endswith(".py") and below and "/migrations/" not in path:
            yield path, parse(text)


def module_of(path: str) -> str:
    """Return the dotted name of a file: `collection/views/__init__.py` is `collection.views`."""
    return path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")


def modules(files: Files) -> dict[str, str]:
    """Return path by dotted name for the two packages of the project."""
    return {module_of(path): path for path, _ in python_files(files, "collection", "leveling")}


def imports(path: str, tree: ast.Module, known: Mapping[str, str]) -> list[Import]:
    """Return what one file imports, each as deep as `known` says that it is a module."""
    return list(_below(tree, path, known, "", False))


def _below(node: ast.AST, path: str, known: Mapping[str, str], function: str, typing_only: bool) -> Iterator[Import]:
    for child in ast.iter_child_nodes(node):
        inside, typing = function, typing_only
        if isinstance(child, Function):
            inside = f"{node.name}.{child.name}" if isinstance(node, ast.ClassDef) else child.name
        elif isinstance(child, ast.If):
            typing = typing_only or "TYPE_CHECKING" in ast.unparse(child.test)
        elif isinstance(child, ast.Import | ast.ImportFrom):
            for target in _targets(child, path, known):
                yield Import(child.lineno, target, function, typing_only)
        yield from _below(child, path, known, inside, typing)


def _targets(node: ast.Import | ast.ImportFrom, path: str, known: Mapping[str, str]) -> list[str]:
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    origin = node.module or ""
    if node.level:
        package = path.removesuffix(".py").split("/")[: -node.level]
        origin = ".".join([*package, *filter(None, [node.module])])
    deep = [f"{origin}.{alias.name}" for alias in node.names]
    return sorted({name if name in known else origin for name in deep})


def top_functions(tree: ast.Module) -> Iterator[Function]:
    """Yield the functions at the top of a file, whose names do not start with an underscore."""
    for node in tree.body:
        if isinstance(node, Function) and not node.name.startswith("_"):
            yield node


def lines_of(node: Function | ast.ClassDef) -> int:
    """Return how many lines a definition takes, without its decorators."""
    return (node.end_lineno or node.lineno) - node.lineno + 1


def argument_names(function: Function) -> tuple[list[str], list[str]]:
    """Return the positional and the keyword-only arguments, without self and cls."""
    arguments = function.args
    positional = [a.arg for a in (*arguments.posonlyargs, *arguments.args) if a.arg not in ("self", "cls")]
    positional += [arguments.vararg.arg] if arguments.vararg else []
    keyword = [a.arg for a in arguments.kwonlyargs]
    keyword += [arguments.kwarg.arg] if arguments.kwarg else []
    return positional, keyword
