"""Leg plans between rows and the engine: one line of words, batches, what was really turned, how sure."""

import copy
from typing import Any

import pytest

from collection.arrays.plans import PlanRows, inputs_of, plans_of_many, turns_summary, usual_work
from collection.arrays.plans_answers import answers_to, as_turned
from tests import factories as make
from tests.worlds import TernTaproom

LEGS = ("FL", "FR", "RL", "RR")


def from_survey(**changed: Any) -> dict[str, Any]:
    """Inputs of a standard body, half a degree too flat, left high, FR light by 0.6 mm."""
    survey = {
        "stance": "FR", "pitch_read_deg": 5.95, "roll_read_deg": -0.28, "gap_mm": 0.6, "pitch_deg": 5.96,
        "roll_deg": -0.31, "twist_mm": 0.15, "u_pitch_deg": 0.066, "u_roll_deg": 0.09, "u_twist_mm": 0.0125,
    }  # fmt: skip
    spec = {"pitch_deg": 6.5, "pitch_tolerance_deg": 0.2, "roll_tolerance_deg": 0.15, "gap_tolerance_mm": 0.5}
    return {
        "source": "survey", "bay": "", "survey": survey, "spec": spec, "track_front_mm": 560.0,
        "track_rear_mm": 560.0, "base_mm": 1300.0, "lead_mm": 1.5875, "pitch_offset_deg": 0.0, "roll_offset_deg": 0.0,
        "u_pitch_offset_deg": 0.5, "u_roll_offset_deg": 0.2, "exposures_mm": [12.0, 12.0, 20.0, 20.0],
        "travels_mm": [41.0] * 4, "front_reachable": True, "rear_reachable": True, "on_dollies": False,
        "steps_per_turn": 4, "even_if_in_spec": False, **changed,
    }  # fmt: skip


def answer_to(**changed: Any) -> dict[str, Any]:
    return answers_to([from_survey(**changed)])[0]


def test_the_summary_tells_lifts_legs_and_turns_in_one_line() -> None:
    answer = answer_to()
    answer["lifts"] = [
        {"end": "rear", "frees": ["RL", "RR"], "legs": ["RL", "RR"]},
        {"end": "front", "frees": ["FL", "FR"], "legs": ["FL"]},
    ]
    for leg, steps in zip(answer["legs"], (-8, 0, 26, 33), strict=True):
        leg["steps"] = steps
    assert turns_summary(answer) == "2 lifts · rear: RL out 6 ½, RR out 8 ¼ · front: FL in 2"


@pytest.mark.parametrize(
    ("per_turn", "steps", "words"),
    [(2, 1, "out ½"), (6, 8, "out 1 ⅓"), (6, -5, "in ⅚"), (8, -25, "in 3 ⅛"), (8, 6, "out ¾"), (4, 8, "out 2")],
)
def test_turns_are_told_with_fractions(per_turn: int, steps: int, words: str) -> None:
    answer = answer_to()
    answer["lifts"] = [{"end": "front", "frees": ["FL", "FR"], "legs": ["FL"]}]
    answer["legs"][0] |= {"steps": steps, "steps_per_turn": per_turn}
    assert turns_summary(answer) == f"1 lift · front: FL {words}"


def test_the_summary_says_in_spec_nearest_and_wrong_exposures() -> None:
    survey = from_survey()["survey"] | {"pitch_deg": 6.5, "roll_deg": 0.0, "twist_mm": 0.0}
    assert turns_summary(answer_to(survey=survey)) == "in spec: turn nothing"
    nothing = turns_summary(answer_to(front_reachable=False, rear_reachable=False))
    assert nothing == "nothing fits; the nearest · nothing can be turned"
    wrong = turns_summary(answer_to(exposures_mm=[12.0, 45.0, 20.0, 20.0]))
    assert wrong == "a leveler is out beyond its travel: correct the legs"
    assert turns_summary(answer_to(on_dollies=True)).startswith("1 lift · all four: ")


def test_a_batch_answers_like_its_rows() -> None:
    floor = {
        "gx": 0.004, "gy": -0.006, "u_gx": 0.001, "u_gy": 0.001, "gxgy_covariance": 0.0, "heading_deg": 90.0,
        "leg_mm": [724.0] * 4, "pad_mm": [0.0] * 4,
    }  # fmt: skip
    rows = [
        from_survey(),
        from_survey(source="floor", floor=floor, pitch_offset_deg=5.5),
        from_survey(rear_reachable=False),
        from_survey(on_dollies=True, steps_per_turn=8),
        from_survey(exposures_mm=[None, 12.0, None, 20.0]),
    ]
    together = answers_to(rows)
    for row, answer in zip(rows, together, strict=True):
        assert answers_to([row])[0] == answer
    assert answers_to([]) == []


def test_turned_as_planned_it_expects_what_the_plan_said() -> None:
    inputs = from_survey()
    answer = answers_to([inputs])[0]
    assert len(answer["lifts"]) == 2
    lifts = [
        [leg["steps"] / 4 if leg["lift"] == number else 0.0 for leg in answer["legs"]]
        for number in range(1, len(answer["lifts"]) + 1)
    ]
    course = as_turned(inputs=inputs, lifts=lifts)
    assert course["verdict_after"] == pytest.approx(answer["verdict_after"], abs=1e-12)
    for mine, theirs in zip(course["states"], answer["states"], strict=True):
        assert mine == pytest.approx(theirs, abs=1e-12)


def test_one_turn_of_both_rear_levelers_is_0_0691_degree() -> None:
    """3/8-16 UNC, 1.5875 mm over 1300 mm at 6 to 6.5 degrees: derived in DEVELOPERS.md, Geometry."""
    inputs = from_survey()
    still, turned = (as_turned(inputs=inputs, lifts=[[0, 0, n, n]])["states"][1] for n in (0, 1))
    assert turned["pitch_deg"] - still["pitch_deg"] == pytest.approx(0.0692, abs=0.0002)
    assert turned["roll_deg"] == pytest.approx(still["roll_deg"], abs=1e-6)


def test_turning_nothing_leaves_it_as_sure_as_it_was_read() -> None:
    """The gap moves roll and twist together. Read with u 0.09, FR light by 2 mm with u 0.4 mm: on four feet the roll
    carries 0.4/(2 x 560) rad, 0.0205 degrees, more, 0.0923 in all. Standing on the same three feet, 0.09 again."""
    survey = from_survey()["survey"] | {"gap_mm": 2.0, "twist_mm": 0.5, "u_twist_mm": 0.1, "u_roll_deg": 0.0923}
    state = as_turned(inputs=from_survey(survey=survey), lifts=[[0, 0, 0, 0]])["states"][1]
    assert state["u_roll_deg"] == pytest.approx(0.09, abs=0.0005)
    assert state["u_gap_mm"] == pytest.approx(0.4, abs=1e-6)
    assert state["foot"] == "FR"


def test_the_lifts_go_in_the_order_that_leaves_the_smaller_gap() -> None:
    inputs = from_survey()
    answer = answers_to([inputs])[0]
    first, last = answer["lifts"]
    gaps = []
    for end in (first, last):
        turns = [leg["steps"] / 4 if leg["name"] in end["frees"] else 0.0 for leg in answer["legs"]]
        gaps.append(as_turned(inputs=inputs, lifts=[turns])["states"][1]["gap_mm"])
    assert gaps[0] <= gaps[1] + 1e-6


def test_a_machine_turned_round_on_its_bay_meets_the_opposite_floor() -> None:
    floor = {
        "gx": 0.0, "gy": 0.006, "u_gx": 0.001, "u_gy": 0.001, "gxgy_covariance": 0.0, "heading_deg": 0.0,
        "leg_mm": [724.0] * 4, "pad_mm": [0.0] * 4,
    }  # fmt: skip
    one = from_survey(source="floor", floor=floor, exposures_mm=[12.0] * 4)
    other = copy.deepcopy(one)
    other["floor"]["heading_deg"] = 180.0
    ahead, back = (answer["states"][0]["pitch_deg"] for answer in answers_to([one, other]))
    # 6 mm/m is 0.344 degrees either way; a floor that flat leaves the mean sinking of a light foot in both
    assert (ahead - back) / 2 == pytest.approx(0.3438, abs=0.0002)


def test_a_doubtful_roll_reading_cannot_prove_the_certificate() -> None:
    """95 % between two limits needs u of at most tolerance/1.960 (JCGM 106:2012, normal distribution)."""
    survey = from_survey()["survey"]
    limit = 0.15 / 1.95996
    for u_roll_deg, proven in ((limit * 1.01, False), (limit * 0.99, True)):
        assert answer_to(survey=survey | {"u_roll_deg": u_roll_deg})["provable"]["roll"] is proven


def test_the_feet_unchecked_are_not_judged() -> None:
    survey = from_survey()["survey"] | {"stance": "unknown", "u_twist_mm": 0.5, "gap_mm": 0.0, "twist_mm": 0.0}
    answer = answer_to(survey=survey)
    assert answer["verdict_after"]["gap"] == "not_measured"
    assert answer["states"][0]["gap_mm"] is None


def test_usual_work_follows_bay_machine_and_dollies(taproom: TernTaproom) -> None:
    taproom.bay.rear_reachable = False
    taproom.machine.bay = taproom.bay
    work = usual_work(taproom.machine)
    assert (work.front_reachable, work.rear_reachable, work.on_dollies, work.steps_per_turn) == (True, False, False, 4)
    taproom.machine.on_dollies = True
    assert usual_work(taproom.machine).rear_reachable
    taproom.machine.bay = None
    assert usual_work(taproom.machine).front_reachable


def test_many_machines_at_once_are_planned_as_each_alone(taproom: TernTaproom) -> None:
    survey = taproom.survey
    spec = survey.spec
    other = make.MachineFactory(member=taproom.people.alice, bay=taproom.bay, track_front_mm=660, track_rear_mm=660)
    rows = [
        PlanRows(machine=machine, legs=list(machine.legs.all()), spec=spec, survey=survey)
        for machine in (taproom.machine, other)
    ]
    many = plans_of_many(rows=rows)
    alone = [answers_to([inputs_of(rows=row, work=usual_work(row.machine))])[0] for row in rows]
    assert many == alone
    assert [leg["name"] for leg in many[0]["legs"]] == list(LEGS)
