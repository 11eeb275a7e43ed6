"""Vials as they truly are, drawn from a stated prior: an arc of glass in a machine, an eye, and a level beside it.

Truth and errors come from geometry and dice, never from the engine's own line. The prior (common practice, no source):
lines 2 mm apart on an arc whose radius gives the degrees per line asked for (log-uniform), four lines either side; the
bubble at the middle line between 5.5 and 7.5 degrees of pitch; glass off square by up to 1 degree; roll up to 0.5
degree, another one each time. A manual is right within 5 %, evenly. The eye reads to half a line, with a tenth of a
line of scatter, give or take a quarter (log-normal, one factor for each person). The level shows 0.1 degree, is wrong
by up to 0.1 degree (one error for each level), lies askew by up to 1 degree and comes back to 0.02, give or take a
quarter; each pair is a reversed pair. People set the machine over a span either side, or over what the vial shows if
that is less. Afterwards the machine stands anywhere within that and a quarter beyond, as far as the bubble is on the
lines.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leveling.instruments import Instrument, reading_budget
from leveling.instruments_vials import LEARNED, Vial, VialSheet, learn_vial
from leveling.instruments_vials_read import ON_VIAL, read_vial

LINE_MM = 2.0
REACH_LINES = 4
STEP_LINES = 0.5
SCATTER_LINES = 0.1
MANUAL_LIMIT = 0.05  # the manual's degrees per line are right within 5 %

LEVEL = Instrument(resolution_deg=0.1, accuracy_deg=0.1, alignment_deg=1, repeat_deg=0.02, zero_deg=0, u_zero_deg=0)

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class VialWorld:
    """How many vials of which kind, learned from how many pairs, with or without the manual's degrees per line.

    ``span_deg``: how far either side people set the machine. ``eye``: scatter of the eye over the stated one.
    ``far``: how far off the machine may stand afterwards, in spans.
    """

    vials: int
    deg_per_line: tuple[float, float]
    pairs: int
    manual: bool
    span_deg: float = 0.75
    eye: float = 1.0
    far: float = 1.25


@dataclass(frozen=True)
class Drawn:
    """True vials, and what was seen while learning them: shape (vials,) or (vials, pairs)."""

    deg_per_line: Floats
    printed_deg_per_line: Floats
    radius_mm: Floats
    middle_deg: Floats
    askew_deg: Floats
    scatter_lines: Floats
    level_error_deg: Floats
    centre_deg: Floats
    span_deg: Floats
    seen_lines: Floats
    level_deg: Floats


@dataclass(frozen=True)
class Outcome:
    """What came of reading each vial once more: shape (vials,)."""

    readable: NDArray[np.bool_]
    error_deg: Floats
    u_deg: Floats


def draw_vials(world: VialWorld, rng: np.random.Generator) -> Drawn:
    """Draw vials, and pairs of bubble and level at different pitches."""
    n, pairs = world.vials, world.pairs
    deg_per_line = np.exp(rng.uniform(*np.log(world.deg_per_line), n))
    radius = LINE_MM / np.radians(deg_per_line)
    middle, askew = rng.uniform(5.5, 7.5, n), rng.uniform(-1, 1, n)
    scatter = world.eye * SCATTER_LINES * np.exp(0.25 * rng.normal(size=n))
    level_error = rng.uniform(-0.1, 0.1, n)
    half_view = (REACH_LINES - 0.5) * deg_per_line
    span = np.minimum(world.span_deg, half_view)
    centre = middle + rng.uniform(-1, 1, n) * (half_view - span)
    places = np.linspace(-1, 1, pairs) if pairs > 1 else np.zeros(1)
    pitch = centre[:, None] + span[:, None] * (places + rng.uniform(-0.1, 0.1, (n, pairs)))
    pitch = np.clip(pitch, (middle - half_view)[:, None], (middle + half_view)[:, None])
    roll = rng.uniform(-0.5, 0.5, (n, pairs))
    return Drawn(
        deg_per_line=deg_per_line,
        printed_deg_per_line=deg_per_line * (1 + rng.uniform(-MANUAL_LIMIT, MANUAL_LIMIT, n)),
        radius_mm=radius,
        middle_deg=middle,
        askew_deg=askew,
        scatter_lines=scatter,
        level_error_deg=level_error,
        centre_deg=centre,
        span_deg=span,
        seen_lines=_seen(pitch, roll, (radius, middle, askew, scatter), rng),
        level_deg=_level(pitch, roll, level_error, rng),
    )


def learn(world: VialWorld, vials: Drawn) -> Vial:
    """Learn the drawn vials with the engine, from what people saw alone; the manual is right within its limit."""
    sheet = VialSheet(reach_lines=REACH_LINES)
    if world.manual:
        printed = vials.printed_deg_per_line
        sheet = VialSheet(
            reach_lines=REACH_LINES, deg_per_line=printed, u_deg_per_line=printed * MANUAL_LIMIT / np.sqrt(3)
        )
    budget = reading_budget(instrument=LEVEL, along=True, reversed_pair=True, pitch_deg=vials.level_deg)
    return learn_vial(sheet=sheet, position_lines=vials.seen_lines, tilt_deg=vials.level_deg, budget=budget)


def read_back(world: VialWorld, vials: Drawn, learned: Vial, rng: np.random.Generator) -> Outcome:
    """Set each machine to another pitch, let the same eye read the bubble, and compare with the truth."""
    n = vials.deg_per_line.size
    half_view = (REACH_LINES - 0.3) * vials.deg_per_line
    low = np.maximum(vials.centre_deg - world.far * vials.span_deg, vials.middle_deg - half_view)
    high = np.minimum(vials.centre_deg + world.far * vials.span_deg, vials.middle_deg + half_view)
    pitch, roll = rng.uniform(low, high), rng.uniform(-0.5, 0.5, n)
    glass = (vials.radius_mm, vials.middle_deg, vials.askew_deg, vials.scatter_lines)
    reading = read_vial(learned, _seen(pitch[:, None], roll[:, None], glass, rng)[:, 0])
    return Outcome(
        readable=(learned.outcome == LEARNED) & (reading.outcome == ON_VIAL),
        error_deg=reading.tilt_deg - pitch,
        u_deg=reading.budget.u_deg,
    )


def _seen(pitch: Floats, roll: Floats, glass: tuple[Floats, ...], rng: np.random.Generator) -> Floats:
    """Where the eye says the bubble's middle is, in lines: the bubble rests at the top of the arc."""
    radius, middle, askew, scatter = (value[:, None] for value in glass)
    tilt = _along(pitch, roll, askew)
    arc_mm = radius * np.radians(tilt - middle)
    return np.round((arc_mm / LINE_MM + scatter * rng.normal(size=pitch.shape)) / STEP_LINES) * STEP_LINES


def _level(pitch: Floats, roll: Floats, error: Floats, rng: np.random.Generator) -> Floats:
    """Half the difference of what the level shows both ways round; its zero, up to half a degree, drops out."""
    askew = rng.uniform(-1, 1, pitch.shape)
    repeat = 0.02 * np.exp(0.25 * rng.normal(size=(len(error), 1)))
    zero = rng.uniform(-0.5, 0.5, (len(error), 1))
    tilt = _along(pitch, roll, askew) + error[:, None]
    shown = [np.round((sign * tilt + zero + repeat * rng.normal(size=pitch.shape)) / 0.1) * 0.1 for sign in (1.0, -1.0)]
    return (shown[0] - shown[1]) / 2


def _along(pitch: Floats, roll: Floats, askew: Floats) -> Floats:
    """Elevation [degree] of a line that runs to the rear but for a turn of ``askew`` on the board."""
    psi, p, r = np.radians(askew), np.radians(pitch), np.radians(roll)
    return np.degrees(np.arcsin(np.cos(psi) * np.sin(p) + np.sin(psi) * np.sin(r) * np.cos(p)))
