"""What lies in the repository, which settings it reads, and whether the pins are what is installed."""

from importlib.metadata import distributions

import pytest
from packaging.utils import canonicalize_name
from rules_documents import settings_read
from rules_source import project, tracked_paths
from rules_tree import pin_faults, place_faults

from collection import environment

_PYPROJECT = """
[project]
dependencies = ["NumPy>=2", "scipy"]
[dependency-groups]
dev = ["pytest"]
[tool.uv]
constraint-dependencies = ["numpy==2.5.5", "scipy==1.18.1", "pytest==9.2.0", "colorama==1.0 ; sys_platform == 'never'"]
"""
_INSTALLED = {"numpy": "2.5.5", "scipy": "1.18.1", "pytest": "9.2.0"}


def test_only_the_agreed_names_lie_at_the_top_and_no_lock_file_is_tracked() -> None:
    assert place_faults(tracked_paths()) == []


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("notes.txt", "notes.txt: not one of the names"),
        ("scripts/run.sh", "scripts: not one of the names"),
        ("uv.lock", "uv.lock: a lock file"),
        ("tests/data/package-lock.json", "a lock file"),
    ],
)
def test_a_stray_name_or_a_lock_file_is_named(path: str, words: str) -> None:
    assert words in "\n".join(place_faults(["README.md", path]))


def test_what_is_installed_is_what_is_pinned() -> None:
    """A dependency added without a pin comes in unpinned, so both directions are compared."""
    installed = {canonicalize_name(found.name): found.version for found in distributions()}
    assert pin_faults(project()["pyproject.toml"], installed) == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"numpy": "2.5.6"}, "numpy 2.5.6 is installed, but the pin is ==2.5.5"),
        ({"stray": "1.0"}, "stray 1.0 is installed without a pin"),
        ({"colorama": "1.0"}, "colorama 1.0 is installed without a pin"),  # the pin is for another system
    ],
)
def test_a_difference_from_the_pins_is_named(change: dict[str, str], words: str) -> None:
    assert words in pin_faults(_PYPROJECT, {**_INSTALLED, **change})


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"scipy==1.18.1"', '"scipy>=1.18.1"', "scipy: >=1.18.1 is no pin"),
        ('"scipy==1.18.1", ', "", "scipy is asked for without a pin"),
        ('"scipy==1.18.1"', '"scipy==1.18.1", "old==1.0"', "old is pinned, but not installed"),
    ],
)
def test_a_loose_missing_or_stale_pin_is_named(old: str, new: str, words: str) -> None:
    assert old in _PYPROJECT
    assert words in pin_faults(_PYPROJECT.replace(old, new), _INSTALLED)


def test_matching_pins_pass() -> None:
    assert pin_faults(_PYPROJECT, _INSTALLED) == []


def test_the_settings_rule_sees_every_name_that_the_settings_take() -> None:
    """The rule reads source text; this holds it against the names that are accepted when it runs."""
    assert environment.NAMES | {"DATABASE_URL"} <= settings_read(project())
