"""Surveys read with something other than a level that shows a number: kept as typed, and what is made of it."""

import html
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from django.test import Client
from django.urls import reverse

from collection import models, presets
from collection.arrays.surveys import recomputed
from collection.arrays.surveys_means import means_of, wave_of
from collection.queries.surveys import readings_in
from leveling.ballroll import Run, roll_time_s, wander_mm
from leveling.ballroll_readings import pitch_from_time, roll_from_wander, time_from_frames
from leveling.instruments_blocks import Blocks, pitch_from_blocks
from leveling.instruments_bubbles import Bubble
from tests import factories as make
from tests.surveying import pair_of, sent
from tests.worlds import TernTaproom

Sign = Callable[[models.Membership], Client]
LEVEL_ACROSS = ("across", "0", "level")


@pytest.fixture
def bob(as_member: Sign, taproom: TernTaproom) -> Client:
    return as_member(taproom.people.bob)


def instrument(taproom: TernTaproom, kind: str, **columns: Any) -> models.Instrument:
    made: models.Instrument = make.InstrumentFactory(
        member=taproom.people.alice, name=f"the {kind}", kind=kind, **columns
    )
    return made


def post(bob: Client, taproom: TernTaproom, used: models.Instrument, *rows: tuple[str, str, str], **more: str) -> Any:
    return bob.post(reverse("survey_new", args=[taproom.machine.pk]), sent(used.pk, *rows, **more))


def saved(answer: Any) -> models.Survey:
    assert answer.status_code == 302, html.unescape(answer.content.decode())
    survey = models.Survey.objects.get()
    again = recomputed(survey, readings_in(survey=survey)).columns
    assert again == pytest.approx({name: getattr(survey, name) for name in again}, abs=1e-12)
    return survey


def shown(bob: Client, survey: models.Survey) -> str:
    text = html.unescape(bob.get(reverse("survey", args=[survey.pk])).content.decode())
    return " ".join(text.replace("\u00a0", " ").split())


def test_two_blocks_put_the_pitch_between_them(bob: Client, taproom: TernTaproom) -> None:
    blocks = instrument(taproom, "blocks", sensitivity_deg=0.05, accuracy_deg=0.05, alignment_deg=1.0)
    survey = saved(post(bob, taproom, blocks, ("along", "6.25", "rear"), ("along", "6.75", "front"), LEVEL_ACROSS))
    wave = recomputed(survey, readings_in(survey=survey))
    assert survey.pitch_read_deg == pytest.approx(6.5, abs=0.01)
    assert 0.1 < survey.u_pitch_deg < 0.2  # half a degree between the blocks: 0.5/sqrt 12 = 0.144, and the errors
    assert wave.tilts[0].low_deg == pytest.approx(6.30)  # beyond the block by what the eye sees
    words = shown(bob, survey)
    assert "6.25° block" in words
    assert "pitch is more than" in words


def test_blocks_say_what_the_engine_says(bob: Client, taproom: TernTaproom) -> None:
    blocks = instrument(taproom, "blocks", sensitivity_deg=0.05, accuracy_deg=0.05, base_mm=2000)
    survey = saved(post(bob, taproom, blocks, ("along", "6", "rear"), ("along", "7", "front"), LEVEL_ACROSS))
    kept = survey.inputs["instrument"]
    found = pitch_from_blocks(
        high_end=["rear", "front"],
        blocks=Blocks(np.array([6.0, 7.0]), np.array(kept["block_tolerance_deg"])),
        bubble=Bubble(0.05, 0.05, kept["alignment_deg"], np.hypot(kept["repeat_deg"], _wave(survey))),
    )
    assert survey.pitch_read_deg == pytest.approx(float(found.angle_deg), abs=1e-9)


def _wave(survey: models.Survey) -> float:
    return wave_of(means_of(survey.inputs, "along"), along=True)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([("along", "6", "rear"), ("along", "6.5", "rear"), LEVEL_ACROSS], "a steeper block: the rear is still high"),
        ([("along", "7", "front"), LEVEL_ACROSS], "a flatter block: the front is high now"),
    ],
)
def test_one_side_alone_tells_no_pitch(bob: Client, taproom: TernTaproom, rows: Any, words: str) -> None:
    answer = post(bob, taproom, instrument(taproom, "blocks"), *rows)
    assert answer.status_code == 422
    assert words in html.unescape(answer.content.decode())
    assert not models.Survey.objects.exists()


def test_a_plain_bubble_tells_no_pitch(bob: Client, taproom: TernTaproom) -> None:
    answer = post(bob, taproom, instrument(taproom, "bubble"), ("along", "", "rear"), LEVEL_ACROSS)
    assert answer.status_code == 422
    assert "Put the bubble on an angle block" in html.unescape(answer.content.decode())


def test_a_bubble_tells_roll_where_a_level_tells_pitch(bob: Client, taproom: TernTaproom) -> None:
    bubble = instrument(taproom, "bubble", sensitivity_deg=0.1, accuracy_deg=0.1)
    rows = (("along", "6.5", "rear"), ("across", "", "level"), ("across", "", "level"))
    survey = saved(post(bob, taproom, taproom.instrument, *rows, instrument_across=str(bubble.pk)))
    assert survey.instrument_across == bubble
    assert survey.roll_read_deg == pytest.approx(0, abs=0.001)
    assert 0.05 < survey.u_roll_deg < 0.15
    words = shown(bob, survey)
    assert "230 mm digital level, across the bubble" in words
    assert "roll is at most 0.10° to either side" in words


def test_right_high_alone_leans_to_the_right(bob: Client, taproom: TernTaproom) -> None:
    bubble = instrument(taproom, "bubble", sensitivity_deg=0.1)
    rows = (("along", "6.5", "rear"), ("across", "", "right"))
    survey = saved(post(bob, taproom, taproom.instrument, *rows, instrument_across=str(bubble.pk)))
    assert survey.roll_read_deg > 0.1
    assert survey.u_roll_deg > 0.2


def test_a_ball_on_film_tells_pitch_and_its_wandering_roll(bob: Client, taproom: TernTaproom) -> None:
    """450 mm at 6.5 degrees take sqrt(2 x 0.45/(5/7 x 9.80665 x sin 6.5)) = 1.065 s: 256 frames at 240 a second."""
    ball = instrument(taproom, "ball", run_mm=450, film_hz=240, alignment_deg=0.2)
    frames = round(240 * float(roll_time_s(run_mm=450, pitch_deg=6.5)))
    assert frames == 256
    aside = f"{float(wander_mm(run_mm=450, pitch_deg=6.5, roll_deg=0.2)):.1f}"  # to the left: the right side is high
    survey = saved(post(bob, taproom, ball, ("along", str(frames), ""), ("across", aside, "right")))
    run = Run(*(np.asarray(number) for number in (450.0, 1.0, 1.0, 1.0, 0.2)))
    pitch = pitch_from_time(time=time_from_frames(frames=frames, rate_hz=240), run=run)
    roll = roll_from_wander(wander_mm=float(aside), run=run, pitch_deg=float(pitch.angle_deg), u_pitch_deg=0.05)
    assert survey.pitch_read_deg == pytest.approx(float(pitch.angle_deg), abs=1e-9)
    assert survey.pitch_read_deg == pytest.approx(6.5, abs=0.03)
    assert survey.roll_read_deg == pytest.approx(float(roll.angle_deg), abs=1e-6)
    assert survey.roll_read_deg == pytest.approx(0.2, abs=0.01)
    words = shown(bob, survey)
    assert "256 frames" in words
    assert f"{aside} mm aside" in words


def test_a_fast_film_has_many_frames(bob: Client, taproom: TernTaproom) -> None:
    """The same roll of 1.065 s takes 1022 frames at 960 a second; 100 mm aside is 1.45 degrees of roll."""
    ball = instrument(taproom, "ball", run_mm=450, film_hz=960)
    survey = saved(post(bob, taproom, ball, ("along", "1022", ""), ("across", "100", "right")))
    assert survey.pitch_read_deg == pytest.approx(6.5, abs=0.03)
    assert survey.roll_read_deg == pytest.approx(np.rad2deg(np.arctan(100 / 450 * np.tan(np.deg2rad(6.5)))), abs=0.03)


@pytest.mark.parametrize(
    ("kind", "columns", "way", "number", "words"),
    [
        ("digital_level", {}, "along", "114", "That is steeper than 20°. Check the number and its unit."),
        ("ball", {"film_hz": 240}, "along", "90", "Time it again"),  # 66 degrees
        ("ball", {"film_hz": 240}, "along", "9000", "Write a number up to 4800 frames."),
        ("ball", {}, "along", "61", "Write a number up to 20 seconds."),
        ("ball", {}, "across", "401", "Write a number up to 400 mm."),
        ("ball", {"run_mm": 100}, "across", "390", "Measure again how far it went aside"),
    ],
)
def test_what_no_playfield_reads_is_told_while_typing(
    bob: Client, taproom: TernTaproom, kind: str, columns: dict[str, Any], way: str, number: str, words: str
) -> None:
    used = instrument(taproom, kind, **columns)
    rows = (("along", "6.5", "rear"), (way, number, "right" if way == "across" else "rear"))
    along = {} if way == "along" else {"instrument_across": str(used.pk)}
    first = used if way == "along" else taproom.instrument
    typed = sent(first.pk, *(rows[1:] if way == "along" else rows), **along)
    answer = bob.post(reverse("survey_answer", args=[taproom.machine.pk]), typed)
    assert answer.status_code == 200
    assert words in html.unescape(answer.content.decode())
    refused = bob.post(reverse("survey_new", args=[taproom.machine.pk]), typed)
    assert refused.status_code == 422
    assert not models.Survey.objects.exists()


def test_a_ball_that_may_run_askew_is_no_level(bob: Client, taproom: TernTaproom) -> None:
    ball = instrument(taproom, "ball", run_mm=450, film_hz=240, alignment_deg=0.5)
    words = shown(bob, saved(post(bob, taproom, ball, ("along", "300", ""), ("across", "4", "left"))))
    assert "its run may lie askew: measure mark and line from the same rail." in words
    assert "the level may lie askew" not in words


def test_one_block_alone_says_nothing_of_how_sure(bob: Client, taproom: TernTaproom) -> None:
    blocks = instrument(taproom, "blocks")
    address = reverse("survey_answer", args=[taproom.machine.pk])
    words = html.unescape(bob.post(address, sent(blocks.pk, ("along", "6", "rear"), stance="unknown")).content.decode())
    assert "the rear is still high" in words
    assert "How sure" not in words


def test_a_watch_is_worth_little(bob: Client, taproom: TernTaproom) -> None:
    """A tenth of a second is more than a degree of pitch over 450 mm (DESIGN, Ball roll)."""
    watch = instrument(taproom, "ball", run_mm=450)
    survey = saved(post(bob, taproom, watch, ("along", "1.07", ""), ("across", "0", "level")))
    assert survey.u_pitch_deg > 1.0
    assert "1.07 s" in shown(bob, survey)


def test_no_ball_is_that_quick(bob: Client, taproom: TernTaproom) -> None:
    answer = post(bob, taproom, instrument(taproom, "ball"), ("along", "0.1", ""), ("across", "0", "level"))
    assert answer.status_code == 422
    assert "no rolling ball does this" in html.unescape(answer.content.decode())


def test_a_learned_vial_tells_pitch(bob: Client, taproom: TernTaproom) -> None:
    """Three pairs on a line of half a degree for each line: at 0.5 lines toward the rear it stands at 6.75."""
    vial = instrument(taproom, "vial", machine=taproom.machine, direction="along", reach_lines=3)
    for lines, angle in ((-2, 5.5), (0, 6.5), (2, 7.5)):
        pair_of(vial, taproom.instrument, by=taproom.people.bob, lines=lines, shown=angle)
    rows = (("along", "0.5", "rear"), LEVEL_ACROSS)
    survey = saved(post(bob, taproom, vial, *rows, instrument_across=str(taproom.instrument.pk)))
    assert survey.pitch_read_deg == pytest.approx(6.75, abs=0.02)
    assert "0.5 lines" in shown(bob, survey)


def test_a_vial_nobody_learned_is_refused(bob: Client, taproom: TernTaproom) -> None:
    vial = instrument(taproom, "vial", machine=taproom.machine, direction="along")
    rows = (("along", "0.5", "rear"), LEVEL_ACROSS)
    answer = post(bob, taproom, vial, *rows, instrument_across=str(taproom.instrument.pk))
    assert answer.status_code == 422
    assert "Read along with something else: this vial is not learned yet" in html.unescape(answer.content.decode())


def test_a_vial_across_that_nobody_learned_asks_for_roll(bob: Client, taproom: TernTaproom) -> None:
    vial = instrument(taproom, "vial", machine=taproom.machine, direction="across")
    rows = (("along", "6.5", "rear"), ("across", "0.5", "right"))
    answer = post(bob, taproom, taproom.instrument, *rows, instrument_across=str(vial.pk))
    assert answer.status_code == 422
    assert "Read across with something else: this vial is not learned yet" in html.unescape(answer.content.decode())


def test_a_vial_is_offered_for_its_own_machine_only(bob: Client, taproom: TernTaproom) -> None:
    other = make.MachineFactory(member=taproom.people.alice, bay=taproom.bay)
    vial = instrument(taproom, "vial", machine=other, direction="along")
    page = bob.get(reverse("survey_new", args=[taproom.machine.pk])).content.decode()
    assert str(vial.pk) not in page
    assert post(bob, taproom, vial, ("along", "0", "level"), LEVEL_ACROSS).status_code == 422


def test_a_block_without_its_angle_is_asked_for(bob: Client, taproom: TernTaproom) -> None:
    data = {"readings-0-turned_high_end": "rear"}
    answer = post(bob, taproom, instrument(taproom, "blocks"), ("along", "25", "rear"), LEVEL_ACROSS, **data)
    assert answer.status_code == 422
    assert "Write a number up to 20 degrees." in answer.content.decode()


def test_a_correction_brings_the_rows_back(bob: Client, taproom: TernTaproom) -> None:
    blocks = instrument(taproom, "blocks", sensitivity_deg=0.05)
    turned = {"readings-1-turned_high_end": "front"}
    survey = saved(post(bob, taproom, blocks, ("along", "6", "rear"), ("along", "7", "front"), LEVEL_ACROSS, **turned))
    form = bob.get(reverse("survey_correct", args=[survey.pk])).context["form"]
    rows = [
        {name: row[name].value() for name in ("direction", "value", "unit", "high_end", "turned_high_end")}
        for row in form.rows
    ]
    assert [row["value"] for row in rows] == ["6", "7", ""]
    assert [row["unit"] for row in rows] == ["", "", ""]
    assert [row["turned_high_end"] for row in rows] == [None, "front", None]
    assert form["instrument"].value() == str(blocks.pk)


def test_a_watch_is_unsure_as_its_preset_says() -> None:
    assert presets.U_WATCH_S == 0.1
