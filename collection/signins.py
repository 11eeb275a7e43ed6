"""Writes down who came in, who did not, and whose password changed: the account by its key, never what was typed."""

import logging
from typing import Any

from allauth.account import signals
from allauth.account.adapter import get_adapter
from allauth.mfa import signals as second_factor
from django.contrib.auth.signals import user_logged_in, user_logged_out, user_login_failed
from django.dispatch import receiver

log = logging.getLogger("levelbook.signin")


@receiver(user_logged_in)
def came_in(sender: Any, request: Any, user: Any, **kwargs: Any) -> None:
    """Write down that someone signed in."""
    _write(logging.INFO, "Signed in", request, user)


@receiver(user_logged_out)
def went_out(sender: Any, request: Any, user: Any, **kwargs: Any) -> None:
    """Write down that someone signed out."""
    _write(logging.INFO, "Signed out", request, user)


@receiver(user_login_failed)
def was_refused(sender: Any, credentials: Any, request: Any = None, **kwargs: Any) -> None:
    """Write down a wrong password, without the address: people type their password there too."""
    _write(logging.WARNING, "Wrong address or password", request, None)


@receiver(second_factor.authentication_failed)
def factor_was_refused(sender: Any, request: Any, user: Any, **kwargs: Any) -> None:
    """Write down a wrong code or passkey."""
    _write(logging.WARNING, "Wrong code or passkey", request, user)


@receiver([second_factor.authenticator_added, second_factor.authenticator_removed, second_factor.authenticator_reset])
def factor_changed(sender: Any, request: Any, user: Any, signal: Any, **kwargs: Any) -> None:
    """Write down that someone's app, passkeys or recovery codes are others now."""
    verb = {second_factor.authenticator_added: "added", second_factor.authenticator_removed: "removed"}
    _write(logging.WARNING, f"Second factor {verb.get(signal, 'changed')}", request, user)


@receiver([signals.password_changed, signals.password_set, signals.password_reset])
def password_changed(sender: Any, request: Any, user: Any, **kwargs: Any) -> None:
    """Write down that someone's password is another one now."""
    _write(logging.WARNING, "Password changed", request, user)


def _write(level: int, what: str, request: Any, user: Any) -> None:
    address = get_adapter().get_client_ip(request) if request and request.META.get("REMOTE_ADDR") else "no address"
    log.log(level, "%s: account %s, from %s", what, getattr(user, "pk", None) or "unknown", address)
