"""The doors of the engine: bad contracts are refused by name, with what is wrong and the remedy."""

import math

import numpy as np
import pytest

from leveling.checks import finite, last_axis, one_of
from leveling.checks_shapes import flags, together
from leveling.errors import BadInput, LevelingError


def refusal_of(call, *arguments, **options) -> BadInput:
    with pytest.raises(BadInput) as refusal:
        call(*arguments, **options)
    return refusal.value


def test_it_hands_on_good_numbers_as_float64() -> None:
    array = finite("base_mm", [1300, 1250], low=0, above=True)
    assert array.dtype == np.float64
    assert array.tolist() == [1300.0, 1250.0]


def test_both_ends_of_a_range_belong_to_it() -> None:
    assert finite("roll_deg", [-5, 5], low=-5, high=5).tolist() == [-5, 5]


def test_above_leaves_out_the_lower_end() -> None:
    assert refusal_of(finite, "track_mm", 0, low=0, above=True).name == "track_mm"
    assert finite("track_mm", 1e-9, low=0, above=True) == 1e-9


def test_an_empty_batch_passes() -> None:
    assert finite("heights_mm", np.zeros((0, 4)), low=0).shape == (0, 4)
    assert flags("used", []).shape == (0,)


@pytest.mark.parametrize(
    "value",
    [
        math.nan,  # not a number
        math.inf,  # not finite
        [1.0, -math.inf],  # one bad entry spoils the call
        "6.5 degrees",  # words: parsing belongs to the forms
        None,  # a hole
        [[1.0], [1.0, 2.0]],  # rows of different length
        {"a": 1},  # not numbers at all
        1 + 2j,  # complex
        -0.1,  # below the range
        10.5,  # above the range
    ],
)
def test_it_refuses_a_bad_number_by_name(value) -> None:
    refused = refusal_of(finite, "pitch_deg", value, low=0, high=10, unit="degrees")
    assert refused.name == "pitch_deg"
    assert refused.problem
    assert "degrees" in refused.remedy


@pytest.mark.parametrize(
    ("limits", "remedy"),
    [
        ({"low": 2}, "Give at least 2 in mm"),
        ({"low": 2, "high": 3}, "Give at least 2 and at most 3 in mm"),
        ({"high": -1}, "Give at most -1 in mm"),
        ({"low": 1, "above": True}, "Give more than 1 in mm"),
    ],
)
def test_the_remedy_tells_the_range(limits, remedy) -> None:
    assert refusal_of(finite, "gap_mm", 0 if "low" in limits else 5, unit="mm", **limits).remedy == remedy


@pytest.mark.parametrize("shape", [(), (3,), (4, 3), (0,)])
def test_it_refuses_a_last_axis_of_another_length(shape) -> None:
    refused = refusal_of(last_axis, "heights_mm", np.zeros(shape), 4, "FL, FR, RL, RR")
    assert str(shape) in refused.problem
    assert "FL, FR, RL, RR" in refused.remedy


def test_it_refuses_a_word_that_is_no_choice() -> None:
    refused = refusal_of(one_of, "end", "back", ("front", "rear"))
    assert refused.problem == "is 'back'"
    assert refused.remedy == "Give one of: front, rear"


def test_every_refusal_of_the_engine_is_a_value_error() -> None:
    assert issubclass(BadInput, LevelingError)
    assert issubclass(LevelingError, ValueError)
    assert str(BadInput("gap_mm", "is out of range", "Give at least 0")) == "gap_mm: is out of range. Give at least 0"


@pytest.mark.parametrize(
    "value",
    [
        1,  # a number is not a yes
        [0.0, 1.0],
        "yes",
        None,
        [True, None],
        [[True], [True, False]],
    ],
)
def test_it_takes_only_true_and_false_for_a_flag(value) -> None:
    assert refusal_of(flags, "along", value).name == "along"


def test_shapes_that_fit_are_stretched_together() -> None:
    tilt, along = together(tilt_deg=np.zeros((5, 1)), along=np.zeros(2, dtype=bool))
    assert tilt.shape == along.shape == (5, 2)


def test_shapes_that_do_not_fit_are_all_named() -> None:
    refused = refusal_of(together, tilt_deg=np.zeros(3), along=np.zeros(2))
    assert "tilt_deg (3,)" in refused.problem
    assert "along (2,)" in refused.problem
