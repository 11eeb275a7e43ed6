"""What every answer carries, refusals included, and cookies; with the settings of a public host too."""

from typing import Any

import pytest
from django.conf import settings
from django.test import Client, override_settings
from django.urls import reverse

from tests.collection.access.table import ROWS
from tests.factories import PASSWORD
from tests.worlds import TernTaproom

POLICY = ("default-src 'self'", "base-uri 'none'", "object-src 'none'", "frame-ancestors 'none'")
PUBLIC: dict[str, Any] = {
    "ALLOWED_HOSTS": ["levelbook.example"], "SECURE_SSL_REDIRECT": True, "SECURE_HSTS_SECONDS": 31_536_000,
    "SECURE_PROXY_SSL_HEADER": ("HTTP_X_FORWARDED_PROTO", "https"), "SESSION_COOKIE_SECURE": True,
    "CSRF_COOKIE_SECURE": True,
}  # fmt: skip


def is_guarded(answer: Any) -> None:
    policy = answer.headers["Content-Security-Policy"]
    for rule in POLICY:
        assert rule in policy
    assert "unsafe" not in policy
    if answer.status_code not in (301, 400) or "X-Content-Type-Options" in answer.headers:
        assert answer.headers["X-Content-Type-Options"] == "nosniff"


@pytest.fixture
def alice(taproom: TernTaproom) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(taproom.people.alice.user)
    return client


def test_every_page_and_refusal_has_the_policy_and_is_private(alice: Client, taproom: TernTaproom) -> None:
    for row in ROWS:
        for method in ("GET", "POST", "PUT"):
            answer = alice.generic(method, row.address(taproom))
            is_guarded(answer)
            assert answer.headers["X-Frame-Options"] == "DENY", row.name
            kept = answer.headers["Cache-Control"]
            assert "private" in kept, (row.name, method, kept)
            assert "no-cache" in kept or "no-store" in kept, (row.name, method, kept)


def test_errors_have_the_policy(alice: Client, taproom: TernTaproom, monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks(**_: Any) -> None:
        raise RuntimeError("planted")

    monkeypatch.setattr("collection.queries.sites.sites_of", breaks)
    answers = {
        500: alice.get(reverse("sites")),
        404: alice.get("/nowhere/"),
        400: alice.get(reverse("today"), headers={"host": "evil.example"}),
        405: alice.put(reverse("machines")),
        422: alice.post(reverse("site_new"), {}),
    }
    for status, answer in answers.items():
        assert answer.status_code == status
        is_guarded(answer)
        assert "planted" not in answer.content.decode()


@override_settings(**PUBLIC)
def test_a_wrong_host_and_plain_http_are_refused_with_the_policy(taproom: TernTaproom) -> None:
    client = Client()
    for host in ("evil.example", "levelbook.example@evil.example", "levelbook.example:80:80", "x\\y"):
        wrong = client.get("/", headers={"host": host}, secure=True)
        assert wrong.status_code == 400, host
        is_guarded(wrong)
    plain = client.get("/", headers={"host": "levelbook.example"})
    assert (plain.status_code, plain.url) == (301, "https://levelbook.example/")
    is_guarded(plain)
    good = client.get(
        "/", headers={"host": "levelbook.example", "x-forwarded-proto": "https", "x-forwarded-host": "evil.example"}
    )
    assert good.status_code == 200
    assert "evil.example" not in good.content.decode()
    assert "max-age=31536000" in good.headers["Strict-Transport-Security"]


def test_a_link_by_mail_names_our_host_only(taproom: TernTaproom, mailoutbox: list[Any]) -> None:
    client = Client()
    url, typed = reverse("account_reset_password"), {"email": taproom.people.bob.user.email}
    assert client.post(url, typed, headers={"host": "evil.example"}).status_code == 400
    assert not mailoutbox
    client.post(url, typed, headers={"x-forwarded-host": "evil.example", "forwarded": "host=evil.example"})
    assert len(mailoutbox) == 1
    assert "evil" not in mailoutbox[0].body


@override_settings(**PUBLIC)
def test_cookies_are_secure_and_closed_to_scripts(taproom: TernTaproom) -> None:
    client = Client(headers={"host": "levelbook.example", "x-forwarded-proto": "https"})
    login = reverse("account_login")
    client.get(login)
    answer = client.post(login, {"login": "bob@example.org", "password": PASSWORD})
    assert answer.status_code == 302
    assert {settings.SESSION_COOKIE_NAME, settings.CSRF_COOKIE_NAME} <= set(client.cookies)
    for cookie in client.cookies.values():
        assert cookie["httponly"], cookie.key
        assert cookie["secure"], cookie.key
        assert cookie["samesite"] == "Lax", cookie.key


def test_a_form_without_its_token_is_refused_and_told(taproom: TernTaproom) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(taproom.people.alice.user)
    for row in ROWS:
        if "POST" in row.answers:
            answer = client.post(row.address(taproom), {})
            assert answer.status_code in (403, 404), (row.name, answer.status_code)
            is_guarded(answer)


def test_too_many_sign_ins_are_told_in_a_page_of_ours(taproom: TernTaproom) -> None:
    client, seen = Client(), []
    for number in range(40):
        typed = {"login": f"nobody{number % 3}@example.org", "password": "wrong"}
        answer = client.post(reverse("account_login"), typed)
        is_guarded(answer)
        seen.append(answer.status_code)
        if answer.status_code == 429:
            break
    assert set(seen) <= {422, 429}
    assert 429 in seen, seen
    page = answer.content.decode()
    assert "Levelbook" in page
    right = client.post(reverse("account_login"), {"login": "bob@example.org", "password": PASSWORD})
    assert right.status_code == 429, "the limit holds for the right password too"


@pytest.mark.parametrize(
    "where", ["https://evil.example/", "//evil.example", "javascript:alert(1)", "\\\\evil.example"]
)
def test_sign_in_leads_to_no_other_site(taproom: TernTaproom, where: str) -> None:
    typed = {"login": "bob@example.org", "password": PASSWORD, "next": where}
    answer = Client().post(reverse("account_login"), typed)
    assert (answer.status_code, answer.url) == (302, reverse("today"))
