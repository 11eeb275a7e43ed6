"""What four elastic feet carry: each as stiff as it is, and none pulls."""

import numpy as np
import pytest
from scipy.optimize import minimize

from leveling.contact import ALL_BEAR, LOAD_OUTCOMES, foot_loads
from leveling.errors import BadInput
from leveling.frame import foot_positions
from leveling.support_loads import elastic_loads

FL, FR, RL, RR = range(4)
A_MM, B_MM = 280.0, 650.0
FEET = foot_positions(track_front_mm=2 * A_MM, track_rear_mm=2 * A_MM, base_mm=2 * B_MM)
MIDDLE = np.array([0.0, B_MM])
EQUAL = np.ones(4)


def place(x: float, y: float) -> np.ndarray:
    """Where a load presses, in parts of half track and half base."""
    return MIDDLE + np.array([x * A_MM, y * B_MM])


def draw(rng: np.random.Generator, count: int) -> dict[str, np.ndarray]:
    """Feet of unequal track and stiffness, a load among them, heights that differ by about a millimetre."""
    feet = foot_positions(
        track_front_mm=rng.uniform(450, 650, count), track_rear_mm=rng.uniform(500, 700, count), base_mm=1300
    )
    load = np.stack([rng.uniform(-120, 120, count), rng.uniform(500, 1000, count)], axis=-1)
    return {
        "weight": rng.uniform(80, 150, count),
        "load_mm": load,
        "feet_mm": feet,
        "stiffness_per_mm": rng.uniform(20, 300, (count, 4)),
        "heights_mm": rng.normal(0, 0.6, (count, 4)),
    }


def test_equal_feet_share_by_the_place_of_the_load():
    """Derived, no published figure: N = P/4 (1 +- x/a +- y/b) at (0.5 a, 0.25 b)."""
    stood = elastic_loads(weight=1, load_mm=place(0.5, 0.25), feet_mm=FEET, stiffness_per_mm=EQUAL)
    np.testing.assert_allclose(stood.loads, [0.0625, 0.3125, 0.1875, 0.4375], atol=1e-12)


def test_one_short_foot_moves_the_loads_by_k_d_over_4_alternating():
    """Derived, no published figure: W 4, k 1, d 0.4, FL short: FL 0.9, FR 1.1, RL 1.1, RR 0.9."""
    stood = elastic_loads(
        weight=4, load_mm=MIDDLE, feet_mm=FEET, stiffness_per_mm=EQUAL, heights_mm=[-0.4, 0.0, 0.0, 0.0]
    )
    np.testing.assert_allclose(stood.loads, [0.9, 1.1, 1.1, 0.9], atol=1e-12)
    assert stood.light == ALL_BEAR


def test_the_diagonals_carry_half_each_wherever_the_load_is():
    rng = np.random.default_rng(41)
    x = rng.uniform(-1, 1, 500)
    y = rng.uniform(-1, 1, 500) * (1 - np.abs(x))
    load = MIDDLE + np.stack([x * A_MM, y * B_MM], axis=-1)
    loads = elastic_loads(weight=100, load_mm=load, feet_mm=FEET, stiffness_per_mm=EQUAL).loads
    np.testing.assert_allclose(loads[:, FL] + loads[:, RR], 50, atol=1e-9)
    np.testing.assert_allclose(loads[:, FR] + loads[:, RL], 50, atol=1e-9)


def test_no_foot_lifts_off_while_the_load_is_inside_the_diamond():
    """Derived: |x/a| + |y/b| <= 1 on equal feet of equal height; just outside, the far foot is free."""
    rng = np.random.default_rng(42)
    x, y = rng.uniform(-1, 1, (2, 4000))
    size = np.abs(x) + np.abs(y)
    kept = np.abs(size - 1) > 1e-9
    load = MIDDLE + np.stack([x * A_MM, y * B_MM], axis=-1)
    stood = elastic_loads(weight=1, load_mm=load, feet_mm=FEET, stiffness_per_mm=EQUAL)
    np.testing.assert_array_equal((stood.light == ALL_BEAR)[kept], (size <= 1)[kept])
    assert (stood.loads >= 0).all()  # inside the feet no foot ever pulls


def test_force_and_moments_balance_and_no_foot_pulls():
    cases = draw(np.random.default_rng(43), 3000)
    stood = elastic_loads(**cases)
    assert 200 < (stood.light != ALL_BEAR).sum() < 2800  # both kinds are tried
    assert (stood.loads >= 0).all()
    np.testing.assert_allclose(stood.loads.sum(-1), cases["weight"], rtol=1e-12)
    moment = (stood.loads[..., None] * cases["feet_mm"]).sum(-2)  # weight x mm
    np.testing.assert_allclose(moment, cases["weight"][:, None] * cases["load_mm"], atol=1e-8)


def test_the_feet_that_bear_are_squeezed_to_one_plane_and_the_free_one_hangs_by_the_gap():
    """A rigid cabinet: height less squeeze lies on one plane; the free foot is above the floor by the gap."""
    cases = draw(np.random.default_rng(44), 400)
    stood = elastic_loads(**cases)
    squeeze = stood.loads / cases["stiffness_per_mm"]
    for row, leg in enumerate(stood.light):
        if leg != ALL_BEAR:
            squeeze[row, leg] = -stood.gap_mm[row]
            assert stood.gap_mm[row] > 0
    corner = cases["heights_mm"] - squeeze
    for feet, z in zip(cases["feet_mm"], corner, strict=True):
        design = np.column_stack([np.ones(4), feet])
        np.testing.assert_allclose(design @ np.linalg.lstsq(design, z)[0], z, atol=1e-9)  # mm


def test_it_finds_the_least_energy_that_a_general_minimizer_finds():
    """The same machine by another road: least spring energy over heave and two tilts, springs that only push."""
    cases = draw(np.random.default_rng(45), 12)
    ours = elastic_loads(**cases).loads
    for row in range(12):
        case = {name: value[row] for name, value in cases.items()}
        design = np.column_stack([np.ones(4), (case["feet_mm"] - [0, 650]) / 1000])
        pull = np.array([1, *((case["load_mm"] - [0, 650]) / 1000)]) * case["weight"]

        def energy(plane, case=case, design=design, pull=pull):
            squeeze = np.maximum(case["heights_mm"] - design @ plane, 0)
            return (case["stiffness_per_mm"] * squeeze**2).sum() / 2 + pull @ plane

        def slope(plane, case=case, design=design, pull=pull):
            squeeze = np.maximum(case["heights_mm"] - design @ plane, 0)
            return pull - design.T @ (case["stiffness_per_mm"] * squeeze)

        found = minimize(energy, np.zeros(3), jac=slope, method="BFGS", options={"gtol": 1e-8})
        peer = case["stiffness_per_mm"] * np.maximum(case["heights_mm"] - design @ found.x, 0)
        np.testing.assert_allclose(ours[row], peer, atol=1e-3)  # the minimizer's own reach, unit of weight


def test_equal_stiffness_agrees_with_the_plain_loads():
    cases = draw(np.random.default_rng(46), 1000) | {"stiffness_per_mm": np.full(4, 80.0)}
    ours = elastic_loads(**cases)
    plain = foot_loads(**(cases | {"stiffness_per_mm": 80.0}))
    np.testing.assert_allclose(ours.loads, plain.loads, atol=1e-9)
    np.testing.assert_allclose(ours.gap_mm, plain.gap_mm, atol=1e-12)
    np.testing.assert_array_equal(ours.light, plain.light)
    np.testing.assert_array_equal(ours.outcome, plain.outcome)


def test_very_stiff_feet_leave_the_whole_height_as_air():
    """Limit of a rigid machine: the air under the light foot is how short it is; a soft machine has none."""
    short = [-0.8, 0.0, 0.0, 0.0]
    load = place(0, 0.2)
    stiff, soft = (
        elastic_loads(weight=120, load_mm=load, feet_mm=FEET, stiffness_per_mm=EQUAL * k, heights_mm=short)
        for k in (1e9, 10.0)
    )
    assert stiff.light == FL
    np.testing.assert_allclose(stiff.gap_mm, 0.8, atol=1e-6)
    np.testing.assert_allclose(stiff.loads, [0, 48, 60, 12], atol=1e-9)  # three feet, by moments
    assert (soft.light, float(soft.gap_mm)) == (ALL_BEAR, 0.0)


def test_a_soft_pad_takes_load_off_its_own_diagonal():
    """Symmetry: a softer RL acts like a shorter RL, so the other diagonal carries more."""
    loads = elastic_loads(weight=100, load_mm=MIDDLE, feet_mm=FEET, stiffness_per_mm=[100, 100, 50, 100]).loads
    assert loads[RL] < 25 < loads[FL]
    np.testing.assert_allclose(loads[FL] + loads[RR] - loads[FR] - loads[RL], 20.0, atol=1e-9)  # by hand


def test_a_load_outside_the_feet_tips_and_spoils_no_other_row():
    load = np.array([place(0, 1.4), place(0, 0.2), place(1.5, 1.5)])
    stood = elastic_loads(weight=100, load_mm=load, feet_mm=FEET, stiffness_per_mm=EQUAL)
    assert [LOAD_OUTCOMES[code].split(":")[0] for code in stood.outcome] == [
        "the weight presses outside the feet that bear",
        "all feet bear",
        "the weight presses outside the feet that bear",
    ]
    np.testing.assert_allclose(stood.loads[1], [20, 20, 30, 30], atol=1e-12)
    np.testing.assert_allclose(stood.loads.sum(-1), 100, atol=1e-9)


def test_scalar_one_many_and_none_agree():
    cases = draw(np.random.default_rng(47), 5)
    many = elastic_loads(**cases)
    for row in range(5):
        one = elastic_loads(**{name: value[row] for name, value in cases.items()})
        np.testing.assert_allclose(one.loads, many.loads[row], atol=1e-12)
    assert elastic_loads(**{name: value[:0] for name, value in cases.items()}).loads.shape == (0, 4)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"weight": 0}, "weight"),  # nothing stands there
        ({"load_mm": [0, 1, 2]}, "load_mm"),  # a place on the floor has two numbers
        ({"stiffness_per_mm": [1, 1, 0, 1]}, "stiffness_per_mm"),  # a foot of no stiffness
        ({"stiffness_per_mm": 1.0}, "stiffness_per_mm"),  # one for each foot
        ({"heights_mm": [0, np.nan, 0, 0]}, "heights_mm"),
        ({"feet_mm": np.zeros((4, 2))}, "feet_mm"),  # all feet in one place
    ],
)
def test_it_refuses_bad_input_by_name(change, name):
    good = {"weight": 100, "load_mm": MIDDLE, "feet_mm": FEET, "stiffness_per_mm": EQUAL}
    with pytest.raises(BadInput) as refused:
        elastic_loads(**(good | change))
    assert refused.value.name == name
