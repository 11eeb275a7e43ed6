"""EWMA and CUSUM: the handbook's numbers, the known run lengths, and limits that follow each survey's uncertainty."""

import numpy as np
import pytest

from leveling.drift_charts import cusum, ewma
from leveling.errors import BadInput

#: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4: measurements, and their EWMA with weight 0.3.
MEASURED = (52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
            49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)  # fmt: skip
AVERAGED = (50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
            50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99)  # fmt: skip


def test_the_handbooks_ewma() -> None:
    chart = ewma(MEASURED, u=2.0539, middle=50.0, weight=0.3, sigmas=3.0)
    assert chart.upper == pytest.approx(AVERAGED, abs=0.0051)
    assert float(chart.high[-1]) == pytest.approx(52.5884, abs=1e-4), "the handbook's straight line, reached in the end"
    assert float(chart.low[-1]) == pytest.approx(47.4116, abs=1e-4), "printed 47.4115 there, cut and not rounded"
    assert not chart.out.any()


def test_each_limit_follows_its_own_surveys() -> None:
    """From the definition: z_3 = 0.3 x_3 + 0.21 x_2 + 0.147 x_1 + 0.343 middle."""
    u = np.array([0.1, 0.02, 0.05])
    chart = ewma([0.1, 0.0, -0.2], u=u, middle=0.0)
    weights = np.array([0.147, 0.21, 0.3])
    assert float(chart.upper[-1]) == pytest.approx(weights @ [0.1, 0.0, -0.2])
    assert float(chart.high[-1]) == pytest.approx(3 * np.sqrt(weights**2 @ u**2))


def test_where_nothing_moves_limits_are_passed_as_rarely_as_said() -> None:
    """Uneven uncertainties, 100,000 machines: 3 sigmas are passed by 0.27 % at each single survey."""
    rng = np.random.default_rng(6)
    u = rng.uniform(0.02, 0.2, (100_000, 12))
    out = ewma(rng.normal(0, u), u=u, middle=0.0).out.mean(axis=0)
    assert out == pytest.approx(0.0027, abs=0.0007)


@pytest.mark.parametrize(("shift", "length", "within"), [(0.0, 465.0, 12.0), (1.0, 10.4, 0.1)])
def test_the_known_run_lengths_of_cusum(shift: float, length: float, within: float) -> None:
    """Slack 0.5, limit 5: 465 surveys until a false call, 10.4 at one u off (Montgomery, from memory)."""
    rng = np.random.default_rng(7)
    machines, surveys = (6000, 4000) if shift == 0 else (60_000, 200)
    u = rng.uniform(0.02, 0.2, (machines, 1))
    runs = []
    for start in range(0, machines, 1000):
        spread = u[start : start + 1000]
        out = cusum(rng.normal(shift, 1, (1000, surveys)) * spread, u=spread, middle=0.0).out
        runs.append(np.where(out.any(axis=1), out.argmax(axis=1) + 1, surveys))
    assert float(np.mean(runs)) == pytest.approx(length, abs=within)


def test_cusum_by_hand_and_upside_down() -> None:
    values, u = np.array([0.1, 0.3, -0.4, -0.6]), np.array([0.1, 0.2, 0.2, 0.1])
    chart = cusum(values, u=u, middle=0.0)
    assert chart.upper == pytest.approx([0.5, 1.5, 0, 0])
    assert chart.lower == pytest.approx([0, 0, -1.5, -7.0])
    assert chart.out.tolist() == [False, False, False, True]
    mirrored = cusum(-values, u=u, middle=0.0)
    assert mirrored.upper == pytest.approx(-chart.lower)


def test_they_refuse_what_makes_no_chart() -> None:
    for chart in (ewma, cusum):
        with pytest.raises(BadInput):
            chart(6.5, u=0.1, middle=6.5)
        with pytest.raises(BadInput):
            chart([6.5], u=[0.0], middle=6.5)
        with pytest.raises(BadInput):
            chart([np.nan], u=[0.1], middle=6.5)
    with pytest.raises(BadInput):
        ewma([6.5], u=[0.1], middle=6.5, weight=0.0)
