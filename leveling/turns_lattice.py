"""The lattice of a leg plan: which whole steps bring pitch, roll and twist near what is wanted.

      RL = q ------ RR = q + b        steps out on each leg, whole numbers
         |            |               a = FR - FL,  b = RR - RL
         |            |               p = RL + RR - FL - FR = 2 (q - m) - a + b
         |            |
      FL = m ------ FR = m + a        m, the common shift, lifts the machine and changes no angle

    cabinet gy = gy_now + gy_step p                            pitch: p alone
    cabinet gx = gx_now + gx_front a + gx_rear b               roll: a and b, together
    twist      = twist_now - twist_front a + twist_rear b      twist: a and b, against each other

So (a, b) are the whole points of a turned rectangle, roll band by twist band, and there are few of them. For
each of them pitch leaves a run of p, every second whole number, since p and a + b are both even or both odd.
Nothing is left out. Bands are intervals of the cabinet's *gradients*, tan(wanted -+ half-width), so the angles
are exact at any pitch.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from leveling.checks import FloatArray

type IntArray = NDArray[np.int64]
type BoolArray = NDArray[np.bool_]
type Band = tuple[FloatArray, FloatArray]
type Range = tuple[IntArray, IntArray]

#: A deviation counts as inside an edge that it passes by less than this share of the aim: float ties.
EDGE = 1e-9

_FAR = 1 << 40  # the ends of an empty run
_STEEPEST_DEG = 89.0
_POINTS_AT_ONCE = 60_000


@dataclass(frozen=True, eq=False)
class Points:
    """Lattice points of many rows, each field with shape (points,).

    ``row`` [row] is the problem that a point belongs to, rising; ``a`` and ``b`` [step] are FR - FL and
    RR - RL.
    """

    row: IntArray
    a: IntArray
    b: IntArray

    def take(self, chosen: BoolArray | IntArray) -> "Points":
        """Return some of the points, shape (some,) [step]."""
        return Points(row=self.row[chosen], a=self.a[chosen], b=self.b[chosen])


@dataclass(frozen=True, eq=False)
class Runs:
    """Which p pitch allows, by parity: even p first, then odd p.

    ``low`` and ``high``, shape (levels, rows, 2) [step], are the ends of the run in each band, low above high
    where it is empty.
    """

    low: IntArray
    high: IntArray


@dataclass(frozen=True, eq=False)
class Lattice:
    """A flat batch of leg-plan problems in whole steps, each field with shape (rows,) unless it says more.

    ``gy``, ``gx`` [mm/mm] and ``twist_mm`` [mm] are the cabinet now; ``gy_step``, ``gx_front``, ``gx_rear``
    [mm/mm] and ``twist_front_mm``, ``twist_rear_mm`` [mm] are what one step of p, a or b changes, all above
    0. ``want_pitch_deg`` and ``want_roll_deg`` [degree] are the cabinet's wanted angles. ``aim``, shape
    (rows, 3), is the half-width of the aim band in pitch [degree], roll [degree] and twist [mm], above 0;
    ``cap``, shape (rows, 3) [share of aim], is how much of it may be used. ``low`` and ``high``, shape
    (rows, 4) [step], bound each leg and hold 0; ``one_lift`` [yes or no] is true on dollies.
    """

    gy: FloatArray
    gx: FloatArray
    twist_mm: FloatArray
    gy_step: FloatArray
    gx_front: FloatArray
    gx_rear: FloatArray
    twist_front_mm: FloatArray
    twist_rear_mm: FloatArray
    want_pitch_deg: FloatArray
    want_roll_deg: FloatArray
    aim: FloatArray
    cap: FloatArray
    low: IntArray
    high: IntArray
    one_lift: BoolArray

    def take(self, rows: slice | IntArray | BoolArray) -> "Lattice":
        """Return some of the problems, shape (some,) [row]."""
        return Lattice(**{field.name: getattr(self, field.name)[rows] for field in fields(self)})

    def pitch_ratio(self, row: IntArray, p: IntArray) -> FloatArray:
        """Return |pitch deviation| over its aim, shape of ``p`` [share of aim]."""
        pitch_deg = np.degrees(np.arctan(self.gy[row] + self.gy_step[row] * p))
        return np.abs(pitch_deg - self.want_pitch_deg[row]) / self.aim[row, 0]

    def roll_ratio(self, at: Points) -> FloatArray:
        """Return |roll deviation| over its aim, shape (points,) [share of aim]."""
        gx = self.gx[at.row] + self.gx_front[at.row] * at.a + self.gx_rear[at.row] * at.b
        return np.abs(np.degrees(np.arctan(gx)) - self.want_roll_deg[at.row]) / self.aim[at.row, 1]

    def twist_ratio(self, at: Points) -> FloatArray:
        """Return |twist| over its aim, shape (points,) [share of aim]."""
        front, rear = self.twist_front_mm[at.row] * at.a, self.twist_rear_mm[at.row] * at.b
        return np.abs(self.twist_mm[at.row] - front + rear) / self.aim[at.row, 2]

    def worst_ratio(self, at: Points) -> FloatArray:
        """Return the larger of both, shape (points,) [share of aim], infinite where the cap forbids a point."""
        roll, twist = self.roll_ratio(at), self.twist_ratio(at)
        inside = (roll <= self.cap[at.row, 1] + EDGE) & (twist <= self.cap[at.row, 2] + EDGE)
        return np.where(inside, np.maximum(roll, twist), np.inf)

    def nearest_p(self) -> IntArray:
        """Return the even and the odd p with the nearest pitch, shape (rows, 2) [step]."""
        rows = np.arange(self.gy.size)
        exact = (np.tan(np.radians(self.want_pitch_deg)) - self.gy) / self.gy_step
        below = np.floor(exact).astype(np.int64)
        columns = []
        for parity in (0, 1):
            lower = below - ((below - parity) & 1)
            closer = self.pitch_ratio(rows, lower) <= self.pitch_ratio(rows, lower + 2)
            columns.append(np.where(closer, lower, lower + 2))
        return np.stack(columns, axis=1)

    def runs(self, levels: FloatArray) -> Runs:
        """Return the runs of p in the pitch bands at ``levels``, shape (levels, rows) [share of aim]."""
        parity = np.arange(2)
        low, high = self._pitch_band(levels)
        first, last = np.ceil(low).astype(np.int64)[..., None], np.floor(high).astype(np.int64)[..., None]
        first, last = first + ((first - parity) & 1), last - ((last - parity) & 1)
        empty = first > last
        first[empty], last[empty] = _FAR, -_FAR
        return Runs(low=first, high=last)

    def points(self, level: FloatArray) -> Iterator[tuple[slice, Points]]:
        """Go through every (a, b) inside the bands at ``level``, shape (rows,) [share of aim], and the travel.

        Yields some rows and their points at a time, never too many to hold; ``row`` counts from the first of
        them. A point within a millionth of a step outside is taken too: the ratios decide, not these bounds.
        """
        a_low, a_high = self.box(level)[0]
        for rows in _cut(a_high - a_low + 1):
            part = self.take(rows)
            row, a, b_low, b_high = part._lines(level[rows])
            length = np.maximum(b_high - b_low + 1, 0)
            many = np.bincount(row, weights=length, minlength=part.gy.size)
            for some in _cut(many.astype(np.int64)):
                lines = slice(*np.searchsorted(row, (some.start, some.stop)))
                line, b = _whole_numbers(b_low[lines], b_high[lines])
                at = Points(row=row[lines][line] - some.start, a=a[lines][line], b=b)
                yield slice(rows.start + some.start, rows.start + some.stop), at

    def shifts(self, at: Points) -> tuple[Range, Range]:
        """Return the lowest and highest m, then q, shape (points,) [step], that keep all legs in travel."""
        (fl0, fr0, rl0, rr0), (fl1, fr1, rl1, rr1) = self.low[at.row].T, self.high[at.row].T
        front = np.maximum(fl0, fr0 - at.a), np.minimum(fl1, fr1 - at.a)
        return front, (np.maximum(rl0, rr0 - at.b), np.minimum(rl1, rr1 - at.b))

    def box(self, level: FloatArray) -> tuple[Range, Range]:
        """Return the lowest and highest a, then b, shape (rows,) [step], that ``points`` could hold."""
        roll, twist = self._roll_and_twist_bands(level)
        return self._a_range(roll, twist), self._b_range(roll, twist)

    def _lines(self, level: FloatArray) -> tuple[IntArray, IntArray, IntArray, IntArray]:
        """Return row, a, lowest b and highest b of every line of points with the same a.

        Each bound of b is a straight line in a. The sum of a pair is twice its left leg plus its difference,
        or twice its right leg less that, and p = rear sum - front sum: so travel and pitch bound b +- a.
        """
        roll, twist = self._roll_and_twist_bands(level)
        row, a = _whole_numbers(*self._a_range(roll, twist))
        p_low, p_high = self._pitch_band(level)
        (fl0, fr0, rl0, rr0), (fl1, fr1, rl1, rr1) = 2 * self.low.T, 2 * self.high.T
        roll_slope, roll = -self.gx_front / self.gx_rear, _shifted(roll, 0.0, self.gx_rear)
        twist_slope, twist = self.twist_front_mm / self.twist_rear_mm, _shifted(twist, 0.0, self.twist_rear_mm)
        up_low, up_high = (
            np.maximum(p_low + fl0 - rl1, rr0 - p_high - fr1),
            np.minimum(rr1 - p_low - fr0, p_high + fl1 - rl0),
        )
        down_low, down_high = (
            np.maximum(p_low + fr0 - rl1, rr0 - p_high - fl1),
            np.minimum(rr1 - p_low - fl0, p_high + fr1 - rl0),
        )
        roll_a, twist_a = roll_slope[row] * a, twist_slope[row] * a
        low = (roll[0][row] + roll_a, twist[0][row] + twist_a, up_low[row] + a, down_low[row] - a, (rr0 - rl1)[row] / 2)
        high = (
            roll[1][row] + roll_a,
            twist[1][row] + twist_a,
            up_high[row] + a,
            down_high[row] - a,
            (rr1 - rl0)[row] / 2,
        )
        return row, a, _up(reduce(np.maximum, low)), _down(reduce(np.minimum, high))

    def _pitch_band(self, levels: FloatArray) -> Band:
        """p at the edges of the pitch bands, not yet whole."""
        half = self.aim[:, 0] * (np.minimum(levels, self.cap[:, 0]) + EDGE)
        return _shifted(_gradient_band(self.want_pitch_deg, half), -self.gy, self.gy_step)

    def _roll_and_twist_bands(self, level: FloatArray) -> tuple[Band, Band]:
        """What a and b must add to gx and to the twist."""
        half = self.aim * (np.minimum(level[:, None], self.cap) + EDGE)
        roll = _shifted(_gradient_band(self.want_roll_deg, half[:, 1]), -self.gx, 1.0)
        return roll, (-half[:, 2] - self.twist_mm, half[:, 2] - self.twist_mm)

    def _a_range(self, roll: Band, twist: Band) -> Range:
        """Corners of the turned rectangle, and the front travel."""
        low = self.twist_rear_mm * roll[0] - self.gx_rear * twist[1]
        high = self.twist_rear_mm * roll[1] - self.gx_rear * twist[0]
        travel = self.low[:, 1] - self.high[:, 0], self.high[:, 1] - self.low[:, 0]
        det = self._det
        return np.maximum(_up(low / det), travel[0]), np.minimum(_down(high / det), travel[1])

    def _b_range(self, roll: Band, twist: Band) -> Range:
        low = self.twist_front_mm * roll[0] + self.gx_front * twist[0]
        high = self.twist_front_mm * roll[1] + self.gx_front * twist[1]
        travel = self.low[:, 3] - self.high[:, 2], self.high[:, 3] - self.low[:, 2]
        det = self._det
        return np.maximum(_up(low / det), travel[0]), np.minimum(_down(high / det), travel[1])

    @property
    def _det(self) -> FloatArray:
        return self.gx_front * self.twist_rear_mm + self.gx_rear * self.twist_front_mm


def _gradient_band(want_deg: FloatArray, half_deg: FloatArray) -> Band:
    low = np.maximum(want_deg - half_deg, -_STEEPEST_DEG)
    high = np.minimum(want_deg + half_deg, _STEEPEST_DEG)
    return np.tan(np.radians(low)), np.tan(np.radians(high))


def _shifted(band: Band, by: FloatArray | float, per_step: FloatArray | float) -> Band:
    return (band[0] + by) / per_step, (band[1] + by) / per_step


def _of(band: Band, row: IntArray) -> Band:
    return band[0][row], band[1][row]


def _up(x: FloatArray) -> IntArray:
    return np.ceil(x - 1e-6).astype(np.int64)


def _down(x: FloatArray) -> IntArray:
    return np.floor(x + 1e-6).astype(np.int64)


def _cut(many: IntArray) -> Iterator[slice]:
    """Cut rows into parts that together have no more than can be held at once, but for a row that alone has."""
    total = np.cumsum(np.maximum(many, 1))
    start = 0
    while start < total.size:
        done = int(total[start - 1]) if start else 0
        stop = max(start + 1, int(np.searchsorted(total, done + _POINTS_AT_ONCE)))
        yield slice(start, stop)
        start = stop


def _whole_numbers(low: IntArray, high: IntArray) -> Range:
    """Return every whole number of every run low..high, with the index of its run before it."""
    count = np.maximum(high - low + 1, 0)
    run = np.repeat(np.arange(count.size), count)
    first = np.cumsum(count) - count
    return run, np.arange(run.size) - first[run] + low[run]
