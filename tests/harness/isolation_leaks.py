"""One leak of each kind, planted to see that the canary is heard."""

import logging
from collections.abc import Callable
from pathlib import Path
from unittest.mock import patch

from django.conf import settings
from django.core.mail import send_mail
from django.db.models import QuerySet
from django.urls import reverse

from collection.models.base import OrganizationQuerySet
from tests.harness.isolation_canary import Canary
from tests.harness.isolation_walk import Walk


def _all_rows(rows: OrganizationQuerySet, organization: object) -> QuerySet:
    """What `for_org` would be if it forgot its organization."""
    return rows.all()


def without_scope() -> "patch":
    """Let every query of the app forget its organization while this lasts."""
    return patch.object(OrganizationQuerySet, "for_org", _all_rows)


def _page(walk: Walk, canary: Canary) -> None:
    with without_scope():
        walk.send("alice", "GET", reverse("sites"))


def _number(walk: Walk, canary: Canary) -> None:
    canary.look("a planted page", "", f"<td>{sorted(canary.tokens)[0]}</td>")


def _key(walk: Walk, canary: Canary) -> None:
    canary.look("a planted header", "", f"Location: /sites/{walk.books.pavilion.site.pk}/")


def _json(walk: Walk, canary: Canary) -> None:
    charlie = walk.books.identities["charlie"]
    answer = walk.send(charlie, "GET", reverse("acting"))
    canary.heard(walk.books.identities["dana"], "GET acting as somebody else", answer)


def _mail(walk: Walk, canary: Canary) -> None:
    who = walk.books.identities["alice"]
    walk.books.pavilion.site.refresh_from_db()
    real = walk.client.post

    def mailing(*given: object, **more: object) -> object:
        send_mail("Due", f"{walk.books.pavilion.site.name} is due.", None, ["alice@example.org"])
        return real(*given, **more)  # type: ignore[arg-type]

    with patch.object(walk.client, "post", mailing):
        walk.ask(who, "POST", reverse("organization_choose"))


def _log(walk: Walk, canary: Canary) -> None:
    walk.books.pavilion.machine.refresh_from_db()
    logging.getLogger("collection").debug("seen: %s", walk.books.pavilion.machine.title)
    walk.send("alice", "GET", reverse("guide"))


def _file(walk: Walk, canary: Canary) -> None:
    (Path(settings.DATA_DIR) / f"planted-{len(canary.hits)}.csv").write_text("anything")


LEAKS: dict[str, Callable[[Walk, Canary], None]] = {
    "a page": _page, "a number": _number, "a key": _key, "JSON": _json, "mail": _mail, "a log": _log, "a file": _file,
}  # fmt: skip
