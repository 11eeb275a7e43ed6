"""Every column that a line may tell has a word, so that a new one cannot show raw."""

from typing import Any

import pytest
from django.db.models import ForeignKey

from collection import models
from collection.actions import record
from collection.queries.history_names import _WAYS
from collection.queries.history_words import KINDS, NOUNS, Noun, word_of
from tests.harness.folding import BESIDE, told_tables

SHOWN = {
    "text", "number", "yes_no", "slope", "length", "exact_mm", "rise", "turns", "part", "chance", "when", "count",
    "row", "words",
}  # fmt: skip
#: Parts of another row come with its line, and are told by their number.
PARTS = {"reading", "floorreading", "planleg"}
TABLES = told_tables()


def told_columns(noun: str) -> set[str]:
    """What a line about this noun may hold."""
    table: Any = TABLES[noun]
    parts = (
        {link.name for link in table._meta.related_objects if link.name in ("readings",)}
        if noun != "plan"
        else {"legs"}
    )
    many = {each.name for each in table._meta.many_to_many}
    return record.values(table()).keys() | many | parts | {name for one, name in BESIDE if one == noun}


def test_every_table_that_lines_tell_has_words() -> None:
    assert NOUNS.keys() == TABLES.keys()


@pytest.mark.parametrize("noun", TABLES)
def test_every_column_has_a_word_or_is_for_the_engine(noun: str) -> None:
    told = NOUNS[noun]
    assert told_columns(noun) == told.columns.keys() | told.inside
    assert not told.columns.keys() & told.inside


@pytest.mark.parametrize("noun", TABLES)
def test_a_word_fits_what_stands_in_its_column(noun: str) -> None:
    columns = {each.name: each for each in TABLES[noun]._meta.fields}
    for name, word in NOUNS[noun].columns.items():
        assert word.shown in SHOWN, name
        assert word.label, name
        assert word.label[0].isupper() or word.label.startswith("u "), name
        assert (word.shown == "words") == bool(word.choices), name
        if name in columns:
            assert isinstance(columns[name], ForeignKey) == (word.shown == "row"), name


@pytest.mark.parametrize(
    ("table", "noun"),
    [
        (models.Survey, "survey"), (models.Plan, "plan"), (models.Instrument, "instrument"),
        (models.Machine, "machine"),
        (models.Floor, "floor"), (models.QuickCheck, "quickcheck"), (models.VialPair, "vialpair"),
        (models.Reading, "reading"), (models.Membership, "membership"), (models.Organization, "organization"),
        (models.ZeroCheck, "zerocheck"), (models.InstrumentEvent, "instrumentevent"),
        (models.FloorReading, "floorreading"),
    ],
)  # fmt: skip
def test_every_answer_that_the_database_allows_has_its_words(table: Any, noun: str) -> None:
    """What a constraint allows in a column must be among the choices of its word, where it has choices."""
    for constraint in table._meta.constraints:
        if not constraint.name.endswith("_known"):
            continue
        for path, allowed in constraint.condition.children:
            word = word_of(noun, path.removesuffix("__in"))
            missing = [answer for answer in allowed if word.choices and answer and answer not in word.choices]
            assert not missing, (constraint.name, missing)


def test_every_noun_but_parts_can_be_named_and_looked_for() -> None:
    assert NOUNS.keys() - PARTS <= _WAYS.keys()
    looked_for = [noun for _, nouns in KINDS.values() for noun in nouns]
    assert sorted(looked_for) == sorted(NOUNS.keys() - PARTS)


def test_no_two_columns_of_a_thing_have_the_same_word() -> None:
    for noun, told in NOUNS.items():
        labels = [word.label for word in told.columns.values()]
        assert len(labels) == len(set(labels)), (noun, labels)


def test_a_noun_without_words_is_empty() -> None:
    assert Noun("x", {}).columns == {}
