"""Correcting a survey: a new one with the reason; the old one stays."""

import datetime

import pytest
from django.utils import timezone

from collection import models
from collection.actions.record import ActionRefused
from collection.actions.surveys import correct_survey
from collection.models import Survey
from collection.queries.surveys import correction_of, newest_survey
from tests.factories import NOON
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom

WRONG = {"readings": [along(6.5), across(0.6, "right")], "stance": "all_bearing"}
RIGHT = {"readings": [along(6.5), across(0.1, "right")], "stance": "all_bearing"}
LATER = NOON + datetime.timedelta(hours=2)


@pytest.fixture
def wrong(taproom: TernTaproom) -> Survey:
    return survey_of(taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, **WRONG)


def corrected(taproom: TernTaproom, survey: Survey, why: str = "Typed 0.6 for 0.1", **seen: object) -> Survey:
    by = author(taproom.people.alice, LATER, why=why)
    return correct_survey(by=by, survey=survey, instrument=taproom.instrument, **(RIGHT | seen))


def test_the_correction_counts_and_the_old_one_stays(taproom: TernTaproom, wrong: Survey) -> None:
    made = corrected(taproom, wrong)
    old = models.Survey.objects.get(pk=wrong.pk)
    assert (old.verdict, made.verdict) == ("out", "in")
    assert (made.supersedes, made.why, made.measured_at) == (wrong, "Typed 0.6 for 0.1", wrong.measured_at)
    assert newest_survey(machine=taproom.machine) == made
    assert correction_of(survey=old) == made
    taproom.machine.status.refresh_from_db()
    assert (taproom.machine.status.survey, taproom.machine.status.verdict) == (made, "in")


def test_a_survey_is_corrected_once_and_then_its_correction(taproom: TernTaproom, wrong: Survey) -> None:
    first = corrected(taproom, wrong)
    with pytest.raises(ActionRefused, match="corrected before"):
        corrected(taproom, wrong)
    second = corrected(taproom, first, why="The other end was high", readings=[along(6.5), across(0.1, "left")])
    assert correction_of(survey=wrong) == correction_of(survey=first) == second
    assert correction_of(survey=second) is None


def test_it_needs_a_reason(taproom: TernTaproom, wrong: Survey) -> None:
    with pytest.raises(ActionRefused, match="what was wrong"):
        corrected(taproom, wrong, why="")
    assert models.Survey.objects.count() == 1


def test_sent_twice_it_corrects_once(taproom: TernTaproom, wrong: Survey) -> None:
    by = author(taproom.people.bob, LATER, why="Typed 0.6 for 0.1")
    first, second = (correct_survey(by=by, survey=wrong, instrument=taproom.instrument, **RIGHT) for _ in range(2))
    assert first == second
    assert models.Survey.objects.count() == 2


def test_an_old_survey_is_judged_by_its_own_spec(taproom: TernTaproom, wrong: Survey) -> None:
    models.Spec.objects.create(
        machine=taproom.machine, pitch_deg=3.5, pitch_tolerance_deg=0.2, roll_tolerance_deg=0.15, gap_tolerance_mm=0.5,
        why="Plays better", **author(taproom.people.alice, timezone.now()).stamp(),
    )  # fmt: skip
    made = corrected(taproom, wrong)
    assert (made.spec_id, made.verdict) == (wrong.spec_id, "in")
    taproom.machine.status.refresh_from_db()
    assert taproom.machine.status.verdict == "out"  # against what it should read now


def test_an_instrument_archived_since_may_stay(taproom: TernTaproom, wrong: Survey) -> None:
    taproom.instrument.archived_at = LATER
    assert corrected(taproom, wrong).instrument == taproom.instrument
