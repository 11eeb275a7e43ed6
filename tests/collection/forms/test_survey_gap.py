"""How finely the turns until a foot bears were counted: asked beside the gap, and brought back by a correction."""

import uuid
from types import SimpleNamespace
from typing import Any

import pytest
from django.http import QueryDict

from collection.forms.surveys import SurveyForm, typed_again, typed_survey
from tests.surveying import sent

LEVEL = SimpleNamespace(pk=uuid.uuid4(), name="230 mm digital level", unit="deg", kind="digital_level", has_zero=True)
TURNS = {"stance": "FL", "gap": "1/2", "gap_unit": "turns"}


def form(**more: str) -> SurveyForm:
    """Return the form of two plain readings, changed as told."""
    data = QueryDict(mutable=True)
    data.update(sent(LEVEL.pk, ("along", "6.5", "rear"), ("across", "0.3", "left")) | more)
    return SurveyForm(data, instruments=[LEVEL], body="standard")


@pytest.mark.parametrize("step", ["0.5", "0.25", "0.125", "0.1"])
def test_turns_are_counted_to_what_was_chosen(step: str) -> None:
    filled = form(**TURNS, gap_step_turns=step)
    assert filled.is_valid(), filled.errors
    assert filled.values["gap_step_turns"] == filled.so_far["gap_step_turns"] == float(step)


@pytest.mark.parametrize("more", [{}, TURNS, TURNS | {"gap_step_turns": ""}, {"stance": "FR", "gap": "0.6"}])
def test_it_is_a_quarter_of_a_turn_unless_told(more: dict[str, str]) -> None:
    filled = form(**more)
    assert filled.is_valid(), filled.errors
    assert filled.values["gap_step_turns"] == 0.25


@pytest.mark.parametrize("step", ["0.2", "2", "quarter", "nan"])
def test_it_refuses_another_part_of_a_turn(step: str) -> None:
    filled = form(**TURNS, gap_step_turns=step)
    assert not filled.is_valid()
    assert filled.errors["gap_step_turns"] == ["Choose one of the answers shown."]
    assert filled.so_far["gap_step_turns"] == 0.25  # the live answer goes on


def test_one_more_reading_keeps_what_was_chosen() -> None:
    again = typed_again(form(**TURNS, gap_step_turns="0.125").data, one_more=True)
    assert again["initial"]["gap_step_turns"] == "0.125"


@pytest.mark.parametrize(("stored", "shown"), [(0.1, "1/10 turn"), (0.5, "½ turn"), (0.125, "⅛ turn")])
def test_a_correction_starts_from_what_was_chosen(stored: float, shown: str) -> None:
    names = ("preconditions", "stance", "note", "gap_text", "instrument_id", "instrument_across_id")
    survey: Any = SimpleNamespace(**dict.fromkeys(names, ""), gap_unit="turns", gap_step_turns=stored, weights=[])
    asked = SurveyForm(instruments=[LEVEL], body="standard", **typed_survey(survey, []))["gap_step_turns"]
    chosen = [choice.choice_label for choice in asked if choice.data["selected"]]
    assert chosen == [shown]


def test_pressing_the_corners_is_called_a_sign_only() -> None:
    told = form()["stance"].help_text
    assert "sign only" in told
    assert "both front corners" in told
    assert "rear corners" in told
