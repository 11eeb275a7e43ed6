"""Forms about people: sign-up, the organization's own settings, who belongs to it and as what."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from allauth.account import forms as account_forms
from allauth.account.adapter import get_adapter
from django import forms
from django.core.exceptions import ValidationError

from collection.forms.base import EditForm, ReasonForm, TopForm, WriteForm
from collection.forms.fields import TextField, WordField, WordsField

ROLES = [("owner", "Owner"), ("technician", "Technician"), ("viewer", "Site viewer")]

_LABELS = {
    "email": "E-mail",
    "login": "E-mail",
    "password": "Password",
    "oldpassword": "Password now",
    "password1": "New password",
    "password2": "New password, again",
}
_REQUIRED = {
    "email": "Write your e-mail address.",
    "login": "Write your e-mail address.",
    "password": "Write your password.",
    "oldpassword": "Write the password that you use now.",
    "password1": "Write a password.",
    "password2": "Write the new password once more.",
}
NEW_PASSWORD = "At least 10 characters of any kind, and none of the common ones."


class _AccountForm(forms.Form):
    """The account library's forms in our words: labels above the field, nothing inside it, help in one line."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        for name, field in self.fields.items():
            field.label = _LABELS.get(name, field.label)
            if name in _REQUIRED:
                field.error_messages["required"] = _REQUIRED[name]
            field.widget.attrs.pop("placeholder", None)
            if name == "password1":
                field.help_text = NEW_PASSWORD


class SignInForm(_AccountForm, account_forms.LoginForm):
    """E-mail and password."""


class SignUpForm(_AccountForm, account_forms.SignupForm):
    """E-mail, password and the organization's name: account and tenant in one step."""

    organization = TextField(
        label="Name of your organization",
        max_length=80,
        help_text="Your collection or your business, as your people call it.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["password1"].label = "Password"

    def clean(self) -> Any:
        """Refuse a password that is the organization's name with little more."""
        cleaned = super().clean()
        password, name = (self.cleaned_data.get(field) for field in ("password1", "organization"))
        if password and name:
            try:
                get_adapter().refuse_plain(password, [name])
            except ValidationError as error:
                self.add_error("password1", error)
        return cleaned


class AddressForm(_AccountForm, account_forms.AddEmailForm):
    """Another e-mail address."""


class PasswordForm(_AccountForm, account_forms.ChangePasswordForm):
    """The password now, and a new one twice."""


class FirstPasswordForm(_AccountForm, account_forms.SetPasswordForm):
    """A password for an account without one."""


class ForgottenForm(_AccountForm, account_forms.ResetPasswordForm):
    """Where to send the link that lets someone choose a new password."""


class NewPasswordForm(_AccountForm, account_forms.ResetPasswordKeyForm):
    """The new password, twice, after the link was opened."""


class AgainForm(_AccountForm, account_forms.ReauthenticateForm):
    """The password once more, before something that protects the account is changed."""


class FoundForm(WriteForm):
    """The name of a new organization."""

    name = TextField(
        label="Name of your organization",
        max_length=80,
        help_text="Your collection or business, as people call it.",
    )


class OrganizationForm(ReasonForm, TopForm):
    """The organization's name and the units that its pages show."""

    field_order = ("write_key", "version", "name", "angle_unit", "length_unit", "why")

    name = TextField(label="Name", max_length=80)
    angle_unit = WordField(label="Show slopes in", choices=[("deg", "degrees"), ("mm_per_m", "mm/m")])
    length_unit = WordField(label="Show lengths in", choices=[("mm", "mm"), ("in", "inches")])


class ChooseOrganizationForm(forms.Form):
    """Which of one's organizations to work in."""

    organization = forms.UUIDField()


class RoleForm(WriteForm):
    """What someone may do here, and which sites a site viewer reads."""

    role = WordField(
        label="Role", choices=ROLES,
        help_text="Owners decide about people and units. Technicians change everything else. Site viewers only read.",
    )  # fmt: skip
    sites = WordsField(label="Sites", required=False, help_text="A site viewer reads these and no others.")

    def __init__(self, *args: Any, sites: Sequence[tuple[UUID, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["sites"]
        field.choices = [(str(key), name) for key, name in sites]
        if not sites:
            field.help_text = "There is no site yet. A site viewer needs one to read."

    def clean_sites(self) -> list[UUID]:
        """Return the keys of the sites."""
        return [UUID(key) for key in self.cleaned_data["sites"]]


class ColleagueForm(EditForm, RoleForm):
    """Another role for a member, or other sites: they mean something only together."""

    together = (("role", "sites"),)


class EndForm(EditForm):
    """Why a membership ends."""

    why = TextField(label="Why", max_length=400, help_text="It stays in the history.")


class HandOverForm(EditForm):
    """To whom the organization goes, understood to be final."""

    sure = forms.BooleanField(
        label="I become a technician and cannot take this back myself",
        error_messages={"required": "Tick this if you mean it."},
    )


class LeaveForm(TopForm):
    """Why one leaves, if one likes to say."""

    why = TextField(label="Why", max_length=400, required=False, help_text="It stays in the history.")
