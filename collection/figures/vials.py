"""Figures of a vial: angle against the bubble's place, and the strip that lies beside it.

The strip is drawn in millimetres, so that on paper its lines lie beside those of the vial.
"""

from collections.abc import Sequence

from django.utils.safestring import SafeString

from collection.figures.bars import K95
from collection.figures.charts import slope_in_unit
from collection.figures.scales import digits_of, round_ticks
from collection.figures.svg import EMPTY, element, picture
from collection.templatetags.units import number

_LEFT, _RIGHT, _TOP, _BOTTOM = 52.0, 316.0, 26.0, 220.0
_SUFFIX = {"deg": "°"}
#: Of the strip, in millimetres: paper beyond the last lines, its height, and where things stand on it.
_ENDS_MM, _HIGH_MM = 10.0, 30.0
_SCALE_MM, _LINE_MM = 50.0, 9.0


def draw_vial_line(
    points: Sequence[tuple[float, float, float]],
    *,
    curve: Sequence[tuple[float, float, float]],
    ends: tuple[str, str],
    label: str,
    unit: str = "deg",
) -> SafeString:
    """Angle [degree] over the bubble's place [line], each with u: pairs, and the learned line with 95 %."""
    if not points and not curve:
        return EMPTY
    dots = [(place, slope_in_unit(angle, unit), _wide(angle, u, unit)) for place, angle, u in points]
    line = [(place, slope_in_unit(angle, unit), _wide(angle, u, unit)) for place, angle, u in curve]
    places = [place for place, _, _ in (*dots, *line)]
    angles = [angle + side * K95 * u for angle, u in ((a, u) for _, a, u in dots) for side in (-1, 1)]
    angles += [angle for _, angle, _ in line]
    across = round_ticks(min(-1.0, *places), max(1.0, *places), 6)
    up = round_ticks(min(angles), max(max(angles), min(angles) + 1e-3), 5)

    def x(place: float) -> float:
        return _LEFT + (place - across[0]) / (across[-1] - across[0]) * (_RIGHT - _LEFT)

    def y(angle: float) -> float:
        return min(max(_BOTTOM - (angle - up[0]) / (up[-1] - up[0]) * (_BOTTOM - _TOP), _TOP), _BOTTOM)

    upper = [(x(place), y(angle + K95 * u)) for place, angle, u in line]
    lower = [(x(place), y(angle - K95 * u)) for place, angle, u in line]
    digits_y = digits_of(up[1] - up[0])
    parts = [
        element("polygon", points=_path([*upper, *reversed(lower)]), class_="bar-band") if line else EMPTY,
        *(element("line", x1=x(t), x2=x(t), y1=_TOP, y2=_BOTTOM, class_="grid-line") for t in across),
        *(element("line", x1=_LEFT, x2=_RIGHT, y1=y(t), y2=y(t), class_="grid-line") for t in up),
        *(element("text", f"{abs(t):g}", x=x(t), y=_BOTTOM + 18, class_="axis-words middle")
          for t in across),
        *(element("text", number(t, digits_y) + _SUFFIX.get(unit, ""), x=_LEFT - 6, y=y(t) + 4, class_="axis-words end")
          for t in up),
        element("polyline", points=_path([(x(place), y(angle)) for place, angle, _ in line]), class_="value-line")
        if line else EMPTY,
        *(_pair(x(place), y(angle), y(angle + K95 * u), y(angle - K95 * u)) for place, angle, u in dots),
        element("text", ends[0], x=_LEFT, y=_BOTTOM + 40, class_="axis-words start"),
        element("text", "lines from the middle", x=(_LEFT + _RIGHT) / 2, y=_BOTTOM + 40, class_="axis-words middle"),
        element("text", ends[1], x=_RIGHT, y=_BOTTOM + 40, class_="axis-words end"),
    ]  # fmt: skip
    return picture(label, *parts, class_="vial-line", view_box="0 0 330 270")


def draw_strip(
    *,
    reach_lines: float,
    spacing_mm: float,
    place_lines: float,
    band_lines: float,
    spread_lines: float,
    ends: tuple[str, str],
    label: str,
) -> SafeString:
    """The vial's lines at true size, the place of the bubble's middle, what the spec allows, and how sure it is."""
    width = 2 * (reach_lines * spacing_mm + _ENDS_MM)
    low, high = _ENDS_MM / 2, width - _ENDS_MM / 2

    def x(lines: float) -> float:
        return min(max(width / 2 + lines * spacing_mm, low), high)

    whole = int(reach_lines)
    marks = [place / 2 for place in range(-2 * whole, 2 * whole + 1)]
    if reach_lines > whole:
        marks += [-reach_lines, reach_lines]
    band = (x(place_lines - band_lines), x(place_lines + band_lines))
    sure = (x(place_lines - spread_lines), x(place_lines + spread_lines))
    here = x(place_lines)
    parts = [
        element("rect", x=0.2, y=0.2, width=width - 0.4, height=_HIGH_MM - 0.4, class_="strip-edge"),
        element("rect", x=band[0], y=0.4, width=band[1] - band[0], height=_LINE_MM - 0.4, class_="bar-band"),
        *(_mark(x(mark), mark) for mark in marks),
        element("path", d=_capped(*sure), class_="strip-sure"),
        element("path", d=f"M{here:.2f} 12.4L{here - 1.8:.2f} 18L{here + 1.8:.2f} 18Z", class_="strip-here"),
        *(element("text", _lines(mark), x=x(mark), y=22, class_="strip-words middle")
          for mark in marks if mark == int(mark) and (abs(mark) in (0, whole) or spacing_mm >= 4)),
        element("text", f"← {ends[0]}", x=1.5, y=27.6, class_="strip-words start"),
        element("text", f"{ends[1]} →", x=width - 1.5, y=27.6, class_="strip-words end"),
    ]  # fmt: skip
    return _in_mm(label, width, _HIGH_MM, *parts)


def draw_ruler(label: str) -> SafeString:
    """A bar of 50 mm, to see whether a printer kept the size."""
    ticks = [
        element("line", x1=1 + mm, x2=1 + mm, y1=1, y2=5 if mm % 10 else 7, class_="strip-line")
        for mm in range(0, 51, 5)
    ]
    bar = element("line", x1=1, x2=1 + _SCALE_MM, y1=1, y2=1, class_="strip-line")
    return _in_mm(label, _SCALE_MM + 2, 8.0, bar, *ticks)


def _in_mm(label: str, width: float, height: float, *parts: SafeString) -> SafeString:
    return element(
        "svg", element("title", label), *parts, class_="figure strip", viewBox=f"0 0 {width:.2f} {height:.2f}",
        width=f"{width:.2f}mm", height=f"{height:.2f}mm", role="img", aria_label=label,
    )  # fmt: skip


def _capped(left: float, right: float) -> str:
    """A bar with caps under the lines."""
    return f"M{left:.2f} 9.9V11.7M{left:.2f} 10.8H{right:.2f}M{right:.2f} 9.9V11.7"


def _mark(x: float, lines: float) -> SafeString:
    is_whole = lines == int(lines)
    name = "strip-line strip-middle" if lines == 0 else "strip-line"
    return element("line", x1=x, x2=x, y1=0.4, y2=_LINE_MM if is_whole else _LINE_MM / 2, class_=name)


def _lines(mark: float) -> str:
    return f"{abs(mark):g}"


def _pair(x: float, y: float, top: float, bottom: float) -> SafeString:
    whisker = element("line", x1=x, x2=x, y1=top, y2=bottom, class_="whisker")
    return element("g", whisker, element("circle", cx=x, cy=y, r=4.5, class_="vial-dot"))


def _path(spots: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in spots)


def _wide(angle_deg: float, u_deg: float, unit: str) -> float:
    """A standard uncertainty on the axis of that unit."""
    return (slope_in_unit(angle_deg + u_deg, unit) - slope_in_unit(angle_deg - u_deg, unit)) / 2
