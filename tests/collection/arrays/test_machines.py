"""The marks on bars: each quantity of a survey judged by itself, by the daily rule."""

from typing import Any

from collection.arrays.machines import Marks, marks_of
from collection.models import Spec, Survey

SPEC = {"pitch_deg": 6.5, "pitch_tolerance_deg": 0.2, "roll_tolerance_deg": 0.15, "gap_tolerance_mm": 0.5}
MIDDLE = {
    "pitch_deg": 6.5, "roll_deg": 0.0, "twist_mm": 0.0, "u_pitch_deg": 0.05, "u_roll_deg": 0.05, "u_twist_mm": 0.02,
    "stance": "all_bearing",
}  # fmt: skip


def marks(**seen: Any) -> Marks:
    return marks_of(pairs=[(Survey(**MIDDLE | seen), Spec(**SPEC))])[0]


def test_each_quantity_has_its_own_mark() -> None:
    assert marks() == Marks("in", "in", "in")
    assert marks(pitch_deg=5.9) == Marks("out", "in", "in")
    assert marks(roll_deg=-0.3) == Marks("in", "out", "in")
    assert marks(stance="FR", twist_mm=-0.3) == Marks("in", "in", "out")


def test_near_a_limit_it_is_borderline() -> None:
    """Half of the distribution lies inside a limit that is met exactly: 50 %, between 40 % and 60 %."""
    assert marks(roll_deg=0.15).roll == "borderline"
    assert marks(pitch_deg=6.7).pitch == "borderline"


def test_an_unchecked_stance_has_no_mark_on_the_gap() -> None:
    assert marks(stance="unknown").gap == "not_measured"


def test_many_are_judged_as_each_alone_and_none_as_none() -> None:
    surveys = [Survey(**MIDDLE | {"pitch_deg": pitch}) for pitch in (6.5, 5.9, 6.7)]
    assert [found.pitch for found in marks_of(pairs=[(survey, Spec(**SPEC)) for survey in surveys])] == [
        "in", "out", "borderline",
    ]  # fmt: skip
    assert marks_of(pairs=[]) == []
