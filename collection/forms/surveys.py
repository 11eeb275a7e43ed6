"""Forms about surveys: how the machine stood, and one row for each reading."""

import datetime
from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from collection.forms.fields import NumberField, TextField, WordField
from collection.forms.numbers import NotANumber, read_number, read_turns
from collection.forms.surveys_weights import WEIGHED, WEIGHT_NAMES, UnitField, WeightsForm, weights_again
from collection.presets import PLAYFIELDS_MM, PRECONDITIONS, SPOTS
from leveling.units import slope_in

DIRECTIONS = [("along", "along"), ("across", "across")]
HIGH_ENDS = [("rear", "rear"), ("front", "front"), ("left", "left"), ("right", "right"), ("level", "level")]
ENDS_OF = {"along": ("rear", "front", "level"), "across": ("left", "right", "level")}
UNIT_SIGNS = {"deg": "°", "mm_per_m": "mm/m", "in_per_ft": "in/ft", "percent": "%"}
UNITS = [("", "auto"), *UNIT_SIGNS.items()]
STANCES = [
    ("all_bearing", "All four bear"),
    ("FL", "FL is light"),
    ("FR", "FR is light"),
    ("RL", "RL is light"),
    ("RR", "RR is light"),
    ("unknown", "Not checked"),
]
#: A survey may rest on four scales too.
STANCES_BY_SCALE = [*STANCES[:-1], (WEIGHED, "Weighed"), STANCES[-1]]
GAP_UNITS = [("mm", "mm"), ("turns", "turns until it bears")]
LIGHT_FEET = ("FL", "FR", "RL", "RR")

MOST_READINGS = 24
MOST_TILT_DEG = 20.0
MOST_GAP = 20.0
TWO_READINGS = (
    {"direction": "along", "high_end": "rear", "spot": "middle"},
    {"direction": "across", "spot": "lower_centre"},
)
#: What "add a reading" puts into a fresh row: roll is the harder one to know.
ONE_MORE = {"direction": "across"}


class ShownField(NumberField):
    """What an instrument shows, without its sign: the high end is asked in words."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"low": 0, "high": 400, "required": False, **kwargs})

    def clean(self, value: Any) -> float | None:
        """Return the number, or raise ValidationError with the remedy."""
        text = str(value or "").strip().replace("\u2212", "-")
        if text.startswith("-"):
            raise ValidationError("Leave the minus out, and say which end is high.", code="signed")
        return super().clean(value)


class GapField(TextField):
    """The gap as it was typed: asked for, and needed only with a light foot, which the form sees to."""

    def validate(self, value: Any) -> None:
        """Accept no answer."""


class ReadingForm(forms.Form):
    """One reading. A row without a number is left out."""

    use_required_attribute = False
    direction = WordField(label="Level laid", choices=DIRECTIONS, required=False)
    value = ShownField(label="It shows")
    unit = forms.ChoiceField(label="Unit", choices=UNITS, required=False)
    high_end = WordField(label="High end", choices=HIGH_ENDS, required=False)
    spot = WordField(
        label="Where on the playfield", required=False,
        choices=[*((name, spot.words) for name, spot in SPOTS.items()), ("", "elsewhere")],
    )  # fmt: skip
    turned_value = ShownField(label="Turned end for end, it shows")
    turned_high_end = WordField(label="High end then", choices=HIGH_ENDS, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kwargs})

    @property
    def is_blank(self) -> bool:
        """Whether nothing was read in this row."""
        return not (self._typed("value") or self._typed("turned_value") or self._typed("high_end") == "level")

    def clean(self) -> dict[str, Any]:
        """Check that the row's answers fit together."""
        data: dict[str, Any] = self.cleaned_data
        if self.is_blank:
            return data
        if not data.get("direction") and "direction" not in self.errors:
            self.add_error("direction", "Say how the level lay: along or across.")
        if not self._typed("value"):
            self.add_error("value", "Write what it shows, such as 0.")
        self._check_end("value", "high_end")
        if self._typed("turned_value"):
            data["turned_high_end"] = data.get("turned_high_end") or self._end_again()
            self._check_end("turned_value", "turned_high_end")
        return data

    def reading(self, *, unit: str, playfield_mm: tuple[float, float]) -> dict[str, Any]:
        """The reading as an action takes it: what was typed beside what it means."""
        data = self.cleaned_data
        spot = SPOTS.get(data["spot"])
        return {
            "direction": data["direction"],
            "text": self._typed("value"),
            "value": data["value"],
            "unit": data["unit"] or unit,
            "high_end": data["high_end"],
            "turned_text": self._typed("turned_value"),
            "turned_value": data["turned_value"],
            "turned_high_end": data["turned_high_end"] if self._typed("turned_value") else "",
            "spot": data["spot"],
            "x_mm": spot.across * playfield_mm[0] if spot else None,
            "y_mm": spot.up * playfield_mm[1] if spot else None,
        }

    def refuse_steep(self, unit: str) -> None:
        """Add an error to a number that no playfield reads."""
        limit = float(slope_in(MOST_TILT_DEG, self.cleaned_data.get("unit") or unit))
        for name in ("value", "turned_value"):
            if (self.cleaned_data.get(name) or 0) > limit * (1 + 1e-9):
                self.add_error(name, f"That is steeper than {MOST_TILT_DEG:g}°. Check the number and its unit.")

    def _typed(self, name: str) -> str:
        return str(self[name].data or "").strip()

    def _end_again(self) -> str:
        """The end that was high after turning, if nobody said: the same one, unless it shows 0 now."""
        return "" if self.cleaned_data.get("turned_value") == 0 else self.cleaned_data.get("high_end", "")

    def _check_end(self, number: str, end: str) -> None:
        data = self.cleaned_data
        if {number, end, "direction"} & set(self.errors):
            return
        if data[number] == 0:
            data[end] = data[end] or "level"
        elif not data[end]:
            self.add_error(end, "Say which end is high.")
        elif data[end] == "level":
            self.add_error(end, "It shows more than 0: say which end is high.")
        if data.get(end) and data[end] not in ENDS_OF[data["direction"]]:
            wanted = " or ".join(ENDS_OF[data["direction"]][:2])
            self.add_error(end, f"A level laid {data['direction']} is high at the {wanted}.")


Readings = forms.formset_factory(
    ReadingForm, extra=0, max_num=MOST_READINGS, absolute_max=MOST_READINGS, validate_max=True
)


class SurveyForm(WeightsForm):
    """One survey of one machine with its rows of readings.

    ``instruments`` and ``plans`` are the rows that may be chosen; nothing else is accepted.
    """

    instrument = forms.ChoiceField(label="Instrument")
    preconditions = forms.MultipleChoiceField(
        label="Before you read", choices=list(PRECONDITIONS.items()), required=False,
        widget=forms.CheckboxSelectMultiple,
    )  # fmt: skip
    stance = WordField(
        label="Do all four feet bear?", choices=STANCES_BY_SCALE,
        help_text="Press down on each corner. The corner that gives has the light foot; mostly it is a front one. "
        "FL: front left, as the player stands. RR: rear right.",
    )  # fmt: skip
    gap = GapField(
        label="Gap under the light foot", max_length=24,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        help_text="The thickest feeler that goes under, or the turns out until the foot bears.",
    )  # fmt: skip
    gap_unit = UnitField(label="Measured in", choices=GAP_UNITS, initial="mm")
    measured_at = forms.DateTimeField(
        label="Measured at", required=False,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        help_text="Leave it open for now. Time at the site.",
        error_messages={"invalid": "Write day and time such as 2026-05-04 12:30."},
    )  # fmt: skip
    note = TextField(label="Note", required=False, max_length=400)
    plan = forms.ChoiceField(required=False, widget=forms.HiddenInput)

    def __init__(
        self,
        data: Any = None,
        *,
        instruments: Sequence[Any],
        body: str,
        plans: Sequence[Any] = (),
        readings: Sequence[dict[str, Any]] = TWO_READINGS,
        **kwargs: Any,
    ) -> None:
        super().__init__(data, **kwargs)
        self._chosen = {"instrument": {str(row.pk): row for row in instruments}, "plan": {str(r.pk): r for r in plans}}
        self._playfield_mm = PLAYFIELDS_MM[body]
        fields: Any = self.fields
        shows = [(str(row.pk), f"{row.name}, shows {UNIT_SIGNS[row.unit]}") for row in instruments]
        fields["instrument"].choices = shows
        fields["plan"].choices = [("", ""), *((str(row.pk), "") for row in plans)]
        for name in ("instrument", "stance", "gap_unit", "weight_unit"):
            for fault in ("invalid_choice", "required"):
                fields[name].error_messages[fault] = "Choose one of the answers shown."
        sent = data if data is not None and "readings-TOTAL_FORMS" in data else None
        self.rows: Any = Readings(sent, prefix="readings", initial=None if sent is not None else list(readings))
        self._share_unit(instruments)

    def is_valid(self) -> bool:
        """Whether the form and all its rows can be saved."""
        if not self.is_bound:
            return False
        own, rows = super().is_valid(), self._rows_are_clear()
        if not rows and not self.non_field_errors():
            self.add_error(None, "Look at the readings again: not all of them are clear yet.")
        return own and rows

    @property
    def readings(self) -> list[dict[str, Any]]:
        """The readings of the rows that are clear, in their order."""
        instrument = self.cleaned_data.get("instrument")
        unit = instrument.unit if instrument else "deg"
        clear = [form for form in self.rows.forms if form.is_valid() and not form.is_blank]
        return [form.reading(unit=unit, playfield_mm=self._playfield_mm) for form in clear]

    @property
    def values(self) -> dict[str, Any]:
        """What was typed, understood."""
        own = {name: value for name, value in super().values.items() if name not in WEIGHT_NAMES}
        return {**own, **self.weighed, "readings": self.readings}

    @property
    def so_far(self) -> dict[str, Any]:
        """What can be told from a form that is still being filled."""
        unclear, data = self.errors, self.cleaned_data
        stance = "unknown" if "gap" in unclear else data.get("stance") or "unknown"
        return {
            "instrument": data.get("instrument"),
            "readings": self.readings,
            "measured_at": data.get("measured_at"),
            "stance": stance,
            "gap": data.get("gap", 0.0),
            "gap_unit": data.get("gap_unit", "mm"),
            "weights_kg": self.weighed["weights_kg"],
        }

    @property
    def doubts(self) -> list[str]:
        """What is not clear yet, in words, for the live answer."""
        own = [
            f"{self.fields[name].label}: {errors[0]}"
            for name, errors in self.errors.items()
            if name == "gap" or name in WEIGHT_NAMES or (name in self.fields and self[name].data not in (None, ""))
        ]
        if self.readings and not self.cleaned_data.get("stance"):
            own.append("Say whether all four feet bear.")
        self._rows_are_clear()
        rows = [
            f"Reading {place}{', turned' if name.startswith('turned') else ''}: {errors[0]}"
            for place, form in enumerate(self.rows.forms, 1)
            for name, errors in form.errors.items()
        ]
        return own + rows

    def clean_instrument(self) -> Any:
        """Return the instrument that was chosen."""
        return self._chosen["instrument"][self.cleaned_data["instrument"]]

    def clean_plan(self) -> Any:
        """Return the leg plan that this survey checks, or None."""
        return self._chosen["plan"].get(self.cleaned_data["plan"])

    def clean_measured_at(self) -> datetime.datetime | None:
        """Return when it was measured; None means now."""
        at: datetime.datetime | None = self.cleaned_data["measured_at"]
        if at is not None and not 2000 <= at.year <= 2100:
            raise ValidationError("Write a day between 2000 and 2100.")
        return at

    def clean(self) -> dict[str, Any]:
        """Read the gap by its unit: it belongs to a light foot only."""
        data: dict[str, Any] = super().clean() or self.cleaned_data
        text = data.get("gap", "")
        data["gap_unit"] = data.get("gap_unit") or "mm"
        data["gap_text"], data["gap"] = "", 0.0
        if data.get("stance") not in LIGHT_FEET or "gap" in self.errors:
            return data
        if not text:
            self.add_error("gap", "Measure the gap under the light foot, or choose Not checked.")
            return data
        try:
            number = read_turns(text) if data["gap_unit"] == "turns" else read_number(text)
        except NotANumber as error:
            self.add_error("gap", str(error))
            return data
        if not 0 < number <= MOST_GAP:
            self.add_error("gap", f"Write a number above 0 and up to {MOST_GAP:g}.")
        data["gap_text"], data["gap"] = text, number
        return data

    def _rows_are_clear(self) -> bool:
        """Whether every row that holds something can be understood."""
        instrument = self.cleaned_data.get("instrument")
        for form in self.rows.forms:
            if form.is_valid() and not form.is_blank:
                form.refuse_steep(instrument.unit if instrument else "deg")
        return bool(self.rows.is_valid())

    def _share_unit(self, instruments: Sequence[Any]) -> None:
        """Say which unit "as it shows" is, where all instruments show the same."""
        units = {row.unit for row in instruments}
        if len(units) == 1:
            shown = next(iter(units))
            others = [(unit, sign) for unit, sign in UNIT_SIGNS.items() if unit != shown]
            for form in self.rows.forms:
                kept = form["unit"].value() == shown  # a reading kept in that very unit names it
                form.fields["unit"].choices = [(shown if kept else "", UNIT_SIGNS[shown]), *others]


class CorrectionForm(SurveyForm):
    """A survey that takes the place of another one, with the reason."""

    why = TextField(
        label="What was wrong?", max_length=400, help_text="Stays beside both surveys. The old one can still be read."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["measured_at"].help_text = "Leave it open to keep the time of the old one. Time at the site."

    @property
    def values(self) -> dict[str, Any]:
        """What was typed, understood; the reason is the author's, the plan the old one's."""
        return {name: value for name, value in super().values.items() if name not in ("why", "plan")}


def typed_again(data: Any, *, one_more: bool = False) -> dict[str, Any]:
    """Return what was sent as the starting values of a fresh form: nothing checked, nothing lost."""
    fields = SurveyForm.base_fields | CorrectionForm.base_fields
    initial = {name: data[name] for name in fields if data.get(name) and name != "preconditions"}
    sent = data.get("readings-TOTAL_FORMS", "")
    count = min(int(sent), MOST_READINGS) if sent.isdecimal() and len(sent) < 4 else 0
    rows = [
        {name: data.get(f"readings-{place}-{name}", "") for name in ReadingForm.base_fields} for place in range(count)
    ]
    rows = rows or list(TWO_READINGS)
    if one_more and len(rows) < MOST_READINGS:
        rows.append(dict(ONE_MORE))
    return {"initial": {**initial, "preconditions": data.getlist("preconditions")}, "readings": rows}


def typed_survey(survey: Any, readings: Sequence[Any]) -> dict[str, Any]:
    """Return a stored survey as the starting values of its correction."""
    turned = {reading.pair: reading for reading in readings if reading.is_reversed}
    rows = []
    for first in (reading for reading in readings if not reading.is_reversed):
        row = {name: getattr(first, name) for name in ("direction", "unit", "high_end", "spot")} | {"value": first.text}
        second = turned.get(first.pair) if first.pair is not None else None
        if second:
            row |= {"turned_value": second.text, "turned_high_end": second.high_end}
        rows.append(row)
    kept = ("preconditions", "stance", "gap_unit", "note")
    initial = {name: getattr(survey, name) for name in kept}
    initial |= {"instrument": str(survey.instrument_id), "gap": survey.gap_text, **weights_again(survey.weights)}
    return {"initial": initial, "readings": rows}
