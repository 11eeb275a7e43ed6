"""Where allauth meets us: it makes the account, our action makes the organization; how it keeps secrets."""

import base64
from collections.abc import Sequence
from typing import Any
from uuid import uuid4

from allauth.account.adapter import DefaultAccountAdapter
from allauth.core import context
from allauth.mfa.adapter import DefaultMFAAdapter
from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings
from django.db import transaction
from django.http import HttpRequest
from django.http.request import split_domain_port
from django.urls import reverse
from django.utils import timezone
from django.utils.encoding import force_bytes

from collection.actions.people import found_organization
from collection.models import User
from collection.queries.people import organizations_of

#: What anyone tries first at a place like this, beside the names of its organizations.
PLACE_WORDS = frozenset({"arcade", "level", "levelbook", "leveler", "machine", "password", "pinball", "playfield"})
#: A password with such words holds at least so many letters and figures besides. No source: our choice.
LEAST_OF_ITS_OWN = 6


class AccountAdapter(DefaultAccountAdapter):
    """Founds the organization that was named on the sign-up page, in the same transaction as the account."""

    error_messages = {
        **DefaultAccountAdapter.error_messages,
        "email_taken": "This address has an account already. Sign in with it, or choose a new password by mail.",
        "rate_limited": "Too many tries in a short time. Wait a few minutes, then try again.",
        "plain_password": "Whoever knows this place guesses that. Take words that have nothing to do with it.",
        "too_many_login_attempts": "Too many tries that were not right. Wait a few minutes, then try again.",
    }

    def clean_password(self, password: str, user: Any = None) -> str:
        """Return the password; raise ValidationError if it is easily guessed, also by who knows the organization."""
        checked: str = super().clean_password(password, user)
        if user and user.pk:
            self.refuse_plain(password, [member.organization.name for member in organizations_of(user=user)])
        return checked

    def refuse_plain(self, password: str, names: Sequence[str]) -> None:
        """Raise ValidationError if little is left of a password without the words of the place (ASVS 5.0, 6.2.11)."""
        words = {word for name in names for word in _spaced(name).split() if len(word) > 2}
        typed = left = _spaced(password).replace(" ", "")
        for word in sorted(words | PLACE_WORDS, key=len, reverse=True):
            left = left.replace(word, "")
        if left != typed and len(left) < LEAST_OF_ITS_OWN:
            raise self.validation_error("plain_password")

    def send_notification_mail(
        self, template_prefix: str, user: Any, context: dict[str, Any] | None = None, email: str | None = None
    ) -> None:
        """Tell the person by mail what was changed, with the way to their devices."""
        link = {"devices_url": self.request.build_absolute_uri(reverse("devices"))}
        super().send_notification_mail(template_prefix, user, {**link, **(context or {})}, email)

    @transaction.atomic
    def save_user(self, request: HttpRequest, user: User, form: Any, commit: bool = True) -> User:
        """Store the new user and the organization they named."""
        saved: User = super().save_user(request, user, form, commit=commit)
        if commit:
            found_organization(user=saved, name=form.cleaned_data["organization"], at=timezone.now(), key=uuid4())
        return saved


class SecondFactorAdapter(DefaultMFAAdapter):
    """Keeps what codes are made from encrypted, by a key made of SECRET_KEY, and names us to passkeys.

    With another SECRET_KEY these secrets cannot be read any more; passkeys hold no secret of ours and go on working.
    """

    error_messages = {
        **DefaultMFAAdapter.error_messages,
        "add_email_blocked": "An account with a second factor keeps its addresses. Turn the second factor off first.",
        "incorrect_code": "This code is wrong or too old. The app shows a new one every 30 seconds: type the newest.",
        "unreadable": "The server’s secret key was changed, so it cannot check codes. Sign in with a passkey, or ask "
        "whoever runs the server to put the former key back.",
        "wrong_passkey": "This passkey was not accepted, or it took too long. Try again.",
        "unverified_email": "Confirm all your e-mail addresses first, or remove those that are not yours.",
    }

    def encrypt(self, text: str) -> str:
        """Return the text as the database keeps it."""
        return _locks().encrypt(text.encode()).decode()

    def decrypt(self, encrypted_text: str) -> str:
        """Return the text; raise ValidationError if it was encrypted with a key that is gone."""
        try:
            return _locks().decrypt(encrypted_text.encode()).decode()
        except InvalidToken as error:
            raise self.validation_error("unreadable") from error

    def generate_authenticator_name(self, user: Any, kind: Any) -> str:
        """Leave it to the person to name a passkey; one without a name is called so."""
        return "Passkey"

    def get_public_key_credential_rp_entity(self) -> dict[str, str]:
        """Say for which host a passkey is; browsers take names only, over HTTPS or on this very machine."""
        host, _ = split_domain_port(context.request.get_host())
        return {"id": host, "name": "Levelbook"}


def _spaced(text: str) -> str:
    """Return letters and figures alone, small, with spaces for all else."""
    return "".join(each if each.isalnum() else " " for each in text.casefold())


def _locks() -> MultiFernet:
    """What encrypts with the secret key, and still reads what an earlier one encrypted while it is a fallback."""
    keys = (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)
    return MultiFernet([Fernet(base64.urlsafe_b64encode(_derived(key))) for key in keys])


def _derived(key: str | bytes) -> bytes:
    """Return 32 bytes made of a secret key for this use alone (HKDF, RFC 5869)."""
    return HKDF(algorithm=SHA256(), length=32, salt=None, info=b"levelbook second factor").derive(force_bytes(key))
