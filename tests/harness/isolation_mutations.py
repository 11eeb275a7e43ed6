"""Every place in the app that keeps people apart, found in its syntax tree, and the same file without it.

Taken away one at a time: each `.for_org(...)`; each `visible(...)`, both its organization and its sites; each condition
of `collection/access.py` and `collection/queries/people.py`; each `must_write` and `must_own`; each `write=True` and
`owner=True` of a view; each decorator that asks who it is; the checks in the doors, of the chosen organization, and of
whom a key belongs to; and what the roles of a member allow.
"""

import ast
import copy
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]
#: No request runs these.
LEFT_OUT = ("demo", "migrations", "management")
#: Files of which every condition counts, and functions elsewhere of which every `if` does.
CONDITIONS = ("collection/access.py", "collection/queries/people.py")
GUARDS = {
    "collection/views/doors.py": ("guarded", "author", "_twice"),
    "collection/views/people.py": ("organization_choose",),
    "collection/actions/record.py": ("already_done",),
    "collection/actions/people.py": ("found_organization",),
    "collection/queries/machines.py": ("_told_to",),
}
#: No request runs these: the demo looks for its own owner.
NO_REQUEST = ("user_by_email",)
CALLS = ("must_write", "must_own")
#: What asks who it is: of a stranger, and again of somebody before something that guards the account.
PROOFS = ("login_required", "reauthentication_required")
OPEN, NO_LOGIN, NO_SITES = "open to all", "without the login", "without its sites"


@dataclass(frozen=True)
class Mutation:
    """One change to one file: where, what was there, and the file's tree with it."""

    path: str
    lines: range
    function: str
    kind: str
    was: str
    tree: ast.Module

    @property
    def name(self) -> str:
        """How a report names it."""
        return f"{self.path}:{self.lines.start} {self.function}: {self.kind}: {self.was}"

    @property
    def module(self) -> str:
        """The module's name."""
        return self.path.removesuffix(".py").replace("/", ".")

    @property
    def of_a_view(self) -> bool:
        """Whether it changes who may enter a view at all, so that every request for that view tells."""
        return self.kind in (OPEN, NO_LOGIN)


def mutations() -> list[Mutation]:
    """Return all of them, in the order of the files."""
    return [
        mutation
        for path in sorted((PROJECT / "collection").rglob("*.py"))
        if not set(path.relative_to(PROJECT).parts) & set(LEFT_OUT)
        for mutation in _of_file(str(path.relative_to(PROJECT)), ast.parse(path.read_text()))
    ]


#: What a mutation makes of a node in a copy of its tree; None if there is nothing to take away.
Change = Callable[[ast.AST], ast.AST | None]


def _of_file(path: str, tree: ast.Module) -> Iterator[Mutation]:
    for place, (node, function, lines) in enumerate(_walk(tree)):
        if function in NO_REQUEST:
            continue
        for kind, change in _changes(path, function, node):
            mutant = copy.deepcopy(tree)
            target = list(_walk(mutant))[place][0]
            fresh = change(target)
            if fresh is not target and fresh is not None:
                _replace(mutant, target, fresh)
            ast.fix_missing_locations(mutant)
            words = ast.unparse(node).splitlines()[0][:100]
            yield Mutation(path, lines, getattr(node, "name", function), kind, words, mutant)


def _walk(tree: ast.Module) -> Iterator[tuple[ast.AST, str, range]]:
    """Every node with the function around it and the lines of its statement, always in the same order."""
    waiting: list[tuple[ast.AST, str, range]] = [(tree, "", range(0))]
    while waiting:
        node, function, lines = waiting.pop(0)
        if isinstance(node, ast.If):
            lines = range(node.test.lineno, (node.test.end_lineno or node.test.lineno) + 1)
        elif isinstance(node, ast.stmt):
            lines = range(node.lineno, (node.end_lineno or node.lineno) + 1)
        yield node, function, lines
        inner = node.name if isinstance(node, ast.FunctionDef) else function  # its decorators count to it
        waiting += [(child, inner, lines) for child in ast.iter_child_nodes(node)]


def _changes(path: str, function: str, node: ast.AST) -> Iterator[tuple[str, Change]]:
    match node:
        case ast.Call(func=ast.Attribute(attr="for_org")):
            yield "without its organization", _as_all
        case ast.Call(func=ast.Name(id="visible")) if path != "collection/access.py":
            yield "without organization and sites", _all_of_table
            yield NO_SITES, _of_organization
        case ast.Expr(value=ast.Call(func=ast.Name(id=name))) if name in CALLS:
            yield "without the check", lambda target: ast.copy_location(ast.Pass(), target)
        case ast.keyword(arg="write" | "owner", value=ast.Constant(value=True)):
            yield OPEN, _false
        case ast.FunctionDef(decorator_list=decorators):
            for each in [each for each in decorators if ast.unparse(each).split("(")[0] in PROOFS]:
                yield NO_LOGIN, _without_decorator(ast.unparse(each))
        case ast.Call(func=ast.Attribute(attr="filter"), keywords=keywords) if path in CONDITIONS:
            for number in range(len(keywords)):
                yield f"without {keywords[number].arg or 'its sites'}", _without_keyword(number)
            for number in range(len(node.args)):
                yield f"without {ast.unparse(node.args[number])}", _without_argument(number)
        case ast.Call(func=ast.Attribute(attr="none")) if path in CONDITIONS:
            yield "all instead of none", _as_all
        case ast.If():
            if path in CONDITIONS or function in GUARDS.get(path, ()):
                yield "never", _test(False)
                if path in CONDITIONS:
                    yield "always", _test(True)
        case ast.Return() if path == "collection/models/people.py" and function in ("may_write", "is_owner"):
            yield "always", lambda target: ast.copy_location(ast.Return(ast.Constant(True)), target)
        case ast.Return() if path == "collection/models/base.py" and function == "for_org":
            yield "without its organization", lambda target: ast.copy_location(ast.parse("return self").body[0], target)


def _as_all(node: ast.AST) -> ast.AST:
    """`rows.for_org(x)` as `rows.all()`."""
    node.func.attr, node.args = "all", []  # type: ignore[attr-defined]
    return node


def _all_of_table(node: ast.AST) -> ast.AST:
    """`visible(member, Table)` as every row of the table."""
    table = ast.unparse(node.args[1])  # type: ignore[attr-defined]
    return ast.parse(f"{table}._default_manager.all()", mode="eval").body


def _of_organization(node: ast.AST) -> ast.AST:
    """`visible(member, Table)` as every row of the member's organization."""
    member, table = (ast.unparse(each) for each in node.args)  # type: ignore[attr-defined]
    return ast.parse(f"{table}._default_manager.filter(organization_id={member}.organization_id)", mode="eval").body


def _false(node: ast.AST) -> ast.AST:
    node.value = ast.Constant(False)  # type: ignore[attr-defined]
    return node


def _test(value: bool) -> Change:
    def change(node: ast.AST) -> ast.AST:
        node.test = ast.Constant(value)  # type: ignore[attr-defined]
        return node

    return change


def _without_keyword(number: int) -> Change:
    def change(node: ast.AST) -> ast.AST:
        del node.keywords[number]  # type: ignore[attr-defined]
        return node

    return change


def _without_argument(number: int) -> Change:
    def change(node: ast.AST) -> ast.AST:
        del node.args[number]  # type: ignore[attr-defined]
        return node

    return change


def _without_decorator(words: str) -> Change:
    def change(node: ast.AST) -> ast.AST:
        node.decorator_list = [each for each in node.decorator_list if ast.unparse(each) != words]  # type: ignore[attr-defined]
        return node

    return change


def _replace(tree: ast.Module, target: ast.AST, fresh: ast.AST) -> None:
    """Put another node where one stands."""
    for parent in ast.walk(tree):
        for name, value in ast.iter_fields(parent):
            if value is target:
                setattr(parent, name, fresh)
            elif isinstance(value, list):
                setattr(parent, name, [fresh if each is target else each for each in value])
