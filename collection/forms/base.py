"""What every form shares: the write's key, the version of the row being edited, and how an action fills it."""

import uuid
from typing import Any

from django import forms


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
        return {name: value for name, value in self.cleaned_data.items() if name not in ("write_key", "version")}

    @property
    def key(self) -> uuid.UUID:
        """The key of this write."""
        key: uuid.UUID | None = self.cleaned_data.get("write_key") if self.is_bound else None
        return key or uuid.uuid4()


class EditForm(WriteForm):
    """A form that edits a row: it remembers the version that the page showed."""

    version = forms.IntegerField(widget=forms.HiddenInput, min_value=1, max_value=2**31 - 1)
