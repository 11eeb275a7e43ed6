"""Small files with one noun each. A limit is raised only in the commit that explains it."""

import ast

from rules_source import Files, Function, lines_of, python_files

FILE_LINES = 400
VIEW_LINES = 40
ENGINE_NAMES = 12
#: Words and refusals that every module shares may be more than one module's worth.
MANY_NAMES = ("leveling/units.py", "leveling/errors.py")

NOUNS = frozenset({
    "sites", "floors", "machines", "instruments", "surveys", "plans", "forecasts", "visits", "people",
    "today", "quick", "vials", "quick_checks", "invitations", "devices",
    "reports", "health", "history",
})  # fmt: skip
LAYERS_OF_NOUNS = ("models", "queries", "actions", "arrays", "forms", "views")
#: Files of a layer that are not a noun, each with its reason.
EXTRA_FILES = (
    ("models", "base", "what every row has: organization, key, version, who and when"),
    ("actions", "record", "what every action shares: author, refusals, the line in the history"),
    ("actions", "status", "the status row that every action remakes for the lists"),
    ("arrays", "plans_answers", "what the engine answers to a batch of leg-plan inputs"),
    ("arrays", "surveys_feet", "what someone found about the feet, to the stance that the engine reckons with"),
    ("arrays", "surveys_means", "what a survey was read with, as it keeps it"),
    ("arrays", "surveys_slopes", "one slope of the playfield from its readings, by what they were read with"),
    ("arrays", "surveys_twist", "roll at the front and at the rear, and whose twist it is where they differ"),
    ("arrays", "surveys_results", "what the engine says about a survey, as plain numbers and words"),
    ("arrays", "surveys_verdicts", "the shapes of a survey's errors and the verdicts by them"),
    ("arrays", "surveys_remedies", "what would decide a survey's verdict, or prove it after turning"),
    (
        "arrays",
        "response",
        "what a machine taught by its surveys and the turns between them, and what plans keep of it",
    ),
    ("queries", "surveys_remedies", "what would decide or prove a survey, in words"),
    ("queries", "surveys_working", "how the uncertainty of a slope came about, as its page opens it"),
    ("queries", "response", "the steps in a machine's record and what they taught"),
    ("queries", "response_words", "what a machine taught, and what was made of its turns, in words"),
    ("arrays", "offsets", "a machine's offset, learned from a survey where floor and legs are known"),
    ("arrays", "demo", "the invented operation's machines as they truly are, from the simulator"),
    ("queries", "machines_list", "machines as lists show them: which, in which order, how many of each verdict"),
    ("queries", "plans_page", "what the page of a leg plan shows, from its rows and answer"),
    ("queries", "plans_work", "a leg plan as a list of steps for the hands"),
    ("queries", "surveys_twist", "roll at both ends of a survey, and whose twist it is by another survey"),
    ("queries", "surveys_next", "what to do after a survey: one step, as the machine stands now"),
    ("queries", "history_words", "what people call the things and columns that lines of the history are about"),
    ("queries", "history_names", "the names of those things, asked for at once"),
    ("models", "guards", "the triggers by which the database itself refuses to change the record"),
    ("forms", "base", "what every form shares: the key of the write and the version edited"),
    ("forms", "merges", "what a page showed, and what is asked where two people changed one field"),
    ("queries", "edits", "who last wrote each column of a row, for a merge"),
    ("forms", "fields", "the fields with units and ranges that the nouns' forms are made of"),
    ("forms", "surveys_readings", "the rows of a survey's form, by what they were read with"),
    ("forms", "surveys_weights", "what four scales under the feet show: a part of the survey's form"),
    ("actions", "second_factor", "taking away what a person lost: rows of the account library, by command only"),
    ("forms", "second_factor", "codes and passkeys: the account library's forms in our words"),
    ("forms", "numbers", "the one strict parser of typed numbers"),
    ("views", "guide", "the public guide: words and pictures, with one example"),
    ("views", "doors", "who may come in, and how a form becomes an action"),
    ("views", "lists", "what every list of machines shares: the filters, the counts, the rows of one page"),
)


def size_faults(files: Files) -> list[str]:
    """Each Python file over its lines, and each view function over its own."""
    faults = []
    for path, tree in python_files(files):
        count = len(files[path].splitlines())
        if count > FILE_LINES:
            faults.append(f"{path}: {count} lines, at most {FILE_LINES}: split it")
        if path.startswith("collection/views/"):
            faults += [
                f"{path}:{node.lineno} {node.name}: {lines_of(node)} lines, at most {VIEW_LINES}"
                for node in ast.walk(tree)
                if isinstance(node, Function) and lines_of(node) > VIEW_LINES
            ]
    return faults


def engine_name_faults(files: Files) -> list[str]:
    """Each engine file with more public names than a reader can hold."""
    return [
        f"{path}: {len(names)} public names, at most {ENGINE_NAMES}: {', '.join(names)}"
        for path, tree in python_files(files, "leveling")
        if len(names := public_names(tree)) > ENGINE_NAMES and path not in MANY_NAMES
    ]


def public_names(tree: ast.Module) -> list[str]:
    """Return what a file defines for others: functions, classes and constants."""
    names: list[str] = []
    for node in tree.body:
        if isinstance(node, Function | ast.ClassDef):
            names.append(node.name)
        elif isinstance(node, ast.Assign):
            names += [target.id for target in node.targets if isinstance(target, ast.Name)]
        elif isinstance(node, ast.AnnAssign | ast.TypeAlias):
            names.append(ast.unparse(node.target if isinstance(node, ast.AnnAssign) else node.name))
    return [name for name in names if not name.startswith("_")]


def noun_faults(files: Files) -> list[str]:
    """Each file of a layer that is named after no noun of the glossary."""
    extras = {(layer, name) for layer, name, _ in EXTRA_FILES}
    faults = []
    for path in files:
        parts = path.removesuffix(".py").split("/")
        if parts[0] != "collection" or parts[1] not in LAYERS_OF_NOUNS or parts[-1] == "__init__":
            continue
        name = "/".join(parts[2:])
        if name not in NOUNS and (parts[1], name) not in extras:
            faults.append(f"{path}: {name} is not one of {', '.join(sorted(NOUNS))}")
    return faults
