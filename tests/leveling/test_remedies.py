"""What decides a verdict, whether a limit can be proven at all, and decisions over many simulated surveys."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from leveling.errors import BadInput
from leveling.instruments import Budget, Instrument
from leveling.playfields import fit_playfield
from leveling.verdicts import BORDERLINE, NOT_PROVEN, PROVEN_IN, judge
from leveling.verdicts_machine import Spec, judge_machine
from leveling.verdicts_parts import Parts, parts_of
from leveling.verdicts_proof import Planned, provability
from leveling.verdicts_remedies import ENOUGH, remedies
from leveling.verdicts_tries import (
    BETTER_INSTRUMENT,
    CHECK_FEET,
    CHECK_ZERO,
    DECIDED,
    END_FOR_END,
    NO_REMEDY,
    READ_AGAIN,
    SQUARE_EDGE,
    TURN_AND_BETTER,
    TURN_LEGS,
    all_tries,
)
from leveling.verdicts_ways import Means, Surveyed, Way, budget_in_a_way, known_after
from tests.benchmarks.bench_decisions import chances, errors_at_the_limit, remedies_taken

LEVEL = Instrument(
    resolution_deg=0.01, accuracy_deg=0.02, alignment_deg=1.0, repeat_deg=0.02, zero_deg=0.0, u_zero_deg=0.05
)
SPEC = Spec(pitch_deg=6.5, pitch_tolerance_deg=0.2, roll_tolerance_deg=0.15, gap_tolerance_mm=0.5)
SURE = Parts(readings=1, repeat_deg=0.01, accuracy_deg=0.01)


DOUBTFUL = Parts(readings=8, zero_deg=0.2, repeat_deg=0.035, accuracy_deg=0.01)


def case(roll_deg=0.0, **changes):
    """A machine whose pitch and feet are fine and well known: only its roll can hold up the verdict."""
    good = {
        "pitch_deg": 6.5, "pitch": SURE, "roll_deg": roll_deg, "roll": SURE, "twist_mm": 0.0, "u_twist_mm": 0.005,
        "twist_known": True, "instrument": LEVEL, "reversed_pair": True,
    }  # fmt: skip
    return Surveyed(**(good | changes))


def parts(**changes):
    return Parts(**({"readings": 1, "accuracy_deg": 0.01} | changes))


def level(**changes):
    return replace(LEVEL, **changes)


# Parts and ways


def test_the_parts_add_up_to_the_slope() -> None:
    one = Budget(
        resolution_deg=0.03, repeating_deg=0.02, alignment_deg=0.06, repeat_deg=0.02, accuracy_deg=0.05, zero_deg=0.04
    )
    fit = fit_playfield(tilt_deg=[0.1, 0.12, 0.09], along=[False] * 3, budget=one)
    found = parts_of(fit.roll, one)
    assert float(found.u_deg) == pytest.approx(float(fit.roll.u_deg), abs=1e-12)
    assert float(found.zero_deg) == pytest.approx(0.04)
    assert float(found.alignment_deg) == pytest.approx(0.06 / np.sqrt(3))


def test_readings_that_scatter_too_much_widen_laying_down_not_misalignment() -> None:
    one = Budget(alignment_deg=0.01, repeat_deg=0.01)
    fit = fit_playfield(tilt_deg=[0.0, 0.3], along=[False] * 2, budget=one)
    found = parts_of(fit.roll, one)
    assert float(found.alignment_deg) == pytest.approx(0.01 / np.sqrt(2))
    assert float(found.repeat_deg) > 0.1


def test_a_slope_without_a_reading_is_not_known() -> None:
    fit = fit_playfield(tilt_deg=[6.5], along=[True], budget=Budget(repeat_deg=0.1))
    assert not parts_of(fit.roll, Budget(repeat_deg=0.1)).known


def test_three_more_of_the_same_halve_the_fresh_part_as_a_fit_of_four_does() -> None:
    survey = case(roll=parts())
    one = budget_in_a_way(surveyed=survey, way=Way(), along=False)
    fits = [fit_playfield(tilt_deg=[0.1] * n, along=[False] * n, budget=one) for n in (1, 4)]
    after = known_after(now=parts_of(fits[0].roll, one), one=one, readings=3, way=Way())
    assert float(after.parts.u_deg) == pytest.approx(float(fits[1].roll.u_deg), abs=1e-12)
    assert float(after.moved_deg) == pytest.approx(
        np.sqrt(float(fits[0].roll.u_fresh_deg) ** 2 - float(fits[1].roll.u_fresh_deg) ** 2), abs=1e-12
    )


def test_end_for_end_leaves_no_zero_and_a_square_edge_hardly_any_misalignment() -> None:
    survey = case(reversed_pair=False)
    now = budget_in_a_way(surveyed=survey, way=Way(), along=False)
    pairs = budget_in_a_way(surveyed=survey, way=Way(afresh=True, pairs=True), along=False)
    square = budget_in_a_way(surveyed=survey, way=Way(afresh=True, pairs=True, square=True), along=False)
    assert (float(now.zero_deg), float(pairs.zero_deg)) == (0.05, 0.0)
    assert float(pairs.alignment_deg) == pytest.approx(float(now.alignment_deg))
    assert float(square.alignment_deg) == pytest.approx(float(now.alignment_deg) / 5, rel=0.01)


# Remedies


@pytest.mark.parametrize("along", [True, False])
def test_turning_end_for_end_halves_the_laying_down_but_not_the_boards_wave(along) -> None:
    """Both halves of a pair lie on one spot: the variance of laying down halves, that of the spot stays."""
    means = Means(wave_along_deg=0.05, wave_across_deg=0.03)
    survey = case(reversed_pair=False)
    wave_deg = 0.05 if along else 0.03
    for way, laid_deg in ((Way(), 0.02), (Way(pairs=True, afresh=True), 0.02 / np.sqrt(2))):
        one = budget_in_a_way(surveyed=survey, way=way, along=along, means=means)
        assert one.repeat_deg == pytest.approx(np.hypot(laid_deg, wave_deg))


def test_a_decided_machine_needs_nothing() -> None:
    found = remedies(surveyed=case([0.0, 0.5]), spec=SPEC, certificate=[[True], [False]])
    assert found.code.tolist() == [[DECIDED] * 2] * 2
    assert found.chance.tolist() == [[0, 0], [0, 0]]


@pytest.mark.parametrize(
    ("code", "roll_deg", "certificate", "changes"),
    [
        # scatter of laying down: only more readings cure it
        (READ_AGAIN, 0.16, False, {"roll": parts(repeat_deg=0.06), "instrument": level(alignment_deg=0.1)}),
        # single readings, a doubtful zero
        (END_FOR_END, 0.17, False, {"roll": parts(zero_deg=0.1), "reversed_pair": False,
                                    "instrument": level(u_zero_deg=0.1, alignment_deg=0.1)}),
        # eight readings each way, singly: to put the zero right is less work than to read all again
        (CHECK_ZERO, 0.08, False, {"pitch": DOUBTFUL, "roll": DOUBTFUL, "pitch_deg": 6.6, "reversed_pair": False,
                                   "instrument": level(u_zero_deg=0.2, repeat_deg=0.1, alignment_deg=0.1)}),
        # much misalignment: a square edge
        (SQUARE_EDGE, 0.15, False, {"roll": parts(alignment_deg=0.2), "instrument": level(alignment_deg=3.0)}),
        # only the accuracy is left
        (BETTER_INSTRUMENT, 0.16, False, {"roll": parts(repeat_deg=0.005, accuracy_deg=0.115),
                                          "instrument": level(accuracy_deg=0.2, alignment_deg=0.1)}),
        # it lies on the limit of a certificate
        (TURN_LEGS, 0.15, True, {"roll": parts(repeat_deg=0.01)}),
        # on the limit, and the level could not prove even the middle
        (TURN_AND_BETTER, 0.15, True, {"roll": parts(accuracy_deg=0.115), "instrument": level(accuracy_deg=0.2)}),
        # nobody looked at the feet
        (CHECK_FEET, 0.0, False, {"twist_known": False, "u_twist_mm": 0.5}),
        (CHECK_FEET, 0.0, True, {"twist_known": False, "u_twist_mm": 0.5}),
        # the gap was only felt with a hand, and it matters
        (CHECK_FEET, 0.0, True, {"twist_mm": 0.07, "u_twist_mm": 0.04}),
    ],
)  # fmt: skip
def test_the_remedy_answers_what_dominates(code, roll_deg, certificate, changes) -> None:
    found = remedies(surveyed=case(roll_deg, **changes), spec=SPEC, certificate=certificate)
    assert int(found.code) == code
    assert ENOUGH <= float(found.chance) <= 1


def test_only_the_direction_that_holds_things_up_is_read_again() -> None:
    survey = case(0.16, roll=parts(repeat_deg=0.06), instrument=level(alignment_deg=0.1))
    found = remedies(surveyed=survey, spec=SPEC)
    assert int(found.more_along) == 0
    assert int(found.more_across) >= 1


def test_the_instrument_it_asks_for_is_the_least_accurate_that_does() -> None:
    survey = case(0.16, roll=parts(accuracy_deg=0.115), instrument=level(accuracy_deg=0.2, alignment_deg=0.1))
    wide = remedies(surveyed=survey, spec=SPEC)
    none = remedies(surveyed=survey, spec=SPEC, means=Means(accuracy_deg=0))
    assert 0.02 < float(wide.accuracy_deg) < 0.2
    assert float(wide.u_roll_deg) < 0.5 * 0.115  # borderline within a quarter u: it must fall by more than half
    assert int(none.code) == TURN_LEGS
    assert float(none.accuracy_deg) == 0


def test_another_tolerance_is_no_remedy() -> None:
    """The most that can be asked changes the machine or the reading; a spec nothing can prove says so by its chance."""
    narrow = Spec(pitch_deg=6.5, pitch_tolerance_deg=0.2, roll_tolerance_deg=0.005, gap_tolerance_mm=0.5)
    found = remedies(surveyed=case(0.0), spec=narrow, certificate=True)
    assert int(found.code) != DECIDED
    assert float(found.chance) < ENOUGH


def test_what_nothing_at_hand_decides_is_not_called_decided() -> None:
    """Found by simulation on 2026-11-25: a poor level and no other to be had left "nothing: it is decided"."""
    survey = case(0.0, roll=parts(accuracy_deg=0.115), instrument=level(accuracy_deg=0.2))
    narrow = Spec(pitch_deg=6.5, pitch_tolerance_deg=0.2, roll_tolerance_deg=0.05, gap_tolerance_mm=0.5)
    found = remedies(surveyed=survey, spec=narrow, certificate=True, means=Means(accuracy_deg=0))
    assert int(found.code) == NO_REMEDY
    assert float(found.chance) == 0


def test_tries_come_the_cheapest_first_and_turn_legs_last() -> None:
    codes = [tried.code for tried in all_tries()]
    efforts = [tried.effort for tried in all_tries()]
    assert efforts == sorted(efforts)
    assert max(i for i, code in enumerate(codes) if code < BETTER_INSTRUMENT) < codes.index(BETTER_INSTRUMENT)
    assert codes.index(BETTER_INSTRUMENT) < codes.index(TURN_LEGS) < codes.index(TURN_AND_BETTER)


def test_one_many_and_none_agree() -> None:
    rolls = np.linspace(0, 0.3, 13)
    changes = {"roll": parts(repeat_deg=0.05)}
    many = remedies(surveyed=case(rolls, **changes), spec=SPEC, certificate=True)
    for place, roll_deg in enumerate(rolls):
        one = remedies(surveyed=case(roll_deg, **changes), spec=SPEC, certificate=True)
        assert int(one.code) == many.code[place]
        assert float(one.chance) == pytest.approx(many.chance[place], abs=1e-12)
    assert remedies(surveyed=case(np.zeros(0)), spec=SPEC).code.shape == (0,)


def test_right_high_and_left_high_get_the_same_remedy() -> None:
    both = remedies(surveyed=case([0.155, -0.155], roll=parts(repeat_deg=0.06)), spec=SPEC)
    assert both.code[0] == both.code[1] != DECIDED


def test_shapes_that_do_not_fit_are_refused() -> None:
    with pytest.raises(BadInput):
        remedies(surveyed=case([0.0, 0.1]), spec=SPEC, certificate=[True, True, False])
    with pytest.raises(BadInput, match="most_readings"):
        Means(most_readings=0)


# Proof


def planned(**changes):
    usual = {"instrument": LEVEL, "reversed_pair": True, "along": 1, "across": 1, "feet": True, "u_gap_mm": 0.02}
    return Planned(**(usual | changes))


def test_what_is_called_provable_is_proven_in_the_middle_and_not_beyond_its_room() -> None:
    """The room of roll against the verdict itself, a thousandth inside and outside of it."""
    answer = provability(planned=planned(across=4), spec=SPEC)
    assert answer.roll.provable
    room = float(answer.roll.room)
    survey = case(roll=parts())
    one = budget_in_a_way(surveyed=survey, way=Way(), along=False)
    spread = known_after(now=Parts(readings=0), one=one, readings=4, way=Way()).parts.spread
    said = judge(value=[0.0, room - 0.001, room + 0.001], u=spread, low=-0.15, high=0.15).certificate
    assert said.tolist() == [PROVEN_IN, PROVEN_IN, NOT_PROVEN]


def test_the_fewest_readings_just_do() -> None:
    rough = planned(instrument=level(repeat_deg=0.2))
    fewest = int(provability(planned=rough, spec=SPEC).roll.readings)
    assert fewest > 1
    answers = [provability(planned=replace(rough, across=np.float64(n)), spec=SPEC) for n in (fewest - 1, fewest)]
    assert [bool(answer.roll.provable) for answer in answers] == [False, True]


def test_what_would_do_does() -> None:
    """A level good to 0.2 degrees proves no roll of 0.15; with the instrument that is asked for, it can be proven."""
    poor = planned(instrument=level(accuracy_deg=0.2, resolution_deg=0.1))
    answer = provability(planned=poor, spec=SPEC)
    assert not answer.provable
    assert int(answer.roll.readings) == 0
    assert int(answer.code) == BETTER_INSTRUMENT
    better = level(accuracy_deg=answer.accuracy_deg, resolution_deg=answer.accuracy_deg / 2, alignment_deg=0.2)
    again = planned(instrument=better, along=answer.along, across=answer.across)
    assert provability(planned=again, spec=SPEC).provable


def test_the_u_that_is_needed_just_does() -> None:
    """Normal errors: 1.960 u for one quantity at 95 %; jointly the cube root of 95 % for each."""
    answer = provability(planned=planned(), spec=SPEC)
    assert float(answer.roll.u_needed) == pytest.approx(0.15 / 1.959964, rel=1e-6)
    assert float(answer.pitch.u_needed_jointly) == pytest.approx(0.2 / norm.ppf((1 + 0.95 ** (1 / 3)) / 2))
    assert float(answer.gap.u_needed) == pytest.approx(0.5 / 1.959964, rel=1e-6)


def test_without_a_look_at_the_feet_nothing_is_proven() -> None:
    answer = provability(planned=planned(feet=False, across=8), spec=SPEC)
    assert not answer.provable
    assert int(answer.code) == CHECK_FEET
    assert answer.possible
    assert provability(planned=planned(across=8), spec=SPEC).provable


def test_a_tolerance_that_nothing_can_prove_is_told() -> None:
    hopeless = Spec(pitch_deg=6.5, pitch_tolerance_deg=0.2, roll_tolerance_deg=0.005, gap_tolerance_mm=0.5)
    assert not provability(planned=planned(), spec=hopeless).possible


def test_provability_goes_through_many_specs_at_once() -> None:
    many = Spec(pitch_deg=6.5, pitch_tolerance_deg=0.2, roll_tolerance_deg=[0.02, 0.15, 0.5], gap_tolerance_mm=0.5)
    answer = provability(planned=planned(), spec=many)
    assert answer.provable.shape == answer.code.shape == (3,)
    assert answer.provable.tolist() == sorted(answer.provable.tolist())


# Decisions over many surveys; at full size in tests/benchmarks/bench_decisions.py


def test_the_certificate_rule_errs_at_most_five_percent_each_way_at_the_limit() -> None:
    """100,000 surveys for each quantity, truth on its limit: at most 5.3 %."""
    for shares in errors_at_the_limit(np.random.default_rng(412), 100_000).values():
        assert max(shares["all"]) <= 5.3


def test_the_stated_chance_is_right() -> None:
    """Ten bins of 200,000 surveys: within 2 points and two standard deviations of so few cases in a bin."""
    for table in chances(np.random.default_rng(413), 200_000).values():
        for stated, true, cases in table:
            share = stated / cases
            assert true / cases == pytest.approx(share, abs=0.02 + 2 * np.sqrt(share * (1 - share) / cases))


@pytest.mark.parametrize("certificate", [False, True])
def test_every_undecided_machine_has_a_remedy_and_taking_it_decides(certificate) -> None:
    """At least 90 % of them."""
    taken = remedies_taken(np.random.default_rng(414), 4_000, certificate)
    cases, said, decided = taken["all"]
    assert taken["unnamed"] == 0
    assert cases > 100
    assert decided >= 0.9
    assert decided == pytest.approx(said, abs=4 * np.sqrt(0.09 / cases))


def test_an_undecided_machine_is_borderline_or_not_proven() -> None:
    survey = case(0.15)
    verdict = judge_machine(measured=survey.measured, spec=SPEC)
    assert int(verdict.machine.daily) == BORDERLINE
    assert int(verdict.machine.certificate) == NOT_PROVEN
    assert (remedies(surveyed=survey, spec=SPEC, certificate=[False, True]).code != DECIDED).all()
