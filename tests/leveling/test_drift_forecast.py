"""The forecast: against a machine that is simulated on from what is known, and what must hold by itself."""

from typing import Any

import numpy as np
import pytest

from leveling.drift import Walk
from leveling.drift_forecast import LONGEST_DAYS, Limits, band, chance_out, due
from leveling.drift_jumps import Belief, Survey, begun, updated
from leveling.drift_model import Hazard, Model
from leveling.errors import BadInput

TOLERANCES = np.array([[0.2], [0.15], [0.15]])
LIMITS = Limits(low=-TOLERANCES, high=TOLERANCES, shared=np.full((3, 1), 4e-4))
WALK = Walk(level=1e-5, rate=1e-10, first_rate=1e-7, settling=0.01, settling_days=40.0, yearly=0.005, yearly_peak=200.0)
HAZARD = Hazard(jumps_per_year=0.8, jump_deg=[0.25, 0.2, 0.1], bad_share=0.05, bad_deg=0.5)
MODEL = Model(walk=WALK, hazard=HAZARD).of(1, 3)


def survey(day: float, values: list[float], variance: float = 1e-3) -> Survey:
    column = np.array(values)[:, None]
    return Survey(np.array([day]), column, 0 * column + variance, 0 * column, 0 * column, np.array([True]))


def known(*surveys: Survey, model: Model = MODEL, placed: float = -20.0) -> Belief:
    belief = begun(surveys[0], placed=np.array([placed]), model=model)
    for each in surveys[1:]:
        belief = updated(belief, each, model=model).belief
    return belief


BELIEF = known(survey(0, [0.05, 0, 0.02]), survey(40, [0.16, 0.04, 0.05]))


def simulated(belief: Belief, days: float, count: int, rng: np.random.Generator) -> np.ndarray:
    """Where the machine truly is then: the state drawn, level and rate walked on in 50 small steps, jumps drawn."""
    way = rng.choice(len(belief.weights), count, p=belief.weights[:, 0])
    state = np.zeros((count, 3, belief.mean.shape[0]))
    for each in range(len(belief.weights)):
        for quantity in range(3):
            rows = way == each
            state[rows, quantity] = rng.multivariate_normal(
                belief.mean[:, each, quantity, 0], belief.cov[:, :, each, quantity, 0], rows.sum(), method="eigh"
            )
    level, rate = state[..., 0].copy(), state[..., 1].copy()
    step = days / 50
    for _ in range(50):
        level += rate * step + rng.normal(0, np.sqrt(1e-5 * step), level.shape)
        rate += rng.normal(0, np.sqrt(1e-10 * step), rate.shape)
    jumps = rng.poisson(0.8 * days / 365.25, count)[:, None]
    level += rng.normal(0, 1, level.shape) * np.sqrt(jumps) * np.array([0.25, 0.2, 0.1])
    day = 40 + days
    level -= state[..., 2] * np.exp(-(day + 20) / 40)
    level += state[..., 3] * np.cos(2 * np.pi * (day - 200) / 365.25)
    return level + rng.normal(0, 0.02, level.shape)  # the level's own zero


@pytest.mark.parametrize("days", [1.0, 30.0, 200.0])
def test_the_chance_and_the_band_as_simulated(days: float) -> None:
    """300,000 machines drawn from what is known: the share that is out within 0.004, 95 % inside the band."""
    there = simulated(BELIEF, days, 300_000, np.random.default_rng(7))
    out = (np.abs(there) > TOLERANCES[:, 0]).any(axis=1).mean()
    chance = float(chance_out(BELIEF, model=MODEL, limits=LIMITS, days=np.array(days))[0])
    assert chance == pytest.approx(out, abs=0.004)
    low, middle, high = band(BELIEF, model=MODEL, days=np.array(days), shared=LIMITS.shared)[:, :, 0]
    assert (there < low).mean(axis=0) == pytest.approx(0.025, abs=0.003)
    assert (there < middle).mean(axis=0) == pytest.approx(0.5, abs=0.01)
    assert (there > high).mean(axis=0) == pytest.approx(0.025, abs=0.003)


def chance_on(days: float, **more: Any) -> float:
    return float(chance_out(BELIEF, model=MODEL, limits=LIMITS, days=np.array(days), **more)[0])


@pytest.mark.parametrize("most", [0.3, 0.5, 0.7])
def test_the_due_day_is_the_first_with_too_large_a_chance(most: float) -> None:
    when = due(BELIEF, model=MODEL, limits=LIMITS, most=most)
    day = float(when.days[0])
    assert day > 1
    assert chance_on(day) > most
    assert max(chance_on(each) for each in np.arange(day)) <= most
    assert float(when.chance[0]) == pytest.approx(chance_on(day))
    parts = float(when.already[0]), float(when.drifting[0]), float(when.jumping[0])
    assert sum(parts) == pytest.approx(chance_on(day))
    assert parts[0] == pytest.approx(chance_on(0))
    assert parts[2] == pytest.approx(chance_on(day) - chance_on(day, jumps=False))
    assert int(when.quantity[0]) == 0, "pitch was last seen near its limit"


def test_what_is_out_is_due_at_once_and_what_stands_still_never() -> None:
    out = known(survey(0, [0.5, 0, 0]))
    assert float(due(out, model=MODEL, limits=LIMITS, most=0.1).days[0]) == 0
    still = Model(
        walk=Walk(level=0.0, rate=0.0, first_rate=0.0),
        hazard=Hazard(jumps_per_year=0.0, jump_deg=0.3, bad_share=0.0, bad_deg=1.0),
    ).of(1, 3)
    never = due(known(survey(0, [0, 0, 0]), model=still), model=still, limits=LIMITS, most=0.1)
    assert np.isinf(never.days[0])
    assert float(never.chance[0]) == pytest.approx(
        float(chance_out(known(survey(0, [0, 0, 0]), model=still), model=still, limits=LIMITS, days=np.array(730.0))[0])
    )
    assert LONGEST_DAYS == 730


def test_a_quantity_without_limits_is_never_out() -> None:
    free = Limits(low=[[-0.2], [-np.inf], [-np.inf]], high=[[0.2], [np.inf], [np.inf]], shared=4e-4)
    alone = float(chance_out(BELIEF, model=MODEL, limits=free, days=np.array(60.0))[0])
    assert 0 < alone < chance_on(60.0)


def test_more_of_anything_is_never_surer() -> None:
    """Later, with more jumps, or with an unsure zero of the level: the band only widens."""
    wide = [np.diff(band(BELIEF, model=MODEL, days=np.array(day), shared=LIMITS.shared)[[0, 2]], axis=0) for day in
            (0.0, 10.0, 100.0)]  # fmt: skip
    assert (wide[1] < wide[2]).all()
    sure = band(BELIEF, model=MODEL, days=np.array(10.0), shared=np.zeros((3, 1)))
    assert (np.diff(sure[[0, 2]], axis=0) < wide[1]).all()


def test_many_at_once_are_as_one_by_one() -> None:
    rng = np.random.default_rng(2)
    count = 50
    values, days = rng.normal(0, 0.1, (3, count)), rng.uniform(0, 300, count)
    model = Model(walk=WALK, hazard=HAZARD).of(count, 3)
    column = 0 * values
    last = Survey(np.zeros(count), values, column + 1e-3, column, column, np.ones(count, dtype=bool))
    belief = begun(last, placed=np.zeros(count), model=model)
    many = chance_out(belief, model=model, limits=LIMITS, days=days)
    when = due(belief, model=model, limits=LIMITS, most=np.array(0.2))
    for row in range(count):
        one, part = belief.of([row]), model.part([row])
        assert chance_out(one, model=part, limits=LIMITS, days=days[row])[0] == pytest.approx(many[row])
        assert due(one, model=part, limits=LIMITS, most=0.2).days[0] == when.days[row]
    assert len(set(when.days.tolist())) > 10


def test_it_refuses_what_is_no_limit() -> None:
    with pytest.raises(BadInput, match="higher limit last"):
        Limits(low=[[0.2]], high=[[0.2]], shared=0.0)
    with pytest.raises(BadInput):
        Limits(low=[[np.nan]], high=[[0.2]], shared=0.0)
    with pytest.raises(BadInput):
        chance_on(-1.0)
    with pytest.raises(BadInput):
        due(BELIEF, model=MODEL, limits=LIMITS, most=1.5)
