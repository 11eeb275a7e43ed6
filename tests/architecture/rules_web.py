"""Writes are verbs with keywords, reads write nothing and ask nothing later, forms are plain."""

import ast

from rules_source import Files, argument_names, python_files, top_functions

#: Calls that write rows. `update`, `create`, `delete` count only on rows, since dictionaries have them too.
WRITES = frozenset({"save", "bulk_create", "bulk_update", "get_or_create", "update_or_create"})
WRITES_ON_ROWS = frozenset({"update", "create", "delete"})
ENDING = ".fetch_mode(models.FETCH_RAISE)"
#: Files of `actions` that are no actions, each with its reason.
HELPERS = (("collection/actions/record.py", "called inside the transaction of every action"),)
READERS = ("collection/views", "collection/queries", "collection/forms", "collection/templatetags")
#: A ModelForm queries and changes rows while it validates; the admin site goes round actions and history.
BANNED = ("ModelForm", "modelform_factory", "modelformset_factory", "inlineformset", "contrib.admin")


def action_faults(files: Files) -> list[str]:
    """Each public action that takes an argument by position or does not run as one transaction."""
    helpers = {path for path, _ in HELPERS}
    faults = []
    for path, tree in python_files(files, "collection/actions"):
        for function in top_functions(tree) if path not in helpers else ():
            positional, _ = argument_names(function)
            where = f"{path}:{function.lineno} {function.name}"
            if positional:
                faults.append(f"{where}: {', '.join(positional)} by position; actions take keywords only")
            if not any("atomic" in ast.unparse(node) for node in _transactions(function)):
                faults.append(f"{where}: not atomic")
    return faults


def reader_faults(files: Files) -> list[str]:
    """Each write in a view, query, form or template tag."""
    return [
        f"{path}:{node.lineno} {ast.unparse(node.func)}: rows are written by actions only"
        for path, tree in python_files(files, *READERS)
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and _writes(node.func)
    ]


def fetch_faults(files: Files) -> list[str]:
    """Each public query that returns a QuerySet and does not end in `.fetch_mode(models.FETCH_RAISE)`."""
    faults = []
    for path, tree in python_files(files, "collection/queries"):
        for function in top_functions(tree):
            if "QuerySet" not in ast.unparse(function.returns or ast.Constant(None)):
                continue
            returned = [node.value for node in ast.walk(function) if isinstance(node, ast.Return)]
            if not returned or not all(_ends_in_fetch_raise(value) for value in returned):
                faults.append(f"{path}:{function.lineno} {function.name}: not ending in {ENDING}")
    return faults


def banned_faults(files: Files) -> list[str]:
    """Each name in `collection` that would go round forms, actions or history."""
    return [
        f"{path}: uses {name}"
        for path, _ in python_files(files, "collection")
        for name in BANNED
        if name in files[path]
    ]


def _transactions(function: ast.FunctionDef | ast.AsyncFunctionDef) -> list[ast.expr]:
    withs = [node for node in ast.walk(function) if isinstance(node, ast.With)]
    return [*function.decorator_list, *(item.context_expr for node in withs for item in node.items)]


def _writes(called: ast.Attribute) -> bool:
    if called.attr in WRITES:
        return True
    return called.attr in WRITES_ON_ROWS and "objects" in ast.unparse(called.value)


def _ends_in_fetch_raise(value: ast.expr | None) -> bool:
    return (
        isinstance(value, ast.Call)
        and isinstance(value.func, ast.Attribute)
        and value.func.attr == "fetch_mode"
        and [ast.unparse(argument).split(".")[-1] for argument in value.args] == ["FETCH_RAISE"]
    )
