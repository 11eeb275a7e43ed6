"""The form of a quick check: where the level lies, what it shows along and across, and whether it teaches."""

from collections.abc import Sequence
from typing import Any

from django import forms

from collection import presets
from collection.forms.base import WriteForm
from collection.forms.fields import CHOOSE, WordField
from collection.forms.surveys_readings import UNIT_SIGNS, ShownField
from leveling.units import slope_in

PLACES = [("glass", "On the glass"), ("rail", "On the side rail")]
PITCH_ENDS = [("rear", "rear"), ("front", "front")]
ROLL_ENDS = [("left", "left"), ("right", "right"), ("level", "neither")]
UNITS = [("", "as the level shows"), *presets.SLOPE_UNITS.items()]
MOST_TILT_DEG = 20.0


class QuickCheckForm(WriteForm):
    """Two readings on glass or rail.

    ``levels`` are the instruments that may be chosen. ``survey`` is the one beside which the reading may be kept to
    learn from, None if there is none.
    """

    place = WordField(label="Where the level lies", choices=PLACES, initial="glass")
    pitch = ShownField(
        label="Along, it shows", required=True, help_text="Front to rear, beside the middle. Leave out any sign."
    )
    pitch_high = WordField(label="High end, along", choices=PITCH_ENDS, initial="rear")
    roll = ShownField(
        label="Across, it shows", required=True, help_text="Left to right, square to the cabinet. 0 if level."
    )
    roll_high = WordField(label="High end, across", choices=ROLL_ENDS, required=False)
    pair_with = WordField(label="What is it for?", required=False)
    instrument = forms.ChoiceField(
        label="Level", error_messages=CHOOSE,
        help_text="Lay the marked end to the rear or to the right, at the same place each time.",
    )  # fmt: skip
    unit = forms.ChoiceField(label="The display shows", choices=UNITS, required=False, error_messages=CHOOSE)

    def __init__(self, *args: Any, levels: Sequence[Any], survey: Any = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._levels, self._survey = {str(level.pk): level for level in levels}, survey
        fields: Any = self.fields
        fields["instrument"].choices = [
            (str(level.pk), f"{level.name}, shows {UNIT_SIGNS[level.unit]}") for level in levels
        ]
        fields["pair_with"].choices = [("", "Check the machine")]
        if survey is not None:
            fields["pair_with"].choices += [(str(survey.pk), "I just surveyed it: learn from this")]
        if len({level.unit for level in levels}) == 1 and not self._names_a_unit:
            fields["pitch"].unit = fields["roll"].unit = UNIT_SIGNS[levels[0].unit]

    @property
    def _names_a_unit(self) -> bool:
        return bool(self.is_bound and self.data.get("unit"))

    @property
    def teaches(self) -> bool:
        """Whether the reading is to be kept to learn from."""
        return self.is_bound and bool(self.cleaned_data.get("pair_with"))

    def clean_instrument(self) -> Any:
        """Return the level that was chosen."""
        return self._levels[self.cleaned_data["instrument"]]

    def clean_pair_with(self) -> Any:
        """Return the survey to learn beside, or None."""
        return self._survey if self.cleaned_data["pair_with"] else None

    def clean(self) -> dict[str, Any]:
        """Settle the unit, and refuse a steep reading and an end beside 0 that is none."""
        found = super().clean() or self.cleaned_data
        level = found.get("instrument")
        if level and "unit" not in self.errors:
            found["unit"] = found.get("unit") or level.unit
        for name in ("pitch", "roll"):
            self._check(found, name)
        return found

    @property
    def shown(self) -> tuple[tuple[float, str], tuple[float, str]]:
        """Number and high end, along and across."""
        data = self.cleaned_data
        return (data["pitch"], data["pitch_high"]), (data["roll"], data["roll_high"])

    @property
    def so_far(self) -> dict[str, Any] | None:
        """What the readings are worth while someone types; None while something is missing."""
        if not self.is_valid():
            return None
        return {name: self.cleaned_data[name] for name in ("instrument", "place", "unit", "pair_with")} | {
            "shown": self.shown
        }

    def text_of(self, name: str) -> str:
        """A reading as it was typed."""
        return str(self[name].value()).strip()

    def _check(self, found: dict[str, Any], name: str) -> None:
        number, end = found.get(name), f"{name}_high"
        if number is None or {name, end} & set(self.errors):
            return
        if number == 0:
            found[end] = "level"
        elif found.get(end) in ("", None):
            self.add_error(end, "Say which end is high.")
        elif found[end] == "level":
            self.add_error(end, "It shows more than 0: say which side is high.")
        if found.get("unit") and number > float(slope_in(MOST_TILT_DEG, found["unit"])) * (1 + 1e-9):
            self.add_error(name, f"That is steeper than {MOST_TILT_DEG:g}°. Check the number and its unit.")


def typed_again(data: Any) -> dict[str, Any]:
    """Return what was sent as the starting values of a fresh form: nothing checked, nothing lost."""
    return {name: data[name] for name in QuickCheckForm.base_fields if name in data}
