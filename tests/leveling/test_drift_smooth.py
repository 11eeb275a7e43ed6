"""The past with hindsight: as the joint normal distribution of all surveys and all days has it."""

import numpy as np
import pytest

from leveling.drift import Series, Walk
from leveling.drift_jumps import followed
from leveling.drift_model import Hazard, Model
from leveling.drift_smooth import smoothed, told
from leveling.errors import BadInput

WALK = Walk(level=2e-5, rate=3e-9, first_rate=1e-6, settling=0.02, settling_days=40.0, yearly=0.004, yearly_peak=200.0)


def jointly(series: Series, walk: Walk, days: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance on each day by conditioning: no filter, one covariance of everything, level nearly unknown.

    Whatever is told apart here comes from the walk's definition: Brownian level, integrated Brownian rate, shapes.
    """
    surveyed = series.days
    every = np.concatenate([surveyed, days])
    ages = every - surveyed[0]
    early, late = np.minimum.outer(ages, ages), np.maximum.outer(ages, ages)
    sink = -np.exp(-ages / float(walk.settling_days))
    season = np.cos(2 * np.pi * (every - float(walk.yearly_peak)) / 365.25)
    covariance = (
        1e3
        + float(walk.level) * early
        + float(walk.rate) * early**2 * (3 * late - early) / 6
        + float(walk.first_rate) * np.outer(ages, ages)
        + float(walk.settling) * np.outer(sink, sink)
        + float(walk.yearly) * np.outer(season, season)
    )
    mean = np.full(len(every), series.values[0])
    for k in range(1, len(surveyed)):
        after = every >= surveyed[k]  # a step counts as made just before the survey that follows it
        mean += series.steps[k] * after
        covariance += series.step_variances[k] * np.outer(after, after)
    count = len(surveyed)
    read = covariance[:count, :count] + np.diag(series.variances)
    gain = np.linalg.solve(read, covariance[:count, count:]).T
    there = mean[count:] + gain @ (series.values - mean[:count])
    return there, np.diag(covariance[count:, count:] - gain @ covariance[:count, count:])


@pytest.mark.parametrize("seed", range(10))
def test_every_day_as_the_joint_distribution_has_it(seed: int) -> None:
    """Random surveys with steps; all days to 1e-5 degree, which the nearly unknown level of the peer allows."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 9))
    steps = rng.normal(0, 0.3, count) * (rng.random(count) < 0.3)
    series = Series(
        days=rng.uniform(0, 300) + np.cumsum(rng.uniform(1, 120, count)),
        values=rng.normal(6, 0.2, count),
        variances=rng.uniform(1e-3, 1e-2, count),
        steps=steps,
        step_variances=np.where(steps != 0, 1e-3, 0.0),
        seen=np.ones(1, dtype=bool),
    )
    days = np.sort(np.append(rng.uniform(series.days[0], series.days[-1], 20), series.days))
    found = smoothed(series, WALK, days=days)
    number, variance = jointly(series, WALK, days)
    assert found.number == pytest.approx(number, abs=1e-5)
    assert found.variance == pytest.approx(variance, abs=1e-6)


def test_hindsight_takes_a_jump_for_a_jump_and_a_bad_survey_for_bad() -> None:
    """After a jump the band follows at once; a bad survey bends nothing."""
    days = np.arange(0, 300, 30.0)
    jumped, bad = 0.5 * (days >= 150), 0.5 * (days == 150)
    series = Series(days=days, values=np.stack([jumped, bad])[:, None], variances=np.full(1, 1e-3),
                    steps=np.zeros(1), step_variances=np.zeros(1), seen=np.ones(1, dtype=bool))  # fmt: skip
    hazard = Hazard(jumps_per_year=0.5, jump_deg=0.3, bad_share=0.01, bad_deg=1.0)
    walk = Walk(level=1e-6, rate=0.0, first_rate=1e-10)
    seen = told(series, followed(series, Model(walk=walk, hazard=hazard)), hazard=hazard)
    for row, expected in enumerate((jumped, np.zeros(10))):
        one = Series(**{
            name: value if name in ("days", "seen") else np.broadcast_to(value, (2, 1, 10))[row, 0]
            for name, value in vars(seen).items() if name != "placed"
        })  # fmt: skip
        found = smoothed(one, walk, days=days)
        assert found.number == pytest.approx(expected, abs=0.03)
        assert np.sqrt(found.variance).max() < 0.032


def test_it_refuses_days_that_no_survey_encloses() -> None:
    series = Series(days=[10.0, 60.0], values=[6.5, 6.6], variances=[1e-4], steps=np.zeros(1),
                    step_variances=np.zeros(1), seen=np.ones(1, dtype=bool))  # fmt: skip
    for day in (9.9, 60.1):
        with pytest.raises(BadInput) as refused:
            smoothed(series, WALK, days=[day])
        assert refused.value.name == "days"
    with pytest.raises(BadInput, match="Give one series"):
        smoothed(Series(**{**vars(series), "values": np.zeros((2, 2)), "placed": None}), WALK, days=[20.0])
