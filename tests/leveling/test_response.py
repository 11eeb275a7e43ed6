"""A machine teaches how it answers to turns; turns that were not as told teach nothing and are told.

The worked cases move four corners of a cabinet by hand (``heights_to_modes`` on the true feet) and read them without
error, so that what must come out is known. The small forms of the benchmark are at the end, with their seeds.
"""

import numpy as np
import pytest

from leveling.errors import BadInput
from leveling.four_feet import FourFeet, Offset
from leveling.frame import foot_positions, heights_to_modes
from leveling.prediction import Turning, after_turns
from leveling.response import U_FACTOR, Response, plan_terms, usual_response
from leveling.response_faults import FINDING_WORDS, Finding, stories_of
from leveling.response_learning import Step, answer_to_turns, learn_response
from leveling.units import LEAD_MM
from tests.benchmarks.bench_response import FAULTS, compare_set_ups, fault_trial

UNC, METRIC = LEAD_MM["3/8-16 UNC"], LEAD_MM["M10x1.5"]
FEET = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1300)
OFFSET = Offset(pitch_deg=5.3, roll_deg=0.1)
BELIEF = usual_response(lead_mm=UNC, other_lead_mm=METRIC, offset=OFFSET)
# A very good survey, so that one step teaches much [degree, degree, mm].
GOOD = np.diag([0.01, 0.015, 0.01]) ** 2


def playfield(heights_mm, feet_mm, covariance=GOOD):
    """The playfield over four corners of a cabinet, read without error."""
    modes = heights_to_modes(heights_mm, feet_mm)
    return FourFeet(modes.pitch_deg + 5.3, modes.roll_deg + 0.1, modes.twist_mm, covariance)


def step_of(told, truly=None, *, feet_mm=FEET, lead_mm=UNC, start_mm=(0, 0, 5, 5), also_mm=(0, 0, 0, 0), **more):
    """A machine on ``feet_mm`` with this lead whose legs were told one thing and did another."""
    told = np.asarray(told, dtype=float)
    moved = told if truly is None else np.asarray(truly, dtype=float)
    before = np.broadcast_to(np.asarray(start_mm, dtype=float), moved.shape)
    after = before + moved * lead_mm + np.asarray(also_mm)
    return Step(
        before=playfield(before, feet_mm),
        turns=told,
        after=playfield(after, feet_mm),
        feet_mm=FEET,
        **more,
    )


def finding_of(step):
    return Finding(int(learn_response(BELIEF, step).finding))


def test_a_shorter_base_pitches_more_per_turn():
    """Base 1261 mm instead of 1300: one turn pitches by 3.1 % more. 30 turns tell it to 0.7 %: 0.014 of 2.1 degrees."""
    short = foot_positions(track_front_mm=560, track_rear_mm=560, base_mm=1261)
    learning = learn_response(BELIEF, step_of([-15, -15, 15, 15], feet_mm=short))
    assert learning.finding == Finding.LEARNED
    response = learning.response
    assert float(response.pitch_factor) == pytest.approx(1300 / 1261, abs=0.007)
    assert float(response.pitch_factor) > 1.018  # it went most of the way from 0.997
    assert float(response.u_pitch_factor) < 0.6 * float(BELIEF.u_pitch_factor)
    assert float(response.roll_factor) == pytest.approx(float(BELIEF.roll_factor), abs=0.004)  # roll did not move


def test_steps_that_repeat_come_to_the_truth():
    feet = foot_positions(track_front_mm=548, track_rear_mm=548, base_mm=1330)
    response = BELIEF
    for turn in range(20):
        way = 1 if turn % 2 else -1
        response = learn_response(response, step_of(np.array([-19, -7, 7, 19.0]) * way, feet_mm=feet)).response
    assert float(response.pitch_factor) == pytest.approx(1300 / 1330, abs=0.003)
    assert float(response.roll_factor) == pytest.approx(560 / 548, abs=0.003)
    assert float(response.u_pitch_factor) < 0.006


def test_angles_that_all_answer_less_by_5_5_percent_mean_the_other_thread():
    """M10x1.5 is 5.5 % finer than 3/8-16 UNC (ASME B1.1, 1.5875 mm per turn; M10x1.5, 1.5 mm)."""
    told = np.array([-12.0, -4, 4, 12])
    response = learn_response(BELIEF, step_of(told, lead_mm=METRIC)).response
    assert float(response.chance_other) > 0.5
    assert float(response.pitch_factor) == pytest.approx(METRIC / UNC, abs=0.01)
    assert float(learn_response(BELIEF, step_of(told)).response.chance_other) < 0.01


def test_the_gap_alone_tells_the_threads_apart():
    """Twist is height, whatever base and track are: 3 turns out and 3 in on the diagonals, 4.76 or 4.50 mm of twist."""
    response = learn_response(BELIEF, step_of([3.0, -3, -3, 3], lead_mm=METRIC)).response
    assert float(response.chance_other) > 0.99
    assert float(response.pitch_factor) == pytest.approx(METRIC / UNC, abs=0.001)


def test_without_a_gap_a_long_base_and_a_fine_thread_look_alike():
    """Only lead / base and lead / track can be told apart: both truths teach the same factors."""
    told, shrink = np.array([-12.0, -4, 4, 12]), UNC / METRIC
    large = foot_positions(track_front_mm=560 * shrink, track_rear_mm=560 * shrink, base_mm=1300 * shrink)
    fine = learn_response(BELIEF, step_of(told, lead_mm=METRIC)).response
    long = learn_response(BELIEF, step_of(told, feet_mm=large)).response
    assert float(fine.pitch_factor) == pytest.approx(float(long.pitch_factor), abs=1e-4)
    assert float(fine.roll_factor) == pytest.approx(float(long.roll_factor), abs=1e-4)


def test_a_plan_with_what_was_learned_turns_what_the_machine_needs():
    """0.002 degree: feet and lead of ``plan_terms`` foretell what the true machine does."""
    true = foot_positions(track_front_mm=548, track_rear_mm=548, base_mm=1330)
    state = [1300 / 1330, 560 / 548, 5.3, 0.1]
    sure = Response(np.array([UNC, METRIC]), np.array([0.0, 1.0]), np.array(state), np.zeros((4, 4)))
    terms, turns = plan_terms(sure, FEET), np.array([-9.0, 3, 3, 15])
    told = after_turns(
        before=playfield([0, 0, 5, 5], true),
        turning=Turning(turns, terms.lead_mm),
        feet_mm=terms.feet_mm,
        offset=terms.offset,
    )
    really = playfield(np.array([0, 0, 5, 5]) + turns * METRIC, true)
    assert float(told.pitch_deg) == pytest.approx(float(really.pitch_deg), abs=0.002)
    assert float(told.roll_deg) == pytest.approx(float(really.roll_deg), abs=0.002)
    assert float(told.twist_mm) == pytest.approx(float(really.twist_mm), abs=1e-9)


def test_the_answer_to_turns_is_as_sure_as_it_says():
    """Stated u of pitch, roll and twist within 6 % of the rms error: 4,000 machines drawn from the belief, seed 5."""
    rng, many, turns = np.random.default_rng(5), 4000, np.array([-15.0, -9, 11, 17])
    before = playfield([0, 0, 5, 5], FEET)
    said = answer_to_turns(BELIEF, before=before, turns=turns, feet_mm=FEET)
    scale = 1 / (1 + rng.normal(0, U_FACTOR, (many, 1, 2)))
    lead = np.where(rng.uniform(size=many) < 0.05, METRIC, UNC)[:, None]
    made = turns + rng.normal(0, 0.02, (many, 4))
    end = heights_to_modes(made * lead, FEET * scale)
    offset = rng.normal(0, 1, (2, many)) * np.array([[0.5], [0.2]])
    cabinet = np.array([[before.pitch_deg - 5.3], [before.roll_deg - 0.1]]) - offset
    change = np.stack([end.gy, end.gx])
    angles = np.degrees(np.arctan(np.tan(np.radians(cabinet)) + change)) - cabinet
    read = rng.multivariate_normal(np.zeros(3), GOOD, many).T
    errors = (
        before.pitch_deg + angles[0] + read[0] - said.pitch_deg,
        before.roll_deg + angles[1] + read[1] - said.roll_deg,
        before.twist_mm + end.twist_mm + read[2] - said.twist_mm,
    )
    for error, u in zip(errors, (said.u_pitch_deg, said.u_roll_deg, said.u_twist_mm), strict=True):
        assert float(u) == pytest.approx(float(np.sqrt((error**2).mean())), rel=0.06)
        assert abs(error.mean()) < 0.06 * float(u)


def test_an_error_that_both_surveys_share_cancels_in_the_change():
    covariance = np.diag([0.1, 0.1, 0.01]) ** 2
    surveys = {"before": FourFeet(5.0, 0.1, 0.0, covariance), "after": FourFeet(7.1, 0.1, 0.0, covariance)}
    two_levels = Step(turns=[-15, -15, 15, 15], feet_mm=FEET, **surveys)
    one_level = Step(turns=[-15, -15, 15, 15], feet_mm=FEET, u_shared_deg=(0.095, 0.095), **surveys)
    alone, shared = (learn_response(BELIEF, step).response for step in (two_levels, one_level))
    assert float(shared.u_pitch_factor) < 0.75 * float(alone.u_pitch_factor)


def test_a_change_hardly_teaches_the_offset_but_does_teach_it():
    response = learn_response(BELIEF, step_of([-15, -15, 15, 15])).response
    assert 0.99 * 0.5 < float(response.offset.u_pitch_deg) < 0.5
    assert float(response.offset.pitch_deg) == pytest.approx(5.3, abs=0.05)


def test_nothing_is_learned_where_nothing_was_turned():
    learning = learn_response(BELIEF, step_of([0, 0, 0, 0], also_mm=(0, 0, 3, 3)))
    assert learning.finding == Finding.NOTHING_TURNED
    assert learning.response.mean.tolist() == BELIEF.mean.tolist()


def test_a_quarter_turn_is_too_little_to_learn_from():
    learning = learn_response(BELIEF, step_of([-0.25, -0.25, 0.25, 0.25]))
    assert learning.finding == Finding.TOO_LITTLE_MOVED
    assert learning.response.covariance.tolist() == BELIEF.covariance.tolist()


#: Told, truly turned, also moved [mm], finding, leg, instead: FL 0, FR 1, RL 2, RR 3, -1 several or none.
NOT_AS_TOLD = [
    # Left for right at both ends.
    ([3, 0, 5, 2], [0, 3, 2, 5], [0, 0, 0, 0], Finding.WRONG_FOOT, -1, -1),
    # The turns of the rear right made at the rear left.
    ([0, 0, 0, 4], [0, 0, 4, 0], [0, 0, 0, 0], Finding.WRONG_FOOT, 3, 2),
    # Front for rear.
    ([0, 0, 3, 4], [3, 4, 0, 0], [0, 0, 0, 0], Finding.WRONG_FOOT, -1, -1),
    # Both rear feet in instead of out.
    ([0, 0, 5, 5], [0, 0, -5, -5], [0, 0, 0, 0], Finding.WRONG_WAY, -1, -1),
    # One foot of four the wrong way.
    ([-3, -2, 3, 2], [-3, 2, 3, 2], [0, 0, 0, 0], Finding.WRONG_WAY, 1, -1),
    # One foot was forgotten.
    ([0, 0, 6, 5], [0, 0, 6, 0], [0, 0, 0, 0], Finding.LEFT_OUT, 3, -1),
    # As told, but the front left now stands on a cable 6.5 mm thick.
    ([0, 0, 5, 5], [0, 0, 5, 5], [6.5, 0, 0, 0], Finding.LEG_OFF, 0, -1),
    # As told, but the rear right slipped down its thread by 4 mm.
    ([0, 0, 5, 5], [0, 0, 5, 5], [0, 0, 0, -4], Finding.LEG_OFF, 3, -1),
    # Shoved onto another piece of floor: everything changed.
    ([0, 0, 1, 1], [0, 0, 1, 1], [9, -6, -9, 14], Finding.UNEXPLAINED, -1, -1),
]


@pytest.mark.parametrize(("told", "truly", "also_mm", "finding", "leg", "instead"), NOT_AS_TOLD)
def test_turns_not_as_told_are_named_and_teach_nothing(told, truly, also_mm, finding, leg, instead):
    learning = learn_response(BELIEF, step_of(told, truly, also_mm=also_mm))
    assert Finding(int(learning.finding)) == finding
    assert (int(learning.leg), int(learning.instead)) == (leg, instead)
    assert learning.turned.tolist() == truly
    assert float(learning.chance_as_told) < 0.01
    assert learning.response.mean.tolist() == BELIEF.mean.tolist()
    assert learning.response.chance.tolist() == BELIEF.chance.tolist()


def test_where_two_faults_read_alike_both_are_told():
    """The left 3 turns out, but done at the right, or inward: the same cabinet, only 4.8 mm higher or lower."""
    right, inward = ([0, 3, 0, 3], [-3, 0, -3, 0])
    findings = []
    for truly in (right, inward):
        learning = learn_response(BELIEF, step_of([3, 0, 3, 0], truly))
        findings.append({int(learning.finding), int(learning.rival)})
    assert findings == [{Finding.WRONG_FOOT, Finding.WRONG_WAY}] * 2
    assert int(learn_response(BELIEF, step_of([3, 0, 5, 2])).rival) == Finding.LEARNED


def test_left_and_right_mirror():
    """The mirrored machine teaches the same, with the roll's offset turned round."""
    mirrored = usual_response(lead_mm=UNC, other_lead_mm=METRIC, offset=Offset(pitch_deg=5.3, roll_deg=-0.1))
    told = np.array([-9.0, 3, 3, 15])
    step = step_of(told, start_mm=(1, 0, 5, 7))
    other = Step(
        before=FourFeet(step.before.pitch_deg, -step.before.roll_deg, -step.before.twist_mm, GOOD),
        turns=told[[1, 0, 3, 2]],
        after=FourFeet(step.after.pitch_deg, -step.after.roll_deg, -step.after.twist_mm, GOOD),
        feet_mm=FEET,
    )
    one, two = learn_response(BELIEF, step), learn_response(mirrored, other)
    assert one.finding == two.finding == Finding.LEARNED
    for name in ("pitch_factor", "roll_factor", "u_pitch_factor", "u_roll_factor", "chance_other"):
        assert float(getattr(one.response, name)) == pytest.approx(float(getattr(two.response, name)), abs=1e-7)


def test_one_machine_many_and_none_agree():
    told = np.array([[-9.0, 3, 3, 15], [3, 0, 5, 2], [0, 0, 0, 0]])
    truly = np.array([[-9.0, 3, 3, 15], [0, 3, 2, 5], [0, 0, 0, 0]])
    many = learn_response(BELIEF, step_of(told, truly))
    assert many.finding.tolist() == [Finding.LEARNED, Finding.WRONG_FOOT, Finding.NOTHING_TURNED]
    for row in range(3):
        alone = learn_response(BELIEF, step_of(told[row], truly[row]))
        assert float(alone.response.pitch_factor) == pytest.approx(float(many.response.pitch_factor[row]), abs=1e-12)
        assert int(alone.finding) == int(many.finding[row])
    none = learn_response(BELIEF, step_of(np.zeros((0, 4))))
    assert none.finding.shape == (0,)
    assert none.turned.shape == (0, 4)
    assert none.response.covariance.shape == (0, 2, 4, 4)


def test_stories_weigh_one_and_none_that_comes_to_what_was_told():
    stories = stories_of([2.0, 2.0, 0.0, 0.0])
    assert sum(float(story.weight) for story in stories) <= 1 + 1e-12
    for story in stories[1:]:
        same = story.turns.tolist() == [2.0, 2.0, 0.0, 0.0] and not any(story.loose)
        assert (float(story.weight) == 0) == same
    assert len(FINDING_WORDS) == len(Finding)


def surveys(**changes):
    four = FourFeet(5.0, 0.1, 0.0, GOOD)
    return {"before": four, "turns": [0, 0, 1, 1], "after": four, "feet_mm": FEET} | changes


@pytest.mark.parametrize(
    ("make", "name"),
    [
        (lambda: usual_response(lead_mm=0.0, other_lead_mm=1.5, offset=OFFSET), "lead_mm"),  # no thread
        (lambda: usual_response(lead_mm=1.5, other_lead_mm=np.nan, offset=OFFSET), "other_lead_mm"),
        (lambda: usual_response(lead_mm=1.5, other_lead_mm=1.6, offset=OFFSET, chance_other=1.1), "chance_other"),
        (lambda: usual_response(lead_mm=1.5, other_lead_mm=1.6, offset=OFFSET, u_factor=0.5), "u_factor"),
        (lambda: Response(np.ones(2), np.array([0.5, 0.4]), np.ones(4), np.eye(4)), "chance"),  # adds to 0.9
        (lambda: Response(np.ones(2), np.array([0.5, 0.5]), np.zeros(4), np.eye(4)), "mean"),  # factor 0
        (lambda: Response(np.ones(3), np.array([0.5, 0.5]), np.ones(4), np.eye(4)), "lead_mm"),  # three threads
        (lambda: Response(np.ones(2), np.array([0.5, 0.5]), np.ones(4), -np.eye(4)), "covariance"),
        (lambda: plan_terms(BELIEF, np.zeros((4, 3))), "feet_mm"),
        (lambda: stories_of([1.0, 2.0, 3.0]), "turns"),  # a leg lacks
        (lambda: Step(**surveys(turns=[0, 0, np.inf, 1])), "turns"),
        (lambda: Step(**surveys(feet_mm=np.zeros((3, 2)))), "feet_mm"),
        (lambda: Step(**surveys(u_shared_deg=(0.2, 0.0))), "u_shared_deg"),  # more than the survey's 0.03
        (lambda: Step(**surveys(u_turn=-1.0)), "u_turn"),
    ],
)
def test_it_refuses_what_cannot_be(make, name):
    with pytest.raises(BadInput) as refused:
        make()
    assert refused.value.name == name


def test_machines_that_taught_need_one_plan_more_often():
    """Two set-ups of 500 machines taught; the third is compared. Base and track up to 3 % off."""
    rows = compare_set_ups(1, 500, off=(0.03, 0.03), set_ups=2)
    assert rows[-1]["with %"] >= rows[-1]["without %"] + 1
    assert rows[-1]["truly inside with %"] >= 97.5
    assert rows[-1]["u pitch factor %"] < 0.6 * 100 * U_FACTOR
    assert max(row["false alarms %"] for row in rows) <= 1


def test_of_1000_machines_that_taught_98_percent_need_one_plan():
    """Base up to 3 % off, the other thread in 5 %, offsets unknown, set-ups 2.5 degrees rms off; one set-up taught."""
    taught = compare_set_ups(1, 1000, off=(0.03, 0.0), set_ups=1)[-1]
    assert taught["with %"] >= 98
    assert taught["without %"] <= 97.5  # the same machines, had they taught nothing
    assert taught["truly inside with %"] >= 98


@pytest.mark.parametrize("kind", ["wrong_way", "wrong_foot"])
def test_a_turn_or_more_at_the_wrong_foot_or_the_wrong_way_is_caught_when_the_gap_is_measured(kind):
    trial = fault_trial(11, 1500, **{kind: 1.0})
    chosen = trial["turned"] & (trial["size"] >= 1)
    assert chosen.sum() > 800
    assert trial["caught"][chosen].mean() >= 0.99
    assert trial["told right"][chosen].mean() >= 0.93


@pytest.mark.parametrize("kind", ["wrong_way", "wrong_foot"])
def test_two_turns_or_more_are_caught_when_the_feet_were_pressed_and_looked_at(kind):
    trial = fault_trial(12, 5000, feet="by eye", **{kind: 1.0})
    chosen = trial["turned"] & (trial["size"] >= 2)
    assert chosen.sum() > 2500
    assert trial["caught"][chosen].mean() >= 0.99


@pytest.mark.parametrize("feet", ["blades", "by eye", "nobody looked"])
def test_turns_as_told_are_hardly_ever_doubted(feet):
    trial = fault_trial(13, 1500, feet=feet)
    assert trial["turned"].mean() > 0.9
    assert trial["caught"][trial["turned"]].mean() <= 0.01
    assert np.isin(FAULTS, np.arange(len(FINDING_WORDS))).all()
