"""The survey's form: rows of readings, the stance with its gap, and what is told softly while someone types."""

import uuid
from typing import Any

import pytest
from django.http import QueryDict

from collection.forms.surveys import CorrectionForm, SurveyForm, typed_again
from collection.models import Instrument
from tests.harness.number_values import PLAIN, TURNS
from tests.surveying import sent

LEVEL = Instrument(name="230 mm digital level", unit="deg")
LONG = Instrument(name="Long level", unit="mm_per_m")


def form(kind: type[SurveyForm] = SurveyForm, **more: str) -> SurveyForm:
    """Return the form of two plain readings with all four feet bearing, changed as told."""
    data = QueryDict(mutable=True)
    data.update(sent(LEVEL.pk, ("along", "6.5", "rear"), ("across", "0.3", "left")) | more)
    return kind(data, instruments=[LEVEL, LONG], body="standard")


def test_two_readings_are_enough() -> None:
    filled = form()
    assert filled.is_valid(), filled.errors
    values = filled.values
    assert [(row["direction"], row["value"], row["high_end"], row["unit"]) for row in values["readings"]] == [
        ("along", 6.5, "rear", "deg"),
        ("across", 0.3, "left", "deg"),
    ]
    assert (values["instrument"], values["stance"], values["gap"]) == (LEVEL, "all_bearing", 0.0)


def test_a_fresh_form_has_exactly_two_rows_ready() -> None:
    fresh = SurveyForm(instruments=[LEVEL], body="standard")
    assert [row["direction"].value() for row in fresh.rows.forms] == ["along", "across"]
    assert [row["spot"].value() for row in fresh.rows.forms] == ["middle", "lower_centre"]


def test_a_spot_lies_where_it_does_on_the_board() -> None:
    """Share of 514 x 1067 mm, the usual playfield."""
    filled = form(**{"readings-0-spot": "middle", "readings-1-spot": ""})
    assert filled.is_valid()
    assert [(row["x_mm"], row["y_mm"]) for row in filled.readings] == [(257.0, 533.5), (None, None)]


def test_the_unit_is_the_instruments_unless_told() -> None:
    filled = form(**{"instrument": str(LONG.pk), "readings-0-value": "114", "readings-1-unit": "deg"})
    assert filled.is_valid(), filled.doubts
    assert [(row["value"], row["unit"]) for row in filled.readings] == [(114.0, "mm_per_m"), (0.3, "deg")]


def test_a_row_without_a_number_is_left_out() -> None:
    filled = form(**{"readings-TOTAL_FORMS": "3", "readings-2-direction": "across", "readings-2-high_end": "right"})
    assert filled.is_valid()
    assert len(filled.readings) == 2


def test_zero_needs_no_high_end() -> None:
    filled = form(**{"readings-1-value": "0", "readings-1-high_end": ""})
    assert filled.is_valid(), filled.doubts
    assert filled.readings[1]["high_end"] == "level"


def test_turned_end_for_end_the_same_end_is_high_unless_told() -> None:
    same = form(**{"readings-1-turned_value": "0.1"})
    other = form(**{"readings-1-turned_value": "0.1", "readings-1-turned_high_end": "right"})
    level = form(**{"readings-1-turned_value": "0"})
    ends = []
    for filled in (same, other, level):
        assert filled.is_valid(), filled.doubts
        ends.append(filled.readings[1]["turned_high_end"])
    assert ends == ["left", "right", "level"]


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"readings-0-value": "-6.5"}, "value", "Leave the minus out"),
        ({"readings-0-value": "−6.5"}, "value", "Leave the minus out"),
        ({"readings-0-value": "6,5"}, "value", "Write a point"),
        ({"readings-0-value": "20.1"}, "value", "steeper than 20°"),
        ({"readings-0-value": "90", "readings-0-unit": "percent"}, "value", "steeper than 20°"),
        ({"readings-0-value": "", "readings-0-high_end": "level"}, "value", "such as 0"),
        ({"readings-0-value": "", "readings-0-turned_value": "6.4"}, "value", "such as 0"),
        ({"readings-0-high_end": ""}, "high_end", "Say which end"),
        ({"readings-0-high_end": "level"}, "high_end", "more than 0"),
        ({"readings-0-high_end": "left"}, "high_end", "rear or front"),
        ({"readings-0-high_end": "up"}, "high_end", "answers shown"),
        ({"readings-0-direction": ""}, "direction", "along or across"),
        ({"readings-0-direction": "diagonal"}, "direction", "answers shown"),
        ({"readings-0-spot": "moon"}, "spot", "answers shown"),
        ({"readings-0-unit": "cubits"}, "unit", "valid choice"),
        ({"readings-0-turned_value": "6.4", "readings-0-turned_high_end": "right"}, "turned_high_end", "rear or front"),
    ],
)
def test_an_unclear_row_says_what_to_write(typed: dict[str, str], field: str, words: str) -> None:
    filled = form(**typed)
    assert not filled.is_valid()
    errors = filled.rows.forms[0].errors
    assert words in errors[field][0]
    assert list(errors) == [field]
    assert [row["value"] for row in filled.readings] == [0.3]  # the clear row still counts for the live answer
    assert any(words in doubt for doubt in filled.doubts)


def test_a_doubt_names_the_reading_and_whether_it_is_the_turned_one() -> None:
    unclear = "Write a point for the decimals, such as 1.5, and no commas."
    doubts = form(**{"readings-0-value": "1,5", "readings-0-turned_value": "1,5"}).doubts
    assert [f"Reading 1: {unclear}", f"Reading 1, turned: {unclear}"] == doubts


@pytest.mark.parametrize("text", PLAIN)
def test_a_hostile_number_is_understood_as_documented_or_refused(text: str) -> None:
    filled = form(**{"readings-1-value": text})
    meaning = PLAIN[text]
    if isinstance(meaning, str) or meaning < 0 or text.strip().startswith(("-", "−")) or meaning > 20:
        assert not filled.is_valid()
    else:
        assert filled.is_valid() or filled.rows.forms[1].errors.keys() == {"high_end"}
        assert filled.rows.forms[1].cleaned_data["value"] == meaning


@pytest.mark.parametrize(("unit", "meanings"), [("mm", PLAIN), ("turns", PLAIN | TURNS)])
def test_a_gap_is_read_by_its_unit(unit: str, meanings: dict[str, float | str]) -> None:
    """A fraction is for turns only."""
    for text, meaning in meanings.items():
        filled = form(stance="FR", gap=text, gap_unit=unit)
        fits = isinstance(meaning, float) and 0 < meaning <= 20
        assert filled.is_valid() == fits, text
        if fits:
            assert (filled.values["gap"], filled.values["gap_text"]) == (meaning, text.strip())


def test_a_light_foot_needs_its_gap_and_nothing_else_has_one() -> None:
    assert "Measure the gap" in form(stance="RL").errors["gap"][0]
    bearing = form(stance="all_bearing", gap="0.8")
    assert bearing.is_valid()
    assert (bearing.values["gap"], bearing.values["gap_text"]) == (0.0, "")


def test_only_the_instruments_and_plans_shown_can_be_chosen() -> None:
    assert form(instrument=str(uuid.uuid4())).errors.keys() == {"instrument"}
    assert form(instrument="x\x00y").errors.keys() == {"instrument"}
    assert form(plan=str(uuid.uuid4())).errors.keys() == {"plan"}


def test_rows_that_were_never_sent_are_asked_for() -> None:
    bare = SurveyForm(QueryDict(f"instrument={LEVEL.pk}&stance=unknown"), instruments=[LEVEL], body="standard")
    assert not bare.is_valid()
    assert "readings" in bare.non_field_errors()[0]
    assert len(bare.rows.forms) == 2


@pytest.mark.parametrize("count", ["999999999999", "25"])
def test_more_rows_than_fit_are_refused(count: str) -> None:
    filled = form(**{"readings-TOTAL_FORMS": count})
    assert not filled.is_valid()
    assert len(filled.rows.forms) <= 24


def test_what_was_typed_is_kept_unchecked() -> None:
    data = QueryDict(mutable=True)
    data.update(sent(LEVEL.pk, ("along", "6,5", "left"), ("across", "0.3", ""), note="Loose bolt", gap="x"))
    data.setlist("preconditions", ["seated", "balls_out"])
    fresh = SurveyForm(None, instruments=[LEVEL], body="standard", **typed_again(data, one_more=True))
    assert [row["value"].value() for row in fresh.rows.forms] == ["6,5", "0.3", None]
    assert [row["high_end"].value() for row in fresh.rows.forms] == ["left", "", None]
    kept: dict[str, Any] = {name: fresh[name].value() for name in ("note", "gap", "preconditions", "stance")}
    assert kept == {
        "note": "Loose bolt", "gap": "x", "preconditions": ["seated", "balls_out"], "stance": "all_bearing",
    }  # fmt: skip
    assert not fresh.errors


def test_a_correction_needs_a_reason() -> None:
    assert form(CorrectionForm).errors.keys() == {"why"}
    filled = form(CorrectionForm, why="Wrong end")
    assert filled.is_valid()
    assert not {"why", "plan"} & filled.values.keys()


def test_until_somebody_answers_it_asks_for_the_feet() -> None:
    """The live answer must not send anyone to a leg plan before the form can be saved."""
    asked = "Say whether all four feet bear."
    assert asked in form(stance="").doubts
    assert asked not in form(stance="unknown").doubts
    assert any("Measure the gap" in doubt for doubt in form(stance="FR", gap="").doubts)
