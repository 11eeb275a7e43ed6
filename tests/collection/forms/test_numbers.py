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
from tests.harness.number_values import PLAIN, TURNS


def fields() -> Iterator[tuple[str, NumberField, bool]]:
    """Yield every number field of every form, with its name and whether the form asks for the unit."""
    seen = set()
    for module in pkgutil.iter_modules(forms.__path__):
        loaded = importlib.import_module(f"{forms.__name__}.{module.name}")
        for _, form in inspect.getmembers(loaded, inspect.isclass):
            if not issubclass(form, django_forms.BaseForm) or form in seen:
                continue
            seen.add(form)
            for name, field in getattr(form, "base_fields", {}).items():
                if isinstance(field, NumberField):
                    asked = {"unit", f"{name.partition('_')[0]}_unit"}  # weight_unit is that of each weight_*
                    yield f"{form.__name__}.{name}", field, bool(asked & form.base_fields.keys())


def answer(field: NumberField, text: str) -> float | str | None:
    """Return the number that the field takes, or its words of refusal."""
    try:
        return field.clean(text)
    except ValidationError as error:
        return str(error.messages[0])


FIELDS = {name: field for name, field, _ in fields()}
SIGN_ASKED = "Leave the minus out, and say which end is high."
UNIT_IS_ASKED = {name for name, _, asked in fields() if asked}


def test_the_table_is_long_enough() -> None:
    assert len(PLAIN) >= 60
    assert len(FIELDS) >= 10


@pytest.mark.parametrize(("text", "meaning"), PLAIN.items(), ids=ascii)
def test_it_reads_a_number_or_says_why_not(text: str, meaning: float | str) -> None:
    if isinstance(meaning, str):
        with pytest.raises(NotANumber, match="Write"):
            read_number(text)
    else:
        assert read_number(text) == meaning


@pytest.mark.parametrize(("text", "meaning"), {**PLAIN, **TURNS}.items(), ids=ascii)
def test_it_reads_turns_or_says_why_not(text: str, meaning: float | str) -> None:
    if isinstance(meaning, str):
        with pytest.raises(NotANumber, match="Write"):
            read_turns(text)
    else:
        assert read_turns(text) == meaning


@pytest.mark.parametrize("name", FIELDS)
def test_every_field_takes_the_meaning_or_refuses_with_a_remedy(name: str) -> None:
    field = FIELDS[name]
    table = {**PLAIN, **TURNS} if field.reader is read_turns else PLAIN
    for text, meaning in table.items():
        found = answer(field, text)
        if found == SIGN_ASKED:  # a level's display: the high end is asked in words, so no sign is taken, not even of 0
            assert text.strip().startswith(("-", "−"))
            continue
        is_number = isinstance(meaning, float) and field.low <= meaning <= field.high
        taken = is_number and not (field.above and meaning == field.low)
        if taken:
            assert found == meaning, text
        else:
            assert isinstance(found, str), text
            assert found.startswith(("Write", "Take out")), text


@pytest.mark.parametrize("name", FIELDS)
def test_every_field_has_a_unit_or_its_form_asks_for_it(name: str) -> None:
    # The slope page asks for one unit for all its rows.
    assert FIELDS[name].unit or name in UNIT_IS_ASKED or name == "SlopeReadingForm.amount"


def test_refused_turns_are_told_in_turns() -> None:
    with pytest.raises(NotANumber, match="such as 6 1/2 or"):
        read_turns("seven")
