"""The shape of an error: stated limits are even, the rest is normal, and a verdict goes by both."""

import numpy as np
import pytest
from scipy.stats import norm

from leveling.errors import BadInput
from leveling.verdicts import NOT_PROVEN, PROVEN_IN, PROVEN_OUT, judge, provable
from leveling.verdicts_shapes import Spread, chance_below, even_together, normal_spread


@pytest.mark.parametrize(("even", "even_too"), [(0, 0), (0.9, 0), (0.7, 0.7), (0.6, 0.5), (0.3, 0.03), (0.95, 0.1)])
def test_a_shape_agrees_with_errors_drawn_one_by_one(even, even_too) -> None:
    rng = np.random.default_rng(11)
    drawn = np.sqrt(3) * (even * rng.uniform(-1, 1, 400_000) + even_too * rng.uniform(-1, 1, 400_000))
    drawn += np.sqrt(max(1 - even**2 - even_too**2, 0)) * rng.normal(size=400_000)
    spread = Spread(u=1.0, even=even, even_too=even_too)
    for distance in (-2.2, -1.0, -0.3, 0.0, 0.5, 1.645):
        assert float(chance_below(distance, spread)) == pytest.approx(np.mean(drawn < distance), abs=0.004)


def test_without_even_parts_it_is_the_normal_distribution_and_just_above_it_stays_near() -> None:
    distance = np.linspace(-3, 3, 61)
    assert chance_below(distance, normal_spread(1.0)) == pytest.approx(norm.cdf(distance), abs=1e-15)
    slightly = chance_below(distance, Spread(u=1.0, even=0.0201, even_too=0.0201))
    assert slightly == pytest.approx(norm.cdf(distance), abs=1e-6)


def test_a_shape_is_mirrored_and_rises() -> None:
    distance = np.linspace(-8, 8, 1601)
    for even, even_too in ((0.6, 0.5), (1.0, 0.0), (0.8, 0.6), (0.999, 0.03)):
        chance = chance_below(distance, Spread(u=1.0, even=even, even_too=even_too))
        assert chance + chance[::-1] == pytest.approx(1, abs=1e-12)
        assert (np.diff(chance) >= -1e-12).all()
        assert chance[0] == pytest.approx(0, abs=1e-14)


def test_infinite_limits_and_an_exactly_known_value() -> None:
    spread = Spread(u=np.array([1.0, 0.0]), even=np.array([0.8, 0.0]), even_too=0.0)
    assert chance_below(np.inf, spread).tolist() == pytest.approx([1, 1], abs=1e-15)
    assert chance_below(-np.inf, spread).tolist() == pytest.approx([0, 0], abs=1e-15)
    assert chance_below(0.0, spread).tolist() == pytest.approx([0.5, 1])


@pytest.mark.parametrize(
    "wrong",
    [
        {"u": -1.0},  # no uncertainty is negative
        {"u": np.nan},
        {"even": 1.1},  # more than all parts together
        {"even": 0.8, "even_too": 0.8},
    ],
)
def test_a_spread_refuses_what_cannot_be(wrong) -> None:
    with pytest.raises(BadInput):
        Spread(**({"u": 1.0, "even": 0.0, "even_too": 0.0} | wrong))


def test_a_limit_that_is_not_a_number_is_refused() -> None:
    with pytest.raises(BadInput, match="distance"):
        chance_below(np.nan, normal_spread(1.0))


def test_even_parts_together_have_the_fourth_cumulant_of_all() -> None:
    """Cumulants of independent parts add; -1.2 u^4 for a rectangle, so the mean of 4 alike has 1/4^3 of it."""
    assert float(even_together(0.3, 0.4)) == pytest.approx((0.3**4 + 0.4**4) ** 0.25)
    mean_of_four = even_together(*[1 / 4] * 4)
    assert float(mean_of_four) ** 4 == pytest.approx(1 / 4**3)


def test_a_stated_limit_alone_has_no_tails() -> None:
    """Accuracy 0.1, all else nothing: 0.095 from the limit is proven, since 95 % of a rectangle lie within it."""
    u = 0.1 / np.sqrt(3)
    even = Spread(u=u, even=u, even_too=0.0)
    inside = judge(value=[0.105, 0.111], u=even, low=-10, high=0.2).certificate
    assert inside.tolist() == [PROVEN_IN, NOT_PROVEN]  # 0.2 - 0.9 x 0.1 = 0.11
    outside = judge(value=[0.289, 0.295], u=even, low=-10, high=0.2).certificate
    assert outside.tolist() == [NOT_PROVEN, PROVEN_OUT]
    assert provable(tolerance=[0.094, 0.096], u=even).tolist() == [False, True]


def test_a_normal_spread_judges_as_a_number_does() -> None:
    value = np.linspace(6, 7, 101)
    one = judge(value=value, u=0.06, low=6.3, high=6.7)
    other = judge(value=value, u=normal_spread(0.06), low=6.3, high=6.7)
    assert other.chance == pytest.approx(one.chance, abs=1e-14)
    assert (other.certificate == one.certificate).all()
    assert (other.daily == one.daily).all()
