"""Forms about surveys: how the machine stood, and one row for each reading."""

import datetime
from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from collection.forms.fields import TextField, WordField
from collection.forms.numbers import NotANumber, read_number, read_turns
from collection.forms.surveys_readings import MOST_READINGS, UNIT_SIGNS, ReadingForm, Readings
from collection.forms.surveys_weights import WEIGHED, WEIGHT_NAMES, UnitField, WeightsForm, weights_again
from collection.presets import GAP_STEP_TURNS, GAP_STEP_WORDS, PLAYFIELDS_MM, PRECONDITIONS

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
GAP_STEPS = [(f"{step:g}", f"{words} turn") for step, words in GAP_STEP_WORDS.items()]
LIGHT_FEET = ("FL", "FR", "RL", "RR")

MOST_GAP = 20.0
TWO_READINGS = (
    {"direction": "along", "high_end": "rear", "spot": "middle"},
    {"direction": "across", "spot": "lower_centre"},
)
#: What "add a reading" puts into a fresh row: roll is the harder one to know.
ONE_MORE = {"direction": "across"}


class GapField(TextField):
    """The gap as it was typed: asked for, and needed only with a light foot, which the form sees to."""

    def validate(self, value: Any) -> None:
        """Accept no answer."""


class MeansSelect(forms.Select):
    """The instruments that can be chosen; each says what kind it is, so that the rows ask what it shows."""

    def __init__(self) -> None:
        super().__init__()
        self.kinds: dict[str, str] = {}

    def create_option(self, name: str, value: Any, *args: Any, **kwargs: Any) -> dict[str, Any]:
        """Return the option with its kind beside its value."""
        option: dict[str, Any] = super().create_option(name, value, *args, **kwargs)
        option["attrs"]["data-kind"] = self.kinds.get(str(value), "")
        return option


class SurveyForm(WeightsForm):
    """One survey of one machine with its rows of readings.

    ``instruments`` and ``plans`` are the rows that may be chosen; nothing else is accepted.
    """

    instrument = forms.ChoiceField(label="Instrument", widget=MeansSelect)
    instrument_across = forms.ChoiceField(
        label="Across, read with", required=False, widget=MeansSelect,
        help_text="A plain bubble tells no pitch and a vial lies one way: then read the other way with something else.",
    )  # fmt: skip
    preconditions = forms.MultipleChoiceField(
        label="Before you read", choices=list(PRECONDITIONS.items()), required=False,
        widget=forms.CheckboxSelectMultiple,
    )  # fmt: skip
    stance = WordField(
        label="Do all four feet bear?", choices=STANCES_BY_SCALE,
        help_text="Press both front corners in turn, then both rear ones. The corner that gives has the light foot; "
        "mostly it is a front one. Pressing is a sign only, so compare the rear corners too. "
        "FL: front left, as the player stands. RR: rear right.",
    )  # fmt: skip
    gap = GapField(
        label="Gap under the light foot", max_length=24,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        help_text="The thickest feeler blade that goes under, or the turns out until the foot bears. "
        "No finger under it.",
    )  # fmt: skip
    gap_unit = UnitField(label="Measured in", choices=GAP_UNITS, initial="mm")
    gap_step_turns = UnitField(
        label="Turns counted to the nearest", choices=GAP_STEPS, initial=f"{GAP_STEP_TURNS:g}",
        help_text="The finer you count, the surer the gap.",
    )  # fmt: skip
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
        rows = {str(row.pk): row for row in instruments}
        self._chosen = {"instrument": rows, "instrument_across": rows, "plan": {str(r.pk): r for r in plans}}
        self._playfield_mm = PLAYFIELDS_MM[body]
        fields: Any = self.fields
        shows = [(key, shown_words(row)) for key, row in rows.items()]
        fields["instrument"].choices = shows
        fields["instrument_across"].choices = [("", "The same as along"), *shows]
        for name in ("instrument", "instrument_across"):
            fields[name].widget.kinds = {key: group_of(row) for key, row in rows.items()}
        fields["plan"].choices = [("", ""), *((str(row.pk), "") for row in plans)]
        for name in ("instrument", "instrument_across", "stance", "gap_unit", "weight_unit"):
            for fault in ("invalid_choice", "required"):
                fields[name].error_messages[fault] = "Choose one of the answers shown."
        sent = data if data is not None and "readings-TOTAL_FORMS" in data else None
        self.rows: Any = Readings(
            sent, prefix="readings", initial=None if sent is not None else list(readings),
            form_kwargs={"means": self._means},
        )  # fmt: skip
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
        """The readings of the rows that are clear, in their order; none that is steeper than a playfield."""
        self._rows_are_clear()
        clear = [form for form in self.rows.forms if form.is_valid() and not form.is_blank]
        return [form.reading(unit=self._unit_of(form), playfield_mm=self._playfield_mm) for form in clear]

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
            "instrument_across": data.get("instrument_across"),
            "readings": self.readings,
            "measured_at": data.get("measured_at"),
            "stance": stance,
            "gap": data.get("gap", 0.0),
            "gap_unit": data.get("gap_unit", "mm"),
            "gap_step_turns": data.get("gap_step_turns", GAP_STEP_TURNS),
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

    def clean_instrument_across(self) -> Any:
        """Return the instrument that was read across, or None for the same one."""
        return self._chosen["instrument_across"].get(self.cleaned_data["instrument_across"])

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
        data["gap_step_turns"] = float(data.get("gap_step_turns") or GAP_STEP_TURNS)
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

    @property
    def _means(self) -> dict[str, Any]:
        """The instrument of each direction, as far as one was chosen."""
        along = self._chosen["instrument"].get(str(self["instrument"].value() or ""))
        across = self._chosen["instrument"].get(str(self["instrument_across"].value() or ""))
        return {"along": along, "across": across or along}

    def _rows_are_clear(self) -> bool:
        """Whether every row that holds something can be understood."""
        for form in self.rows.forms:
            if form.is_valid() and not form.is_blank:
                form.refuse_steep(self._unit_of(form))
        return bool(self.rows.is_valid())

    def _unit_of(self, form: Any) -> str:
        """The unit that the instrument of a row's direction shows."""
        instrument = self._means.get(str(form["direction"].data or ""))
        return str(instrument.unit) if instrument else "deg"

    def _share_unit(self, instruments: Sequence[Any]) -> None:
        """Say which unit "as it shows" is, where all instruments show the same."""
        units = {row.unit for row in instruments if row.has_zero}
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


def shown_words(instrument: Any) -> str:
    """An instrument in the list of those that can be chosen."""
    if instrument.has_zero:
        return f"{instrument.name}, shows {UNIT_SIGNS[instrument.unit]}"
    return f"{instrument.name}, {instrument.kind_words}"


def group_of(instrument: Any) -> str:
    """What the rows ask for: level, bubble, blocks, vial, watch or film."""
    if instrument.kind == "ball":
        return "film" if instrument.film_hz else "watch"
    return "level" if instrument.has_zero else str(instrument.kind)


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
        row = {name: getattr(first, name) for name in ("direction", "high_end", "spot")} | {"value": first.text}
        row["unit"] = first.unit if first.unit in UNIT_SIGNS else ""
        second = turned.get(first.pair) if first.pair is not None else None
        if second:
            row |= {"turned_value": second.text, "turned_high_end": second.high_end}
        rows.append(row)
    kept = ("preconditions", "stance", "gap_unit", "note")
    initial = {name: getattr(survey, name) for name in kept}
    initial |= {"instrument": str(survey.instrument_id), "gap": survey.gap_text, **weights_again(survey.weights)}
    initial["gap_step_turns"] = f"{survey.gap_step_turns:g}"
    initial["instrument_across"] = str(survey.instrument_across_id or "")
    return {"initial": initial, "readings": rows}
