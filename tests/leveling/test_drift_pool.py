"""Pooling: groups that truly move otherwise are found out, and where little was seen the built-in model stays."""

from dataclasses import replace

import numpy as np
import pytest

from leveling.drift import Series
from leveling.drift_forecast import chance_out
from leveling.drift_jumps import followed, stepped
from leveling.drift_model import Model
from leveling.drift_pool import FACTOR_SPREAD, pooled
from leveling.errors import BadInput
from leveling.simulate_drift import GROUNDS, model_of, move
from leveling.simulate_drift_visits import TOLERANCES_DEG, Visited, visit

VISITS = 10


def watched(
    kinds: np.ndarray, visits: int = VISITS, looks: int = 0, seed: int = 8
) -> tuple[Visited, Series, np.ndarray]:
    """Machines on their floors, visited every 30 to 60 days and, where asked, looked at half a year later."""
    rng = np.random.default_rng(seed)
    days = np.cumsum(rng.uniform(30, 60, (len(kinds), visits)), axis=1)
    ahead = np.concatenate([days] + [days[:, -1:] + 180.0] * looks, axis=1)
    placed = days[:, 0]
    moved = move(rng=rng, kinds=kinds, days=ahead, placed=placed).number
    visited = visit(rng=rng, days=ahead, moved=moved, visits=visits)
    return visited, replace(visited.series, placed=placed[:, None]), ahead


def wrong(model: Model, factor: float, jumps_per_year: float) -> Model:
    """A built-in model that is off: every variance of the walk by a factor, and the rate of jumps."""
    names = ("level", "rate", "first_rate", "settling", "yearly")
    walk = replace(model.walk, **{name: getattr(model.walk, name) * factor for name in names})
    jumps = np.full(model.hazard.jumps_per_year.shape, jumps_per_year)
    return Model(walk=walk, hazard=replace(model.hazard, jumps_per_year=jumps))


def test_what_all_machines_of_a_kind_taught() -> None:
    """200 machines a kind, a built-in walk 8 times too unsteady and jumps 4 times too often: both are found."""
    kinds = np.repeat(np.arange(len(GROUNDS)), 200)
    _, series, _ = watched(kinds)
    taught = pooled(series, wrong(model_of(kinds), 8.0, 2.0), group=kinds, groups=len(GROUNDS))
    assert taught.factor == pytest.approx(1 / 8, rel=0.35)
    assert taught.jumps_per_year == pytest.approx([ground.jumps_per_year for ground in GROUNDS.values()], rel=0.35)
    assert (taught.factor_spread < 0.3).all()
    assert taught.machines.tolist() == [200] * len(GROUNDS)
    assert taught.years.sum() == pytest.approx((np.diff(series.days[:, 0, [0, -1]])).sum() / 365.25)


def test_its_forecasts_are_right_again() -> None:
    """Half a year ahead: the built-in model says far too much, what the machines taught is right within 3 points."""
    kinds = np.repeat(np.arange(len(GROUNDS)), 400)
    visited, series, days = watched(kinds, visits=6, looks=1)
    off = wrong(model_of(kinds), 10.0, 1.5)
    taught = pooled(series, off, group=kinds, groups=len(GROUNDS)).model(off, kinds)
    out = (np.abs(visited.number[..., -1]) > TOLERANCES_DEG).any(axis=1)
    said = {}
    for name, model in (("built in", off), ("taught", taught)):
        belief = stepped(followed(series, model).belief, steps=visited.step, variances=visited.step_variance)
        each = model.of(len(kinds), 3)
        said[name] = chance_out(belief, model=each, limits=visited.limits, days=days[:, -1] - days[:, -2]).mean()
    assert said["taught"] == pytest.approx(out.mean(), abs=0.03)
    assert said["built in"] > out.mean() + 0.2


def test_with_few_surveys_the_built_in_model_stays() -> None:
    """One machine with two surveys moves little; a group that nobody surveyed twice moves nothing."""
    kinds = np.array([0, 1])
    _, series, _ = watched(kinds, visits=2)
    seen = np.broadcast_to(np.array([[[True, True]], [[True, False]]]), (2, 3, 2))
    prior = model_of(kinds)
    taught = pooled(replace(series, seen=seen), prior, group=kinds, groups=2)
    assert abs(np.log(taught.factor[0])) < FACTOR_SPREAD
    assert taught.factor[1] == pytest.approx(1)
    assert taught.factor_spread[1] == pytest.approx(FACTOR_SPREAD, rel=0.05)
    built_in = [ground.jumps_per_year for ground in GROUNDS.values()]
    assert taught.jumps_per_year[0] == pytest.approx(built_in[0], rel=0.3)
    assert taught.jumps_per_year[1] == built_in[1]
    assert taught.machines.tolist() == [1, 0]


def test_it_refuses_groups_that_do_not_fit() -> None:
    _, series, _ = watched(np.array([0, 1]), visits=2)
    for group in ([0], [0, 2], [0, -1]):
        with pytest.raises(BadInput) as refused:
            pooled(series, model_of(np.array([0, 1])), group=np.array(group), groups=2)
        assert refused.value.name == "group"
