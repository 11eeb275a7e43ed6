"""A light foot told by four scales: typed on the survey page, kept as typed, judged, and planned from."""

import html
import re
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from collection import models
from tests.surveying import sent
from tests.worlds import TernTaproom

Sign = Callable[[models.Membership], Client]
ROWS = (("along", "6.5", "rear"), ("across", "0", "level"))
FEET = ("fl", "fr", "rl", "rr")


def weights(*shown: str, unit: str = "kg") -> dict[str, str]:
    """Four scales as the page sends them, in leg order."""
    return {f"weight_{foot}": text for foot, text in zip(FEET, shown, strict=True)} | {"weight_unit": unit}


@pytest.fixture
def bob(as_member: Sign, taproom: TernTaproom) -> Client:
    return as_member(taproom.people.bob)


def post(bob: Client, taproom: TernTaproom, **more: str) -> object:
    page = reverse("survey_new", args=[taproom.machine.pk])
    return bob.post(page, sent(taproom.instrument.pk, *ROWS, **{"stance": "weighed", **more}))


def test_a_foot_that_bears_too_little_is_named_with_how_short_it_is(bob: Client, taproom: TernTaproom) -> None:
    """FL - FR - RL + RR = -20 kg. With 0.4 mm under a quarter of 120 kg that is a twist of -20/4 x 0.4/30 mm."""
    answer = post(bob, taproom, **weights("19", "29.0", "41", "31"))
    survey = models.Survey.objects.get()
    assert answer.status_code == 302
    assert (survey.stance, survey.light_foot) == ("weighed", "FL")
    assert survey.weights == ["19 kg", "29.0 kg", "41 kg", "31 kg"]
    assert survey.twist_mm == pytest.approx(-20 / 4 * 0.4 / 30, abs=1e-9)
    assert survey.gap_mm == pytest.approx(4 * 20 / 4 * 0.4 / 30, abs=1e-9)
    assert survey.pitch_deg == pytest.approx(survey.pitch_read_deg)  # all four bear: what was read is the plane
    page = bob.get(answer.url).content.decode()
    assert "Weighed: FL 19 kg, FR 29.0 kg, RL 41 kg, RR 31 kg. FL is light by 0.27 mm" in page


def test_pounds_say_the_same(bob: Client, taproom: TernTaproom) -> None:
    """1 lb = 0.45359237 kg exactly (international yard and pound agreement, 1959)."""
    pounds = [f"{kg / 0.45359237:.6f}" for kg in (19, 29, 41, 31)]
    post(bob, taproom, **weights(*pounds, unit="lb"))
    assert models.Survey.objects.get().gap_mm == pytest.approx(0.26667, abs=1e-5)


def test_diagonals_that_carry_alike_are_no_gap(bob: Client, taproom: TernTaproom) -> None:
    post(bob, taproom, **weights("24", "24", "36", "36"))
    survey = models.Survey.objects.get()
    assert (survey.light_foot, survey.gap_mm, survey.twist_mm) == ("", 0, 0)
    assert "The diagonals carry alike" in survey.stance_words


def test_a_foot_that_carries_nothing_hangs_by_an_unknown_gap(bob: Client, taproom: TernTaproom) -> None:
    post(bob, taproom, **weights("0", "35", "45", "30"))
    survey = models.Survey.objects.get()
    assert (survey.light_foot, survey.stood_on) == ("FL", "FL")
    assert survey.inputs["stance"]["u_gap_mm"] >= 1
    assert "FL carries nothing: measure the gap under it" in survey.stance_words


@pytest.mark.parametrize("missing", FEET)
def test_a_missing_weight_is_asked_for_and_nothing_is_lost(bob: Client, taproom: TernTaproom, missing: str) -> None:
    shown = weights("19", "29", "41", "31") | {f"weight_{missing}": ""}
    answer = post(bob, taproom, **shown)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert f"Write what the scale under {missing.upper()} shows" in page
    assert all(f'value="{text}"' in page for text in shown.values() if text not in ("", "kg"))
    assert not models.Survey.objects.exists()


def test_it_refuses_weights_under_which_the_machine_would_tip(bob: Client, taproom: TernTaproom) -> None:
    answer = post(bob, taproom, **weights("0", "0", "60", "60"))
    assert answer.status_code == 422
    assert "Look at the scales again" in answer.content.decode()
    assert not models.Survey.objects.exists()


def test_weights_beside_another_stance_do_not_count(bob: Client, taproom: TernTaproom) -> None:
    post(bob, taproom, **weights("19", "29", "41", ""), stance="all_bearing")
    survey = models.Survey.objects.get()
    assert (survey.weights, survey.light_foot) == ([], "")


def test_a_leg_plan_brings_the_light_foot_down(bob: Client, taproom: TernTaproom) -> None:
    """-56 kg of imbalance are 0.75 mm under FL, more than the spec allows: FL goes out, or its diagonal comes in."""
    post(bob, taproom, **weights("10", "38", "50", "22"))
    bob.post(reverse("plan_new", args=[taproom.machine.pk]), {"source": "survey", "front_reachable": "on",
             "rear_reachable": "on", "steps_per_turn": "4"})  # fmt: skip
    plan = models.Plan.objects.get()
    assert plan.answer["states"][0]["foot"] == "FL"
    steps = {leg["name"]: leg["steps"] for leg in plan.answer["legs"]}
    assert steps["FL"] + steps["RR"] > steps["FR"] + steps["RL"]


def test_a_correction_starts_from_what_the_scales_showed(bob: Client, taproom: TernTaproom) -> None:
    post(bob, taproom, **weights("19", "29", "41", "31", unit="lb"))
    page = bob.get(reverse("survey_correct", args=[models.Survey.objects.get().pk])).content.decode()
    assert all(f'value="{text}"' in page for text in ("19", "29", "41", "31"))
    assert 'name="weight_unit" value="lb"' in page


def test_the_live_answer_follows_the_scales(bob: Client, taproom: TernTaproom) -> None:
    page = reverse("survey_answer", args=[taproom.machine.pk])
    told = bob.post(page, sent(taproom.instrument.pk, *ROWS, stance="weighed", **weights("10", "38", "50", "22")))
    assert re.search(r"0\.7\s+mm\s+under\s+FL", html.unescape(told.content.decode()))
    half = bob.post(page, sent(taproom.instrument.pk, *ROWS, stance="weighed", **weights("10", "38", "50", "")))
    assert "Write what the scale under RR shows" in half.content.decode()
