"""What may lie in the repository, which words may not, and that the pins are what is installed."""

import re
import tomllib
from collections.abc import Iterable, Mapping

from packaging.markers import Marker
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from rules_source import Files

TOP = frozenset({
    ".ci", ".gitignore", ".python-version", "DEVELOPERS.md", "LICENSE", "README.md", "collection", "leveling",
    "manage.py", "pyproject.toml", "templates", "tests",
})  # fmt: skip

# Each word is cut by a "~", so that this file does not hold what it looks for.
_HOSTS = ("py~pi.org", "python~hosted", "npm~js.com", "npm~js.org", "deb.deb~ian.org")
_PLACES = ("/wo~rk/", "/ro~ot/", "/t~mp/", "/ho~me/")
_TOOLS = (
    "clau~de", "anthro~pic", "chat~gpt", "open~ai", "co~pilot", "language~ model", "l~lm", "ai~ assistant",
    "ai-~generated", "ai~ generated", "sub~agent", "sub-~agent", "coding~ agent", "co-authored~-by",
)  # fmt: skip
#: Papers that a reader of the repository does not have.
_PAPERS = (
    "DES~IGN.md", "HOUSE~_RULES", "LO~OK.md", "LIBRA~RIES.md", "RELIA~BILITY.md", "CHECK~_VALUES", "RU~LES.md",
)  # fmt: skip


def _any_of(words: Iterable[str]) -> str:
    return "|".join(re.escape(word.replace("~", "")) for word in words)


_PATTERNS = {
    "a registry's host": re.compile(_any_of(_HOSTS), re.IGNORECASE),
    "a path of one machine": re.compile(
        rf"(?<![\w.~-])(?<!pk>)(?:{_any_of(_PLACES)})"
    ),  # an address of ours goes on after pk>
    "a word about how it was made": re.compile(rf"\b(?:{_any_of(_TOOLS)})\b", re.IGNORECASE),
    "a paper that is not here": re.compile(rf"\b(?:{_any_of(_PAPERS)})"),
}


def place_faults(paths: Iterable[str]) -> list[str]:
    """Each name at the top of the repository that is not agreed, and any lock file."""
    tops = sorted({path.split("/")[0] for path in paths} - TOP)
    faults = [f"{name}: not one of the names at the top" for name in tops]
    locks = [path for path in paths if path.split("/")[-1] in ("uv.lock", "package-lock.json", "poetry.lock")]
    return faults + [f"{path}: a lock file records download addresses, pins do not" for path in locks]


def word_faults(files: Files) -> list[str]:
    """Each line that names a registry, a machine or how the project was made."""
    return [
        f"{path}:{number} names {what}: {found.group()}"
        for path, text in files.items()
        for what, pattern in _PATTERNS.items()
        if pattern.search(text)
        for number, line in enumerate(text.splitlines(), 1)
        for found in pattern.finditer(line)
    ]


def pin_faults(pyproject: str, installed: Mapping[str, str]) -> list[str]:
    """Each difference between the pins and what is installed, by canonical name."""
    table = tomllib.loads(pyproject)
    pins = [Requirement(line) for line in table["tool"]["uv"]["constraint-dependencies"]]
    here = {canonicalize_name(pin.name): str(pin.specifier) for pin in pins if _applies(pin.marker)}
    faults = [f"{name}: {pin or 'nothing'} is no pin" for name, pin in here.items() if pin[:2] != "=="]
    for name, version in installed.items():
        if name not in here:
            faults.append(f"{name} {version} is installed without a pin")
        elif here[name] != f"=={version}":
            faults.append(f"{name} {version} is installed, but the pin is {here[name]}")
    faults += [f"{name} is pinned, but not installed" for name in here if name not in installed]
    asked = [*table["project"]["dependencies"], *table["dependency-groups"]["dev"]]
    names = {canonicalize_name(pin.name) for pin in pins}
    missing = [line for line in asked if canonicalize_name(Requirement(line).name) not in names]
    return faults + [f"{line} is asked for without a pin" for line in missing]


def _applies(marker: Marker | None) -> bool:
    return marker is None or marker.evaluate()
