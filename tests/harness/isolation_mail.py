"""The steps of mail and sign-in: nobody learns from an answer who has an account here."""

from typing import Any

from django.urls import reverse

from collection import models
from tests.harness.isolation_walk import Answer, Step, Walk

NOBODY = "nobody.at.all@example.org"
PASSWORD = "a wading bird at dusk"


def mail_steps() -> list[Step]:
    """Return a step for each page that takes an address of somebody: a known one is answered as an unknown one."""
    return [
        _step("account_reset_password", lambda email: {"email": email}),
        _step("account_login", lambda email: {"login": email, "password": PASSWORD}),
    ]


def _step(name: str, body: Any) -> Step:
    def run(walk: Walk) -> list[str]:
        known = models.User.objects.get(pk=walk.books.identities["charlie"].user.pk).email  # type: ignore[union-attr]
        one, other = (walk.send("anonymous", "POST", reverse(name), body(email)) for email in (known, NOBODY))
        faults = one.faults + other.faults
        if _told(one, known) != _told(other, NOBODY):
            faults.append("it tells whether an address has an account")
        return faults

    return Step("mail", name, run)


def _told(answer: Answer, email: str) -> str:
    return answer.told().replace(email, "EMAIL").replace(email.replace("@", "%40"), "EMAIL")
