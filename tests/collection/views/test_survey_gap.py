"""A gap counted in turns: the finer it was counted, the surer it is, and the survey says how fine that was."""

import math
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from collection import models
from collection.actions.record import ActionRefused
from collection.queries.surveys import answer_of
from leveling.support import gap_from_turns
from leveling.support_methods import u_counted_turns
from tests.surveying import sent, survey_of
from tests.worlds import TernTaproom

Sign = Callable[[models.Membership], Client]
ROWS = (("along", "6.5", "rear"), ("across", "0", "level"))
TURNS = {"stance": "FL", "gap": "1/2", "gap_unit": "turns"}


@pytest.fixture
def bob(as_member: Sign, taproom: TernTaproom) -> Client:
    return as_member(taproom.people.bob)


def post(bob: Client, taproom: TernTaproom, **more: str) -> object:
    page = reverse("survey_new", args=[taproom.machine.pk])
    return bob.post(page, sent(taproom.instrument.pk, *ROWS, **more))


@pytest.mark.parametrize(("step", "words"), [("0.5", "½"), ("0.25", "¼"), ("0.125", "⅛"), ("0.1", "1/10")])
def test_the_gap_is_as_sure_as_it_was_counted(bob: Client, taproom: TernTaproom, step: str, words: str) -> None:
    """Rectangular within the step (GUM, 4.3.7) with 0.05 turn of feeling the moment, times the lead."""
    answer = post(bob, taproom, **TURNS, gap_step_turns=step)
    survey = models.Survey.objects.get()
    kept, lead_mm = survey.inputs["stance"], taproom.machine.lead_mm
    engine = gap_from_turns(0.5, lead_mm=lead_mm, u_turns=u_counted_turns(float(step)))
    assert (kept["gap_mm"], kept["u_gap_mm"]) == (float(engine.gap_mm), float(engine.u_gap_mm))
    assert kept["u_gap_mm"] == pytest.approx(math.hypot(float(step) / math.sqrt(12), 0.05) * lead_mm, rel=1e-12)
    assert survey.gap_step_turns == float(step)
    assert f"FL light, turns until it bears: 1/2, to the nearest {words}" in bob.get(answer.url).content.decode()


def test_counting_finer_makes_roll_surer(bob: Client, taproom: TernTaproom) -> None:
    found = []
    for step in ("0.5", "0.125"):
        post(bob, taproom, **TURNS, gap_step_turns=step)
        found.append(models.Survey.objects.order_by("-created_at", "-id").exclude(pk__in=found).first().pk)
    coarse, fine = (models.Survey.objects.get(pk=key) for key in found)
    assert fine.u_twist_mm < 0.6 * coarse.u_twist_mm
    assert fine.u_roll_deg < coarse.u_roll_deg


def test_a_feeler_counts_with_the_feel_of_a_hand(bob: Client, taproom: TernTaproom) -> None:
    """0.05 mm of the feeler and 0.01 mm of feeling it drag: common practice, no source."""
    post(bob, taproom, stance="FR", gap="0.6")
    assert models.Survey.objects.get().inputs["stance"]["u_gap_mm"] == pytest.approx(math.hypot(0.05, 0.01), rel=1e-12)


def test_a_wrong_step_is_refused_and_nothing_is_lost(bob: Client, taproom: TernTaproom) -> None:
    answer = post(bob, taproom, **TURNS, gap_step_turns="0.3")
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Choose one of the answers shown." in page
    assert 'name="gap" value="1/2"' in page
    assert not models.Survey.objects.exists()


def test_a_gap_that_was_refused_keeps_the_step(bob: Client, taproom: TernTaproom) -> None:
    page = post(bob, taproom, **TURNS | {"gap": "x"}, gap_step_turns="0.125").content.decode()
    chosen = page.split('name="gap_step_turns" value="0.125"')[1].split(">")[0]
    assert "checked" in chosen


@pytest.mark.parametrize("step", [0.0, 0.005, 1.5, float("nan")])
def test_the_action_refuses_steps_that_nobody_counts(taproom: TernTaproom, step: float) -> None:
    with pytest.raises(ActionRefused, match="part of a turn"):
        survey_of(
            taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, stance="FL", gap=0.5,
            gap_text="1/2", gap_unit="turns", gap_step_turns=step,
        )  # fmt: skip
    assert not models.Survey.objects.exists()


def test_the_live_answer_follows_the_step(bob: Client, taproom: TernTaproom) -> None:
    page, told = reverse("survey_answer", args=[taproom.machine.pk]), []
    for step in ("0.5", "0.125"):
        sending = sent(taproom.instrument.pk, *ROWS, **TURNS, gap_step_turns=step)
        told.append(bob.post(page, sending).content.decode())
    assert "gap ± 0.5\u00a0mm" in told[0]  # 1.96 x hypot(0.5/sqrt 12, 0.05) x 1.5875 mm = 0.47
    assert "gap ± 0.2\u00a0mm" in told[1]  # 1.96 x hypot(0.125/sqrt 12, 0.05) x 1.5875 mm = 0.19


def test_an_older_survey_keeps_what_it_was_made_from(bob: Client, taproom: TernTaproom) -> None:
    """Before anybody was asked, a tenth of a turn was taken: its numbers come from what the survey itself keeps."""
    post(bob, taproom, **TURNS)
    survey = models.Survey.objects.get()
    survey.inputs["stance"]["u_gap_mm"] = 0.15875
    assert answer_of(survey=survey).assessment.u_gap_mm == 0.15875
