"""Texts that nobody means to write, and what becomes of each in a field for words: kept as it is, or refused by name.

Spaces around a text mean nothing. Nothing else is ever taken out, turned or cut.
"""

from typing import Final

KEPT, REFUSED = True, False

#: What it is -> the text, and whether a field for words keeps it. One that is too long for its field is refused there.
TEXTS: Final[dict[str, tuple[str, bool]]] = {
    "NUL": ("Tern\x00Taproom", REFUSED),
    "NUL alone": ("\x00", REFUSED),
    "a control character": ("Tern\x07", REFUSED),
    "escape codes of a terminal": ("\x1b[31mTern", REFUSED),
    "a control character of the second row": ("Tern\x85Taproom", REFUSED),
    "a lone surrogate": ("Tern\ud800", REFUSED),
    "a pair of surrogates, each by itself": ("\ud83e\udd86", REFUSED),
    "what stands for bytes that were no text": ("Tern\ufffd", REFUSED),
    "what is never a character": ("Tern\uffff", REFUSED),
    "100,000 characters": ("a" * 100_000, REFUSED),
    "100,000 characters of four bytes": ("🦆" * 100_000, REFUSED),
    "a mark that turns text around": ("Tern\u202etxet", REFUSED),
    "a mark that sets text apart": ("Tern\u2066x\u2069", REFUSED),
    "zero width alone": ("\u200b", REFUSED),
    "joiners alone": ("\u200d\u2060\ufeff", REFUSED),
    "marks alone": ("\u0301\u0301", REFUSED),
    "letters that are blank": ("\u3164\u115f", REFUSED),
    "spaces alone": (" \t\u00a0\u3000", REFUSED),
    "two lines": ("Tern\r\nTaproom", REFUSED),
    "two lines by a sign of its own": ("Tern\u2028Taproom", REFUSED),
    "a header's end": ("Tern\r\nSet-Cookie: theme=dark", REFUSED),
    "a flood of marks": ("a" + "\u0301" * 15, KEPT),
    "zero width between letters": ("Tern\u200bTaproom", KEPT),
    "right to left": ("מועדון הים", KEPT),
    "composed and not": ("é e\u0301", KEPT),
    "emoji": ("🦆 duck", KEPT),
    "emoji of several": ("👩🏽‍🔧", KEPT),
    "a flag": ("🏴󠁧󠁢󠁷󠁬󠁳󠁿", KEPT),
    "a script": ("<script>alert(1)", KEPT),
    "an attribute": ('" onload="x', KEPT),
    "a comment": ("--><b>", KEPT),
    "a template's words": ("{{ 7|add:7 }}", KEPT),
    "a template's tag": ("{% now 'Y' %}", KEPT),
    "a database's words": ("'; DROP TABLE x;--", KEPT),
    "a quote": ("O'Tern", KEPT),
    "a pattern": ("%_\\", KEPT),
    "a formula": ("=1+1", KEPT),
    "an entity": ("&lt;&amp;", KEPT),
    "a percent code": ("%00%0a", KEPT),
    "a path": ("../../etc", KEPT),
    "None": ("None", KEPT),
    "null": ("null", KEPT),
    "true": ("true", KEPT),
    "2 to the 63": (str(2**63), KEPT),
    "minus 2 to the 63": (str(-(2**63) - 1), KEPT),
    "JSON": ('{"a":[1]}', KEPT),
    "spaces around": ("  Tern  ", KEPT),
    "spaces of other kinds around": ("\u3000Tern\u00a0", KEPT),
    "several spaces within": ("Tern   x", KEPT),
    "a tab within": ("Tern\tx", KEPT),
}
