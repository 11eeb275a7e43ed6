"""Forms about invitations: who is invited as what, and the account of someone who has none yet."""

from typing import Any

from allauth.account.adapter import get_adapter
from allauth.account.fields import PasswordField
from django import forms
from django.contrib.auth import get_user_model
from django.core.exceptions import ValidationError

from collection.forms.base import EditForm, TopForm, WriteForm
from collection.forms.fields import AddressField
from collection.forms.people import NEW_PASSWORD, RoleForm


class InvitationForm(TopForm, RoleForm):
    """Who is invited, and as what."""

    email = AddressField(
        label="E-mail", help_text="The link goes there, and only this address can use it.",
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
    )  # fmt: skip
    field_order = ("email", "role", "sites")


class InvitationEditForm(EditForm):
    """An invitation as the page showed it, to be sent again or withdrawn."""


class AcceptForm(WriteForm):
    """Whoever is signed in joins."""


class AccountForm(WriteForm):
    """A password for an account with the invited address, and no other."""

    email = AddressField(
        label="E-mail", widget=forms.EmailInput(attrs={"autocomplete": "username", "readonly": True})
    )  # fmt: skip
    password = PasswordField(
        label="Password", autocomplete="new-password", help_text=NEW_PASSWORD,
        error_messages={"required": "Write a password."},
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["password"].widget.attrs.pop("placeholder", None)

    def clean_email(self) -> str:
        """Return the address, or raise ValidationError if it is not the invited one."""
        if self.cleaned_data["email"] != self.initial["email"]:
            raise ValidationError(f"This invitation is for {self.initial['email']}. Ask for one for the other address.")
        return str(self.cleaned_data["email"])

    def clean_password(self) -> str:
        """Return the password, or raise ValidationError if it is easy to guess."""
        password = self.cleaned_data["password"]
        get_adapter().refuse_plain(password, [self.initial["organization"]])
        return str(get_adapter().clean_password(password, user=get_user_model()(email=self.initial["email"])))
