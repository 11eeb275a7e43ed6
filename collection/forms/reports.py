"""Forms about reports: what a stranger chooses, the label of a machine, and why a report is closed."""

from django import forms

from collection.forms.base import WriteForm
from collection.forms.fields import TextField, WordField

#: In the words of somebody who stands at the machine and knows nothing of its legs.
PROBLEMS = [
    ("rolls_left", "The ball rolls to the left"),
    ("rolls_right", "The ball rolls to the right"),
    ("too_steep", "It is too steep"),
    ("wobbles", "It wobbles"),
    ("moved", "It was moved"),
]


class ReportForm(WriteForm):
    """What is wrong, from a short list: nobody can write anything into somebody else's book."""

    problem = WordField(label="What is wrong", choices=PROBLEMS)


class LabelForm(WriteForm):
    """Make a label; ``replaces`` is the key of the one that the page showed, if any."""

    replaces = forms.UUIDField(widget=forms.HiddenInput, required=False)


class CloseForm(WriteForm):
    """Why a report is closed without a survey."""

    why = TextField(label="Why is it closed?", max_length=400, help_text="What you found, or why it needs no survey.")
