"""An engine docstring is a data sheet, and an engine function is pure."""

import ast
import re
from collections.abc import Iterator

from rules_source import Files, Function, argument_names, python_files, top_functions

#: Functions that take more than two arguments by position, each with its reason.
BY_POSITION = (
    ("leveling/checks.py", "last_axis", "stands on the first lines of every function, always in this order"),
    ("leveling/checks.py", "one_of", "stands on the first lines of every function, always in this order"),
)
MOST_ARGUMENTS = 6
MOST_RESULTS = 2

_UNIT = re.compile(r"\[[^\]]+\]")
_SHAPE = re.compile(r"\bshape \(|\bscalar\b")
_HEADING = re.compile(r"^(\w[\w ]*)\n-{3,}$", re.MULTILINE)


def sections(docstring: str) -> dict[str, str]:
    """Return the text below each underlined heading; the text before the first is under ""."""
    pieces = _HEADING.split(docstring)
    return {"": pieces[0], **dict(zip(pieces[1::2], pieces[2::2], strict=True))}


def entries(section: str) -> dict[str, str]:
    """Return the header line by name for each entry of a Parameters or Attributes section."""
    found = {}
    for line in section.splitlines():
        names, colon, _ = line.partition(" : ")
        if colon and not line.startswith(" "):
            found.update({name.strip().lstrip("*"): line for name in names.split(",")})
    return found


def docstring_faults(files: Files) -> list[str]:
    """Each public engine function or class whose data sheet has a gap."""
    faults = []
    for path, tree in python_files(files, "leveling"):
        if not ast.get_docstring(tree):
            faults.append(f"{path}: the file does not say what it is for")
        for function in top_functions(tree):
            faults += [f"{path}:{function.lineno} {function.name}: {gap}" for gap in _function_gaps(function)]
        for node in _public_classes(tree):
            faults += [f"{path}:{node.lineno} {node.name}: {gap}" for gap in _class_gaps(node)]
    return faults


def signature_faults(files: Files) -> list[str]:
    """Each public engine function with too many arguments, by position or at all, or too many results."""
    allowed = {(path, name) for path, name, _ in BY_POSITION}
    faults = []
    for path, tree in python_files(files, "leveling"):
        for function in top_functions(tree):
            positional, keyword = argument_names(function)
            where = f"{path}:{function.lineno} {function.name}"
            if len(positional) > 2 and (path, function.name) not in allowed:
                faults.append(f"{where}: {len(positional)} arguments by position; beyond two, keyword-only")
            if len(positional + keyword) > MOST_ARGUMENTS:
                faults.append(f"{where}: more than {MOST_ARGUMENTS} arguments; take a frozen dataclass")
            if _results(function) > MOST_RESULTS:
                faults.append(f"{where}: more than {MOST_RESULTS} results; return a frozen dataclass")
    return faults


def purity_faults(files: Files) -> list[str]:
    """Each dataclass that can change, and each use of a file, the terminal, a global or NumPy's own dice."""
    faults = []
    for path, tree in python_files(files, "leveling"):
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef):
                marks = [ast.unparse(mark) for mark in node.decorator_list]
                if any("dataclass" in mark and "frozen=True" not in mark for mark in marks):
                    faults.append(f"{path}:{node.lineno} {node.name}: a dataclass that is not frozen")
            elif isinstance(node, ast.Global):
                faults.append(f"{path}:{node.lineno}: a global that changes: {', '.join(node.names)}")
            elif isinstance(node, ast.Call) and ast.unparse(node.func) in ("open", "print", "input"):
                faults.append(f"{path}:{node.lineno}: calls {ast.unparse(node.func)}")
            elif isinstance(node, ast.Attribute) and re.fullmatch(
                r"(np|numpy)\.random\.(?!Generator$)\w+", ast.unparse(node)
            ):
                faults.append(f"{path}:{node.lineno}: {ast.unparse(node)}: take `rng` as an argument")
    return faults


def _function_gaps(function: Function) -> Iterator[str]:
    docstring = ast.get_docstring(function)
    if not docstring:
        yield "no docstring"
        return
    parts = sections(docstring)
    positional, keyword = argument_names(function)
    yield from _argument_gaps([*positional, *keyword], entries(parts.get("Parameters", "")))
    returns = parts.get("Returns", "")
    if not (function.returns and ast.unparse(function.returns) == "None"):
        if not _SHAPE.search(returns):
            yield "Returns names no shape"
        if not _UNIT.search(returns):
            yield "Returns names no [unit]"
    raises = parts.get("Raises", "")
    if not raises.strip():
        yield "no Raises"
    yield from (f"raises {name} without saying so" for name in _raised(function) - _words(raises))
    if ">>> " not in parts.get("Examples", ""):
        yield "no example that runs"
    if not parts.get("References", "").strip():
        yield "no References"


def _argument_gaps(names: list[str], documented: dict[str, str]) -> Iterator[str]:
    for name in names:
        header = documented.get(name)
        if header is None:
            yield f"argument {name} is not documented"
        elif not _SHAPE.search(header):
            yield f"argument {name} has no shape"
        elif not _UNIT.search(header):
            yield f"argument {name} has no [unit]"
    yield from (f"documents {name}, which is no argument" for name in documented if name not in names)


def _class_gaps(node: ast.ClassDef) -> Iterator[str]:
    """A class names every field, its shape and its [unit]; one that checks itself says what it raises."""
    docstring = ast.get_docstring(node)
    if not docstring:
        yield "no docstring"
        return
    fields = [item.target.id for item in node.body if isinstance(item, ast.AnnAssign) and _is_public(item)]
    words = _words(docstring)
    yield from (f"field {name} is not documented" for name in fields if name not in words)
    if fields and not _SHAPE.search(docstring):
        yield "names no shape"
    if fields and not _UNIT.search(docstring):
        yield "names no [unit]"
    for item in node.body:
        if not isinstance(item, Function):
            continue
        if item.name == "__post_init__" and "raises" not in docstring.lower():
            yield "checks itself, but does not say what it raises"
        if not item.name.startswith("_") and not _UNIT.search(ast.get_docstring(item) or ""):
            yield f"{item.name} does not say its [unit]"


def _public_classes(tree: ast.Module) -> list[ast.ClassDef]:
    return [node for node in tree.body if isinstance(node, ast.ClassDef) and not node.name.startswith("_")]


def _is_public(item: ast.AnnAssign) -> bool:
    return isinstance(item.target, ast.Name) and not item.target.id.startswith("_")


def _results(function: Function) -> int:
    """Return how many things a function returns, by its annotation."""
    returned = function.returns
    if isinstance(returned, ast.Subscript) and ast.unparse(returned.value) == "tuple":
        inside = returned.slice.elts if isinstance(returned.slice, ast.Tuple) else [returned.slice]
        return 1 if any(ast.unparse(item) == "..." for item in inside) else len(inside)
    return 1


def _raised(function: Function) -> set[str]:
    """Return the names of the errors that a function raises itself; `raise error` again is no new one."""
    raised = [node.exc for node in ast.walk(function) if isinstance(node, ast.Raise) and node.exc]
    names = {ast.unparse(error.func if isinstance(error, ast.Call) else error) for error in raised}
    return {name.split(".")[-1] for name in names if name.split(".")[-1][:1].isupper()}


def _words(text: str) -> set[str]:
    return set(re.findall(r"\w+", text))
