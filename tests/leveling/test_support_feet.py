"""Light feet of simulated machines: a short run of ``bench_feet``, whose full run has 10,000."""

import pytest

from tests.benchmarks.bench_feet import report_of

MACHINES = 2_000
LEAST, WIDEST = 0.935, 1.3


@pytest.fixture(scope="module")
def report():
    return report_of(MACHINES, seed=9)


def test_weights_name_the_light_foot(report):
    named = report["weights"]["named"]
    assert named["right foot, of short by more than 0.25 mm"] >= 0.99
    assert named["right foot of those told"] >= 0.97  # two standard uncertainties: at most 2.3 % the wrong way
    assert named["disbelieved though true"] <= 0.01


@pytest.mark.parametrize(
    ("part", "interval"),
    [
        ("weights", "short, bears, usual give"),
        ("two weighings", "give, learned"),
        ("two weighings", "short after, learned"),
    ],
)
def test_what_weights_say_holds_the_truth_and_is_no_wider_than_it_must_be(report, part, interval):
    found = report[part][interval]
    assert found["coverage"] >= LEAST
    assert found["width"] <= WIDEST


@pytest.mark.parametrize(
    "interval", ["air, feeler", "air, feeler and turns, u 0.06", "short, feeler, weights and turns, u 0.06"]
)
def test_the_gap_under_a_floating_foot_holds_the_truth(report, interval):
    found = report["air"][interval]
    assert found["coverage"] >= LEAST
    assert found["width"] <= WIDEST


def test_feet_of_their_own_stiffness_do_not_mislead(report):
    """Each foot's stiffness off by 20 %: the turn that evens the diagonals is still in its interval."""
    assert report["unequal feet"]["coverage"] >= LEAST
    assert report["unequal feet"]["right diagonal"] >= 0.98
