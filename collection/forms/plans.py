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
    field = TurnsField(label=f"{leg}: turns", low=0, high=MOST_TURNS, required=False)
    field.error_messages["required"] = "Write how many turns, or 0 if you left it."
    return field


def _way(leg: str) -> WordField:
    field = WordField(label=f"{leg}: which way", choices=[("out", "out"), ("in", "in")], required=False)
    field.error_messages["required"] = "Say out or in: out raises the corner."
    return field


class LiftForm(WriteForm):
    """What was turned in one lift: as shown, or each leg as it really was."""

    lift = forms.IntegerField(widget=forms.HiddenInput, min_value=1, max_value=2)
    as_shown = forms.BooleanField(widget=forms.HiddenInput, required=False)
    turns_fl, way_fl = _turns("Front left"), _way("Front left")
    turns_fr, way_fr = _turns("Front right"), _way("Front right")
    turns_rl, way_rl = _turns("Rear left"), _way("Rear left")
    turns_rr, way_rr = _turns("Rear right"), _way("Rear right")

    def __init__(self, *args: Any, lifts: list[list[str]], **kwargs: Any) -> None:
        """``lifts`` names the legs of each lift, in order. Those of this lift are asked for, unless all is as shown."""
        super().__init__(*args, **kwargs)
        shown = str(self["lift"].value() or "")
        self.number = int(shown) if shown in ("1", "2")[: len(lifts)] else 0
        self.legs = lifts[self.number - 1] if self.number else []
        for leg in () if self.is_bound and self.data.get("as_shown") else self.legs:
            self.fields[f"turns_{leg.lower()}"].required = True
            self.fields[f"way_{leg.lower()}"].required = True

    @property
    def rows(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """The fields of the lift shown: turns and way of each leg."""
        return [(self[f"turns_{leg.lower()}"], self[f"way_{leg.lower()}"]) for leg in self.legs]

    @property
    def values(self) -> dict[str, Any]:
        """The lift, and by leg the turns (out positive) with what was typed; None for "as shown"."""
        if self.cleaned_data["as_shown"]:
            return {"lift": self.cleaned_data["lift"], "turned": None}
        turned = {}
        for leg in self.legs:
            turns, way = (self.cleaned_data[f"{what}_{leg.lower()}"] for what in ("turns", "way"))
            turned[leg] = (-turns if way == "in" else turns, self.data[f"turns_{leg.lower()}"].strip())
        return {"lift": self.cleaned_data["lift"], "turned": turned}


class SignOffForm(WriteForm):
    """The work after the last lift: each item ticked, or a remark that says why not."""

    tasks = forms.MultipleChoiceField(label="Done", choices=TASKS, required=False, widget=forms.CheckboxSelectMultiple)
    remark = TextField(
        label="Remark", max_length=400, required=False, help_text="What is still to do, or what you noticed."
    )


class SetAsideForm(WriteForm):
    """Why a plan is not worked to its end."""

    why = TextField(label="Why is it set aside?", max_length=400)
