"""What an authenticator app shows, reckoned from the page's key as RFC 6238 (M'Raihi and others, 2011) says, beside
the account library's own arithmetic; and people who have a second factor."""

import base64
import hmac
import struct
import time

from allauth.account.internal.flows.login import (
    _AUTHENTICATION_METHODS_USER_SESSION_KEY,
    AUTHENTICATION_METHODS_SESSION_KEY,
)
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP
from django.test import Client
from django.urls import reverse

from collection import models
from tests.factories import PASSWORD

PERIOD_S = 30
#: The key of the RFC's own examples, "12345678901234567890", as apps are given it.
KEY = base64.b32encode(b"12345678901234567890").decode()


def code_at(key: str, at_s: float) -> str:
    """Return the six digits that an app with this key shows at a time: RFC 6238, 4.2 over RFC 4226, 5.3."""
    counter = struct.pack(">Q", int(at_s) // PERIOD_S)
    mac = hmac.digest(base64.b32decode(key.replace(" ", "")), counter, "sha1")
    start = mac[-1] & 0xF
    number = struct.unpack(">I", mac[start : start + 4])[0] & 0x7FFFFFFF
    return f"{number % 1_000_000:06}"


def fresh_code(key: str, least_s: float = 0) -> str:
    """Return the code that the app shows now; first wait for the next one if this one ends sooner than told."""
    left = PERIOD_S - time.time() % PERIOD_S
    if left < least_s:
        time.sleep(left + 0.1)
    return code_at(key, time.time())


def with_app(user: models.User) -> list[str]:
    """Give a person an authenticator app with KEY, and return their recovery codes."""
    TOTP.activate(user, KEY)
    codes: list[str] = RecoveryCodes.activate(user).get_unused_codes()
    return codes


def half_way(user: models.User, client: Client | None = None) -> Client:
    """Return a client that has typed the right password, so that the second factor is asked."""
    client = client or Client()
    answer = client.post(reverse("account_login"), {"login": user.email, "password": PASSWORD})
    assert answer.url == reverse("mfa_authenticate"), answer
    return client


def proven(client: Client, user: models.User, stays_s: float = 0) -> Client:
    """Return the client, which has just shown again who it is; that holds five minutes, and longer if told."""
    session = client.session
    shown = {"method": "password", "at": time.time() + stays_s, "reauthenticated": True}
    session[AUTHENTICATION_METHODS_SESSION_KEY] = [shown]
    session[_AUTHENTICATION_METHODS_USER_SESSION_KEY] = str(user.pk)
    session.save()
    return client
