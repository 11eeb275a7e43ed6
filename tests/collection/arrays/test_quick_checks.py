"""What a quick check says of simulated glasses: its 95 % hold, and it is as often wrong as it states.

Each case draws a level with its own error, a glass, one or two pairs and the last survey with that level, and how the
machine was shoved since. The errors are drawn here, by no code of the engine.
"""

import math
import random
from types import SimpleNamespace
from typing import Any

import pytest

from collection.arrays.quick_checks import U_LEFT_DEG, QuickAnswer, judged, usable_pairs
from leveling.verdicts_rail import GLASS_ACROSS, GLASS_ALONG

CASES, SEED = 200, 20_261_125
ACCURACY_DEG, REPEAT_DEG, U_SURVEY_DEG = 0.1, 0.05, 0.04
LEVEL = {
    "resolution_deg": 0.001, "accuracy_deg": ACCURACY_DEG, "alignment_deg": 0.0, "repeat_deg": REPEAT_DEG,
    "zero_deg": 0.0, "u_zero_deg": 0.0,
}  # fmt: skip
SPEC: Any = SimpleNamespace(pitch_deg=6.5, pitch_tolerance_deg=0.2, roll_tolerance_deg=0.15, gap_tolerance_mm=0.5)
SEATS = {"pitch": GLASS_ALONG, "roll": GLASS_ACROSS}


def case(draw: random.Random) -> tuple[QuickAnswer, dict[str, float]]:
    """One check and the truth behind it."""
    level_off = draw.uniform(-ACCURACY_DEG, ACCURACY_DEG)  # the same in all that this level reads
    removals = sorted(draw.randrange(4) for _ in range(draw.choice((1, 2))))
    days = [100.0 * (place + 1) for place in range(len(removals))]
    truth, rail, ways = {}, [], {}
    for way, middle in (("pitch", 6.5), ("roll", 0.0)):
        left = draw.gauss(middle, 0.3)
        truth[way] = left + draw.gauss(0, U_LEFT_DEG[way])
        sits = draw.gauss(-1.0 if way == "pitch" else 0.0, 0.2)  # now, against the playfield
        differences, before, since = [], sits, (0, 0.0)
        for out, ago in zip(removals, days, strict=True):
            shifts = (out - since[0]) * float(SEATS[way].u_removal_deg) ** 2
            shifts += (ago - since[1]) / 365.25 * float(SEATS[way].u_year_deg) ** 2
            before, since = before + draw.gauss(0, math.sqrt(shifts)), (out, ago)
            differences.append(before + draw.gauss(0, REPEAT_DEG) - draw.gauss(0, U_SURVEY_DEG))  # the level drops out
        rail.append(truth[way] + sits + level_off + draw.gauss(0, REPEAT_DEG))
        ways[way] = {
            "difference_deg": differences,
            "u_deg": [math.hypot(REPEAT_DEG, U_SURVEY_DEG)] * len(differences),
            "removals": removals,
            "days": days,
            "survey": {"accuracy_deg": ACCURACY_DEG / math.sqrt(3), "zero_deg": 0.0},
            "rail": {"accuracy_deg": ACCURACY_DEG / math.sqrt(3), "zero_deg": 0.0},
            "one_level": True,
            "belief_deg": left + level_off + draw.gauss(0, U_SURVEY_DEG),
            "u_belief_deg": math.hypot(U_SURVEY_DEG, U_LEFT_DEG[way]),
            "belief_shares_level": True,
        }
    inputs = {"instrument": LEVEL, "pairs": ["x"] * len(removals), "same_level": True, "moved_deg": 0.0, "ways": ways}
    answer = judged(place="glass", rail_deg=(rail[0], rail[1]), inputs=inputs, spec=SPEC)
    assert answer
    return answer, truth


def test_its_intervals_hold_and_it_is_as_often_wrong_as_it_states() -> None:
    """95 % within four standard deviations of 400 draws (4.4 points); false verdicts within three of their own."""
    draw = random.Random(SEED)
    found = [case(draw) for _ in range(CASES)]
    held = [abs(getattr(answer, way).angle_deg - truth[way]) <= getattr(answer, way).half_deg
            for answer, truth in found for way in ("pitch", "roll")]  # fmt: skip
    assert sum(held) / len(held) == pytest.approx(0.95, abs=0.044)
    told = [(answer, truth) for answer, truth in found if answer.verdict in ("in", "out")]
    assert len({answer.verdict for answer, _ in told}) == 2
    wrong = sum((answer.verdict == "in") != _is_in(truth) for answer, truth in told)
    stated = sum(answer.false_chance for answer, _ in told)
    spread = math.sqrt(sum(answer.false_chance * (1 - answer.false_chance) for answer, _ in told))
    assert abs(wrong - stated) <= 3 * spread


def test_the_shared_error_of_the_level_is_never_averaged_away() -> None:
    """0.1/sqrt 3 stays, however often the level was laid down and whatever is believed with it."""
    answer, _ = case(random.Random(1))
    assert answer.pitch.u_deg > answer.pitch.u_level_deg == pytest.approx(0.0577, abs=1e-4)


def test_without_pairs_nothing_is_said() -> None:
    assert judged(place="glass", rail_deg=(5.3, 0.0), inputs={"instrument": LEVEL, "pairs": []}, spec=SPEC) is None
    assert usable_pairs([], SimpleNamespace()) == []  # type: ignore[arg-type]


def _is_in(truth: dict[str, float]) -> bool:
    return abs(truth["pitch"] - SPEC.pitch_deg) <= 0.2 and abs(truth["roll"]) <= 0.15
