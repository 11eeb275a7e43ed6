"""One planted fault for each rule about pages, documents and words: (rule, tree, words of the fault)."""

import rules_documents as documents
import rules_pages as pages
import rules_tree as tree

_PAGE = "templates/sites/list.html"
_INCLUDE = "templates/includes/_bar.html"
_DRAWING = "collection/static/collection/foot.svg"
_LISTED = "{% comment %}\nbar: a Bar\n{% endcomment %}\n<p>{{ bar }}</p>"
_SETTINGS = "collection/settings.py"
_COMMAND = "collection/management/commands/start.py"
_NAMES = 'PREFIX = "LEVELBOOK_"\nNAMES = frozenset(PREFIX + name for name in ("DATA", "HOSTS"))'
_GLOSSARY = "## Glossary\n\n" + "".join(f"| {word} | said |\n" for word in documents.WORDS)
_README = (
    "# Levelbook\n\n" + "It keeps machines level and says which legs to turn and how far. " * 3 + "\n\n"
    f"    {documents.DEMO_COMMAND}\n    {documents.TEST_COMMAND}\n\n"
    "Lift with two people, unplugged. The maker's manual comes first.\n"
)
_DEVELOPERS = "".join(f"## {name}\n\n" for name in documents.CHAPTERS)
_OPENING = {"README.md": _README, "DEVELOPERS.md": _DEVELOPERS}


def _opening(path: str, old: str, new: str) -> dict[str, str]:
    assert old in _OPENING[path]
    return {**_OPENING, path: _OPENING[path].replace(old, new)}


def _word(cut: str) -> dict[str, str]:
    return {"collection/views/sites.py": "# " + cut.replace("~", "")}


FAULTS = (
    (pages.inline_faults, {_PAGE: '<p>\n<b style="color: red">'}, "list.html:2: the attribute style"),
    (pages.inline_faults, {_PAGE: "<style>b {}</style>"}, "a <style> element"),
    (pages.inline_faults, {_PAGE: "<script>go()</script>"}, "a <script> without src"),
    (pages.inline_faults, {_PAGE: '<button onclick="go()">'}, "the attribute onclick"),
    (pages.inline_faults, {_PAGE: '<button hx-on:click="go()">'}, "the attribute hx-on:click"),
    (pages.inline_faults, {_PAGE: '<a href="javascript:go()">'}, "a script in href"),
    (pages.inline_faults, {_PAGE: "{% if x %}<i{% if y %} style='a'{% endif %}>{% endif %}"}, "the attribute style"),
    (pages.inline_faults, {_DRAWING: '<svg><path style="fill: red"/></svg>'}, "the attribute style"),
    (pages.drawing_faults, {"collection/templatetags/figures.py": "x = '<path style=\"a\">'"}, "draws 'style='"),
    (pages.drawing_faults, {"collection/figures/bars.py": "x = f'<g onclick={y}>'"}, "draws 'onclick='"),
    (pages.origin_faults, {_PAGE: '<script src="https://cdn.example.com/x.js">'}, "https://cdn.example.com"),
    (pages.origin_faults, {_PAGE: '<img src="//cdn.example.com/x.png">'}, "//cdn.example.com"),
    (pages.origin_faults, {"collection/static/collection/a.css": "@import 'http://a.example.org/b.css'"}, "a.example"),
    (pages.include_faults, {_INCLUDE: "<p>{{ bar }}</p>"}, "does not start with a comment"),
    (pages.include_faults, {"templates/includes/bar.html": _LISTED}, "an include's name starts with _"),
    (pages.include_faults, {_PAGE: '{% include "includes/_bar.html" with bar=b %}'}, "does not end with only"),
    (
        pages.include_faults,
        {_PAGE: '{% include "includes/_bar.html" with foo=b only %}', _INCLUDE: _LISTED},
        "passes foo, which the include does not list",
    ),
    (documents.settings_faults, {_SETTINGS: 'x = os.environ["SITE_NAME"]'}, "SITE_NAME is read"),
    (documents.settings_faults, {_SETTINGS: 'x = os.environ.get("SITE_NAME", "")'}, "SITE_NAME is read"),
    (documents.settings_faults, {_SETTINGS: 'x = environment.flag(os.environ, "SITE_OPEN")'}, "SITE_OPEN is read"),
    (documents.settings_faults, {"collection/environment.py": _NAMES}, "LEVELBOOK_HOSTS is read"),
    # A longer name that is documented does not document the shorter one.
    (
        documents.settings_faults,
        {_SETTINGS: 'x = os.environ["SITE_NAME"]', "README.md": "SITE_NAME_OLD"},
        "SITE_NAME is read",
    ),
    (documents.command_faults, {_COMMAND: "", "README.md": "manage.py started"}, "manage.py start: neither"),
    (documents.glossary_faults, {"DEVELOPERS.md": _GLOSSARY.replace("| twist |", "| turn |")}, "no entry for twist"),
    # The word elsewhere than in the glossary explains nothing.
    (
        documents.glossary_faults,
        {"DEVELOPERS.md": _GLOSSARY.replace("| twist |", "| turn |") + "\n## Map\n\n| twist | x |\n"},
        "no entry for twist",
    ),
    (documents.opening_faults, _opening("README.md", documents.TEST_COMMAND, "pytest"), "uv run pytest"),
    (documents.opening_faults, _opening("README.md", documents.DEMO_COMMAND, "demo"), "manage.py demo"),
    (documents.opening_faults, _opening("README.md", "two people", "care"), "no caution about 'two people'"),
    (documents.opening_faults, _opening("README.md", "# Levelbook\n\n", "# Levelbook\n\n- "), "one paragraph"),
    (documents.opening_faults, _opening("DEVELOPERS.md", "## Geometry\n", ""), "no chapter Geometry"),
    (tree.word_faults, _word("from py~pi.org"), "a registry's host"),
    (tree.word_faults, _word("see /wo~rk/main"), "a path of one machine"),
    (tree.word_faults, _word("in /t~mp/x"), "a path of one machine"),
    (tree.word_faults, _word("made with Clau~de"), "how it was made"),
    (tree.word_faults, _word("an A~I assistant said"), "how it was made"),
    (tree.word_faults, _word("see DES~IGN.md section 5"), "a paper that is not here"),
)

INNOCENT = (
    (
        pages.inline_faults,
        {_PAGE: '{# style="a" #}<script src="{% static "a.js" %}" defer></script><p class="{{ x }}" data-on="1">'},
    ),
    (pages.origin_faults, {_DRAWING: '<svg xmlns="http://www.w3.org/2000/svg"></svg>'}),
    (pages.include_faults, {_PAGE: '{% include "includes/_bar.html" with bar=b only %}', _INCLUDE: _LISTED}),
    (
        documents.settings_faults,
        {"collection/environment.py": _NAMES, "DEVELOPERS.md": "`LEVELBOOK_DATA`, `LEVELBOOK_HOSTS`"},
    ),
    (documents.command_faults, {_COMMAND: "", "README.md": "uv run manage.py start"}),
    (documents.glossary_faults, {"DEVELOPERS.md": _GLOSSARY}),
    (documents.opening_faults, _OPENING),
    (tree.word_faults, _word("var/lib, ~home/x, templates, a llama, django.contrib.sessions")),
)
