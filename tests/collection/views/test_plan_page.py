"""The page of a leg plan: lift by lift, the check, the sign-off, setting aside."""

import datetime
import re
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from collection import models
from collection.actions.plans import Turned, make_plan, record_turns
from tests import factories as make
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


def address(name: str, plan: models.Plan) -> str:
    return reverse(name, kwargs={"pk": plan.pk})


def words(client: Client, plan: models.Plan) -> str:
    """The page's text with plain spaces."""
    html = client.get(address("plan", plan)).content.decode()
    html = re.sub(r"<svg.*?</svg>", "", html, flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", html)).replace("\u00a0", " ")


def turned(client: Client, plan: models.Plan, lift: int = 1, **typed: str) -> int:
    sent = typed or {"as_shown": "on"}
    return client.post(address("plan_turned", plan), {"lift": lift, **sent}).status_code


def test_it_tells_each_leg_its_way_its_height_and_the_hand(client: Client, plan: models.Plan) -> None:
    """A right-hand thread goes away from the eye when turned clockwise: seen from above, the foot goes down."""
    text = words(client, plan)
    ways = {leg["steps"] > 0 for leg in plan.answer["legs"] if leg["steps"]}
    assert ways == {True, False}
    for leg in plan.answer["legs"]:
        height = f"the corner {abs(leg['height_mm']):.1f} mm"
        if leg["steps"] > 0:
            assert f"raises {height} · clockwise looking down on the foot" in text
        elif leg["steps"] < 0:
            assert f"lowers {height} · counterclockwise looking down on the foot" in text
    for number, lift in enumerate(plan.answer["lifts"], 1):
        assert f"Lift {number} of 2: the {lift['end']}" in text


def test_cautions_stand_above_the_first_lift_and_in_full(client: Client, plan: models.Plan) -> None:
    text = words(client, plan)
    assert text.index("Two people or a lift aid.") < text.index("Lift 1 of 2")
    for part in ("thread diameter", "wheelchair routes", "do not cover tipping", "maker’s manual", "pull the plug"):
        assert part in text


def test_it_says_how_sure_it_is_and_what_cannot_be_proven(client: Client, plan: models.Plan) -> None:
    """By the level alone 0.071 and 0.094 degrees; the board's wave under 230 mm adds 0.052 and 0.050 (root sum)."""
    text = words(client, plan)
    assert "How sure at the end: pitch ± 0.09°, roll ± 0.11°" in text
    chance = round(100 * plan.answer["verdict_after"]["chance"])
    assert f"Chance of being in spec then: {chance} %" in text
    assert "cannot prove the roll with the 230 mm digital level" in text


def test_turned_as_shown_leads_to_the_next_lift_and_then_to_the_check(client: Client, plan: models.Plan) -> None:
    first = client.post(address("plan_turned", plan), {"lift": 1, "as_shown": "on"})
    assert first["Location"] == f"{address('plan', plan)}#lift-2"
    assert "take a check reading before this lift" in words(client, plan)
    last = client.post(address("plan_turned", plan), {"lift": 2, "as_shown": "on"})
    assert last["Location"] == f"{address('plan', plan)}#after"
    html = client.get(address("plan", plan)).content.decode()
    assert f"{reverse('survey_new', kwargs={'pk': plan.machine_id})}?plan={plan.pk}" in html
    assert "Take the check reading" in html


def test_other_turns_change_what_the_page_expects(client: Client, plan: models.Plan) -> None:
    """One turn more at the planned rear leg: 1.5875 mm over twice 1300 mm is 0.035 degrees, and 1.59 mm of gap."""
    expected = plan.answer["states"][-1]
    planned = next(leg for leg in plan.answer["legs"] if leg["steps"] and leg["name"] in ("RL", "RR"))
    other = {"RL": "rr", "RR": "rl"}[planned["name"]]
    typed = {f"turns_{planned['name'].lower()}": str(planned["steps"] / 4 + 1), f"turns_{other}": "0"}
    assert turned(client, plan, **typed, way_rl="out", way_rr="out") == 302
    seen = client.get(address("plan", plan)).context["seen"]
    really = seen.course["states"][-1]
    # resting on three feet, the front's sinking may take half of it
    assert really["pitch_deg"] - expected["pitch_deg"] == pytest.approx(0.035, abs=0.036)
    assert abs(really["gap_mm"] - expected["gap_mm"]) == pytest.approx(1.59, abs=0.5)
    assert seen.course["verdict_after"]["chance"] < plan.answer["verdict_after"]["chance"]
    assert "Worked out from what was really turned" in words(client, plan)


def test_bad_turns_are_refused_and_kept(client: Client, plan: models.Plan) -> None:
    typed = {"lift": "1", "turns_rl": "1,5", "way_rl": "in", "turns_rr": "0", "way_rr": "out"}
    answer = client.post(address("plan_turned", plan), typed)
    assert answer.status_code == 422
    form = answer.context["form"]
    assert list(form.errors) == ["turns_rl"]
    assert (form["turns_rl"].value(), form["way_rl"].value()) == ("1,5", "in")
    assert 'value="1,5"' in answer.content.decode()
    assert '<details class="no-print" id="other-turns" open>' in answer.content.decode()
    assert models.Adjustment.objects.count() == 0


def test_turns_beyond_travel_name_the_field_and_the_remedy(client: Client, plan: models.Plan) -> None:
    typed = {"lift": "1", "turns_rl": "6", "way_rl": "out", "turns_rr": "0", "way_rr": "out"}
    answer = client.post(address("plan_turned", plan), typed)
    assert answer.status_code == 422
    assert "RL has only 8.0 mm of its 41 mm travel left" in answer.context["form"].errors["turns_rl"][0]


def test_more_than_a_whole_travel_is_warned_of_where_the_exposure_is_unknown(
    client: Client, taproom: TernTaproom
) -> None:
    taproom.machine.legs.all().update(exposure_mm=None)
    plan = taproom.plan
    assert "Travel is not checked for" in words(client, plan)
    leg = plan.answer["lifts"][0]["frees"][0].lower()
    other = plan.answer["lifts"][0]["frees"][1].lower()
    # 41 mm of travel is 25.8 turns of a 3/8-16 thread (ASME B1.1)
    typed = {f"turns_{leg}": "26", f"way_{leg}": "in", f"turns_{other}": "0", f"way_{other}": "out"}
    assert turned(client, plan, **typed) == 302
    assert "moved more than its whole travel of 41.0 mm" in words(client, plan)


def test_a_double_tap_records_once_and_answers_the_same(client: Client, plan: models.Plan) -> None:
    key = client.get(address("plan", plan)).context["lift_form"]["write_key"].value()
    sent = {"lift": 1, "as_shown": "on", "write_key": str(key)}
    first, again = (client.post(address("plan_turned", plan), sent) for _ in range(2))
    assert (first.status_code, first["Location"]) == (again.status_code, again["Location"])
    assert {row.lift for row in models.Adjustment.objects.all()} == {1}


def test_a_lift_that_someone_else_recorded_is_refused(client: Client, plan: models.Plan) -> None:
    assert turned(client, plan) == 302
    rows = models.Adjustment.objects.count()
    assert turned(client, plan) == 422
    assert models.Adjustment.objects.count() == rows


def test_check_and_sign_off(client: Client, taproom: TernTaproom, plan: models.Plan) -> None:
    assert [turned(client, plan, lift) for lift in (1, 2)] == [302, 302]
    survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, plan=plan, at=NOON + HOUR)
    text = words(client, plan)
    assert "Check reading" in text
    assert "pitch 6.50° ± 0.09°" in text
    refused = client.post(address("plan_sign_off", plan), {"tasks": ["locknuts"], "remark": ""})
    assert refused.status_code == 422
    assert refused.context["form"]["tasks"].value() == ["locknuts"]
    tasks = ["locknuts", "read_again", "tilt_bob", "feet_marked"]
    assert client.post(address("plan_sign_off", plan), {"tasks": tasks}).status_code == 302
    assert "Signed off" in words(client, plan)


def test_setting_aside_needs_a_reason(client: Client, plan: models.Plan) -> None:
    assert client.post(address("plan_set_aside", plan), {"why": " "}).status_code == 422
    assert client.post(address("plan_set_aside", plan), {"why": "The jack is broken."}).status_code == 302
    text = words(client, plan)
    assert "Set aside. The jack is broken. Do not turn by it." in text
    assert "Turned as shown" not in text


def test_in_spec_has_its_own_page(client: Client, taproom: TernTaproom) -> None:
    survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument)
    plan = make_plan(by=author(taproom.people.bob, NOON + HOUR), machine=taproom.machine, source="survey")
    text = words(client, plan)
    assert "In spec: turn nothing" in text
    assert "Lift 1" not in text
    assert client.post(address("plan_sign_off", plan), {}).status_code == 302


@pytest.mark.parametrize(
    ("roll_deg", "stance", "said"),
    [
        (0.14, "all_bearing", "The reading lies inside the spec, but not surely"),
        (0.0, "unknown", "nobody checked the feet: press down on each corner first"),
    ],
)
def test_inside_but_not_surely_asks_for_a_reading_not_for_a_turn(
    client: Client, taproom: TernTaproom, roll_deg: float, stance: str, said: str
) -> None:
    survey_of(
        taproom.machine,
        by=taproom.people.bob,
        instrument=taproom.instrument,
        readings=[along(6.5), across(roll_deg, "right" if roll_deg else "level")],
        stance=stance,
    )
    plan = make_plan(by=author(taproom.people.bob, NOON + HOUR), machine=taproom.machine, source="survey")
    text = words(client, plan)
    assert plan.outcome == "in_spec"
    assert "Turn nothing yet" in text
    assert said in text


@pytest.mark.parametrize(
    ("rear_mm", "front_mm", "reachable", "said"),
    [
        (38, 2, True, "leveler ({leg}) runs out of travel on the way out."),
        (20, 12, False, "It needs the rear, which cannot be reached or lifted here."),
    ],
)
def test_nothing_fits_says_why_and_what_would_help(
    client: Client, taproom: TernTaproom, rear_mm: float, front_mm: float, reachable: bool, said: str
) -> None:
    taproom.machine.legs.filter(place__gte=2).update(exposure_mm=rear_mm)
    taproom.machine.legs.filter(place__lt=2).update(exposure_mm=front_mm)
    survey_of(
        taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, readings=[along(5.6), across(0, "level")]
    )
    work = {"front_reachable": True, "rear_reachable": reachable, "on_dollies": False, "steps_per_turn": 4}
    plan = make_plan(by=author(taproom.people.bob, NOON + HOUR), machine=taproom.machine, source="survey", **work)
    text = words(client, plan)
    assert plan.outcome == "nothing_fits"
    assert said.format(leg=plan.answer["limit"][:2].upper()) in text
    assert ("pull the machine out" in text) == (not reachable)
    for leg, pad_mm in zip(("FL", "FR", "RL", "RR"), plan.answer["pads_mm"], strict=True):
        assert (f"{pad_mm:.1f} mm under {leg}" in text) == (pad_mm > 0)


def test_from_the_floor_alone_it_says_how_unsure_it_is(client: Client, taproom: TernTaproom) -> None:
    make.FloorSlopeFactory(member=taproom.people.alice, floor=taproom.floor)
    plan = make_plan(by=author(taproom.people.bob, NOON + HOUR), machine=taproom.machine, source="floor")
    text = words(client, plan)
    assert "From floor and legs alone. This is a start, not a finish: the pitch may be off by 0.51°" in text
    assert "certificate rule" not in text


def test_a_reader_sees_the_plan_without_buttons(taproom: TernTaproom, plan: models.Plan, as_member: SignIn) -> None:
    text = words(as_member(taproom.people.vera), plan)
    assert "Lift 1 of 2" in text
    for button in ("Turned as shown", "I turned something else", "Set this plan aside"):
        assert button not in text


def test_units_follow_the_organization(client: Client, taproom: TernTaproom, plan: models.Plan) -> None:
    """11.11 mm are 0.4375 in; 6.0 degrees are 105.1 mm/m."""
    models.Organization.objects.update(angle_unit="mm_per_m", length_unit="in")
    text = words(client, plan)
    assert "lowers the corner 0.438 in" in text
    assert "105 mm/m" in text or "105.1 mm/m" in text


def test_the_number_of_queries_is_the_same_with_many_checks(
    client: Client, taproom: TernTaproom, plan: models.Plan, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    url = address("plan", plan)
    client.get(url)  # the first visit notes the device
    with django_assert_max_num_queries(12) as few:
        client.get(url)
    turns = {leg: Turned(0.5, "1/2") for leg in plan.answer["lifts"][0]["frees"]}
    record_turns(by=author(taproom.people.bob, NOON + HOUR), plan=plan, lift=1, turns_by_leg=turns)
    for hours in range(2, 12):
        survey_of(
            taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, plan=plan, at=NOON + hours * HOUR
        )
    with django_assert_max_num_queries(12) as many:
        client.get(url)
    assert len(few) == len(many)


def test_a_lift_recorded_meanwhile_leaves_no_fields_for_its_feet(client: Client, plan: models.Plan) -> None:
    """2026-11-25: an old tab that sent lift 1 again showed lift 1's feet to fill in on the card of lift 2."""
    turned(client, plan)
    first, second = ([leg.lower() for leg in lift["frees"]] for lift in plan.answer["lifts"])
    typed = {"lift": "1"}
    for leg in first:
        typed |= {f"turns_{leg}": "9", f"way_{leg}": "out"}
    old_tab = client.post(address("plan_turned", plan), typed)
    page = old_tab.content.decode()
    assert old_tab.status_code == 422
    assert "Lift 1 is recorded already" in page
    assert all(f'name="turns_{leg}"' in page for leg in second)
    assert not any(f'name="turns_{leg}"' in page for leg in first)


def test_once_a_lift_is_recorded_the_first_column_is_no_longer_now(client: Client, plan: models.Plan) -> None:
    assert "Quantitynowafter" in words(client, plan)
    assert "Planned:" not in words(client, plan)
    turned(client, plan)
    assert "Quantitybeforeafter" in words(client, plan)
    assert "Planned: 2" in words(client, plan)


def test_a_nearest_result_that_rocks_is_warned_of(client: Client, taproom: TernTaproom) -> None:
    """The front alone takes the roll only by standing on three feet: worse to play on than now."""
    bob = taproom.people.bob
    survey_of(taproom.machine, by=bob, instrument=taproom.instrument, readings=[along(6.5), across(0.9, "right")])
    work = {"front_reachable": True, "rear_reachable": False, "on_dollies": False, "steps_per_turn": 4}
    plan = make_plan(by=author(bob), machine=taproom.machine, source="survey", even_if_in_spec=False, **work)
    assert plan.outcome == "nothing_fits"
    last = plan.answer["states"][-1]
    assert last["gap_mm"] > 0.5
    text = words(client, plan)
    assert "The machine stays out of spec." in text
    assert f"The machine would rock then: {last['gap_mm']:.1f} mm under {last['foot']}." in text
    before, folded = (
        client.get(address("plan", plan)).content.decode().split('<details class="section" id="would-take">')
    )
    assert "<article" not in before
    assert "What it would take" in folded
    assert 'type="checkbox"' not in folded.split("</article>")[0]


def test_a_plan_of_a_machine_that_moved_offers_no_turns(
    client: Client, taproom: TernTaproom, plan: models.Plan
) -> None:
    assert "Turned as shown" in words(client, plan)
    client.post(reverse("machine_move", args=[taproom.machine.pk]), {"bay": "off", "version": taproom.machine.version})
    taproom.machine.refresh_from_db()
    assert taproom.machine.bay_id is None
    text = words(client, plan)
    assert "The machine was moved after this plan was made. Do not turn by it." in text
    assert "Turned as shown" not in text
    assert "Set this plan aside" in text
