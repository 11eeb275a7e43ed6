"""Pairs and manuals to a vial, and a vial to plain numbers and back."""

import json
from dataclasses import fields
from typing import Any

import numpy as np
import pytest

from collection.arrays.instruments import Zero
from collection.arrays.vials import learned_vial, pair_inputs, pair_tilt_deg, vial_inputs, vial_of_inputs
from collection.models import Instrument, VialPair
from leveling.instruments import Budget
from leveling.instruments_vials import LEARNED, NO_PAIRS, TOO_CLOSE, VIAL_OUTCOMES, Vial, VialSheet, learn_vial
from leveling.instruments_vials_read import bubble_place, read_vial
from tests.factories import NOON

#: The level of every pair here: it shows 0.1 degree.
LEVEL = Instrument(kind="digital_level", resolution_deg=0.1, accuracy_deg=0.05, alignment_deg=1, repeat_deg=0.03)


def a_vial(**fields: Any) -> Instrument:
    """A vial for pitch with two lines on either side."""
    return Instrument(**{"kind": "vial", "direction": "along", "reach_lines": 2, **fields})


def pair(vial: Instrument, lines: float, tilt_deg: float) -> VialPair:
    """Bubble and level at the same moment."""
    inputs = pair_inputs(vial=vial, level=LEVEL, zero=Zero(), at=NOON)
    return VialPair(vial=vial, position_lines=lines, tilt_deg=tilt_deg, inputs=inputs)


def test_it_learns_a_line_by_hand() -> None:
    """Pitch 6.0, 6.5 and 7.0 at -1, 0 and 1 lines: half a degree a line, 6.5 at the middle."""
    vial = a_vial()
    learned = learned_vial(vial=vial, pairs=[pair(vial, -1, 6.0), pair(vial, 0, 6.5), pair(vial, 1, 7.0)])
    assert int(learned.outcome) == LEARNED
    assert float(learned.line.slope) == pytest.approx(0.5, abs=1e-6)  # degrees per line
    assert float(bubble_place(learned, 6.75).position_lines) == pytest.approx(0.5, abs=1e-6)


def test_it_is_the_engine_called_by_hand() -> None:
    """The bridge adds nothing of its own: the same numbers as the engine with the budget written out."""
    vial = a_vial(deg_per_line=0.4)
    learned = learned_vial(vial=vial, pairs=[pair(vial, -1, 6.0), pair(vial, 1, 6.9)])
    # u of a display of 0.1: 0.1/sqrt 12; GUM 4.3.7. Laid along by eye, askew by 1 degree: 0.0004 (leveling.instruments)
    direct = learn_vial(
        sheet=VialSheet(reach_lines=np.asarray(2), deg_per_line=np.asarray(0.4), u_deg_per_line=np.asarray(0.04)),
        position_lines=[-1, 1],
        tilt_deg=[6.0, 6.9],
        budget=Budget(
            resolution_deg=np.asarray(0.1 / np.sqrt(12)),
            repeat_deg=np.asarray(0.03),
            accuracy_deg=np.asarray(0.05 / np.sqrt(3)),
        ),
    )
    assert float(learned.line.slope) == pytest.approx(float(direct.line.slope), abs=1e-4)
    assert float(learned.line.u_value) == pytest.approx(float(direct.line.u_value), rel=0.02)
    assert float(learned.u_common_deg) == pytest.approx(0.05 / np.sqrt(3), abs=1e-9)


def test_a_vial_across_is_less_sure_since_the_level_may_lie_askew() -> None:
    """1 degree askew at 6.5 degrees of pitch is 0.113/sqrt 3 = 0.065 degree of roll (DESIGN, section 3)."""
    along, across = (
        learned_vial(vial=vial, pairs=[pair(vial, -1, -0.5), pair(vial, 1, 0.5)])
        for vial in (a_vial(), a_vial(direction="across"))
    )
    assert float(across.line.u_value) > 1.2 * float(along.line.u_value)


def test_one_pair_is_enough_with_a_manual_and_not_without() -> None:
    """The manual's degrees per line stand for the second pair."""
    told, untold = a_vial(deg_per_line=0.5), a_vial()
    assert int(learned_vial(vial=told, pairs=[pair(told, 0.5, 6.7)]).outcome) == LEARNED
    assert int(learned_vial(vial=untold, pairs=[pair(untold, 0.5, 6.7)]).outcome) == TOO_CLOSE


def test_without_pairs_the_manual_says_all_or_nothing_is_known() -> None:
    """Middle at 6.5, half a degree a line: one line to the rear is 7.0."""
    manual = learned_vial(vial=a_vial(deg_per_line=0.5, middle_deg=6.5), pairs=[])
    assert float(read_vial(manual, 1).tilt_deg) == pytest.approx(7.0, abs=1e-9)
    assert int(learned_vial(vial=a_vial(deg_per_line=0.5), pairs=[]).outcome) == NO_PAIRS
    assert int(learned_vial(vial=a_vial(), pairs=[]).outcome) == NO_PAIRS


def test_a_bubble_that_went_the_wrong_way_is_told() -> None:
    """Steeper, and the bubble stood farther to the front: a side was told wrong."""
    vial = a_vial()
    learned = learned_vial(vial=vial, pairs=[pair(vial, 2, 5.5), pair(vial, 0, 6.5), pair(vial, -2, 7.5)])
    assert VIAL_OUTCOMES[int(learned.outcome)].startswith("the bubble went to the low end")


@pytest.mark.parametrize(
    "vial",
    [
        pytest.param(learned_vial(vial=a_vial(), pairs=[pair(a_vial(), -1.5, 6.03), pair(a_vial(), 1, 7.1)]), id="two"),
        pytest.param(learned_vial(vial=a_vial(), pairs=[]), id="none"),
        pytest.param(learned_vial(vial=a_vial(deg_per_line=0.3, middle_deg=6.5), pairs=[]), id="manual"),
    ],
)
def test_plain_numbers_make_the_same_vial_again(vial: Vial) -> None:
    """Through JSON and back, to the last bit: a survey that kept them is recomputed exactly."""
    again = vial_of_inputs(json.loads(json.dumps(vial_inputs(vial))))
    for part in ("line", "sheet"):
        for item in fields(getattr(vial, part)):
            assert getattr(getattr(again, part), item.name) == getattr(getattr(vial, part), item.name), item.name
    for name in ("u_common_deg", "low_lines", "high_lines", "outcome"):
        assert getattr(again, name) == getattr(vial, name), name
    assert read_vial(again, 0.5).tilt_deg == read_vial(vial, 0.5).tilt_deg


def test_the_zero_of_the_level_is_taken_out() -> None:
    """A level whose zero is 0.1 shows 6.6 where the playfield has 6.5; its high end told in words."""
    inputs = pair_inputs(vial=a_vial(), level=LEVEL, zero=Zero(), at=NOON)
    inputs["instrument"]["zero_deg"] = 0.1
    assert pair_tilt_deg(shown=6.6, unit="deg", high_end="rear", inputs=inputs) == pytest.approx(6.5, abs=1e-12)
    assert pair_tilt_deg(shown=2.0, unit="percent", high_end="front", inputs=inputs) == pytest.approx(
        -np.degrees(np.arctan(0.02)) - 0.1, abs=1e-12
    )
