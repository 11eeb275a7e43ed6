"""Straight lines: the published fits, errors in both directions, and intervals that cover."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from leveling.errors import BadInput
from leveling.instruments_lines import (
    FITTED,
    NO_REST,
    ONE_PLACE,
    TOO_FEW,
    Estimate,
    Line,
    fit_line,
    fit_line_both,
    line_at,
    place_where,
)

# JCGM 100:2008 (GUM), H.3, Table H.6: a thermometer's readings [degree C] and corrections [degree C]
THERMOMETER_T = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
THERMOMETER_B = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]

# NIST StRD, Linear Least Squares, dataset Norris (ozone monitors), as it ships with SciPy's own tests
NORRIS_Y = [
    0.1,
    338.8,
    118.1,
    888.0,
    9.2,
    228.1,
    668.5,
    998.5,
    449.1,
    778.9,
    559.2,
    0.3,
    0.1,
    778.1,
    668.8,
    339.3,
    448.9,
    10.8,
    557.7,
    228.3,
    998.0,
    888.8,
    119.6,
    0.3,
    0.6,
    557.6,
    339.3,
    888.0,
    998.5,
    778.9,
    10.2,
    117.6,
    228.9,
    668.4,
    449.2,
    0.2,
]
NORRIS_X = [
    0.2,
    337.4,
    118.2,
    884.6,
    10.1,
    226.5,
    666.3,
    996.3,
    448.6,
    777.0,
    558.2,
    0.4,
    0.6,
    775.5,
    666.9,
    338.0,
    447.5,
    11.6,
    556.0,
    228.1,
    995.8,
    887.6,
    120.2,
    0.3,
    0.3,
    556.8,
    339.1,
    887.2,
    999.0,
    779.0,
    11.1,
    118.3,
    229.2,
    669.1,
    448.9,
    0.5,
]

# Pearson's data with York's weights, D. York, Can. J. Phys. 44 (1966) 1079 (from memory)
PEARSON_X = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4]
PEARSON_Y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5]
PEARSON_WEIGHT_X = [1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1.0]
PEARSON_WEIGHT_Y = [1.0, 1.8, 4.0, 8.0, 20, 20, 70, 70, 100, 500]


# Published lines


def test_gum_h3_the_thermometer() -> None:
    """JCGM 100:2008 (GUM), H.3: y1 -0.1712 (0.0029), y2 0.00218 (0.00067), r -0.930, s 0.0035 at t0 = 20."""
    line = fit_line(x=THERMOMETER_T, y=THERMOMETER_B, at=20)
    assert (line.value, line.u_value) == (pytest.approx(-0.1712, abs=5e-5), pytest.approx(0.0029, abs=5e-5))
    assert (line.slope, line.u_slope) == (pytest.approx(0.00218, abs=5e-6), pytest.approx(0.00067, abs=5e-6))
    assert line.correlation == pytest.approx(-0.930, abs=5e-4)
    assert line.residual_sd == pytest.approx(0.0035, abs=5e-5)
    assert line.freedom == 9


def test_gum_h3_the_correction_at_30_degrees() -> None:
    """JCGM 100:2008 (GUM), H.3.4: b(30) = -0.1494 with u 0.0041."""
    correction = line_at(fit_line(x=THERMOMETER_T, y=THERMOMETER_B, at=20), 30)
    assert correction.value == pytest.approx(-0.1494, abs=5e-5)
    assert correction.u == pytest.approx(0.0041, abs=5e-5)


def test_nist_norris() -> None:
    """NIST StRD Norris, certified: estimates, their standard deviations, residual standard deviation."""
    line = fit_line(x=NORRIS_X, y=NORRIS_Y)
    assert line.value == pytest.approx(-0.262323073774029, rel=1e-11)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert line.u_value == pytest.approx(0.232818234301152, rel=1e-11)
    assert line.u_slope == pytest.approx(0.429796848199937e-3, rel=1e-11)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-11)
    assert line.freedom == 34


def pearson(**more) -> Line:
    u_x, u_y = (1 / np.sqrt(weights) for weights in (PEARSON_WEIGHT_X, PEARSON_WEIGHT_Y))
    return fit_line_both(x=PEARSON_X, y=PEARSON_Y, u_x=u_x, u_y=u_y, **more)


def test_pearsons_data_with_yorks_weights() -> None:
    """York and others, Am. J. Phys. 72 (2004) 367: slope -0.480533407, intercept 5.47991022 (from memory)."""
    line = pearson()
    assert line.slope == pytest.approx(-0.480533407, abs=5e-10)
    assert line_at(line, 0).value == pytest.approx(5.47991022, abs=5e-9)


def test_pearsons_line_is_the_lowest_of_all() -> None:
    """A general minimizer that moves each point freely in x and y finds the same line: another way to the answer."""
    x, y, wx, wy = (np.array(v, dtype=float) for v in (PEARSON_X, PEARSON_Y, PEARSON_WEIGHT_X, PEARSON_WEIGHT_Y))

    def cost(parameters):
        intercept, slope, *true_x = parameters
        misses = np.sum(wx * (x - true_x) ** 2) + np.sum(wy * (y - intercept - slope * np.array(true_x)) ** 2)
        return misses

    found = minimize(cost, [5.0, -0.5, *x], method="BFGS", options={"gtol": 1e-7})
    line = pearson()
    assert line.slope == pytest.approx(found.x[1], abs=1e-6)
    assert line.sum_squares == pytest.approx(found.fun, abs=1e-6)


# Symmetries and limits


def test_swapping_x_and_y_gives_the_same_line() -> None:
    """Errors on both sides: neither direction is special. A plain fit of x on y would differ by r squared."""
    u_x, u_y = (1 / np.sqrt(weights) for weights in (PEARSON_WEIGHT_X, PEARSON_WEIGHT_Y))
    swapped = fit_line_both(x=PEARSON_Y, y=PEARSON_X, u_x=u_y, u_y=u_x)
    assert 1 / swapped.slope == pytest.approx(float(pearson().slope), rel=1e-9)


def test_without_errors_in_x_both_fits_are_one() -> None:
    u_y = np.linspace(0.003, 0.006, 11)
    plain = fit_line(x=THERMOMETER_T, y=THERMOMETER_B, u_y=u_y)
    both = fit_line_both(x=THERMOMETER_T, y=THERMOMETER_B, u_x=0, u_y=u_y)
    assert both.slope == pytest.approx(float(plain.slope), rel=1e-10)
    assert both.u_slope == pytest.approx(float(plain.u_slope), rel=1e-10)
    assert line_at(both, 0).u == pytest.approx(float(plain.u_value), rel=1e-9)
    assert both.sum_squares == pytest.approx(float(plain.sum_squares), rel=1e-9)


@settings(deadline=None)  # other work on the machine must not fail it
@given(at=st.floats(-50, 50), place=st.floats(-50, 50))
def test_where_the_line_is_pinned_changes_nothing(at, place) -> None:
    here = line_at(fit_line(x=THERMOMETER_T, y=THERMOMETER_B, at=at), place)
    there = line_at(fit_line(x=THERMOMETER_T, y=THERMOMETER_B, at=24), place)
    assert here.value == pytest.approx(float(there.value), abs=1e-12)
    assert here.u == pytest.approx(float(there.u), rel=1e-6, abs=1e-9)


@settings(deadline=None)  # other work on the machine must not fail it
@given(value=st.floats(-5, 5), slope=st.floats(0.1, 3), wanted=st.floats(-10, 10))
def test_the_place_where_the_line_reaches_a_height_has_that_height(value, slope, wanted) -> None:
    x = np.array([-2.0, 0.5, 3.0])
    line = fit_line(x=x, y=value + slope * x, u_y=[0.1, 0.2, 0.1])
    place = place_where(line, wanted)
    there = line_at(line, place.value)
    assert there.value == pytest.approx(wanted, abs=1e-9)
    assert place.u * slope == pytest.approx(float(there.u), rel=1e-9)


def test_a_slope_known_beforehand_counts_as_one_observation() -> None:
    """Two points say 1 with u sqrt(2) 0.1, the sheet says 2 with the same u: half way, and chi squared tells of it."""
    u = math.sqrt(2) * 0.1
    line = fit_line_both(x=[0, 1], y=[0, 1], u_x=0, u_y=0.1, slope_before=Estimate(2.0, u))
    assert line.slope == pytest.approx(1.5, abs=1e-9)
    assert line.u_slope == pytest.approx(u / math.sqrt(2), abs=1e-9)
    assert line.sum_squares == pytest.approx((0.5 / u) ** 2 * 2, abs=1e-9)
    assert line.freedom == 1


def test_one_point_and_a_slope_make_a_line() -> None:
    line = fit_line_both(x=[2], y=[6.5], u_x=0.1, u_y=0.03, slope_before=Estimate(0.5, 0.02))
    assert (float(line.at), float(line.value), float(line.slope)) == pytest.approx((2, 6.5, 0.5), abs=1e-12)
    assert line.u_value == pytest.approx(math.hypot(0.03, 0.5 * 0.1), abs=1e-12)
    assert line.u_slope == pytest.approx(0.02, abs=1e-12)


def test_a_plain_fit_is_too_flat_where_x_is_unsure_and_this_one_is_not() -> None:
    """True slope 1 over 20 points, u_x a third of the spread: the plain slope shrinks by 1/(1 + 1/9), 10 %."""
    rng = np.random.default_rng(4)
    true = rng.normal(size=(4000, 20))
    x, y = true + rng.normal(size=true.shape) / 3, true + 0.1 * rng.normal(size=true.shape)
    plain, both = fit_line(x=x, y=y), fit_line_both(x=x, y=y, u_x=1 / 3, u_y=0.1)
    assert plain.slope.mean() == pytest.approx(0.9, abs=0.01)
    assert both.slope.mean() == pytest.approx(1.0, abs=0.01)


def test_the_stated_uncertainty_is_the_scatter_of_many_fits() -> None:
    """4,000 lines through 6 points each, u_x 0.15, u_y 0.05, slope 0.5: stated u against what happens, within 6 %."""
    rng = np.random.default_rng(6)
    true = np.linspace(-2, 2, 6)
    x = true + 0.15 * rng.normal(size=(4000, 6))
    y = 6.5 + 0.5 * true + 0.05 * rng.normal(size=(4000, 6))
    line = fit_line_both(x=x, y=y, u_x=0.15, u_y=0.05)
    assert line.slope.std() == pytest.approx(float(line.u_slope.mean()), rel=0.06)
    assert (line_at(line, 0).value - 6.5).std() == pytest.approx(float(line_at(line, 0).u.mean()), rel=0.06)


# Bad rows get an outcome, bad contracts an error


def test_rows_without_a_line_say_why_and_leave_the_others_alone() -> None:
    x = [[0, 1, 2, 3], [1, 1, 1, 1], [0, 1, 2, 3], [0, 1, 2, 3]]
    y = [[0, 1, 2, 4], [1, 2, 3, 4], [0, 1, 2, 4], [0, 1, 2, 4]]
    used = [[True] * 4, [True] * 4, [True, True, False, False], [False] * 4]
    line = fit_line(x=x, y=y, used=used)
    assert line.outcome.tolist() == [FITTED, ONE_PLACE, TOO_FEW, TOO_FEW]  # two points leave no scatter
    assert fit_line(x=x, y=y, u_y=0.1, used=used).outcome.tolist() == [FITTED, ONE_PLACE, FITTED, TOO_FEW]
    both = fit_line_both(x=x, y=y, u_x=0.0, u_y=0.1, used=used)
    assert both.outcome.tolist() == [FITTED, ONE_PLACE, FITTED, TOO_FEW]
    assert line.slope[1:].tolist() == [0, 0, 0]


def test_a_cloud_without_direction_has_no_slope_to_speak_of() -> None:
    """Points on a square, equally unsure both ways: every direction fits as well as any other."""
    line = fit_line_both(x=[-1, 1, -1, 1], y=[-1, -1, 1, 1.0], u_x=1, u_y=1)
    assert line.outcome == FITTED
    assert abs(line.slope) < line.u_slope


def test_points_that_hardly_lie_along_a_line_are_told_so() -> None:
    """Four at one x and one beside them, far apart in y: the slope never comes to rest, and is not given."""
    line = fit_line_both(x=[[0, 0, 0, 0, 0.5], [0, 1, 2, 3, 4]], y=[[-0.1, 0, -0.7, -0.4, -0.3]] * 2, u_x=0.2, u_y=0.05)
    assert line.outcome.tolist()[0] == NO_REST
    assert line.slope[0] == 0


def test_padding_may_hold_any_number() -> None:
    plain = fit_line(x=THERMOMETER_T, y=THERMOMETER_B)
    padded = fit_line(x=[*THERMOMETER_T, 1e6], y=[*THERMOMETER_B, -1e6], used=[True] * 11 + [False])
    assert padded.slope == pytest.approx(float(plain.slope), rel=1e-12)


def test_scalar_one_many_and_none_agree() -> None:
    rng = np.random.default_rng(8)
    x, y = rng.normal(size=(3, 4, 6)), rng.normal(size=(3, 4, 6))
    u_x, u_y = rng.uniform(0.01, 0.3, (3, 4, 6)), rng.uniform(0.01, 0.3, (3, 4, 6))
    many = fit_line_both(x=x, y=y, u_x=u_x, u_y=u_y, slope_before=Estimate(0.5, 0.5))
    for index in np.ndindex(3, 4):
        one = fit_line_both(x=x[index], y=y[index], u_x=u_x[index], u_y=u_y[index], slope_before=Estimate(0.5, 0.5))
        assert one.slope == pytest.approx(float(many.slope[index]), abs=1e-12)
        assert one.outcome == many.outcome[index]
    assert fit_line(x=np.zeros((0, 3)), y=np.zeros((0, 3))).slope.shape == (0,)
    assert fit_line_both(x=np.zeros((0, 3)), y=np.zeros((0, 3)), u_x=0, u_y=1).slope.shape == (0,)


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ({"x": [0, math.nan, 2]}, "x"),
        ({"y": [0, math.inf, 2]}, "y"),
        ({"u_y": [0.1, 0, 0.1]}, "u_y"),  # exactly known: would weigh infinitely
        ({"u_x": -0.1}, "u_x"),
        ({"used": 1}, "used"),
        ({"x": 3, "y": 1, "u_x": 0, "u_y": 1}, "x"),  # no row of points
        ({"x": [1, 2]}, "x"),  # shapes
        ({"slope_before": Estimate(0.5, 0.0)}, "slope_before.u"),
    ],
)
def test_it_refuses_bad_input_by_name(arguments, name) -> None:
    good = {"x": [0, 1, 2], "y": [0, 1, 2], "u_x": 0.1, "u_y": 0.1}
    with pytest.raises(BadInput) as refusal:
        fit_line_both(**{**good, **arguments})
    assert refusal.value.name == name


def test_a_line_refuses_what_cannot_be_one() -> None:
    fields = dict.fromkeys(("at", "value", "slope", "u_value", "correlation", "sum_squares", "freedom", "outcome"), 0)
    with pytest.raises(BadInput, match="u_slope"):
        Line(**fields, u_slope=-1)
