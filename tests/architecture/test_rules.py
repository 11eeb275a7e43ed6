"""Our habits, checked: each rule holds for the project, and each was shown to fail on a planted fault."""

from collections.abc import Callable, Iterator
from types import ModuleType

import planted_layers
import planted_pages
import planted_security
import planted_sheets
import pytest
import rules_documents
import rules_engine
import rules_layers
import rules_pages
import rules_security
import rules_sizes
import rules_tree
import rules_web
from rules_source import Files, project

Rule = Callable[[Files], list[str]]

_MODULES = (
    rules_layers, rules_sizes, rules_engine, rules_web, rules_pages, rules_documents, rules_tree, rules_security,
)  # fmt: skip
_PLANTED = (planted_layers, planted_sheets, planted_pages, planted_security)
#: These take something else than the tree; they are tested in test_rules_tree.py.
_ELSEWHERE = {"place_faults", "pin_faults"}


def _rules(module: ModuleType) -> Iterator[Rule]:
    for name, value in vars(module).items():
        if name.endswith("_faults") and not name.startswith("_") and name not in _ELSEWHERE:
            yield value


RULES = [rule for module in _MODULES for rule in _rules(module)]
FAULTS = [fault for module in _PLANTED for fault in module.FAULTS]
INNOCENT = [case for module in _PLANTED for case in module.INNOCENT]


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_the_project_keeps_the_rule(rule: Rule) -> None:
    if faults := rule(project()):
        pytest.fail("\n".join(faults), pytrace=False)


@pytest.mark.parametrize(("rule", "files", "words"), FAULTS, ids=lambda part: getattr(part, "__name__", ""))
def test_a_planted_fault_is_named(rule: Rule, files: Files, words: str) -> None:
    assert words in "\n".join(rule(files))


@pytest.mark.parametrize(("rule", "files"), INNOCENT, ids=lambda part: getattr(part, "__name__", ""))
def test_innocent_code_passes(rule: Rule, files: Files) -> None:
    assert rule(files) == []


def test_every_rule_was_shown_to_fail() -> None:
    assert {rule.__name__ for rule in RULES} == {rule.__name__ for rule, _, _ in FAULTS}


def test_the_rules_see_the_project() -> None:
    """A rule that looks at nothing finds nothing: the tree must hold each kind of file that the rules read."""
    files = project()
    for start in ("leveling/", "collection/views/", "collection/queries/", "collection/actions/", "templates/"):
        assert any(path.startswith(start) for path in files), start
