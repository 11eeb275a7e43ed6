"""Signing up, in and out; forgetting and changing a password; a second address. The pages are ours, the rules
behind them the account library's."""

import re
from collections.abc import Callable

import pytest
from allauth.account.models import EmailAddress
from django.core import mail
from django.test import Client
from django.urls import reverse

from collection.models import Membership, Organization, User
from tests.codes import proven
from tests.factories import PASSWORD
from tests.worlds import Cast

SignIn = Callable[[Membership], Client]
NEW = {"email": "wren@example.org", "password1": "salt on the sill", "organization": "Dune Cellar"}


@pytest.mark.django_db
def test_sign_up_makes_the_account_and_its_organization() -> None:
    client = Client()
    answer = client.post(reverse("account_signup"), NEW)
    assert answer.url == reverse("today")
    member = Membership.objects.get(user__email="wren@example.org")
    assert (member.organization.name, member.role) == ("Dune Cellar", "owner")
    assert "First steps" in client.get(reverse("today")).content.decode()
    assert mail.outbox[0].subject == "Levelbook: Confirm your e-mail address"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("field", "text"),
    [("email", "wren"), ("email", ""), ("password1", "short"), ("password1", "password"), ("organization", ""),
     ("organization", "x" * 81), ("organization", "a\x00b")],
)  # fmt: skip
def test_sign_up_refuses_and_makes_nothing(field: str, text: str) -> None:
    answer = Client().post(reverse("account_signup"), {**NEW, field: text})
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {field}
    typed = {**NEW, field: text}
    assert answer.context["form"]["organization"].value() == typed["organization"]
    assert User.objects.count() == Organization.objects.count() == 0


def test_sign_up_with_a_known_address_makes_no_second_account(people: Cast) -> None:
    EmailAddress.objects.create(user=people.bob.user, email="bob@example.org", primary=True, verified=True)
    answer = Client().post(reverse("account_signup"), {**NEW, "email": "BOB@example.org"})
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {"email"}
    assert "This address has an account already. Sign in with it" in answer.content.decode()
    assert User.objects.filter(email__iexact="bob@example.org").count() == 1
    assert not Organization.objects.filter(name="Dune Cellar").exists()


def test_sign_in_and_out(people: Cast) -> None:
    client = Client()
    typed = {"login": "Alice@Example.org", "password": PASSWORD}
    assert client.post(reverse("account_login"), {**typed, "password": "wrong"}).status_code == 422
    assert client.post(reverse("account_login"), typed).url == reverse("today")
    assert client.get(reverse("today")).status_code == 200
    assert client.get(reverse("account_logout")).status_code == 200
    assert client.get(reverse("today")).status_code == 200, "reading the page signs nobody out"
    client.post(reverse("account_logout"))
    assert client.get(reverse("today")).status_code == 302


def test_sign_in_leads_to_the_page_that_was_asked_for(people: Cast) -> None:
    client = Client()
    wanted = client.get(reverse("machines")).url
    assert client.post(wanted, {"login": "alice@example.org", "password": PASSWORD}).url == reverse("machines")
    client = Client()
    elsewhere = f"{reverse('account_login')}?next=//elsewhere.example/"
    assert client.post(elsewhere, {"login": "alice@example.org", "password": PASSWORD}).url == reverse("today")


def test_too_many_wrong_passwords_are_stopped(people: Cast) -> None:
    client = Client()
    wrong = {"login": "alice@example.org", "password": "wrong"}
    for _ in range(12):
        answer = client.post(reverse("account_login"), wrong)
    assert "Too many" in answer.content.decode()
    right = client.post(reverse("account_login"), {**wrong, "password": PASSWORD})
    assert right.status_code == 422, "even the right one has to wait now"
    assert "Too many" in right.content.decode()


def link_in(message: mail.EmailMessage) -> str:
    found = re.search(r"http://testserver(\S+)", str(message.body))
    assert found
    return found[1]


def test_a_forgotten_password_is_chosen_anew_by_the_link(people: Cast) -> None:
    client = Client()
    answer = client.post(reverse("account_reset_password"), {"email": "alice@example.org"})
    assert answer.url == reverse("account_reset_password_done")
    page = client.get(link_in(mail.outbox[0]), follow=True)
    url = page.redirect_chain[-1][0]
    typed = {"password1": "curlew at the weir", "password2": "curlew at the weir"}
    refused = client.post(url, {**typed, "password2": "another"})
    assert refused.status_code == 422
    assert client.post(url, typed).url == reverse("account_reset_password_from_key_done")
    assert client.login(email="alice@example.org", password="curlew at the weir")
    again = Client().get(link_in(mail.outbox[0]), follow=True).content.decode()
    assert "This link no longer works" in again


def test_an_unknown_address_gets_the_same_answer(people: Cast) -> None:
    answer = Client().post(reverse("account_reset_password"), {"email": "nobody@example.org"})
    assert answer.url == reverse("account_reset_password_done")
    assert mail.outbox[0].to == ["nobody@example.org"]
    assert "no Levelbook account has this address" in str(mail.outbox[0].body)


def test_a_password_is_changed_with_the_old_one(people: Cast, as_member: SignIn) -> None:
    bob = as_member(people.bob)
    typed = {"oldpassword": "wrong", "password1": "curlew at the weir", "password2": "curlew at the weir"}
    assert bob.post(reverse("account_change_password"), typed).status_code == 422
    assert bob.post(reverse("account_change_password"), {**typed, "oldpassword": PASSWORD}).status_code == 302
    assert User.objects.get(pk=people.bob.user_id).check_password("curlew at the weir")


def test_a_second_address_is_added_confirmed_and_made_the_first(people: Cast, as_member: SignIn) -> None:
    bob, url = as_member(people.bob), reverse("account_email")
    bob.get(url)
    assert bob.post(url, {"email": "not an address", "action_add": "1"}).status_code == 422
    asked = bob.post(url, {"email": "robert@example.org", "action_add": "1"}).url
    assert not EmailAddress.objects.filter(email="robert@example.org").exists(), "is it he?"
    bob.post(asked, {"password": PASSWORD})
    confirm = link_in(mail.outbox[-1])
    assert "Is this your address?" in bob.get(confirm).content.decode()
    assert not EmailAddress.objects.get(email="robert@example.org").verified
    bob.post(confirm)
    assert EmailAddress.objects.get(email="robert@example.org").verified
    bob.post(url, {"email": "robert@example.org", "action_primary": "1"})
    assert User.objects.get(pk=people.bob.user_id).email == "robert@example.org"
    bob.post(url, {"email": "bob@example.org", "action_remove": "1"})
    assert not EmailAddress.objects.filter(email="bob@example.org").exists()


def test_nobody_touches_the_address_of_another(people: Cast, as_member: SignIn) -> None:
    theirs = EmailAddress.objects.create(user=people.charlie.user, email="c@example.org", verified=True)
    as_member(people.bob).post(reverse("account_email"), {"email": "c@example.org", "action_remove": "1"})
    assert EmailAddress.objects.filter(pk=theirs.pk).exists()


def test_only_a_confirmed_address_that_is_nobody_elses_becomes_the_first(people: Cast, as_member: SignIn) -> None:
    """Bug of 2026-11-29: with no address confirmed yet, anyone's became the first: an error page, and half of it saved.

    The error also told that the address has an account.
    """
    url, user = reverse("account_email"), people.bob.user
    bob = proven(as_member(people.bob), user)
    EmailAddress.objects.create(user=user, email=user.email, primary=True)
    for email in ("alice@example.org", "robert@example.org"):
        bob.post(url, {"email": email, "action_add": "1"})
        assert "Make it the first" not in bob.get(url).content.decode()
        told = bob.post(url, {"email": email, "action_primary": "1"}, follow=True)
        assert "Confirm the address first, then make it the first one." in told.content.decode()
    EmailAddress.objects.filter(user=user, email="alice@example.org").update(verified=True)
    told = bob.post(url, {"email": "alice@example.org", "action_primary": "1"}, follow=True)
    assert "is the first address of another account" in told.content.decode()
    assert EmailAddress.objects.get(user=user, primary=True).email == user.email == "bob@example.org"
    bob.post(url, {"email": "robert\x00@example.org", "action_primary": "1"})
    assert User.objects.get(pk=user.pk).email == "bob@example.org"


@pytest.mark.django_db
def test_a_confirmation_link_that_is_cut_says_so() -> None:
    page = Client().get(reverse("account_confirm_email", args=["cut"])).content.decode()
    assert "This link no longer works" in page


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["account_login", "account_signup", "account_reset_password"])
def test_labels_stand_above_and_nothing_inside_the_fields(name: str) -> None:
    page = Client().get(reverse(name)).content.decode()
    assert "placeholder" not in page
    assert "E-mail" in page


@pytest.mark.django_db
def test_an_empty_sign_up_says_what_to_write() -> None:
    answer = Client().post(reverse("account_signup"), {})
    assert answer.status_code == 422
    page = answer.content.decode()
    for words in ("Write your e-mail address.", "Write a password.", "Write a word or two here."):
        assert words in page
    assert "This field is required" not in page
