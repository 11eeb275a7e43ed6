"""Forms about leg plans: what to start from, what was turned, the sign-off, setting aside."""

from typing import Any

from django import forms

from collection.forms.base import WriteForm
from collection.forms.fields import TextField, TurnsField, WordField

LEGS = ("FL", "FR", "RL", "RR")
SOURCES = [
    ("survey", "The newest survey"),
    ("floor", "Floor and legs alone"),
]
STEPS = [("2", "½ turn"), ("4", "¼ turn"), ("6", "⅙ turn"), ("8", "⅛ turn")]
TASKS = [
    ("locknuts", "Locknuts tight"),
    ("read_again", "Read again"),
    ("tilt_bob", "Tilt bob set again"),
    ("feet_marked", "Feet marked where they stand"),
]
#: More turns than any leveler has; the database holds the same range.
MOST_TURNS = 200


class PlanForm(WriteForm):
    """What a leg plan starts from, what can be reached, and how finely people turn."""

    source = WordField(label="Start from", choices=SOURCES)
    front_reachable = forms.BooleanField(label="The front can be reached and lifted", required=False)
    rear_reachable = forms.BooleanField(label="The rear can be reached and lifted", required=False)
    on_dollies = forms.BooleanField(label="It stands on dollies: one lift frees all four feet", required=False)
    steps_per_turn = WordField(label="Smallest step", choices=STEPS, help_text="What you can turn without measuring.")
    even_if_in_spec = forms.BooleanField(
        label="Plan even if it is in spec", required=False, help_text="To bring it nearer to the middle."
    )

    def clean_steps_per_turn(self) -> int:
        """The step as a whole number of steps in one turn."""
        return int(self.cleaned_data["steps_per_turn"])


def _turns(leg: str) -> TurnsField:
    return TurnsField(label=f"{leg}: turns", low=0, high=MOST_TURNS, required=False)


def _way(leg: str) -> WordField:
    return WordField(label=f"{leg}: which way", choices=[("out", "out"), ("in", "in")], required=False)


class LiftForm(WriteForm):
    """What was turned in one lift: as shown, or each leg as it really was."""

    lift = forms.IntegerField(widget=forms.HiddenInput, min_value=1, max_value=2)
    as_shown = forms.BooleanField(widget=forms.HiddenInput, required=False)
    turns_fl, way_fl = _turns("FL"), _way("FL")
    turns_fr, way_fr = _turns("FR"), _way("FR")
    turns_rl, way_rl = _turns("RL"), _way("RL")
    turns_rr, way_rr = _turns("RR"), _way("RR")

    def __init__(self, *args: Any, lifts: list[list[str]], **kwargs: Any) -> None:
        """``lifts`` names the legs of each lift, in order."""
        super().__init__(*args, **kwargs)
        self.lifts = lifts

    def clean(self) -> dict[str, Any]:
        """Ask for every leg of the lift, unless all was turned as shown."""
        for leg in () if self.cleaned_data.get("as_shown") else self.legs:
            turns = self.cleaned_data.get(f"turns_{leg.lower()}", 0)
            if turns is None:
                self.add_error(f"turns_{leg.lower()}", "Write how many turns, or 0 if you left it.")
            elif turns and not self.cleaned_data.get(f"way_{leg.lower()}"):
                self.add_error(f"way_{leg.lower()}", "Say out or in: out raises the corner.")
        return self.cleaned_data

    @property
    def rows(self) -> list[tuple[str, forms.BoundField, forms.BoundField]]:
        """The fields of the lift shown, by leg: its name, its turns, its way."""
        shown = str(self["lift"].value() or "")
        legs = self.lifts[int(shown) - 1] if shown in ("1", "2")[: len(self.lifts)] else []
        return [(leg, self[f"turns_{leg.lower()}"], self[f"way_{leg.lower()}"]) for leg in legs]

    @property
    def legs(self) -> list[str]:
        """The legs that this lift frees."""
        number = self.cleaned_data.get("lift") or 0
        return self.lifts[number - 1] if 0 < number <= len(self.lifts) else []

    @property
    def values(self) -> dict[str, Any]:
        """The lift, and by leg the turns (out positive) with what was typed; None for "as shown"."""
        if self.cleaned_data["as_shown"]:
            return {"lift": self.cleaned_data["lift"], "turned": None}
        turned = {}
        for leg in self.legs:
            turns = self.cleaned_data[f"turns_{leg.lower()}"]
            way = self.cleaned_data[f"way_{leg.lower()}"] or "out"
            turned[leg] = (-turns if way == "in" else turns, self.data[f"turns_{leg.lower()}"].strip())
        return {"lift": self.cleaned_data["lift"], "turned": turned}


class SignOffForm(WriteForm):
    """The work after the last lift: each item ticked, or a remark that says why not."""

    tasks = forms.MultipleChoiceField(label="Done", choices=TASKS, required=False, widget=forms.CheckboxSelectMultiple)
    remark = TextField(label="Remark", max_length=400, required=False, help_text="What is left, or what you noticed.")


class SetAsideForm(WriteForm):
    """Why a plan is not worked to its end."""

    why = TextField(label="Why is it set aside?", max_length=400)
