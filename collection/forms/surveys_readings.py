"""The rows of a survey's form: what was read, how, and where, by what it was read with."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from collection.forms.fields import NumberField, WordField
from collection.presets import MOST_TILT_DEG, SPOTS
from leveling.units import slope_in

DIRECTIONS = [("along", "along"), ("across", "across")]
HIGH_ENDS = [("rear", "rear"), ("front", "front"), ("left", "left"), ("right", "right"), ("level", "level")]
ENDS_OF = {"along": ("rear", "front", "level"), "across": ("left", "right", "level")}
UNIT_SIGNS = {"deg": "°", "mm_per_m": "mm/m", "in_per_ft": "in/ft", "percent": "%"}
UNITS = [("", "auto"), *UNIT_SIGNS.items()]
MOST_READINGS = 24

#: What a number of these kinds is called where it is missing, by direction.
_MISSING = {
    ("blocks", "along"): "Write the angle of the block under the bubble, such as 6.5.",
    ("vial", "along"): "Count the lines from the middle line, such as 1.5.",
    ("vial", "across"): "Count the lines from the middle line, such as 1.5.",
    ("ball", "along"): "Write how long it took from the mark to the line.",
    ("ball", "across"): "Measure how far aside it crossed the line, 0 if straight.",
}
#: The most that can be meant of what is no slope, with its unit; a ball needs less than 6 s for 2 m at 1 degree.
_MOST = {
    "blocks": (MOST_TILT_DEG, "degrees"), "vial": (20.0, "lines"), "watch": (20.0, "seconds"), "aside": (400.0, "mm")
}  # fmt: skip


class ShownField(NumberField):
    """What an instrument shows, without its sign: the high end is asked in words."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"low": 0, "high": 40_000, "required": False, **kwargs})

    def clean(self, value: Any) -> float | None:
        """Return the number, or raise ValidationError with the remedy."""
        text = str(value or "").strip().replace("\u2212", "-")
        if text.startswith("-"):
            raise ValidationError("Leave the minus out, and say which end is high.", code="signed")
        return super().clean(value)


class ReadingForm(forms.Form):
    """One reading. A row that says nothing is left out.

    ``means`` holds the instrument of each direction; without it a level that shows a number.
    """

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

    def __init__(self, *args: Any, means: Mapping[str, Any] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kwargs})
        self._means = means or {}

    @property
    def kind(self) -> str:
        """What the row's direction was read with."""
        instrument = self._means.get(str(self["direction"].data or ""))
        return instrument.kind if instrument else "digital_level"

    @property
    def shows_number(self) -> bool:
        """Whether it was read with a level, whose number is a slope."""
        instrument = self._means.get(str(self["direction"].data or ""))
        return instrument is None or bool(instrument.has_zero)

    @property
    def is_look(self) -> bool:
        """Whether nothing but the bubble tells: no number is asked."""
        return self.kind == "bubble" or (self.kind == "blocks" and self["direction"].data == "across")

    @property
    def is_blank(self) -> bool:
        """Whether nothing was read in this row."""
        if self.is_look:
            return not self._typed("high_end")
        if self.shows_number:
            return not (self._typed("value") or self._typed("turned_value") or self._typed("high_end") == "level")
        return not self._typed("value")

    def clean(self) -> dict[str, Any]:
        """Check that the row's answers fit together."""
        data: dict[str, Any] = self.cleaned_data
        if self.is_blank:
            return data
        if not data.get("direction") and "direction" not in self.errors:
            self.add_error("direction", "Say how the level lay: along or across.")
        if self.shows_number:
            self._check_level()
        else:
            self._check_other()
        return data

    def reading(self, *, unit: str, playfield_mm: tuple[float, float]) -> dict[str, Any]:
        """The reading as an action takes it: what was typed beside what it means."""
        data = self.cleaned_data
        spot = SPOTS.get(data["spot"])
        turned = self._is_turned()
        looks = self.is_look or self.kind == "blocks"
        return {
            "direction": data["direction"],
            "text": "" if self.is_look else self._typed("value"),
            "value": None if self.is_look else data["value"],
            "unit": self._unit(unit),
            "high_end": data["high_end"],
            "turned_text": "" if self.is_look else self._typed("value" if looks else "turned_value"),
            "turned_value": None if self.is_look else data["value" if looks else "turned_value"],
            "turned_high_end": data["turned_high_end"] if turned else "",
            "spot": data["spot"],
            "x_mm": spot.across * playfield_mm[0] if spot else None,
            "y_mm": spot.up * playfield_mm[1] if spot else None,
        }

    def refuse_steep(self, unit: str) -> None:
        """Add an error to a number that no playfield reads."""
        if self.is_look:
            return
        if not self.shows_number:
            most, words = self._most
            if (self.cleaned_data.get("value") or 0) > most:
                self.add_error("value", f"Write a number up to {most:g} {words}.")
            return
        limit = float(slope_in(MOST_TILT_DEG, self.cleaned_data.get("unit") or unit))
        for name in ("value", "turned_value"):
            if (self.cleaned_data.get(name) or 0) > limit * (1 + 1e-9):
                self.add_error(name, f"That is steeper than {MOST_TILT_DEG:g}°. Check the number and its unit.")

    @property
    def _most(self) -> tuple[float, str]:
        """The most that a row can mean which was not read with a level, and its unit."""
        if self.kind != "ball":
            return _MOST[self.kind]
        if self.cleaned_data.get("direction") == "across":
            return _MOST["aside"]
        film_hz, (most_s, words) = self._means["along"].film_hz, _MOST["watch"]
        return (most_s * film_hz, "frames") if film_hz else (most_s, words)

    def _check_level(self) -> None:
        data = self.cleaned_data
        if not self._typed("value"):
            self.add_error("value", "Write what it shows, such as 0.")
        self._check_end("value", "high_end")
        if self._typed("turned_value"):
            data["turned_high_end"] = data.get("turned_high_end") or self._end_again()
            self._check_end("turned_value", "turned_high_end")

    def _check_other(self) -> None:
        """Check a row that was read with a bubble, blocks, a vial or a ball."""
        data, way = self.cleaned_data, self.cleaned_data.get("direction", "")
        if not self.is_look and not self._typed("value"):
            self.add_error("value", _MISSING.get((self.kind, way), "Write the number."))
        if self.kind == "ball" and way == "along":
            data["high_end"] = "rear"
            if data.get("value") == 0 and "value" not in self.errors:
                self.add_error("value", "Write more than 0: how long it took from the mark to the line.")
        elif self.kind in ("vial", "ball"):
            self._check_end("value", "high_end")
        else:
            self._check_look("high_end")
            if self._is_turned():
                self._check_look("turned_high_end")

    def _check_look(self, end: str) -> None:
        data = self.cleaned_data
        if {end, "direction"} & set(self.errors) or not data.get("direction"):
            return
        if not data[end]:
            self.add_error(end, "Say which end of the bubble is high, or level.")
        elif data[end] not in ENDS_OF[data["direction"]]:
            self._add_wrong_end(end)

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
            self._add_wrong_end(end)

    def _add_wrong_end(self, end: str) -> None:
        direction = self.cleaned_data["direction"]
        wanted = " or ".join(ENDS_OF[direction][:2])
        self.add_error(end, f"A level laid {direction} is high at the {wanted}.")

    def _is_turned(self) -> bool:
        """Whether the row holds a second reading, turned end for end."""
        if self.shows_number:
            return bool(self._typed("turned_value"))
        return self.kind in ("bubble", "blocks") and bool(self._typed("turned_high_end"))

    def _unit(self, unit: str) -> str:
        data = self.cleaned_data
        if self.shows_number:
            return str(data["unit"] or unit)
        if self.is_look:
            return "look"
        if self.kind == "ball" and data["direction"] == "along":
            return "frames" if self._means["along"].film_hz else "s"
        return {"blocks": "block", "vial": "lines", "ball": "mm"}[self.kind]

    def _typed(self, name: str) -> str:
        return str(self[name].data or "").strip()

    def _end_again(self) -> str:
        """The end that was high after turning, if nobody said: the same one, unless it shows 0 now."""
        return "" if self.cleaned_data.get("turned_value") == 0 else self.cleaned_data.get("high_end", "")


Readings = forms.formset_factory(
    ReadingForm, extra=0, max_num=MOST_READINGS, absolute_max=MOST_READINGS, validate_max=True
)
