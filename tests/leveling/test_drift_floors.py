"""Floors that move: the tilt as it was put in from every heading, and neither chance nor one jump taken for it."""

from dataclasses import replace

import numpy as np
import pytest

from leveling.drift_floors import Surprises, floor_movement
from leveling.errors import BadInput

U_DEG = 0.07


def seen(rng: np.random.Generator, floors: int, each: int, tilt: np.ndarray) -> tuple[Surprises, np.ndarray]:
    """Machines at random headings on floors that tilted by ``tilt``, shape (floors, 2) [deg] right and back."""
    floor = np.repeat(np.arange(floors), each)
    heading = rng.uniform(0, 360, floor.size)
    rear = np.stack([np.sin(np.radians(heading)), np.cos(np.radians(heading))], axis=-1)
    side = np.stack([np.sin(np.radians(heading + 90)), np.cos(np.radians(heading + 90))], axis=-1)
    true = np.stack([(tilt[floor] * rear).sum(axis=-1), (tilt[floor] * side).sum(axis=-1)], axis=-1)
    read = true + rng.normal(0, U_DEG, true.shape)
    return Surprises(surprise=read, expected=U_DEG**2, heading_deg=heading, jumped=0.05, jump_deg=0.3), floor


def tilts(rng: np.random.Generator, floors: int, size: float) -> np.ndarray:
    angle = rng.uniform(0, 2 * np.pi, floors)
    return size * np.stack([np.sin(angle), np.cos(angle)], axis=-1)


def test_four_machines_find_a_floor_that_moved_0_2_degree() -> None:
    """1,000 floors: at least 90 % found, the tilt within its stated uncertainty; of those that stood at most 1 %."""
    rng = np.random.default_rng(9)
    tilt = tilts(rng, 1000, 0.2)
    surprises, floor = seen(rng, 1000, 4, tilt)
    found = floor_movement(surprises, floor=floor, floors=1000)
    assert (found.chance > 0.5).mean() >= 0.9
    for got, u, true in ((found.dx_deg, found.u_dx_deg, tilt[:, 0]), (found.dy_deg, found.u_dy_deg, tilt[:, 1])):
        assert np.sqrt((((got - true) / u) ** 2).mean()) < 1.25
    surprises, floor = seen(rng, 1000, 4, np.zeros((1000, 2)))
    assert (floor_movement(surprises, floor=floor, floors=1000).chance > 0.5).mean() <= 0.01


def test_a_machine_that_jumped_is_no_floor() -> None:
    """One of five was shoved by 0.6 degree: at most 2 % of 500 floors are called; where the floor moved too, its tilt
    is found beside it."""
    rng = np.random.default_rng(10)
    for size, called in ((0.0, (0.0, 0.02)), (0.3, (0.9, 1.0))):
        tilt = tilts(rng, 500, size)
        surprises, floor = seen(rng, 500, 5, tilt)
        shoved = np.where(np.arange(floor.size)[:, None] % 5 == 0, 0.6, 0.0)
        found = floor_movement(replace(surprises, surprise=surprises.surprise + shoved), floor=floor, floors=500)
        assert called[0] <= (found.chance > 0.5).mean() <= called[1]
        assert np.abs(np.stack([found.dx_deg, found.dy_deg], axis=-1) - tilt).mean() < 0.06


def test_one_machine_alone_tells_nothing_and_an_empty_floor_neither() -> None:
    one = Surprises(surprise=[[0.5, 0.0]], expected=U_DEG**2, heading_deg=0.0, jumped=0.05, jump_deg=0.3)
    found = floor_movement(one, floor=[1], floors=3)
    assert found.chance.tolist() == [0, 0, 0]
    assert found.machines.tolist() == [0, 1, 0]


def test_the_plan_may_be_turned() -> None:
    """All headings 90 degrees on: what was to the back is to the right, and just as likely."""
    rng = np.random.default_rng(11)
    surprises, floor = seen(rng, 20, 4, tilts(rng, 20, 0.2))
    plain = floor_movement(surprises, floor=floor, floors=20)
    turned = floor_movement(replace(surprises, heading_deg=surprises.heading_deg + 90), floor=floor, floors=20)
    assert turned.chance == pytest.approx(plain.chance)
    assert turned.dx_deg == pytest.approx(plain.dy_deg)
    assert turned.dy_deg == pytest.approx(-plain.dx_deg)


@pytest.mark.parametrize(
    ("name", "given"),
    [
        ("surprise", {"surprise": [0.1, 0.2]}),
        ("surprise", {"surprise": [[0.1, 0.2, 0.3]]}),
        ("heading_deg", {"heading_deg": [0.0, 1.0, 2.0]}),
        ("expected", {"expected": 0.0}),
        ("jumped", {"jumped": 1.0}),
        ("jump_deg", {"jump_deg": 0.0}),
    ],
)
def test_it_refuses_what_does_not_fit(name: str, given: dict[str, object]) -> None:
    good = {"surprise": [[0.1, 0.2]], "expected": 0.01, "heading_deg": 0.0, "jumped": 0.1, "jump_deg": 0.3}
    with pytest.raises(BadInput) as refused:
        Surprises(**good | given)  # type: ignore[arg-type]
    assert refused.value.name == name


def test_it_refuses_a_floor_out_of_range() -> None:
    one = Surprises(surprise=[[0.5, 0.0]], expected=U_DEG**2, heading_deg=0.0, jumped=0.05, jump_deg=0.3)
    for floor in ([3], [-1], [0, 1]):
        with pytest.raises(BadInput):
            floor_movement(one, floor=floor, floors=3)
