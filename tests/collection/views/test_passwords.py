"""What a password may be: long, of any letters, typed or pasted as one likes; and that coming in is written down."""

import logging

import pytest
from django.conf import settings
from django.contrib.auth.hashers import get_hasher
from django.test import Client, override_settings
from django.urls import reverse

from collection.models import User
from tests.factories import PASSWORD
from tests.worlds import Cast

NEW = {"email": "wren@example.org", "organization": "Dune Cellar"}


def signed_up(password: str) -> int:
    return Client().post(reverse("account_signup"), {**NEW, "password1": password}).status_code


def signs_in(password: str, email: str = "wren@example.org") -> bool:
    answer = Client().post(reverse("account_login"), {"login": email, "password": password})
    return answer.status_code == 302


@pytest.mark.django_db
@pytest.mark.parametrize(
    "password",
    [
        "a" * 64 + "rbour wall",
        "8362 5517 0942",
        "lower case only",
        "ΔΕΛΤΑ δέλτα 砂",
        "  spaces at both ends  ",
        "🦆🦆 on the pond",
    ],
    ids=["long", "digits", "lower case", "other letters", "spaces", "pictures"],
)
def test_any_letters_will_do_and_are_taken_as_they_are(password: str) -> None:
    assert signed_up(password) == 302
    assert signs_in(password)
    for other in (password.strip(), password.upper(), password[:64]):
        assert other == password or not signs_in(other)


@pytest.mark.django_db
@pytest.mark.parametrize(
    "password",
    ["shortish", "1234567890", "qwertyuiop", "password123", "wren@example.org"],
    ids=["short", "common digits", "common letters", "common word", "one's own address"],
)
def test_what_is_easily_guessed_will_not_do(password: str) -> None:
    assert signed_up(password) == 422
    assert not User.objects.filter(email="wren@example.org").exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    "password", ["Levelbook-2026", "pinball pinball", "DuneCellar1!", "cellar-of-dune", "Arcade 2026!"]
)
def test_words_of_the_place_alone_will_not_do(password: str) -> None:
    assert signed_up(password) == 422
    assert not User.objects.filter(email="wren@example.org").exists()


def test_the_name_of_the_organization_is_no_new_password(people: Cast) -> None:
    name = people.bob.organization.name
    client = Client()
    client.force_login(people.bob.user)
    typed = {"oldpassword": PASSWORD, "password1": f"{name} 2026", "password2": f"{name} 2026"}
    answer = client.post(reverse("account_change_password"), typed)
    assert answer.status_code == 422
    assert "Whoever knows this place guesses that" in answer.content.decode()
    others = f"{name} under a curlew"
    typed |= {"password1": others, "password2": others}
    assert client.post(reverse("account_change_password"), typed).status_code == 302


@pytest.mark.django_db
def test_the_fields_hide_it_and_let_managers_fill_it() -> None:
    for name, kinds in (("account_login", ["current-password"]), ("account_signup", ["new-password"])):
        page = Client().get(reverse(name)).content.decode()
        fields = [part.split(">")[0] for part in page.split("<input")[1:] if 'type="password"' in part.split(">")[0]]
        assert [kind for kind in kinds for field in fields if f'autocomplete="{kind}"' in field] == kinds
        for field in fields:
            assert "onpaste" not in field
            assert "maxlength" not in field


@override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.PBKDF2PasswordHasher"])
def test_it_is_stored_by_a_slow_hash_with_a_salt() -> None:
    hasher = get_hasher()
    stored = [hasher.encode(PASSWORD, hasher.salt()) for _ in range(2)]
    assert stored[0] != stored[1]
    assert hasher.decode(stored[0])["iterations"] >= 600_000


def test_who_comes_in_is_written_down_without_what_was_typed(people: Cast, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO, logger="levelbook")
    client, bob = Client(), people.bob.user
    client.post(reverse("account_login"), {"login": bob.email, "password": "hush-hush"})
    client.post(reverse("account_login"), {"login": bob.email, "password": PASSWORD})
    client.post(reverse("account_logout"))
    told = [record.getMessage() for record in caplog.records if record.name == "levelbook.signin"]
    assert told == [
        "Wrong address or password: account unknown, from 127.0.0.1",
        f"Signed in: account {bob.pk}, from 127.0.0.1",
        f"Signed out: account {bob.pk}, from 127.0.0.1",
    ]


def test_a_changed_password_is_written_down(people: Cast, caplog: pytest.LogCaptureFixture) -> None:
    client, bob = Client(), people.bob.user
    client.force_login(bob)
    new = "curlew at the weir"
    typed = {"oldpassword": PASSWORD, "password1": new, "password2": new}
    assert client.post(reverse("account_change_password"), typed).status_code == 302
    assert f"Password changed: account {bob.pk}" in caplog.text
    assert new not in caplog.text


def test_a_refusal_says_who_was_refused(people: Cast, caplog: pytest.LogCaptureFixture) -> None:
    handler = logging.getHandlerByName("terminal")
    assert handler
    client = Client()
    client.force_login(people.vera.user)
    assert client.get(reverse("site_new")).status_code == 403
    [record] = [record for record in caplog.records if record.name == "django.request"]
    first = handler.format(record).splitlines()[0]
    assert first.endswith(f"Forbidden (Permission denied): /sites/new/ [account {people.vera.user_id}]")


def test_signing_in_gives_a_new_session_and_signing_out_ends_it(people: Cast) -> None:
    client = Client()
    client.get(reverse("account_login"))
    client.session["seen"] = 1
    before = client.session.session_key
    client.post(reverse("account_login"), {"login": "bob@example.org", "password": PASSWORD})
    name = settings.SESSION_COOKIE_NAME
    taken = client.cookies[name].value
    assert taken != before
    assert len(taken) >= 32, "26 letters and digits would be 128 bits"
    client.post(reverse("account_logout"))
    thief = Client()
    thief.cookies[name] = taken
    assert thief.get(reverse("today")).status_code == 302


def test_a_changed_password_ends_the_other_sessions(people: Cast) -> None:
    here, there = Client(), Client()
    for client in (here, there):
        client.force_login(people.bob.user)
        assert client.get(reverse("today")).status_code == 200
    new = "curlew at the weir"
    here.post(reverse("account_change_password"), {"oldpassword": PASSWORD, "password1": new, "password2": new})
    assert here.get(reverse("today")).status_code == 200
    assert there.get(reverse("today")).status_code == 302


def test_a_closed_account_is_out_at_once(people: Cast) -> None:
    client = Client()
    client.force_login(people.bob.user)
    User.objects.filter(pk=people.bob.user_id).update(is_active=False)
    assert client.get(reverse("today")).status_code == 302
    assert not signs_in(PASSWORD, "bob@example.org") or client.get(reverse("today")).status_code == 302


@override_settings(ALLAUTH_TRUSTED_PROXY_COUNT=1)
def test_behind_a_proxy_the_visitor_counts_whatever_the_visitor_claims(
    people: Cast, caplog: pytest.LogCaptureFixture
) -> None:
    typed = {"login": "bob@example.org", "password": "hush-hush"}
    Client().post(reverse("account_login"), typed, headers={"x-forwarded-for": "1.2.3.4, 203.0.113.7"})
    assert "from 203.0.113.7" in caplog.text
