"""Forms about floors, bays and the slopes read off them."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from collection import presets
from collection.forms.base import ReasonForm, WriteForm
from collection.forms.fields import CHOOSE, NumberField, TextField

SURFACES = list(presets.SURFACES.items())
DIRECTIONS = [(str(degrees), words) for degrees, words in presets.PLAN_DIRECTIONS.items()]
SLOPE_UNITS = list(presets.SLOPE_UNITS.items())
MOST_READINGS = 8


class FloorForm(WriteForm):
    """A new floor."""

    name = TextField(label="Name", max_length=80, help_text="Such as main room or upstairs.")
    surface = forms.ChoiceField(label="Surface", choices=SURFACES, error_messages=CHOOSE)
    width_mm = NumberField(
        label="Width, left wall to right wall", unit="mm", low=500, high=200_000, initial="8000",
        help_text="For the drawing; a pace is about 750 mm.",
    )  # fmt: skip
    depth_mm = NumberField(
        label="Depth, front wall to back wall", unit="mm", low=500, high=200_000, initial="6000",
        help_text="Stand in the main door: the front wall is behind you.",
    )  # fmt: skip


class FloorEditForm(ReasonForm, FloorForm):
    """An edit of a floor."""


class BayForm(WriteForm):
    """A new bay: where on the plan, which way, what can be reached."""

    name = TextField(label="Name", max_length=80, help_text="Such as bay 2 or by the bar.")
    heading_deg = forms.TypedChoiceField(
        label="The machine’s rear points to the", choices=DIRECTIONS, coerce=float, initial="0", error_messages=CHOOSE,
        help_text="The backbox end. The player looks this way.",
    )  # fmt: skip
    x_mm = NumberField(
        label="From the left wall", unit="mm", low=0, high=200_000, help_text="To the middle of the machine."
    )
    y_mm = NumberField(
        label="From the front wall", unit="mm", low=0, high=200_000, help_text="To the middle of the machine."
    )
    front_reachable = forms.BooleanField(label="The front can be reached and lifted here", required=False, initial=True)
    rear_reachable = forms.BooleanField(
        label="The rear can be reached and lifted here", required=False, initial=True,
        help_text="In a row against a wall it usually cannot.",
    )  # fmt: skip

    def __init__(self, *args: Any, floor_width_mm: float, floor_depth_mm: float, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        fields: Any = self.fields
        fields["x_mm"].high, fields["y_mm"].high = floor_width_mm, floor_depth_mm


class BayEditForm(ReasonForm, BayForm):
    """An edit of a bay."""


class SlopeForm(WriteForm):
    """What goes for all readings of one slope."""

    unit = forms.ChoiceField(label="The level shows", choices=SLOPE_UNITS, error_messages=CHOOSE)
    instrument = forms.ChoiceField(
        label="Measured with",
        required=False,
        error_messages=CHOOSE,
        help_text="Tells how sure the slope is.",
    )
    why = TextField(label="Note", max_length=400, required=False)

    def __init__(self, *args: Any, instruments: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["instrument"]
        field.choices = [("", "another level that shows 0.1°"), *instruments]


class SlopeReadingForm(forms.Form):
    """One slope: how much, and toward where the floor rises."""

    use_required_attribute = False
    amount = NumberField(label="Slope", low=0, high=260, required=False)
    rises_toward = forms.TypedChoiceField(
        label="Rises toward the", choices=DIRECTIONS, coerce=float, error_messages=CHOOSE
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kwargs})


class BaseSlopeReadings(forms.BaseFormSet):
    """The readings of one slope: empty rows are left out; two directions at least are needed."""

    def clean(self) -> None:
        """Raise ValidationError if the readings cannot tell a plane."""
        if any(self.errors):
            return
        if len({form.cleaned_data["rises_toward"] % 180 for form in self.filled}) < 2:
            raise ValidationError("Read the slope in two directions at least: front to back, and left to right.")

    @property
    def filled(self) -> list[SlopeReadingForm]:
        """The rows that hold a reading."""
        return [form for form in self.forms if form.is_valid() and form.cleaned_data.get("amount") is not None]


SlopeReadings = forms.formset_factory(
    SlopeReadingForm, formset=BaseSlopeReadings, extra=0, max_num=MOST_READINGS, absolute_max=MOST_READINGS
)
TWO_DIRECTIONS = [{"rises_toward": "0"}, {"rises_toward": "90"}]
