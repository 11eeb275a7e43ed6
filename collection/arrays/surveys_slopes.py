"""One slope of the playfield from its readings, by what they were read with.

level    tilts, each with its budget            -> weighted mean
bubble   looks: level, or which end is high     -> the slopes that they leave possible
blocks   looks on wedges of known angle         -> the same, between two blocks
vial     bubble places on a learned line        -> tilts
ball     times along, wanderings across         -> tilts
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from collection import presets
from collection.arrays.instruments import shown_deg
from collection.arrays.surveys_means import level_of, wave_of
from collection.arrays.vials import vial_of_inputs
from collection.models import Reading
from leveling.ballroll import Run
from leveling.ballroll_readings import IMPOSSIBLE, RollTime, pitch_from_time, roll_from_wander, time_from_frames
from leveling.instruments import Budget, reading_budget
from leveling.instruments_blocks import Blocks, pitch_from_blocks
from leveling.instruments_bubbles import Bubble, bubble_limits, tilt_from_bubble
from leveling.instruments_looks import CONTRADICTED, NO_LOOKS, ONE_SIDED, Belief, Estimate
from leveling.instruments_vials import LEARNED
from leveling.instruments_vials_read import ON_VIAL, bubble_position_lines, read_vial
from leveling.instruments_zeros import reversed_pair_by_ends
from leveling.playfields import TYPICAL_PITCH_DEG, UNKNOWN_U_DEG, Playfield, Slope, fit_playfield
from leveling.playfields_robust import fit_playfield_robust
from leveling.playfields_waves import spot_waves_deg

Pairs = Sequence[tuple[Reading, Reading | None]]
Kept = Mapping[str, Any]


@dataclass(frozen=True)
class Board:
    """How the playfield leans, as far as known while a slope is worked out [degree]: it sets what lying askew costs."""

    pitch_deg: float
    roll_deg: float
    u_pitch_deg: float = 0.0


@dataclass(frozen=True)
class SlopeRead:
    """One slope as the engine has it, with the tilts and budgets behind it.

    ``one_more`` is the budget that one more reading would have. ``low_deg`` and ``high_deg`` are where a look puts
    the slope, for looks only. ``lacks`` says why nothing is known though something was read: steeper_block,
    flatter_block, block, vial_unknown, vial_beyond, time, aside, or "".
    """

    slope: Slope
    tilt_deg: Any
    budget: Budget
    wave_deg: Any
    one_more: Budget
    odd: int = -1
    low_deg: Any = None
    high_deg: Any = None
    lacks: str = ""


def tilt_of(*, means: Kept, direction: str, number: float | None, unit: str, high_end: str, pitch_deg: float) -> float:
    """Return what one reading alone says [degree]: a block's angle, nothing (0) for a bubble, else the tilt.

    Where a ball or a vial says nothing that can be, it is 0 too.
    """
    kind = means["kind"]
    if kind in ("digital_level", "inclinometer"):
        return shown_deg(number or 0.0, unit=unit, high_end=high_end)
    if kind == "blocks":
        return float(number or 0.0)
    if kind == "vial":
        return float(read_vial(vial_of_inputs(means["vial"]), _lines(number, high_end)).tilt_deg)
    if kind == "ball" and direction == "along":
        return float(pitch_from_time(time=_time(means, np.array(number)), run=_run(means)).angle_deg)
    if kind == "ball":
        return float(_wander(means, Board(pitch_deg, 0.0), _aside_mm(number, high_end)).angle_deg)
    return 0.0


def in_pairs(readings: Sequence[Reading], direction: str) -> Pairs:
    """Return each reading of a direction with the one taken after turning end for end, if any, in order."""
    turned = {reading.pair: reading for reading in readings if reading.is_reversed}
    firsts = [row for row in readings if not row.is_reversed and row.direction == direction]
    firsts.sort(key=lambda reading: reading.place)
    return [(first, turned.get(first.pair) if first.pair is not None else None) for first in firsts]


def about_deg(pairs: Pairs, means: Kept, otherwise: float) -> float:
    """Return roughly what the readings of a direction say; ``otherwise`` if they say nothing so simply."""
    tilts = level_tilts(pairs, means) if means["kind"] != "bubble" else np.zeros(0)
    if means["kind"] == "blocks":
        tilts = tilts[tilts != 0]
    return float(tilts.mean()) if tilts.size else otherwise


def level_tilts(pairs: Pairs, means: Kept) -> Any:
    """Return each reading's tilt without the level's zero error [degree]."""
    zero_deg = float(means["zero_deg"])
    return np.array([_tilt_deg(first, second, zero_deg) for first, second in pairs])


def slope_read(pairs: Pairs, means: Kept, board: Board, *, along: bool) -> SlopeRead:
    """Return pitch (along) or roll (across) from its readings; without any, nothing is known."""
    if not pairs:
        return _nothing_read(means, board, along=along)
    return _READERS[means["kind"]](pairs, means, board, along)


def _by_level(pairs: Pairs, means: Kept, board: Board, along: bool) -> SlopeRead:
    turned = np.array([second is not None for _, second in pairs])
    budget = _level_budget(means, board, along, turned)
    found = _fitted(pairs, means, level_tilts(pairs, means), budget, along)
    return replace(found, one_more=_level_budget(means, board, along, np.array(False)))


def _by_vial(pairs: Pairs, means: Kept, board: Board, along: bool) -> SlopeRead:
    vial = vial_of_inputs(means["vial"])
    seen = read_vial(vial, np.array([_lines(first.number, first.high_end) for first, _ in pairs]))
    if int(vial.outcome) != LEARNED or (seen.outcome != ON_VIAL).any():
        return _unknown(pairs, seen.budget, "vial_unknown" if int(vial.outcome) != LEARNED else "vial_beyond")
    return _fitted(pairs, means, seen.tilt_deg, seen.budget, along)


def _by_ball(pairs: Pairs, means: Kept, board: Board, along: bool) -> SlopeRead:
    if along:
        numbers = np.array([first.number for first, _ in pairs], dtype=float)
        found = pitch_from_time(time=_time(means, numbers), run=_run(means))
    else:
        found = _wander(means, board, np.array([_aside_mm(first.number, first.high_end) for first, _ in pairs]))
    if (found.outcome == IMPOSSIBLE).any() or (np.abs(found.angle_deg) > presets.MOST_TILT_DEG).any():
        return _unknown(pairs, found.budget, "time" if along else "aside")
    return _fitted(pairs, means, found.angle_deg, found.budget, along)


def _by_looks(pairs: Pairs, means: Kept, board: Board, along: bool) -> SlopeRead:
    """Looks at a bubble, on blocks or not: they leave the slopes between two limits."""
    looks = [(row, row is second) for first, second in pairs for row in (first, second) if row is not None]
    ends, turned = [row.high_end for row, _ in looks], [is_turned for _, is_turned in looks]
    angle = np.array([row.tilt_deg for row, _ in looks])
    repeat = np.hypot(means["repeat_deg"], wave_of(means, along=along))
    bubble = Bubble(means["sensitivity_deg"], means["accuracy_deg"], means["alignment_deg"], repeat)
    found = _looked(ends, angle, turned, bubble, means, board, along)
    limits = bubble_limits(ends, sensitivity_deg=means["sensitivity_deg"])
    one = [i for i, (_, is_turned) in enumerate(looks) if not is_turned]
    lacks = _side_lacks(found, ends, means) if along else ""
    known = not lacks and int(found.outcome) != NO_LOOKS
    return SlopeRead(
        slope=_slope_of(found, len(pairs) if known else 0),
        tilt_deg=angle[one],
        budget=found.budget,
        wave_deg=np.zeros(len(one)),
        one_more=found.budget,
        low_deg=(angle + limits.low_deg)[one],
        high_deg=(angle + limits.high_deg)[one],
        lacks=lacks,
    )


def _looked(
    ends: list[str], angle: Any, turned: list[bool], bubble: Bubble, means: Kept, board: Board, along: bool
) -> Estimate:
    if along:
        tolerance = np.where(angle != 0, means.get("block_tolerance_deg", 0.0), 0.0)
        return pitch_from_blocks(high_end=ends, blocks=Blocks(angle, tolerance), bubble=bubble, turned=turned)
    believed = Belief(np.array(0.0), np.array(presets.U_ROLL_BELIEVED_DEG))
    return tilt_from_bubble(
        high_end=ends, bubble=bubble, along=False, pitch_deg=board.pitch_deg, belief=believed, turned=turned
    )


def _side_lacks(found: Estimate, ends: list[str], means: Kept) -> str:
    """What would bracket a pitch of which all looks said the same side; "" if they bracket it."""
    if int(found.outcome) != ONE_SIDED:
        return ""
    if means["kind"] == "bubble":
        return "block"
    return "steeper_block" if "rear" in ends else "flatter_block"


def _fitted(pairs: Pairs, means: Kept, tilt: Any, budget: Budget, along: bool) -> SlopeRead:
    way = np.full(len(pairs), along)
    spots = [[first.x_mm or 0.0, first.y_mm or 0.0] for first, _ in pairs]
    wave = np.full(len(pairs), wave_of(means, along=along))
    given: dict[str, Any] = {"tilt_deg": tilt, "along": way, "budget": budget, "spots_mm": spots}
    if wave.any():
        waves = spot_waves_deg(wave_deg=wave, spots_mm=spots, along=way)
        fit: Playfield = fit_playfield_robust(**given, wave_deg=waves)
    else:
        fit = fit_playfield(**given)
    last = Budget(**{name: np.broadcast_to(getattr(budget, name), way.shape)[-1] for name in _PARTS})
    return SlopeRead(
        slope=fit.pitch if along else fit.roll, tilt_deg=tilt, budget=budget, wave_deg=wave, one_more=last,
        odd=int(fit.odd_reading),
    )  # fmt: skip


def _slope_of(found: Estimate, readings: int) -> Slope:
    budget = found.budget
    return Slope(
        angle_deg=found.angle_deg if readings else np.zeros(()),
        u_fresh_deg=budget.u_fresh_deg if readings else np.asarray(UNKNOWN_U_DEG),
        u_rounding_deg=budget.repeating_deg if readings else np.zeros(()),
        u_common_deg=budget.u_common_deg if readings else np.zeros(()),
        weight=1 / found.budget.u_deg**2,
        readings=np.asarray(readings),
        chi2=np.zeros(()),
        agree=np.asarray(int(found.outcome) != CONTRADICTED),
        span_mm=np.zeros(()),
    )


def _unknown(pairs: Pairs, budget: Budget, lacks: str) -> SlopeRead:
    tilts = np.array([first.tilt_deg for first, _ in pairs])
    one = Budget(accuracy_deg=np.full(tilts.shape, 0.0))
    return SlopeRead(_no_slope(), tilts, one, np.zeros(tilts.shape), Budget(), lacks=lacks)


def _nothing_read(means: Kept, board: Board, *, along: bool) -> SlopeRead:
    one_more = Budget()
    if means["kind"] in ("digital_level", "inclinometer"):
        one_more = _level_budget(means, board, along, np.array(False))
    return SlopeRead(_no_slope(), np.zeros(0), Budget(), np.zeros(0), one_more)


def _no_slope() -> Slope:
    nothing = np.zeros(())
    return Slope(
        angle_deg=nothing, u_fresh_deg=np.asarray(UNKNOWN_U_DEG), u_rounding_deg=nothing, u_common_deg=nothing,
        weight=nothing, readings=np.asarray(0), chi2=nothing, agree=np.asarray(True), span_mm=nothing,
    )  # fmt: skip


def _level_budget(means: Kept, board: Board, along: bool, turned: Any) -> Budget:
    return reading_budget(
        instrument=level_of(means), along=along, reversed_pair=turned, pitch_deg=board.pitch_deg,
        roll_deg=board.roll_deg,
    )  # fmt: skip


def _tilt_deg(first: Reading, second: Reading | None, zero_deg: float) -> float:
    """The tilt without the instrument's zero error."""
    if second is None:
        return first.tilt_deg - zero_deg
    return float(reversed_pair_by_ends(first_deg=first.tilt_deg, turned_deg=second.tilt_deg).tilt_deg)


def _lines(number: float | None, high_end: str) -> Any:
    return bubble_position_lines(number or 0.0, "middle" if high_end == "level" else high_end)


def _aside_mm(number: float | None, high_end: str) -> Any:
    """How far a ball went aside, positive to the left: then the right side is high."""
    return np.asarray({"right": 1.0, "left": -1.0}.get(high_end, 0.0) * (number or 0.0))


def _time(means: Kept, numbers: Any) -> RollTime:
    """Seconds of a watch, or counted frames of a film."""
    if means["film_hz"]:
        return time_from_frames(frames=numbers, rate_hz=means["film_hz"])
    return RollTime(time_s=numbers, u_time_s=np.asarray(presets.U_WATCH_S))


def _run(means: Kept) -> Run:
    numbers = (means["run_mm"], presets.RUN_ERROR_MM, presets.RELEASE_MM, presets.RULER_MM, means["alignment_deg"])
    return Run(*(np.asarray(number, dtype=float) for number in numbers))


def _wander(means: Kept, board: Board, wander_mm: Any) -> Estimate:
    pitch_deg = board.pitch_deg if board.pitch_deg > 0 else TYPICAL_PITCH_DEG
    return roll_from_wander(
        wander_mm=wander_mm, run=_run(means), pitch_deg=pitch_deg, u_pitch_deg=min(board.u_pitch_deg, 45.0)
    )


_PARTS = ("resolution_deg", "repeating_deg", "alignment_deg", "repeat_deg", "accuracy_deg", "zero_deg")
_READERS: dict[str, Callable[[Pairs, Kept, Board, bool], SlopeRead]] = {
    "digital_level": _by_level,
    "inclinometer": _by_level,
    "bubble": _by_looks,
    "blocks": _by_looks,
    "vial": _by_vial,
    "ball": _by_ball,
}
