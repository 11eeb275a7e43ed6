"""What the server answers to a sending that a device keeps until it is acknowledged, and the time such a sending counts
as. Without the headers everything is as from a browser without script."""

import datetime
import uuid
from collections.abc import Callable

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from collection import models
from tests.surveying import sent
from tests.worlds import TernTaproom

SignIn = Callable[[models.Membership], Client]
ALONG, ACROSS = ("along", "6.1", "rear"), ("across", "0.3", "left")
TWO_PM = datetime.datetime(2026, 6, 1, 14, 0, tzinfo=datetime.UTC)
FOUR_HOURS = "14400"


@pytest.fixture
def bob(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


@pytest.fixture
def url(taproom: TernTaproom) -> str:
    return reverse("survey_new", args=[taproom.machine.pk])


def kept(member: models.Membership, waited: str | None = None) -> dict[str, str]:
    return {"X-Keep": member.signature} | ({} if waited is None else {"X-Keep-Waited": waited})


def typed(taproom: TernTaproom, **more: str) -> dict[str, str]:
    return sent(taproom.instrument.pk, ALONG, ACROSS, **{"write_key": str(uuid.uuid4()), **more})


def test_a_stored_survey_is_acknowledged_with_its_place(taproom: TernTaproom, bob: Client, url: str) -> None:
    page = typed(taproom)
    answer = bob.post(url, page, headers=kept(taproom.people.bob))
    assert (answer.status_code, answer["X-Kept"]) == (201, "yes")
    assert answer["Location"] == reverse("survey", args=[page["write_key"]])
    assert str(models.Survey.objects.get().pk) == page["write_key"]


def test_sent_again_it_gets_the_same_answer_and_is_stored_once(taproom: TernTaproom, bob: Client, url: str) -> None:
    """The answer to the first sending was lost, so it comes again, hours later: it counts as of the first."""
    page = typed(taproom)
    with time_machine.travel(TWO_PM, tick=False):
        first = bob.post(url, page, headers=kept(taproom.people.bob, "0"))
    with time_machine.travel(TWO_PM + datetime.timedelta(hours=4), tick=False):
        second = bob.post(url, page, headers=kept(taproom.people.bob, FOUR_HOURS))
    assert (first.status_code, second.status_code) == (201, 201)
    assert first["Location"] == second["Location"]
    assert models.Survey.objects.get().measured_at == TWO_PM


def test_what_was_refused_comes_with_its_page_and_is_not_acknowledged(
    taproom: TernTaproom, bob: Client, url: str
) -> None:
    answer = bob.post(url, typed(taproom, stance=""), headers=kept(taproom.people.bob))
    assert answer.status_code == 422
    assert "X-Kept" not in answer
    assert 'value="6.1"' in answer.content.decode()
    assert "data-keep-typed" in answer.content.decode()


@pytest.mark.parametrize("button", ["add", "show"])
def test_a_page_that_saves_nothing_acknowledges_nothing(
    taproom: TernTaproom, bob: Client, url: str, button: str
) -> None:
    answer = bob.post(url, typed(taproom, **{button: "1"}), headers=kept(taproom.people.bob))
    assert answer.status_code == 200
    assert "X-Kept" not in answer


def test_signed_out_it_is_told_so_and_not_led_to_the_login(taproom: TernTaproom, url: str) -> None:
    answer = Client().post(url, typed(taproom), headers=kept(taproom.people.bob))
    assert answer.status_code == 401
    assert models.Survey.objects.count() == 0


@pytest.mark.parametrize("who", ["alice", "vera", "charlie", "nobody"])
def test_only_the_one_who_typed_it_may_send_it(taproom: TernTaproom, as_member: SignIn, url: str, who: str) -> None:
    """Alice may write there as well, but did not type it."""
    client = as_member(getattr(taproom.people, who)) if who != "nobody" else Client()
    answer = client.post(url, typed(taproom), headers=kept(taproom.people.bob))
    assert answer.status_code == (401 if who == "nobody" else 412)
    assert models.Survey.objects.count() == 0


def test_in_another_organization_it_is_not_sent(taproom: TernTaproom, as_member: SignIn, url: str) -> None:
    other = models.Membership.objects.create(
        organization=taproom.people.charlie.organization, user=taproom.people.bob.user, role="owner",
        created_at=TWO_PM,
    )  # fmt: skip
    bob = as_member(taproom.people.bob)
    bob.post(reverse("organization_choose"), {"organization": str(other.organization_id)})
    assert bob.post(url, typed(taproom), headers=kept(taproom.people.bob)).status_code == 412


def test_without_the_header_the_answer_is_a_redirect(taproom: TernTaproom, bob: Client, url: str) -> None:
    answer = bob.post(url, typed(taproom), headers={"X-Keep-Waited": FOUR_HOURS})
    assert (answer.status_code, "X-Kept" in answer) == (302, False)


def test_who_acts_is_told_with_a_token(taproom: TernTaproom, bob: Client) -> None:
    answer = bob.get(reverse("acting"))
    assert answer.json()["member"] == taproom.people.bob.signature
    assert len(answer.json()["token"]) == 64
    assert "no-store" in answer["Cache-Control"]
    assert Client().get(reverse("acting")).json()["member"] == ""


def test_the_token_of_that_answer_opens_the_door(taproom: TernTaproom, url: str) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(taproom.people.bob.user)
    page, headers = typed(taproom), kept(taproom.people.bob)
    assert client.post(url, page, headers=headers).status_code == 403
    token = client.get(reverse("acting")).json()["token"]
    assert client.post(url, page | {"csrfmiddlewaretoken": token}, headers=headers).status_code == 201


# --- the time it counts as -------------------------------------------------------------------------------------------


@time_machine.travel(TWO_PM, tick=False)
def test_typed_at_ten_and_sent_at_two_was_measured_at_ten(taproom: TernTaproom, bob: Client, url: str) -> None:
    bob.post(url, typed(taproom), headers=kept(taproom.people.bob, FOUR_HOURS))
    survey = models.Survey.objects.get()
    assert survey.measured_at == TWO_PM - datetime.timedelta(hours=4)
    assert survey.created_at == TWO_PM


@time_machine.travel(TWO_PM, tick=False)
def test_a_typed_time_is_taken_as_typed(taproom: TernTaproom, bob: Client, url: str) -> None:
    """Even from a sending that waited for longer than is believed."""
    taproom.site.time_zone = "UTC"
    taproom.site.save()
    page = typed(taproom, measured_at="2026-05-31T09:30")
    assert bob.post(url, page, headers=kept(taproom.people.bob, str(40 * 86_400))).status_code == 201
    assert models.Survey.objects.get().measured_at == datetime.datetime(2026, 5, 31, 9, 30, tzinfo=datetime.UTC)


@time_machine.travel(TWO_PM, tick=False)
@pytest.mark.parametrize(
    ("waited", "is_taken"),
    [
        (None, True),  # sent off just now
        ("0", True),
        ("2592000", True),  # 30 days to the second
        ("2592001", False),  # too long ago to be believed
        ("999999999", False),  # a clock that was set from 1970
        ("-60", False),  # a time to come
        ("1e3", False),
        ("14400.5", False),
        ("１４", False),  # digits, but not plain ones
        (" ", False),
        ("9999999999", False),  # too long a number
    ],
)
def test_how_long_it_waited_is_read_strictly(
    taproom: TernTaproom, bob: Client, url: str, waited: str | None, is_taken: bool
) -> None:
    headers = {
        "HTTP_" + name.upper().replace("-", "_"): text for name, text in kept(taproom.people.bob, waited).items()
    }
    answer = bob.post(url, typed(taproom), **headers)
    assert answer.status_code == (201 if is_taken else 422)
    assert models.Survey.objects.count() == int(is_taken)


@time_machine.travel(TWO_PM, tick=False)
def test_too_long_on_the_device_asks_for_the_time(taproom: TernTaproom, bob: Client, url: str) -> None:
    answer = bob.post(url, typed(taproom), headers=kept(taproom.people.bob, str(31 * 86_400)))
    assert "waited on the device for more than 30 days" in answer.content.decode()
    assert answer.context["form"].errors.keys() == {"measured_at"}


def test_turns_count_from_when_they_were_done(taproom: TernTaproom, bob: Client) -> None:
    """Turned at ten, read again at eleven, both sent at two: the reading is of the machine as it was turned."""
    plan = taproom.plan
    models.Plan.objects.filter(pk=plan.pk).update(created_at=TWO_PM - datetime.timedelta(days=1))
    with time_machine.travel(TWO_PM, tick=False):
        turned = {"lift": "1", "as_shown": "on", "write_key": str(uuid.uuid4())}
        answer = bob.post(reverse("plan_turned", args=[plan.pk]), turned, headers=kept(taproom.people.bob, FOUR_HOURS))
        assert answer.status_code == 201
    rows = models.Adjustment.objects.filter(plan=plan)
    assert {row.turned_at for row in rows} == {TWO_PM - datetime.timedelta(hours=4)}
    assert {row.created_at for row in rows} == {TWO_PM}


def test_turns_are_never_older_than_their_plan(taproom: TernTaproom, bob: Client) -> None:
    plan = taproom.plan
    turned = {"lift": "1", "as_shown": "on", "write_key": str(uuid.uuid4())}
    with time_machine.travel(plan.created_at + datetime.timedelta(hours=1), tick=False):
        bob.post(reverse("plan_turned", args=[plan.pk]), turned, headers=kept(taproom.people.bob, FOUR_HOURS))
    assert {row.turned_at for row in models.Adjustment.objects.filter(plan=plan)} == {plan.created_at}


@time_machine.travel(TWO_PM, tick=False)
def test_a_zero_check_holds_for_surveys_after_it_that_came_with_it(taproom: TernTaproom, bob: Client, url: str) -> None:
    """Checked at nine, surveyed at ten, both sent at two: the survey has its zero."""
    zero = {"unit": "deg", "first": "0.2", "first_high": "right", "turned": "0.2", "turned_high": "right"}
    zero_url = reverse("instrument_zero", args=[taproom.instrument.pk])
    key = {"write_key": str(uuid.uuid4())}
    assert bob.post(zero_url, zero | key, headers=kept(taproom.people.bob, "18000")).status_code == 201
    check = models.ZeroCheck.objects.get()
    assert check.checked_at == TWO_PM - datetime.timedelta(hours=5)
    bob.post(url, typed(taproom), headers=kept(taproom.people.bob, FOUR_HOURS))
    assert models.Survey.objects.get().inputs["instrument"]["zero_deg"] == check.zero_deg


def test_the_live_answer_of_someone_signed_out_is_no_login_page(taproom: TernTaproom) -> None:
    url = reverse("survey_answer", args=[taproom.machine.pk])
    answer = Client().post(url, typed(taproom), headers={"HX-Request": "true"})
    assert (answer.status_code, answer.content) == (401, b"")
