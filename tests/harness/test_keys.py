"""Every page that writes, sent twice with one key, has one effect and one answer: at once, and 89 days later.

The keys live in the history, which is never emptied, so a promise of 90 days is kept by all of them.
"""

import datetime
import uuid
from typing import Any

import pytest
import time_machine
from django.apps import apps
from django.conf import settings
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from collection import models
from tests import factories as make
from tests.collection.access.table import ROWS
from tests.collection.forms.test_hostile_posts import fields_of
from tests.harness.filled import FILLED, Filled
from tests.worlds import TernTaproom

#: Addresses that take a POST and have no key, each with the reason.
WITHOUT = {
    "survey_answer": "writes nothing: it answers what a survey would say",
    "organization_choose": "sets one word of the session: twice is the same",
    "invitation_sign_out": "ends the session: twice is the same",
    "device_end": "ends another session of one's own account: an ended one is not there to be ended",
    "devices_end": "ends all other sessions of one's own account: twice is the same",
}
#: Sent twice in tests of their own below: their second answer is another, since who sends it is somebody else by then.
APART = {"organization_leave", "invitation_accept", "invitation_account", "report"}
#: Pages of libraries.
LIBRARIES = ("account_", "mfa_")
#: What has to be done first.
SIGNED = Filled("plan_sign_off", "plan", {"tasks": "locknuts", "remark": "The rest tomorrow."}, shown="plan")
WRITES = [*FILLED, SIGNED]
LATER = datetime.timedelta(days=89)


def test_every_address_that_takes_a_post_is_sent_twice_or_has_a_reason() -> None:
    """Pages of the account belong to its library: they change a person's own sign-in, and twice is the same."""
    posts = {row.name for row in ROWS if "POST" in row.answers and not row.name.startswith(LIBRARIES)}
    assert posts == {page.page for page in WRITES} | WITHOUT.keys() | APART


def everything() -> dict[str, list[Any]]:
    """All that the database holds of ours."""
    tables = apps.get_app_config("collection").get_models()
    return {table.__name__: list(table._default_manager.order_by("pk").values()) for table in tables}


def signed_in(taproom: TernTaproom) -> Client:
    client = Client()
    client.force_login(taproom.people.alice.user)
    return client


def sent(client: Client, taproom: TernTaproom, page: Filled) -> tuple[str, dict[str, str]]:
    """Address and body of a page, with a key, once what goes before it is done."""
    assert all((taproom.plan, taproom.vial_pair, taproom.quick_check))
    if page is SIGNED:
        for lift in ("1", "2"):
            client.post(reverse("plan_turned", args=[taproom.plan.pk]), {"lift": lift, "as_shown": "on"})
    return page.address(taproom), page.body(client, taproom) | {"write_key": str(uuid.uuid4())}


@pytest.mark.parametrize("filled", WRITES, ids=[f"{each.page}{each.query}-{n}" for n, each in enumerate(WRITES)])
def test_one_key_has_one_effect_and_one_answer(taproom: TernTaproom, filled: Filled) -> None:
    client = signed_in(taproom)
    url, body = sent(client, taproom, filled)
    before = everything()
    first = client.post(url, body)
    assert first.status_code == 302, first.context["form"].errors
    after = everything()
    second = client.post(url, body)
    assert (second.status_code, second["Location"]) == (302, first["Location"])
    assert _kept(everything()) == _kept(after)
    assert filled.page.endswith("edit") or after != before
    with time_machine.travel(timezone.now() + LATER, tick=False):
        third = signed_in(taproom).post(url, body)
        assert (third.status_code, third["Location"]) == (302, first["Location"])
    assert _kept(everything()) == _kept(after)


def test_a_key_is_known_after_others_changed_the_row(taproom: TernTaproom) -> None:
    """The answer to a late second sending of an edit is that it was done; what came since stands."""
    client, url = signed_in(taproom), reverse("site_edit", args=[taproom.site.pk])
    body = Filled("site_edit", "site", {"address": "4 Mudflat Lane"}).body(client, taproom)
    assert client.post(url, body).status_code == 302
    since = Filled("site_edit", "site", {"address": "6 Mudflat Lane"}).body(client, taproom)
    assert client.post(url, since).status_code == 302
    with time_machine.travel(timezone.now() + LATER, tick=False):
        assert signed_in(taproom).post(url, body).status_code == 302
    assert models.Site.objects.get(pk=taproom.site.pk).address == "6 Mudflat Lane"
    assert models.Change.objects.filter(row_id=taproom.site.pk, verb="changed").count() == 2


def test_an_owner_who_makes_themself_a_technician_is_told_so_twice(taproom: TernTaproom) -> None:
    alice = taproom.people.alice
    make.MembershipFactory(organization=alice.organization)
    client, url = signed_in(taproom), reverse("colleague_edit", args=[alice.pk])
    page = fields_of(client.get(url).content.decode()).sent
    body = page | {"role": "technician", "write_key": str(uuid.uuid4())}
    assert client.post(url, body)["Location"] == reverse("organization")
    after = everything()
    assert client.post(url, body)["Location"] == reverse("organization")
    assert _kept(everything()) == _kept(after)
    assert client.post(url, body | {"role": "owner"}).status_code == 403
    assert client.get(url).status_code == 403


def test_whoever_leaves_leaves_once_and_no_other_organization(taproom: TernTaproom) -> None:
    wes = taproom.colleague
    other = make.MembershipFactory(user=wes.user, organization=taproom.people.charlie.organization)
    client, url = Client(), reverse("organization_leave")
    client.force_login(wes.user)
    choose = client.post(reverse("organization_choose"), {"organization": str(wes.organization_id)})
    assert choose.status_code == 302
    body = fields_of(client.get(url).content.decode()).sent | {"write_key": str(uuid.uuid4())}
    assert client.post(url, body).status_code == 302
    after = everything()
    assert client.post(url, body).status_code == 422
    assert _kept(everything()) == _kept(after)
    other.refresh_from_db()
    assert other.ended_at is None


def test_whoever_was_invited_joins_once(taproom: TernTaproom) -> None:
    wren = make.UserFactory(email=taproom.invitation.email)
    for signed_in_as, page in ((wren, "invitation_accept"), (None, "invitation_account")):
        with transaction.atomic():
            client, url = opened(taproom, signed_in_as), reverse(page)
            if signed_in_as is None:
                models.User.objects.filter(pk=wren.pk).update(email="other@example.org")
            body = fields_of(client.get(url).content.decode()).sent
            body |= {"write_key": str(uuid.uuid4()), "password": "reef lantern kettle"}
            assert client.post(url, body)["Location"] == reverse("today")
            after = everything()
            assert client.post(url, body, follow=True).redirect_chain[-1] == (reverse("today"), 302)
            assert _kept(everything()) == _kept(after)
            assert models.Membership.objects.filter(organization=taproom.organization).count() == 4
            transaction.set_rollback(True)


def test_a_stranger_who_presses_twice_tells_it_once(taproom: TernTaproom) -> None:
    client, url = Client(), reverse("report", args=[taproom.report_token])
    body = fields_of(client.get(url).content.decode()).sent | {"problem": "wobbles", "write_key": str(uuid.uuid4())}
    assert client.post(url, body)["Location"] == reverse("report_thanks")
    after = everything()
    assert client.post(url, body)["Location"] == reverse("report_thanks")
    assert _kept(everything()) == _kept(after)


def opened(taproom: TernTaproom, user: models.User | None) -> Client:
    """A browser in which the link of the world's invitation was opened, and somebody may be signed in."""
    models.Invitation.objects.filter(pk=taproom.invitation.pk).update(expires_at=timezone.now() + LATER)
    client = Client()
    if user:
        client.force_login(user)
    session = client.session
    session["invitation"] = taproom.invitation.token_sha256
    session.save()
    client.cookies[settings.SESSION_COOKIE_NAME] = session.session_key
    return client


def _kept(tables: dict[str, list[Any]]) -> dict[str, list[Any]]:
    """Without when somebody signed in last."""
    people = [{name: value for name, value in row.items() if name != "last_login"} for row in tables["User"]]
    return {**tables, "User": people}
