"""A second factor: an authenticator app, recovery codes, and what is asked before any of it changes."""

import datetime
import re
from collections.abc import Callable
from typing import Any

import pytest
import time_machine
from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from django.core import mail
from django.core.checks import run_checks
from django.core.management import CommandError, call_command
from django.test import Client, override_settings
from django.urls import reverse

from collection.models import Membership
from tests.codes import KEY, code_at, fresh_code, half_way, proven, with_app
from tests.factories import PASSWORD
from tests.passkeys import SoftKey, with_passkey
from tests.worlds import Cast

SignIn = Callable[[Membership], Client]
HERE = reverse("mfa_authenticate")


@pytest.mark.parametrize(
    ("at_s", "code"),
    [(59, "287082"), (1111111109, "081804"), (1111111111, "050471"), (1234567890, "005924"), (2000000000, "279037"),
     (20000000000, "353130")],
)  # fmt: skip
def test_our_own_arithmetic_agrees_with_the_rfc(at_s: int, code: str) -> None:
    """RFC 6238, Appendix B, the last six of its eight digits, SHA-1."""
    assert code_at(KEY, at_s) == code


@pytest.mark.parametrize(("at_s", "code"), [(1234567890, "005924"), (2000000000, "279037")])
def test_sign_in_takes_the_codes_of_the_rfc(people: Cast, at_s: int, code: str) -> None:
    with time_machine.travel(datetime.datetime.fromtimestamp(at_s, datetime.UTC), tick=False):
        with_app(people.bob.user)
        client = half_way(people.bob.user)
        assert client.post(HERE, {"code": "000000"}).status_code == 422
        assert client.post(HERE, {"code": code}).url == reverse("today")


def test_the_password_alone_opens_nothing(people: Cast) -> None:
    with_app(people.bob.user)
    client = half_way(people.bob.user)
    assert client.get(reverse("today")).status_code == 302
    assert client.get(reverse("account_login")).url == HERE, "the sign-in goes on where it stood"
    page = client.get(HERE)
    assert page.status_code == 200
    assert "One more step" in page.content.decode()
    assert client.post(reverse("account_logout"), {"next": reverse("account_login")}).status_code == 302
    assert client.get(HERE).url == reverse("account_login"), "begun again"


def test_a_code_is_good_for_one_sign_in(people: Cast) -> None:
    with_app(people.bob.user)
    with time_machine.travel(datetime.datetime(2026, 5, 4, 12, 0, 5, tzinfo=datetime.UTC), tick=False):
        code = fresh_code(KEY)
        assert half_way(people.bob.user).post(HERE, {"code": code}).status_code == 302
        assert half_way(people.bob.user).post(HERE, {"code": code}).status_code == 422


def test_a_code_of_the_time_before_is_too_old(people: Cast) -> None:
    with_app(people.bob.user)
    at = datetime.datetime(2026, 5, 4, 12, 0, 5, tzinfo=datetime.UTC)
    with time_machine.travel(at, tick=False):
        answer = half_way(people.bob.user).post(HERE, {"code": code_at(KEY, at.timestamp() - 30)})
    assert answer.status_code == 422
    assert "wrong or too old" in answer.content.decode()


def test_a_recovery_code_is_good_once(people: Cast) -> None:
    codes = with_app(people.bob.user)
    assert len(codes) == len(set(codes)) == 10
    typed = f"{codes[3][:4]} {codes[3][4:]}"
    assert half_way(people.bob.user).post(HERE, {"code": typed}).url == reverse("today")
    assert half_way(people.bob.user).post(HERE, {"code": typed}).status_code == 422
    assert half_way(people.bob.user).post(HERE, {"code": codes[4]}).status_code == 302


def test_too_many_wrong_codes_are_stopped_even_for_the_right_one(people: Cast) -> None:
    codes = with_app(people.bob.user)
    client = half_way(people.bob.user)
    for number in range(6):
        answer = client.post(HERE, {"code": f"{number:06}"})
        assert answer.status_code == 422
    assert "Too many tries" in answer.content.decode()
    assert client.post(HERE, {"code": codes[0]}).status_code == 422
    assert half_way(people.bob.user).post(HERE, {"code": codes[0]}).status_code == 422, "from elsewhere too"


def test_wrong_codes_and_changes_are_written_down_with_their_account(
    people: Cast, as_member: SignIn, caplog: pytest.LogCaptureFixture
) -> None:
    with_app(people.bob.user)
    with_passkey(people.bob.user, key=SoftKey(people.bob.user))
    client = half_way(people.bob.user)
    client.post(HERE, {"code": "000000"})
    client.post(HERE, {"credential": '{"id": 1}'})
    proven(as_member(people.bob), people.bob.user).post(reverse("mfa_deactivate_totp"))
    told = [record.getMessage() for record in caplog.records if record.levelname == "WARNING"]
    told = [line for line in told if "account" in line and "Unprocessable" not in line]
    account = f"account {people.bob.user_id}, from 127.0.0.1"
    assert told == [
        f"Wrong code or passkey: {account}", f"Wrong code or passkey: {account}", f"Second factor removed: {account}",
    ]  # fmt: skip
    assert "000000" not in caplog.text


@pytest.mark.parametrize("text", ["", "\x00", "a" * 100_000, "１２３４５６", "\ud800", "000000' OR 1=1", "🦆" * 90])
def test_no_text_in_the_code_breaks_a_page(people: Cast, as_member: SignIn, text: str) -> None:
    with_app(people.bob.user)
    asked = proven(as_member(people.alice), people.alice.user)
    asked.get(reverse("mfa_activate_totp"))
    bob = as_member(people.bob)
    for client, url in (
        (half_way(people.bob.user), HERE),
        (bob, reverse("mfa_reauthenticate")),
        (asked, reverse("mfa_activate_totp")),
    ):
        body = b"code=" + text.encode("utf-8", "surrogatepass").replace(b"\x00", b"%00")
        answer = client.generic("POST", url, body, content_type="application/x-www-form-urlencoded")
        assert answer.status_code == 422, url


def test_the_app_is_set_up_with_its_first_code(people: Cast, as_member: SignIn) -> None:
    alice, url = as_member(people.alice), reverse("mfa_activate_totp")
    assert alice.get(url).url.startswith(reverse("account_reauthenticate")), "first: is it you?"
    again = alice.get(url).url
    assert alice.post(again, {"password": "wrong"}).status_code == 422
    assert alice.post(again, {"password": PASSWORD}).url == url
    page = alice.get(url).content.decode()
    key = re.search(r'id="app-key">([A-Z2-7 ]+)<', page)
    assert key
    assert alice.post(url, {"code": "12"}).status_code == 422
    assert not Authenticator.objects.exists()
    answer = alice.post(url, {"code": fresh_code(key[1], least_s=2)})
    assert answer.url == reverse("mfa_view_recovery_codes")
    codes = re.findall(r"<li>(\d{4})&nbsp;(\d{4})</li>", alice.get(answer.url).content.decode())
    assert len(codes) == 10
    client = half_way(people.alice.user)
    assert client.post(HERE, {"code": "".join(codes[0])}).status_code == 302


def test_the_key_stays_when_the_page_is_loaded_anew(people: Cast, as_member: SignIn) -> None:
    """Bug of 2026-11-29: a phone that loads the page anew, back from its app, showed another key: no code was right."""
    alice, url = proven(as_member(people.alice), people.alice.user), reverse("mfa_activate_totp")
    keys = [re.search(r'id="app-key">([A-Z2-7 ]+)<', alice.get(url).content.decode()) for _ in range(2)]
    assert keys[0]
    assert keys[1]
    assert keys[0][1] == keys[1][1]
    assert alice.post(url, {"code": fresh_code(keys[0][1], least_s=2)}).url == reverse("mfa_view_recovery_codes")
    assert alice.post(reverse("mfa_deactivate_totp")).status_code == 302
    after = re.search(r'id="app-key">([A-Z2-7 ]+)<', alice.get(url).content.decode())
    assert after
    assert after[1] != keys[0][1], "used once, it is not given again"


def test_secrets_are_not_in_the_database_as_they_are(people: Cast) -> None:
    codes = with_app(people.bob.user)
    kept = str(list(Authenticator.objects.values_list("data", flat=True)))
    assert KEY not in kept
    assert not any(code in kept for code in codes)


def test_a_changed_secret_key_is_told_and_lets_nobody_in(people: Cast, as_member: SignIn) -> None:
    with_app(people.bob.user)
    with override_settings(SECRET_KEY="another one " * 6):
        client = half_way(people.bob.user)
        for code in ("000000", fresh_code(KEY)):
            answer = client.post(HERE, {"code": code})
            assert answer.status_code == 422
            assert "secret key was changed" in answer.content.decode()
        bob = proven(as_member(people.bob), people.bob.user)
        for name in ("mfa_index", "mfa_view_recovery_codes", "mfa_download_recovery_codes"):
            answer = bob.get(reverse(name))
            assert answer.status_code == 422, name
            assert "secret key was changed" in answer.content.decode()


def test_the_former_secret_key_as_a_fallback_still_reads(people: Cast, settings: Any) -> None:
    codes = with_app(people.bob.user)
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY]
    settings.SECRET_KEY = "another one " * 6
    assert half_way(people.bob.user).post(HERE, {"code": codes[0]}).status_code == 302


def test_each_change_asks_first_who_it_is(people: Cast, as_member: SignIn) -> None:
    with_app(people.bob.user)
    bob = as_member(people.bob)
    for name in ("mfa_deactivate_totp", "mfa_generate_recovery_codes", "mfa_add_webauthn"):
        for method in ("GET", "POST"):
            answer = bob.generic(method, reverse(name))
            assert answer.status_code == 302, (name, method)
            assert answer.url.startswith(reverse("account_reauthenticate")), (name, method)
    for name in ("mfa_view_recovery_codes", "mfa_download_recovery_codes"):
        assert bob.get(reverse(name)).url.startswith(reverse("account_reauthenticate")), name
    assert Authenticator.objects.filter(user=people.bob.user).count() == 2


def test_a_code_proves_it_as_the_password_does(people: Cast, as_member: SignIn) -> None:
    codes = with_app(people.bob.user)
    bob = as_member(people.bob)
    first = bob.get(reverse("mfa_view_recovery_codes")).url
    page = bob.get(first).content.decode()
    assert "Use a code instead" in page
    way = re.search(r'href="(/accounts/second-factor/reauthenticate/[^"]*)"', page)
    assert way
    assert bob.post(way[1], {"code": "1"}).status_code == 422
    assert bob.post(way[1], {"code": codes[0]}).url == reverse("mfa_view_recovery_codes")
    shown = bob.get(reverse("mfa_view_recovery_codes")).content.decode()
    assert f"{codes[0][:4]}&nbsp;{codes[0][4:]}" not in shown
    assert f"{codes[1][:4]}&nbsp;{codes[1][4:]}" in shown


def test_codes_are_shown_saved_and_made_anew(people: Cast, as_member: SignIn) -> None:
    codes = with_app(people.bob.user)
    bob = proven(as_member(people.bob), people.bob.user)
    file = bob.get(reverse("mfa_download_recovery_codes"))
    assert file.headers["Content-Disposition"] == 'attachment; filename="recovery-codes.txt"'
    assert all(f"{code[:4]} {code[4:]}" in file.content.decode() for code in codes)
    assert "bob@example.org" in file.content.decode()
    assert bob.get(reverse("mfa_generate_recovery_codes")).status_code == 200
    assert bob.post(reverse("mfa_generate_recovery_codes")).url == reverse("mfa_view_recovery_codes")
    assert half_way(people.bob.user).post(HERE, {"code": codes[0]}).status_code == 422


def test_turned_off_the_password_alone_is_asked_again(people: Cast, as_member: SignIn) -> None:
    with_app(people.bob.user)
    bob = proven(as_member(people.bob), people.bob.user)
    assert bob.get(reverse("mfa_deactivate_totp")).status_code == 200
    assert bob.post(reverse("mfa_deactivate_totp")).url == reverse("mfa_index")
    assert not Authenticator.objects.exists(), "the recovery codes go with the last factor"
    typed = {"login": people.bob.user.email, "password": PASSWORD}
    assert Client().post(reverse("account_login"), typed).url == reverse("today")


def test_an_address_that_is_not_confirmed_stands_in_the_way(people: Cast, as_member: SignIn) -> None:
    """Else whoever signs up with the address of another could lock them out for good."""
    EmailAddress.objects.create(user=people.bob.user, email="bob@example.org", primary=True, verified=False)
    bob = proven(as_member(people.bob), people.bob.user)
    for name in ("mfa_activate_totp", "mfa_add_webauthn"):
        page = bob.get(reverse(name), follow=True)
        assert page.redirect_chain[-1][0] == reverse("mfa_index")
        assert "Confirm all your e-mail addresses first" in page.content.decode()


def test_with_a_second_factor_no_address_is_added(people: Cast, as_member: SignIn) -> None:
    with_app(people.bob.user)
    bob = proven(as_member(people.bob), people.bob.user)
    answer = bob.post(reverse("account_email"), {"email": "robert@example.org", "action_add": "1"})
    assert answer.status_code == 422
    assert "Turn the second factor off first" in answer.content.decode()


@pytest.mark.django_db(transaction=True)
def test_changes_are_told_by_mail(people: Cast, as_member: SignIn) -> None:
    EmailAddress.objects.create(user=people.bob.user, email="bob@example.org", primary=True, verified=True)
    with_app(people.bob.user)
    bob = proven(as_member(people.bob), people.bob.user)
    agent = "Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0"
    bob.post(reverse("mfa_generate_recovery_codes"), headers={"user-agent": agent})
    bob.post(reverse("mfa_deactivate_totp"), headers={"user-agent": agent})
    assert [message.subject for message in mail.outbox] == [
        "Levelbook: New recovery codes",
        "Levelbook: Authenticator app turned off",
    ]
    for message in mail.outbox:
        assert message.to == ["bob@example.org"]
        assert "with Firefox on Linux, from 127.0.0.1" in str(message.body)
        assert f"http://testserver{reverse('devices')}" in str(message.body)


def test_who_lost_everything_is_let_in_by_whoever_runs_the_server(
    people: Cast, capsys: pytest.CaptureFixture[str]
) -> None:
    with_app(people.bob.user)
    with_app(people.alice.user)
    call_command("remove_second_factor", "Bob@example.org")
    assert "bob@example.org signs in with the password alone now" in capsys.readouterr().out
    assert set(Authenticator.objects.values_list("user", flat=True)) == {people.alice.user.pk}
    for email, words in (("bob@example.org", "has no second factor"), ("x@example.org", "No account")):
        with pytest.raises(CommandError, match=words):
            call_command("remove_second_factor", email)


def test_nothing_of_these_pages_stays_in_the_browser(people: Cast, as_member: SignIn) -> None:
    with_app(people.bob.user)
    bob = proven(as_member(people.bob), people.bob.user)
    for name in ("mfa_index", "mfa_view_recovery_codes", "mfa_download_recovery_codes", "mfa_list_webauthn",
                 "account_change_password", "account_email", "devices"):  # fmt: skip
        assert "no-store" in bob.get(reverse(name)).headers["Cache-Control"], name


def test_the_library_finds_nothing_to_complain_about() -> None:
    assert [each for each in run_checks() if not (each.id or "").startswith("levelbook.")] == []
