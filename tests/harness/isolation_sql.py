"""Reads SQL as Django writes it: every SELECT, UPDATE, DELETE and INSERT in a statement, with the table that it begins
from and the conditions that must all hold.

Django quotes every name and writes `"table"."column" = %s`, so a small reader is enough; what it cannot read is a
scope without conditions, which the watch then reports.
"""

import re
from dataclasses import dataclass, field
from functools import cache

_TOKEN = re.compile(r"""'(?:[^']|'')*'|"(?:[^"]|"")*"|%s|[A-Za-z_]\w*|\d+(?:\.\d+)?|<>|<=|>=|!=|::|\S""")
_ENDS = ("GROUP", "ORDER", "LIMIT", "HAVING", "UNION", "FOR", "RETURNING")


@dataclass(frozen=True)
class Token:
    """One word of a statement; ``place`` counts the parameters, and is -1 for any other word."""

    word: str
    place: int = -1


@dataclass(frozen=True)
class Condition:
    """`column = %s` or `column IN (%s, ...)` of one table, with the places of its parameters."""

    table: str
    column: str
    places: tuple[int, ...]


@dataclass
class Scope:
    """One SELECT, UPDATE, DELETE or INSERT: what it begins from, what must hold, and every condition anywhere in it.

    ``rows`` holds, of an INSERT, the place of the parameter of each column, by row.
    """

    verb: str
    tokens: list[Token] = field(default_factory=list)
    table: str = ""
    alias: str = ""
    joined: tuple[str, ...] = ()
    must: tuple[Condition, ...] = ()
    must_not: tuple[Condition, ...] = ()
    rows: tuple[dict[str, int], ...] = ()

    @property
    def follows_a_key(self) -> bool:
        """Whether it is what Django asks to follow a foreign key or to read a row again: by key, nothing joined."""
        words = {token.word for token in self.tokens}
        return self.verb == "SELECT" and not self.joined and not words & {"ORDER", "GROUP", "IN", "COUNT"}

    @property
    def asks_only_whether(self) -> bool:
        """Whether it is `SELECT %s AS "a" FROM ...`, which tells nothing but that there is a row."""
        return [token.word for token in self.tokens[2:4]] == ["AS", '"a"']


@cache
def scopes_of(sql: str) -> tuple[Scope, ...]:
    """Return every scope of a statement, those inside others too."""
    tokens, count = [], 0
    for word in _TOKEN.findall(sql):
        tokens.append(Token(word, count if word == "%s" else -1))
        count += word == "%s"
    if tokens and tokens[0].word == "INSERT":
        return (_insert(tokens),)
    found = _split(tokens)
    for scope in found:
        _read(scope)
    return tuple(found)


def _split(tokens: list[Token]) -> list[Scope]:
    """Cut a statement into its scopes; a scope's own tokens are those outside the scopes inside it."""
    found: list[Scope] = []
    open_scopes: list[tuple[int, Scope]] = []
    depth = 0
    for token in tokens:
        if token.word == ")":
            depth -= 1
            while open_scopes and open_scopes[-1][0] > depth:
                open_scopes.pop()
        if token.word in ("SELECT", "DELETE") or (token.word == "UPDATE" and depth == 0 and not open_scopes):
            if open_scopes and open_scopes[-1][0] == depth:
                open_scopes.pop()  # after UNION
            scope = Scope(token.word)
            found.append(scope)
            open_scopes.append((depth, scope))
        if open_scopes:
            open_scopes[-1][1].tokens.append(token)
        if token.word == "(":
            depth += 1
    return found


def _read(scope: Scope) -> None:
    words = [token.word for token in scope.tokens]
    start = 1 if scope.verb == "UPDATE" else _index(words, "FROM") + 1
    if 0 < start < len(words) and words[start].startswith('"'):
        scope.table = words[start].strip('"')
        follows = words[start + 1] if start + 1 < len(words) else ""
        is_alias = re.fullmatch(r'"?[A-Z]\d+"?', follows)
        scope.alias = (follows if is_alias else words[start]).strip('"')
    scope.joined = tuple(words[i + 1].strip('"') for i, word in enumerate(words[:-1]) if word == "JOIN")
    where = _index(words, "WHERE")
    if where < 0:
        return
    rest = scope.tokens[where + 1 :]
    rest = rest[: _end_of(rest)]
    must: list[Condition] = []
    must_not: list[Condition] = []
    _conditions(rest, must, must_not)
    scope.must, scope.must_not = tuple(must), tuple(must_not)


def _end_of(tokens: list[Token]) -> int:
    """Where the conditions end that these words begin with."""
    depth = 0
    for place, token in enumerate(tokens):
        depth += (token.word == "(") - (token.word == ")")
        if depth < 0 or (depth == 0 and token.word in _ENDS):
            return place
    return len(tokens)


def _conditions(tokens: list[Token], must: list[Condition], must_not: list[Condition]) -> None:
    """Collect what must hold: the parts between ANDs, into brackets that hold no OR; and what must not, after NOT."""
    for part in _between(tokens, "AND"):
        if not part:
            continue
        if part[0].word == "NOT":
            _conditions(_unwrapped(part[1:]), must_not, [])
        elif part[0].word == "(" and _unwrapped(part) is not part:
            inner = _unwrapped(part)
            if len(_between(inner, "OR")) == 1:
                _conditions(inner, must, must_not)
        elif condition := _condition(part):
            must.append(condition)


def _between(tokens: list[Token], word: str) -> list[list[Token]]:
    parts: list[list[Token]] = [[]]
    depth = 0
    for token in tokens:
        depth += (token.word == "(") - (token.word == ")")
        if depth == 0 and token.word == word:
            parts.append([])
        else:
            parts[-1].append(token)
    return parts


def _unwrapped(part: list[Token]) -> list[Token]:
    """The part without the one pair of brackets around all of it."""
    if len(part) < 2 or part[0].word != "(" or part[-1].word != ")":
        return part
    depth = 0
    for token in part[:-1]:
        depth += (token.word == "(") - (token.word == ")")
        if depth == 0:
            return part
    return part[1:-1]


def _condition(part: list[Token]) -> Condition | None:
    words = [token.word for token in part]
    if len(words) < 5 or words[1] != "." or words[3] not in ("=", "IN"):
        return None
    places = tuple(token.place for token in part[4:] if token.place >= 0)
    plain = [word for word in words[4:] if word not in ("(", ")", ",", "%s")]
    is_list = words[3] == "IN" and not plain and bool(places)
    if not is_list and words[4:] not in (["%s"], ["(", "%s", ")"]):
        return None
    return Condition(words[0].strip('"'), words[2].strip('"'), places)


def _insert(tokens: list[Token]) -> Scope:
    words = [token.word for token in tokens]
    scope = Scope("INSERT", tokens, table=words[2].strip('"'))
    opened, closed = words.index("("), words.index(")")
    columns = [word.strip('"') for word in words[opened + 1 : closed] if word.startswith('"')]
    rows, at = [], _index(words, "VALUES")
    while 0 < at < len(tokens) - 1 and tokens[at + 1].word in ("(", ","):
        at += 1
        if tokens[at].word != "(":
            continue
        depth, start = 1, at + 1
        while depth:
            at += 1
            depth += (tokens[at].word == "(") - (tokens[at].word == ")")
        values = _between(tokens[start:at], ",")
        rows.append({name: value[0].place for name, value in zip(columns, values, strict=True)})
    scope.rows = tuple(rows)
    return scope


def _index(words: list[str], word: str) -> int:
    """Where a word stands outside all brackets that open after the beginning; -1 if nowhere."""
    depth = 0
    for place, found in enumerate(words):
        if depth == 0 and found == word:
            return place
        depth += (found == "(") - (found == ")")
    return -1
