"""Forms about machines: what is left empty has its usual number, what is typed keeps it."""

from typing import Any

import pytest
from django.core.exceptions import ValidationError

from collection.forms.fields import NumberField, TurnsField
from collection.forms.machines import LegsForm, MachineForm, MoveForm
from collection.forms.numbers import read_turns, written, written_turns
from tests.harness.number_values import PLAIN, TURNS

MACHINE = {
    "title": "Marsh Weather",
    "code": "MW-1",
    "era": "modern",
    "body": "standard",
    "thread": "3/8-16 UNC",
    "steps_per_turn": "4",
}
LEG = {"length_mm": 724.0, "travel_mm": 41.0, "exposure_mm": 12.0, "pad_mm": 0.0}
NAMES = ("FL", "FR", "RL", "RR")


def machine(**typed: str) -> MachineForm:
    return MachineForm({**MACHINE, **typed})


def legs(unit: str = "mm", **typed: str) -> LegsForm:
    """The page of the legs as it was shown in this unit, but for what was typed."""
    now = [dict(LEG) for _ in NAMES]
    made: dict[str, Any] = {"legs": now, "lead_mm": 1.5875, "unit": unit}
    shown = LegsForm(**made)
    sent = {field.name: field.value() for field in shown} | {"version": "1"}
    return LegsForm(sent | typed, **made)


def understood(field: NumberField, text: str) -> float | None:
    """What the field takes the text for; None if it refuses with a remedy."""
    try:
        return field.clean(text)
    except ValidationError as refused:
        assert refused.messages[0].startswith(("Write", "Take out")), text  # noqa: PT017 - a refusal is checked too
        return None


@pytest.mark.parametrize("unit", ["mm", "turns"])
@pytest.mark.parametrize("name", ["exposure_mm", "length_mm", "travel_mm", "pad_mm"])
def test_no_field_of_a_leg_changes_a_text_silently(unit: str, name: str) -> None:
    """The fields are made for each machine, so the table of all forms' fields does not hold them."""
    field: Any = legs(unit).fields[f"RL_{name}"]
    meanings = PLAIN | (TURNS if isinstance(field, TurnsField) else {})
    for text, meaning in meanings.items():
        inside = isinstance(meaning, float) and field.low <= meaning <= field.high
        found = understood(field, text) if text.strip() else None
        assert found == (pytest.approx(meaning, abs=1e-12) if inside else None), text


def test_an_empty_size_is_the_bodys() -> None:
    form = machine(body="wide", base_mm="1310")
    assert form.is_valid(), form.errors
    sizes = {name: form.values[name] for name in ("track_front_mm", "track_rear_mm", "base_mm")}
    assert sizes == {"track_front_mm": 660, "track_rear_mm": 660, "base_mm": 1310}


def test_another_body_has_to_be_measured() -> None:
    form = machine(body="other", track_front_mm="580")
    assert set(form.errors) == {"track_rear_mm", "base_mm"}
    assert form.details_open


def test_a_thread_has_its_lead_and_another_ones_is_asked_for() -> None:
    """3/8-16 UNC: ASME B1.1. M10x1.5: ISO 261."""
    for thread, lead in (("3/8-16 UNC", 1.5875), ("M10x1.5", 1.5)):
        form = machine(thread=thread)
        assert form.is_valid(), form.errors
        assert form.values["lead_mm"] == lead
        assert "thread" not in form.values
    assert set(machine(thread="other").errors) == {"lead_mm"}
    own = machine(thread="other", lead_mm="1.25")
    assert own.is_valid(), own.errors
    assert own.values["lead_mm"] == 1.25


def test_a_lead_that_contradicts_its_thread_is_refused() -> None:
    assert machine(thread="M10x1.5", lead_mm="1.5").is_valid()
    form = machine(thread="M10x1.5", lead_mm="1.25")
    assert form.errors["lead_mm"] == ["M10x1.5 has 1.5 mm. Leave it empty, or choose Other."]


def test_turns_become_mm_and_untouched_fields_keep_their_number() -> None:
    form = legs("turns", RL_exposure_mm="7 ½")
    assert form["FL_exposure_mm"].value() == "7.559"  # 12 mm / 1.5875 mm, rounded for the page
    assert form.is_valid(), form.errors
    assert [leg["exposure_mm"] for leg in form.values["legs"]] == [12.0, 12.0, pytest.approx(11.90625), 12.0]


def test_an_exposure_ends_at_its_travel() -> None:
    assert legs(FR_exposure_mm="41").is_valid()
    assert legs(FR_exposure_mm="41.1").errors["FR_exposure_mm"] == ["That is more than its travel of 41 mm."]
    assert legs("turns", FR_exposure_mm="25.9").errors["FR_exposure_mm"] == ["That is more than its travel of 41 mm."]
    assert legs(FR_exposure_mm="41.1", FR_travel_mm="66").is_valid()


def test_an_empty_exposure_is_not_known() -> None:
    form = legs(FL_exposure_mm="")
    assert form.is_valid(), form.errors
    assert form.values["legs"][0]["exposure_mm"] is None


@pytest.mark.parametrize("turns", [0, 0.125, 1 / 6, 0.25, 1 / 3, 0.5, 2 / 3, 7.75, 12])
def test_turns_written_are_read_back_as_they_were(turns: float) -> None:
    assert read_turns(written_turns(turns)) == pytest.approx(turns, abs=1e-9)


def test_numbers_are_written_as_people_type_them() -> None:
    assert [written(number) for number in (560.0, 1.5875, 0.1, 1305.25)] == ["560", "1.5875", "0.1", "1305.25"]
    assert [written_turns(turns) for turns in (7.5, 0.0, 3.0, 7.55905)] == ["7 1/2", "0", "3", "7.559"]


def test_off_the_floor_is_an_answer_and_nothing_is_none() -> None:
    made: dict[str, Any] = {"bays": [], "stands": ("", "Bay 1")}
    off = MoveForm({"bay": "off", "version": "1"}, **made)
    assert off.is_valid(), off.errors
    assert off.values == {"bay": None, "why": ""}
    assert set(MoveForm({"bay": "", "version": "1"}, **made).errors) == {"bay"}
    stood = MoveForm({"bay": "off", "version": "1"}, bays=[], stands=("off", "on no bay"))
    assert "No bay: off the floor" not in str(stood["bay"])
    assert stood.is_valid()  # or the same move sent twice would be refused the second time: the action knows
