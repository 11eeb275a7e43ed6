"""The 95 % intervals of surveys by digital level hold the truth: some lines of ``bench_coverage``, at full size."""

import numpy as np
import pytest

from leveling.errors import BadInput
from leveling.verdicts_shapes import Spread
from leveling.verdicts_widths import half_width
from tests.benchmarks.bench_coverage import CASES, coverage_of, gap_coverage

SURVEYS = 10_000  # as in the full run, which has more lines
LEAST, MOST, WIDEST = 0.935, 0.975, 1.3
BY_NAME = {case.name: case for case in CASES}


def spread(u, even=0.0, even_too=0.0):
    return Spread(u=np.asarray(u), even=np.asarray(even), even_too=np.asarray(even_too))


@pytest.mark.parametrize("name", ["pairs, 1 + 1", "pairs, 3 + 3", "single, 3 + 3"])
def test_surveys_hold_the_truth_as_often_as_they_say(name):
    """93.5 to 97.5 %, and at most 1.3 times as wide as the errors themselves need."""
    line = coverage_of(BY_NAME[name], count=SURVEYS, seed=5, robust=True)
    for slope in ("pitch", "roll"):
        assert LEAST <= line[slope] <= MOST
        assert line[f"{slope}_width"] <= WIDEST


@pytest.mark.parametrize(("name", "least"), [("1 of 10 pairs off 1 to 3", LEAST), ("1 of 10 pairs off 0.2 to 1", 0.85)])
def test_one_gross_error_in_ten_readings_is_survived(name, least):
    """In the direction that has the error; and the interval stays as narrow as it would be without."""
    line = coverage_of(BY_NAME[name], count=SURVEYS, seed=6, robust=True)
    assert line["where_hit"] >= least
    clean = coverage_of(BY_NAME["pairs, 5 + 5"], count=SURVEYS, seed=6, robust=True)
    assert line["pitch_half_deg"] < 1.2 * clean["pitch_half_deg"]


def test_this_check_can_fail():
    """The plain fit holds it by an interval that nobody can use; half an interval, or no wave told, too seldom."""
    line = coverage_of(BY_NAME["1 of 10 pairs off 1 to 3"], count=SURVEYS, seed=6, robust=False)
    assert line["pitch_half_deg"] > 0.3  # degree
    rng = np.random.default_rng(4)
    told = coverage_of(BY_NAME["pairs, 3 + 3, not told of wave"], count=SURVEYS, seed=5, robust=True)
    assert told["pitch"] < LEAST
    error = rng.uniform(-1, 1, SURVEYS) * np.sqrt(3)
    assert (np.abs(error) <= half_width(spread(0.5))).mean() < LEAST


def test_gaps_by_feeler_and_by_turns_hold_the_truth_as_often_as_they_say():
    line = gap_coverage(count=SURVEYS, seed=7)
    for way in ("gap", "gap_with_a_gap", "gap_named", "by_turns"):
        assert LEAST <= line[way] <= MOST
    assert line["gap_width"] <= WIDEST


def test_limits_of_the_half_width():
    """Normal: 1.959964 u (normal tables). Even: 0.95 sqrt 3 u. Two equal even parts: 2 a (1 - sqrt 0.05).

    The last two are worked by hand.
    """
    triangle = 2 * np.sqrt(1.5) * (1 - np.sqrt(0.05))  # half-width a each, u = a sqrt(2/3)
    assert half_width(spread(2.0)) == pytest.approx(2 * 1.959964, abs=1e-5)
    assert half_width(spread(1.0, 1.0)) == pytest.approx(0.95 * np.sqrt(3), abs=2e-3)
    assert half_width(spread(1.0, np.sqrt(0.5), np.sqrt(0.5))) == pytest.approx(triangle, abs=2e-3)
    assert half_width(spread(0.0)) == 0.0


def test_the_half_width_scales_and_grows_with_confidence():
    u, even = np.array([0.1, 0.2, 3.0]), np.array([0.05, 0.2, 1.0])
    np.testing.assert_allclose(half_width(spread(10 * u, 10 * even)), 10 * half_width(spread(u, even)), rtol=1e-9)
    assert (half_width(spread(u, even), 0.99) > half_width(spread(u, even), 0.95)).all()


def test_the_half_width_of_drawn_errors():
    """200,000 errors, even and normal together: 95 % within 0.2 %."""
    rng = np.random.default_rng(8)
    error = rng.uniform(-0.1, 0.1, 200_000) + rng.normal(0, 0.03, 200_000)
    half = half_width(spread(np.hypot(0.1 / np.sqrt(3), 0.03), 0.1 / np.sqrt(3)))
    assert (np.abs(error) <= half).mean() == pytest.approx(0.95, abs=0.002)


def test_a_confidence_out_of_range_is_refused():
    with pytest.raises(BadInput, match="confidence"):
        half_width(spread(1.0), 1.0)
