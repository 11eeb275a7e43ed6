"""A machine's record as the engine of drift takes it: days, turns as steps, levels that change, and what comes back."""

import datetime
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from collection import models, presets
from collection.arrays import forecasts
from collection.arrays.forecasts import Forecast, Turned, Watched, forecast_of
from tests import factories as make
from tests.factories import NOON
from tests.surveying import across, along, survey_of
from tests.worlds import TernTaproom

DAY = datetime.timedelta(days=1)
MONTH = 30 * DAY


def measures(taproom: TernTaproom, **other: float) -> dict[str, float]:
    """Lead, tracks and base, as a leg plan keeps them."""
    names = ("lead_mm", "track_front_mm", "track_rear_mm", "base_mm")
    return {name: getattr(taproom.machine, name) for name in names} | other


def side(roll: float) -> str:
    return "right" if roll > 0 else "left" if roll else "level"


@pytest.fixture
def fine(taproom: TernTaproom) -> TernTaproom:
    """With a level that is sure enough: two hundredths of a degree."""
    care = {"resolution_deg": 0.01, "accuracy_deg": 0.02, "alignment_deg": 0.05, "repeat_deg": 0.01}
    models.Instrument.objects.filter(pk=taproom.instrument.pk).update(**care)
    taproom.instrument.refresh_from_db()
    return taproom


def surveyed(
    taproom: TernTaproom, *numbers: tuple[float, float], every: datetime.timedelta = MONTH
) -> list[models.Survey]:
    """Pitch and roll, month after month, from noon."""
    return [
        survey_of(
            taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, at=NOON + place * every,
            readings=[along(pitch, spot="middle"), across(abs(roll), side(roll), spot="lower_centre")],
        )
        for place, (pitch, roll) in enumerate(numbers)
    ]  # fmt: skip


def watched(taproom: TernTaproom, surveys: list[models.Survey], **more: Any) -> Watched:
    spec = models.Spec.objects.get(machine=taproom.machine)
    given: dict[str, Any] = {"turned": [], "surface": "concrete", "placed_at": NOON, "u_common_deg": (0.02, 0.02)}
    return Watched(machine=taproom.machine, surveys=surveys, spec=spec, **given | more)


def forecast(taproom: TernTaproom, surveys: list[models.Survey], later: float = 0, **more: Any) -> Forecast:
    now = surveys[-1].measured_at + later * DAY
    return forecast_of(watched=watched(taproom, surveys, **more), now=now, most=presets.DUE_CHANCE)


def test_the_due_day_follows_where_the_machine_stands(fine: TernTaproom) -> None:
    """In the middle it may wait; near a limit it is due sooner; beyond it at once, and what is out is named."""
    level, near, out = (forecast(fine, surveyed(fine, number)) for number in ((6.5, 0), (6.62, 0), (6.5, 0.3)))
    assert level.due_at > NOON + 7 * DAY
    assert NOON <= near.due_at < level.due_at
    assert near.quantity == "pitch"
    assert (out.due_at, out.quantity) == (NOON, "roll")
    assert out.chance_now > 0.9
    assert (level.limit, out.limit) == (presets.DUE_CHANCE, presets.DUE_CHANCE)
    for found in (level, near, out):
        assert found.already + found.drifting + found.jumping == pytest.approx(found.chance)
        assert found.chance > presets.DUE_CHANCE


def test_the_chance_grows_until_somebody_comes(fine: TernTaproom) -> None:
    surveys = surveyed(fine, (6.5, 0))
    chances = [forecast(fine, surveys, later=days).chance_now for days in (0, 30, 200, 2000)]
    assert chances == sorted(chances)
    assert chances[0] < 0.05 < 0.1 < chances[2]


def test_a_coarse_level_asks_for_no_visit_by_itself(taproom: TernTaproom) -> None:
    """In the middle, but the level leaves a fifth of a chance: due once drift and jumps add half a limit."""
    found = forecast(taproom, surveyed(taproom, (6.5, 0)))
    assert found.already > 0.15
    assert found.limit == pytest.approx(found.already + presets.DUE_CHANCE / 2)
    assert found.due_at > NOON + 7 * DAY


def test_timber_is_due_before_concrete(taproom: TernTaproom) -> None:
    surveys = surveyed(taproom, (6.5, 0), (6.5, 0))
    dues = [forecast(taproom, surveys, surface=surface).due_at for surface in ("timber", "concrete")]
    assert dues[0] < dues[1]
    assert set(presets.SURFACES) == set(forecasts.GROUNDS), "each floor that can be chosen has its numbers"


def test_more_surveys_make_it_surer(taproom: TernTaproom) -> None:
    one = forecast(taproom, surveyed(taproom, (6.5, 0)))
    many = forecast(taproom, surveyed(taproom, *[(6.5, 0)] * 6))
    wide = [found.lines[-1].high - found.lines[-1].low for found in (one, many)]
    assert wide[1] < wide[0]


def test_turns_between_two_surveys_are_a_known_step(taproom: TernTaproom) -> None:
    """Both rear levelers out by 2 turns of 1.5875 mm over 1300 mm: 0.140 degree of pitch less at 6.5 degrees, in words
    of DEVELOPERS.md, Geometry: one turn changes pitch by 0.0691. It reads so, and nothing jumped."""
    surveys = surveyed(taproom, (6.36, 0), (6.5, 0))
    turned = [Turned(NOON + DAY, place, 2.0, measures(taproom)) for place in (2, 3)]
    series = forecasts._series(watched(taproom, surveys, turned=turned))
    base = taproom.machine.base_mm
    assert series.steps[0, 1] == pytest.approx(2 * 0.0691 * 1300 / base, abs=2e-3)
    assert series.steps[1:, 1] == pytest.approx(0, abs=1e-9)
    assert series.steps[:, 0] == pytest.approx(0)
    assert (series.step_variances[:, 1] > 0).all()
    told, silent = (forecast(taproom, surveys, turned=each).lines for each in (turned, []))
    assert told[-1].middle == pytest.approx(6.5, abs=0.02)
    assert silent[-1].middle < told[-1].middle, "without the turns the first survey pulls"


def test_turns_count_by_the_lead_of_their_day(taproom: TernTaproom) -> None:
    """Other levelers since, with twice the lead: what was turned before stays what it was."""
    surveys = surveyed(taproom, (6.36, 0), (6.5, 0))
    turned = [Turned(NOON + DAY, place, 2.0, measures(taproom)) for place in (2, 3)]
    before = forecasts._series(watched(taproom, surveys, turned=turned)).steps
    taproom.machine.lead_mm *= 2
    assert np.array_equal(forecasts._series(watched(taproom, surveys, turned=turned)).steps, before)


def test_turns_before_the_first_survey_and_after_the_last_change_nothing(taproom: TernTaproom) -> None:
    surveys = surveyed(taproom, (6.5, 0), (6.5, 0))
    turned = [Turned(at, 0, 3.0, measures(taproom)) for at in (NOON - DAY, NOON + 2 * MONTH)]
    assert not forecasts._series(watched(taproom, surveys, turned=turned)).steps.any()


def test_another_level_brings_its_own_zero(taproom: TernTaproom) -> None:
    first, second = surveyed(taproom, (6.5, 0), (6.5, 0))
    same = forecasts._series(watched(taproom, [first, second]))
    second.instrument = make.InstrumentFactory(member=taproom.people.alice)
    other = forecasts._series(watched(taproom, [first, second]))
    assert other.step_variances[:, 1] - same.step_variances[:, 1] == pytest.approx([2 * 0.02**2] * 2 + [0])


def test_what_all_surveys_share_is_no_noise_of_each(taproom: TernTaproom) -> None:
    surveys = surveyed(taproom, (6.5, 0))
    series = forecasts._series(watched(taproom, surveys, u_common_deg=(0.02, 0.0)))
    assert series.variances[0, 0] == pytest.approx(surveys[0].u_pitch_deg ** 2 - 0.02**2)
    assert series.variances[1, 0] == pytest.approx(surveys[0].u_roll_deg ** 2)
    assert (forecasts._series(watched(taproom, surveys, u_common_deg=(9.0, 9.0))).variances > 0).all()


def test_a_shove_and_a_slip_of_the_pen_are_told_apart(taproom: TernTaproom) -> None:
    shoved = surveyed(taproom, (6.5, 0), (6.5, 0), (7.1, 0.4), (7.1, 0.4))
    found = forecast(taproom, shoved)
    assert [(odd.survey, odd.way) for odd in found.odd] == [(shoved[2], "jump")]
    slipped = surveyed(taproom, (6.5, 0), (6.5, 0), (7.5, -0.9), (6.5, 0), (6.5, 0))
    found = forecast(taproom, slipped)
    assert [(odd.survey, odd.way) for odd in found.odd] == [(slipped[2], "bad")]
    first = forecast(taproom, slipped[:3]).odd
    assert [(odd.survey, odd.is_newest) for odd in first] == [(slipped[2], True)], "nobody can tell yet which"
    assert first[0].chance > 0.9
    assert found.lines[-1].middle == pytest.approx(6.5, abs=0.05)


def test_its_lines_go_from_the_first_survey_past_today(fine: TernTaproom) -> None:
    found = forecast(fine, surveyed(fine, (6.5, 0), (6.4, 0), (6.6, 0)), later=20)
    days = [line.at for line in found.lines]
    assert days == sorted(days)
    assert days[0] == NOON
    assert days[-1] > NOON + 2 * MONTH + 20 * DAY
    assert all(line.low < line.middle < line.high for line in found.lines)
    ahead = [line.high - line.low for line in found.lines if line.at >= NOON + 2 * MONTH]
    assert len(ahead) > 10
    assert ahead[1:] == sorted(ahead[1:]), "the forecast only widens"


def test_surveys_of_one_minute_are_reckoned_with(taproom: TernTaproom) -> None:
    surveys = surveyed(taproom, (6.5, 0), (6.5, 0), every=datetime.timedelta(0))
    found = forecast(taproom, surveys)
    assert np.isfinite([found.chance, found.chance_now]).all()


def test_a_machine_that_nobody_put_down_counts_from_its_first_survey(taproom: TernTaproom) -> None:
    surveys = surveyed(taproom, (6.5, 0))
    assert forecast(taproom, surveys, placed_at=None).due_at == forecast(taproom, surveys, placed_at=NOON).due_at
    settled = forecast(taproom, surveys, placed_at=NOON - 400 * DAY).due_at
    fresh = forecast(taproom, surveys, placed_at=NOON).due_at
    assert fresh < settled, "new feet still sink"


FAR = [{"pitch": -3.0}, {"pitch": 2.5}, {"pitch": -19.0}, {"pitch": 19.0}, {"roll": 19.0}, {"gap": 8.0}, {"gap": 20.0}]


@pytest.mark.parametrize("far", FAR, ids=str)
def test_a_survey_that_is_far_off_is_taken_as_it_comes(fine: TernTaproom, far: dict[str, float]) -> None:
    """Dated 2026-11-29: a way that could not be at all lost its place, and dividing by its spread of nothing failed."""
    surveys = surveyed(fine, (6.5, 0), (6.5, 0), (6.5, 0))
    gap = far.get("gap", 0.0)
    feet = {"stance": "FL", "gap": gap, "gap_text": f"{gap:g}", "gap_unit": "mm"} if gap else {}
    roll = far.get("roll", 0.0)
    pitch = far.get("pitch", 6.5)
    odd = survey_of(
        fine.machine, by=fine.people.bob, instrument=fine.instrument, at=NOON + 3 * MONTH, **feet,
        readings=[along(abs(pitch), "rear" if pitch > 0 else "front"), across(abs(roll), side(roll))],
    )  # fmt: skip
    found = forecast(fine, [*surveys, odd])
    assert found.due_at == odd.measured_at
    assert 0.5 < found.chance_now <= 1
    assert np.isfinite([(line.low, line.middle, line.high) for line in found.lines]).all()
    again = surveyed(fine, (6.5, 0))[0]
    again.measured_at = NOON + 4 * MONTH
    assert forecast(fine, [*surveys, odd, again]).chance_now < 0.5


def test_what_hardly_moves_is_due_two_years_after_its_survey(fine: TernTaproom) -> None:
    spec = models.Spec.objects.get(machine=fine.machine)
    spec.pitch_tolerance_deg, spec.roll_tolerance_deg, spec.gap_tolerance_mm = 3.0, 3.0, 10.0
    surveys = surveyed(fine, (6.5, 0))
    found = forecast_of(watched=replace(watched(fine, surveys), spec=spec), now=NOON, most=0.1)
    assert found.by_age
    assert found.due_at == NOON + 730 * DAY
    assert found.chance < 0.1


def test_what_a_survey_saw_is_told_from_what_it_left_open(taproom: TernTaproom) -> None:
    """Pitch 6.65 and roll 0.10 lie inside 6.5 +- 0.2 and +- 0.15, though it is as likely out as in."""
    doubtful = forecast(taproom, surveyed(taproom, (6.65, 0.10)))
    assert doubtful.already > 0.4
    assert not doubtful.seen_out
    assert forecast(taproom, surveyed(taproom, (7.2, 0))).seen_out
