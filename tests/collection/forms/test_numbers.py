"""The strict reader of numbers, and every number field of every form, against the table of hostile texts."""

import importlib
import inspect
import pkgutil
from collections.abc import Iterator

import pytest
from django import forms as django_forms
from django.core.exceptions import ValidationError

from collection import forms
from collection.forms.fields import NumberField
from collection.forms.numbers import NotANumber, read_number, read_turns
from tests.collection.forms.hostile import PLAIN, TURNS


def fields() -> Iterator[tuple[str, NumberField]]:
    """Yield every number field of every form, with its name."""
    seen = set()
    for module in pkgutil.iter_modules(forms.__path__):
        loaded = importlib.import_module(f"{forms.__name__}.{module.name}")
        for _, form in inspect.getmembers(loaded, inspect.isclass):
            if not issubclass(form, django_forms.BaseForm) or form in seen:
                continue
            seen.add(form)
            for name, field in getattr(form, "base_fields", {}).items():
                if isinstance(field, NumberField):
                    yield f"{form.__name__}.{name}", field


FIELDS = dict(fields())


def test_the_table_is_long_enough() -> None:
    assert len(PLAIN) >= 60
    assert len(FIELDS) >= 10


@pytest.mark.parametrize(("text", "meaning"), PLAIN.items(), ids=ascii)
def test_it_reads_a_number_or_says_why_not(text: str, meaning: float | None) -> None:
    if meaning is None:
        with pytest.raises(NotANumber, match="Write"):
            read_number(text)
    else:
        assert read_number(text) == meaning


@pytest.mark.parametrize(("text", "meaning"), {**PLAIN, **TURNS}.items(), ids=ascii)
def test_it_reads_turns_or_says_why_not(text: str, meaning: float | None) -> None:
    if meaning is None:
        with pytest.raises(NotANumber, match="Write"):
            read_turns(text)
    else:
        assert read_turns(text) == meaning


@pytest.mark.parametrize("name", FIELDS)
def test_every_field_takes_the_meaning_or_refuses_with_a_remedy(name: str) -> None:
    field = FIELDS[name]
    table = {**PLAIN, **TURNS} if field.reader is read_turns else PLAIN
    for text, meaning in table.items():
        try:
            found = field.clean(text)
        except ValidationError as error:
            assert str(error.messages[0]).startswith(("Write", "Take out"))
            outside = meaning is not None and not (field.low <= meaning <= field.high)
            at_the_open_end = meaning == field.low and field.above
            assert meaning is None or outside or at_the_open_end, (text, error)
        else:
            assert found == meaning, (text, found)


@pytest.mark.parametrize("name", FIELDS)
def test_every_field_has_a_unit_or_says_what_it_counts(name: str) -> None:
    assert FIELDS[name].unit or "amount" in name or "shown" in name or "value" in name
