"""What must hold where others than this machine can reach the site."""

from collections.abc import Iterator
from typing import Any

from django.conf import settings
from django.core import checks
from django.core.checks import CheckMessage, Error, register

from collection.environment import LOOPBACK, SSL_MODES
from collection.server import public_names

OURS = "levelbook"


@register(OURS)
def public_site_is_safe(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Look at debug pages, HTTPS and mail."""
    return list(_faults(", ".join(public_names(settings.ALLOWED_HOSTS))))


def _faults(public: str) -> Iterator[CheckMessage]:
    if settings.DEBUG and public:
        # They show settings and code to everyone.
        yield Error(
            f"Debug pages are on and {public} is a public host.", hint="Set LEVELBOOK_DEBUG=off.", id="levelbook.E001"
        )
    if public and not settings.HTTPS:
        yield checks.Warning(
            f"HTTPS is off and {public} is a public host: passwords travel in plain sight.",
            hint="Serve behind a proxy that speaks HTTPS, and leave LEVELBOOK_HTTPS out.",
            id="levelbook.W001",
        )
    if settings.HTTPS and not public:
        yield checks.Warning(
            "HTTPS is on, but only this machine may ask: every page leads to https:// and nobody answers there.",
            hint="Set LEVELBOOK_HOSTS to the site's public name, or LEVELBOOK_HTTPS=off.",
            id="levelbook.W002",
        )
    if public and settings.MAILERS["default"]["BACKEND"].endswith("console.EmailBackend"):
        yield checks.Warning(
            "No mail server is set: invitations and links for forgotten passwords are printed here and reach nobody.",
            hint="Set LEVELBOOK_MAIL_URL to your mail server.",
            id="levelbook.W003",
        )


@register(OURS)
def database_line_is_safe(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Warn of a PostgreSQL on another machine that is spoken to in plain sight."""
    database = settings.DATABASES["default"]
    host = database.get("HOST", "")
    mode = database.get("OPTIONS", {}).get("sslmode", "prefer")
    if not host or host.startswith("/") or host in (*LOOPBACK, "::1") or mode in SSL_MODES[3:]:
        return []
    return [
        checks.Warning(
            "PostgreSQL is on another machine and nothing says that the line to it must be encrypted.",
            hint="Add ?sslmode=verify-full to DATABASE_URL, or at least ?sslmode=require.",
            id="levelbook.W004",
        )
    ]
