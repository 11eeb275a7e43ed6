"""Takes away each check that keeps people apart, one at a time, and asks whether the walk notices.

    uv run python tests/harness/mutants.py [--only WORDS] [--part NAME] [--few] [--jobs N] [--verbose]

A walk of the whole app as it is tells first which requests run which lines. Then each mutant gets a process and a copy
of the book of its own, and those requests. Prints each survivor, and a table by kind; the last line is JSON, and the
exit code is 1 if a mutant survives that `EQUIVALENT` does not explain.
"""

import argparse
import importlib.abc
import importlib.machinery
import json
import logging
import os
import shutil
import signal
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from pathlib import Path
from types import ModuleType
from typing import Any

if __name__ == "__main__":  # run as a file, Django is not ready yet and this folder is on the path
    sys.path[0] = str(Path(__file__).resolve().parents[2])
    from tests.harness.isolation_stage import set_up

    set_up()

from django.conf import settings
from django.core.management import call_command
from django.db import connection, transaction
from django.test import Client
from django.test.utils import setup_test_environment
from django.urls import Resolver404, clear_url_caches, resolve

from tests import conftest
from tests.harness.isolation_mutations import NO_SITES, PROJECT, Mutation, mutations
from tests.harness.isolation_stage import frozen, say
from tests.harness.isolation_steps import all_steps
from tests.harness.isolation_walk import Step, Walk, faults_of
from tests.harness.isolation_world import TwoBooks, two_books

#: Survivors that change nothing anyone could see, by what their name begins with after the path, each with the reason.
EQUIVALENT = {
    f"{function}: {NO_SITES}": "asked below a site, floor, bay or machine that `access` let the reader in to"
    for function in ("floors_of", "bays_of", "machines_on", "machines_of", "standing_surveys", "plans_of")
} | {
    f"unfinished_plan: {NO_SITES}": "asked by the key in the status of a machine that `access` let the reader in to",
    "close_report: without its organization": "asked by the key of a report that `access` let the member in to",
    "report_problem: without its organization": "asked by the key of a label that its secret opened",
}
WRITERS_ONLY = "no request of a site viewer runs it: its pages are closed to them, which other mutants show"
#: Who runs a line: a site viewer among others, or anyone.
READERS, READER, ANYONE = ("vera", "walt"), "reader", "anyone"
#: What is walked for the mutants of a few pages.
FEW = ("GET site as", "GET sites as", "GET invitation_new as alice", "a reader reads one site")
FATES = ("caught", "equivalent", "survived")
#: Modules that a mutant gets anew; tables cannot be made twice, so a change there is put into the running function.
ANEW = ("access", "actions", "adapters", "arrays", "forms", "middleware", "queries", "urls", "views")


class Mutated(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Gives the changed module in the place of the file."""

    def __init__(self, mutation: Mutation) -> None:
        self.mutation = mutation

    def find_spec(self, name: str, path: Any, target: Any = None) -> importlib.machinery.ModuleSpec | None:
        """Take over that one module."""
        if name != self.mutation.module:
            return None
        return importlib.machinery.ModuleSpec(name, self, origin=str(PROJECT / self.mutation.path))

    def exec_module(self, module: ModuleType) -> None:
        """Run the changed file."""
        exec(compile(self.mutation.tree, self.mutation.path, "exec"), module.__dict__)


def put_in_place(mutation: Mutation) -> None:
    """Let this process run the mutant."""
    if mutation.module.startswith("collection.models."):
        _put_into_running(mutation)
        return
    for name in [name for name in sys.modules if name.startswith("collection.") and name.split(".")[1] in ANEW]:
        del sys.modules[name]
    sys.meta_path.insert(0, Mutated(mutation))
    clear_url_caches()


def _put_into_running(mutation: Mutation) -> None:
    """Give the one changed method of a table's class its new code."""
    fresh: dict[str, Any] = {}
    code = compile(mutation.tree, mutation.path, "exec")
    waiting = [code]
    while waiting:
        found = waiting.pop()
        if found.co_name == mutation.function:
            fresh[mutation.function] = found
        waiting += [each for each in found.co_consts if hasattr(each, "co_name")]
    for owner in vars(sys.modules[mutation.module]).values():
        method = vars(owner).get(mutation.function) if isinstance(owner, type) else None
        function = getattr(method, "fget", method)
        if function is not None:
            function.__code__ = fresh[mutation.function]


def recorded(walk: Walk, steps: list[Step]) -> tuple[dict[str, set[int]], dict[tuple[str, int, str], set[int]]]:
    """Run the steps as the app is; return which of them ask for which view, and which run which line."""
    by_view: dict[str, set[int]] = defaultdict(set)
    by_line: dict[tuple[str, int, str], set[int]] = defaultdict(set)
    current = [0]
    folder = f"{PROJECT}/collection/"

    def line_run(code: Any, line: int) -> Any:
        if not code.co_filename.startswith(folder):
            return sys.monitoring.DISABLE
        path = code.co_filename.removeprefix(f"{PROJECT}/")
        by_line[path, line, ANYONE].add(current[0])
        if walk.asking in READERS:
            by_line[path, line, READER].add(current[0])
        return None

    def heard(who: Any, request: str, answer: Any) -> None:
        try:
            view = resolve(request.split(" ")[1].split("?")[0]).func
        except Resolver404:
            return
        by_view[f"{view.__module__}.{view.__name__}"].add(current[0])

    monitoring, tool = sys.monitoring, sys.monitoring.COVERAGE_ID
    monitoring.use_tool_id(tool, "mutants")
    monitoring.register_callback(tool, monitoring.events.LINE, line_run)
    monitoring.set_events(tool, monitoring.events.LINE)
    walk.heard = heard
    for number, step in enumerate(steps):
        current[0] = number
        if faults := step.run(walk):
            raise SystemExit(f"the app as it is deviates: {step.name}: {faults[0]}")
    walk.heard = None
    monitoring.set_events(tool, 0)
    monitoring.free_tool_id(tool)
    return by_view, by_line


def telling(mutation: Mutation, steps: list[Step], by_view: Any, by_line: Any) -> list[Step]:
    """The steps that run what a mutant changes, those that tell most first."""
    if mutation.of_a_view:
        found = set(by_view[f"{mutation.module}.{mutation.function}"])
    else:
        who = READER if mutation.kind == NO_SITES else ANYONE
        found = set().union(*(by_line[mutation.path, line, who] for line in mutation.lines))
    chosen = [steps[number] for number in sorted(found)]
    return sorted(chosen, key=lambda step: (step.part != "sendings", "alice" in step.name))


def apart(work: Callable[[], str]) -> Any:
    """Do something in a process of its own; return the pipe that tells what it said."""
    reader, writer = os.pipe()
    if os.fork():
        os.close(writer)
        return os.fdopen(reader)
    try:
        told = work()
    except BaseException as error:
        told = f"it breaks: {type(error).__name__}: {error}"
    with os.fdopen(writer, "w") as pipe:
        pipe.write(told)
    os._exit(0)


def against(mutation: Mutation, books: TwoBooks, steps: list[Step]) -> str:
    """Run the steps against a mutant in a copy of the book; return the fault that gave it away, or ""."""
    copy = Path(settings.DATA_DIR) / f"mutant-{os.getpid()}.sqlite3"
    shutil.copy(connection.settings_dict["NAME"], copy)
    connection.settings_dict["NAME"] = str(copy)
    put_in_place(mutation)
    try:
        with transaction.atomic():
            found = faults_of(Walk(books, client=Client(raise_request_exception=False)), steps, most=1)
            transaction.set_rollback(True)
    finally:
        connection.close()
        for path in copy.parent.glob(f"{copy.name}*"):
            path.unlink()
    return found[0][:300] if found else ""


def reason_for(mutation: Mutation, steps: list[Step]) -> str:
    """Why a survivor changes nothing; "" if nobody knows."""
    if mutation.kind == NO_SITES and not steps:
        return WRITERS_ONLY
    return next((why for name, why in EQUIVALENT.items() if name in mutation.name), "")


def run(asked: Any) -> int:
    """Try the mutants; return the exit code."""
    with transaction.atomic():
        books = two_books()
        steps = all_steps(books, short=True)
    if asked.few:
        steps = [step for step in steps if any(words in step.name for words in FEW)]
    steps = [step for step in steps if asked.part in ("", step.part)]
    walk, began = Walk(books), time.perf_counter()
    with transaction.atomic():
        by_view, by_line = recorded(walk, steps)
    connection.close()
    every = [(each, telling(each, steps, by_view, by_line)) for each in mutations() if asked.only in each.name]
    say(f"{len(steps)} steps recorded in {time.perf_counter() - began:.0f} s; {len(every)} mutants")
    began = time.perf_counter()
    slices = [every[job :: asked.jobs] for job in range(asked.jobs)]
    pipes = [apart(lambda part=part: fates(part, books, asked.verbose)) for part in slices]
    told = [json.loads(line) for pipe in pipes for line in pipe.read().splitlines()]
    by_kind: dict[str, Counter[str]] = defaultdict(Counter)
    for kind, fate in told:
        by_kind[kind][fate] += 1
    for kind, found in sorted(by_kind.items()):
        say(f"{kind:45.45} " + " ".join(f"{found[fate]:4} {fate}" for fate in FATES))
    counts = {fate: sum(found[fate] for found in by_kind.values()) for fate in FATES}
    say(json.dumps({"mutants": len(told), **counts, "seconds": round(time.perf_counter() - began)}))
    return bool(counts["survived"] or len(told) != len(every))


def fates(work: list[tuple[Mutation, list[Step]]], books: TwoBooks, verbose: bool) -> str:
    """Try some mutants one after the other; return kind and fate of each as lines of JSON."""
    lines = []
    for mutation, steps in work:
        told = apart(lambda mutation=mutation, steps=steps: against(mutation, books, steps)).read() if steps else ""
        why = "" if told else reason_for(mutation, steps)
        fate = "caught" if told else "equivalent" if why else "survived"
        if fate == "survived" or verbose:
            say(f"{fate:10} {mutation.name} | {told or why or f'{len(steps)} steps'}")
        lines.append(json.dumps([mutation.kind, fate]))
    return "\n".join(lines)


def main(arguments: Iterable[str] | None = None) -> int:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="")
    parser.add_argument("--part", default="", help="walk one part alone, such as chains")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--few", action="store_true", help="walk the pages of sites alone")
    parser.add_argument("--verbose", action="store_true")
    asked = parser.parse_args(list(arguments) if arguments is not None else None)
    logging.disable(logging.CRITICAL)
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for a mutant's process: its pipe tells
    options = connection.settings_dict["OPTIONS"]
    options["init_command"] = options["init_command"].replace("synchronous=FULL", "synchronous=OFF")
    call_command("migrate", verbosity=0)
    conftest.pytest_configure()
    setup_test_environment()
    with frozen():
        return run(asked)


if __name__ == "__main__":
    sys.exit(main())
