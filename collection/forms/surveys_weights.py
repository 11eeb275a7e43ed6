"""What four scales under the feet show: a part of the survey's form."""

from collections.abc import Sequence
from typing import Any

from collection.forms.base import WriteForm
from collection.forms.fields import NumberField, WordField
from leveling.units import KG_PER_LB

WEIGHT_UNITS = [("kg", "kg"), ("lb", "lb")]
FIELDS = {"FL": "weight_fl", "FR": "weight_fr", "RL": "weight_rl", "RR": "weight_rr"}
WEIGHT_NAMES = (*FIELDS.values(), "weight_unit")
_KG_PER = {"kg": 1.0, "lb": KG_PER_LB}
#: Where the four scales are read, the stance is this word.
WEIGHED = "weighed"
_MOST = 999.0


class _WeightField(NumberField):
    """What one scale shows."""

    def __init__(self, leg: str) -> None:
        super().__init__(label=f"Under {leg}", low=0, high=_MOST, required=False)
        self.named = f"Scale under {leg}"


class UnitField(WordField):
    """A unit that need not be sent where nothing was measured in it."""

    def validate(self, value: Any) -> None:
        """Accept no answer, or one of the choices."""
        if value:
            super().validate(value)


class WeightsForm(WriteForm):
    """Four weights. They count where the stance says so, and then all four are needed."""

    weight_fl = _WeightField("FL")
    weight_fr = _WeightField("FR")
    weight_rl = _WeightField("RL")
    weight_rr = _WeightField("RR")
    weight_unit = UnitField(label="The scales show", choices=WEIGHT_UNITS, initial="kg")

    @property
    def weights(self) -> list[Any]:
        """The fields of the four weights, in leg order."""
        return [self[name] for name in FIELDS.values()]

    @property
    def weighed(self) -> dict[str, Any]:
        """What the scales showed: in kg, and as it was typed with its unit; all empty if nothing was weighed."""
        data: dict[str, Any] = self.cleaned_data
        shown = [data.get(name) for name in FIELDS.values()]
        unit = data.get("weight_unit") or "kg"
        if data.get("stance") != WEIGHED or None in shown or sum(filter(None, shown)) <= 0:
            return {"weights_kg": (), "weights_text": ()}
        return {
            "weights_kg": tuple(_KG_PER[unit] * (number or 0.0) for number in shown),
            "weights_text": tuple(f"{str(field.data).strip()} {unit}" for field in self.weights),
        }

    def clean(self) -> dict[str, Any]:
        """Ask for what is missing of the four weights, where the stance rests on them."""
        data: dict[str, Any] = super().clean() or self.cleaned_data
        if data.get("stance") != WEIGHED:
            return data
        numbers = [data.get(name) for name in FIELDS.values()]
        for (leg, name), number in zip(FIELDS.items(), numbers, strict=True):
            if number is None and name not in self.errors:
                self.add_error(name, f"Write what the scale under {leg} shows, 0 if that foot carries nothing.")
        if None not in numbers and not sum(filter(None, numbers)):
            self.add_error("weight_fl", "All four scales show 0: write what they carry.")
        return data


def weights_again(texts: Sequence[str]) -> dict[str, str]:
    """Return stored weights as the starting values of a correction."""
    if not texts:
        return {}
    shown = {name: text.rpartition(" ")[0] for name, text in zip(FIELDS.values(), texts, strict=True)}
    return {**shown, "weight_unit": texts[0].rpartition(" ")[2]}
