"""Forms about sites."""

from typing import Any
from zoneinfo import available_timezones

from django import forms

from collection.forms.base import ReasonForm, TopForm
from collection.forms.fields import CHOOSE, TextField

_OLD_NAMES = ("Etc/", "SystemV/", "posix/", "right/")


class ZoneField(forms.ChoiceField):
    """A time zone: UTC, unless a script finds the browser's own among the choices (`data-own-zone`)."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"label": "Time zone", "initial": "UTC", "error_messages": CHOOSE, **kwargs})
        zones = sorted(zone for zone in available_timezones() if "/" in zone and not zone.startswith(_OLD_NAMES))
        self.choices = [(zone, zone.replace("_", " ")) for zone in ["UTC", *zones]]

    def guess(self, form: forms.BaseForm) -> None:
        """Let the browser's own zone be chosen, unless the form says one already."""
        if not form.is_bound and not form.initial.get("time_zone"):
            self.widget.attrs["data-own-zone"] = True


class SiteForm(TopForm):
    """A new site."""

    name = TextField(label="Name", max_length=80, help_text="What your people call the place.")
    address = TextField(label="Address", max_length=200, required=False)
    time_zone = ZoneField(help_text="Days and times at this site are shown in it.")
    notes = TextField(
        label="Notes",
        max_length=2000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Where to park, who has the key.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        zone: Any = self.fields["time_zone"]
        zone.guess(self)


class SiteEditForm(ReasonForm, SiteForm):
    """An edit of a site."""
