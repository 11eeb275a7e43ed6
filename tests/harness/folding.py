"""The history of an organization folded into its rows, and the rows as they stand, to be compared."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.apps import apps
from django.core.exceptions import FieldDoesNotExist
from django.db.models import JSONField, Model

from collection import models
from collection.models import Change

#: Tables that no line tells, each with its reason.
NOT_TOLD_TABLES: dict[type[Model], str] = {
    models.Change: "it is the history itself",
    models.MachineStatus: "what lists show, remade from the record by every action",
    models.User: "an account belongs to its person, not to an organization",
}
#: Columns that no line tells, each with its reason.
NOT_TOLD_COLUMNS = {
    "version": "counts edits, so that a stale one is refused; it says nothing of the thing",
    "token_sha256": "kept of the secret in an invitation's link and on a label, which has no place in the history",
}
#: Tables whose rows begin without a line, since no member makes them, and the columns that members fill later: these
#: begin empty, and lines tell the rest. The other columns are no part of the comparison.
BORN_UNTOLD = {models.Report: {"closed_at", "closed_by", "closed_why", "closed_by_survey"}}
#: What a line holds beside columns, each with its reason.
BESIDE = {("machine", "survey"): "which survey taught the machine's offset"}

Values = dict[str, Any]
State = dict[str, dict[UUID, Values]]


@dataclass
class Folded:
    """The rows that lines tell, by noun and key, and where a line does not fit what those before it left."""

    rows: State = field(default_factory=dict)
    breaks: list[str] = field(default_factory=list)


def told_tables() -> dict[str, type[Model]]:
    """Return by noun every table of which each row must follow from the lines of its organization."""
    tables = apps.get_app_config("collection").get_models()
    return {_noun(table): table for table in tables if table not in NOT_TOLD_TABLES}


def folded(lines: Iterable[Change]) -> Folded:
    """Fold lines, in the order of their numbers, into rows."""
    found, tables = Folded(), told_tables()
    for line in lines:
        if line.noun not in tables:
            found.breaks.append(f"line {line.pk}: no table for {line.noun}")
            continue
        rows = found.rows.setdefault(line.noun, {})
        if line.row_id not in rows:
            if line.old and tables[line.noun] not in BORN_UNTOLD:
                found.breaks.append(f"line {line.pk}: nothing tells how {line.noun} {line.row_id} began")
            rows[line.row_id] = _born(tables[line.noun], line)
        _check_old(found, tables[line.noun], line)
        _take(found, tables[line.noun], line)
    return found


def present(organization: models.Organization) -> State:
    """Return the rows of an organization as they stand."""
    found: State = {}
    for noun, table in told_tables().items():
        rows: Any = table._base_manager.all()
        own = {"pk" if table is models.Organization else "organization": organization.pk}
        found[noun] = {row.pk: _values(row) for row in rows.filter(**own)}
    return {noun: rows for noun, rows in found.items() if rows}


def differences(organization: models.Organization) -> list[str]:
    """Return what is not as the history of an organization says, one line each."""
    return compared(lines_of(organization), present(organization))


def compared(lines: Iterable[Change], now: State) -> list[str]:
    """Return where lines and rows differ."""
    told = folded(lines)
    found = list(told.breaks)
    for table in BORN_UNTOLD:
        rows = told.rows.setdefault(_noun(table), {})
        for key in now.get(_noun(table), {}).keys() - rows.keys():
            rows[key] = {each.name: each.get_default() for each in _columns(table)}
    for noun in sorted(told.rows.keys() | now.keys()):
        ours, theirs = told.rows.get(noun, {}), now.get(noun, {})
        found += [f"{noun} {key}: no line tells it" for key in theirs.keys() - ours.keys()]
        found += [f"{noun} {key}: a line tells it, no row" for key in ours.keys() - theirs.keys()]
        for key in ours.keys() & theirs.keys():
            found += [
                f"{noun} {key}.{name}: told {ours[key].get(name)!r}, is {value!r}"
                for name, value in theirs[key].items()
                if name not in ours[key] or ours[key][name] != value
            ]
    return found


def lines_of(organization: models.Organization) -> list[Change]:
    """Return the history of an organization, oldest line first."""
    return list(Change.objects.for_org(organization).order_by("id"))


def _noun(table: type[Model]) -> str:
    return table.__name__.lower()


def _born(table: type[Model], line: Change) -> Values:
    """A row as its first line finds it: its stamps, and for what that line leaves out, since the column came later, the
    value that the column began with."""
    stamps = {"id": line.row_id, "organization": line.organization_id, "created_at": line.created_at,
              "created_by": line.created_by_id}  # fmt: skip
    row = {each.name: stamps.get(each.name, each.get_default()) for each in _columns(table)}
    return row | {each.name: [] for each in table._meta.many_to_many}


def _check_old(found: Folded, table: type[Model], line: Change) -> None:
    row = found.rows[line.noun][line.row_id]
    for name, old in line.old.items():
        if (line.noun, name) not in BESIDE and row.get(name) != _read(table, name, old):
            found.breaks.append(f"line {line.pk}: {line.noun} {line.row_id}.{name} was {row.get(name)!r}, not {old!r}")


def _take(found: Folded, table: type[Model], line: Change) -> None:
    for name, value in line.new.items():
        if (line.noun, name) in BESIDE:
            continue
        link = _field(table, name)
        if link is None:
            found.breaks.append(f"line {line.pk}: {line.noun} has no column {name}")
        elif link.one_to_many:
            for part in value:
                _take_part(found, link, line, part)
        else:
            found.rows[line.noun][line.row_id][name] = _read(table, name, value)


def _take_part(found: Folded, link: Any, line: Change, part: Values) -> None:
    table: type[Model] = link.related_model
    key = UUID(part.get("id", str(UUID(int=0))))
    row = _born(table, line) | {"id": key, link.field.name: line.row_id}
    row |= {name: _read(table, name, value) for name, value in part.items() if name != "id"}
    found.rows.setdefault(_noun(table), {})[key] = row


def _columns(table: type[Model]) -> list[Any]:
    told = BORN_UNTOLD.get(table, {each.name for each in table._meta.fields} - NOT_TOLD_COLUMNS.keys())
    return [each for each in table._meta.fields if each.name in told]


def _field(table: type[Model], name: str) -> Any:
    try:
        return table._meta.get_field(name)
    except FieldDoesNotExist:
        return None


def _read(table: type[Model], name: str, value: Any) -> Any:
    """A value as its column holds it, from what a line holds of it."""
    column = _field(table, name)
    if column is None or value is None or isinstance(column, JSONField):
        return value
    if column.many_to_many:
        return sorted(column.related_model._meta.pk.to_python(key) for key in value)
    return (column.target_field if column.many_to_one else column).to_python(value)


def _values(row: Model) -> Values:
    own = {each.name: getattr(row, each.attname) for each in _columns(type(row))}
    many = {each.name: sorted(getattr(row, each.name).values_list("pk", flat=True)) for each in row._meta.many_to_many}
    return own | many
