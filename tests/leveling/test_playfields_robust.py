"""A wrong reading is named and weighed by the chance that it is right."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from leveling.errors import BadInput
from leveling.instruments import Budget
from leveling.playfields import DISAGREE, MEASURED, NO_ACROSS, NO_READINGS, fit_playfield
from leveling.playfields_robust import fit_playfield_robust

PLAIN = Budget(repeat_deg=0.05)
GOOD = [6.47, 6.52, 6.5, 6.51]


def robust(tilts, along=True, budget=PLAIN, **options):
    return fit_playfield_robust(tilt_deg=tilts, along=np.broadcast_to(along, np.shape(tilts)), budget=budget, **options)


def test_a_reading_far_off_is_named_and_hardly_counts():
    """Without it the mean is 6.5 and u is 0.05/sqrt 4, worked by hand."""
    fit = robust([*GOOD[:2], 8.0, *GOOD[2:]])
    assert fit.odd_reading == 2
    assert fit.pitch.angle_deg == pytest.approx(6.5, abs=1e-6)
    assert fit.pitch.u_deg == pytest.approx(0.025, abs=1e-6)
    assert fit.pitch.agree
    assert fit.outcome == NO_ACROSS


def test_where_all_agree_it_is_nearly_the_plain_answer():
    plain, fit = fit_playfield(tilt_deg=GOOD, along=[True] * 4, budget=PLAIN), robust(GOOD)
    assert fit.odd_reading == -1
    assert fit.pitch.angle_deg == pytest.approx(plain.pitch.angle_deg, abs=0.002)
    assert plain.pitch.u_deg < fit.pitch.u_deg < 1.05 * plain.pitch.u_deg  # a doubt always stays


def test_a_reading_in_doubt_widens_the_answer_and_moves_it_part_of_the_way():
    """Off by three standard deviations: neither kept whole nor thrown out."""
    tilts = [6.5, 6.5, 6.5, 6.68]
    plain, fit = fit_playfield(tilt_deg=tilts, along=[True] * 4, budget=PLAIN), robust(tilts)
    assert 6.5 < fit.pitch.angle_deg < plain.pitch.angle_deg
    assert fit.pitch.u_deg > plain.pitch.u_deg


def test_of_two_that_disagree_neither_is_believed():
    plain, fit = fit_playfield(tilt_deg=[6.5, 7.5], along=[True] * 2, budget=PLAIN), robust([6.5, 7.5])
    assert fit.odd_reading == -1
    assert fit.pitch.u_deg == pytest.approx(plain.pitch.u_deg, abs=1e-12)
    assert not fit.pitch.agree


def test_two_wrong_readings_of_five_are_told_as_disagreement():
    fit = robust([6.5, 6.5, 6.5, 8.0, 4.0, 0.1, 0.1], along=[True] * 5 + [False] * 2)
    assert fit.outcome == DISAGREE
    assert fit.pitch.u_deg > 0.3  # degree: the scatter is in the answer


def test_each_direction_is_judged_by_its_own():
    tilts, along = [6.5, 6.5, 6.5, 0.1, 1.6, 0.1], [True] * 3 + [False] * 3
    fit = robust(tilts, along=along)
    assert (fit.odd_reading, fit.outcome) == (4, MEASURED)
    assert fit.roll.angle_deg == pytest.approx(0.1, abs=1e-6)
    alone = robust(tilts[:3])
    assert fit.pitch.angle_deg == pytest.approx(alone.pitch.angle_deg, abs=1e-12)


@given(st.permutations(range(5)), st.floats(-3, 3))
def test_order_and_level_do_not_matter(order, shift):
    tilts = np.array([6.4, 6.5, 7.4, 6.55, 6.45])
    before, after = robust(tilts), robust(tilts[list(order)] + shift)
    assert after.pitch.angle_deg == pytest.approx(before.pitch.angle_deg + shift, abs=1e-9)
    assert after.pitch.u_deg == pytest.approx(before.pitch.u_deg, abs=1e-9)
    assert order[int(after.odd_reading)] == before.odd_reading == 2


def test_one_alone_and_many_together_agree():
    rng = np.random.default_rng(3)
    tilts, along = rng.normal(6.5, 0.2, (50, 6)), np.arange(6) < 4
    used = rng.uniform(size=(50, 6)) < 0.8
    many = fit_playfield_robust(tilt_deg=tilts, along=along, budget=PLAIN, used=used)
    for row in range(0, 50, 7):
        one = fit_playfield_robust(tilt_deg=tilts[row], along=along, budget=PLAIN, used=used[row])
        assert one.pitch.angle_deg == pytest.approx(many.pitch.angle_deg[row], abs=1e-12)
        assert one.roll.u_deg == pytest.approx(many.roll.u_deg[row], abs=1e-12)
        assert (one.odd_reading, one.outcome) == (many.odd_reading[row], many.outcome[row])
    none = fit_playfield_robust(tilt_deg=np.zeros((0, 6)), along=along, budget=PLAIN)
    assert none.pitch.angle_deg.shape == (0,)


def test_padding_holds_anything():
    fit = robust([6.5, 6.52, 8.0, 6.48, np.nan], used=[True] * 4 + [False])
    assert fit.pitch.angle_deg == pytest.approx(6.5, abs=1e-6)
    assert robust([np.nan] * 4, used=False).outcome == NO_READINGS


def test_budgets_spots_and_waves_of_each_reading_are_kept_with_it():
    """The same reading is odd for a steady hand and not for a shaky one."""
    spots, along = np.zeros((4, 2)), [True] * 4
    for sure, odd in ((0.05, 3), (0.8, -1)):
        budget = Budget(repeat_deg=np.array([0.05, 0.05, 0.05, sure]))
        for wave in (0.0, np.full(4, 0.01)):
            fit = robust([6.5, 6.52, 6.48, 7.4], along=along, budget=budget, spots_mm=spots, wave_deg=wave)
            assert fit.odd_reading == odd


def test_a_tilt_that_is_no_number_is_refused():
    with pytest.raises(BadInput, match="tilt_deg"):
        robust([6.5, np.nan, 6.5])
