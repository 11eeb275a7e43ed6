"""A roll that differs front and rear: the cabinet's twist goes when all feet bear, the board's stays."""

import numpy as np
import pytest

from leveling.errors import BadInput
from leveling.instruments import Instrument
from leveling.simulate_work import make_levels, read_level
from leveling.support_twist import BOARD, BOTH, CABINET, CANNOT_TELL, NEITHER, TWIST_OUTCOMES, EndRolls, tell_twist


def rolls(front_deg, rear_deg, u_deg=0.02):
    return EndRolls(front_deg, rear_deg, u_deg, u_deg)


def test_what_vanishes_is_the_frame_and_what_stays_is_the_board():
    """By hand: 0.50 apart before, 0.20 after: board 0.20, frame 0.30; u 0.02 sqrt 2 and 0.02 sqrt 4."""
    parts = tell_twist(before=rolls(0.1, 0.6), after=rolls(0.3, 0.5))
    np.testing.assert_allclose([parts.board_deg, parts.frame_deg], [0.2, 0.3], atol=1e-12)  # degree
    np.testing.assert_allclose([parts.u_board_deg, parts.u_frame_deg], [0.02 * 2**0.5, 0.04], atol=1e-12)
    np.testing.assert_allclose(parts.correlation, -1 / np.sqrt(2), atol=1e-12)
    assert parts.outcome == BOTH


@pytest.mark.parametrize(
    ("before", "after", "outcome"),
    [
        (rolls(0.1, 0.6), rolls(0.3, 0.31), CABINET),
        (rolls(0.1, 0.4), rolls(0.2, 0.51), BOARD),
        (rolls(0.1, 0.1), rolls(0.3, 0.0), BOTH),  # they cancelled each other before
        (rolls(0.1, 0.11, 0.01), rolls(0.3, 0.31, 0.01), NEITHER),
        (rolls(0.1, 0.11, 0.2), rolls(0.3, 0.31, 0.2), CANNOT_TELL),  # too coarse to say either
    ],
)
def test_it_names_whose_twist_it_is(before, after, outcome):
    parts = tell_twist(before=before, after=after)
    assert parts.outcome == outcome, TWIST_OUTCOMES[int(parts.outcome)]


def test_it_cannot_tell_while_a_foot_is_still_light():
    parts = tell_twist(before=rolls(0.1, 0.6), after=rolls(0.3, 0.5), all_bear_after=False)
    assert parts.outcome == CANNOT_TELL
    np.testing.assert_allclose(parts.board_deg + parts.frame_deg, 0.5, atol=1e-12)
    assert parts.u_board_deg >= 0.25  # either may be all of it
    assert parts.u_frame_deg >= 0.25


def test_a_level_that_reads_wrong_everywhere_changes_nothing():
    """Symmetry: what both ends share cancels; mirrored, every sign turns."""
    parts = tell_twist(before=rolls(0.1, 0.6), after=rolls(0.3, 0.5))
    shifted = tell_twist(before=rolls(1.1, 1.6), after=rolls(1.3, 1.5))
    mirrored = tell_twist(before=rolls(-0.1, -0.6), after=rolls(-0.3, -0.5))
    np.testing.assert_allclose(shifted.frame_deg, parts.frame_deg, atol=1e-12)
    np.testing.assert_allclose(mirrored.board_deg, -parts.board_deg, atol=1e-12)
    assert parts.outcome == shifted.outcome == mirrored.outcome


def test_readings_of_a_real_display_keep_their_promise():
    """5,000 machines read with a 0.1 degree level laid down three times at each end; truths drawn, not inverted."""
    rng, n = np.random.default_rng(81), 5_000
    sheet = Instrument(
        resolution_deg=0.1, accuracy_deg=0.1, alignment_deg=0.5, repeat_deg=0.03, zero_deg=0.0, u_zero_deg=0.1
    )
    levels = make_levels(rng=rng, count=n, sheet=sheet)
    board, frame, roll = rng.normal(0, 0.15, n), rng.normal(0, 0.2, n), rng.normal(0, 0.3, n)

    def read(twist_deg):
        ends = []
        for part in (-0.5, 0.5):
            shown = read_level(
                rng=rng, levels=levels, pitch_deg=6.0, roll_deg=roll + part * twist_deg, along=False, repeats=3
            )
            ends.append((shown.r0_deg - shown.r180_deg).mean(-1) / 2)
        line = np.sin(np.radians(6.0)) * 0.5 / np.sqrt(3)  # an edge within half a degree, rectangular
        u = np.sqrt((0.1**2 / 12 / 2 + 0.03**2 / 2 + line**2) / 3)
        return EndRolls(*ends, u, u)

    parts = tell_twist(before=read(board + frame), after=read(board))
    for value, u, truth in (
        (parts.board_deg, parts.u_board_deg, board),
        (parts.frame_deg, parts.u_frame_deg, frame),
    ):
        covered = np.abs(value - truth) <= 1.96 * u
        assert covered.mean() >= 0.935
    # Half or more of a degree is named for what it is: the outcome follows the parts.
    clear = (np.abs(frame) > 0.3) & (np.abs(board) < 0.02)
    assert np.isin(parts.outcome[clear], (CABINET, BOTH)).mean() > 0.98
    assert (parts.outcome[clear] == CABINET).mean() > 0.9


def test_scalar_one_many_and_none_agree():
    many = tell_twist(before=rolls(np.array([0.1, 0.2]), 0.6), after=rolls(0.3, np.array([0.5, 0.3])))
    one = tell_twist(before=rolls(0.2, 0.6), after=rolls(0.3, 0.3))
    assert (many.outcome[1], many.frame_deg[1]) == (one.outcome, one.frame_deg)
    assert tell_twist(before=rolls(np.zeros(0), 0.0), after=rolls(0.0, 0.0)).board_deg.shape == (0,)


def test_exact_readings_are_no_trouble():
    parts = tell_twist(before=rolls(0.1, 0.6, 0.0), after=rolls(0.3, 0.3, 0.0))
    assert (parts.outcome, float(parts.u_frame_deg), float(parts.correlation)) == (CABINET, 0.0, 0.0)


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: rolls(np.nan, 0), "front_deg"),
        (lambda: rolls(0, 60), "rear_deg"),  # no machine stands so
        (lambda: EndRolls(0, 0, -0.1, 0.1), "u_front_deg"),
        (lambda: EndRolls(0, 0, 0.1, np.inf), "u_rear_deg"),
        (lambda: tell_twist(before=rolls(0, 0), after=rolls(0, 0), all_bear_after=1), "all_bear_after"),
        (lambda: tell_twist(before=rolls(0, 0), after=rolls(0, 0), matters_deg=0), "matters_deg"),
        (lambda: tell_twist(before=rolls(np.zeros(2), 0), after=rolls(np.zeros(3), 0)), "before"),
    ],
)
def test_it_refuses_bad_input_by_name(call, name):
    with pytest.raises(BadInput) as refused:
        call()
    assert refused.value.name == name
