"""Inviting someone, sending it again, withdrawing, and joining by it."""

import datetime
import hashlib
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from allauth.account.models import EmailAddress
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.http import Http404

from collection.actions.invitations import (
    accept_invitation,
    accept_with_account,
    send_invitation,
    send_invitation_again,
    withdraw_invitation,
)
from collection.actions.record import ActionRefused, KeyUsed, StaleEdit
from collection.models import Change, Invitation, Membership, User
from collection.presets import INVITATION_DAYS, INVITATIONS_A_DAY
from collection.queries.invitations import invitation_by_link
from tests import factories as make
from tests.factories import NOON
from tests.surveying import author
from tests.worlds import Cast, TernTaproom

WREN = "wren@example.org"
DAY, MINUTE = datetime.timedelta(days=1), datetime.timedelta(minutes=1)
PASSWORD = "salt on the sill"


class Post:
    """Takes the mails, once they are let go."""

    def __init__(self) -> None:
        self.tokens: list[str] = []

    def __call__(self, invitation: Invitation, token: str) -> None:
        self.tokens.append(token)


@pytest.fixture
def post() -> Post:
    return Post()


@pytest.fixture
def committed(django_capture_on_commit_callbacks: Any) -> Callable[..., Any]:
    """Return a function that runs an action as if it were committed."""

    def run(act: Callable[..., Any], **how: Any) -> Any:
        with django_capture_on_commit_callbacks(execute=True):
            return act(**how)

    return run


def works(token: str, at: datetime.datetime = NOON) -> bool:
    digest = hashlib.sha256(token.encode()).hexdigest()
    return invitation_by_link(sha256=digest, user=None, at=at) is not None


def accept(user: User, invitation: Invitation, at: datetime.datetime = NOON) -> Membership:
    return accept_invitation(user=user, invitation=invitation, at=at, key=uuid.uuid4())


def verbs(row: Any) -> list[str]:
    return sorted(Change.objects.filter(row_id=row.pk).values_list("verb", flat=True))


def test_the_token_is_in_the_mail_alone(taproom: TernTaproom, post: Post, committed: Callable[..., Any]) -> None:
    alice, sites = taproom.people.alice, [taproom.site.pk]
    made = committed(send_invitation, by=author(alice), email=WREN, role="viewer", sites=sites, send=post)
    (token,) = post.tokens
    assert len(token) == 43, "256 bits"
    assert made.token_sha256 == hashlib.sha256(token.encode()).hexdigest()
    assert (made.expires_at, list(made.sites.all())) == (NOON + INVITATION_DAYS * DAY, [taproom.site])
    (line,) = Change.objects.filter(row_id=made.pk)
    assert (line.verb, line.noun, line.new["email"], line.new["role"]) == ("added", "invitation", WREN, "viewer")
    assert line.new["sites"] == [str(taproom.site.pk)]
    kept = [str(row) for table in (Invitation, Change) for row in table._default_manager.values()]
    assert not any(token in row for row in kept)
    assert "token_sha256" not in line.new


def test_no_mail_leaves_before_it_is_stored(people: Cast, post: Post, committed: Callable[..., Any]) -> None:
    @transaction.atomic
    def broken() -> None:
        send_invitation(by=author(people.alice), email=WREN, role="technician", send=post)
        raise RuntimeError

    with pytest.raises(RuntimeError):
        committed(broken)
    assert (post.tokens, Invitation.objects.count()) == ([], 0)


def test_the_same_sending_invites_once(people: Cast, post: Post, committed: Callable[..., Any]) -> None:
    by = author(people.alice)
    how: dict[str, Any] = {"by": by, "email": WREN, "role": "technician", "send": post}
    assert committed(send_invitation, **how) == committed(send_invitation, **how)
    assert (len(post.tokens), Invitation.objects.count()) == (1, 1)
    with pytest.raises(KeyUsed):
        send_invitation(by=author(people.charlie, key=by.key), email=WREN, role="technician", send=post)


def test_it_refuses_who_may_not_invite_and_who_need_not_be(taproom: TernTaproom, post: Post) -> None:
    alice = taproom.people.alice
    theirs = make.SiteFactory(member=taproom.people.charlie)
    with pytest.raises(PermissionDenied):
        send_invitation(by=author(taproom.people.bob), email=WREN, role="technician", send=post)
    with pytest.raises(ActionRefused, match="belongs to the organization already"):
        send_invitation(by=author(alice), email="bob@example.org", role="owner", send=post)
    with pytest.raises(ActionRefused, match="Choose the sites"):
        send_invitation(by=author(alice), email=WREN, role="viewer", send=post)
    with pytest.raises(Http404):
        send_invitation(by=author(alice), email=WREN, role="viewer", sites=[theirs.pk], send=post)
    send_invitation(by=author(alice), email=WREN, role="technician", send=post)
    with pytest.raises(ActionRefused, match="invited already") as refused:
        send_invitation(by=author(alice), email=WREN, role="owner", send=post)
    assert refused.value.field == "email"
    assert Invitation.objects.count() == 1
    send_invitation(by=author(taproom.people.charlie), email=WREN, role="owner", send=post)


def test_a_day_has_room_for_so_many(people: Cast, post: Post) -> None:
    for number in range(INVITATIONS_A_DAY):
        send_invitation(by=author(people.alice), email=f"wren{number}@example.org", role="technician", send=post)
    with pytest.raises(ActionRefused, match="Go on tomorrow"):
        send_invitation(by=author(people.alice), email=WREN, role="technician", send=post)
    send_invitation(by=author(people.alice, NOON + DAY), email=WREN, role="technician", send=post)
    send_invitation(by=author(people.charlie), email=WREN, role="technician", send=post)


def test_sent_again_the_link_before_it_dies(people: Cast, post: Post, committed: Callable[..., Any]) -> None:
    made = committed(send_invitation, by=author(people.alice), email=WREN, role="technician", send=post)
    with pytest.raises(ActionRefused, match="moment ago"):
        send_invitation_again(by=author(people.alice, NOON + MINUTE), invitation=made, version=1, send=post)
    later = author(people.alice, NOON + 20 * DAY)
    assert not works(post.tokens[0], later.at), "it was too old by then"
    for _ in range(2):  # the same sending twice
        sent = committed(send_invitation_again, by=later, invitation=made, version=1, send=post)
    assert (len(post.tokens), sent.version, sent.expires_at) == (2, 2, later.at + INVITATION_DAYS * DAY)
    assert [works(token, later.at) for token in post.tokens] == [False, True]
    assert verbs(made) == ["added", "sent again"]
    assert "token_sha256" not in Change.objects.get(row_id=made.pk, verb="sent again").new
    with pytest.raises(StaleEdit):
        send_invitation_again(by=author(people.alice, later.at + DAY), invitation=made, version=1, send=post)


def test_withdrawn_its_link_dies(people: Cast, post: Post, committed: Callable[..., Any]) -> None:
    made = committed(send_invitation, by=author(people.alice), email=WREN, role="technician", send=post)
    assert works(post.tokens[0])
    by = author(people.alice)
    for _ in range(2):
        withdraw_invitation(by=by, invitation=made, version=1)
    assert not works(post.tokens[0])
    assert verbs(made) == ["added", "withdrawn"]
    for act in (withdraw_invitation, lambda **how: send_invitation_again(**how, send=post)):
        with pytest.raises(ActionRefused, match="withdrawn meanwhile"):
            act(by=author(people.alice, NOON + DAY), invitation=made, version=2)
    with pytest.raises(ActionRefused, match="no longer works"):
        accept(make.UserFactory(email=WREN), made)
    send_invitation(by=author(people.alice), email=WREN, role="owner", send=post)


@pytest.mark.parametrize("act", [send_invitation_again, withdraw_invitation])
def test_a_technician_and_an_owner_who_left_change_no_invitation(taproom: TernTaproom, post: Post, act: Any) -> None:
    how: dict[str, Any] = {"invitation": taproom.invitation, "version": 1}
    how |= {"send": post} if act is send_invitation_again else {}
    with pytest.raises(PermissionDenied):
        act(by=author(taproom.people.bob, NOON + DAY), **how)
    by = author(taproom.people.alice, NOON + DAY)
    Membership.objects.filter(pk=taproom.people.alice.pk).update(ended_at=NOON)
    with pytest.raises(PermissionDenied):
        act(by=by, **how)


def test_joining_gives_the_role_and_sites_once(taproom: TernTaproom) -> None:
    wren = make.UserFactory(email=WREN)
    member = accept(wren, taproom.invitation)
    assert (member.role, list(member.sites.all()), member.organization) == (
        "viewer", [taproom.site], taproom.site.organization
    )  # fmt: skip
    assert accept(wren, taproom.invitation) == member
    assert Membership.objects.filter(user=wren).count() == 1
    assert (verbs(taproom.invitation), verbs(member)) == (["accepted", "added"], ["joined"])
    joined = Change.objects.get(row_id=member.pk)
    assert (joined.created_by, joined.new["role"], joined.new["sites"]) == (wren, "viewer", [str(taproom.site.pk)])
    taproom.invitation.refresh_from_db()
    assert (taproom.invitation.accepted_at, taproom.invitation.accepted_by) == (NOON, wren)


def test_nobody_else_joins_by_it(taproom: TernTaproom) -> None:
    invitation = taproom.invitation
    with pytest.raises(ActionRefused, match=r"for wren@example\.org"):
        accept(taproom.people.dana, invitation)
    also = EmailAddress.objects.create(user=taproom.people.dana, email=WREN, verified=False)
    with pytest.raises(ActionRefused, match=r"for wren@example\.org"):
        accept(taproom.people.dana, invitation)
    also.verified = True
    also.save()
    assert accept(taproom.people.dana, invitation).user == taproom.people.dana


def test_used_and_too_old_links_join_nobody(taproom: TernTaproom) -> None:
    invitation = taproom.invitation
    wren = make.UserFactory(email=WREN)
    with pytest.raises(ActionRefused, match="no longer works"):
        accept(wren, invitation, invitation.expires_at)
    member = accept(wren, invitation, invitation.expires_at - MINUTE)
    Membership.objects.filter(pk=member.pk).update(ended_at=NOON)
    with pytest.raises(ActionRefused, match="no longer works"):
        accept(wren, invitation)


def test_who_belongs_here_already_is_told_so_and_keeps_their_role(people: Cast, post: Post) -> None:
    EmailAddress.objects.create(user=people.bob.user, email="robert@example.org", verified=True)
    made = send_invitation(by=author(people.alice), email="robert@example.org", role="owner", send=post)
    with pytest.raises(ActionRefused, match="belong to this organization already"):
        accept(people.bob.user, made)
    assert Membership.objects.get(user=people.bob.user).role == "technician"


def test_who_left_joins_again_as_a_new_member(people: Cast, post: Post) -> None:
    Membership.objects.filter(pk=people.bob.pk).update(ended_at=NOON)
    made = send_invitation(by=author(people.alice), email="bob@example.org", role="owner", send=post)
    member = accept(people.bob.user, made)
    assert (member.role, member.ended_at) == ("owner", None)
    assert Membership.objects.filter(user=people.bob.user).count() == 2


def test_an_account_and_its_membership_are_one_write(taproom: TernTaproom, monkeypatch: pytest.MonkeyPatch) -> None:
    how: dict[str, Any] = {"invitation": taproom.invitation, "password": PASSWORD, "at": NOON, "key": uuid.uuid4()}
    with monkeypatch.context() as broken:
        broken.setattr(Membership.objects, "create", lambda **fields: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            accept_with_account(**how)
    assert not User.objects.filter(email=WREN).exists()
    member = accept_with_account(**how)
    assert member.user.check_password(PASSWORD)
    address = EmailAddress.objects.get(user=member.user)
    assert (address.email, address.primary, address.verified) == (WREN, True, True)
    assert not Membership.objects.filter(user=member.user).exclude(pk=member.pk).exists(), "no organization of its own"
    with pytest.raises(ActionRefused, match="has an account already"):
        accept_with_account(**how)


def test_a_link_that_ended_makes_no_account(taproom: TernTaproom) -> None:
    at = taproom.invitation.expires_at
    with pytest.raises(ActionRefused, match="no longer works"):
        accept_with_account(invitation=taproom.invitation, password=PASSWORD, at=at, key=uuid.uuid4())
    assert not User.objects.filter(email=WREN).exists()


def test_the_database_holds_what_an_invitation_may_be(taproom: TernTaproom) -> None:
    row = Invitation.objects.filter(pk=taproom.invitation.pk)
    for fields in (
        {"role": "king"}, {"accepted_at": NOON}, {"accepted_by": taproom.people.bob.user},
        {"accepted_at": NOON, "accepted_by": taproom.people.bob.user, "withdrawn_at": NOON},
        {"expires_at": taproom.invitation.created_at},
    ):  # fmt: skip
        with pytest.raises(IntegrityError), transaction.atomic():
            row.update(**fields)
    stamp = {"organization": taproom.site.organization, "created_at": NOON, "created_by": taproom.people.alice.user}
    with pytest.raises(IntegrityError), transaction.atomic():
        Invitation.objects.create(email=WREN, role="owner", token_sha256="x", expires_at=NOON + DAY, **stamp)
