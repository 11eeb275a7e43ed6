"""Forms about people: sign-up and the organization's own settings."""

from typing import Any

from allauth.account import forms as account_forms
from django import forms

from collection.forms.base import EditForm, WriteForm
from collection.forms.fields import TextField, WordField

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
_NEW_PASSWORD = "At least 8 characters, not only digits, and none of the common ones."


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
                field.help_text = _NEW_PASSWORD


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


class OrganizationForm(EditForm):
    """The organization's name and the units that its pages show."""

    name = TextField(label="Name", max_length=80)
    angle_unit = WordField(label="Show slopes in", choices=[("deg", "degrees"), ("mm_per_m", "mm/m")])
    length_unit = WordField(label="Show lengths in", choices=[("mm", "mm"), ("in", "inches")])


class ChooseOrganizationForm(forms.Form):
    """Which of one's organizations to work in."""

    organization = forms.UUIDField()
