"""Combined uncertainty: the GUM's own example, what dominates, and intervals that cover."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leveling.errors import BadInput
from leveling.instruments_combined import combine, coverage_factor, freedom_from_doubt

NM = 1e-9  # in metres


def test_gum_h1_the_end_gauge() -> None:
    """JCGM 100:2008 (GUM), H.1.4 to H.1.6: u_c 32 nm, nu_eff 16, t_99 2.92 and U_99 93 nm.

    From 25 (18), 9.7 (25.6), 2.9 (50) and 16.6 nm (2 degrees of freedom); the 50 is from memory.
    """
    gauge = combine(
        [25 * NM, 9.7 * NM, 2.9 * NM, 16.6 * NM],
        freedom=[18, 25.6, freedom_from_doubt(0.1), freedom_from_doubt(0.5)],
        confidence=0.99,
    )
    assert round(float(gauge.u / NM)) == 32
    assert math.floor(float(gauge.freedom)) == 16
    assert gauge.factor == pytest.approx(2.92, abs=0.005)
    assert round(float(gauge.expanded / NM)) == 93
    assert gauge.largest == 0


def test_gum_h1_where_its_contributions_come_from() -> None:
    """JCGM 100:2008 (GUM), H.1.3: 50.000838 mm; contributions 25, 9.7, 2.9, 16.6 nm. Inputs from memory.

    9.7 nm is combined itself, of 5.8 (24), 3.9 (5) and 6.7 nm (8), to 25.6 degrees of freedom.
    """
    comparator = combine([13 * NM / math.sqrt(5), 3.9 * NM, 6.7 * NM], freedom=[24, 5, 8])
    rounded = 9.7 * NM / comparator.u  # the example rounds u to 9.7 nm before the fourth power: 25.6 instead of 25.5
    assert comparator.freedom * rounded**4 == pytest.approx(25.6, abs=0.15)
    expansion, temperature = 1e-6 / math.sqrt(3), 0.05 / math.sqrt(3)  # differences: plus or minus 1e-6, 0.05
    standard, difference, alpha, theta = 0.050000623, 215 * NM, 11.5e-6, -0.1  # m, m, per degree C, degree C

    def length(inputs: np.ndarray) -> float:
        """H.1.1, eq. H.3: the standard, the difference read, and what unlike expansion and temperature do [m]."""
        a, b, differing_expansion, differing_temperature = inputs
        return a + b - a * (differing_expansion * theta + alpha * differing_temperature)

    best = np.array([standard, difference, 0.0, 0.0])
    assert length(best) * 1000 == pytest.approx(50.000838, abs=5e-10)  # mm
    steps = np.diag([1e-6, 1e-6, 1e-6, 1e-3])
    slopes = [(length(best + step) - length(best - step)) / (2 * step.sum()) for step in steps]
    gauge = combine([75 * NM / 3, comparator.u, expansion, temperature], sensitivity=slopes)
    parts = np.sqrt(gauge.shares) * gauge.u / NM
    assert parts == pytest.approx([25, 9.7, 2.9, 16.6], abs=0.05)
    assert round(float(gauge.u / NM)) == 32


def test_gum_h1_with_its_terms_of_second_order() -> None:
    """JCGM 100:2008 (GUM), H.1.7: products of u's add 11.7 and 1.7 nm, and u_c becomes 34 nm (from memory)."""
    theta, alpha = math.hypot(0.2, 0.5 / math.sqrt(2)), 2e-6 / math.sqrt(3)  # swing of the room: arcsine
    expansion, temperature = 1e-6 / math.sqrt(3), 0.05 / math.sqrt(3)
    products = np.array([expansion * theta, alpha * temperature]) * 0.05
    assert (products / NM).tolist() == pytest.approx([11.7, 1.7], abs=0.05)
    with_products = combine([25 * NM, 9.7 * NM, 2.9 * NM, 16.6 * NM, *products])
    assert round(float(with_products.u / NM)) == 34


def test_student_factors_of_table_g2() -> None:
    """JCGM 100:2008 (GUM), Table G.2 (from memory), 95 % and 99 %; the last is the normal distribution."""
    freedom = [1, 2, 5, 8, 16, 50, np.inf]
    assert coverage_factor(freedom).round(2).tolist() == [12.71, 4.30, 2.57, 2.31, 2.12, 2.01, 1.96]
    assert coverage_factor(freedom, confidence=0.99).round(2).tolist() == [63.66, 9.92, 4.03, 3.36, 2.92, 2.68, 2.58]


def test_a_certain_uncertainty_alone_is_a_normal_interval() -> None:
    alone = combine([0.1])
    assert math.isinf(alone.freedom)
    assert alone.expanded == pytest.approx(0.196, abs=5e-5)


def test_one_contribution_keeps_its_degrees_of_freedom() -> None:
    """Welch-Satterthwaite with one term: nu_eff = nu."""
    assert combine([0.3], freedom=[7]).freedom == pytest.approx(7, abs=1e-9)
    assert combine([0.3], freedom=[7]).factor == coverage_factor(7)  # 6.9999999 is not cut to 6


def test_equal_contributions_add_their_degrees_of_freedom() -> None:
    """n equal terms: (n u^2)^2 / (n u^4/nu) = n nu."""
    assert combine(np.full(3, 0.2), freedom=5).freedom == pytest.approx(15, abs=1e-9)


@settings(deadline=None)  # other work on the machine must not fail it
@given(
    st.lists(st.tuples(st.floats(1e-6, 1e3), st.floats(-5, 5), st.floats(1, 100)), min_size=1, max_size=6).filter(
        lambda rows: any(abs(c) > 1e-3 for _, c, _ in rows)
    )
)
def test_effective_freedom_lies_between_the_least_and_the_sum(rows) -> None:
    """JCGM 100:2008 (GUM), G.4.1, eq. G.2b with its bound nu_eff <= sum nu_i."""
    u, c, nu = (np.array(column) for column in zip(*rows, strict=True))
    total = combine(u, sensitivity=c, freedom=nu)
    moving = np.abs(c * u) > 0
    assert nu[moving].min() * (1 - 1e-9) <= total.freedom <= nu[moving].sum() * (1 + 1e-9)
    assert total.shares.sum() == pytest.approx(1, abs=1e-12)
    assert total.largest == np.argmax(np.abs(c * u))
    exact = combine(u, sensitivity=c, freedom=nu, whole_freedom=False)
    assert exact.expanded <= total.expanded * (1 + 1e-9)  # cutting never narrows


def test_units_neither_vanish_nor_overflow() -> None:
    small, large = combine([3e-200, 4e-200], freedom=5), combine([3e200, 4e200], freedom=5)
    assert small.u == pytest.approx(5e-200, rel=1e-12)
    assert large.u == pytest.approx(5e200, rel=1e-12)
    assert small.freedom == pytest.approx(large.freedom, rel=1e-12)


def test_nothing_unsure_is_exact() -> None:
    none = combine([0.0, 0.0], freedom=[3, 4])
    assert (float(none.u), float(none.expanded)) == (0, 0)
    assert none.shares.tolist() == [0, 0]


@pytest.mark.parametrize(("readings", "low", "high"), [(6, 0.94, 0.96), (3, 0.93, 0.95)])
def test_the_interval_covers_when_one_part_is_a_mean_of_few(readings, low, high) -> None:
    """40,000 means of readings (sd 1) plus a sheet's error (sd 0.5, known): 95 % within 1 point.

    With three readings the formula is known to cover a little less, as its data sheet says.
    """
    rng = np.random.default_rng(11)
    seen = rng.normal(size=(40_000, readings))
    error = seen.mean(axis=-1) + 0.5 * rng.normal(size=40_000)
    scatter = seen.std(axis=-1, ddof=1) / math.sqrt(readings)
    parts = np.stack([scatter, np.full(40_000, 0.5)], axis=-1)
    both = combine(parts, freedom=np.array([readings - 1, np.inf]))
    assert low < np.mean(np.abs(error) <= both.expanded) < high


def test_scalar_one_many_and_none_agree() -> None:
    rng = np.random.default_rng(2)
    u, nu = rng.uniform(0, 1, (4, 3, 5)), rng.uniform(1, 30, (4, 3, 5))
    many = combine(u, freedom=nu)
    for index in np.ndindex(4, 3):
        assert combine(u[index], freedom=nu[index]).expanded == pytest.approx(many.expanded[index], abs=1e-14)
    assert combine(np.zeros((0, 2))).u.shape == (0,)


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ({"u": []}, "u"),  # nothing to combine
        ({"u": 0.1}, "u"),  # not a row of contributions
        ({"u": [-0.1, 0.2]}, "u"),
        ({"u": [math.nan, 0.2]}, "u"),
        ({"sensitivity": [math.inf, 1]}, "sensitivity"),
        ({"freedom": [0.5, 3]}, "freedom"),
        ({"freedom": [math.nan, 3]}, "freedom"),
        ({"freedom": "many"}, "freedom"),
        ({"confidence": 1.0}, "confidence"),
        ({"freedom": [1, 2, 3]}, "u"),  # shapes
    ],
)
def test_it_refuses_bad_input_by_name(arguments, name) -> None:
    with pytest.raises(BadInput) as refusal:
        combine(**{"u": [0.1, 0.2], **arguments})
    assert refusal.value.name == name


def test_a_doubt_is_a_share() -> None:
    for doubt in (-0.1, 0.8, math.nan):
        with pytest.raises(BadInput, match="doubt"):
            freedom_from_doubt(doubt)
