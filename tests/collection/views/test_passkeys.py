"""Passkeys as the server sees them; that a browser's passkey opens the account is in the journeys."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from django.test import Client
from django.urls import reverse

from collection.models import Membership, User
from tests.codes import half_way, proven, with_app
from tests.passkeys import PRESENT, VERIFIED, SoftKey, with_passkey
from tests.worlds import Cast

SignIn = Callable[[Membership], Client]
SIGN_IN = reverse("mfa_login_webauthn")
JSON = {"accept": "application/json"}

#: What is no passkey's answer, from nothing to nearly one.
ODD = [
    "", "null", "0", "[]", "{}", '"x"', "true", "{", "\x00", "[" * 19_000, '{"a":' * 3000, "x" * 30_000,
    '{"id": "\\u0000"}', '{"id": "ü"}',
    json.dumps({"id": 1, "rawId": 1, "response": 1}),
    json.dumps({"id": "a", "rawId": "b", "response": {}}),
    json.dumps({"id": "AA", "rawId": "AA", "response": {}, "type": "public-key"}),
    json.dumps({"id": "AA", "rawId": "AA", "response": [], "type": "public-key"}),
    json.dumps({"id": "AA", "rawId": "AA", "type": "public-key", "clientExtensionResults": {}, "response":
                {"clientDataJSON": "AA", "attestationObject": "AA", "authenticatorData": "AA", "signature": "AA",
                 "userHandle": "AA"}}),
    json.dumps({"id": "AA", "rawId": "AA", "type": "public-key", "clientExtensionResults": {}, "response":
                {"clientDataJSON": "e30", "attestationObject": "oA", "authenticatorData": "A" * 60, "signature": "AA",
                 "userHandle": "AA"}}),
]  # fmt: skip


def asked(client: Client) -> dict[str, Any]:
    told: dict[str, Any] = client.get(SIGN_IN, headers=JSON).json()["request_options"]["publicKey"]
    return told


@pytest.mark.parametrize("text", ODD, ids=range(len(ODD)))
def test_no_answer_breaks_a_page(people: Cast, as_member: SignIn, text: str) -> None:
    for user in (people.alice.user, people.bob.user):
        with_app(user)
    alice = proven(as_member(people.alice), people.alice.user)
    alice.get(reverse("mfa_add_webauthn"))
    assert alice.post(reverse("mfa_add_webauthn"), {"name": "Phone", "credential": text}).status_code == 422
    client = half_way(people.bob.user)
    client.get(reverse("mfa_authenticate"))
    assert client.post(reverse("mfa_authenticate"), {"credential": text}).status_code == 422
    anyone = Client()
    asked(anyone)
    answer = anyone.post(SIGN_IN, {"credential": text}, follow=True)
    assert answer.redirect_chain[0][0] == reverse("account_login")
    assert "passkey" in str([str(message) for message in answer.context["messages"]])
    assert not Authenticator.objects.filter(type="webauthn").exists()


def sent(client: Client, key: SoftKey, **bent: Any) -> str:
    """Sign in with a key, its answer bent as told; return where that leads."""
    typed = {"credential": json.dumps(key.answer(asked(client)["challenge"], **bent))}
    return str(client.post(SIGN_IN, typed).url)


def test_a_key_opens_its_account_and_its_answer_is_good_once(people: Cast) -> None:
    key = SoftKey(people.bob.user)
    with_passkey(people.bob.user, key=key)
    client = Client()
    answer = {"credential": json.dumps(key.answer(asked(client)["challenge"])), "next": reverse("machines")}
    assert client.post(SIGN_IN, answer).url == reverse("machines")
    assert client.get(reverse("machines")).status_code == 200
    other = Client()
    assert other.post(SIGN_IN, answer).url == reverse("account_login"), "nobody asked"
    asked(other)
    assert other.post(SIGN_IN, answer).url == reverse("account_login"), "another was asked for"


@pytest.mark.parametrize(
    "bent",
    [{"origin": "https://evil.example"}, {"origin": "http://testserver"}, {"origin": "https://testserver.evil.example"},
     {"host": "evil.example"}, {"flags": PRESENT}, {"flags": 0}],
    ids=str,
)  # fmt: skip
def test_an_answer_that_is_bent_opens_nothing(people: Cast, bent: dict[str, Any]) -> None:
    key = SoftKey(people.bob.user)
    with_passkey(people.bob.user, key=key)
    client = Client()
    assert sent(client, key, **bent) == reverse("account_login")
    assert client.get(reverse("today")).status_code == 302
    assert sent(client, key) == reverse("today"), "the same key, straight"


def test_a_key_opens_no_other_account(people: Cast) -> None:
    with_passkey(people.alice.user)
    with_passkey(people.bob.user, key=SoftKey(people.bob.user))
    forged = SoftKey(people.bob.user)  # Bob's, by its id, but of another make
    pretending = SoftKey(people.alice.user)
    for key in (forged, pretending):
        client = Client()
        assert sent(client, key) == reverse("account_login")
        assert client.get(reverse("today")).status_code == 302


def test_a_key_that_is_only_touched_is_good_after_the_password(people: Cast) -> None:
    key = SoftKey(people.bob.user)
    with_passkey(people.bob.user, key=key, alone=False)
    client = half_way(people.bob.user)
    page = client.get(reverse("mfa_authenticate"))
    assert "Use a passkey instead" in page.content.decode()
    challenge = page.context["js_data"]["request_options"]["publicKey"]["challenge"]
    typed = {"credential": json.dumps(key.answer(challenge, flags=PRESENT))}
    assert client.post(reverse("mfa_authenticate"), typed).url == reverse("today")


def test_an_account_that_is_closed_stays_so(people: Cast) -> None:
    key = SoftKey(people.bob.user)
    with_passkey(people.bob.user, key=key)
    User.objects.filter(pk=people.bob.user_id).update(is_active=False)
    client = Client()
    assert sent(client, key) in (reverse("account_inactive"), reverse("account_login"))
    assert client.get(reverse("today")).status_code == 302


def test_a_key_is_added_by_its_answer(people: Cast, as_member: SignIn) -> None:
    bob, url, key = (
        proven(as_member(people.bob), people.bob.user),
        reverse("mfa_add_webauthn"),
        SoftKey(people.bob.user),
    )
    for flags, status in ((PRESENT, 422), (PRESENT | VERIFIED, 302)):
        challenge = bob.get(url).context["js_data"]["creation_options"]["publicKey"]["challenge"]
        typed = {"name": "", "passwordless": "on", "credential": json.dumps(key.made(challenge, flags=flags))}
        assert bob.post(url, typed).status_code == status, flags
    assert Authenticator.objects.get(type="webauthn").wrap().name == "Passkey"
    assert sent(Client(), key) == reverse("today")


def test_sign_in_asks_alike_whoever_comes(people: Cast) -> None:
    """Without an account named, no key of anybody is named, and no two challenges are the same."""
    first = asked(Client())
    with_passkey(people.bob.user)
    second = asked(Client())
    assert not first.get("allowCredentials")
    assert not second.get("allowCredentials")
    assert first["userVerification"] == second["userVerification"] == "required"
    assert first["rpId"] == second["rpId"] == "testserver"
    assert first["challenge"] != second["challenge"]


def test_a_wrong_answer_tells_nobody_which_accounts_there_are(people: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    told = set()
    for user_id in (people.bob.user.pk.hex, "0" * 32, "no-id"):
        client = Client()
        asked(client)
        response = {"clientDataJSON": "e30", "authenticatorData": "A" * 60, "signature": "AA", "userHandle": user_id}
        typed = {"id": "AA", "rawId": "AA", "type": "public-key", "response": response}
        answer = client.post(SIGN_IN, {"credential": json.dumps(typed)}, follow=True)
        told.add((answer.redirect_chain[0], *[str(message) for message in answer.context["messages"]]))
    assert len(told) == 1


def test_too_many_sign_ins_by_passkey_are_told_in_a_page_of_ours(people: Cast) -> None:
    client = Client()
    seen = [client.post(SIGN_IN, {"credential": "{}"}).status_code for _ in range(11)]
    assert seen == [302] * 10 + [429]
    assert "Too many tries" in client.post(SIGN_IN, {"credential": "{}"}).content.decode()


def test_the_login_page_offers_it(people: Cast) -> None:
    page = Client().get(reverse("account_login")).content.decode()
    assert "Use a passkey" in page
    assert f'action="{SIGN_IN}"' in page


def test_passkeys_are_listed_renamed_and_removed(people: Cast, as_member: SignIn) -> None:
    key = with_passkey(people.bob.user, "Phone")
    bob = as_member(people.bob)
    assert "Phone" in bob.get(reverse("mfa_list_webauthn")).content.decode()
    assert bob.post(reverse("mfa_remove_webauthn", args=[key.pk])).url.startswith(reverse("account_reauthenticate"))
    proven(bob, people.bob.user)
    rename = reverse("mfa_edit_webauthn", args=[key.pk])
    for name in ("", "x" * 61, "a\x00b", "\u202ex"):
        assert bob.post(rename, {"name": name}).status_code == 422
    assert bob.post(rename, {"name": "Old phone"}).url == reverse("mfa_list_webauthn")
    key.refresh_from_db()
    assert key.wrap().name == "Old phone"
    assert bob.post(reverse("mfa_remove_webauthn", args=[key.pk])).url == reverse("mfa_list_webauthn")
    assert not Authenticator.objects.exists()


def test_nobody_touches_the_passkey_of_another(people: Cast, as_member: SignIn) -> None:
    theirs = with_passkey(people.alice.user)
    bob = proven(as_member(people.bob), people.bob.user)
    for name in ("mfa_edit_webauthn", "mfa_remove_webauthn"):
        for method in ("GET", "POST"):
            answers = [bob.generic(method, reverse(name, args=[pk])) for pk in (theirs.pk, theirs.pk + 999)]
            assert [answer.status_code for answer in answers] == [404, 404]
            assert answers[0].content == answers[1].content
    theirs.refresh_from_db()


def test_a_passkey_is_asked_for_after_the_password(people: Cast) -> None:
    with_app(people.bob.user)
    client = half_way(people.bob.user)
    assert "Use a passkey instead" not in client.get(reverse("mfa_authenticate")).content.decode(), "he has none"
