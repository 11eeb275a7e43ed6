"""What every answer carries, refusals included, and cookies; with the settings of a public host too."""

from typing import Any
from unittest import mock

import pytest
from django.conf import settings
from django.test import Client, override_settings
from django.urls import reverse

from collection.actions.record import StaleEdit
from tests.collection.access.table import ROWS
from tests.factories import PASSWORD
from tests.worlds import TernTaproom

POLICY = ("default-src 'self'", "base-uri 'none'", "object-src 'none'", "frame-ancestors 'none'", "form-action 'self'")
#: On every answer, whatever its status.
HEADERS = {
    "X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}  # fmt: skip
PUBLIC: dict[str, Any] = {
    "ALLOWED_HOSTS": ["levelbook.example"], "SECURE_SSL_REDIRECT": True, "SECURE_HSTS_SECONDS": 31_536_000,
    "SECURE_HSTS_INCLUDE_SUBDOMAINS": True,
    "SECURE_PROXY_SSL_HEADER": ("HTTP_X_FORWARDED_PROTO", "https"), "SESSION_COOKIE_SECURE": True,
    "CSRF_COOKIE_SECURE": True,
}  # fmt: skip


def is_guarded(answer: Any, **other: str) -> None:
    policy = answer.headers["Content-Security-Policy"]
    for rule in POLICY:
        assert rule in policy
    assert "unsafe" not in policy
    for name, value in (HEADERS | other).items():
        assert answer.headers.get(name) == value, (name, answer.status_code)
    assert "Access-Control-Allow-Origin" not in answer.headers
    assert answer.headers["Content-Type"] or not answer.content
    if answer.headers["Content-Type"].startswith("text/"):
        assert "charset=" in answer.headers["Content-Type"]


@pytest.fixture
def alice(taproom: TernTaproom) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(taproom.people.alice.user)
    return client


def test_every_page_and_refusal_has_the_policy_and_is_private(alice: Client, taproom: TernTaproom) -> None:
    for row in ROWS:
        for method in ("GET", "POST", "PUT"):
            answer = alice.generic(method, row.address(taproom))
            # The address of a report is a secret, which no other page needs to know.
            is_guarded(
                answer, **({"Referrer-Policy": "no-referrer"} if row.name in ("report", "report_thanks") else {})
            )
            kept = answer.headers["Cache-Control"]
            assert "private" in kept, (row.name, method, kept)
            assert "no-cache" in kept or "no-store" in kept, (row.name, method, kept)


def test_every_status_has_them(alice: Client, taproom: TernTaproom, monkeypatch: pytest.MonkeyPatch) -> None:
    def raising(error: Exception) -> Any:
        monkeypatch.setattr("collection.queries.sites.sites_of", mock.Mock(side_effect=error))
        return alice.get(reverse("sites"))

    vera, kept = Client(), {"HTTP_X_KEEP": "somebody.else", "HTTP_X_KEEP_WAITED": "0"}
    vera.force_login(taproom.people.vera.user)
    monkeypatch.setattr("collection.queries.health.is_ready", lambda: False)
    answers = {
        302: Client().get(reverse("sites")),
        400: alice.get(reverse("today"), headers={"host": "evil.example"}),
        401: Client().get(reverse("sites"), headers={"HX-Request": "true"}),
        403: vera.get(reverse("site_new")),
        404: alice.get("/nowhere/"),
        405: alice.put(reverse("machines")),
        409: raising(StaleEdit(taproom.people.bob, taproom.site)),
        412: alice.post(reverse("site_new"), {}, **kept),
        422: alice.post(reverse("site_new"), {}),
        500: raising(RuntimeError("planted")),
        503: Client().get(reverse("health")),
    }
    for status, answer in answers.items():
        assert answer.status_code == status
        is_guarded(answer)
        assert "planted" not in answer.content.decode()
        assert "no-cache" in answer.headers.get("Cache-Control", "no-cache" if status == 400 else ""), status


@pytest.mark.parametrize("path", ["collection/levelbook.js", "collection/mark.svg", "collection/nothing.js"])
def test_static_files_have_them(db: None, path: str) -> None:
    answer = Client().get(f"/static/{path}")
    answer.close()
    assert answer.status_code == (404 if "nothing" in path else 200)
    is_guarded(answer)


@pytest.mark.parametrize("path", ["/.git/config", "/static/", "/static/../settings.py", "/static/%2e%2e/settings.py"])
def test_nothing_else_on_the_disk_is_served(db: None, path: str) -> None:
    answer = Client().get(path)
    assert answer.status_code == 404
    assert "SECRET_KEY" not in answer.content.decode()


def test_nobody_gets_a_request_back(db: None) -> None:
    assert Client().trace(reverse("quick")).status_code == 405


def test_an_unfinished_redirect_has_them(db: None) -> None:
    answer = Client().get("/today")
    assert (answer.status_code, answer.headers["Location"]) == (301, "/today/")
    is_guarded(answer)


def test_signing_out_takes_the_pages_from_the_device(alice: Client) -> None:
    """What waits to be sent lies in the device's storage, and stays."""
    assert "Clear-Site-Data" not in alice.get(reverse("today")).headers
    assert "Clear-Site-Data" not in Client().post(reverse("account_login"), {}).headers
    assert alice.post(reverse("account_logout")).headers["Clear-Site-Data"] == '"cache"'


@override_settings(**PUBLIC)
def test_a_wrong_host_and_plain_http_are_refused_with_the_policy(taproom: TernTaproom) -> None:
    client = Client()
    for host in ("evil.example", "levelbook.example@evil.example", "levelbook.example:80:80", "x\\y"):
        wrong = client.get("/", headers={"host": host}, secure=True)
        assert wrong.status_code == 400, host
        is_guarded(wrong)
        assert "max-age=31536000" in wrong.headers["Strict-Transport-Security"]
    plain = client.get("/", headers={"host": "levelbook.example"})
    assert (plain.status_code, plain.url) == (301, "https://levelbook.example/")
    is_guarded(plain)
    monitor = client.get(reverse("health"), headers={"host": "levelbook.example"})
    assert (monitor.status_code, monitor.content) == (200, b"ok\n"), "a monitor may ask the server itself"
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
        if "POST" in row.answers and row.name != "report":  # which has no token: its address alone is the right
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
