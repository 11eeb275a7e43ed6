"""The page under the machine: the steps of a leg plan, its forms, and the states in which nobody should turn."""

import datetime
import re
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from collection import models
from collection.actions.machines import set_spec
from collection.actions.plans import make_plan
from tests.factories import NOON
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom, two_lifts

SignIn = Callable[[models.Membership], Client]
HOUR = datetime.timedelta(hours=1)


@pytest.fixture
def client(taproom: TernTaproom, as_member: SignIn) -> Client:
    return as_member(taproom.people.bob)


@pytest.fixture
def plan(taproom: TernTaproom) -> models.Plan:
    return two_lifts(taproom).plan


def address(plan: models.Plan, name: str = "plan_work") -> str:
    return reverse(name, args=[plan.pk])


def words(html: str) -> str:
    """A page's text with plain spaces, without its drawings."""
    html = re.sub(r"<svg.*?</svg>", "", html, flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html)).replace("\u00a0", " ")


def page(client: Client, plan: models.Plan) -> str:
    answer = client.get(address(plan))
    assert answer.status_code == 200
    return answer.content.decode()


def keys(html: str) -> list[str]:
    return re.findall(r'<li class="work-step[^"]*" id="([^"]+)"', html)


def test_the_steps_go_as_a_person_works(client: Client, plan: models.Plan) -> None:
    expected = ["before"]
    for number, lift in enumerate(plan.answer["lifts"], 1):
        expected += [f"raise-{number}", *(f"turn-{number}-{leg}" for leg in lift["legs"])]
        expected += [f"lower-{number}", f"record-{number}"]
    assert keys(page(client, plan)) == [*expected, "after"]


def test_each_step_has_its_own_words_to_be_said(client: Client, plan: models.Plan) -> None:
    html = page(client, plan)
    said = re.findall(r'data-say="([^"]+)"', html)
    assert len(said) == len(keys(html))
    assert all(text.strip().endswith(".") for text in said)
    turned = [leg for leg in plan.answer["legs"] if leg["steps"]]
    names = {"FL": "Front left", "FR": "Front right", "RL": "Rear left", "RR": "Rear right"}
    for leg in turned:
        way = "out. Clockwise" if leg["steps"] > 0 else "in. Counterclockwise"
        found = [text for text in said if text.startswith(f"{names[leg['name']]}: ")]
        assert len(found) == 1
        assert f"{way}, looking down on the foot." in found[0]


def test_cautions_come_first_and_in_full(client: Client, plan: models.Plan) -> None:
    text = words(page(client, plan))
    for part in ("thread diameter", "wheelchair routes", "do not cover tipping", "maker’s manual", "pull the plug"):
        assert text.index(part) < text.index("Raise the")


def test_the_machine_may_rock_between_the_lifts_and_must_not_after(client: Client, plan: models.Plan) -> None:
    assert not plan.answer["states"][-1]["foot"] or plan.answer["states"][-1]["gap_mm"] < 0.05
    text = words(page(client, plan))
    assert text.index("It may rock until the last lift is done.") < text.index("it must not rock.")
    assert text.count("it must not rock.") == 1


def test_only_the_lift_of_now_shows_its_form_without_a_script(client: Client, plan: models.Plan) -> None:
    html = page(client, plan)
    forms = re.findall(r'<form class="work-record"[^>]*>', html)
    assert ["hidden" in form for form in forms] == [False, True]
    assert all("data-keep=" in form for form in forms)
    assert "Record lift 1 first." in html
    written = re.findall(r'name="write_key" value="([^"]+)"', html)
    assert len(set(written)) == len(written) == 2


def test_recorded_from_here_the_work_goes_on_here(client: Client, plan: models.Plan) -> None:
    sent = {"as_shown": "on", "then": "work"}
    first = client.post(address(plan, "plan_turned"), {"lift": 1, **sent})
    assert first["Location"] == f"{address(plan)}#raise-2"
    html = page(client, plan)
    assert 'data-recorded="1"' in html
    assert "Turned in lift 1" in html
    assert len(re.findall(r'<form class="work-record"', html)) == 1
    last = client.post(address(plan, "plan_turned"), {"lift": 2, **sent})
    assert last["Location"] == f"{address(plan)}#after"
    html = page(client, plan)
    assert "Take the check reading" in html
    assert f'action="{address(plan, "plan_sign_off")}"' in html


def test_as_shown_counts_before_the_figures_beside_it(client: Client, plan: models.Plan) -> None:
    """The page sends both; its script takes "as shown" away once something was corrected."""
    freed = [leg.lower() for leg in plan.answer["lifts"][0]["frees"]]
    typed = {f"turns_{leg}": "3/4" for leg in freed} | {f"way_{leg}": "out" for leg in freed}
    client.post(address(plan, "plan_turned"), {"lift": 1, "as_shown": "on", **typed})
    assert {row.text for row in models.Adjustment.objects.all()} == {"as shown"}


def test_no_link_is_empty_and_the_whole_plan_is_one_tap_away(client: Client, plan: models.Plan) -> None:
    html = page(client, plan)
    assert 'href=""' not in html
    assert f'<a class="button quiet" href="{address(plan, "plan")}">The whole plan</a>' in html


def test_a_reader_sees_the_steps_and_no_form(taproom: TernTaproom, plan: models.Plan, as_member: SignIn) -> None:
    html = page(as_member(taproom.people.vera), plan)
    assert not [key for key in keys(html) if key.startswith("record")]
    assert "<form" not in html.split('<main id="main"')[1]
    assert "A technician records the turns" in html


def test_a_stranger_and_a_guest_see_nothing(taproom: TernTaproom, plan: models.Plan, as_member: SignIn) -> None:
    assert as_member(taproom.people.charlie).get(address(plan)).status_code == 404
    guest = Client().get(address(plan))
    assert (guest.status_code, guest["Location"]) == (302, f"{reverse('account_login')}?next={address(plan)}")
    assert as_member(taproom.people.bob).post(address(plan)).status_code == 405


def no_work(html: str, said: str) -> None:
    """No step, no button, and the reason in words."""
    main = html.split('<main id="main"')[1].split("</main>")[0]
    assert said in words(main)
    assert keys(main) == []
    assert "<button" not in main
    assert "<form" not in main


def test_a_plan_set_aside_offers_no_work(client: Client, plan: models.Plan) -> None:
    client.post(address(plan, "plan_set_aside"), {"why": "The jack is broken."})
    no_work(page(client, plan), "This plan was set aside Do not turn by it. Why: The jack is broken.")


def test_a_plan_signed_off_offers_no_work(client: Client, plan: models.Plan) -> None:
    for lift in (1, 2):
        client.post(address(plan, "plan_turned"), {"lift": lift, "as_shown": "on"})
    client.post(address(plan, "plan_sign_off"), {"tasks": ["locknuts", "read_again", "tilt_bob", "feet_marked"]})
    no_work(page(client, plan), "Nothing is left to turn.")


def test_a_machine_in_spec_offers_no_work(client: Client, taproom: TernTaproom) -> None:
    survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument)
    plan = make_plan(by=author(taproom.people.bob, NOON + HOUR), machine=taproom.machine, source="survey")
    no_work(page(client, plan), "By this plan the machine needs no turn.")


def test_a_machine_that_moved_offers_no_work(client: Client, taproom: TernTaproom, plan: models.Plan) -> None:
    client.post(reverse("machine_move", args=[taproom.machine.pk]), {"bay": "off", "version": taproom.machine.version})
    no_work(page(client, plan), "The machine was moved after the plan was made.")


def test_a_newer_survey_makes_the_plan_stale_a_check_of_it_does_not(
    client: Client, taproom: TernTaproom, plan: models.Plan
) -> None:
    bob, instrument = taproom.people.bob, taproom.instrument
    survey_of(taproom.machine, by=bob, instrument=instrument, plan=plan, at=NOON + HOUR)
    assert keys(page(client, plan))
    readings = [along(6.2), across(0.1, "left")]
    survey_of(taproom.machine, by=bob, instrument=instrument, readings=readings, at=NOON + 2 * HOUR)
    no_work(page(client, plan), "After the plan was made the machine was surveyed again")
    assert "the machine was surveyed again" in words(client.get(address(plan, "plan")).content.decode())


def test_another_spec_makes_the_plan_stale(client: Client, taproom: TernTaproom, plan: models.Plan) -> None:
    set_spec(
        by=author(taproom.people.bob, timezone.now()), machine=taproom.machine, version=1,
        why="Plays better steeper.",
        pitch_deg=6.8, pitch_tolerance_deg=0.2, roll_tolerance_deg=0.15, gap_tolerance_mm=0.5,
    )  # fmt: skip
    no_work(page(client, plan), "Plan again from what is known now.")


def test_the_plan_leads_here_only_while_there_is_work(client: Client, plan: models.Plan) -> None:
    link = f'href="{address(plan)}"'
    assert link in client.get(address(plan, "plan")).content.decode()
    client.post(address(plan, "plan_set_aside"), {"why": "The jack is broken."})
    assert link not in client.get(address(plan, "plan")).content.decode()


def test_the_number_of_queries_is_the_same_with_many_checks(
    client: Client, taproom: TernTaproom, plan: models.Plan, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    client.get(address(plan))
    with django_assert_max_num_queries(12) as few:
        client.get(address(plan))
    for hours in range(1, 9):
        survey_of(
            taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, plan=plan, at=NOON + hours * HOUR
        )
    with django_assert_max_num_queries(12) as many:
        client.get(address(plan))
    assert len(few) == len(many)
