"""Configuration checks: each says what is wrong and the one-line remedy."""

from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Info, register

_LOOPBACK = {"localhost", "127.0.0.1", "[::1]"}


@register()
def public_host_is_safe(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Refuse debug pages on a public host: they show settings and code to everyone."""
    public = set(settings.ALLOWED_HOSTS) - _LOOPBACK
    if settings.DEBUG and public:
        return [
            Error(
                f"Debug pages are on and {', '.join(sorted(public))} is a public host.",
                hint="Set LEVELBOOK_DEBUG=off.",
                id="levelbook.E001",
            )
        ]
    return []


@register()
def database_options_are_in_place(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Refuse SQLite without immediate transactions: most competing writes would fail."""
    database = settings.DATABASES["default"]
    if not database["ENGINE"].endswith("sqlite3"):
        return []
    options = database.get("OPTIONS", {})
    if options.get("transaction_mode") != "IMMEDIATE" or "timeout" in database:
        return [
            Error(
                "SQLite is not set to immediate transactions with a timeout inside OPTIONS.",
                hint="Keep the database settings of collection/environment.py.",
                id="levelbook.E002",
            )
        ]
    if "journal_mode=WAL" in options["init_command"]:
        return []
    return [
        Info(
            "This SQLite has a rare fault in its write-ahead log, so Levelbook uses the slower TRUNCATE journal.",
            hint="SQLite 3.51.3 or newer is about twice as fast; nothing is at risk meanwhile.",
            id="levelbook.I001",
        )
    ]
