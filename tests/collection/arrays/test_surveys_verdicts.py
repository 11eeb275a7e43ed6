"""Verdicts of surveys by the shape of the error, half widths of 95 %, and remedies: the engine's own numbers."""

import copy
from typing import Any

import numpy as np
import pytest

from collection import models
from collection.arrays.surveys import assess, recomputed
from collection.arrays.surveys_feet import U_FEELER_MM
from collection.arrays.surveys_means import level_of, means_of, wave_of
from collection.arrays.surveys_remedies import proof_of, remedy_of
from collection.queries.surveys import readings_in
from leveling import verdicts_tries
from leveling.verdicts import chance_inside, judge
from leveling.verdicts_machine import Spec
from leveling.verdicts_remedies import remedies
from leveling.verdicts_shapes import Spread
from leveling.verdicts_ways import Means, Surveyed
from leveling.verdicts_widths import half_width
from tests import factories as make
from tests.surveying import across, along, survey_of
from tests.worlds import TernTaproom


def surveyed(taproom: TernTaproom, roll: float, **seen: Any) -> models.Survey:
    return survey_of(
        taproom.machine, by=taproom.people.bob, instrument=taproom.instrument,
        readings=[along(6.5, spot="middle"), across(roll, spot="lower_centre")], **seen,
    )  # fmt: skip


def test_the_chance_is_that_of_a_level_whose_stated_limit_is_an_even_error(taproom: TernTaproom) -> None:
    """JCGM 101:2008, 6.4.2: a stated limit is rectangular. The parts by hand: accuracy 0.1/sqrt 3 as one even part;
    0.0654 for one degree askew at 6.5 degrees of pitch with the rounding that comes back as the other."""
    survey = surveyed(taproom, 0.1)
    found = recomputed(survey, readings_in(survey=survey))
    even = np.hypot(0.1 / np.sqrt(3), 0.0)
    line = (0.0654**4 + found.roll.u_rounding_deg**4) ** 0.25
    spread = Spread(u=np.array(survey.u_roll_deg), even=np.array(even), even_too=np.array(line))
    by_hand = judge(value=0.1, u=spread, low=-0.15, high=0.15)
    assert found.judged["roll"].chance == pytest.approx(float(by_hand.chance), abs=2e-4)
    assert found.half_roll_deg == pytest.approx(float(half_width(spread)), abs=2e-4)
    assert (
        abs(found.judged["roll"].chance - float(chance_inside(value=0.1, u=survey.u_roll_deg, low=-0.15, high=0.15)))
        > 0.002
    )
    assert 1.65 * survey.u_roll_deg < found.half_roll_deg < 1.96 * survey.u_roll_deg


def test_a_survey_of_earlier_days_is_made_again_with_normal_errors(taproom: TernTaproom) -> None:
    """It names no kind: no wave of the board, u of roll hypot(0.0577, 0.0654, 0.0289, 0.03, 0.0077) = 0.0970."""
    survey = surveyed(taproom, 0.1)
    inputs = copy.deepcopy(survey.inputs)
    for name in ("kind", "base_mm"):
        del inputs["instrument"][name]
    found = assess(readings=readings_in(survey=survey), inputs=inputs, spec=survey.spec)
    assert found is not None
    assert found.u_roll_deg == pytest.approx(0.0970, abs=2e-4)
    plain = chance_inside(value=found.roll_deg, u=found.u_roll_deg, low=-0.15, high=0.15)
    assert found.judged["roll"].chance == pytest.approx(float(plain), abs=1e-12)
    assert found.half_roll_deg == pytest.approx(1.959964 * found.u_roll_deg, rel=1e-6)


def test_the_shares_of_what_is_unsure_are_all_of_it(taproom: TernTaproom) -> None:
    """By hand for roll: accuracy 0.0577^2 and askew 0.0654^2 of 0.1090^2 are 28 and 36 %."""
    survey = surveyed(taproom, 0.0)
    shares = recomputed(survey, readings_in(survey=survey)).shares["across"]
    assert sum(one.share for one in shares) == pytest.approx(1, abs=1e-9)
    assert (shares[0].name, shares[0].share) == ("alignment", pytest.approx(0.36, abs=0.005))
    assert (shares[1].name, shares[1].share) == ("accuracy", pytest.approx(0.28, abs=0.005))


@pytest.mark.parametrize("certificate", [False, True])
def test_the_remedy_is_the_engines_own(taproom: TernTaproom, certificate: bool) -> None:
    survey = surveyed(taproom, 0.15)
    found = recomputed(survey, readings_in(survey=survey))
    means = means_of(survey.inputs, "along")
    level = level_of(means)
    told = Surveyed(
        pitch_deg=found.pitch_deg, pitch=found.parts[0], roll_deg=found.roll_deg, roll=found.parts[1],  # type: ignore[arg-type]
        twist_mm=found.twist_mm, u_twist_mm=found.u_twist_mm, twist_known=True, instrument=level, reversed_pair=False,  # type: ignore[arg-type]
    )  # fmt: skip
    machine = taproom.machine
    spec = Spec(6.5, 0.2, 0.15, 0.5)  # type: ignore[arg-type]
    engine = remedies(
        surveyed=told, spec=spec, certificate=certificate,
        means=Means(
            most_readings=4, u_gap_mm=U_FEELER_MM, step_mm=machine.lead_mm / 8, base_mm=machine.base_mm,
            track_mm=machine.track_front_mm, wave_along_deg=wave_of(means, along=True),
            wave_across_deg=wave_of(means, along=False),
        ),
    )  # fmt: skip
    ours = remedy_of(found=found, inputs=survey.inputs, spec=survey.spec, certificate=certificate)
    assert ours is not None
    assert ours.does in ("better", "turn_and_better")
    assert verdicts_tries.REMEDIES[int(engine.code)].startswith("read with a better instrument")
    assert (ours.chance, ours.u_roll_deg) == (float(engine.chance), float(engine.u_roll_deg))
    assert (ours.along, ours.across, ours.accuracy_deg) == (
        int(engine.more_along), int(engine.more_across), float(engine.accuracy_deg),
    )  # fmt: skip


def test_a_decided_verdict_needs_no_remedy_and_a_bubble_gets_none_from_the_engine(taproom: TernTaproom) -> None:
    survey = surveyed(taproom, 0.0)
    found = recomputed(survey, readings_in(survey=survey))
    assert remedy_of(found=found, inputs=survey.inputs, spec=survey.spec) is None
    bubble = make.InstrumentFactory(member=taproom.people.alice, name="the bubble", kind="bubble")
    mixed = survey_of(
        taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, instrument_across=bubble,
        readings=[along(6.5), {**across(0, "level"), "text": "", "value": None, "unit": "look"}],
    )  # fmt: skip
    seen = recomputed(mixed, readings_in(survey=mixed))
    assert remedy_of(found=seen, inputs=mixed.inputs, spec=mixed.spec, certificate=True) is None
    assert proof_of(found=seen, inputs=mixed.inputs, spec=mixed.spec) is None


def test_what_the_page_says_would_prove_it_does_prove_it(taproom: TernTaproom) -> None:
    """Outside check: read as it says, with every reading in the middle, and the certificate rule says proven in."""
    survey = surveyed(taproom, 0.4)
    found = recomputed(survey, readings_in(survey=survey))
    proof = proof_of(found=found, inputs=survey.inputs, spec=survey.spec)
    assert proof is not None
    assert proof.does == "again"
    places = {"lower_centre": (257, 250), "upper_centre": (257, 800), "left": (80, 533), "right": (430, 533)}
    spots = [{"spot": spot, "x_mm": float(x_mm), "y_mm": float(y_mm)} for spot, (x_mm, y_mm) in places.items()]
    rows = [along(6.5, **spot) for spot in spots[: proof.along]]
    rows += [across(0, "level", **spot) for spot in spots[: proof.across]]
    again = survey_of(
        taproom.machine, by=taproom.people.bob, instrument=taproom.instrument, readings=rows, stance="FR",
        gap=0.01, gap_text="0.01",
    )  # fmt: skip
    assert again.certificate == "proven_in"
