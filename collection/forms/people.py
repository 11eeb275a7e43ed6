"""Forms about people: sign-up and the organization's own settings."""

from typing import Any

from allauth.account.forms import SignupForm
from django import forms

from collection.forms.base import EditForm, WriteForm
from collection.forms.fields import TextField, WordField


class SignUpForm(SignupForm):
    """E-mail, password and the organization's name: account and tenant in one step."""

    organization = TextField(
        label="Name of your organization",
        max_length=80,
        help_text="Your collection or your business, as your people call it.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        self.fields["email"].label = "E-mail"
        self.fields["password1"].help_text = "At least 8 characters."
        for field in self.fields.values():
            field.widget.attrs.pop("placeholder", None)


class FoundForm(WriteForm):
    """The name of a new organization."""

    name = TextField(
        label="Name of your organization",
        max_length=80,
        help_text="Your collection or business, as people call it.",
    )


class OrganizationForm(EditForm):
    """The organization's name and the units that its pages show."""

    name = TextField(label="Name", max_length=80)
    angle_unit = WordField(label="Show slopes in", choices=[("deg", "degrees"), ("mm_per_m", "mm/m")])
    length_unit = WordField(label="Show lengths in", choices=[("mm", "mm"), ("in", "inches")])


class ChooseOrganizationForm(forms.Form):
    """Which of one's organizations to work in."""

    organization = forms.UUIDField()
