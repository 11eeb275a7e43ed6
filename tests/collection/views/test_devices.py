"""Devices: where an account is signed in, and signing out there."""

import datetime
import io
import re
from collections.abc import Callable

import pytest
import time_machine
from allauth.account.models import EmailAddress
from allauth.usersessions.models import UserSession
from django.conf import settings
from django.contrib.sessions.models import Session
from django.core.cache import cache
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client, override_settings
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from collection.models import Membership
from collection.templatetags.devices import device_words, seen_words
from tests.codes import proven
from tests.factories import NOON, PASSWORD
from tests.worlds import Cast

SignIn = Callable[[Membership], Client]
PHONE = "Mozilla/5.0 (Android 15; Mobile; rv:140.0) Gecko/140.0 Firefox/140.0"
LAPTOP = "Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/18.5 Safari/605.1.15"  # noqa: E501
LIST = reverse("devices")


def signed_in(email: str, agent: str = LAPTOP) -> Client:
    client = Client(headers={"user-agent": agent})
    answer = client.post(reverse("account_login"), {"login": email, "password": PASSWORD})
    assert answer.url == reverse("today")
    return client


def is_in(client: Client) -> bool:
    status = client.get(reverse("today")).status_code
    assert status in (200, 302)
    return status == 200


@pytest.fixture
def two(people: Cast) -> tuple[Client, Client]:
    """Bob's laptop, which has just asked him who he is, and his phone."""
    laptop, phone = signed_in("bob@example.org"), signed_in("bob@example.org", PHONE)
    return proven(laptop, people.bob.user), phone


def test_it_lists_devices_in_words(two: tuple[Client, Client], people: Cast) -> None:
    laptop, _ = two
    signed_in("alice@example.org", "Mozilla/5.0 (X11; CrOS x86_64 14541.0.0) Chrome/139.0.0.0 Safari/537.36")
    page = laptop.get(LIST).content.decode()
    assert page.index("Safari on Mac") < page.index("this device") < page.index("Firefox on Android")
    assert "127.0.0.1" in page
    assert "ChromeOS" not in page, "Alice's is hers"


def test_one_is_ended_and_is_out_with_its_next_click(two: tuple[Client, Client]) -> None:
    laptop, phone = two
    end = re.search(r'action="(/accounts/devices/\d+/end/)"', laptop.get(LIST).content.decode())
    assert end
    assert is_in(phone)
    assert laptop.post(end[1]).url == LIST
    assert not is_in(phone)
    assert is_in(laptop)
    assert laptop.post(end[1]).status_code == 404, "it is gone"


def test_all_others_are_ended(two: tuple[Client, Client], people: Cast) -> None:
    laptop, phone = two
    third, alice = signed_in("bob@example.org"), signed_in("alice@example.org")
    assert laptop.post(reverse("devices_end")).url == LIST
    assert [is_in(client) for client in (laptop, phone, third, alice)] == [True, False, False, True]
    assert "No other device is signed in" in laptop.get(LIST).content.decode()


def test_everywhere_means_here_too(two: tuple[Client, Client]) -> None:
    laptop, phone = two
    answer = laptop.post(reverse("devices_end"), {"here": "1"})
    assert answer.url == reverse("account_login")
    assert [is_in(laptop), is_in(phone)] == [False, False]
    assert "You are signed out everywhere" in laptop.get(answer.url).content.decode()


def test_it_asks_first_who_it_is_and_then_does_it(people: Cast) -> None:
    laptop, phone = signed_in("bob@example.org"), signed_in("bob@example.org", PHONE)
    asked = laptop.post(reverse("devices_end"))
    assert asked.url.startswith(reverse("account_reauthenticate"))
    assert is_in(phone)
    assert laptop.post(asked.url, {"password": "wrong"}).status_code == 422
    assert laptop.post(asked.url, {"password": PASSWORD}).url == LIST
    assert not is_in(phone)


def test_nobody_ends_the_device_of_another(people: Cast) -> None:
    alice = signed_in("alice@example.org")
    bob = proven(signed_in("bob@example.org"), people.bob.user)
    hers = UserSession.objects.get(user=people.alice.user)
    answers = [bob.post(reverse("device_end", args=[pk])) for pk in (hers.pk, hers.pk + 999)]
    assert [answer.status_code for answer in answers] == [404, 404]
    assert answers[0].content == answers[1].content
    assert is_in(alice)


def test_a_new_password_ends_the_others(two: tuple[Client, Client]) -> None:
    laptop, phone = two
    new = "curlew at the weir"
    typed = {"oldpassword": PASSWORD, "password1": new, "password2": new}
    assert laptop.post(reverse("account_change_password"), typed).status_code == 302
    assert is_in(laptop)
    page = laptop.get(LIST).content.decode()
    assert "this device" in page
    assert "Firefox" not in page, "what opens nothing any more is not listed"
    assert not is_in(phone)


def test_a_session_that_ran_out_is_not_listed(people: Cast) -> None:
    with time_machine.travel(NOON, tick=False):
        signed_in("bob@example.org", PHONE)
    with time_machine.travel(NOON + datetime.timedelta(days=60), tick=False):
        page = signed_in("bob@example.org").get(LIST).content.decode()
    assert "Firefox" not in page


def test_a_session_ends_by_itself_however_often_it_is_used(people: Cast) -> None:
    with time_machine.travel(NOON) as clock:
        bob = signed_in("bob@example.org")
        for _ in range(3):
            clock.shift(datetime.timedelta(days=29))
            cache.clear()  # the cache keeps the real time
            bob.post(reverse("organization_choose"), {"organization": people.bob.organization_id})
            assert is_in(bob)
        clock.shift(datetime.timedelta(days=4))
        cache.clear()
        assert not is_in(bob)
        again = signed_in("bob@example.org")
        assert is_in(again)


def test_whoever_runs_the_server_signs_somebody_out(
    two: tuple[Client, Client], as_member: SignIn, people: Cast
) -> None:
    laptop, phone = two
    alice, never_noted = as_member(people.alice), as_member(people.bob)
    said = io.StringIO()
    call_command("sign_out", "Bob@example.org", stdout=said)
    assert said.getvalue() == "bob@example.org is signed out on 3 devices.\n"
    assert [is_in(each) for each in (laptop, phone, never_noted, alice)] == [False, False, False, True]
    with pytest.raises(CommandError, match="No account has the address"):
        call_command("sign_out", "nobody@example.org")


def test_commands_know_a_person_by_each_confirmed_address(two: tuple[Client, Client], people: Cast) -> None:
    """Bug of 2026-11-29: people sign in with any address that they confirmed, but commands knew the first one alone."""
    laptop, _ = two
    for email, verified in (("bob@shed.example", True), ("alice@shed.example", False)):
        EmailAddress.objects.create(user=people.bob.user, email=email, verified=verified)
    ran_out = signed_in("bob@example.org").session.session_key
    Session.objects.filter(pk=ran_out).update(expire_date=NOON)
    said = io.StringIO()
    with pytest.raises(CommandError, match="No account has the address"):
        call_command("sign_out", "alice@shed.example")
    with pytest.raises(CommandError, match="has no second factor"):
        call_command("remove_second_factor", "Bob@shed.example")
    assert is_in(laptop)
    call_command("sign_out", "Bob@shed.example", stdout=said)
    assert said.getvalue() == "bob@example.org is signed out on 2 devices.\n"
    assert [is_in(each) for each in two] == [False, False]


def test_a_device_goes_on_while_the_key_before_is_known(two: tuple[Client, Client]) -> None:
    laptop, phone = two
    with override_settings(SECRET_KEY="another one " * 6, SECRET_KEY_FALLBACKS=[settings.SECRET_KEY]):
        assert "Firefox on Android" in laptop.get(LIST).content.decode()
        assert is_in(phone)
    with override_settings(SECRET_KEY="another one " * 6):
        assert is_in(phone), "it took the new key"


def test_the_last_visit_is_noted_once_an_hour(people: Cast) -> None:
    """Pages that are only read must not write each time."""
    with time_machine.travel(NOON) as clock:
        bob = signed_in("bob@example.org")
        bob.get(reverse("today"))
        clock.shift(datetime.timedelta(hours=2))
        cache.clear()  # the cache keeps the real time
        bob.get(reverse("today"))
        with CaptureQueriesContext(connection) as asked:
            bob.get(reverse("today"))
        seen = UserSession.objects.get(user=people.bob.user).last_seen_at
    assert seen - NOON >= datetime.timedelta(hours=2)
    assert not [query for query in asked.captured_queries if not query["sql"].lstrip("(").startswith("SELECT")]


def test_ten_devices_cost_no_more_than_two(two: tuple[Client, Client]) -> None:
    laptop, _ = two
    counts = []
    for more in (0, 8):
        for _ in range(more):
            signed_in("bob@example.org", PHONE)
            cache.clear()
        laptop.get(LIST)
        with CaptureQueriesContext(connection) as asked:
            laptop.get(LIST)
        counts.append(len(asked))
    assert counts[0] == counts[1] <= 15


def test_a_device_is_known_though_it_signed_in_before_we_kept_them(people: Cast, as_member: SignIn) -> None:
    bob = as_member(people.bob)
    UserSession.objects.all().delete()
    cache.clear()
    assert "this device" in bob.get(LIST).content.decode()


@override_settings(ALLAUTH_TRUSTED_PROXY_COUNT=1)
def test_behind_a_proxy_it_is_the_address_that_the_proxy_saw(people: Cast) -> None:
    client = Client(headers={"x-forwarded-for": "198.51.100.7, 203.0.113.9"})
    client.post(reverse("account_login"), {"login": "bob@example.org", "password": PASSWORD})
    page = client.get(LIST).content.decode()
    assert "203.0.113.9" in page
    assert "198.51.100.7" not in page, "anyone can write that in front"


@pytest.mark.parametrize(("method", "status"), [("GET", 302), ("HEAD", 302), ("PUT", 405), ("DELETE", 405)])
def test_reading_ends_nothing(two: tuple[Client, Client], method: str, status: int) -> None:
    laptop, phone = two
    pk = UserSession.objects.latest("pk").pk
    for url in (reverse("devices_end"), reverse("device_end", args=[pk])):
        assert laptop.generic(method, url).status_code == status
    assert is_in(laptop)
    assert is_in(phone)


def test_whose_sign_in_ran_out_finds_the_button_again(two: tuple[Client, Client]) -> None:
    """Bug of 2026-11-29: signing in on the way led to an address that takes a button's press alone, an empty page."""
    laptop, phone = two
    for url in (reverse("devices_end"), reverse("device_end", args=[UserSession.objects.latest("pk").pk])):
        laptop.cookies.clear()
        asked = laptop.post(url)
        answer = laptop.post(asked.url, {"login": "bob@example.org", "password": PASSWORD}, follow=True)
        assert (answer.redirect_chain[-1][0], answer.status_code) == (LIST, 200)
    assert is_in(phone)


@pytest.mark.parametrize(
    ("agent", "words"),
    [
        (PHONE, "Firefox on Android"),
        (LAPTOP, "Safari on Mac"),
        ("Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 Chrome/139.0.0.0 Safari/537.36 Edg/139.0.0.0",
         "Edge on Windows"),
        ("Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) AppleWebKit/605.1.15 CriOS/139.0 Mobile Safari/604.1",
         "Chrome on iPhone"),
        ("Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537.36 Chrome/139.0.0.0 Safari/537.36", "Chrome on Linux"),
        ("python-requests/2.32", "Unknown browser"),
        ("Something (Linux)", "Unknown browser on Linux"),
        ("", "Unknown browser"),
        ("<script>Firefox/1", "Firefox"),
    ],
)  # fmt: skip
def test_a_browser_is_named_by_what_it_says_of_itself(agent: str, words: str) -> None:
    assert device_words(agent) == words


@pytest.mark.parametrize(
    ("hours", "words"), [(0.5, "in the last hour"), (5, "about 5\xa0hours ago"), (72, "about 3\xa0days ago"),
                         (24 * 20, "Tue\xa014\xa0Apr\xa02026")],
)  # fmt: skip
def test_when_it_was_last_seen_is_told_roughly(hours: float, words: str) -> None:
    with time_machine.travel(NOON, tick=False):
        assert seen_words(NOON - datetime.timedelta(hours=hours)) == words
