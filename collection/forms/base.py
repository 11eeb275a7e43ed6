"""What every form shares: the write's key, the version of the row being edited, and how an action fills it."""

import uuid
from collections.abc import Callable, Mapping
from typing import Any, ClassVar

from django import forms

from collection.forms import merges
from collection.forms.fields import TextField

#: Fields that belong to the page, not to what is written.
_OF_THE_PAGE = ("write_key", "version", "opened_for", "opened_with")


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
    """A form that edits a row: it remembers the version and the values that the page showed.

    Where someone else changed the row meanwhile, it says what has to be asked. Fields of ``together`` mean something
    only with each other, so one answer goes for all; ``columns`` names the column that holds a field of another name.
    """

    version = forms.IntegerField(
        widget=forms.HiddenInput, min_value=1, max_value=2**31 - 1,
        error_messages=dict.fromkeys(("required", "invalid"), "This page did not arrive whole. Open it anew."),
    )  # fmt: skip
    opened_with = forms.CharField(widget=forms.HiddenInput, required=False)
    stale = False
    together: ClassVar[tuple[tuple[str, ...], ...]] = ()
    columns: ClassVar[dict[str, str]] = {}
    #: Fields that are told with the edit and are no part of the row.
    apart: ClassVar[tuple[str, ...]] = ()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["opened_with"].initial = self._opened_with
        #: What has to be asked, by the field that asks it or goes along.
        self.clashes: dict[str, merges.Clash] = {}

    @property
    def version_now(self) -> int:
        """The version that the row had when this form was made."""
        return int(self.get_initial_for_field(self.fields["version"], "version") or 0)

    @property
    def is_behind(self) -> bool:
        """Whether the row was read for this form before it became newer than what was sent."""
        return bool(self.cleaned_data["version"] == self.version_now)

    def clash(self, lines: Mapping[str, Any]) -> bool:
        """Find what has to be asked, since someone else changed the row meanwhile; return whether there is anything.

        What only you changed stays yours unasked. What only they changed is asked with theirs chosen; what both did,
        with yours. ``lines`` holds the newest line of the history by column.
        """
        opened = merges.read(self["opened_with"].value() or "")
        base = {name: value for part in (opened[1].values() if opened else ()) for name, value in part.items()}
        now = self.parts_now()
        for key, yours in self.parts_typed().items():
            theirs = now[key]
            if self._same(yours, theirs) or self._same(base, theirs):
                continue
            leader = next(name for name in yours if not self.fields[name].widget.is_hidden)
            asked = merges.Clash(
                key=key, leader=leader, label=self._label(key), yours=self._shown(yours), theirs=self._shown(theirs),
                picked=merges.THEIRS if self._same(base, yours) else merges.YOURS,
                with_page="" if self.clashes else self._opened_with(), **self._who(theirs, lines),
            )  # fmt: skip
            self.clashes |= dict.fromkeys(yours, asked)
            self.add_error(leader, asked.words)
        self.stale = bool(self.clashes)
        return self.stale

    def parts_now(self) -> merges.Parts:
        """What is stored now, as a page sends it, by the key of its question."""
        return self._parts(lambda name: self[name].initial)

    def parts_typed(self) -> merges.Parts:
        """What was typed, in the same way."""
        return self._parts(lambda name: self[name].data)

    def words_of(self, name: str, value: Any) -> str:
        """A field's value in words."""
        return merges.shown(self._field(name), value)

    def _parts(self, value_of: Callable[[str], Any]) -> merges.Parts:
        grouped = {*self.apart, *(name for names in self.together for name in names)}
        single = [(name,) for name, field in self.fields.items() if name not in grouped and not field.widget.is_hidden]
        groups = [tuple(name for name in names if name in self.fields) for names in self.together]
        return {
            names[0]: {name: merges.as_sent(self.fields[name], value_of(name)) for name in names}
            for names in [*groups, *single]
            if names
        }

    def _opened_with(self) -> str:
        return merges.signed(self.version_now, self.parts_now())

    def _field(self, name: str) -> forms.Field:
        """A field of this form, or of its kind where this one leaves it out."""
        return self.fields.get(name) or self.base_fields[name]

    def _same(self, one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
        """Whether one holds all of the other, with the same meaning."""
        return all(name in one and merges.is_same(self._field(name), one[name], other[name]) for name in other)

    def _label(self, name: str) -> str:
        field: Any = self._field(name)
        return str(getattr(field, "named", "") or field.label)

    def _shown(self, values: Mapping[str, Any]) -> list[str]:
        if len(values) == 1:
            return [self.words_of(name, value) for name, value in values.items()]
        return [f"{self._label(name)}: {self.words_of(name, value)}" for name, value in values.items() if value != ""]

    def _who(self, values: Mapping[str, Any], lines: Mapping[str, Any]) -> dict[str, Any]:
        found = [lines[column] for name in values if (column := self.columns.get(name, name)) in lines]
        line = max(found, key=lambda each: each.created_at, default=None)
        return {"by": line.created_by.email, "at": line.created_at} if line else {}


class ReasonForm(EditForm):
    """An edit whose reason may be told: it stands in the history, not in the row."""

    why = TextField(
        label="Reason",
        max_length=400,
        required=False,
        initial="",
        help_text="Why you change it. It stands in the history.",
    )
    apart = ("why",)

    @property
    def values(self) -> dict[str, Any]:
        """What was typed of the row itself."""
        return {name: value for name, value in super().values.items() if name != "why"}
