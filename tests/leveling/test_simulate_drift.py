"""Simulated drift: its spreads are those of the table in DEVELOPERS.md, and visits do what they say."""

import re
from pathlib import Path

import numpy as np
import pytest

from leveling.errors import BadInput
from leveling.simulate_drift import GROUNDS, model_of, move
from leveling.simulate_drift_rough import move_roughly
from leveling.simulate_drift_visits import HANDS, TOLERANCES_DEG, visit

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"
SHARES = (1.0, 1.0, 0.5)


@pytest.mark.parametrize("kind", range(len(GROUNDS)))
def test_numbers_spread_as_the_parameters_say(kind: int) -> None:
    """60,000 machines after 100 days and after a year: the variance, term by term from the table, within 8 %."""
    days = np.array([0.0, 100.0, 465.0])
    moved = move(rng=np.random.default_rng(1), kinds=np.full(60_000, kind), days=days).number
    ground = list(GROUNDS.values())[kind]
    for place, day in enumerate(days[1:], start=1):
        sunk = ground.settling_deg * (1 - np.exp(-day / ground.settling_days))
        season = np.cos(2 * np.pi * (np.array([day, 0.0]) - ground.yearly_peak) / 365.25)
        wanted = (
            ground.wander_deg**2 * day
            + (ground.rate_deg_per_day * day) ** 2
            + sunk**2
            + (ground.yearly_deg * (season[0] - season[1])) ** 2
            + ground.jumps_per_year * day / 365.25 * ground.jump_deg**2
        )
        for quantity, share in enumerate(SHARES):
            assert moved[:, quantity, place].var() == pytest.approx(wanted * share**2, rel=0.08)
            assert abs(moved[:, quantity, place].mean()) < 0.01


def test_looking_more_often_changes_nothing() -> None:
    """The spread after 90 days is the same whether one looked each day or not."""
    kinds = np.full(20_000, 1)
    daily = move(rng=np.random.default_rng(2), kinds=kinds, days=np.arange(91.0)).number[..., -1]
    once = move(rng=np.random.default_rng(3), kinds=kinds, days=[0, 90]).number[..., -1]
    assert daily.std(axis=0) == pytest.approx(once.std(axis=0), rel=0.03)


def test_machines_jump_as_a_whole_and_as_often_as_said() -> None:
    jump = move(rng=np.random.default_rng(4), kinds=np.full(5000, 0), days=np.arange(366.0)).jump != 0
    assert (jump[:, 0] == jump[:, 2]).all()
    assert jump[:, 0].sum(axis=1).mean() == pytest.approx(GROUNDS["concrete"].jumps_per_year, abs=0.03)


def test_the_model_of_a_floor_is_what_it_is_simulated_by() -> None:
    model = model_of(np.array([1]))
    assert model.walk.level[0] == pytest.approx([0.004**2, 0.004**2, 0.002**2])
    assert model.walk.settling[0] == pytest.approx([0.12**2, 0.12**2, 0.06**2])
    assert np.asarray(model.hazard.jump_deg)[0] == pytest.approx([0.25, 0.25, 0.125])


def test_the_guide_names_every_parameter_with_its_value() -> None:
    """The table of DEVELOPERS.md against the code, number by number."""
    text = GUIDE.read_text()
    for name in GROUNDS["concrete"]._fields + HANDS._fields:
        row = next(line for line in text.splitlines() if line.startswith("| `") and f"`{name}`" in line.split("|")[1])
        names = re.findall(r"`(\w+)`", row.split("|")[1])
        tables = [GROUNDS[kind] for kind in GROUNDS] if name in GROUNDS["concrete"]._fields else [HANDS]
        for table, cell in zip(tables, row.split("|")[3:], strict=False):
            told = [float(number) for number in re.findall(r"[\d.]*\d", cell)]
            values = [getattr(table, each) for each in names]
            assert told == values or (told == [0] and not values[0]), row


def test_visits_turn_what_is_far_off_and_leave_the_rest() -> None:
    """Machines that stand still: who was read beyond half of a tolerance stands near the middle afterwards."""
    days = np.repeat(np.array([[0.0, 30, 60, 61]]), 4000, axis=0)
    still = np.zeros((4000, 3, 4))
    still[:2000, 0, 1:] = 0.3
    visited = visit(rng=np.random.default_rng(5), days=days, moved=still, visits=3, hands=HANDS._replace(bad_share=0.0))
    assert np.abs(visited.number[:2000, 0, -1]).mean() < 0.06
    far = np.abs(visited.series.values) > HANDS.turn_share * TOLERANCES_DEG[:, None]
    assert (visited.series.steps[..., 1:].any(axis=1) == far[..., :-1].any(axis=1)).all()
    assert visited.series.steps[:, :, 1:] == pytest.approx(
        np.where(far[..., :-1].any(axis=1)[:, None], -visited.series.values[..., :-1], 0)
    )
    assert not visited.bad.any()


def test_rough_machines_move_about_as_far() -> None:
    kinds = np.repeat([0, 1, 2], 4000)
    rough = move_roughly(rng=np.random.default_rng(6), kinds=kinds, days=[0, 180]).std(axis=0)
    assert 0.03 < rough[0, -1] < 0.3
    jumps = np.abs(move_roughly(rng=np.random.default_rng(7), kinds=kinds, days=np.arange(366.0))).max(axis=-1)
    assert np.quantile(jumps[:, 0], 0.99) > 4 * np.quantile(jumps[:, 0], 0.5), "heavy tails"


def test_they_refuse_days_that_go_back() -> None:
    for simulate in (move, move_roughly):
        with pytest.raises(BadInput):
            simulate(rng=np.random.default_rng(1), kinds=np.array([0]), days=[0, 5, 4])
