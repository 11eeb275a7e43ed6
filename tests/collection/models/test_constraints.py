"""Every number has its range and every text its length in the database itself, whatever writes to it."""

import datetime
import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.apps import apps
from django.db import DatabaseError, connection, models, transaction

from collection.actions.instruments import record_event
from collection.actions.machines import move_machine
from collection.actions.plans import record_turns
from collection.actions.reports import close_report
from collection.models import FloorReading, FloorSlope, guards
from tests.factories import NOON
from tests.sights.worlds import furnish
from tests.surveying import author
from tests.worlds import TernTaproom

MODELS = [model for model in apps.get_app_config("collection").get_models() if model._meta.managed]
#: Words whose list belongs to others, so that the table holds their length alone.
FREE_WORDS = {
    ("site", "time_zone"): "the device's own list of zones grows",
    ("quickcheck", "due"): "the engine's words",
    ("change", "noun"): "the names of our own tables",
    ("change", "verb"): "what an action says it did",
    ("invitation", "token_sha256"): "what is kept of a secret",
    ("reportlink", "token_sha256"): "what is kept of a secret",
    ("machinestatus", "reported"): "several reports, in a sentence",
}
NUMBERS = (models.FloatField, models.IntegerField, models.DecimalField)
#: Raw values that no column of ours takes.
FAR = "1e300"


def columns(*kinds: type[Any]) -> Iterator[tuple[Any, Any]]:
    for model in MODELS:
        for field in model._meta.fields:
            if isinstance(field, kinds) and not field.is_relation and not isinstance(field, models.AutoField):
                yield model, field


def names_of(model: Any) -> set[str]:
    return {constraint.name for constraint in model._meta.constraints}


def test_every_number_has_a_range() -> None:
    missing = [
        f"{model.__name__}.{field.name}"
        for model, field in columns(*NUMBERS)
        if f"{model._meta.model_name}_{field.name}_in_range" not in names_of(model)
    ]
    assert missing == []


def test_every_text_has_a_list_of_words_or_a_length() -> None:
    missing = []
    for model, field in columns(models.CharField, models.TextField):
        table, known = model._meta.model_name, names_of(model)
        fits = next((c.condition for c in model._meta.constraints if c.name == f"{table}_texts_fit"), models.Q())
        listed = f"{table}_{field.name}_known" in known
        if not listed and (f"{field.name}__fits", field.max_length) not in fits.children:
            missing.append(f"{model.__name__}.{field.name}")
    assert missing == []


def test_every_word_that_pages_choose_from_a_list_has_it_in_the_table() -> None:
    """Short columns that no person types freely: a list, or a reason."""
    typed = re.compile(r"text|name|title|code|why|note|notes|remark|address|email|password|engine_version|next_step")
    missing = [
        (model._meta.model_name, field.name)
        for model, field in columns(models.CharField)
        if not any(typed.fullmatch(part) for part in (field.name, field.name.split("_")[-1]))
        and f"{model._meta.model_name}_{field.name}_known" not in names_of(model)
    ]
    assert set(missing) == set(FREE_WORDS)


@pytest.fixture
def full(taproom: TernTaproom) -> TernTaproom:
    """A world with a row in every table of ours."""
    furnish(taproom)
    assert all((taproom.vial_pair, taproom.quick_check, taproom.invitation))
    close_report(by=author(taproom.people.bob, NOON, why="Nobody could make it roll."), report=taproom.report)
    slope = FloorSlope.objects.filter(floor=taproom.floor).earliest("created_at")
    stamp = {"organization": slope.organization, "created_by": slope.created_by, "created_at": NOON}
    FloorReading(slope=slope, place=0, text="0.3", unit="deg", slope_deg=0.3, rises_toward_deg=0, **stamp).save()
    later = author(taproom.people.bob, NOON + datetime.timedelta(hours=2))
    record_event(by=later, instrument=taproom.instrument, kind="dropped")
    record_turns(by=author(taproom.people.bob, NOON + datetime.timedelta(hours=3)), plan=taproom.plan, lift=1)
    taproom.machine.refresh_from_db()
    last = author(taproom.people.bob, NOON + datetime.timedelta(hours=4))
    move_machine(by=last, machine=taproom.machine, version=taproom.machine.version, bay=None, why="")
    for table in guards.recorded_tables():
        guards.take_down(connection, table)  # they refuse a copy of a row before any check can
    return taproom


def refusal(model: Any, column: str, value: Any) -> str:
    """What the database says to a copy of a row with one column changed, by raw SQL; a check goes before a key."""
    names = [field.column for field in model._meta.fields]
    quoted = [connection.ops.quote_name(name) for name in names]
    picked = ", ".join("%s" if name == column else each for name, each in zip(names, quoted, strict=True))
    table = connection.ops.quote_name(model._meta.db_table)
    sql = f"INSERT INTO {table} ({', '.join(quoted)}) SELECT {picked} FROM {table} LIMIT 1"
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql, [value] if column else [])
    except (DatabaseError, ValueError) as error:
        return str(error)
    return ""


def test_the_database_refuses_a_number_out_of_its_range(full: TernTaproom) -> None:
    refused = {}
    for model, field in columns(*NUMBERS):
        name = f"{model._meta.model_name}_{field.name}_in_range"
        check: Any = next(each for each in model._meta.constraints if each.name == name)
        (_, low), (_, high) = check.condition.children[0].children
        step = 1 if isinstance(field, models.IntegerField) else max(1e-6, abs(high) * 1e-6)
        for beyond in (low - step, high + step):
            words = refusal(model, field.column, beyond)
            # The type's own limits, in the words of old and new SQLite and of PostgreSQL.
            whole = (
                rf"CHECK constraint failed: {field.column}$",
                rf'"{field.column}" >= 0',
                f"{field.column}_check",
                "out of range",
            )
            refused[name, beyond] = name in words or any(re.search(each, words) for each in whole)
    assert [key for key, was in refused.items() if not was] == []
    assert len(refused) > 150


def test_the_database_refuses_a_text_beyond_its_length_and_a_nul(full: TernTaproom) -> None:
    refused = {}
    for model, field in columns(models.CharField, models.TextField):
        name = f"{model._meta.model_name}_texts_fit"
        listed = f"{model._meta.model_name}_{field.name}_known"
        for text in ("x" * (field.max_length + 1), "a\x00b", "\x00" + "x" * field.max_length):
            words = refusal(model, field.column, text)
            known = (name, listed, "too long", "NUL", "0x00")
            refused[f"{model.__name__}.{field.name}", text[:4]] = any(each in words for each in known)
    assert [key for key, was in refused.items() if not was] == []
    assert len(refused) > 100


def test_not_a_number_and_infinity_are_refused(full: TernTaproom) -> None:
    for model, field in columns(models.FloatField):
        for text in ("nan", "inf", "-inf", FAR):
            value = float(text)
            if text == "nan" and connection.vendor == "sqlite" and field.null:
                continue  # SQLite makes it NULL, which says "not measured"; our reader never lets it through
            assert refusal(model, field.column, value), (model, field.name, text)


def test_a_copy_that_changes_nothing_is_refused_by_its_key_alone(full: TernTaproom) -> None:
    """Or the tests above would take any refusal for theirs."""
    for model in MODELS:
        assert model._default_manager.exists(), model
        words = refusal(model, "", None)
        assert "_in_range" not in words
        assert "_fit" not in words
        assert "CHECK CONSTRAINT" not in words.upper(), words
