"""Charts of one machine over time: the history of a slope, and where it lies in pitch and roll.

The history stretches with the page: x is in per cent, y in px, so that its text never shrinks on a phone.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from django.utils.safestring import SafeString

from collection.figures.bars import K95
from collection.figures.marks import kind_of, mark, placed
from collection.figures.scales import digits_of, month_ticks, round_ticks
from collection.figures.svg import EMPTY, element, picture
from collection.templatetags.units import number

#: 95 % of a two-dimensional normal distribution lie within so many standard uncertainties: sqrt(-2 ln 0.05).
K95_PLANE = 2.448
_HEIGHT = 220
_TOP, _BOTTOM = 14, 190


@dataclass(frozen=True)
class Point:
    """One survey's value [degree] with its standard uncertainty and verdict."""

    when: date
    value: float
    u: float
    verdict: str


@dataclass(frozen=True)
class Spot:
    """Where one survey lies in roll and pitch [degree]."""

    roll: float
    pitch: float
    u_roll: float
    u_pitch: float
    verdict: str


def draw_history(
    points: Sequence[Point], *, want: float, tol: float, label: str, events: Sequence[tuple[date, str]] = ()
) -> SafeString:
    """Values over time, oldest first, with the spec as a band and each event as a dashed line with its words."""
    if not points:
        return EMPTY
    lows = [want - tol, *(point.value - K95 * point.u for point in points)]
    highs = [want + tol, *(point.value + K95 * point.u for point in points)]
    ticks = round_ticks(min(lows), max(highs), 6)
    x = _time_axis([point.when for point in points] + [when for when, _ in events])
    y = _linear(ticks[0], ticks[-1], _BOTTOM, _TOP)
    parts = [
        _band(y(want + tol), y(want - tol)),
        *_grid(ticks, y),
        element("line", x1="0%", x2="100%", y1=y(want), y2=y(want), class_="bar-want"),
        *_dates(points, x),
        *(_event(x(when), words) for when, words in events),
        *_line(points, [when for when, _ in events], x, y),
        *(_point(point, x(point.when), y) for point in points),
    ]
    return picture(label, *parts, class_="history")


def draw_plane(spots: Sequence[Spot], *, want: float, pitch_tol: float, roll_tol: float, label: str) -> SafeString:
    """Pitch against roll, oldest first: the spec is a box, the newest survey carries its 95 % ellipse."""
    if not spots:
        return EMPTY
    newest = spots[-1]
    side = max([2 * roll_tol, *(abs(spot.roll) for spot in spots), abs(newest.roll) + K95_PLANE * newest.u_roll])
    pitches = [spot.pitch for spot in spots] + [want - 2 * pitch_tol, want + 2 * pitch_tol]
    pitches += [newest.pitch - K95_PLANE * newest.u_pitch, newest.pitch + K95_PLANE * newest.u_pitch]
    across, up = round_ticks(-side, side, 4), round_ticks(min(pitches), max(pitches), 5)
    x, y = _linear(across[0], across[-1], 48, 308), _linear(up[0], up[-1], 236, 16)
    box = element(
        "rect", x=x(-roll_tol), y=y(want + pitch_tol), width=x(roll_tol) - x(-roll_tol),
        height=y(want - pitch_tol) - y(want + pitch_tol), rx=3, class_="bar-band",
    )  # fmt: skip
    trail = " ".join(f"{x(spot.roll):.1f},{y(spot.pitch):.1f}" for spot in spots)
    ellipse = element(
        "ellipse", cx=x(newest.roll), cy=y(newest.pitch), class_=f"ellipse ellipse-{kind_of(newest.verdict)}",
        rx=K95_PLANE * newest.u_roll * (x(1) - x(0)), ry=K95_PLANE * newest.u_pitch * (y(0) - y(1)),
    )  # fmt: skip
    parts = [
        box,
        *_plane_grid(across, up, x, y),
        element("polyline", points=trail, class_="trail"),
        *(placed(x(spot.roll), y(spot.pitch), element("circle", r=3, class_="old")) for spot in spots[:-1]),
        ellipse,
        placed(x(newest.roll), y(newest.pitch), mark(newest.verdict)),
    ]
    return picture(label, *parts, class_="plane", view_box="0 0 330 292")


def _linear(low: float, high: float, start: float, end: float) -> Callable[[float], float]:
    return lambda value: start + (value - low) / (high - low) * (end - start)


def _time_axis(dates: Sequence[date]) -> Callable[[date], float]:
    """Per cent of the width; a single day stands in the middle."""
    first, last = min(dates), max(dates)
    if first == last:
        return lambda when: 50.0
    days = (last - first).days
    return lambda when: 2 + (when - first).days / days * 96


def _band(top: float, bottom: float) -> SafeString:
    return element("rect", x="0%", width="100%", y=top, height=bottom - top, class_="bar-band")


def _grid(ticks: Sequence[float], y: Callable[[float], float]) -> list[SafeString]:
    digits = digits_of(ticks[1] - ticks[0])
    lines = [element("line", x1="0%", x2="100%", y1=y(tick), y2=y(tick), class_="grid-line") for tick in ticks]
    words = [
        element("text", f"{number(tick, digits)}°", x=-8, y=y(tick) + 4, class_="axis-words end") for tick in ticks
    ]
    return lines + words


def _dates(points: Sequence[Point], x: Callable[[date], float]) -> list[SafeString]:
    """Words under the axis: months, or the first and last day of a history shorter than two of them."""
    first, last = points[0].when, points[-1].when
    ticks = month_ticks(first, last, 4)
    if len(ticks) > 1:
        shown = [(tick, _month_words(ticks, place)) for place, tick in enumerate(ticks)]
    else:
        shown = [(when, f"{when.day} {when:%b %Y}") for when in dict.fromkeys((first, last))]
    return [
        element("text", words, x=f"{x(when):.2f}%", y=_HEIGHT - 6, class_=f"axis-words {_anchor(x(when))}")
        for when, words in shown
    ]


def _anchor(x: float) -> str:
    return "start" if x < 8 else ("end" if x > 92 else "middle")


def _month_words(ticks: Sequence[date], place: int) -> str:
    """The month; with its year at the first tick and where the year changes."""
    day = ticks[place]
    new_year = place == 0 or day.year != ticks[place - 1].year
    return f"{day:%b} {day:%Y}" if new_year else f"{day:%b}"


def _event(x: float, words: str) -> SafeString:
    side = "end" if x > 70 else "start"
    line = element("line", x1=f"{x:.2f}%", x2=f"{x:.2f}%", y1=2, y2=_BOTTOM, class_="event-line")
    text = element("text", words, x=-6 if side == "end" else 6, class_=f"axis-words {side}")
    return element("g", line, placed(f"{x:.2f}%", 10, text))


def _line(
    points: Sequence[Point], breaks: Sequence[date], x: Callable[[date], float], y: Callable[[float], float]
) -> list[SafeString]:
    """Lines between neighbours, but not across an event, after which the values begin anew."""
    return [
        element(
            "line", x1=f"{x(a.when):.2f}%", y1=y(a.value), x2=f"{x(b.when):.2f}%", y2=y(b.value), class_="value-line"
        )
        for a, b in pairwise(points)
        if not any(a.when < when <= b.when for when in breaks)
    ]


def _point(point: Point, x: float, y: Callable[[float], float]) -> SafeString:
    at = f"{x:.2f}%"
    ends = y(point.value - K95 * point.u), y(point.value + K95 * point.u)
    whisker = element("line", x1=at, x2=at, y1=ends[0], y2=ends[1], class_="whisker")
    return element("g", whisker, placed(at, y(point.value), mark(point.verdict, size=5.5)))


def _plane_grid(
    across: Sequence[float], up: Sequence[float], x: Callable[[float], float], y: Callable[[float], float]
) -> list[SafeString]:
    digits_x, digits_y = digits_of(across[1] - across[0]), digits_of(up[1] - up[0])
    parts = [element("line", x1=x(t), x2=x(t), y1=y(up[0]), y2=y(up[-1]), class_="grid-line") for t in across]
    parts += [element("line", x1=x(across[0]), x2=x(across[-1]), y1=y(t), y2=y(t), class_="grid-line") for t in up]
    parts += [element("text", number(abs(t), digits_x), x=x(t), y=254, class_="axis-words middle") for t in across]
    parts += [element("text", f"{number(t, digits_y)}°", x=42, y=y(t) + 4, class_="axis-words end") for t in up]
    parts += [
        element("text", "left high", x=48, y=276, class_="axis-words start"),
        element("text", "roll, degrees", x=178, y=276, class_="axis-words middle"),
        element("text", "right high", x=308, y=276, class_="axis-words end"),
    ]
    return parts
