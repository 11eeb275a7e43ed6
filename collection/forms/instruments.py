"""Forms about instruments, the checks of their zero, and what happens to them."""

import datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from collection import presets
from collection.forms import merges
from collection.forms.base import ReasonForm, TopForm, WriteForm
from collection.forms.fields import NumberField, TextField, WordField
from collection.forms.surveys_readings import ShownField
from leveling.units import slope_deg, slope_in

KINDS = [
    ("digital_level", "Digital level"),
    ("inclinometer", "Another inclinometer"),
    ("bubble", "Plain bubble"),
    ("blocks", "Angle blocks with a bubble"),
    ("ball", "Rolling ball"),
]
#: What each kind is asked; what it is not asked keeps its default.
_OF_A_LEVEL = ("unit", "resolution", "accuracy", "base_mm", "alignment_deg", "repeat_deg")
_ASKED = {
    "digital_level": _OF_A_LEVEL,
    "inclinometer": _OF_A_LEVEL,
    "bubble": ("sensitivity_deg", "own_error_deg", "alignment_deg", "repeat_deg"),
    "blocks": ("sensitivity_deg", "own_error_deg", "block_tolerance_deg", "repeat_deg"),
    "ball": ("run_mm", "film_hz", "run_askew_deg"),
}
_ASKED_ALL = frozenset(name for names in _ASKED.values() for name in names)
#: Names of columns where the form has words of its own for one kind.
_COLUMNS = {"own_error_deg": "accuracy_deg", "run_askew_deg": "alignment_deg"}
#: Folded away: usually left alone.
_DETAILS = ("base_mm", "alignment_deg", "repeat_deg", "run_askew_deg")
EVENTS = [("dropped", "Dropped or knocked"), ("battery", "Battery changed"), ("repaired", "Repaired or adjusted")]
VIAL_EVENTS = [("repaired", "Moved, refitted or replaced")]
SLOPE_UNITS = list(presets.SLOPE_UNITS.items())
SIDES = [("left", "left"), ("right", "right"), ("level", "neither")]

#: Field, lowest and highest value [degree]; the database holds the same ranges.
_IN_ITS_UNIT = (("resolution", 0.0001, 2.0), ("accuracy", 0.0, 5.0))
_STEEPEST_DEG = 45.0
_MOST = 1000.0  # mm/m at 45 degrees: no other unit gives more


class InstrumentForm(TopForm):
    """An instrument of one kind, asked only what that kind needs. The defaults are those of a plain one."""

    name = TextField(label="Name", max_length=80, help_text="As your people call it, such as red 230 mm level.")
    kind = WordField(label="Kind", choices=KINDS, initial="digital_level", widget=forms.HiddenInput)
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
    sensitivity_deg = NumberField(
        label="Tilt at which you first see it leave the middle", unit="degrees", low=0.005, high=5,
        initial=f"{presets.SENSITIVITY_DEG:g}",
        help_text="Slide paper of known thickness under one end until the bubble moves: 0.1 mm under a base of 230 mm "
        "is 0.025°. Office paper is about 0.1 mm.",
    )  # fmt: skip
    own_error_deg = NumberField(
        label="It may stand in the middle though tilted by, ±", unit="degrees", low=0, high=5,
        initial=f"{presets.BUBBLE_ERROR_DEG:g}",
        help_text="Turn it end for end on one spot. If it always stays in the middle, this is small.",
    )  # fmt: skip
    block_tolerance_deg = NumberField(
        label="A block’s angle may be off by, ±", unit="degrees", low=0, high=2,
        initial=f"{presets.BLOCK_TOLERANCE_DEG:g}",
        help_text="1 mm of height over 230 mm of length is 0.25°: measure both ends of a block.",
    )  # fmt: skip
    run_mm = NumberField(
        label="Length of its run", unit="mm", low=50, high=2000, initial=f"{presets.RUN_MM:g}",
        help_text="From the middle of the resting ball to the line that it crosses, on bare board.",
    )  # fmt: skip
    film_hz = NumberField(
        label="Frames per second it is filmed at", unit="frames/s", low=10, high=2000, required=False,
        help_text="Leave it open if you time it with a watch.",
    )  # fmt: skip
    run_askew_deg = NumberField(
        label="How far its run may lie askew, ±", unit="degrees", low=0, high=10,
        initial=f"{presets.RUN_ASKEW_DEG:g}",
        help_text="0.2 if mark and line are measured from the side rail. It decides how sure roll is.",
    )  # fmt: skip

    def __init__(self, *args: Any, kind: str = "digital_level", fixed: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].initial = kind
        for name in _ASKED_ALL - set(_ASKED[kind]):
            del self.fields[name]
        if fixed:
            words = "It was used as what it is: that cannot change. Add another instrument."
            field: Any = self.fields["kind"]
            field.choices = [choice for choice in KINDS if choice[0] == kind]
            field.error_messages["invalid_choice"] = words

    @property
    def kind_words(self) -> str:
        """The kind that is asked about."""
        return dict(KINDS)[self.fields["kind"].initial]

    @property
    def asked(self) -> list[forms.BoundField]:
        """The fields of this kind that everybody should look at."""
        return [self[name] for name in self.fields if name in _ASKED_ALL and name not in _DETAILS]

    @property
    def details(self) -> list[forms.BoundField]:
        """The fields of this kind that are usually left alone."""
        return [self[name] for name in self.fields if name in _DETAILS]

    @property
    def details_open(self) -> bool:
        """Whether a field that is usually left alone has an error, so that it must show."""
        return any(field.errors for field in self.details)

    @property
    def values(self) -> dict[str, Any]:
        """What was typed, by the columns of the table."""
        return {_COLUMNS.get(name, name): value for name, value in super().values.items()}

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


class InstrumentEditForm(ReasonForm, InstrumentForm):
    """An edit of an instrument. ``stored`` is what somebody would have typed to describe it as it is now.

    Its numbers mean something in its unit only, and all of them only for its kind: where somebody made it another
    kind, the whole of it is one question.
    """

    together = (("kind",), ("unit", "resolution", "accuracy"))
    columns = {**_COLUMNS, "resolution": "resolution_deg", "accuracy": "accuracy_deg"}

    def __init__(self, *args: Any, stored: dict[str, Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._stored = stored

    def parts_now(self) -> merges.Parts:
        """What is stored now, of whatever kind it is."""
        if not self._is_another_kind:
            return super().parts_now()
        names = ("kind", *_ASKED[self._stored["kind"]])
        return {"name": {"name": self._stored["name"]}, "kind": {name: str(self._stored[name]) for name in names}}

    def parts_typed(self) -> merges.Parts:
        """What was typed, as one part with its kind if it is another one now."""
        parts = super().parts_typed()
        if not self._is_another_kind:
            return parts
        name = parts.pop("name")
        whole = {each: value for part in parts.values() for each, value in part.items()}
        return {"name": name, "kind": whole}

    @property
    def _is_another_kind(self) -> bool:
        return bool(self._stored["kind"] != self.fields["kind"].initial)


def kind_asked(*, sent: Any, address: Any, otherwise: str = "digital_level") -> str:
    """Return the kind that a form is about: the one sent, else the one of the address, else the one it has."""
    asked = (sent or address).get("kind", otherwise)
    return asked if asked in _ASKED else otherwise


def typed_instrument(instrument: Any, kind: str) -> dict[str, Any]:
    """Return what a person would have typed to describe an instrument; of another kind only its name."""
    known = {"name": instrument.name, "kind": kind, "version": instrument.version}
    if kind != instrument.kind:
        return known
    numbers = {name: getattr(instrument, _COLUMNS.get(name, name), None) for name in _ASKED[kind]}
    typed = {name: f"{number:.10g}" for name, number in numbers.items() if isinstance(number, float | int)}
    in_its_unit = {
        name: as_typed(getattr(instrument, f"{name}_deg"), instrument.unit)
        for name, _, _ in _IN_ITS_UNIT if name in _ASKED[kind]
    }  # fmt: skip
    return {**known, "unit": instrument.unit, "film_hz": "", **typed, **in_its_unit}


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

    def __init__(self, *args: Any, place: str = "", kind: str = "digital_level", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if kind == "vial":
            field: Any = self.fields["kind"]
            field.choices, field.initial = VIAL_EVENTS, VIAL_EVENTS[0][0]
        where = f"By the clock at {place}." if place else "Time in UTC."
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
