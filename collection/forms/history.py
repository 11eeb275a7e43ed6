"""What a list of the history may be narrowed to."""

import datetime
from typing import Any
from uuid import UUID

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator

from collection.forms.fields import CHOOSE

#: No line is older, and none is so far ahead.
FIRST, LAST = datetime.date(2000, 1, 1), datetime.date(2199, 12, 31)


class DayField(forms.DateField):
    """A day, chosen or written as year, month and day."""

    def __init__(self, **kwargs: Any) -> None:
        words = {"invalid": "Write the day as year-month-day, such as 2026-05-04."}
        between = f"Choose a day from {FIRST.year} to {LAST.year}."
        super().__init__(
            required=False,
            input_formats=["%Y-%m-%d"],
            widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            error_messages=words,
            validators=[MinValueValidator(FIRST, between), MaxValueValidator(LAST, between)],
            **kwargs,
        )

    def to_python(self, value: Any) -> datetime.date | None:
        """Return the day; digits of other scripts are refused, as everywhere."""
        if isinstance(value, str) and not value.isascii():
            raise ValidationError(self.error_messages["invalid"], code="invalid")
        return super().to_python(value)


class HistoryForm(forms.Form):
    """Who did it, to which kind of thing, and from which day to which."""

    use_required_attribute = False
    who = forms.ChoiceField(label="Who", required=False, error_messages=CHOOSE)
    kind = forms.ChoiceField(label="What", required=False, error_messages=CHOOSE)
    since = DayField(label="From")
    until = DayField(label="To")

    def __init__(self, *args: Any, people: list[tuple[str, str]], kinds: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kwargs})
        fields: Any = self.fields
        fields["who"].choices = [("", "Everyone"), *people]
        fields["kind"].choices = [("", "Everything"), *kinds]

    def clean_who(self) -> UUID | None:
        """Return the person's key, or None for everyone."""
        return UUID(self.cleaned_data["who"]) if self.cleaned_data["who"] else None

    def clean(self) -> dict[str, Any]:
        """Refuse days the wrong way round."""
        found = super().clean() or self.cleaned_data
        since, until = found.get("since"), found.get("until")
        if since and until and since > until:
            self.add_error("until", "That is before the first day. Change one of them.")
        return found
