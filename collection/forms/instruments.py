"""Forms about instruments, the checks of their zero, and what happens to them."""

import datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from collection import presets
from collection.forms.base import EditForm, TopForm, WriteForm
from collection.forms.fields import NumberField, TextField, WordField
from collection.forms.surveys import ShownField
from leveling.units import slope_deg, slope_in

KINDS = [("digital_level", "Digital level"), ("inclinometer", "Another inclinometer")]
EVENTS = [("dropped", "Dropped or knocked"), ("battery", "Battery changed"), ("repaired", "Repaired or adjusted")]
SLOPE_UNITS = list(presets.SLOPE_UNITS.items())
SIDES = [("left", "left"), ("right", "right"), ("level", "neither")]

#: Field, lowest and highest value [degree]; the database holds the same ranges.
_IN_ITS_UNIT = (("resolution", 0.0001, 2.0), ("accuracy", 0.0, 5.0))
_STEEPEST_DEG = 45.0
_MOST = 1000.0  # mm/m at 45 degrees: no other unit gives more


class InstrumentForm(TopForm):
    """A new instrument. The defaults fit a plain digital level that shows 0.1 degree."""

    name = TextField(label="Name", max_length=80, help_text="As your people call it, such as red 230 mm level.")
    kind = WordField(label="Kind", choices=KINDS, initial="digital_level")
    unit = WordField(label="It shows", choices=SLOPE_UNITS, initial="deg", help_text="What stands behind its number.")
    resolution = NumberField(
        label="Smallest step of its display, in that unit", low=0, above=True, high=_MOST,
        initial=f"{presets.RESOLUTION_DEG:g}", help_text="0.1 if the last digit jumps from 6.4 to 6.5.",
    )  # fmt: skip
    accuracy = NumberField(
        label="Accuracy that its maker states, in that unit", low=0, high=_MOST,
        initial=f"{presets.ACCURACY_DEG:g}", help_text="The ± on its sheet or box.",
    )  # fmt: skip
    base_mm = NumberField(
        label="Length of its base", unit="mm", low=20, high=3000, initial=f"{presets.BASE_MM:g}",
        help_text="A longer base lies straighter on a playfield.",
    )  # fmt: skip
    alignment_deg = NumberField(
        label="How far it may lie askew, ±", unit="degrees", low=0, high=10, initial=f"{presets.ALIGNMENT_DEG:g}",
        help_text="1 by eye, less against a square or straight edge. It decides how sure roll is.",
    )  # fmt: skip
    repeat_deg = NumberField(
        label="Spread when it is laid down again", unit="degrees", low=0, high=2,
        initial=f"{presets.REPEAT_DEG:g}",
        help_text="Lay it down 5 times on one spot: a little under half of largest minus smallest.",
    )  # fmt: skip

    @property
    def details_open(self) -> bool:
        """Whether a field that is usually left alone has an error, so that it must show."""
        return any(self[name].errors for name in ("base_mm", "alignment_deg", "repeat_deg"))

    def clean(self) -> dict[str, Any]:
        """Turn the numbers that stand in the instrument's own unit into degrees."""
        found = super().clean() or self.cleaned_data
        unit = found.get("unit")
        for name, low, high in _IN_ITS_UNIT:
            number = found.pop(name, None)
            if number is None or not unit:
                continue
            found[f"{name}_deg"] = _degrees(number, unit)
            if not low <= found[f"{name}_deg"] <= high:
                words = f"from {as_typed(low, unit)} to {as_typed(high, unit)} {dict(SLOPE_UNITS)[unit]}"
                self.add_error(name, f"Write a number {words}.")
        return found


class InstrumentEditForm(EditForm, InstrumentForm):
    """An edit of an instrument."""


class ZeroForm(WriteForm):
    """A reversed pair: two readings of one line, and which side was high each time."""

    first = ShownField(label="It shows", required=True, help_text="Leave out any sign.")
    first_high = WordField(label="High side", choices=SIDES)
    turned = ShownField(label="It shows", required=True, help_text="Leave out any sign.")
    turned_high = WordField(label="High side", choices=SIDES)
    unit = WordField(label="The display shows", choices=SLOPE_UNITS)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, words in (("first", "1"), ("turned", "2")):
            for each in (name, f"{name}_high"):
                field: Any = self.fields[each]
                field.named = f"{words}. {field.label}"

    def clean(self) -> dict[str, Any]:
        """Refuse an angle beyond 45 degrees, and "shows 0" beside another number."""
        found = super().clean() or self.cleaned_data
        for name in ("first", "turned"):
            number, unit = found.get(name), found.get("unit")
            if number is None or not unit:
                continue
            if _degrees(number, unit) > _STEEPEST_DEG + 1e-9:
                limit = f"{as_typed(_STEEPEST_DEG, unit)} {dict(SLOPE_UNITS)[unit]}"
                self.add_error(name, f"Write a number from 0 to {limit}. Any steady, nearly level surface will do.")
            elif number and found.get(f"{name}_high") == "level":
                self.add_error(f"{name}_high", "It shows more than 0: say which side is high.")
        return found

    @property
    def so_far(self) -> dict[str, Any] | None:
        """Both readings, if they are clear; None while something is missing."""
        return self.values if self.is_valid() else None

    def text_of(self, name: str) -> str:
        """The reading as it was typed."""
        return str(self[name].value()).strip()


class EventForm(WriteForm):
    """What happened to an instrument, and when."""

    kind = WordField(label="What happened", choices=EVENTS)
    happened_at = forms.DateTimeField(
        label="When", required=False,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        error_messages={"invalid": "Write day and time such as 2026-05-04 12:30."},
    )  # fmt: skip
    note = TextField(label="Note", required=False, max_length=200)

    def __init__(self, *args: Any, place: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        where = f"Time at {place}." if place else "Time in UTC."
        self.fields["happened_at"].help_text = f"Leave it open if just now. {where}"

    def clean_happened_at(self) -> datetime.datetime | None:
        """Return when it happened; None means now."""
        at: datetime.datetime | None = self.cleaned_data["happened_at"]
        if at is not None and not 2000 <= at.year <= 2100:
            raise ValidationError("Write a day between 2000 and 2100.")
        return at


def typed_again(data: Any) -> dict[str, Any]:
    """Return what was sent of a zero check as the starting values of a fresh form: nothing checked, nothing lost."""
    return {name: data[name] for name in ZeroForm.base_fields if data.get(name)}


def as_typed(number_deg: float, unit: str) -> str:
    """Return an angle as a person would type it in a unit."""
    return f"{float(slope_in(number_deg, unit)):.10g}"


def _degrees(number: float, unit: str) -> float:
    return number if unit == "deg" else float(slope_deg(number, unit))
