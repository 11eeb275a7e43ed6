"""The quick answer beside arithmetic by hand, beside the engine asked directly, and beside a stored leg plan."""

import math
from typing import Any

import pytest
from django.http import QueryDict

from collection import presets
from collection.actions.plans import make_plan
from collection.forms.quick import QuickForm
from collection.queries.quick import EXAMPLE_QUERY, QuickPage, example, quick_page
from leveling.frame import foot_positions
from leveling.turns import Outcome, PlanRequest, plan_legs
from tests.surveying import across, along, author, survey_of
from tests.worlds import TernTaproom

LEAD_MM = 1.5875  # 3/8-16 UNC, ASME B1.1
TRACK_MM, BASE_MM = 560.0, 1300.0
#: Usual for a modern machine, common practice: the playfield hangs so much steeper than its cabinet.
OFFSET_DEG = 5.3


def answer_to(address: str) -> QuickPage:
    form = QuickForm(QueryDict(address))
    assert form.is_valid(), form.errors
    return quick_page(**form.values)


def turned(pitch_deg: float, roll_deg: float, turns: list[float], offset_deg: float = OFFSET_DEG) -> tuple[float, ...]:
    """Return pitch, roll and gap after these turns: a plane through four feet on a rectangle, on paper."""
    fl, fr, rl, rr = (turn * LEAD_MM for turn in turns)
    gy = math.tan(math.radians(pitch_deg - offset_deg)) + (rl + rr - fl - fr) / (2 * BASE_MM)
    gx = math.tan(math.radians(roll_deg)) + (fr + rr - fl - rl) / (2 * TRACK_MM)
    return math.degrees(math.atan(gy)) + offset_deg, math.degrees(math.atan(gx)), abs(fl - fr - rl + rr)


def test_a_case_worked_by_hand() -> None:
    """6.0 to 6.5 degrees on a level machine: one turn of a pair is 1.5875/1300 = 0.0700 degree, so 7 turns."""
    found = answer_to("pitch=6.0&roll=0&high=level")
    assert found.working.pitch_turn_deg == pytest.approx(0.0700, abs=0.0001)
    assert found.working.pitch_turns_size == pytest.approx(7.15, abs=0.01)
    assert found.turns in ([-7, -7, 0, 0], [0, 0, 7, 7])
    pitch, roll, gap = turned(6.0, 0.0, found.turns)
    assert pitch == pytest.approx(6.49, abs=0.005)
    assert (roll, gap) == (0, 0)


def test_too_steep_is_told_as_such() -> None:
    """7.0 to 6.5: the same turns the other way round."""
    steep, flat = answer_to("pitch=7.0&roll=0&high=level"), answer_to("pitch=6.0&roll=0&high=level")
    assert (steep.working.is_too_steep, flat.working.is_too_steep) == (True, False)
    assert steep.working.pitch_turns_size == pytest.approx(flat.working.pitch_turns_size, abs=0.02)
    assert steep.turns in ([7, 7, 0, 0], [0, 0, -7, -7])


def test_the_turns_of_one_leveler_change_roll_as_the_page_says() -> None:
    """1.5875 mm over 2 x 560 mm is 0.0812 degree."""
    assert answer_to(EXAMPLE_QUERY).working.roll_turn_deg == pytest.approx(0.0812, abs=0.0001)


@pytest.mark.parametrize("address", [
    EXAMPLE_QUERY, "pitch=5.1&roll=0.8&high=right", "pitch=7.4&roll=0.5&high=left", "pitch=6.5&roll=1&high=right",
    "pitch=5.2&roll=0.4&high=left&front_in=on", "pitch=6&roll=0.3&high=right&ends=dollies&steps_per_turn=8",
])  # fmt: skip
def test_the_turns_bring_it_into_spec_on_paper(address: str) -> None:
    found = answer_to(address)
    pitch, roll, gap = turned(found.asked.pitch_deg, found.asked.roll_deg, found.turns)
    assert abs(pitch - 6.5) <= 0.2
    assert abs(roll) <= 0.15
    assert gap <= 0.5
    state = found.seen.states[-1]
    # The page tells what the board should read as it stands, where the feet may not all bear to a hair.
    assert state["pitch_deg"] == pytest.approx(pitch, abs=0.01)
    assert state["roll_deg"] == pytest.approx(roll, abs=0.02)


@pytest.mark.parametrize(("pitch", "roll", "step", "ends"), [
    (6.0, -0.3, 4, "both"), (6.0, 0.3, 4, "both"), (4.2, 0.9, 8, "both"), (7.9, -1.4, 2, "both"),
    (6.3, 0.2, 6, "dollies"), (6.1, 0.0, 4, "rear"), (6.1, 0.0, 4, "front"),
    (6.0, 0.4, 4, "front"), (6.5, 0.0, 4, "both"),
])  # fmt: skip
def test_it_is_the_plan_of_the_engine(pitch: float, roll: float, step: int, ends: str) -> None:
    side = "level" if not roll else "right" if roll > 0 else "left"
    found = answer_to(f"pitch={pitch}&roll={abs(roll)}&high={side}&steps_per_turn={step}&ends={ends}")
    plan = plan_legs(PlanRequest(
        feet_mm=foot_positions(track_front_mm=TRACK_MM, track_rear_mm=TRACK_MM, base_mm=BASE_MM),
        pitch_deg=pitch, roll_deg=roll, twist_mm=0.0, pitch_offset_deg=OFFSET_DEG, want_pitch_deg=6.5,
        pitch_tol_deg=0.2, roll_tol_deg=0.15, twist_tol_mm=0.125, lead_mm=LEAD_MM, step_turns=1 / step,
        front_reachable=ends != "rear", rear_reachable=ends != "front", on_dollies=ends == "dollies",
    ))  # fmt: skip
    assert found.turns == pytest.approx(plan.turns.tolist(), abs=1e-12)
    outcome = {"in_spec": Outcome.ALREADY_IN_SPEC, "plan": Outcome.PLAN, "nothing_fits": Outcome.NOTHING_FITS}
    assert outcome[found.answer["outcome"]] == plan.outcome


@pytest.mark.parametrize(("stance", "gap"), [("all_bearing", 0.0), ("unknown", 0.0), ("FR", 1.2), ("RL", 0.9)])
def test_it_is_what_a_stored_survey_and_its_plan_say(taproom: TernTaproom, stance: str, gap: float) -> None:
    bob, machine = taproom.people.bob, taproom.machine
    usual = (presets.ERAS["modern"].pitch_offset_deg, presets.U_PITCH_OFFSET_DEG, presets.U_ROLL_OFFSET_DEG)
    machine.pitch_offset_deg, machine.u_pitch_offset_deg, machine.u_roll_offset_deg = usual
    machine.save()
    seen: dict[str, Any] = {"stance": stance, "gap": gap, "gap_text": str(gap) if gap else ""}
    survey = survey_of(
        machine, by=bob, instrument=taproom.instrument, readings=[along(6.0), across(0.3, "left")], **seen
    )
    plan = make_plan(by=author(bob, survey.measured_at), machine=machine, source="survey")
    found = answer_to(f"{EXAMPLE_QUERY}&stance={stance}" + (f"&gap_mm={gap}" if gap else ""))
    assert (machine.track_front_mm, machine.base_mm, machine.lead_mm) == (TRACK_MM, BASE_MM, LEAD_MM)
    assert found.turns == [leg["steps"] / 4 for leg in plan.answer["legs"]]
    for name in ("pitch_deg", "roll_deg", "u_pitch_deg", "u_roll_deg", "u_twist_mm"):
        assert getattr(found.assessment, name) == pytest.approx(getattr(survey, name), abs=1e-12), name
    for mine, theirs in zip(found.answer["states"], plan.answer["states"], strict=True):
        assert mine["pitch_deg"] == pytest.approx(theirs["pitch_deg"], abs=1e-9)
        assert mine["roll_deg"] == pytest.approx(theirs["roll_deg"], abs=1e-9)


@pytest.mark.parametrize(
    "more", ["", "&ends=dollies", "&ends=front", "&front_in=on", "&steps_per_turn=8", "&body=wide"]
)
def test_left_and_right_are_mirrored(more: str) -> None:
    for roll in ("0.3", "0.7", "1.6"):
        left = answer_to(f"pitch=6.0&roll={roll}&high=left{more}")
        right = answer_to(f"pitch=6.0&roll={roll}&high=right{more}")
        fl, fr, rl, rr = right.turns
        assert left.turns == [fr, fl, rr, rl]
        assert [lift.end for lift in left.seen.lifts] == [lift.end for lift in right.seen.lifts]
        assert left.seen.states[-1]["roll_deg"] == pytest.approx(-right.seen.states[-1]["roll_deg"], abs=1e-9)


def test_already_in_spec_turns_nothing_unless_one_asks_for_more() -> None:
    assert answer_to("pitch=6.4&roll=0.1&high=left").answer["outcome"] == "in_spec"
    assert answer_to("pitch=6.4&roll=0.1&high=left").turns == [0, 0, 0, 0]
    assert any(answer_to("pitch=6.4&roll=0.1&high=left&closer=on").turns)


def test_levelers_that_are_fully_in_are_not_turned_in() -> None:
    for address in (EXAMPLE_QUERY, "pitch=5.5&roll=0.6&high=right", "pitch=7.2&roll=0.2&high=left"):
        fl, fr, _, _ = answer_to(f"{address}&front_in=on").turns
        assert min(fl, fr) >= 0
    assert min(answer_to(EXAMPLE_QUERY).turns) < 0


def test_what_cannot_be_reached_is_said_with_what_helps() -> None:
    found = answer_to(f"{EXAMPLE_QUERY}&ends=front")
    assert (found.answer["outcome"], found.answer["limit"], found.answer["remedy"]) == (
        "nothing_fits", "rear_not_reachable", "pull_out",
    )  # fmt: skip
    assert all(lift.end == "front" for lift in found.seen.lifts)


def test_the_parts_of_the_uncertainty_add_as_squares() -> None:
    """JCGM 100:2008, 5.1.2. Resolution 0.1/sqrt 12 = 0.0289; 1 degree askew at 6 degrees: sin 6 / sqrt 3 = 0.060."""
    *parts, total = answer_to(EXAMPLE_QUERY).parts
    assert parts[0].along_deg == pytest.approx(0.0289, abs=1e-4)
    assert parts[1].across_deg == pytest.approx(math.sin(math.radians(6)) / math.sqrt(3), abs=0.002)
    for side in ("along_deg", "across_deg"):
        assert math.hypot(*(getattr(part, side) for part in parts)) == pytest.approx(getattr(total, side), abs=1e-9)


def test_the_example_is_what_its_address_answers() -> None:
    assert example().asked == answer_to(EXAMPLE_QUERY).asked


@pytest.mark.parametrize("pitch", ["0", "15"])
@pytest.mark.parametrize("side", ["left", "right"])
def test_the_ends_of_the_ranges_are_answered(pitch: str, side: str) -> None:
    for lead, base, track in (("0.5", "3000", "2000"), ("5", "400", "200")):
        for more in ("", "&stance=RL&gap_mm=20", "&ends=rear&front_in=on"):
            built = (
                f"&body=other&track_front_mm={track}&track_rear_mm={track}&base_mm={base}&thread=other&lead_mm={lead}"
            )
            found = answer_to(f"pitch={pitch}&roll=10&high={side}&want_deg=7{built}{more}&steps_per_turn=8")
            assert all(math.isfinite(number) for number in found.turns)
            assert found.answer["outcome"] in ("plan", "nothing_fits")
