"""What every form shares: the write's key, the version of the row being edited, and how an action fills it."""

import uuid
from typing import Any

from django import forms

#: Fields that belong to the page, not to what is written.
_OF_THE_PAGE = ("write_key", "version", "opened_for")


class WriteForm(forms.Form):
    """A plain form that leads to one write. Its key makes a second sending of the same page harmless."""

    required_css_class = "required"
    write_key = forms.UUIDField(widget=forms.HiddenInput, required=False)
    use_required_attribute = False

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        self.fields["write_key"].initial = uuid.uuid4

    @property
    def values(self) -> dict[str, Any]:
        """What was typed, understood: the cleaned fields without the keys of the page itself."""
        return {name: value for name, value in self.cleaned_data.items() if name not in _OF_THE_PAGE}

    @property
    def key(self) -> uuid.UUID:
        """The key of this write."""
        key: uuid.UUID | None = self.cleaned_data.get("write_key") if self.is_bound else None
        return key or uuid.uuid4()

    def renew_key(self) -> None:
        """Take a fresh key, so that this page sent again is a write of its own."""
        self._send_instead("write_key", uuid.uuid4())

    def _send_instead(self, name: str, value: Any) -> None:
        data: Any = self.data
        data = data.copy()
        data[self.add_prefix(name)] = str(value)
        self.data = data


class TopForm(WriteForm):
    """A form that adds something right below the organization: it remembers for which one its page was opened."""

    opened_for = forms.UUIDField(widget=forms.HiddenInput, required=False)


class EditForm(WriteForm):
    """A form that edits a row: it remembers the version that the page showed."""

    version = forms.IntegerField(widget=forms.HiddenInput, min_value=1, max_value=2**31 - 1)
    stale = False

    def catch_up(self) -> None:
        """Say beside each field what someone else put there meanwhile, and take the row's present version.

        What was typed stays. Sent again, it is saved over what the page now shows.
        """
        self.stale = True
        for name, field in self.fields.items():
            bound = self[name]
            if not field.widget.is_hidden and field.has_changed(bound.initial, bound.data):
                self.add_error(name, f"It says “{_words(field, bound.initial)}” now.")
        self._send_instead("version", self.get_initial_for_field(self.fields["version"], "version"))


def _words(field: forms.Field, value: Any) -> str:
    """A value as the page shows it."""
    if isinstance(field, forms.BooleanField):
        return "yes" if value else "no"
    if isinstance(field, forms.ChoiceField):
        words: Any = field.choices
        if isinstance(value, list):
            return ", ".join(name for key, name in words if key in map(str, value)) or "none"
        return str(dict(words).get(str(value), value))
    return "" if value is None else str(value)
