"""Forms about the second factor: codes from an app or from paper, and passkeys. The library's, in our words.

What a browser sends for a passkey comes from anyone who may reach the page, so it is read with care: the library
takes it apart only if it is a short JSON object in plain ASCII, and whatever breaks on the way is a refusal.
"""

from collections.abc import Callable
from typing import Any

from allauth.core import context
from allauth.mfa import signals
from allauth.mfa.adapter import get_adapter
from allauth.mfa.base import forms as code_forms
from allauth.mfa.models import Authenticator
from allauth.mfa.totp import forms as app_forms
from allauth.mfa.totp.internal import auth as app_auth
from allauth.mfa.webauthn import forms as passkey_forms
from django import forms
from django.core.exceptions import ValidationError

from collection.forms.fields import TextField

#: A passkey's answer has about 1,500 characters; a chain of certificates makes it longer.
LONGEST_ANSWER = 20_000
_NAME_HELP = "To tell it from others, such as: phone, laptop at work."


class _PlainForm(forms.Form):
    """Labels above the field and nothing inside it."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


class _TypedCode(_PlainForm):
    """A code, typed as the app or the paper shows it."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"].label = "Code"
        self.fields["code"].error_messages["required"] = "Write the code."
        self.fields["code"].widget = forms.TextInput(
            attrs={"autocomplete": "one-time-code", "inputmode": "numeric", "maxlength": 20}
        )


class CodeForm(_TypedCode, code_forms.AuthenticateForm):
    """A code of the app, or one of the recovery codes, to sign in."""


class CodeAgainForm(_TypedCode, code_forms.ReauthenticateForm):
    """A code, before something that protects the account is changed."""


class FirstCodeForm(_TypedCode, app_forms.ActivateTOTPForm):
    """The first code of an app, which shows that it has the key.

    The key stays until it is used: on a phone the page is loaded anew on the way back from the app that was given it.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        session = context.request.session
        given = session.get(app_auth.SECRET_SESSION_KEY)
        super().__init__(*args, **kwargs)
        if given:
            self.secret = session[app_auth.SECRET_SESSION_KEY] = given


class AnswerField(forms.JSONField):
    """What the browser answers for a passkey; without its script it stays empty."""

    widget = forms.HiddenInput
    default_error_messages = {
        "required": "No passkey was used. Press the button again, and follow what your device says.",
        "invalid": "This is no passkey’s answer. Load the page again, and press the button once more.",
    }

    def bound_data(self, data: Any, initial: Any) -> None:
        """Never show an answer again: it is good for one sending."""

    def prepare_value(self, value: Any) -> str:
        """Begin empty; the script fills it."""
        return ""

    def to_python(self, value: Any) -> Any:
        """Return the answer as a dictionary, or raise ValidationError."""
        if isinstance(value, str) and (len(value) > LONGEST_ANSWER or not value.isascii() or "\\" in value):
            raise ValidationError(self.error_messages["invalid"], code="invalid")
        try:
            answer = super().to_python(value)
        except RecursionError as error:
            raise ValidationError(self.error_messages["invalid"], code="invalid") from error
        if answer is not None and not isinstance(answer, dict):
            raise ValidationError(self.error_messages["invalid"], code="invalid")
        return answer


class _Answer(_PlainForm):
    """The answer of a passkey."""

    credential = AnswerField()

    def clean_credential(self) -> Any:
        """Return the passkey that answered; an answer that cannot be taken apart is refused as a wrong one is."""
        try:
            return _checked(super().clean_credential)  # type: ignore[misc]
        except ValidationError:
            # The library tells of wrong codes only.
            told: Any = {"user": self.user, "authenticator": None, "reauthentication": self.reauthenticated}  # type: ignore[attr-defined]
            signals.authentication_failed.send(sender=Authenticator, request=context.request, **told)
            raise


class PasskeyForm(_Answer, passkey_forms.AuthenticateWebAuthnForm):
    """A passkey as second factor."""


class PasskeySignInForm(_Answer, passkey_forms.LoginWebAuthnForm):
    """A passkey instead of e-mail and password."""


class PasskeyAgainForm(_Answer, passkey_forms.ReauthenticateWebAuthnForm):
    """A passkey, before something that protects the account is changed."""


class AddPasskeyForm(_PlainForm, passkey_forms.AddWebAuthnForm):
    """A new passkey with its name."""

    name = TextField(label="Name", max_length=60, required=False, help_text=_NAME_HELP)
    credential = AnswerField()
    passwordless = forms.BooleanField(
        label="It signs me in without my password",
        required=False,
        initial=True,
        help_text="For that it asks for your finger, face or PIN. Leave it out for a key that can only be touched.",
    )

    def clean(self) -> Any:
        """Check the new passkey's answer."""
        return _checked(super().clean)


class PasskeyNameForm(_PlainForm, passkey_forms.EditWebAuthnForm):
    """Another name for a passkey."""

    name = TextField(label="Name", max_length=60, help_text=_NAME_HELP)


def _checked(check: Callable[[], Any]) -> Any:
    """Run a check of the library; whatever breaks on an odd answer is refused alike, whoever is asked for."""
    try:
        return check()
    except ValidationError as error:
        if error.code in ("too_many_login_attempts", "rate_limited"):
            raise
        raise get_adapter().validation_error("wrong_passkey") from error
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        raise get_adapter().validation_error("wrong_passkey") from error
