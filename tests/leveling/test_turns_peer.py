"""A short run of the benchmark's comparison: leg plans against a mixed-integer solver, case by case."""

import numpy as np

from leveling.turns import Outcome, plan_legs
from tests.benchmarks.bench_plans import Answer, compare, draw_cases, our_answers, request_of


def test_a_mixed_integer_solver_finds_the_same_costs_and_outcomes():
    """scipy.optimize.milp (HiGHS) on a formulation of its own, 60 % typical, 30 % mixed, 10 % wide tolerances."""
    cases = draw_cases(500, np.random.default_rng(79))
    answers = our_answers(plan_legs(request_of(cases)))
    assert {answer.outcome for answer in answers} == set(Outcome)
    unequal, _ = compare(cases, answers)
    assert unequal == []


def test_the_comparison_notices_a_plan_that_is_one_step_too_dear():
    cases = draw_cases(20, np.random.default_rng(78))
    answers = our_answers(plan_legs(request_of(cases)))
    number = next(i for i, answer in enumerate(answers) if answer.outcome == Outcome.PLAN)
    right = answers[number]
    answers[number] = Answer(right.outcome, right.lifts, right.legs, right.aim_class, right.steps + 1)
    assert compare(cases, answers)[0] == [number]
