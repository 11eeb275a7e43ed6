"""The playfield: pitch and roll from readings, how sure, which looks odd, which to take next."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2 as chi2_distribution

from leveling.errors import BadInput
from leveling.instruments import Budget, Instrument, misaligned_reading_deg, reading_budget
from leveling.instruments_zeros import reversed_pair
from leveling.playfields import (
    DISAGREE,
    MEASURED,
    NO_ACROSS,
    NO_ALONG,
    NO_READINGS,
    OUTCOMES,
    UNKNOWN_U_DEG,
    fit_playfield,
    playfield_from_readings,
)
from leveling.playfields_next import NEXT_READINGS, READ_ACROSS, READ_ALONG, READ_NEITHER, next_reading

ANGLE_DEG = 1e-12  # tolerance
ALONG_ACROSS = [True, False]
PLAIN = Budget(repeat_deg=0.05)


def fit(tilts, along, budget=PLAIN, **options):
    return fit_playfield(tilt_deg=tilts, along=along, budget=budget, **options)


# Estimates


def test_one_reading_each_way_is_enough() -> None:
    playfield = fit([6.4, -0.3], ALONG_ACROSS)
    assert playfield.outcome == MEASURED
    assert playfield.pitch.angle_deg == pytest.approx(6.4, abs=ANGLE_DEG)
    assert playfield.roll.angle_deg == pytest.approx(-0.3, abs=ANGLE_DEG)
    assert playfield.pitch.u_deg == playfield.roll.u_deg == pytest.approx(0.05, abs=ANGLE_DEG)


def test_a_sure_reading_weighs_more_by_the_square() -> None:
    """u 0.1 and 0.2: weights 100 and 25, mean 6.0 * 0.8 + 6.5 * 0.2, u = 1/sqrt(125). Worked by hand."""
    playfield = fit([6.0, 6.5], [True, True], Budget(repeat_deg=np.array([0.1, 0.2])))
    assert playfield.pitch.angle_deg == pytest.approx(6.1, abs=ANGLE_DEG)
    assert playfield.pitch.u_deg == pytest.approx(1 / math.sqrt(125), abs=ANGLE_DEG)


def test_repeating_averages_the_fresh_part_only() -> None:
    budget = Budget(resolution_deg=0.03, repeating_deg=0.03, repeat_deg=0.06, accuracy_deg=0.08)
    playfield = fit([6.5] * 9 + [0.0], [True] * 9 + [False], budget)
    assert playfield.pitch.u_fresh_deg == pytest.approx(0.02, abs=ANGLE_DEG)
    assert playfield.pitch.u_rounding_deg == pytest.approx(0.03, abs=ANGLE_DEG)
    assert playfield.pitch.u_common_deg == pytest.approx(0.08, abs=ANGLE_DEG)
    assert playfield.pitch.u_deg == pytest.approx(math.sqrt(0.02**2 + 0.03**2 + 0.08**2), abs=ANGLE_DEG)


def test_a_reversed_pair_outweighs_single_readings_with_an_unknown_zero() -> None:
    """The accuracy, shared by all, does not spoil the weights; the zero that only singles carry does."""
    budget = Budget(repeat_deg=0.05, accuracy_deg=0.1, zero_deg=np.array([0.2, 0.2, 0.0]))
    playfield = fit([6.7, 6.7, 6.5], [True] * 3, budget)
    share = (1 / 0.05**2) / (1 / 0.05**2 + 2 / (0.05**2 + 0.2**2))
    assert playfield.pitch.angle_deg == pytest.approx(6.7 - 0.2 * share, abs=ANGLE_DEG)


@given(st.lists(st.floats(-20, 20), min_size=2, max_size=6), st.floats(-5, 5))
def test_shifting_all_readings_shifts_the_answer_and_nothing_else(tilts, shift) -> None:
    before, after = fit(tilts, [True] * len(tilts)), fit(np.add(tilts, shift), [True] * len(tilts))
    assert after.pitch.angle_deg == pytest.approx(before.pitch.angle_deg + shift, abs=1e-10)
    assert after.pitch.chi2 == pytest.approx(before.pitch.chi2, rel=1e-6, abs=1e-6)


@given(st.permutations(range(5)))
def test_the_order_of_the_readings_does_not_matter(order) -> None:
    tilts, along = np.array([6.4, 6.5, 0.1, 0.2, 6.6]), np.array([True, True, False, False, True])
    first, again = fit(tilts, along), fit(tilts[order], along[order])
    assert again.pitch.angle_deg == pytest.approx(first.pitch.angle_deg, abs=ANGLE_DEG)
    assert again.roll.u_deg == pytest.approx(first.roll.u_deg, abs=ANGLE_DEG)


def test_mirroring_the_board_turns_the_roll_around() -> None:
    tilts = np.array([6.5, 0.2, 0.4])
    there, mirrored = fit(tilts, [True, False, False]), fit(tilts * [1, -1, -1], [True, False, False])
    assert mirrored.roll.angle_deg == -there.roll.angle_deg
    assert mirrored.pitch.angle_deg == there.pitch.angle_deg


# What is missing


@pytest.mark.parametrize(
    ("along", "used", "outcome"),
    [
        ([True, True], [True, True], NO_ACROSS),
        ([False, False], [True, True], NO_ALONG),
        ([True, False], [True, False], NO_ACROSS),  # the reading across was left out
        ([True, False], [False, False], NO_READINGS),
    ],
)
def test_it_says_what_is_unknown(along, used, outcome) -> None:
    playfield = fit([0.1, 0.1], along, used=used)
    assert playfield.outcome == outcome
    assert playfield.pitch.known == (outcome not in (NO_ALONG, NO_READINGS))
    assert playfield.roll.known == (outcome not in (NO_ACROSS, NO_READINGS))


def test_an_unknown_slope_has_a_finite_and_hopeless_uncertainty() -> None:
    playfield = fit([6.5], [True])
    assert playfield.roll.angle_deg == 0
    assert playfield.roll.u_deg == UNKNOWN_U_DEG == pytest.approx(90 / math.sqrt(3))


def test_a_survey_without_any_reading_yet_gets_an_answer() -> None:
    playfield = fit(np.zeros(0), np.zeros(0, dtype=bool))
    assert playfield.outcome == NO_READINGS
    assert playfield.odd_reading == -1


def test_padding_may_hold_anything() -> None:
    good = fit([6.5, 0.2], ALONG_ACROSS)
    padded = fit([6.5, 0.2, math.nan, 1e9], [*ALONG_ACROSS, True, False], used=[True, True, False, False])
    assert padded.pitch.u_deg == good.pitch.u_deg
    assert padded.roll.angle_deg == good.roll.angle_deg


def test_every_outcome_has_its_words() -> None:
    assert len(OUTCOMES) == len({MEASURED, NO_ALONG, NO_ACROSS, NO_READINGS, DISAGREE}) == 5
    assert "across" in OUTCOMES[NO_ACROSS]
    assert len(NEXT_READINGS) == 3


# Odd readings


def test_a_reading_on_a_raised_insert_is_named_and_kept() -> None:
    tilts = [6.5, 6.45, 7.1, 6.55, 0.1]
    playfield = fit(tilts, [True] * 4 + [False])
    assert playfield.outcome == DISAGREE
    assert playfield.odd_reading == 2
    assert playfield.pitch.angle_deg == pytest.approx(np.mean(tilts[:4]), abs=ANGLE_DEG)
    assert not playfield.pitch.agree
    assert playfield.roll.agree


def test_of_two_that_disagree_nobody_can_say_which_is_odd() -> None:
    playfield = fit([6.0, 7.0, 0.1], [True, True, False])
    assert playfield.outcome == DISAGREE
    assert playfield.odd_reading == -1


def test_readings_that_disagree_widen_the_uncertainty_to_their_own_scatter() -> None:
    """Five readings that scatter far more than stated: u of the mean is s/sqrt 5, as from the readings alone."""
    tilts = np.array([6.0, 6.3, 6.5, 6.8, 7.1])
    playfield = fit(tilts, [True] * 5)
    assert playfield.pitch.u_deg == pytest.approx(tilts.std(ddof=1) / math.sqrt(5), abs=1e-12)


def test_one_display_step_apart_is_not_odd() -> None:
    """A quiet 0.1 display on the brink of two numbers: 6.4 and 6.5 agree, though laying down again costs nothing."""
    level = Instrument(
        resolution_deg=0.1, accuracy_deg=0.1, alignment_deg=0.5, repeat_deg=0.005, zero_deg=0, u_zero_deg=0
    )
    playfield = playfield_from_readings(
        instrument=level,
        tilt_deg=[6.5, 6.4, 6.5, 0.0],
        along=[True, True, True, False],
        reversed_pair=False,
    )
    assert playfield.outcome == MEASURED
    assert playfield.pitch.u_rounding_deg > 0.02


def test_false_alarms_are_as_rare_as_they_should_be() -> None:
    """20,000 boards with honest readings: 1 % disagree by chi2, at most 1 % (Bonferroni) name an odd one."""
    rng = np.random.default_rng(11)
    tilts = 6.5 + 0.05 * rng.normal(size=(20_000, 6))
    playfield = fit(tilts, [True] * 6)
    assert 1 - playfield.pitch.agree.mean() == pytest.approx(0.01, abs=0.003)
    assert 0.005 < (playfield.odd_reading >= 0).mean() < 0.013


def test_chi2_follows_its_distribution() -> None:
    rng = np.random.default_rng(12)
    u = np.array([0.02, 0.05, 0.1, 0.05])
    playfield = fit(6.5 + u * rng.normal(size=(20_000, 4)), [True] * 4, Budget(repeat_deg=u))
    quartiles = chi2_distribution(3).ppf([0.25, 0.5, 0.75])
    assert np.quantile(playfield.pitch.chi2, [0.25, 0.5, 0.75]) == pytest.approx(quartiles, rel=0.03)


# From readings with an instrument


def test_the_stated_uncertainty_is_the_rms_error() -> None:
    """5,000 boards and instruments: accuracy, zero, alignment, noise and a 0.1 display, three pairs each way."""
    rng = np.random.default_rng(21)
    boards = 5_000
    pitch, roll = rng.uniform(3, 7, (boards, 1)), rng.uniform(-0.5, 0.5, (boards, 1))
    along = np.arange(6) < 3
    psi = rng.uniform(-1, 1, (boards, 6))
    line = misaligned_reading_deg(pitch_deg=pitch, roll_deg=roll, psi_deg=psi, along=along)
    off = rng.uniform(-0.1, 0.1, (boards, 1))
    zero = 0.1 * rng.normal(size=(boards, 1))
    noise = 0.02 * rng.normal(size=(2, boards, 6))
    shown = [np.round((sign * (line + off) + zero + noise[i]) / 0.1) * 0.1 for i, sign in enumerate((1, -1))]
    level = Instrument(
        resolution_deg=0.1, accuracy_deg=0.1, alignment_deg=1, repeat_deg=0.02, zero_deg=0, u_zero_deg=0.1
    )
    playfield = playfield_from_readings(
        instrument=level,
        tilt_deg=reversed_pair(r0_deg=shown[0], r180_deg=shown[1]).tilt_deg,
        along=along,
        reversed_pair=True,
    )
    for slope, truth in ((playfield.pitch, pitch), (playfield.roll, roll)):
        rms_error = np.sqrt(np.mean((slope.angle_deg - truth[:, 0]) ** 2))
        assert np.sqrt(np.mean(slope.u_deg**2)) == pytest.approx(rms_error, rel=0.05)
    assert playfield.pitch.agree.mean() > 0.98
    assert playfield.roll.agree.mean() > 0.97


def test_it_is_the_fit_with_the_instruments_own_budget() -> None:
    level = Instrument(
        resolution_deg=0.1, accuracy_deg=0.1, alignment_deg=2, repeat_deg=0.02, zero_deg=0, u_zero_deg=0.05
    )
    tilts, along, turned = [6.4, 6.6, 0.2], [True, True, False], [False, True, True]
    budget = reading_budget(instrument=level, along=along, reversed_pair=turned, pitch_deg=6.5, roll_deg=0.2)
    by_hand = fit(tilts, along, budget)
    direct = playfield_from_readings(instrument=level, tilt_deg=tilts, along=along, reversed_pair=turned)
    for name in ("pitch", "roll"):
        assert getattr(direct, name).u_deg == pytest.approx(getattr(by_hand, name).u_deg, abs=ANGLE_DEG)


def test_roll_is_not_believed_to_be_sharp_before_the_pitch_is_known() -> None:
    """Only one reading across: misalignment is reckoned at a typical pitch, not at 0."""
    level = Instrument(resolution_deg=0, accuracy_deg=0, alignment_deg=1, repeat_deg=0, zero_deg=0, u_zero_deg=0)
    playfield = playfield_from_readings(instrument=level, tilt_deg=[0.0], along=[False], reversed_pair=True)
    assert playfield.roll.u_deg == pytest.approx(0.065, abs=0.0005)


def test_the_span_is_the_diagonal_around_the_spots() -> None:
    spots = [[0, 100], [300, 500], [900, 900], [50, 60]]
    playfield = fit([6.5, 6.5, 9.9, 0.1], [True, True, True, False], used=[True, True, False, True], spots_mm=spots)
    assert playfield.pitch.span_mm == pytest.approx(500)  # 300 by 400
    assert playfield.roll.span_mm == 0


# Next reading


def ask(playfield, **options):
    defaults = {"along_budget": PLAIN, "across_budget": PLAIN, "pitch_tolerance_deg": 0.2, "roll_tolerance_deg": 0.2}
    return next_reading(fit=playfield, **{**defaults, **options})


def test_the_unknown_slope_comes_first() -> None:
    assert ask(fit([6.5], [True])).choice == READ_ACROSS
    assert ask(fit([0.1], [False])).choice == READ_ALONG
    assert ask(fit([6.5, 0.1], ALONG_ACROSS, used=False)).ratio_now == pytest.approx(UNKNOWN_U_DEG / 0.2)


def test_the_worse_of_u_over_tolerance_decides() -> None:
    two_along = fit([6.5, 6.5, 0.1], [True, True, False])
    assert ask(two_along).choice == READ_ACROSS
    assert ask(two_along, pitch_tolerance_deg=0.05).choice == READ_ALONG


def test_no_reading_helps_where_the_instrument_itself_is_the_limit() -> None:
    budget = Budget(repeat_deg=0.01, accuracy_deg=0.06)
    answer = ask(fit([6.5, 0.1], ALONG_ACROSS, budget), along_budget=budget, across_budget=budget)
    assert answer.choice == READ_NEITHER
    assert answer.ratio_now == pytest.approx(math.hypot(0.01, 0.06) / 0.2)


def test_its_forecast_is_what_the_fit_then_says() -> None:
    """Wide pitch tolerance, so that the roll decides before and after."""
    budget = Budget(resolution_deg=0.03, repeating_deg=0.02, repeat_deg=0.05, accuracy_deg=0.03)
    known = fit([6.5, 6.5, 0.1], [True, True, False], budget)
    answer = ask(known, along_budget=budget, across_budget=budget, pitch_tolerance_deg=1)
    then = fit([6.5, 6.5, 0.1, 0.1], [True, True, False, False], budget)
    assert answer.ratio_now == pytest.approx(known.roll.u_deg / 0.2, abs=ANGLE_DEG)
    assert answer.ratio_after_across == pytest.approx(then.roll.u_deg / 0.2, abs=ANGLE_DEG)


# Contracts


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ({"tilt_deg": [math.nan, 0.1]}, "tilt_deg"),
        ({"tilt_deg": [90.0, 0.1]}, "tilt_deg"),
        ({"tilt_deg": ["steep", 0.1]}, "tilt_deg"),
        ({"tilt_deg": 6.5, "along": True}, "tilt_deg"),  # no axis of readings
        ({"tilt_deg": [1, 2, 3]}, "tilt_deg"),  # shapes
        ({"along": [1, 0]}, "along"),  # numbers are no yes
        ({"used": [1, 1]}, "used"),
        ({"spots_mm": [[1, 2, 3]] * 2}, "spots_mm"),
        ({"spots_mm": [[math.inf, 2]] * 2}, "spots_mm"),
    ],
)
def test_it_refuses_bad_input_by_name(arguments, name) -> None:
    good = {"tilt_deg": [6.5, 0.1], "along": ALONG_ACROSS, "budget": PLAIN}
    with pytest.raises(BadInput) as refusal:
        fit_playfield(**{**good, **arguments})
    assert refusal.value.name == name


def test_next_refuses_a_tolerance_of_nothing() -> None:
    with pytest.raises(BadInput, match="roll_tolerance_deg"):
        ask(fit([6.5, 0.1], ALONG_ACROSS), roll_tolerance_deg=0)


def test_a_perfect_instrument_stays_finite() -> None:
    playfield = fit([6.5, 6.5, 0.1], [True, True, False], Budget())
    assert playfield.pitch.angle_deg == pytest.approx(6.5, abs=ANGLE_DEG)
    assert playfield.pitch.u_deg == 0
    assert ask(playfield, along_budget=Budget(), across_budget=Budget()).choice in (READ_ALONG, READ_ACROSS)


def test_scalar_one_many_and_none_agree() -> None:
    rng = np.random.default_rng(31)
    shape = (3, 4, 6)
    tilts, along, used = rng.normal(size=shape), rng.random(shape) < 0.5, rng.random(shape) < 0.8
    u = rng.uniform(0.02, 0.1, shape)
    many = fit(tilts, along, Budget(repeat_deg=u, accuracy_deg=0.05), used=used)
    asked = ask(many)
    for index in np.ndindex(shape[:2]):
        single = fit(tilts[index], along[index], Budget(repeat_deg=u[index], accuracy_deg=0.05), used=used[index])
        one = fit(
            tilts[index][None],
            along[index][None],
            Budget(repeat_deg=u[index][None], accuracy_deg=0.05),
            used=used[index],
        )
        for slope in ("pitch", "roll"):
            for name in ("angle_deg", "u_deg", "chi2", "readings", "agree"):
                value = getattr(getattr(single, slope), name)
                assert getattr(getattr(many, slope), name)[index] == pytest.approx(value, abs=1e-12)
                assert getattr(getattr(one, slope), name)[0] == pytest.approx(value, abs=1e-12)
        assert many.outcome[index] == single.outcome == one.outcome[0]
        assert many.odd_reading[index] == single.odd_reading
        assert asked.choice[index] == ask(single).choice
    none = fit(np.zeros((0, 6)), [True] * 6)
    assert none.outcome.shape == none.pitch.u_deg.shape == none.odd_size.shape == (0,)
