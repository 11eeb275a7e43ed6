"""Forms about sites."""

from typing import Any
from zoneinfo import available_timezones

from django import forms

from collection.forms.base import EditForm, TopForm
from collection.forms.fields import TextField

_OLD_NAMES = ("Etc/", "SystemV/", "posix/", "right/")


class SiteForm(TopForm):
    """A new site."""

    name = TextField(label="Name", max_length=80, help_text="What your people call the place.")
    address = TextField(label="Address", max_length=200, required=False)
    time_zone = forms.ChoiceField(
        label="Time zone", initial="UTC", help_text="Days and times at this site are shown in it."
    )
    notes = TextField(
        label="Notes",
        max_length=2000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Where to park, who has the key.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        zones = sorted(zone for zone in available_timezones() if "/" in zone and not zone.startswith(_OLD_NAMES))
        field: Any = self.fields["time_zone"]
        field.choices = [(zone, zone.replace("_", " ")) for zone in ["UTC", *zones]]


class SiteEditForm(EditForm, SiteForm):
    """An edit of a site."""
