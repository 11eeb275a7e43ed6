"""Forms about vials: the vial itself, a pair of bubble and level, reading it, its strip."""

from collections.abc import Sequence
from typing import Any

from django import forms

from collection import presets
from collection.forms.base import ReasonForm, WriteForm
from collection.forms.fields import CHOOSE, NumberField, TextField, WordField
from collection.forms.surveys_readings import UNIT_SIGNS, ShownField
from leveling.units import slope_in

DIRECTIONS = [("along", "along: it shows pitch"), ("across", "across: it shows roll")]
SIDES = {
    "along": [("rear", "rear"), ("front", "front"), ("middle", "in the middle")],
    "across": [("right", "right"), ("left", "left"), ("middle", "in the middle")],
}
HIGH_ENDS = {
    "along": [("rear", "rear"), ("front", "front"), ("level", "level")],
    "across": [("right", "right"), ("left", "left"), ("level", "level")],
}
_ALL_SIDES = [*SIDES["along"][:2], *SIDES["across"]]
_ALL_ENDS = [*HIGH_ENDS["along"][:2], *HIGH_ENDS["across"]]
MOST_LINES = 20.0
MOST_TILT_DEG = 20.0
#: A strip must fit a sheet of A4 or US Letter between its margins.
LONGEST_STRIP_MM = 180.0
STRIP_ENDS_MM = 20.0
SPACING_MM = 5.0


class VialForm(WriteForm):
    """A vial that is built into a machine."""

    name = TextField(label="Name", max_length=80)
    direction = WordField(label="It lies", choices=DIRECTIONS, initial="along")
    reach_lines = NumberField(
        label="Lines to either side of the middle", unit="lines", low=0.5, high=MOST_LINES,
        initial=f"{presets.REACH_LINES:g}", help_text="From the middle line to the last one.",
    )  # fmt: skip
    deg_per_line = NumberField(
        label="One line means", unit="degrees", low=0.01, high=5, required=False,
        help_text="From the manual of the machine. Leave it open if it does not say: pairs will tell.",
    )  # fmt: skip
    middle_deg = NumberField(
        label="With the bubble in the middle, the playfield has", unit="degrees", low=-20, high=20, required=False,
        help_text="From the manual too. Minus: front or left side high.",
    )  # fmt: skip


class VialEditForm(ReasonForm, VialForm):
    """An edit of a vial."""


class BubbleForm(WriteForm):
    """Where a bubble stands: lines counted, and to which side."""

    lines = NumberField(
        label="Lines from the middle line to the middle of the bubble", unit="lines", low=0, high=MOST_LINES,
        help_text="Halves count. Read both ends of the bubble and take the middle between them.",
    )  # fmt: skip
    side = WordField(label="The bubble stands", choices=_ALL_SIDES, required=False)

    def __init__(self, *args: Any, direction: str = "along", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["side"]
        field.choices = SIDES[direction]

    def clean(self) -> dict[str, Any]:
        """Check that lines and side fit together."""
        found = super().clean() or self.cleaned_data
        lines, side = found.get("lines"), found.get("side")
        if lines is None or "side" in self.errors:
            return found
        if lines == 0:
            found["side"] = "middle"
        elif not side:
            self.add_error("side", "Say to which side the bubble stands.")
        elif side == "middle":
            self.add_error("side", "You counted lines: say to which side.")
        return found


class PairForm(BubbleForm):
    """A pair: bubble and level read at the same moment. ``levels`` are the rows that may be chosen."""

    level = forms.ChoiceField(label="Level", error_messages=CHOOSE)
    shown = ShownField(
        label="The level shows", required=True, help_text="Lay it on bare board, beside the vial if you can."
    )
    high_end = WordField(label="High end", choices=_ALL_ENDS, required=False)
    unit = forms.ChoiceField(
        label="Unit", required=False, error_messages=CHOOSE,
        choices=[("", "as the level shows"), *UNIT_SIGNS.items()],
    )  # fmt: skip
    field_order = ("level", "shown", "high_end", "unit", "lines", "side")

    def __init__(self, *args: Any, levels: Sequence[Any] = (), direction: str = "along", **kwargs: Any) -> None:
        super().__init__(*args, direction=direction, **kwargs)
        self._levels = {str(row.pk): row for row in levels}
        level, high_end = (self.fields[name] for name in ("level", "high_end"))
        level.choices = [(key, f"{row.name}, shows {UNIT_SIGNS[row.unit]}") for key, row in self._levels.items()]  # type: ignore[attr-defined]
        high_end.choices = HIGH_ENDS[direction]  # type: ignore[attr-defined]

    def clean_level(self) -> Any:
        """Return the level that was chosen."""
        return self._levels[self.cleaned_data["level"]]

    def clean(self) -> dict[str, Any]:
        """Check that the number and its end fit together and lie on a playfield."""
        found = super().clean() or self.cleaned_data
        level, shown, end = found.get("level"), found.get("shown"), found.get("high_end")
        if level is None or shown is None or {"high_end", "unit"} & set(self.errors):
            return found
        found["unit"] = found.get("unit") or level.unit
        if shown == 0:
            found["high_end"] = "level"
        elif not end:
            self.add_error("high_end", "Say which end is high.")
        elif end == "level":
            self.add_error("high_end", "It shows more than 0: say which end is high.")
        if shown > float(slope_in(MOST_TILT_DEG, found["unit"])) * (1 + 1e-9):
            self.add_error("shown", f"That is steeper than {MOST_TILT_DEG:g}°. Check the number and its unit.")
        return found

    @property
    def values(self) -> dict[str, Any]:
        """What was typed, understood, and the text of both numbers beside it."""
        texts = {f"{name}_text": str(self[name].value()).strip() for name in ("shown", "lines")}
        return {**super().values, **texts}

    @property
    def so_far(self) -> dict[str, Any] | None:
        """The pair without its texts, if all of it is clear; None while something is missing."""
        return super().values if self.is_valid() else None


class LeaveOutForm(WriteForm):
    """Why a pair should not count."""

    why = TextField(
        label="What was wrong with it?", max_length=400, help_text="The pair stays in the list, crossed out."
    )


class StripForm(forms.Form):
    """How far apart the vial's lines are, so that its strip lies beside it line by line."""

    use_required_attribute = False
    spacing_mm = NumberField(
        label="From one line to the next", unit="mm", low=1, high=30, initial=f"{SPACING_MM:g}",
        help_text="Measure over several lines and divide.",
    )  # fmt: skip

    def __init__(self, *args: Any, reach_lines: float = presets.REACH_LINES, **kwargs: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kwargs})
        self._reach_lines = reach_lines

    @property
    def asked_mm(self) -> float:
        """The spacing that was typed, or the usual one where nothing clear was."""
        clear = self.is_bound and self.is_valid()
        return float(self.cleaned_data["spacing_mm"]) if clear else usual_spacing_mm(self._reach_lines)

    def clean_spacing_mm(self) -> float:
        """Refuse a strip that is longer than a sheet."""
        spacing: float = self.cleaned_data["spacing_mm"]
        most = _most_spacing_mm(self._reach_lines)
        if spacing > most:
            raise forms.ValidationError(f"Write a number up to {most:.3g} mm: the strip would be longer than a sheet.")
        return spacing


def usual_spacing_mm(reach_lines: float) -> float:
    """Return the spacing that is offered: closer where a vial of many lines would outgrow a sheet."""
    return min(SPACING_MM, _most_spacing_mm(reach_lines))


def _most_spacing_mm(reach_lines: float) -> float:
    return (LONGEST_STRIP_MM - STRIP_ENDS_MM) / 2 / reach_lines
