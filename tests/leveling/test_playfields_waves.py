"""Board wave as a part of the uncertainty of a reading, against boards that are simulated."""

import numpy as np
import pytest

from leveling.errors import BadInput
from leveling.instruments import Budget
from leveling.playfields import fit_playfield
from leveling.playfields_waves import Board, spot_waves_deg, u_wave_deg
from leveling.simulate_boards import BOARD_MM, board_heights, local_slopes, make_boards

# What ``make_boards`` draws by default, as root mean squares: four waves of 0.02 mm amplitude are 0.02 sqrt 2 high.
DRAWN = Board(wave_mm=np.array(0.02 * np.sqrt(2)))


def boards_of(count, seed=1, **options):
    return make_boards(
        rng=np.random.default_rng(seed), pitch_deg=np.full(count, 6.5), roll_deg=np.full(count, 0.1), **options
    )


def spots_for(base_mm, count, *, along, seed=2):
    room = np.array(BOARD_MM) / 2 - base_mm / 2 * np.array([not along, along])
    return np.random.default_rng(seed).uniform(-1, 1, (count, 1, 2)) * room


def test_the_least_squares_plane_of_a_simulated_board_is_its_truth():
    """A plane fitted here by ``lstsq`` on a fine grid, against integrals there: within 0.001 degree."""
    boards = boards_of(40, wave_mm=0.1)
    sides = [
        (np.arange(count) + 0.5) / count * side - side / 2 for count, side in zip((60, 120), BOARD_MM, strict=True)
    ]
    grid = np.stack(np.meshgrid(*sides, indexing="ij"), axis=-1).reshape(-1, 2)
    design = np.column_stack([np.ones(len(grid)), grid])
    _, gx, gy = np.linalg.lstsq(design, board_heights(boards, grid).T, rcond=None)[0]
    np.testing.assert_allclose(np.degrees(np.arctan(gy)), 6.5, atol=1e-3)
    np.testing.assert_allclose(np.degrees(np.arctan(gx)), 0.1, atol=1e-3)


def test_bow_and_twist_are_as_large_as_they_say():
    """Worked by hand: the middle stands ``bow`` above the ends; corners of a board with twist stand that far off."""
    boards = boards_of(1, wave_mm=0.0)
    right, rear = BOARD_MM[0] / 2, BOARD_MM[1] / 2
    ends = board_heights(boards, [[0, -rear], [0, 0], [0, rear]])[0]
    assert ends[1] - (ends[0] + ends[2]) / 2 == pytest.approx(boards.bow_along_mm[0], abs=1e-9)  # mm
    corners = board_heights(boards, [[-right, -rear], [right, -rear], [-right, rear], [right, rear]])[0]
    assert corners @ [1, -1, -1, 1] / 4 == pytest.approx(boards.twist_mm[0], abs=1e-9)  # mm


@pytest.mark.parametrize("along", [True, False])
@pytest.mark.parametrize("base_mm", [60.0, 150.0, 400.0])
def test_the_wave_part_is_the_scatter_of_slopes_over_simulated_boards(base_mm, along):
    """20,000 boards, one spot each: within 4 % of the formula (its scatter alone is below 1 %)."""
    slopes = local_slopes(boards=boards_of(20_000), spots_mm=spots_for(base_mm, 20_000, along=along), base_mm=base_mm)
    scatter = (slopes[0] - 6.5 if along else slopes[1] - 0.1).std()
    assert u_wave_deg(base_mm=base_mm, along=along, board=DRAWN) == pytest.approx(scatter, rel=0.04)


def test_a_longer_base_sees_less_of_the_waves():
    u = u_wave_deg(base_mm=[50, 100, 200, 400], along=True)
    assert (np.diff(u) < 0).all()


def test_a_flat_board_has_no_wave():
    flat = Board(bow_along_mm=0.0, bow_across_mm=0.0, twist_mm=0.0, wave_mm=0.0)
    assert u_wave_deg(base_mm=100, along=[True, False], board=flat).tolist() == [0.0, 0.0]


def test_a_very_short_base_sees_the_slope_of_the_wave_itself():
    """Limit: a wave of rms height w and length l, any direction, slopes by 2 pi w/l/sqrt 2 along a line."""
    board = Board(bow_along_mm=0.0, twist_mm=0.0, wave_mm=0.05, wave_length_mm=300.0)
    slope = np.degrees(2 * np.pi * 0.05 / 300 / np.sqrt(2))
    assert u_wave_deg(base_mm=0.1, along=True, board=board) == pytest.approx(slope, rel=1e-5)


def test_readings_at_one_spot_share_its_wave():
    """Four at one spot are worth one, four apart average: u/sqrt 4."""
    budget, tilts, along = Budget(repeat_deg=0.0), [6.5] * 4, [True] * 4
    together, apart = [[0, 300]] * 4, [[0, 0], [0, 300], [100, 0], [100, 300]]
    for spots, expected in ((together, 0.05), (apart, 0.025)):
        wave = spot_waves_deg(wave_deg=0.05, spots_mm=spots, along=along)
        fit = fit_playfield(tilt_deg=tilts, along=along, budget=budget, wave_deg=wave, spots_mm=spots)
        assert fit.pitch.u_deg == pytest.approx(expected, abs=1e-12)  # degree


def test_a_reading_along_and_one_across_at_one_spot_share_nothing():
    wave = spot_waves_deg(wave_deg=0.05, spots_mm=[[0, 0]] * 3, along=[True, False, False], used=[True, True, False])
    assert wave.tolist() == [0.05, 0.05, 0.05]


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: u_wave_deg(base_mm=0, along=True), "base_mm"),
        (lambda: u_wave_deg(base_mm=600, along=False), "base_mm"),  # longer than the board is wide
        (lambda: u_wave_deg(base_mm=100, along=1), "along"),
        (lambda: Board(wave_mm=-0.1), "wave_mm"),
        (lambda: Board(length_mm=0.0), "length_mm"),
        (lambda: spot_waves_deg(wave_deg=np.nan, spots_mm=[[0, 0]], along=[True]), "wave_deg"),
        (lambda: spot_waves_deg(wave_deg=0.1, spots_mm=[0, 0, 0], along=[True]), "spots_mm"),
        (lambda: fit_playfield(tilt_deg=[6.5], along=[True], budget=Budget(), wave_deg=-1), "wave_deg"),
        (lambda: boards_of(1, bow_mm=-1), "bow_mm"),
        (lambda: local_slopes(boards=boards_of(1), spots_mm=[[0, 0]], base_mm=0), "base_mm"),
    ],
)
def test_bad_input_is_refused_by_name(call, name):
    with pytest.raises(BadInput) as refusal:
        call()
    assert refusal.value.name == name
