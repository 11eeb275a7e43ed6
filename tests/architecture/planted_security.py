"""One planted fault for each rule about security: (rule, tree, words of the fault)."""

import rules_security as security

_VIEW = "collection/views/sites.py"
_PAGE = "templates/sites/list.html"
_HEAD = f"## {security.CHAPTER}\n\n| item | asks | held by |\n|---|---|---|\n"
_TESTS = {"tests/collection/test_logs.py": "def test_a_key(): ..."}


def _bold(number: str) -> str:
    return f"**{number}**" if number in security.FIRST else number


def _row(number: str, held: str = "`test_logs::test_a_key`") -> str:
    return f"| {_bold(number)} | something | {held} |\n"


_ALL = _HEAD + "".join(map(_row, security.NUMBERS))


def _with(old: str, new: str) -> dict[str, str]:
    assert old in _ALL
    return {**_TESTS, "DEVELOPERS.md": _ALL.replace(old, new)}


FAULTS = (
    (security.danger_faults, {_VIEW: "import subprocess"}, "imports subprocess"),
    (security.danger_faults, {_VIEW: "from urllib.request import urlopen"}, "imports urllib.request"),
    (security.danger_faults, {_VIEW: "def page(text):\n    return eval(text)"}, "calls eval"),
    (security.danger_faults, {_VIEW: "def page(text):\n    return Template(text)"}, "calls Template"),
    (security.danger_faults, {_VIEW: "def page(text):\n    return mark_safe(text)"}, "only drawings"),
    (security.template_faults, {_PAGE: "<p>\n{{ name|safe }}"}, "list.html:2: |safe"),
    (security.template_faults, {_PAGE: "{% autoescape off %}"}, "autoescape"),
    (security.standard_faults, {}, "no row for 1.1.1"),
    (security.standard_faults, _with(_row("3.4.1"), ""), "no row for 3.4.1"),
    (security.standard_faults, _with(_row("3.4.1"), _row("3.4.1") + _row("3.4.1")), "3.4.1 twice"),
    (security.standard_faults, _with(_row("3.4.1"), _row("3.4.1") + _row("3.4.9")), "3.4.9 is no item"),
    (security.standard_faults, _with("**3.4.1**", "3.4.1"), "bold is for level 1"),
    (security.standard_faults, _with(_row("3.4.1"), _row("3.4.1", "it is so")), "neither a test nor a reason"),
    (security.standard_faults, _with(_row("3.4.1"), _row("3.4.1", "`test_gone`")), "names test_gone"),
    (security.standard_faults, _with(_row("3.4.1"), _row("3.4.1", "`test_logs::test_b`")), "test_logs::test_b"),
)

INNOCENT = (
    (security.danger_faults, {_VIEW: "import re\nfrom urllib.parse import urlsplit\nP = re.compile('a')"}),
    (security.danger_faults, {"collection/figures/svg.py": "EMPTY = mark_safe('')"}),
    (security.template_faults, {_PAGE: "{{ name }}{# |safe #}".replace("|safe", "")}),
    (security.standard_faults, {**_TESTS, "DEVELOPERS.md": _ALL}),
    (security.standard_faults, _with(_row("3.4.1"), _row("3.4.1", "Reason: a proxy does it"))),
)
