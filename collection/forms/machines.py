"""Forms about machines, their legs, their spec and where they stand."""

from collections.abc import Iterator, Sequence
from typing import Any

from django import forms
from django.forms.boundfield import BoundField
from django.http import QueryDict

from collection import presets
from collection.forms import merges
from collection.forms.base import EditForm, ReasonForm, TopForm
from collection.forms.fields import NumberField, TextField, TurnsField, WordField
from collection.forms.floors import SURFACES
from collection.forms.numbers import written, written_turns
from collection.forms.sites import ZoneField

LEGS = ("FL", "FR", "RL", "RR")
LEG_WORDS = {"FL": "Front left", "FR": "Front right", "RL": "Rear left", "RR": "Rear right"}
BODIES = [(word, body.words) for word, body in presets.BODIES.items()]
ERAS = [(word, f"{era.words}: {era.pitch_deg:g}°") for word, era in presets.ERAS.items()]
THREADS = [*((name, f"{name}: {written(lead)} mm") for name, lead in presets.THREADS.items()), ("other", "Other")]
STEPS = [("2", "½ turn"), ("4", "¼ turn"), ("6", "⅙ turn"), ("8", "⅛ turn")]
EXPOSURE_UNITS = ("mm", "turns")

#: Measured by the owner, or empty for the body's usual size; the database holds the same ranges.
_SIZES = ("track_front_mm", "track_rear_mm", "base_mm")
_MOST_EXPOSURE_MM = 200.0
_LEG_SIZES = ("length_mm", "travel_mm", "pad_mm")
#: What is asked about a site that may be new.
_PLACE = ("site_name", "time_zone", "surface")

Bays = list[tuple[str, list[tuple[str, str]]]]
#: The answer "on no bay".
OFF = "off"


class BayField(forms.UUIDField):
    """A standing place, or None. Whether it is ours and free is for the action to say.

    ``empty`` is shown while nothing is chosen, which may be an answer; ``off`` is the answer "on no bay". That is taken
    even where it is not offered: sent twice, it must not be refused the second time.
    """

    widget = forms.Select

    def __init__(self, *, empty: str, off: str = "", **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.empty, self.off = empty, off
        self.error_messages["invalid"] = "Choose one of the places shown."
        self.error_messages["required"] = "Choose where it goes."

    def offer(self, bays: Bays, *, with_off: bool = True) -> None:
        """Show these bays, by site."""
        off = [(OFF, self.off)] if self.off and with_off else []
        self.widget.choices = [("", self.empty), *off, *bays]
        if not bays:
            self.help_text = "No bay is free. Add one on the page of its floor."

    def clean(self, value: Any) -> Any:
        """Return the bay's key, or None."""
        return None if self.off and value == OFF else super().clean(value)


def _size(label: str, low: float, high: float, help_text: str) -> NumberField:
    return NumberField(label=label, unit="mm", low=low, high=high, required=False, help_text=help_text)


class BuildForm(forms.Form):
    """How a machine is built: era, feet, thread and step. Body, era and thread have their usual numbers."""

    era = WordField(
        label="Era", choices=ERAS, initial="modern",
        help_text="How old its design is, with the pitch that is usual for it. Pitch is how steep the playfield lies.",
    )  # fmt: skip
    body = WordField(
        label="Body", choices=BODIES, initial="standard",
        help_text="How wide the cabinet is. It tells how far apart the feet stand.",
    )  # fmt: skip
    track_front_mm = _size("Front feet apart", 200, 2000, "Foot centre to foot centre, left to right.")
    track_rear_mm = _size("Rear feet apart", 200, 2000, "Foot centre to foot centre, left to right.")
    base_mm = _size("Front feet to rear feet", 400, 3000, "Foot centre to foot centre.")
    thread = WordField(
        label="Thread of the levelers", choices=THREADS, initial="3/8-16 UNC",
        help_text="With the height of one full turn. 3/8-16 is by far the commonest.",
    )  # fmt: skip
    lead_mm = NumberField(
        label="Height of one full turn", unit="mm", low=0.5, high=5, required=False,
        help_text="Only for another thread.",
    )  # fmt: skip
    steps_per_turn = WordField(
        label="Turn levelers in steps of", choices=STEPS, initial="4", help_text="Finer steps are harder to count."
    )

    def clean_steps_per_turn(self) -> int:
        """The step as a whole number of steps in one turn."""
        return int(self.cleaned_data["steps_per_turn"])

    def clean(self) -> dict[str, Any]:
        """Fill what was left empty with the body's and the thread's own numbers."""
        found = super().clean() or self.cleaned_data
        body, thread = found.get("body"), found.pop("thread", None)
        if body:
            self._fill_sizes(found, body)
        if thread and "lead_mm" not in self.errors:
            self._fill_lead(found, thread)
        return found

    @property
    def details_open(self) -> bool:
        """Whether the usual numbers are not what counts here, so that the fields of feet and thread must show."""
        fields = (*_SIZES, "lead_mm", "thread", "steps_per_turn", "on_dollies")
        unusual = self["body"].value() == "other" or self["thread"].value() == "other"
        return unusual or any(name in self.errors for name in fields)

    def _fill_sizes(self, found: dict[str, Any], body: str) -> None:
        for name in _SIZES:
            if name in self.errors or found.get(name) is not None:
                continue
            if body == "other":
                self.add_error(name, "Measure it for this body, or choose the nearest body.")
            else:
                found[name] = getattr(presets.BODIES[body], name)

    def _fill_lead(self, found: dict[str, Any], thread: str) -> None:
        typed = found.get("lead_mm")
        if thread == "other" and typed is None:
            self.add_error("lead_mm", "Write the height of one full turn of this thread.")
        elif thread != "other" and typed not in (None, presets.THREADS[thread]):
            usual = written(presets.THREADS[thread])
            self.add_error("lead_mm", f"{thread} has {usual} mm. Leave it empty, or choose Other.")
        elif thread != "other":
            found["lead_mm"] = presets.THREADS[thread]


class MachineForm(BuildForm, TopForm):
    """What a machine is: its name, how it is built, and whether it rolls."""

    field_order: tuple[str, ...] = ("write_key", "opened_for", "title", "code")
    title = TextField(label="Title", max_length=80, help_text="The game’s name.")
    code = TextField(label="Code", max_length=20, help_text="Your own label for this one machine.")
    on_dollies = forms.BooleanField(
        label="It stands on wheeled dollies", required=False, help_text="Then one lift frees all four feet."
    )


class MachineNewForm(MachineForm):
    """A new machine: what it is, where it stands, and its wanted pitch if not the usual one.

    It stands on a free bay, or at a site by name, where a bay is made for it. ``sites`` are names to choose from.
    """

    #: As the page shows them, so that the summary of errors runs down the page.
    field_order = (
        "write_key", "opened_for", "title", "bay", "site_name", "time_zone", "surface", "era", "body", "pitch_deg",
        "code",
    )  # fmt: skip

    bay = BayField(label="Where it stands", empty="Not on a bay yet", required=False, help_text="Free bays.")
    site_name = TextField(
        label="Where it stands", max_length=80, required=False,
        widget=forms.TextInput(attrs={"list": "known-sites", "autocomplete": "off"}),
        help_text="The site, as your people call it. A bay comes with it: the machine’s place on the floor there.",
    )  # fmt: skip
    time_zone = ZoneField(required=False)
    surface = forms.ChoiceField(label="Floor", choices=SURFACES, required=False)
    pitch_deg = NumberField(
        label="Wanted pitch", unit="degrees", low=0, high=15, required=False,
        help_text="Empty: as usual for its era. The maker’s manual wins.",
    )  # fmt: skip

    def __init__(self, *args: Any, bays: Bays, sites: Sequence[str] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.bays, self.sites = bays, sites
        fields: Any = self.fields
        fields["bay"].offer(bays)
        fields["time_zone"].guess(self)
        if bays:
            fields["site_name"].label = "Site"

    @property
    def at_a_site(self) -> bool:
        """Whether a bay has to be made for it at a site."""
        return bool(self.cleaned_data.get("site_name"))

    @property
    def place_open(self) -> bool:
        """Whether the fields of another place hold something, so that they must show."""
        return any(self[name].errors for name in _PLACE) or bool(self["site_name"].value())

    @property
    def values(self) -> dict[str, Any]:
        """What was typed, understood; of the two ways to say where it stands only the one that was taken."""
        left_out = ("bay",) if self.at_a_site else _PLACE
        return {name: value for name, value in super().values.items() if name not in left_out}

    def clean(self) -> dict[str, Any]:
        """Refuse a bay and a site at once."""
        found = super().clean()
        if found.get("bay") and found.get("site_name"):
            self.add_error("site_name", "Choose a free bay or name a site, not both.")
        found["time_zone"] = found.get("time_zone") or "UTC"
        found["surface"] = found.get("surface") or SURFACES[0][0]
        return found


class MachineEditForm(ReasonForm, MachineForm):
    """An edit of a machine."""

    together = (("thread", "lead_mm"),)
    columns = {"thread": "lead_mm"}


class LegsForm(ReasonForm):
    """The four legs in one form: length, travel, how far the leveler is out, pad.

    ``legs`` are the present numbers in leg order. A field that still shows what the page put there keeps its
    number exactly, so that the rounding of a turn changes nothing.
    """

    exposure_unit = forms.ChoiceField(choices=[(unit, unit) for unit in EXPOSURE_UNITS], widget=forms.HiddenInput)

    def __init__(
        self, *args: Any, legs: list[dict[str, float | None]], lead_mm: float, unit: str, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.legs, self.lead_mm, self.unit = legs, lead_mm, unit
        self.fields["exposure_unit"].initial = unit
        for leg, now in zip(LEGS, legs, strict=True):
            for name, field in self._fields():
                field.initial = self._written(name, now[name])
                field.named = f"{leg}, {str(field.label).lower()}"
                self.fields[f"{leg}_{name}"] = field

    def clean(self) -> dict[str, Any]:
        """Return the legs as a list of numbers in leg order."""
        found = super().clean() or self.cleaned_data
        found["legs"] = [self._leg(found, leg, now) for leg, now in zip(LEGS, self.legs, strict=True)]
        return found

    @property
    def values(self) -> dict[str, Any]:
        """The legs alone: the other fields went into them."""
        return {"legs": self.cleaned_data["legs"]}

    @property
    def groups(self) -> Iterator[tuple[str, str, list[BoundField]]]:
        """The fields by leg, each with its name in short and in words."""
        for leg in LEGS:
            yield leg, LEG_WORDS[leg], [self[f"{leg}_{name}"] for name in ("exposure_mm", *_LEG_SIZES)]

    def _fields(self) -> Iterator[tuple[str, NumberField]]:
        most = _MOST_EXPOSURE_MM if self.unit == "mm" else _MOST_EXPOSURE_MM / self.lead_mm
        kind: Any = NumberField if self.unit == "mm" else TurnsField
        yield (
            "exposure_mm",
            kind(label="Out by", unit=self.unit, low=0, high=round(most, 3), required=False),
        )
        yield "length_mm", NumberField(label="Leg length", unit="mm", low=100, high=1500)
        yield "travel_mm", NumberField(label="Travel", unit="mm", low=1, high=200)
        yield "pad_mm", NumberField(label="Pad or cup", unit="mm", low=0, high=100)

    def _written(self, name: str, number: float | None) -> str:
        if name == "exposure_mm" and self.unit == "turns":
            return "" if number is None else written_turns(number / self.lead_mm)
        return "" if number is None else written(number)

    def _leg(self, found: dict[str, Any], leg: str, now: dict[str, float | None]) -> dict[str, Any]:
        numbers = {name: self._number(found, leg, name, now) for name in ("exposure_mm", *_LEG_SIZES)}
        exposure, travel = numbers["exposure_mm"], numbers["travel_mm"]
        if exposure is not None and travel is not None and exposure > travel + 1e-6:
            self.add_error(f"{leg}_exposure_mm", f"That is more than its travel of {written(travel)} mm.")
        return numbers

    def _number(self, found: dict[str, Any], leg: str, name: str, now: dict[str, float | None]) -> float | None:
        field = f"{leg}_{name}"
        if field in found and str(self[field].value()).strip() == self.fields[field].initial:
            return now[name]
        number: float | None = found.get(field)
        in_turns = name == "exposure_mm" and self.unit == "turns"
        return number * self.lead_mm if in_turns and number is not None else number


class SpecForm(EditForm):
    """What a machine should read, and why. Its version is how many specs the machine has had."""

    pitch_deg = NumberField(
        label="Wanted pitch", unit="degrees", low=0, high=15, help_text="Of the playfield, rear higher."
    )
    pitch_tolerance_deg = NumberField(label="Pitch may differ by ±", unit="degrees", low=0.02, high=3)
    roll_tolerance_deg = NumberField(label="Roll may differ by ±", unit="degrees", low=0.02, high=3)
    gap_tolerance_mm = NumberField(
        label="Gap under a light foot, at most", unit="mm", low=0.05, high=10, help_text="0.5 mm is a third of a turn."
    )
    why = TextField(
        label="Reason", max_length=400, help_text="Such as the maker’s manual, or faster play for the league."
    )


class MoveForm(EditForm):
    """Where a machine is put: a free bay, or off the floor."""

    bay = BayField(
        label="Put it on", empty="Choose a place", off="No bay: off the floor",
        help_text="Free bays. To use a taken one, move the other machine first.",
    )  # fmt: skip
    why = TextField(label="Note", max_length=400, required=False)

    def __init__(self, *args: Any, bays: Bays, stands: tuple[str, str], **kwargs: Any) -> None:
        """``stands`` is the bay on which it stands, as the page would send it, and in words."""
        super().__init__(*args, **kwargs)
        self.stands, self.stands_words = stands
        field: Any = self.fields["bay"]
        field.offer(bays, with_off=self.stands != OFF)

    def parts_now(self) -> merges.Parts:
        """Where it stands is no field's first value: the page asks where it goes."""
        return {**super().parts_now(), "bay": {"bay": self.stands}}

    def words_of(self, name: str, value: Any) -> str:
        """A bay in words, the one on which it stands included, which nobody can choose."""
        return self.stands_words if (name, value) == ("bay", self.stands) else super().words_of(name, value)


def typed_machine(machine: Any) -> dict[str, Any]:
    """Return what a person would have typed to describe the machine: nothing where the usual numbers hold."""
    usual = presets.BODIES[machine.body]
    sizes = {name: getattr(machine, name) for name in _SIZES}
    thread = next((name for name, lead in presets.THREADS.items() if lead == machine.lead_mm), "other")
    return {
        **{name: getattr(machine, name) for name in ("title", "code", "era", "body", "on_dollies", "version")},
        **{
            name: "" if machine.body != "other" and size == getattr(usual, name) else written(size)
            for name, size in sizes.items()
        },
        "thread": thread,
        "lead_mm": written(machine.lead_mm) if thread == "other" else "",
        "steps_per_turn": str(machine.steps_per_turn),
    }


def typed_spec(spec: Any) -> dict[str, Any]:
    """Return the numbers of a spec as a person would type them; the reason is asked afresh."""
    names = ("pitch_deg", "pitch_tolerance_deg", "roll_tolerance_deg", "gap_tolerance_mm")
    return {name: written(getattr(spec, name)) for name in names}


def leg_numbers(leg: Any) -> dict[str, float | None]:
    """Return the numbers of a leg that people change."""
    return {name: getattr(leg, name) for name in ("exposure_mm", *_LEG_SIZES)}


def stays(sent: QueryDict) -> bool:
    """Return whether somebody, asked after another person's move, left the machine where that put it."""
    return sent.get(f"{merges.PREFIX}bay") == merges.THEIRS
