"""Imports point down, as DEVELOPERS.md, Map draws it; none in a circle, none inside a function.

urls -> views, api, tasks, management -> forms | actions -> queries -> access -> models
                                actions, queries -> arrays -> models, leveling -> numpy, scipy
"""

import ast
import sys
from graphlib import CycleError, TopologicalSorter

from rules_source import Files, Import, imports, module_of, modules, python_files

#: Every layer may use these: the engine's version, its units and its refusals.
SHARED = frozenset({"leveling", "leveling.units", "leveling.errors"})

#: A story gets its rows through `access` and may name their tables in its own words (see `manager_faults`).
_STORY = frozenset({"forms", "actions", "queries", "access", "models", "http", "presets"})
_BESIDE = frozenset({"actions", "queries", "access", "models", "http", "environment", "server"})

#: What each part of `collection` may import of the project, beside itself and SHARED.
BELOW = {
    "collection": frozenset(),
    "settings": frozenset({"environment"}),  # anything more would load models before Django is ready
    "environment": frozenset(),
    "wsgi": frozenset({"checks", "handlers"}),
    "handlers": frozenset(),
    "server": frozenset({"environment"}),  # what this machine tells: no rows
    "logs": frozenset(),  # the settings name it, and it runs before anything of ours
    "console": frozenset(),
    "urls": frozenset({"views", "api"}),
    "apps": frozenset({"checks", "signins"}),
    "signins": frozenset(),
    "checks": _BESIDE,
    "middleware": _BESIDE,
    "adapters": _BESIDE,
    "views": _STORY,
    "api": _STORY,
    "tasks": _STORY,
    "management": _STORY | {"demo", "checks"},
    # The invented operation does what people do, through the same actions; `arrays` simulates its floors.
    "demo": frozenset({"actions", "queries", "access", "models", "arrays", "presets"}),
    "http": frozenset({"access", "models"}),
    "assets": frozenset(),
    "templatetags": frozenset({"figures", "assets"}),  # shows what it is given: no rows, no arrays
    "figures": frozenset({"templatetags"}),
    "forms": frozenset({"presets"}),  # parsing and field errors only
    "presets": frozenset(),
    "actions": frozenset({"queries", "access", "models", "arrays", "routing", "presets"}),
    "queries": frozenset({"access", "models", "arrays", "routing", "presets", "server"}),
    "access": frozenset({"models"}),
    "arrays": frozenset({"models", "presets", "engine"}),
    "routing": frozenset(),
    "models": frozenset({"presets"}),  # the words of what a row may hold; presets import nothing of ours
}

#: Only these may ask a table for its rows.
ASK_TABLES = frozenset({"models", "access", "queries", "actions"})
MANAGERS = frozenset({"objects", "_default_manager", "_base_manager"})

#: Libraries behind one door each: the only parts of `collection` that may import them.
DOORS = {"numpy": ("arrays",), "scipy": ("arrays",), "pyvrp": ("routing",)}

#: The engine from the ground up; a module imports its own row and the rows before it.
#: A helper module is named after the one it serves: `turns_lattice` stands in the row of `turns`.
ENGINE_ROWS = (
    ("errors", "units", "checks", "frame"),
    ("instruments", "ballroll"),
    ("playfields", "floors", "support", "contact", "four_feet", "prediction", "standing"),
    ("turns", "response", "verdicts"),
    ("drift", "placement"),
    ("simulate",),
)

#: The engine has no clock, no files, no output and no randomness of its own.
IMPURE = frozenset({
    "asyncio", "datetime", "glob", "io", "logging", "multiprocessing", "os", "pathlib", "random", "secrets",
    "shutil", "socket", "sqlite3", "subprocess", "sys", "tempfile", "threading", "time", "urllib", "uuid",
})  # fmt: skip

PURE = (sys.stdlib_module_names - IMPURE) | {"numpy", "scipy"}


def layer_of(module: str) -> str:
    """Return the part of the project that a module belongs to, or "" for a library."""
    parts = module.split(".")
    if parts[0] == "collection":
        return parts[1] if len(parts) > 1 else "collection"
    if parts[0] == "leveling":
        return module if module in SHARED else "engine"
    return ""


def layer_faults(files: Files) -> list[str]:
    """Each import of `collection` that does not point down, and each part that has no row in the table."""
    parts = {layer_of(module): path for module, path in modules(files).items()}
    known = BELOW.keys() | {"engine", *SHARED}
    faults = [f"{path}: {part} is in no layer; give it a row" for part, path in parts.items() if part not in known]
    for path, layer, found in _imports_of(files):
        if layer not in BELOW:
            continue
        allowed = BELOW[layer] | SHARED | {layer}
        target = layer_of(found.target)
        if target and target not in allowed:
            faults.append(f"{path}:{found.line} imports {found.target}: not below {layer}")
    return faults


def manager_faults(files: Files) -> list[str]:
    """Each table asked for its rows above `access` and the queries."""
    return [
        f"{path}:{node.lineno} {ast.unparse(node)}: rows come from access, queries and actions"
        for path, tree in python_files(files, "collection")
        if layer_of(module_of(path)) not in ASK_TABLES
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and node.attr in MANAGERS
    ]


def door_faults(files: Files) -> list[str]:
    """Each import of a library that only one part of `collection` may know."""
    return [
        f"{path}:{found.line} imports {found.target}: only {', '.join(DOORS[library])} may"
        for path, layer, found in _imports_of(files)
        if (library := found.target.split(".")[0]) in DOORS and layer not in DOORS[library]
    ]


def engine_faults(files: Files) -> list[str]:
    """Each import of the engine beyond NumPy, SciPy, the pure standard library and the rows before it."""
    known = modules(files)
    faults = []
    for path, tree in python_files(files, "leveling"):
        own = _row(path.removeprefix("leveling/").removesuffix(".py"))
        if own is None:
            faults.append(f"{path}: in no row of the engine; name it after the module it serves or add a row")
            continue
        for found in imports(path, tree, known):
            root, _, rest = found.target.partition(".")
            row = _row(rest) if root == "leveling" else -1
            if root == "leveling" and (row is None or row > own):
                faults.append(f"{path}:{found.line} imports {found.target}, which builds on it")
            elif root != "leveling" and root not in PURE:
                faults.append(f"{path}:{found.line} imports {found.target}: the engine is pure")
    return faults


def cycle_faults(files: Files) -> list[str]:
    """The first circle of imports, if there is one."""
    known = modules(files)
    graph = {
        module_of(path): {i.target for i in imports(path, tree, known) if not i.typing_only} & known.keys()
        for path, tree in python_files(files, "collection", "leveling")
    }
    for module, targets in graph.items():
        if module in targets:
            return [f"{module} imports itself"]
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return [f"a circle of imports: {' <- '.join(error.args[1])}"]
    return []


def hidden_import_faults(files: Files) -> list[str]:
    """Each import inside a function, but in `ready` of an app: Django loads models only then."""
    known = modules(files)
    return [
        f"{path}:{found.line} imports {found.target} inside {found.function}"
        for path, tree in python_files(files)
        for found in imports(path, tree, known)
        if found.function and not (path == "collection/apps.py" and found.function.endswith("Config.ready"))
    ]


def package_faults(files: Files) -> list[str]:
    """Each import in an `__init__.py`; only the models need one, since Django looks for them there."""
    known = modules(files)
    return [
        f"{path}:{found.line} imports {found.target}: a package's own file holds words, not imports"
        for path, tree in python_files(files, "collection", "leveling")
        if path.endswith("/__init__.py") and path != "collection/models/__init__.py"
        for found in imports(path, tree, known)
    ]


def _imports_of(files: Files) -> list[tuple[str, str, Import]]:
    """Return path, layer and import for everything that `collection` imports."""
    known = modules(files)
    return [
        (path, layer_of(module_of(path)), found)
        for path, tree in python_files(files, "collection")
        for found in imports(path, tree, known)
    ]


def _row(name: str) -> int | None:
    """Return the row of an engine module by its name or by the name it begins with."""
    if name in ("", "__init__"):
        return 0
    for number, row in enumerate(ENGINE_ROWS):
        if name in row or name.split("_")[0] in row:
            return number
    return None
