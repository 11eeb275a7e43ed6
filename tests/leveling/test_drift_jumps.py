"""Jumps and bad surveys: the chance of each way as summed up over all ways by hand, and what people see."""

from itertools import product
from typing import Any

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from leveling.drift import Series, Walk, filtered
from leveling.drift_jumps import BAD, JUMP, NONE, SET, Followed, Survey, begun, followed, stepped, updated
from leveling.drift_model import Hazard, Model
from leveling.errors import BadInput

WALK = Walk(level=1e-5, rate=0.0, first_rate=1e-7)
HAZARD = Hazard(jumps_per_year=0.5, jump_deg=0.3, bad_share=0.02, bad_deg=1.0)


def surveys(days: Any, values: Any, variance: float = 1e-3, seen: Any = True) -> Series:
    """Of one machine or more: ``values`` shape (n, Q, T)."""
    values = np.asarray(values, dtype=float)
    return Series(days=np.asarray(days, dtype=float), values=values, variances=np.full(1, variance), steps=np.zeros(1),
                  step_variances=np.zeros(1), seen=np.broadcast_to(seen, values.shape))  # fmt: skip


def follow(days: Any, values: Any, hazard: Hazard = HAZARD, **more: Any) -> Followed:
    return followed(surveys(days, values, **more), Model(walk=WALK, hazard=hazard))


def by_all_ways(days: np.ndarray, values: np.ndarray, variance: float, hazard: Hazard) -> np.ndarray:
    """The chance of a jump before each survey, by the joint normal density of all surveys for each list of ways.

    Differences to the first survey have no unknown level any more. The walk of `WALK`, from its definition: the level
    adds up over the gaps, the rate's start goes with the days, jumps add up from the survey they came before.
    """
    count = len(days)
    after = days - days[0]
    chances, jumped = [], []
    for ways in product(range(2), repeat=count - 1):  # 0 none, 1 jump
        covariance = 1e-5 * np.minimum.outer(after, after) + 1e-7 * np.outer(after, after) + variance * np.eye(count)
        chance = 1.0
        for k, way in enumerate(ways, start=1):
            none = np.exp(-hazard.jumps_per_year * (days[k] - days[k - 1]) / 365.25)
            chance *= float(1 - none if way else none)
            moved = np.arange(count) >= k
            covariance = covariance + way * hazard.jump_deg**2 * np.outer(moved, moved)
        differences = np.hstack([-np.ones((count - 1, 1)), np.eye(count - 1)])
        density = multivariate_normal(cov=differences @ covariance @ differences.T)
        chances.append(chance * np.prod([density.pdf(differences @ row) for row in values]))
        jumped.append(ways)
    return np.array(chances) @ np.array(jumped) / np.sum(chances)


@pytest.mark.parametrize("seed", range(20))
def test_up_to_three_surveys_all_ways_are_kept_apart(seed: int) -> None:
    """Where no survey is bad nothing is merged too early: the chances are those of all lists of ways, to 1e-6."""
    rng = np.random.default_rng(seed)
    days = np.cumsum(rng.uniform(5, 120, 3))
    values = rng.normal(0, 0.15, (3, 3))
    none_bad = Hazard(jumps_per_year=0.5, jump_deg=0.3, bad_share=0.0, bad_deg=1.0)
    found = follow(days, values[None], none_bad)
    assert found.ways[JUMP][0, 1:] == pytest.approx(by_all_ways(days, values, 1e-3, none_bad), abs=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_over_six_surveys_merging_costs_little(seed: int) -> None:
    """What was seen of a jump until the survey after it stands within 0.03 of what all six surveys together say."""
    rng = np.random.default_rng(seed)
    days = np.cumsum(rng.uniform(20, 60, 6))
    values = rng.normal(0, 0.03, (3, 6)) + 0.4 * (np.arange(6) >= 3)
    none_bad = Hazard(jumps_per_year=0.5, jump_deg=0.3, bad_share=0.0, bad_deg=1.0)
    found = follow(days, values[None], none_bad)
    assert found.ways[JUMP][0, 1:] == pytest.approx(by_all_ways(days, values, 1e-3, none_bad), abs=0.03)


def test_the_next_survey_tells_a_jump_from_a_bad_survey() -> None:
    days = [0, 30, 60, 90, 120]
    stays = follow(days, [[[0, 0.01, 0.4, 0.41, 0.4], [0, 0, 0.0, -0.01, 0], [0, 0, 0.01, 0, 0]]])
    back = follow(days, [[[0, 0.01, 0.4, 0.01, 0.0], [0, 0, 0.0, -0.01, 0], [0, 0, 0.01, 0, 0]]])
    assert stays.at_once[JUMP][0, 2] == pytest.approx(back.at_once[JUMP][0, 2]), "until then nobody can know"
    assert stays.ways[JUMP][0, 2] > 0.95 > 0.05 > back.ways[JUMP][0, 2]
    assert back.ways[BAD][0, 2] > 0.95 > 0.05 > stays.ways[BAD][0, 2]
    assert np.delete(stays.ways[JUMP], 2, axis=1).max() < 0.1
    level = (stays.belief.weights * stays.belief.mean[0, :, 0]).sum()
    assert level == pytest.approx(0.4, abs=0.02)
    level = (back.belief.weights * back.belief.mean[0, :, 0]).sum()
    assert level == pytest.approx(0.005, abs=0.02), "a bad survey moves nothing"


def test_where_nothing_happens_it_is_the_filter_of_drift() -> None:
    rng = np.random.default_rng(3)
    days, values = np.cumsum(rng.uniform(5, 60, 12)), rng.normal(0, 0.02, (4, 3, 12))
    never = Hazard(jumps_per_year=0.0, jump_deg=0.3, bad_share=0.0, bad_deg=1.0)
    found, plain = follow(days, values, never), filtered(surveys(days, values), WALK)
    assert found.belief.weights[0] == pytest.approx(1)
    assert found.belief.mean[:, 0] == pytest.approx(np.moveaxis(plain.mean[..., -1], 1, -1))
    assert found.belief.cov[:, :, 0] == pytest.approx(np.moveaxis(plain.cov[..., -1], 2, -1))
    assert found.ways[1:] == pytest.approx(0, abs=1e-12)
    assert found.ways[NONE] == pytest.approx(1)
    assert found.log_likelihood == pytest.approx(plain.log_likelihood.sum(axis=1))


def test_pitch_roll_and_twist_jump_together() -> None:
    """A little in each of them is a jump as a whole, though none alone would be."""
    days, small = [0, 30, 60, 90], [0, 0, 0.13, 0.13]
    alone = follow(days, [[small, [0, 0, 0, 0], [0, 0, 0, 0]]]).ways[JUMP, 0, 2]
    together = follow(days, [[small, small, small]]).ways[JUMP, 0, 2]
    assert together > 0.9 > 0.3 > alone


def test_many_machines_are_as_one_by_one_and_step_by_step() -> None:
    """More than one block, days and lengths of their own; the same once more survey after survey."""
    rng = np.random.default_rng(4)
    count, lengths = 1100, rng.integers(1, 7, 1100)
    days = np.cumsum(rng.uniform(1, 90, (count, 1, 6)), axis=-1)
    values = rng.normal(0, 0.2, (count, 3, 6))
    seen = np.arange(6) < lengths[:, None, None]
    many = follow(days, values, seen=seen)
    for row in (0, 1, 1023, 1024, 1099):
        length = lengths[row]
        one = follow(days[row, :, :length], values[row : row + 1, :, :length])
        assert one.ways[JUMP][0] == pytest.approx(many.ways[JUMP][row, :length], abs=1e-12)
        assert one.belief.mean[..., 0] == pytest.approx(many.belief.mean[..., row])
        assert many.belief.day[row] == days[row, 0, length - 1]
        model = Model(walk=WALK, hazard=HAZARD).of(1, 3)
        fill = np.full((3, 1), 1e-3)
        steps = [
            Survey(days[row, :, k], values[row, :, k, None], fill, 0 * fill, 0 * fill, np.array([True]))
            for k in range(length)
        ]
        belief = begun(steps[0], placed=days[row, :, 0], model=model)
        for survey in steps[1:]:
            after = updated(belief, survey, model=model)
            belief = after.belief
            assert after.ways.sum() == pytest.approx(1)
        assert belief.weights[:, 0] == pytest.approx(many.belief.weights[:, row])
    assert many.ways[JUMP][seen[:, 0] == 0] == pytest.approx(0)


def test_who_turned_and_told_nobody_is_believed_once_it_stays() -> None:
    """A degree and a half between two surveys of one day is no jump, which needs time. It was set anew, or read wrong:
    the next survey tells."""
    careful = Hazard(jumps_per_year=0.5, jump_deg=0.3, bad_share=0.01, bad_deg=1.0, set_share=0.02, set_deg=1.0)
    days = [0, 30, 30, 60]
    stays = follow(days, [[[0, 0, 1.5, 1.5], [0] * 4, [0] * 4]], careful)
    back = follow(days, [[[0, 0, 1.5, 0], [0] * 4, [0] * 4]], careful)
    assert stays.at_once[SET, 0, 2] == pytest.approx(2 / 3, abs=0.02), "as often as 0.02 to 0.01"
    assert stays.ways[SET, 0, 2] > 0.95
    assert back.ways[BAD, 0, 2] > 0.95
    assert stays.ways.sum(axis=0) == pytest.approx(1)


def test_turning_the_legs_moves_every_way() -> None:
    belief = follow([0, 30], [[[0.3, 0.3], [0, 0], [0, 0]]]).belief
    turned = stepped(belief, steps=np.array([[-0.3, 0, 0]]), variances=np.array([[1e-3, 0, 0]]))
    assert turned.mean[0, :, 0] == pytest.approx(belief.mean[0, :, 0] - 0.3)
    assert turned.cov[0, 0, :, 0] == pytest.approx(belief.cov[0, 0, :, 0] + 1e-3)
    assert np.array_equal(turned.mean[:, :, 1:], belief.mean[:, :, 1:])


def test_it_refuses_what_does_not_fit() -> None:
    with pytest.raises(BadInput, match="Give machines, quantities, surveys"):
        follow([0, 1], [[0.0, 0.1]])
    with pytest.raises(BadInput, match="does not fit 2 machines"):
        follow([0, 1], np.zeros((2, 3, 2)), Hazard(np.ones(3), np.array(0.3), np.array(0.0), np.array(1.0)))
    for name in ("jump_deg", "bad_deg"):
        with pytest.raises(BadInput):
            Hazard(**{**vars(HAZARD), name: np.array(0.0)})
    with pytest.raises(BadInput):
        Hazard(**{**vars(HAZARD), "bad_share": np.array(1.0)})
