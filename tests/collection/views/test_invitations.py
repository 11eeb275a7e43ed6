"""From an owner's page by a mail to the page of whoever opens its link, with an account, without one, or another's."""

import io
import re
from collections.abc import Callable
from typing import Any
from unittest import mock

import pytest
from allauth.account.models import EmailAddress
from django.conf import settings
from django.contrib.sessions.models import Session
from django.core import mail
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.module_loading import import_string

from collection import models
from collection.environment import mailers
from tests import factories as make
from tests.collection.forms.test_hostile_posts import fields_of
from tests.factories import NOON, PASSWORD
from tests.worlds import TernTaproom

pytestmark = pytest.mark.django_db(transaction=True)  # a mail leaves once its invitation is stored for good

SignIn = Callable[[models.Membership], Client]
WREN, NEW_PASSWORD = "wren@example.org", "salt on the sill"
ACCEPT, ACCOUNT = "/invitations/accept/", "/invitations/account/"
GONE = "This link no longer works"


@pytest.fixture
def send(taproom: TernTaproom, as_member: SignIn) -> Callable[..., str]:
    """Return a function by which Alice invites somebody through her page, and which gives the link of the mail."""
    alice = as_member(taproom.people.alice)

    def through_the_page(email: str = WREN, role: str = "technician", **more: Any) -> str:
        page = fields_of(alice.get(reverse("invitation_new")).content.decode()).sent
        answer = alice.post(reverse("invitation_new"), page | {"email": email, "role": role} | more)
        assert answer.status_code == 302, answer.context["form"].errors
        return link_in(mail.outbox[-1])

    return through_the_page


def link_in(message: mail.EmailMessage) -> str:
    found = re.search(r"http://testserver(/invitations/\S+/open/)", str(message.body))
    assert found
    return found[1]


def text(answer: Any) -> str:
    return str(answer.content.decode())


def test_the_mail_says_who_invites_to_what(taproom: TernTaproom, send: Callable[..., str]) -> None:
    send("Wren@Example.org", role="viewer", sites=[str(taproom.site.pk)])
    (message,) = mail.outbox
    assert (message.to, message.subject) == ([WREN], "Levelbook: Saltmarsh Route invites you")
    assert "alice@example.org invites you to Saltmarsh Route on Levelbook, as site viewer of Tern Taproom." in (
        str(message.body)
    )
    assert WREN in str(message.body)


def test_a_mail_in_the_terminal_reads_as_it_was_written(send: Callable[..., str]) -> None:
    """Bug of 2026-11-29: the terminal showed mail as it travels, with the link cut in two by "=" and a line break."""
    link, terminal = send(), io.StringIO()
    import_string(mailers({})["default"]["BACKEND"])(stream=terminal).send_messages(mail.outbox)
    assert f"http://testserver{link}\n" in terminal.getvalue()
    assert terminal.getvalue().startswith(f"To: {WREN}\nSubject: Levelbook: Saltmarsh Route invites you\n\n")


def test_a_mail_that_cannot_be_sent_is_told_and_loses_nothing(taproom: TernTaproom, as_member: SignIn) -> None:
    alice = as_member(taproom.people.alice)
    page = fields_of(alice.get(reverse("invitation_new")).content.decode()).sent
    with mock.patch("allauth.account.adapter.DefaultAccountAdapter.send_mail", side_effect=ConnectionRefusedError):
        alice.post(reverse("invitation_new"), page | {"email": WREN, "role": "owner"})
    shown = text(alice.get(reverse("organization")))
    assert "its mail could not be sent. Send it again later." in shown
    assert WREN in shown


def test_a_link_leaves_the_address_and_writes_nothing(send: Callable[..., str]) -> None:
    link, wren = send(), Client()
    with CaptureQueriesContext(connection) as asked:
        answer = wren.get(link)
    assert (answer.status_code, answer.url) == (302, ACCEPT)
    assert answer["Cache-Control"].count("no-store") == 1
    written = [row["sql"] for row in asked if row["sql"].startswith(("INSERT", "UPDATE", "DELETE"))]
    assert [sql.split('"')[1] for sql in written] == ["django_session"]
    token = link.split("/")[2]
    assert not any(token in str(session.get_decoded()) for session in Session.objects.all())
    assert token not in text(wren.get(ACCEPT))
    assert models.Invitation.objects.get().accepted_at is None


def test_someone_new_makes_an_account_and_is_in(taproom: TernTaproom, send: Callable[..., str]) -> None:
    wren, link = Client(), send(role="viewer", sites=[str(taproom.site.pk)])
    shown = text(wren.get(link, follow=True))
    for words in ("Join Saltmarsh Route?", "alice@example.org", "site viewer", "Tern Taproom", WREN, ACCOUNT):
        assert words in shown
    page = fields_of(text(wren.get(ACCOUNT))).sent
    assert page["email"] == WREN
    assert "organization" not in page
    answer = wren.post(ACCOUNT, page | {"password": NEW_PASSWORD}, follow=True)
    assert answer.redirect_chain[-1][0] == reverse("today")
    assert "You work in Saltmarsh Route now, as site viewer." in text(answer)
    member = models.Membership.objects.get(user__email=WREN)
    assert (member.organization, member.role) == (taproom.site.organization, "viewer")
    assert EmailAddress.objects.get(user=member.user).verified
    assert len(mail.outbox) == 1, "nobody has to confirm what the link proved"
    assert wren.get(reverse("site", args=[taproom.site.pk])).status_code == 200
    assert wren.get(reverse("site_new")).status_code == 403
    assert wren.get(ACCOUNT).url == ACCEPT
    assert wren.get(link, follow=True).redirect_chain[-1][0] == reverse("today"), "opened again by the same person"
    assert Client().login(email=WREN, password=NEW_PASSWORD)


@pytest.mark.parametrize(
    ("field", "typed"),
    [("password", ""), ("password", "short"), ("password", "password"), ("password", "wren@example.org"),
     ("email", "dana@example.org"), ("email", ""), ("email", "\x00"), ("write_key", "x")],
)  # fmt: skip
def test_the_account_is_refused_by_field_and_made_in_part_never(
    taproom: TernTaproom, send: Callable[..., str], field: str, typed: str
) -> None:
    wren, before = Client(), models.User.objects.count()
    wren.get(send())
    answer = wren.post(ACCOUNT, {"email": WREN, "password": NEW_PASSWORD, field: typed})
    assert (answer.status_code, set(answer.context["form"].errors)) == (422, {field})
    assert (models.User.objects.count(), models.Invitation.objects.get().accepted_at) == (before, None)


def test_the_name_of_the_organization_is_no_password(taproom: TernTaproom, send: Callable[..., str]) -> None:
    wren = Client()
    wren.get(send())
    answer = wren.post(ACCOUNT, {"email": WREN, "password": f"{taproom.organization.name} playfield"})
    assert "Whoever knows this place guesses that" in text(answer)


def test_someone_with_an_account_signs_in_and_joins(taproom: TernTaproom, send: Callable[..., str]) -> None:
    dana, link = Client(), send("dana@example.org")
    shown = text(dana.get(link, follow=True))
    assert "Sign in to join" in shown
    assert dana.post(ACCEPT).url == f"{reverse('account_login')}?next={ACCEPT}"
    answer = dana.post(
        f"{reverse('account_login')}?next={ACCEPT}", {"login": "dana@example.org", "password": PASSWORD}, follow=True
    )
    assert answer.redirect_chain[-1][0] == ACCEPT
    assert not models.Membership.objects.filter(user=taproom.people.dana).exists(), "reading joins nobody"
    page = fields_of(text(answer)).sent
    first, second = dana.post(ACCEPT, page), dana.post(ACCEPT, page)
    assert first.url == second.url == reverse("today")
    assert models.Membership.objects.get(user=taproom.people.dana).role == "technician"
    told = dana.post(ACCOUNT, {"email": "dana@example.org", "password": NEW_PASSWORD})
    assert told.url == ACCEPT


def test_an_address_with_an_account_makes_no_second_one(send: Callable[..., str]) -> None:
    dana = Client()
    dana.get(send("dana@example.org"))
    told = dana.post(ACCOUNT, {"email": "dana@example.org", "password": NEW_PASSWORD})
    assert told.status_code == 422
    assert "has an account already. Sign in with it." in text(told)


def test_somebody_else_is_told_whose_it_is_and_signs_out_without_losing_it(
    taproom: TernTaproom, send: Callable[..., str], as_member: SignIn
) -> None:
    charlie, link = as_member(taproom.people.charlie), send()
    shown = text(charlie.get(link, follow=True))
    assert (
        "You are signed in as <b>charlie@example.org</b>, but the invitation is for <b>wren@example.org</b>." in shown
    )
    told = charlie.post(ACCEPT, {})
    assert told.status_code == 422
    assert "Sign in with that address." in text(told)
    assert models.Membership.objects.filter(user=taproom.people.charlie.user).count() == 1
    out = charlie.post(reverse("invitation_sign_out"), follow=True)
    assert out.redirect_chain[-1][0] == ACCEPT
    assert "Make an account" in text(out)
    assert settings.SESSION_COOKIE_NAME in charlie.cookies
    assert charlie.get(reverse("today")).status_code == 302


def test_who_belongs_there_is_told_so(taproom: TernTaproom, send: Callable[..., str], as_member: SignIn) -> None:
    EmailAddress.objects.create(user=taproom.people.bob.user, email="robert@example.org", verified=True)
    bob, link = as_member(taproom.people.bob), send("robert@example.org", role="owner")
    shown = text(bob.get(link, follow=True))
    assert "You belong to Saltmarsh Route already, as technician." in shown
    told = bob.post(ACCEPT, {})
    assert (told.status_code, models.Membership.objects.get(user=taproom.people.bob.user).role) == (422, "technician")


def test_a_stranger_who_took_the_address_first_has_no_way_in_left(
    send: Callable[..., str],
) -> None:
    """Bug of 2026-11-29: who signed up with Wren's address and put their own beside it chose a new password by that,
    once Wren had taken the account back and joined.
    """
    squatted = make.UserFactory(email=WREN)
    EmailAddress.objects.create(user=squatted, email=WREN, primary=True)
    for email, verified in (("mallow@example.org", True), ("mallet@example.org", False)):
        EmailAddress.objects.create(user=squatted, email=email, verified=verified)
    wren, link = Client(), send()
    wren.force_login(squatted)  # by a new password, which a mail to Wren let her choose
    page = fields_of(text(wren.get(link, follow=True))).sent
    joined = text(wren.post(ACCEPT, page, follow=True))
    assert "mallet@example.org, mallow@example.org went from your account" in joined
    (left,) = EmailAddress.objects.filter(user=squatted)
    assert (left.email, left.verified, left.primary) == (WREN, True, True)
    mail.outbox.clear()
    Client().post(reverse("account_reset_password"), {"email": "mallow@example.org"})
    assert "/password/reset/key/" not in str(mail.outbox[0].body)


def test_a_confirmed_address_keeps_those_beside_it(taproom: TernTaproom, send: Callable[..., str]) -> None:
    dana = Client()
    dana.force_login(taproom.people.dana)
    for email in ("dana@example.org", "dana@shed.example"):
        EmailAddress.objects.create(user=taproom.people.dana, email=email, verified=email == "dana@example.org")
    page = fields_of(text(dana.get(send("dana@example.org"), follow=True))).sent
    assert "went from your account" not in text(dana.post(ACCEPT, page, follow=True))
    assert EmailAddress.objects.filter(user=taproom.people.dana).count() == 2


def test_links_that_work_no_more_look_alike(taproom: TernTaproom, send: Callable[..., str], as_member: SignIn) -> None:
    used, withdrawn, old, again = (send(f"{word}@example.org") for word in ("used", "withdrawn", "old", "again"))
    rows = {row.email.split("@")[0]: row for row in models.Invitation.objects.all()}
    user = make.UserFactory(email="used@example.org")
    models.Invitation.objects.filter(pk=rows["used"].pk).update(accepted_at=NOON, accepted_by=user)
    models.Invitation.objects.filter(pk=rows["withdrawn"].pk).update(withdrawn_at=NOON)
    models.Invitation.objects.filter(pk=rows["old"].pk).update(created_at=NOON, expires_at=NOON.replace(day=18))
    models.Invitation.objects.filter(pk=rows["again"].pk).update(token_sha256="another")
    bob = as_member(taproom.people.bob)
    links = [
        used,
        withdrawn,
        old,
        again,
        reverse("invitation_open", args=["x"]),
        reverse("invitation_open", args=["é"]),
    ]
    for client in (Client(), bob):
        answers = [client.get(link) for link in (*links, ACCEPT, ACCOUNT)] + [client.post(ACCEPT), client.post(ACCOUNT)]
        assert {answer.status_code for answer in answers} == {404}
        assert len({text(answer) for answer in answers}) == 1
        assert GONE in text(answers[0])


def test_a_link_opened_before_it_was_withdrawn_joins_nobody(
    taproom: TernTaproom, send: Callable[..., str], as_member: SignIn
) -> None:
    wren, alice = Client(), as_member(taproom.people.alice)
    wren.get(send())
    invitation = models.Invitation.objects.get()
    url = reverse("invitation_withdraw", args=[invitation.pk])
    page = fields_of(text(alice.get(url))).sent
    assert alice.post(url, page).url == reverse("organization")
    assert alice.post(url, page).url == reverse("organization")
    answer = wren.post(ACCOUNT, {"email": WREN, "password": NEW_PASSWORD})
    assert (answer.status_code, models.User.objects.filter(email=WREN).exists()) == (404, False)
    assert WREN not in text(alice.get(reverse("organization"))).replace(f"The invitation of {WREN}", "")


def test_sent_again_only_the_newer_link_works(
    taproom: TernTaproom, send: Callable[..., str], as_member: SignIn
) -> None:
    alice, first = as_member(taproom.people.alice), send()
    invitation = models.Invitation.objects.get()
    url = reverse("invitation_send", args=[invitation.pk])
    assert "Wait 5 minutes" in text(alice.post(url, fields_of(text(alice.get(url))).sent))
    models.Invitation.objects.update(created_at=NOON, expires_at=NOON.replace(day=18))
    assert alice.post(url, fields_of(text(alice.get(url))).sent).status_code == 302
    second = link_in(mail.outbox[-1])
    assert [Client().get(link).status_code for link in (first, second)] == [404, 302]
    assert models.Invitation.objects.get().version == 2


def test_invitations_are_their_organizations_own(taproom: TernTaproom, as_member: SignIn) -> None:
    charlie, url = as_member(taproom.people.charlie), reverse("invitation_withdraw", args=[taproom.invitation.pk])
    assert charlie.post(url, {"version": "1"}).status_code == 404
    assert WREN not in text(charlie.get(reverse("organization")))
    models.Invitation.objects.get(withdrawn_at=None)
