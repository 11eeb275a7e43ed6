"""One turn between two weighings teaches how far the feet give."""

import numpy as np
import pytest

from leveling.errors import BadInput
from leveling.frame import foot_positions
from leveling.support import Gap, gap_from_turns
from leveling.support_give import (
    LEARNED,
    NOT_BEARING,
    OTHER_WEIGHT,
    TOO_LITTLE,
    WRONG_WAY,
    Give,
    Scale,
    learn_give,
    usual_give,
)
from leveling.support_loads import elastic_loads

FL, FR, RL, RR = range(4)
FEET = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
LEAD_MM = 1.5875  # ASME B1.1, 3/8-16 UNC: 16 threads per inch
QUARTER_TURN = gap_from_turns(0.25, lead_mm=LEAD_MM, u_turns=0.02)


def weigh(heights_mm, stiffness=75.0, feet=FEET):
    """True loads of a 120 kg machine, 60 % of it on the rear."""
    return elastic_loads(
        weight=120, load_mm=[0, 780], feet_mm=feet, stiffness_per_mm=np.full(4, stiffness), heights_mm=heights_mm
    ).loads


@pytest.mark.parametrize("leg", [FL, FR, RL, RR])
def test_any_leg_teaches_one_over_the_stiffness(leg):
    """Round trip through the four springs: give = 1/k, 1/75 mm per kg, and the twist that was left."""
    before = np.array([0.1, 0.0, 0.0, -0.05])
    after = before + np.eye(4)[leg] * 0.25 * LEAD_MM
    taught = learn_give(
        before=weigh(before), after=weigh(after), leg=leg, raised=QUARTER_TURN, scale=Scale(), feet_mm=FEET
    )
    assert taught.outcome == LEARNED
    np.testing.assert_allclose(taught.give.mm_per_unit, 1 / 75, rtol=1e-10)
    np.testing.assert_allclose(taught.twist_mm, after @ [0.25, -0.25, -0.25, 0.25], atol=1e-10)  # mm


def test_it_learns_on_feet_of_unequal_track():
    feet = foot_positions(track_front_mm=480, track_rear_mm=640, base_mm=1250)
    after = np.array([0.4, 0.0, 0.0, 0.0])
    taught = learn_give(
        before=weigh(np.zeros(4), feet=feet),
        after=weigh(after, feet=feet),
        leg=FL,
        raised=Gap(np.array(0.4), np.array(0.01)),
        scale=Scale(),
        feet_mm=feet,
    )
    np.testing.assert_allclose(taught.give.mm_per_unit, 1 / 75, rtol=1e-10)


def test_unequal_feet_teach_what_their_diagonals_do_together():
    """Derived: n . N answers a turn by the mean of the four gives weighed by n^2, a plain mean for a rectangle."""
    gives = 1 / np.array([60.0, 90.0, 110.0, 50.0])
    taught = learn_give(
        before=weigh(np.zeros(4), 1 / gives), after=weigh([0.2, 0, 0, 0], 1 / gives), leg=FL,
        raised=Gap(np.array(0.2), np.array(0.0)), scale=Scale(), feet_mm=FEET,
    )  # fmt: skip
    np.testing.assert_allclose(taught.give.mm_per_unit, gives.mean(), rtol=1e-10)


def test_the_uncertainties_are_the_scatter_of_many_weighings():
    """Monte Carlo of the measurement itself: true loads, each scale's own error kept, each setting afresh."""
    rng = np.random.default_rng(51)
    scale, n = Scale(resolution=0.1, accuracy_share=0.01, repeat=0.2), 20_000
    gain = 1 + rng.uniform(-0.01, 0.01, (n, 4))
    turns = 0.25 + rng.normal(0, 0.02, n)  # a quarter turn is believed; the truth is what was turned
    after = np.array([-0.35, 0, 0, 0]) + np.eye(4)[FL] * turns[:, None] * LEAD_MM
    shown = [
        np.round((loads * gain + rng.normal(0, 0.2, (n, 4))) / 0.1) * 0.1
        for loads in (weigh([-0.35, 0, 0, 0]), weigh(after))
    ]
    taught = learn_give(before=shown[0], after=shown[1], leg=FL, raised=QUARTER_TURN, scale=scale, feet_mm=FEET)
    assert np.isin(taught.outcome, (LEARNED, OTHER_WEIGHT)).all()
    assert (taught.outcome == LEARNED).mean() > 0.99  # a sum is doubted from three standard uncertainties
    kept = taught.outcome == LEARNED
    error = taught.give.mm_per_unit[kept] - 1 / 75
    assert np.median(taught.give.u_mm_per_unit) == pytest.approx(error.std(), rel=0.1)
    truth = (-0.35 + turns * LEAD_MM) / 4
    scatter = (taught.twist_mm - truth)[kept].std()
    assert np.median(taught.u_twist_mm) == pytest.approx(scatter, rel=0.1)


@pytest.mark.parametrize(
    ("before", "after", "outcome"),
    [
        ([0, 48, 60, 12], [14, 34, 46, 26], NOT_BEARING),  # FL hung, so the turn was partly through air
        ([24, 24, 36, 36], [34, 14, 26, 46], LEARNED),
        ([24, 24, 36, 36], [24.1, 23.9, 35.9, 36.1], TOO_LITTLE),
        ([24, 24, 36, 36], [14, 34, 46, 26], WRONG_WAY),  # FL was turned in, or FR out
        ([24, 24, 36, 36], [34, 14, 26, 56], OTHER_WEIGHT),  # somebody leaned on it
        ([0, 0, 0, 0], [0, 0, 0, 0], NOT_BEARING),
    ],
)
def test_it_says_why_it_learned_nothing_and_gives_the_usual(before, after, outcome):
    taught = learn_give(before=before, after=after, leg=FL, raised=QUARTER_TURN, scale=Scale(), feet_mm=FEET)
    assert taught.outcome == outcome
    if outcome != LEARNED:
        usual = usual_give(sum(before) or 1.0)
        assert float(taught.give.mm_per_unit) == float(usual.mm_per_unit)
        assert float(taught.twist_mm) == float(taught.u_twist_mm) == 0.0


def test_the_usual_give_is_a_rectangle_of_a_tenth_to_seven_tenths():
    """Sizes: common practice, no source. Half-width over sqrt 3: JCGM 100:2008 (GUM), 4.3.7."""
    give = usual_give([120.0, 90.0])
    np.testing.assert_allclose(give.mm_per_unit * np.array([30, 22.5]), 0.4, atol=1e-12)  # mm under a quarter
    np.testing.assert_allclose(give.u_mm_per_unit * np.array([30, 22.5]), 0.3 / np.sqrt(3), atol=1e-12)


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: Scale(resolution=-0.1), "resolution"),
        (lambda: Scale(accuracy_share=np.nan), "accuracy_share"),
        (lambda: Scale(repeat=np.inf), "repeat"),
        (lambda: Give(mm_per_unit=0.0, u_mm_per_unit=0.0), "mm_per_unit"),  # a rigid foot shows no twist
        (lambda: Give(mm_per_unit=0.1, u_mm_per_unit=-1), "u_mm_per_unit"),
        (lambda: usual_give(0), "weight"),
        (lambda: learn(leg=-1), "leg"),  # no leg was turned
        (lambda: learn(before=[1, 2, 3]), "before"),
        (lambda: learn(raised=Gap(np.array(0.0), np.array(0.1))), "raised"),  # not turned at all
        (lambda: learn(after=np.ones((3, 4)), before=np.ones((2, 4))), "before"),  # batches do not fit
    ],
)
def test_it_refuses_bad_input_by_name(call, name):
    with pytest.raises(BadInput) as refused:
        call()
    assert refused.value.name == name


def learn(**change):
    good = {"before": [24, 24, 36, 36], "after": [34, 14, 26, 46], "leg": FL, "raised": QUARTER_TURN}
    return learn_give(**(good | {"scale": Scale(), "feet_mm": FEET} | change))
