"""Level and rate over irregular days: the published Nile, another filter's states, and what must hold by itself."""

from typing import Any

import numpy as np
import pytest
from statsmodels.datasets import nile
from statsmodels.tsa.statespace.initialization import Initialization
from statsmodels.tsa.statespace.kalman_filter import KalmanFilter

from leveling.drift import Filtered, Series, Walk, filtered
from leveling.errors import BadInput

ZERO = np.zeros(1)


def series(days: Any, values: Any, variances: Any, steps: Any = ZERO, step_variances: Any = ZERO) -> Series:
    return Series(days=days, values=values, variances=variances, steps=steps, step_variances=step_variances,
                  seen=np.ones(1, dtype=bool))  # fmt: skip


def walk(level: Any, rate: Any = 0.0, first_rate: Any = 0.0) -> Walk:
    return Walk(level=np.asarray(level), rate=np.asarray(rate), first_rate=np.asarray(first_rate))


def nile_by_years(count: int = 100) -> Filtered:
    """The flow of the Nile at Aswan, 1871 to 1970, as it ships with statsmodels; a year is a day here."""
    flow = nile.load_pandas().data["volume"].to_numpy()[:count]
    return filtered(series(np.arange(count), flow, [15099.0]), walk(1469.1))


def test_the_nile_as_published() -> None:
    """Durbin and Koopman, 2012, section 2.2 and figure 2.1."""
    found = nile_by_years()
    assert float(found.log_likelihood) == pytest.approx(-632.5456, abs=1e-3), "without the first year's -ln(2 pi)/2"
    assert float(found.mean[0][-1]) == pytest.approx(798.370, abs=1e-3)
    assert float(found.cov[0, 0][-1]) == pytest.approx(4032.158, abs=1e-3)
    expected = found.expected[-1] - 15099
    assert float(expected) == pytest.approx(5501.258, abs=1e-2)
    assert float(expected / found.expected[-1]) == pytest.approx(0.26705, abs=1e-5)


@pytest.mark.parametrize(("years", "variance"), [(1, 20600.26), (10, 33822.16), (30, 63204.16)])
def test_the_nile_foretold(years: int, variance: float) -> None:
    """What a flow so many years on would vary by: the same source."""
    cov = nile_by_years().cov
    assert float(cov[0, 0][-1] + 1469.1 * years + 15099) == pytest.approx(variance, abs=0.01)


def peer(days: Any, values: Any, variances: Any, steps: Any, step_variances: Any, noise: Any) -> Any:
    """The same model in statsmodels: one univariate filter whose matrices change with time."""
    level, rate, first_rate = noise
    count, days_on = len(values), np.append(np.diff(days), 0.0)
    model = KalmanFilter(k_endog=1, k_states=2, k_posdef=2)
    model.bind(values[:, None].copy())
    transition, noise_of, added = np.zeros((2, 2, count)), np.zeros((2, 2, count)), np.zeros((2, count))
    transition[0, 0], transition[1, 1], transition[0, 1] = 1, 1, days_on
    noise_of[0, 0] = level * days_on + rate * days_on**3 / 3
    noise_of[0, 1] = noise_of[1, 0] = rate * days_on**2 / 2
    noise_of[1, 1] = rate * days_on
    noise_of[0, 0, :-1] += step_variances[1:]
    added[0, :-1] = steps[1:]
    model["design"], model["selection"], model["transition"] = np.array([[1.0, 0.0]]), np.eye(2), transition
    model["state_cov"], model["state_intercept"], model["obs_cov"] = noise_of, added, variances[None, None, :]
    first = Initialization(2)
    first.set(0, "diffuse")
    first.set(1, "known", constant=[0], stationary_cov=[[first_rate]])
    model.initialize(first)
    return model.filter()


def random_rows(rng: np.random.Generator, count: int) -> list[tuple[Any, ...]]:
    """Series of 2 to 40 surveys: days from none to a year apart, re-levels now and then, noises over decades."""
    rows = []
    for _ in range(count):
        surveys = int(rng.integers(2, 41))
        days = np.cumsum(rng.choice([0, 1, 7, 30, 90, 365], surveys) * rng.uniform(0.5, 1.5, surveys))
        values = 6 + np.cumsum(rng.normal(0, 0.1, surveys))
        steps = rng.normal(0, 0.5, surveys) * (rng.random(surveys) < 0.2)
        noise = 10 ** rng.uniform(-7, -4), 10 ** rng.uniform(-11, -8), 10 ** rng.uniform(-8, -5)
        rows.append((days, values, rng.uniform(1e-4, 1e-2, surveys), steps, (steps != 0) * 1e-3, noise))
    return rows


def test_states_as_another_filter_has_them() -> None:
    """200 random irregular series through statsmodels, each by itself: states to 1e-9, and the likelihood too."""
    for days, values, variances, steps, step_variances, noise in random_rows(np.random.default_rng(20_261_129), 200):
        found = filtered(series(days, values, variances, steps, step_variances), walk(*noise))
        wanted = peer(days, values, variances, steps, step_variances, noise)
        assert np.abs(found.mean[0] - wanted.filtered_state[0]).max() < 1e-9
        assert np.abs(found.mean[1] - wanted.filtered_state[1]).max() < 1e-9
        assert np.abs(found.cov[0, 0] - wanted.filtered_state_cov[0, 0]).max() < 1e-9
        assert np.abs(found.cov[0, 1] - wanted.filtered_state_cov[0, 1]).max() < 1e-9
        assert np.abs(found.cov[1, 1] - wanted.filtered_state_cov[1, 1]).max() < 1e-9
        first = -0.5 * np.log(2 * np.pi)  # statsmodels keeps the first survey's constant
        assert float(found.log_likelihood) == pytest.approx(wanted.llf_obs.sum() - first, abs=1e-8)


def test_many_at_once_are_as_one_by_one() -> None:
    """Pitch, roll and twist of machines with days of their own: a batch of (machines, 3), more than one block."""
    rng = np.random.default_rng(1)
    days = np.cumsum(rng.uniform(1, 90, (5000, 1, 6)), axis=-1)
    values, variances = rng.normal(0, 1, (5000, 3, 6)), rng.uniform(1e-3, 1e-2, (5000, 3, 6))
    noise = walk([1e-5, 2e-5, 3e-5], 1e-9, 1e-6)
    many = filtered(series(days, values, variances), noise)
    assert many.mean[0].shape == (5000, 3, 6)
    assert many.log_likelihood.shape == (5000, 3)
    for row, which in ((0, 0), (1365, 2), (1366, 0), (4999, 1)):
        one = filtered(
            series(days[row, 0], values[row, which], variances[row, which]), walk(noise.level[which], 1e-9, 1e-6)
        )
        assert np.array_equal(one.mean[0], many.mean[0][row, which])
        assert np.array_equal(one.cov[1, 1], many.cov[1, 1][row, which])


def test_none_at_all() -> None:
    none = filtered(series(np.zeros((0, 1, 4)), np.zeros((0, 3, 4)), np.ones(1)), walk(1e-5))
    assert none.mean[0].shape == (0, 3, 4)
    assert none.log_likelihood.shape == (0, 3)


def test_after_its_end_a_series_goes_on_by_itself() -> None:
    """What was not seen tells nothing: the rest is as if it ended there, and then time passes."""
    days, values = np.array([0.0, 30, 60, 90]), np.array([6.5, 6.4, 9.9, 9.9])
    noise = walk(1e-5, 1e-9, 1e-6)
    cut = Series(days=days, values=values, variances=np.full(4, 0.0025), steps=ZERO, step_variances=ZERO,
                 seen=np.array([True, True, False, False]))  # fmt: skip
    found, short = filtered(cut, noise), filtered(series(days[:2], values[:2], [0.0025]), noise)
    assert np.array_equal(found.mean[0][:2], short.mean[0])
    assert float(found.log_likelihood) == pytest.approx(float(short.log_likelihood))
    rate = float(short.mean[1][-1])
    assert found.mean[0][2:] - short.mean[0][-1] == pytest.approx([30 * rate, 60 * rate])
    assert (found.surprise[2:], found.expected[2:]) == (pytest.approx(0), pytest.approx(1))
    assert np.all(np.diff(found.cov[0, 0][1:]) > 0)


def test_a_known_step_is_no_drift() -> None:
    """A re-level of 0.5 that is told moves the level and leaves rate and likelihood as they were."""
    days, values = np.arange(0, 300, 30.0), 6 + 0.01 * np.arange(10)
    steps = np.where(np.arange(10) == 5, 0.5, 0.0)
    noise = walk(1e-5, 1e-9, 1e-6)
    plain = filtered(series(days, values, [0.0025]), noise)
    told = filtered(series(days, values + np.cumsum(steps), [0.0025], steps), noise)
    assert told.mean[1] == pytest.approx(plain.mean[1])
    assert told.mean[0] - plain.mean[0] == pytest.approx(np.cumsum(steps))
    assert float(told.log_likelihood) == pytest.approx(float(plain.log_likelihood))
    silent = filtered(series(days, values + np.cumsum(steps), [0.0025]), noise)
    assert float(silent.log_likelihood) < float(plain.log_likelihood) - 5


def test_what_hangs_on_the_unit_only() -> None:
    """In thousandths of a degree everything is a thousand times as large, variances a million times."""
    days, values = np.array([0.0, 20, 70]), np.array([6.5, 6.4, 6.45])
    one = filtered(series(days, values, [0.0025]), walk(1e-5, 1e-9, 1e-6))
    other = filtered(series(days, 1000 * values, [2500.0]), walk(10, 1e-3, 1))
    assert other.mean[0] == pytest.approx(1000 * one.mean[0])
    assert other.cov[0, 1] == pytest.approx(1e6 * one.cov[0, 1])


@pytest.mark.parametrize(
    ("name", "given"),
    [
        ("days", {"days": [0.0, 5, 4]}),
        ("days", {"days": [0.0, np.nan, 4]}),
        ("values", {"values": [1.0, 2, np.inf]}),
        ("values", {"values": np.zeros((3, 0)), "days": np.zeros(0), "seen": np.ones((3, 0), dtype=bool)}),
        ("values", {"values": np.zeros((2, 4))}),
        ("variances", {"variances": [1.0, 0, 1]}),
        ("step_variances", {"step_variances": [0.0, -1, 0]}),
        ("seen", {"seen": [False, True, True]}),
        ("seen", {"seen": [1, 1, 1]}),
    ],
)
def test_it_refuses_what_is_no_series(name: str, given: dict[str, Any]) -> None:
    good: dict[str, Any] = {
        "days": np.array([0.0, 5, 9]), "values": np.array([1.0, 2, 3]), "variances": np.ones(3), "steps": ZERO,
        "step_variances": ZERO, "seen": np.ones(3, dtype=bool),
    }  # fmt: skip
    with pytest.raises(BadInput) as refused:
        Series(**good | given)
    assert refused.value.name == name


def test_it_refuses_a_walk_that_does_not_fit() -> None:
    with pytest.raises(BadInput, match="does not fit"):
        filtered(series([0.0, 1], [[6.0, 6.1]], [0.0025]), walk([1e-5, 1e-5]))
    with pytest.raises(BadInput):
        walk(-1e-5)
