"""The form of the quick answer. It is sent by its address alone, so an address is the whole question."""

from typing import Any

from django import forms
from django.http import QueryDict

from collection import presets
from collection.forms.fields import NumberField, WordField
from collection.forms.machines import BuildForm
from collection.forms.numbers import read_number, written
from collection.forms.surveys import LIGHT_FEET, STANCES
from collection.forms.surveys_readings import ShownField
from leveling.units import slope_deg, slope_in

SIDES = [("left", "left"), ("right", "right"), ("level", "level")]
ENDS = [("both", "Both"), ("front", "Only the front"), ("rear", "Only the rear"), ("dollies", "All, on dollies")]
ERAS = [(word, f"{era.words} {era.pitch_deg:g}°") for word, era in reversed(presets.ERAS.items())]
BODIES = [("standard", "Standard, 22 in"), ("wide", "Wide, 25 to 27 in"), ("other", "I measured it")]
SHOWS = [("deg", "degrees"), ("mm_per_m", "mm/m")]
#: No playfield is steeper, and no cabinet leans more. Common practice, no source.
MOST_PITCH_DEG, MOST_ROLL_DEG, MOST_GAP_MM = 15.0, 10.0, 20.0
#: So much roll is seen without a level: the number may be mm/m. Common practice, no source.
_STEEP_ROLL_DEG = 3.0
#: These stand in every shared address, so that it says what it is about; the rest only where it is not as usual.
_ALWAYS = ("pitch", "roll", "high", "era", "body", "ends")
_UNDER_MORE = (
    "shows", "stance", "gap_mm", "steps_per_turn", "thread", "lead_mm", "pitch_tolerance_deg", "roll_tolerance_deg",
    "gap_tolerance_mm", "closer",
)  # fmt: skip


def _tolerance(label: str, unit: str, low: float, high: float, usual: float) -> NumberField:
    return NumberField(label=label, unit=unit, low=low, high=high, initial=written(usual))


def _feet_words() -> str:
    """How far apart the feet of the usual bodies stand."""
    usual, wide = presets.BODIES["standard"], presets.BODIES["wide"]
    apart = f"{written(usual.track_front_mm)} mm apart (wide: {written(wide.track_front_mm)})"
    return f"Feet {apart}, {written(usual.base_mm)} mm front to rear, as is usual."


class QuickForm(BuildForm):
    """How the machine stands now, what is wanted, how it is built, which ends can be lifted."""

    use_required_attribute = False
    field_order = ("pitch", "roll", "high", "era", "want_deg", "body", "ends", "front_in", "shows")

    pitch = NumberField(label="Pitch now", unit="degrees", low=0, high=MOST_PITCH_DEG)
    roll = ShownField(label="Roll now", unit="degrees", high=MOST_ROLL_DEG)
    high = WordField(label="Which side is high?", choices=SIDES, required=False)
    era = WordField(
        label="Wanted pitch", choices=ERAS, initial="modern", help_text="Usual for its era. The maker’s manual wins."
    )
    want_deg = NumberField(label="Another pitch", unit="degrees", low=0, high=MOST_PITCH_DEG, required=False)
    body = WordField(label="Body", choices=BODIES, initial="standard", help_text=_feet_words())
    ends = WordField(label="Which ends can you reach and lift?", choices=ENDS, initial="both")
    front_in = forms.BooleanField(label="The front levelers are fully in already", required=False)
    stance = WordField(label="Do all four feet bear?", choices=STANCES, initial="all_bearing")
    gap_mm = NumberField(label="Gap under the light foot", unit="mm", low=0, high=MOST_GAP_MM, required=False)
    shows = WordField(label="Pitch and roll now are in", choices=SHOWS, initial="deg")
    pitch_tolerance_deg = _tolerance("Pitch ±", "degrees", 0.02, 3, presets.PITCH_TOLERANCE_DEG)
    roll_tolerance_deg = _tolerance("Roll ±", "degrees", 0.02, 3, presets.ROLL_TOLERANCE_DEG)
    gap_tolerance_mm = _tolerance("Gap at most", "mm", 0.05, 10, presets.GAP_TOLERANCE_MM)
    closer = forms.BooleanField(label="Plan even if it is in spec, to bring it nearer to the middle", required=False)

    def __init__(self, address: QueryDict) -> None:
        """Read an address. One without a pitch is an empty form; what it leaves out is as usual."""
        data = None
        if "pitch" in address:
            usual = {name: field.initial for name, field in self.base_fields.items() if field.initial is not None}
            data = {**usual, **{name: address[name] for name in self.base_fields if name in address}}
        super().__init__(data, label_suffix="")
        for name in ("track_front_mm", "track_rear_mm", "base_mm"):
            self.fields[name].help_text = ""  # the group says it once
        if data and data["shows"] == "mm_per_m":
            self._take_mm_per_m()

    @property
    def values(self) -> dict[str, Any]:
        """What is asked, in degrees and with its signs, as ``arrays.quick.Asked`` takes it."""
        data, unit = self.cleaned_data, self.cleaned_data["shows"]
        pitch_deg, roll_deg = (float(slope_deg(data[name] or 0.0, unit)) for name in ("pitch", "roll"))
        era = presets.ERAS[data["era"]]
        return {
            **{name: value for name, value in data.items() if name not in ("pitch", "roll", "high", "shows")},
            "pitch_deg": pitch_deg,
            "roll_deg": -roll_deg if data["high"] == "left" else roll_deg,
            "want_deg": era.pitch_deg if data["want_deg"] is None else data["want_deg"],
            "gap_mm": data["gap_mm"] or 0.0,
        }

    @property
    def angle_unit(self) -> str:
        """The unit of slopes that the level shows and the answer uses."""
        return "mm_per_m" if self["shows"].value() == "mm_per_m" else "deg"

    @property
    def query(self) -> str:
        """The question as an address tells it, as short as it can be."""
        asked = QueryDict(mutable=True)
        for name, field in self.fields.items():
            typed = str(self.data.get(name) or "").strip()
            if typed and (name in _ALWAYS or typed != str(field.initial or "")):
                asked[name] = typed
        return asked.urlencode()

    @property
    def unit_doubt(self) -> str:
        """A question about the unit, where a number looks as if it were read in the other one; "" otherwise."""
        data = self.cleaned_data
        pitch, roll = data["pitch"], data["roll"] or 0.0
        if data["shows"] == "mm_per_m" and pitch <= MOST_PITCH_DEG:
            return f"Is the pitch {pitch:g} degrees? As mm/m it is {slope_deg(pitch, 'mm_per_m'):.2f}°."
        if data["shows"] == "deg" and roll >= _STEEP_ROLL_DEG:
            return f"Is the roll {roll:g} mm/m? That is {slope_deg(roll, 'mm_per_m'):.2f}°, not {roll:g}°."
        return ""

    @property
    def doubts(self) -> list[str]:
        """What was typed and cannot be understood, in words, for the answer that follows the typing."""
        return [
            f"{self.fields[name].label}: {' '.join(map(str, errors))}".replace("?:", "?")
            for name, errors in self.errors.items()
            if name in self.fields and self.data.get(name)
        ]

    @property
    def more_open(self) -> bool:
        """Whether something under "More" is not as usual, or wrong, so that it must show."""
        typed = any(str(self.data.get(name) or "") != str(self.fields[name].initial or "") for name in _UNDER_MORE)
        return self.is_bound and (typed or any(name in self.errors for name in _UNDER_MORE))

    def clean(self) -> dict[str, Any]:
        """Check that roll and its side, and the light foot and its gap, fit together."""
        found = super().clean()
        if not {"roll", "high"} & set(self.errors):
            self._check_side(found)
        if not {"stance", "gap_mm"} & set(self.errors):
            self._check_gap(found)
        self._ask_the_unit()
        return found

    def _ask_the_unit(self) -> None:
        """Say where to choose mm/m, if a number is too large for degrees and not for mm/m."""
        for name, most_deg in (("pitch", MOST_PITCH_DEG), ("roll", MOST_ROLL_DEG)):
            if not self.has_error(name, "out_of_range") or self["shows"].value() != "deg":
                continue
            if most_deg < read_number(str(self.data[name])) <= slope_in(most_deg, "mm_per_m"):
                self.add_error(name, "Is it mm/m? Choose that under “More”.")

    def _check_side(self, found: dict[str, Any]) -> None:
        roll, side = found.get("roll"), found.get("high")
        if not roll and side in ("left", "right"):
            self.add_error("roll", f"Write how much the {side} is high, or choose level.")
        elif roll and side == "level":
            self.add_error("high", "It shows more than 0: say which side is high.")
        elif roll and not side:
            self.add_error("high", "Say which side is high.")
        elif roll is None and not side:
            self.add_error("high", "Say which side is high, or that it is level.")

    def _check_gap(self, found: dict[str, Any]) -> None:
        if found.get("stance") not in LIGHT_FEET:
            found["gap_mm"] = 0.0
        elif not found.get("gap_mm"):
            self.add_error("gap_mm", "Measure the gap under the light foot, or choose Not checked.")

    def _take_mm_per_m(self) -> None:
        fields: Any = self.fields
        for name, most_deg in (("pitch", MOST_PITCH_DEG), ("roll", MOST_ROLL_DEG)):
            fields[name].unit, fields[name].high = "mm/m", round(float(slope_in(most_deg, "mm_per_m")))
            fields[name].widget.attrs["data-unit"] = "mm/m"
