"""What a leg plan refuses at the door, by name."""

from typing import Any

import numpy as np
import pytest

from leveling.errors import BadInput
from leveling.turns import PlanRequest

USUAL = {
    "feet_mm": [[-280, 0], [280, 0], [-280, 1300], [280, 1300]],
    "pitch_deg": 6.0,
    "roll_deg": 0.0,
    "twist_mm": 0.0,
    "want_pitch_deg": 6.5,
    "pitch_tol_deg": 0.2,
    "roll_tol_deg": 0.15,
    "twist_tol_mm": 0.125,
    "lead_mm": 1.5875,
}


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("pitch_deg", np.nan),  # no NaN travels inside
        ("roll_deg", np.inf),
        ("pitch_deg", 31.0),  # no pinball machine leans so
        ("twist_mm", -101.0),
        ("want_pitch_deg", "steep"),
        ("pitch_tol_deg", 0.0),  # nothing would ever be in spec
        ("roll_tol_deg", -0.1),
        ("twist_tol_mm", 4.0),  # wider than any gap anyone would accept
        ("lead_mm", 0.0),
        ("step_turns", 0.1),  # nobody turns less than an eighth
        ("step_turns", 2.0),
        ("exposure_mm", [0.0, 0.0, 0.0]),  # three legs
        ("exposure_mm", 5.0),  # one number for four legs
        ("exposure_mm", [np.nan, 0, 0, 0]),  # not known is said by exposure_known
        ("exposure_known", True),
        ("exposure_known", [1, 1, 1, 1]),  # numbers are not yes or no
        ("travel_mm", [-1.0, 41, 41, 41]),
        ("front_reachable", "no"),
        ("rear_reachable", np.nan),
        ("on_dollies", 1),
        ("feet_mm", [[-280, 0], [280, 0], [-280, 1300]]),  # three feet
        ("feet_mm", [[-280, 0], [280, 10], [-280, 1300], [280, 1300]]),  # the front pair is crooked
        ("feet_mm", [[-280, 0], [280, 0], [-200, 1300], [360, 1300]]),  # the rear pair is off the centre line
        ("feet_mm", [[280, 0], [-280, 0], [-280, 1300], [280, 1300]]),  # left and right swapped
        ("feet_mm", [[-280, 0], [280, 0], [-280, 50], [280, 50]]),  # closer than any cabinet
        ("feet_mm", [[-1600, 0], [1600, 0], [-1600, 1300], [1600, 1300]]),  # wider than any cabinet
    ],
)
def test_it_refuses_and_names_the_argument(name: str, value: Any) -> None:
    with pytest.raises(BadInput) as refused:
        PlanRequest(**(USUAL | {name: value}))
    assert refused.value.name == name
    assert refused.value.remedy


def test_it_refuses_batches_that_do_not_go_together() -> None:
    with pytest.raises(BadInput, match="broadcast"):
        PlanRequest(**(USUAL | {"pitch_deg": [6.0, 6.1], "roll_deg": [0.0, 0.1, 0.2]}))


def test_every_field_gets_the_batch_shape() -> None:
    made = PlanRequest(**(USUAL | {"pitch_deg": np.full((2, 1), 6.0), "exposure_mm": np.zeros((3, 4))}))
    assert made.shape == (2, 3)
    assert np.shape(made.lead_mm) == (2, 3)
    assert np.shape(made.exposure_mm) == (2, 3, 4)
    assert np.shape(made.feet_mm) == (2, 3, 4, 2)


def test_it_cannot_be_changed() -> None:
    made = PlanRequest(**USUAL)
    with pytest.raises(AttributeError):
        made.pitch_deg = 7.0  # type: ignore[misc]
    with pytest.raises(ValueError, match="read-only"):
        np.asarray(made.exposure_mm)[0] = 1.0
