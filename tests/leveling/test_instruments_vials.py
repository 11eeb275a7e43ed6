"""A vial built into one machine: learned from pairs, read, and told where its bubble belongs."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leveling.errors import BadInput
from leveling.instruments import Budget
from leveling.instruments_vials import (
    LEARNED,
    NO_PAIRS,
    PAIRS_DISAGREE,
    TOO_CLOSE,
    VIAL_OUTCOMES,
    WRONG_WAY,
    Vial,
    VialSheet,
    learn_vial,
    vial_from_manual,
)
from leveling.instruments_vials_read import (
    BUBBLE_SIDES,
    FAR_OFF,
    NOT_KNOWN,
    ON_VIAL,
    PAST_FRONT,
    PAST_REAR,
    PLACE_OUTCOMES,
    bubble_place,
    bubble_position_lines,
    read_vial,
)
from leveling.playfields import MEASURED, fit_playfield
from tests.leveling.worlds_vials import VialWorld, draw_vials, learn, read_back

SHEET = VialSheet(reach_lines=4)
MANUAL = VialSheet(reach_lines=4, deg_per_line=0.5, u_deg_per_line=0.02)
LEVEL = Budget(resolution_deg=0.02, repeat_deg=0.02, accuracy_deg=0.06)
#: One factor of Student at 95 % over the normal one, for 8 + 1 degrees of freedom (GUM, Table G.2: 2.26/1.96).
STUDENT_9 = 2.262 / 1.960


def learned(position, tilt, sheet=SHEET, budget=LEVEL, used=True) -> Vial:
    return learn_vial(sheet=sheet, position_lines=position, tilt_deg=tilt, budget=budget, used=used)


# Which side the bubble stands on


def test_the_bubble_goes_to_the_high_end() -> None:
    sides = ["rear", "front", "right", "left", "middle"]
    assert bubble_position_lines([1.5, 1.5, 0.5, 0.5, 0], sides).tolist() == [1.5, -1.5, 0.5, -0.5, 0]
    assert set(BUBBLE_SIDES) == set(sides)
    assert math.copysign(1, bubble_position_lines(0, "front")) == 1


@pytest.mark.parametrize(
    ("shown", "side", "name"),
    [
        (-1, "rear", "shown_lines"),  # two signs: which one counts?
        (51, "rear", "shown_lines"),
        (1, "middle", "side"),  # in the middle, but a line off
        (1, "high", "side"),  # no such side
        (1, 1, "side"),
        ([1, 2], ["rear", "front", "rear"], "shown_lines"),  # shapes
    ],
)
def test_it_refuses_a_bubble_that_contradicts_itself(shown, side, name) -> None:
    with pytest.raises(BadInput) as refusal:
        bubble_position_lines(shown, side)
    assert refusal.value.name == name


# Learning


@settings(deadline=None)  # other work on the machine must not fail it
@given(per_line=st.floats(0.2, 1.0), middle=st.floats(3, 8), places=st.lists(st.floats(-4, 4), min_size=2, max_size=5))
def test_pairs_without_errors_teach_the_true_line(per_line, middle, places) -> None:
    """Round trip on an exact vial: angle and degrees per line to what the weak word of a missing manual leaves."""
    places = np.sort(places)
    vial = learned(places, middle + per_line * places, budget=Budget(repeat_deg=1e-3))
    if vial.outcome != LEARNED:
        assert vial.outcome == TOO_CLOSE
        assert places[-1] - places[0] < 1
        return
    at = (places[0] + places[-1]) / 2
    reading = read_vial(vial, at)
    assert abs(reading.tilt_deg - (middle + per_line * at)) <= 0.5 * vial.line.u_slope * abs(at - vial.line.at) + 1e-9
    assert abs(vial.line.slope - per_line) < 0.5 * vial.line.u_slope + 1e-9


def test_two_pairs_worked_by_hand() -> None:
    """Bubble at -2 and 2 lines, level 5.5 and 7.5: half a degree per line, 6.5 at the middle.

    One position: sqrt(0.5^2/12 + 0.1^2) = 0.1756 line = 0.0878 degree; one tilt 0.0283: v = 0.0922^2.
    u of the middle v^(1/2)/sqrt 2; of the slope 1/sqrt(8/v + 1/1^2); both times Student's 2.262/1.960.
    """
    vial = learned([-2, 2], [5.5, 7.5])
    v = 0.25 * (0.25 / 12 + 0.01) + 2 * 0.02**2
    assert vial.line.slope == pytest.approx(0.5, abs=1e-9)
    assert (float(vial.line.at), float(vial.line.value)) == pytest.approx((0, 6.5), abs=1e-9)
    assert vial.line.u_value == pytest.approx(math.sqrt(v / 2) * STUDENT_9, rel=1e-3)
    assert vial.line.u_slope == pytest.approx(STUDENT_9 / math.sqrt(8 / v + 1), rel=1e-3)
    assert vial.u_common_deg == pytest.approx(0.06)


def test_a_good_manual_outweighs_two_poor_pairs() -> None:
    """Pairs half a line apart say 0.6 degree per line; the manual says 0.500 with 0.005."""
    sheet = VialSheet(reach_lines=4, deg_per_line=0.5, u_deg_per_line=0.005)
    assert learned([0, 0.5], [6.5, 6.8], sheet).line.slope == pytest.approx(0.5, abs=0.002)


def test_one_pair_and_a_manual_are_enough_and_one_pair_alone_is_not() -> None:
    with_manual, alone = learned([1.0], [7.0], MANUAL), learned([1.0], [7.0])
    assert with_manual.outcome == LEARNED
    assert read_vial(with_manual, 0.0).tilt_deg == pytest.approx(6.5, abs=1e-9)
    assert alone.outcome == TOO_CLOSE
    assert "one more pair" in VIAL_OUTCOMES[int(alone.outcome)]


def test_a_coarse_vial_without_a_manual_is_learned_all_the_same() -> None:
    """Two degrees per line, four times what is assumed where no manual says anything."""
    vial = learned([-1, 0, 1.5], [4.5, 6.5, 9.5])
    assert vial.outcome == LEARNED
    assert vial.line.slope == pytest.approx(2, abs=0.1)


def test_more_pairs_leave_less_doubt_but_not_less_than_the_level_itself() -> None:
    few, many = (learned(places, 6.5 + 0.5 * places) for places in (np.linspace(-2, 2, 2), np.linspace(-2.1, 2.1, 40)))
    assert read_vial(many, 0).budget.zero_deg < read_vial(few, 0).budget.zero_deg / 3
    assert read_vial(many, 0).budget.accuracy_deg == read_vial(few, 0).budget.accuracy_deg == 0.06


def test_the_same_pair_ten_times_is_worth_one_as_far_as_rounding_goes() -> None:
    """Only what is drawn afresh averages: the eye's step and the repeating part of the display do not."""
    sheet = VialSheet(reach_lines=4, deg_per_line=0.5, u_deg_per_line=0.02, repeat_lines=0.0)
    display = Budget(resolution_deg=0.03, repeating_deg=0.03)
    one, ten = (learned([0.5] * n, [6.7] * n, sheet, display) for n in (1, 10))
    assert ten.line.u_value == pytest.approx(math.sqrt(0.03**2 + 0.25**2 / 12), rel=0.12)
    assert ten.line.u_value > 0.8 * one.line.u_value


def test_rows_that_cannot_be_learned_say_why_and_leave_the_others_alone() -> None:
    position = [[-2, 0, 2], [0, 0, 0], [2, 0, -2], [-2, 0, 2], [-2, 0, 2]]
    tilt = [[5.5, 6.5, 7.5], [6.5, 6.5, 6.6], [5.5, 6.5, 7.5], [5.5, 8.0, 7.5], [5.5, 6.5, 7.5]]
    used = [[True] * 3] * 4 + [[False] * 3]
    vial = learned(position, tilt, used=used)
    assert vial.outcome.tolist() == [LEARNED, TOO_CLOSE, WRONG_WAY, PAIRS_DISAGREE, NO_PAIRS]
    assert read_vial(vial, 0.0).outcome.tolist() == [ON_VIAL, *[NOT_KNOWN] * 4]
    assert bubble_place(vial, 6.5).outcome.tolist() == [ON_VIAL, *[NOT_KNOWN] * 4]
    assert (read_vial(vial, 0.0).budget.u_deg[1:] > 50).all()  # nothing known must not look like something


def test_a_manual_that_contradicts_the_pairs_is_told() -> None:
    """Three pairs say half a degree per line, the manual 0.8 with 0.01."""
    sheet = VialSheet(reach_lines=4, deg_per_line=0.8, u_deg_per_line=0.01)
    assert learned([-3, 0, 3], [5.0, 6.5, 8.0], sheet).outcome == PAIRS_DISAGREE


def test_pairs_that_scatter_more_widen_the_doubt() -> None:
    calm = learned([-2, -1, 0, 1, 2], [5.5, 6.0, 6.5, 7.0, 7.5])
    wild = learned([-2, -1, 0, 1, 2], [5.7, 5.8, 6.5, 7.2, 7.3])
    assert wild.line.u_value > 1.1 * calm.line.u_value


# Reading and the place of the bubble


def test_what_is_read_adds_the_eye_to_what_was_learned() -> None:
    """Half a line of step: 0.5 x 0.5/sqrt 12 = 0.0722 degree; a tenth of a line: 0.05 degree."""
    vial = vial_from_manual(sheet=MANUAL, middle_deg=6.5, u_middle_deg=0.1)
    budget = read_vial(vial, 2.0).budget
    assert budget.resolution_deg == pytest.approx(0.5 * 0.5 / math.sqrt(12), abs=1e-9)
    assert budget.repeat_deg == pytest.approx(0.05, abs=1e-12)
    assert budget.zero_deg == pytest.approx(math.hypot(0.1, 2 * 0.02), abs=1e-9)
    assert budget.repeating_deg < budget.resolution_deg


@settings(deadline=None)  # other work on the machine must not fail it
@given(wanted=st.floats(5.6, 7.4))
def test_a_bubble_put_where_it_belongs_reads_what_was_wanted(wanted) -> None:
    vial = learned([-2, 0, 2], [5.5, 6.45, 7.5])
    place = bubble_place(vial, wanted)
    reading = read_vial(vial, place.position_lines)
    assert place.outcome == reading.outcome == ON_VIAL
    assert reading.tilt_deg == pytest.approx(wanted, abs=1e-9)
    assert place.u_lines * vial.line.slope == pytest.approx(float(reading.budget.u_common_deg), rel=1e-9)


def test_off_the_lines_the_vial_cannot_tell() -> None:
    vial = vial_from_manual(sheet=MANUAL, middle_deg=6.5, u_middle_deg=0.1)
    place = bubble_place(vial, [4.4, 4.5, 8.5, 8.6])
    assert place.outcome.tolist() == [PAST_FRONT, ON_VIAL, ON_VIAL, PAST_REAR]
    assert read_vial(vial, [-4.5, 4.5]).outcome.tolist() == [PAST_FRONT, PAST_REAR]
    assert (read_vial(vial, [-4.5, 4.5]).budget.u_deg > 50).all()
    assert len(PLACE_OUTCOMES) == 5


def test_beyond_the_pairs_a_poorly_known_vial_asks_for_one_more() -> None:
    """Learned over one line, u of the slope a quarter of it: read there, but not at 3 lines; a manual mends it."""
    poor, good = learned([0, 1], [6.5, 7.0]), learned([0, 1], [6.5, 7.0], MANUAL)
    assert poor.line.u_slope > 0.15 * poor.line.slope
    assert read_vial(poor, [0.5, 3.0, -0.5]).outcome.tolist() == [ON_VIAL, FAR_OFF, FAR_OFF]
    assert read_vial(good, [0.5, 3.0, -0.5]).outcome.tolist() == [ON_VIAL] * 3
    assert bubble_place(poor, [6.75, 8.0]).outcome.tolist() == [ON_VIAL, FAR_OFF]


def test_readings_of_a_vial_are_readings_like_any_other() -> None:
    """Two looks at the bubble into a playfield: the eye averages, what was learned does not."""
    vial = learned([-2, 0, 2], [5.5, 6.5, 7.5])
    reading = read_vial(vial, [0.5, 0.5])
    budget = reading.budget
    fit = fit_playfield(tilt_deg=reading.tilt_deg, along=True, budget=budget)
    assert fit.pitch.angle_deg == pytest.approx(6.75, abs=1e-6)
    assert fit.pitch.u_common_deg == pytest.approx(float(budget.u_common_deg[0]), rel=1e-9)
    assert fit.pitch.u_fresh_deg == pytest.approx(float(budget.u_fresh_deg) / math.sqrt(2), rel=1e-9)
    assert fit.outcome != MEASURED  # roll is still unknown


# What is stated is what happens


@pytest.mark.parametrize("manual", [True, False])
@pytest.mark.parametrize("pairs", [2, 5])
def test_the_stated_interval_holds_the_true_pitch(pairs, manual) -> None:
    """10,000 vials of 0.1 to 1 degree per line, prior in `worlds_vials`: at least 93.5 %, at most 1.3 times too wide.

    The table for every kind is printed by `tests/benchmarks/bench_vials.py`.
    """
    rng = np.random.default_rng(21)
    world = VialWorld(vials=10_000, deg_per_line=(0.1, 1.0), pairs=pairs, manual=manual)
    vials = draw_vials(world, rng)
    result = read_back(world, vials, learn(world, vials), rng)
    good = result.readable
    half = 1.96 * result.u_deg[good]
    low, high = np.quantile(result.error_deg[good], [0.025, 0.975])
    assert good.mean() > 0.97
    assert np.mean(np.abs(result.error_deg[good]) <= half) >= 0.935
    assert 2 * half.mean() <= 1.3 * (high - low)


def test_a_bubble_on_the_wrong_side_is_caught() -> None:
    """2,000 vials whose sides were mixed up in all pairs: 99 in 100 are told so, none is learned."""
    world = VialWorld(vials=2000, deg_per_line=(0.1, 1.0), pairs=3, manual=True)
    vials = draw_vials(world, np.random.default_rng(22))
    printed = vials.printed_deg_per_line
    sheet = VialSheet(reach_lines=4, deg_per_line=printed, u_deg_per_line=0.03 * printed)
    vial = learned(-vials.seen_lines, vials.level_deg, sheet)
    assert (vial.outcome != LEARNED).all()
    assert (vial.outcome == WRONG_WAY).mean() >= 0.99


# Contracts


def test_scalar_one_many_and_none_agree() -> None:
    rng = np.random.default_rng(9)
    position = np.round(rng.uniform(-4, 4, (3, 4, 5)) * 2) / 2
    tilt = 6.5 + 0.5 * position + 0.05 * rng.normal(size=position.shape)
    many = learned(position, tilt)
    for index in np.ndindex(3, 4):
        one = learned(position[index], tilt[index])
        assert one.outcome == many.outcome[index]
        assert read_vial(one, 1.0).tilt_deg == pytest.approx(float(read_vial(many, 1.0).tilt_deg[index]), abs=1e-12)
    assert learned(np.zeros((0, 2)), np.zeros((0, 2))).outcome.shape == (0,)
    assert learned([], []).outcome == NO_PAIRS


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ({"position_lines": [0, math.nan]}, "position_lines"),
        ({"position_lines": [0, 60]}, "position_lines"),
        ({"tilt_deg": [6, 90]}, "tilt_deg"),
        ({"used": 1}, "used"),
        ({"position_lines": 1.0, "tilt_deg": 6.0}, "position_lines"),  # no row of pairs
        ({"tilt_deg": [6, 6, 6]}, "position_lines"),  # shapes
    ],
)
def test_learning_refuses_bad_input_by_name(arguments, name) -> None:
    good = {"sheet": SHEET, "position_lines": [0, 1], "tilt_deg": [6.0, 6.5], "budget": LEVEL}
    with pytest.raises(BadInput) as refusal:
        learn_vial(**{**good, **arguments})
    assert refusal.value.name == name


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("reach_lines", 0),  # a vial without lines
        ("deg_per_line", 0.0),
        ("deg_per_line", 6),  # that is no vial for this
        ("u_deg_per_line", 0.0),  # nothing is known exactly
        ("resolution_lines", -0.5),
        ("repeat_lines", math.nan),
    ],
)
def test_a_sheet_refuses_what_cannot_be(field, value) -> None:
    with pytest.raises(BadInput) as refusal:
        VialSheet(**{"reach_lines": 4, field: value})
    assert refusal.value.name == field
