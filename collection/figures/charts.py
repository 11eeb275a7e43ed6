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
from collection.templatetags.units import decimals, number
from leveling.units import slope_in

#: 95 % of a two-dimensional normal distribution lie within so many standard uncertainties: sqrt(-2 ln 0.05).
K95_PLANE = 2.448
_HEIGHT = 220
_TOP, _BOTTOM = 16, 190
_REACH = 4.0  # tolerances beyond the spec that a history shows, as the tolerance bar does
_WORDS_ROW = 16
_EVENT_ROOM = 26.0  # per cent of the width that the words of an event need
_SUFFIX = {"deg": "°"}
_UNIT_WORDS = {"deg": "degrees", "mm_per_m": "mm/m", "in_per_ft": "in/ft", "percent": "%"}


@dataclass(frozen=True)
class Point:
    """One survey's value [degree] with its standard uncertainty and verdict."""

    when: date
    value: float
    u: float
    verdict: str


@dataclass(frozen=True)
class Stretch:
    """Where a value was or may be on a day [degree]: 95 % lie between the first and the last, half above the second."""

    when: date
    values: tuple[float, float, float]


@dataclass(frozen=True)
class Spot:
    """Where one survey lies in roll and pitch [degree]."""

    roll: float
    pitch: float
    u_roll: float
    u_pitch: float
    verdict: str


def draw_history(
    points: Sequence[Point],
    *,
    want: float,
    tol: float,
    label: str,
    events: Sequence[tuple[date, str]] = (),
    unit: str = "deg",
    course: Sequence[Stretch] = (),
) -> SafeString:
    """Values over time, oldest first, with the spec as a band and each event as a dashed line with its words.

    ``course`` is where the value was between the points and may be after them, oldest first. A rare value far off does
    not press all others together: it stands at the edge with an arrow and its number.
    """
    if not points:
        return EMPTY
    low, high = (slope_in_unit(want + side * tol, unit) for side in (-1, 1))
    points = [_shown(point, unit) for point in points]
    ticks = round_ticks(*_range(points, low, high, course, unit), 6)
    x = _time_axis([point.when for point in points] + [when for when, _ in events] + [each.when for each in course])
    y = _linear(ticks[0], ticks[-1], _BOTTOM, _TOP)
    middle = y(slope_in_unit(want, unit))
    parts = [
        _band(y(high), y(low)),
        *_course(course, unit, x, y),
        *_grid(ticks, y, _SUFFIX.get(unit, "")),
        element("line", x1="0%", x2="100%", y1=middle, y2=middle, class_="bar-want"),
        *_dates([point.when for point in points] + [each.when for each in course], x),
        *_events([*dict.fromkeys(events)], x),
        *(_line(points, [when for when, _ in events], x, y) if not course else ()),
        *(_point(point, x(point.when), y, unit) for point in points),
    ]
    return picture(label, *parts, class_="history")


def draw_plane(
    spots: Sequence[Spot], *, want: float, pitch_tol: float, roll_tol: float, label: str, unit: str = "deg"
) -> SafeString:
    """Pitch against roll, oldest first: the spec is a box, the newest survey carries its 95 % ellipse."""
    if not spots:
        return EMPTY
    spots = [_shown_spot(spot, unit) for spot in spots]
    low, high = (slope_in_unit(want + side * pitch_tol, unit) for side in (-1, 1))
    aside = slope_in_unit(roll_tol, unit)
    newest = spots[-1]
    side = max([2 * aside, *(abs(spot.roll) for spot in spots), abs(newest.roll) + K95_PLANE * newest.u_roll])
    pitches = [spot.pitch for spot in spots] + [low - (high - low) / 2, high + (high - low) / 2]
    pitches += [newest.pitch - K95_PLANE * newest.u_pitch, newest.pitch + K95_PLANE * newest.u_pitch]
    across, up = round_ticks(-side, side, 4), round_ticks(min(pitches), max(pitches), 5)
    x, y = _linear(across[0], across[-1], 48, 308), _linear(up[0], up[-1], 240, 28)
    box = element(
        "rect", x=x(-aside), y=y(high), width=x(aside) - x(-aside), height=y(low) - y(high), rx=3, class_="bar-band"
    )
    trail = " ".join(f"{x(spot.roll):.1f},{y(spot.pitch):.1f}" for spot in spots)
    ellipse = element(
        "ellipse", cx=x(newest.roll), cy=y(newest.pitch), class_=f"ellipse ellipse-{kind_of(newest.verdict)}",
        rx=K95_PLANE * newest.u_roll * (x(1) - x(0)), ry=K95_PLANE * newest.u_pitch * (y(0) - y(1)),
    )  # fmt: skip
    parts = [
        box,
        *_plane_grid(across, up, x, y, unit),
        element("polyline", points=trail, class_="trail") if len(spots) > 1 else EMPTY,
        ellipse,
        *(placed(x(spot.roll), y(spot.pitch), element("circle", r=3, class_="old")) for spot in spots[:-1]),
        placed(x(newest.roll), y(newest.pitch), mark(newest.verdict)),
    ]
    return picture(label, *parts, class_="plane", view_box="0 0 330 292")


def slope_in_unit(value_deg: float, unit: str) -> float:
    """A slope on the axis of someone who thinks in this unit."""
    return float(slope_in(value_deg, unit))


def _half_width(value_deg: float, u_deg: float, unit: str) -> float:
    """A standard uncertainty on that axis: half of the way from one u below to one u above."""
    return (slope_in_unit(value_deg + u_deg, unit) - slope_in_unit(value_deg - u_deg, unit)) / 2


def _shown(point: Point, unit: str) -> Point:
    u = _half_width(point.value, point.u, unit)
    return Point(point.when, slope_in_unit(point.value, unit), u, point.verdict)


def _shown_spot(spot: Spot, unit: str) -> Spot:
    return Spot(
        slope_in_unit(spot.roll, unit),
        slope_in_unit(spot.pitch, unit),
        _half_width(spot.roll, spot.u_roll, unit),
        _half_width(spot.pitch, spot.u_pitch, unit),
        spot.verdict,
    )


def _range(
    points: Sequence[Point], low: float, high: float, course: Sequence[Stretch], unit: str
) -> tuple[float, float]:
    """What the axis shows: the spec, the points and the course; a few points, or a course, that lie far off do not."""
    reach = _REACH * (high - low) / 2
    near = [point for point in points if low - reach <= point.value <= high + reach]
    counted = near if 2 * len(near) >= len(points) else points
    beside = (high - low) / 4  # the edges of the band show
    lows = [low - beside, *(point.value - K95 * point.u for point in counted)]
    highs = [high + beside, *(point.value + K95 * point.u for point in counted)]
    bottom, top = min(lows), max(highs)
    for each in course:
        ends = (slope_in_unit(each.values[0], unit), slope_in_unit(each.values[2], unit))
        bottom, top = min(bottom, max(ends[0], low - reach)), max(top, min(ends[1], high + reach))
    return bottom, top


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


def _grid(ticks: Sequence[float], y: Callable[[float], float], suffix: str) -> list[SafeString]:
    digits = digits_of(ticks[1] - ticks[0])
    lines = [element("line", x1="0%", x2="100%", y1=y(tick), y2=y(tick), class_="grid-line") for tick in ticks]
    words = [
        element("text", f"{number(tick, digits)}{suffix}", x=-8, y=y(tick) + 4, class_="axis-words end")
        for tick in ticks
    ]
    return lines + words


def _course(
    course: Sequence[Stretch], unit: str, x: Callable[[date], float], y: Callable[[float], float]
) -> list[SafeString]:
    """The band that holds 95 % and its middle, drawn in a picture of its own that stretches with the page."""
    if len(course) < 2:
        return []
    shown = [(x(each.when), *(_on(y(slope_in_unit(value, unit))) for value in each.values)) for each in course]
    edge = [f"{at:.2f},{low:.1f}" for at, low, _, _ in shown] + [
        f"{at:.2f},{high:.1f}" for at, _, _, high in shown[::-1]
    ]
    band = element("polygon", points=" ".join(edge), class_="course-band")
    middle = element(
        "polyline", points=" ".join(f"{at:.2f},{mid:.1f}" for at, _, mid, _ in shown), class_="course-line"
    )
    return [element("svg", band, middle, width="100%", height=_HEIGHT, viewBox=f"0 0 100 {_HEIGHT}",
                    preserveAspectRatio="none")]  # fmt: skip


def _dates(days: Sequence[date], x: Callable[[date], float]) -> list[SafeString]:
    """Words under the axis: months, or the first and last day of a history shorter than two of them."""
    first, last = min(days), max(days)
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
    """To the left there is room under the axis; to the right the page may end."""
    return "end" if x > 90 else "middle"


def _month_words(ticks: Sequence[date], place: int) -> str:
    """The month; with its year at the first tick and where the year changes."""
    day = ticks[place]
    new_year = place == 0 or day.year != ticks[place - 1].year
    return f"{day:%b} {day:%Y}" if new_year else f"{day:%b}"


def _events(events: Sequence[tuple[date, str]], x: Callable[[date], float]) -> list[SafeString]:
    """A dashed line for each event; its words in the first of two rows that has room. The last events get theirs first:
    they tell of today and of what is to come."""
    taken: list[list[tuple[float, float]]] = [[], []]
    drawn = []
    for when, words in reversed(events):
        at = x(when)
        start, end = (at - _EVENT_ROOM, at) if at > 70 else (at, at + _EVENT_ROOM)
        row = next((row for row, there in enumerate(taken) if all(end <= a or b <= start for a, b in there)), None)
        if row is not None:
            taken[row].append((start, end))
        drawn.append(_event(at, words if row is not None else "", row or 0))
    return drawn[::-1]


def _event(x: float, words: str, row: int) -> SafeString:
    side = "end" if x > 70 else "start"
    line = element("line", x1=f"{x:.2f}%", x2=f"{x:.2f}%", y1=2, y2=_BOTTOM, class_="event-line")
    if not words:
        return line
    text = element("text", words, x=-6 if side == "end" else 6, class_=f"axis-words {side}")
    return element("g", line, placed(f"{x:.2f}%", 10 + row * _WORDS_ROW, text))


def _line(
    points: Sequence[Point], breaks: Sequence[date], x: Callable[[date], float], y: Callable[[float], float]
) -> list[SafeString]:
    """Lines between neighbours, but not across an event, after which the values begin anew, nor within one day."""
    ends = [
        (a, b) for a, b in pairwise(points) if a.when < b.when and not any(a.when < when <= b.when for when in breaks)
    ]
    return [
        element(
            "line",
            x1=f"{x(a.when):.2f}%",
            y1=_on(y(a.value)),
            x2=f"{x(b.when):.2f}%",
            y2=_on(y(b.value)),
            class_="value-line",
        )
        for a, b in ends
    ]


def _on(y: float) -> float:
    """Kept on the chart."""
    return min(max(y, _TOP), _BOTTOM)


def _point(point: Point, x: float, y: Callable[[float], float], unit: str) -> SafeString:
    at, height = f"{x:.2f}%", y(point.value)
    whisker = element(
        "line", x1=at, x2=at, y1=_on(y(point.value - K95 * point.u)), y2=_on(y(point.value + K95 * point.u)),
        class_="whisker",
    )  # fmt: skip
    shape = mark(point.verdict, size=5.5)
    if _TOP <= height <= _BOTTOM:
        return element("g", whisker, placed(at, height, shape))
    out = 1 if height > _BOTTOM else -1
    head = element(
        "path", d=f"M-5 {out * 9}L0 {out * 14}L5 {out * 9}", class_=f"beyond beyond-{kind_of(point.verdict)}"
    )
    side, off = ("end", -12) if x > 80 else ("start", 12)
    text = number(point.value, decimals(point.u, 2)) + _SUFFIX.get(unit, "")
    words = element("text", text, x=off, y=5, class_=f"beyond-words {side}")
    return element("g", placed(at, _on(height) - out * 10, shape, head, words))


def _plane_grid(
    across: Sequence[float],
    up: Sequence[float],
    x: Callable[[float], float],
    y: Callable[[float], float],
    unit: str,
) -> list[SafeString]:
    digits_x, digits_y = digits_of(across[1] - across[0]), digits_of(up[1] - up[0])
    parts = [element("line", x1=x(t), x2=x(t), y1=y(up[0]), y2=y(up[-1]), class_="grid-line") for t in across]
    parts += [element("line", x1=x(across[0]), x2=x(across[-1]), y1=y(t), y2=y(t), class_="grid-line") for t in up]
    parts += [element("text", number(abs(t), digits_x), x=x(t), y=258, class_="axis-words middle") for t in across]
    parts += [element("text", number(t, digits_y) + _SUFFIX.get(unit, ""), x=42, y=y(t) + 4, class_="axis-words end")
              for t in up]  # fmt: skip
    parts += [
        element("text", f"pitch, {_UNIT_WORDS[unit]}", x=2, y=12, class_="axis-words start"),
        element("text", "left high", x=40, y=281, class_="axis-words start"),
        element("text", f"roll, {_UNIT_WORDS[unit]}", x=178, y=281, class_="axis-words middle"),
        element("text", "right high", x=316, y=281, class_="axis-words end"),
    ]
    return parts
