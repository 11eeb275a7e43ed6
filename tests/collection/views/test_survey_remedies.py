"""What the page of a survey says would decide it or prove it, and how its uncertainty came about."""

import html
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from collection import models
from collection.actions.machines import set_spec
from collection.arrays.surveys import recomputed
from collection.arrays.surveys_remedies import proof_of, remedy_of
from collection.queries.surveys import readings_in
from tests import factories as make
from tests.surveying import across, along, author, sent, survey_of
from tests.worlds import TernTaproom

Sign = Callable[[models.Membership], Client]


@pytest.fixture
def bob(as_member: Sign, taproom: TernTaproom) -> Client:
    return as_member(taproom.people.bob)


def surveyed(taproom: TernTaproom, *readings: dict[str, Any], **seen: Any) -> models.Survey:
    return survey_of(
        taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, readings=list(readings), **seen
    )


def words(answer: Any) -> str:
    text = html.unescape(answer.content.decode())
    return " ".join(text.replace("\u00a0", " ").split())


def shown(bob: Client, survey: models.Survey) -> str:
    return words(bob.get(reverse("survey", args=[survey.pk])))


def test_borderline_names_what_decides_with_its_chance(bob: Client, taproom: TernTaproom) -> None:
    models.Instrument.objects.update(accuracy_deg=0.02, resolution_deg=0.01)
    taproom.instrument.refresh_from_db()
    survey = surveyed(taproom, along(6.5), across(0.15))
    found = recomputed(survey, readings_in(survey=survey))
    remedy = remedy_of(found=found, inputs=survey.inputs, spec=survey.spec)
    assert remedy is not None
    assert remedy.does == "square"
    page = shown(bob, survey)
    assert "Read afresh against a square edge, end for end: across" in page
    assert f"in {remedy.chance * 100:.0f} % of cases. Pitch is then known to ± {remedy.u_pitch_deg:.2f}°" in page
    assert remedy.chance >= 0.91
    assert "To prove it" not in page


def test_the_live_answer_says_the_same(bob: Client, taproom: TernTaproom) -> None:
    survey = surveyed(taproom, along(6.5, spot="middle"), across(0.15, spot="middle"))
    data = sent(taproom.instrument.pk, ("along", "6.5", "rear"), ("across", "0.15", "right"))
    live = words(bob.post(reverse("survey_answer", args=[taproom.machine.pk]), data))
    taproom.machine.status.refresh_from_db()
    step = taproom.machine.status.next_step
    assert step.startswith("Read with a level stated ±")
    assert step in live
    assert step in shown(bob, survey)


def test_in_spec_but_not_proven_says_how_to_prove_it(bob: Client, taproom: TernTaproom) -> None:
    page = shown(bob, surveyed(taproom, along(6.5), across(0, "level")))
    assert "To prove it: bring it to the middle by a level stated ±0.0" in page
    assert "cannot prove" not in page


def test_before_turning_it_says_whether_it_can_be_proven_afterwards(bob: Client, taproom: TernTaproom) -> None:
    survey = surveyed(taproom, along(6.0), across(0.4))
    found = recomputed(survey, readings_in(survey=survey))
    proof = proof_of(found=found, inputs=survey.inputs, spec=survey.spec)
    assert proof is not None
    assert (proof.does, proof.along, proof.across) == ("again", 2, 4)
    assert "After turning to the middle, two along and four across, with the gap measured, can prove it" in shown(
        bob, survey
    )


def test_a_level_too_poor_is_told_and_which_would_do(bob: Client, taproom: TernTaproom) -> None:
    """A stated limit of 0.5 degree is wider than the tolerance: no number of readings proves 0.15 degree with it."""
    models.Instrument.objects.update(accuracy_deg=0.5)
    taproom.instrument.refresh_from_db()
    page = shown(bob, surveyed(taproom, along(3.0), across(3)))
    assert "This level cannot prove ±0.15° of roll by the certificate rule: a level stated ±0." in page


def test_each_slope_says_what_makes_it_unsure_most(bob: Client, taproom: TernTaproom) -> None:
    page = shown(bob, surveyed(taproom, along(6.5), across(0, "level")))
    assert "The largest part, 36 %: the level may lie askew. Butt it against a square edge" in page
    assert ">Board</th>" in page
    assert "machines set with it are alike, even where the absolute value is not proven" in page


def test_half_widths_on_the_page_are_those_of_the_shape(bob: Client, taproom: TernTaproom) -> None:
    """A stated limit of 0.5 degree is most of it, and an even error never reaches 1.96 u."""
    models.Instrument.objects.update(accuracy_deg=0.5)
    taproom.instrument.refresh_from_db()
    survey = surveyed(taproom, along(6.5), across(0, "level"))
    found = recomputed(survey, readings_in(survey=survey))
    assert f"roll ± {found.half_roll_deg:.2f}°" in shown(bob, survey)
    assert f"{found.half_roll_deg:.2f}" != f"{1.96 * found.u_roll_deg:.2f}"


def test_the_status_by_a_newer_spec_agrees_with_the_survey_made_again(taproom: TernTaproom) -> None:
    survey = surveyed(taproom, along(6.5), across(0.1))
    set_spec(
        by=author(taproom.people.alice, timezone.now()), machine=taproom.machine, version=1, why="a narrower roll",
        pitch_deg=6.5, pitch_tolerance_deg=0.2, roll_tolerance_deg=0.12, gap_tolerance_mm=0.5,
    )  # fmt: skip
    status = models.MachineStatus.objects.get(machine=taproom.machine)
    again = recomputed(survey, readings_in(survey=survey), status.spec)
    assert status.spec_id != survey.spec_id
    assert (status.chance, status.verdict) == (again.machine.chance, again.machine.verdict)


def test_looks_at_a_bubble_show_their_limits(bob: Client, taproom: TernTaproom) -> None:
    bubble = make.InstrumentFactory(
        member=taproom.people.alice, name="the bubble", kind="bubble", sensitivity_deg=0.1, accuracy_deg=0.05
    )
    survey = surveyed(
        taproom, along(6.5), {**across(0, "level"), "text": "", "value": None, "unit": "look"}, instrument_across=bubble
    )
    page = shown(bob, survey)
    assert "between −0.10° and 0.10°" in page
    assert "A bubble tells a side, no number" in page
