"""Readings across at both ends to whose twist it is: the engine's numbers, and machines simulated from known truths."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from collection.arrays.instruments import Zero
from collection.arrays.surveys import assess, inputs_of, readings_of
from collection.arrays.surveys_means import Means
from collection.arrays.surveys_results import TiltUsed
from collection.arrays.surveys_twist import Ends, end_rolls, end_tilts, ends_of, twist_told
from collection.models import Instrument, InstrumentEvent, Machine, Spec
from collection.presets import U_ZERO_AFTER_DROP_DEG
from leveling.support_twist import CABINET, EndRolls, tell_twist
from tests.factories import NOON
from tests.surveying import across, along

#: It shows 0.1 degree and is butted against an edge that is square within half a degree; no base, so no board wave.
FIELDS = {"resolution_deg": 0.1, "accuracy_deg": 0.1, "alignment_deg": 0.5, "repeat_deg": 0.03, "unit": "deg"}
MACHINE = Machine(
    track_front_mm=560, track_rear_mm=560, base_mm=1300, lead_mm=1.5875, pitch_offset_deg=5.3, u_pitch_offset_deg=0.8,
    u_roll_offset_deg=0.2,
)  # fmt: skip
SPEC = Spec(pitch_deg=6.5, pitch_tolerance_deg=0.2, roll_tolerance_deg=0.15, gap_tolerance_mm=0.5)
TURNED = {"turned_value": 0.3, "turned_text": "0.3", "turned_high_end": "right"}
BOTH_ENDS = ("lower_centre", "upper_centre")


def tilts(
    *rows: dict[str, Any], kind: str = "digital_level", base_mm: float = 230.0, zero: Zero | None = None
) -> tuple[TiltUsed, ...]:
    """What readings across at the ends come to, beside one along at 6.5 degrees."""
    level = Instrument(kind=kind, base_mm=base_mm, sensitivity_deg=0.1, **FIELDS)
    inputs = inputs_of(
        machine=MACHINE, along=Means(Instrument(kind="digital_level", base_mm=base_mm, **FIELDS)),
        across=Means(level, zero), measured_at=NOON, stance="all_bearing", gap=0, gap_unit="mm",
    )  # fmt: skip
    found = assess(readings=readings_of([along(6.5), *rows], inputs), inputs=inputs, spec=SPEC)
    assert found
    return end_tilts(found, inputs)


def at(spot: str, roll_deg: float, **more: Any) -> dict[str, Any]:
    """A reading across at a spot, positive = right side high."""
    side = "right" if roll_deg > 0 else "left" if roll_deg < 0 else "level"
    return across(abs(roll_deg), side, spot=spot, x_mm=257.0, y_mm=235.0 if "lower" in spot else 854.0, **more)


def two_ends(front_deg: float, rear_deg: float) -> list[dict[str, Any]]:
    return [at(spot, roll) for spot, roll in zip(BOTH_ENDS, (front_deg, rear_deg), strict=True)]


def own_u(found: Sequence[TiltUsed], spot: str) -> float:
    """By hand for one reading at an end: display, askew and laying; not the level's own accuracy and zero."""
    one = next(tilt for tilt in found if tilt.reading.spot == spot)
    return math.sqrt(one.resolution_deg**2 + one.alignment_deg**2 + one.repeat_deg**2)


def test_its_numbers_are_the_engines() -> None:
    before, after = tilts(*two_ends(0.1, 0.9)), tilts(*two_ends(0.4, 0.5))
    told = twist_told(before=before, after=after)
    assert told
    wave = after[0].wave_deg
    assert wave > 0
    u, u_waved = own_u(before, "lower_centre"), math.hypot(own_u(after, "lower_centre"), wave)
    engine = tell_twist(before=EndRolls(0.1, 0.9, u, u), after=EndRolls(0.4, 0.5, u_waved, u_waved))
    assert (told.outcome, int(engine.outcome)) == ("cabinet", CABINET)
    mine = (told.board_deg, told.u_board_deg, told.cabinet_deg, told.u_cabinet_deg)
    theirs = (engine.board_deg, engine.u_board_deg, engine.frame_deg, engine.u_frame_deg)
    np.testing.assert_allclose(mine, np.array(theirs), rtol=0, atol=1e-12)  # degree


def test_the_ends_by_hand() -> None:
    """One degree askew at 6.5 costs 0.113 (1 x sin 6.5), half of it as a limit 0.0327."""
    found = tilts(*two_ends(0.1, 0.6))
    ends = ends_of(end_rolls(found, wave=False))
    assert (ends.front_deg, ends.rear_deg) == pytest.approx((0.1, 0.6), abs=1e-9)
    assert ends.u_front_deg == pytest.approx(math.sqrt(0.1**2 / 12 + 0.0327**2 + 0.03**2), abs=3e-4)
    assert ends.difference_deg == pytest.approx(0.5, abs=1e-9)
    assert ends.u_difference_deg == pytest.approx(math.sqrt(2) * ends.u_front_deg, rel=1e-6)
    assert ends.differ


def test_more_readings_at_an_end_make_it_surer_but_rounding_stays() -> None:
    one = end_rolls(tilts(*two_ends(0.1, 0.6)), wave=False)
    four = end_rolls(tilts(*two_ends(0.1, 0.6) * 4), wave=False)
    assert 0.1 / math.sqrt(12) < float(four.u_front_deg) < 0.75 * float(one.u_front_deg)
    mixed = end_rolls(tilts(*two_ends(0.1, 0.6), at("lower_left", 0.3)))
    assert float(mixed.front_deg) == pytest.approx(0.2, abs=1e-9)  # the mean of the spots at that end


def test_the_wave_of_one_spot_comes_back_and_that_of_another_does_not() -> None:
    """Twice at one spot: its wave stays. At two spots it goes by sqrt 2; three at one and one at another: 10/16."""
    wave_deg = tilts(at("lower_left", 0.1))[0].wave_deg
    for spots, share in ((("lower_left",) * 2, 1), (("lower_left", "lower_right"), 1 / 2),
                         (("lower_left",) * 3 + ("lower_right",), 10 / 16)):  # fmt: skip
        found = tilts(*(at(spot, 0.1) for spot in (*spots, "upper_centre")))
        with_it, without = (float(end_rolls(found, wave=wave).u_front_deg) for wave in (True, False))
        assert with_it**2 - without**2 == pytest.approx(share * wave_deg**2, rel=1e-9)


def test_the_wave_counts_against_the_board_and_less_with_a_longer_base() -> None:
    short, long = (end_rolls(tilts(*two_ends(0, 0.3), base_mm=mm)) for mm in (230, 450))
    without = end_rolls(tilts(*two_ends(0, 0.3)), wave=False)
    assert float(short.u_front_deg) > float(long.u_front_deg) > float(without.u_front_deg)


def test_a_zero_drops_out_only_where_both_ends_share_it() -> None:
    """The zero of a level that fell is in a single reading, not in one turned end for end."""
    fell = Zero(events=(InstrumentEvent(kind="dropped"),))
    single, turned = two_ends(0.1, 0.6), [row | TURNED for row in two_ends(0.1, 0.6)]
    checked, alike, both, mixed = (
        float(end_rolls(tilts(*rows, zero=zero)).u_difference_deg)
        for rows, zero in ((single, None), (single, fell), (turned, fell), ([single[0], turned[1]], fell))
    )
    assert alike == pytest.approx(checked, rel=1e-12)
    assert both < alike  # rounded twice
    zero = math.hypot(U_ZERO_AFTER_DROP_DEG, 0.1 / math.sqrt(3))  # what the maker states may hide a zero too
    assert mixed == pytest.approx(math.hypot(zero, math.hypot(alike, both) / math.sqrt(2)), rel=1e-3)


@pytest.mark.parametrize(
    "rows", [[at("lower_centre", 0.1)], [at("upper_left", 0.1)], [at("middle", 0.1), at("right", 0.2)]]
)
def test_one_end_tells_nothing(rows: list[dict[str, Any]]) -> None:
    assert end_rolls(tilts(*rows)) is None


def test_readings_along_and_looks_at_a_bubble_tell_nothing() -> None:
    bubble = [{"direction": "across", "text": "", "value": None, "unit": "look", "high_end": "right", "spot": spot}
              for spot in BOTH_ENDS]  # fmt: skip
    assert tilts(*bubble, kind="bubble") == ()
    assert end_rolls(tilts(at("middle", 0.1), along(6.5, spot="lower_centre"), along(6.5, spot="upper_centre"))) is None


def test_only_spots_that_were_read_both_times_count() -> None:
    before = tilts(*two_ends(0.1, 0.9), at("lower_left", 3.0))
    told = twist_told(before=before, after=tilts(*two_ends(0.4, 0.5)))
    assert told
    assert told.before.front_deg == pytest.approx(0.1, abs=1e-9)
    assert twist_told(before=before, after=tilts(at("lower_right", 0.1), at("upper_centre", 0.1))) is None


def test_small_differences_differ_from_nothing_only_beyond_two_u() -> None:
    values = {"front_deg": 0.0, "u_front_deg": 0.1, "u_rear_deg": 0.0, "u_difference_deg": 0.1}
    assert not Ends(rear_deg=0.19, difference_deg=0.19, **values).differ
    assert Ends(rear_deg=-0.21, difference_deg=-0.21, **values).differ


@pytest.mark.parametrize(("board_deg", "frame_deg", "whose"), [(0.0, 1.0, "cabinet"), (1.0, 0.0, "board"),
                                                                (0.8, -0.8, "both")])  # fmt: skip
def test_simulated_machines_are_told_apart(board_deg: float, frame_deg: float, whose: str) -> None:
    """200 machines, seed 5: wrung cabinets are told as cabinet, twisted boards as board, each read twice at each end.

    The other part is zero, so at two u about one in twenty may be called both; the part that is there is never missed.
    """
    rng, told = np.random.default_rng(5), []

    def read(twist_deg: float) -> tuple[TiltUsed, ...]:
        zero, roll, rows = rng.normal(0, 0.1), rng.normal(0, 0.3), []
        for spot, part in zip(BOTH_ENDS, (-0.5, 0.5), strict=True):
            for _ in range(2):
                askew = math.sin(math.radians(6.5)) * rng.uniform(-0.5, 0.5)
                shown = roll + part * twist_deg + zero + askew + rng.normal(0, 0.03)
                rows.append(at(spot, round(shown, 1)))
        return tilts(*rows)

    for _ in range(200):
        found = twist_told(before=read(board_deg + frame_deg), after=read(board_deg))
        assert found
        told.append(found.outcome)
    assert told.count(whose) >= 0.95 * len(told)
    assert set(told) <= {whose, "both"}
