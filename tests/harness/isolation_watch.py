"""Watches what one request asks the database: no row of an organization is read or written without naming it.

A statement keeps the rule if each of its scopes that begins from a tenant's table

- holds `organization_id = the acting organization` among the conditions that must all be met, or
- reads one's own memberships by one's own user, or
- reads a list that hangs on rows of the organization by their keys, such as the sites of a member, or
- reads by the row's own key, nothing joined, as Django does to read a row again: then a scope that names the
  organization must have asked for that key before, and the row must be the organization's, or
- finds a row by the hash of a secret, which says for which organization its holder acts from then on, or
- asks only whether a key is taken (`SELECT 1 AS "a"`), since keys are unique over all organizations.

Joined tables hang on such a row by foreign keys, which never lead to another organization: see `crossing`.
"""

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any

from django.apps import apps
from django.db import connection

from collection import models
from tests.collection.access.tenants import SECRET, TENANT
from tests.harness.isolation_sql import Scope, scopes_of
from tests.harness.isolation_world import Identity

_MODELS: dict[str, Any] = {
    model._meta.db_table: model for model in apps.get_models(include_auto_created=True) if model._meta.label in TENANT
}
#: Tables that hang on another row: the column that names it, and its table.
_HANGING: dict[str, tuple[str, str]] = {
    table: (parent.column, parent.related_model._meta.db_table)
    for table, model in _MODELS.items()
    if "__" in TENANT[model._meta.label]
    for parent in [model._meta.get_field(TENANT[model._meta.label].split("__")[0])]
}
#: `anyone_keeps_a_book`: the welcome page tells whether this server is fresh, and nothing else.
_WHETHER_ANY = "collection_organization"


class Watch:
    """What one request of one identity did."""

    def __init__(self, identity: Identity) -> None:
        self.identity = identity
        member = identity.member
        self.own = {plain(member.organization_id)} if member else set()
        self.vouched: set[str] = set()
        self.by_key: set[tuple[str, str]] = set()
        self.faults: list[str] = []
        self.scopes = 0
        self._looks_itself = False

    def watching(self) -> AbstractContextManager[None]:
        """Look at each statement while the request runs."""
        return connection.execute_wrapper(self._look)

    def _look(self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        for values in [] if self._looks_itself else params if many else [params or ()]:
            self.look(sql, [plain(value) for value in values])
        return execute(sql, params, many, context)

    def look(self, sql: str, values: list[str]) -> None:
        """Judge each scope of a statement."""
        if not sql.startswith(("SELECT", "UPDATE", "DELETE", "INSERT")):
            return
        for scope in scopes_of(sql):
            if scope.table in _MODELS:
                self.scopes += 1
                if not self._keeps(scope, values):
                    self.faults.append(f"{scope.verb} of {scope.table} names no organization: {sql[:600]}")

    def settle(self) -> list[str]:
        """Every fault, once the rows read by their keys were looked at; asks the database."""
        for table, key in sorted(self.by_key):
            model = _MODELS[table]
            whose = model._base_manager.filter(pk=key).values_list(TENANT[model._meta.label], flat=True).first()
            if whose is not None and plain(whose) not in self.own:
                self.faults.append(f"a row of {table} was read by its key alone and belongs to another organization")
        return self.faults

    def _keeps(self, scope: Scope, values: list[str]) -> bool:
        if scope.verb == "INSERT":
            return self._keeps_inserted(scope, values)
        column = _column(scope.table)
        asked = {
            each.column: [values[place] for place in each.places] for each in scope.must if each.table == scope.alias
        }
        named = [[values[place] for place in each.places] for each in scope.must
                 if (each.table, each.column) == (scope.alias, column)]  # fmt: skip
        if column and any(len(each) == 1 and each[0] in self.own for each in named):
            self.vouched.update(values)
            return True
        user = self.identity.user
        if scope.table == "collection_membership" and user and asked.get("user_id") == [plain(user.pk)]:
            return True
        for each in scope.must:
            table = scope.table if each.table == scope.alias else each.table
            column, parent = _HANGING.get(table, ("", ""))
            if each.column == column:
                self.by_key.update((parent, values[place]) for place in each.places)
                return True
        secret = SECRET.get(_MODELS[scope.table]._meta.label)
        if secret and len(asked.get(secret, ())) == 1:
            self._found_by_secret(_MODELS[scope.table], secret, asked[secret][0])
            return True
        keys = asked.get(_MODELS[scope.table]._meta.pk.column)
        if scope.asks_only_whether and (keys or scope.table == _WHETHER_ANY):
            return True
        if not keys or not scope.follows_a_key or not set(keys) <= self.vouched:
            return False
        self.by_key.update((scope.table, key) for key in keys)
        return True

    def _found_by_secret(self, model: Any, column: str, value: str) -> None:
        """From now on the one who asks acts for the organization of that row."""
        self._looks_itself = True
        row = model._base_manager.filter(**{column: value}).first()
        self._looks_itself = False
        if row:
            self.own.add(plain(row.organization_id))
            self.vouched.add(plain(row.pk))

    def _keeps_inserted(self, scope: Scope, values: list[str]) -> bool:
        column = _column(scope.table)
        if scope.table == "collection_organization":
            self.own.update(values[row["id"]] for row in scope.rows)  # founded just now
        if column:
            whose = {values[row[column]] for row in scope.rows}
            if not whose or not whose <= self.own:
                return False
        self.vouched.update(values)
        return True


def crossing() -> list[str]:
    """Each foreign key that leads from a row of one organization to a row of another; asks every table."""
    faults = []
    for model in _MODELS.values():
        whose = TENANT[model._meta.label]
        for found in model._meta.concrete_fields:
            target = found.related_model
            if target is None or target._meta.label not in TENANT or target is models.Organization:
                continue
            theirs = f"{found.name}__{TENANT[target._meta.label]}"
            rows = model._base_manager.exclude(**{f"{found.name}__isnull": True}).values_list("pk", whose, theirs)
            faults += [f"{model._meta.label}.{found.name} of {pk}" for pk, mine, other in rows if mine != other]
    return faults


def plain(value: Any) -> str:
    """A key as text without hyphens, whatever the database calls it."""
    return str(value).replace("-", "").lower()


def _column(table: str) -> str:
    """The column of a table that says whose a row is; "" for one that hangs on another row."""
    path = TENANT[_MODELS[table]._meta.label]
    if "__" in path:
        return ""
    return str(_MODELS[table]._meta.get_field(path).column)
