"""Template tags for the figures. Each draws one SVG with a text alternative; see ``collection.figures``.

They take plain numbers, or rows of plain values that a query made: dicts for bays, tuples for points of charts.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from django import template
from django.utils.safestring import SafeString
from django.utils.timezone import localtime

from collection.figures.bars import Bar, draw_bar, gap_bar, pitch_bar, roll_bar
from collection.figures.cabinet import draw_cabinet, exposure_feet, turn_feet
from collection.figures.charts import Point, Spot, Stretch, draw_history, draw_plane
from collection.figures.marks import VERDICT_WORDS, kind_of, mark
from collection.figures.plans import BayShape, draw_floor
from collection.figures.svg import EMPTY, element
from collection.figures.vials import draw_ruler, draw_strip, draw_vial_line
from collection.templatetags.units import LEGS, given

register = template.Library()

#: What stands at either end of a vial's scale.
VIAL_ENDS = {"along": ("front", "rear"), "across": ("left", "right")}


def bar_line(bar: Bar, show_spec: bool = False) -> SafeString:
    """One line of ``<div class="bars">``: the name, the picture, the words, and the spec if asked."""
    spec = element("small", bar.spec_words, class_="bar-spec") if show_spec else EMPTY
    kind = "none" if bar.value is None else kind_of(bar.verdict)
    return element(
        "div",
        element("span", bar.label, class_="bar-name"),
        draw_bar(bar),
        element("span", bar.words, spec, class_="bar-words"),
        class_=f"bar bar-{kind}",
    )


@register.simple_tag(name="pitch_bar")
def pitch_bar_tag(
    value: float | None,
    u: float | None,
    want: float,
    tol: float,
    verdict: str,
    unit: str = "deg",
    spec: bool = False,
    half: float | None = None,
) -> SafeString:
    """``{% pitch_bar value u want tol verdict unit spec half %}``: degrees in, shown in ``unit``; spec adds its words.

    ``half`` is half of the interval that holds 95 %, if it is not that of a normal error.
    """
    bar = pitch_bar(given(value), u=given(u), want=want, tol=tol, verdict=verdict, unit=unit or "deg")
    return bar_line(replace(bar, half=given(half)), spec)


@register.simple_tag(name="roll_bar")
def roll_bar_tag(
    value: float | None,
    u: float | None,
    tol: float,
    verdict: str,
    unit: str = "deg",
    spec: bool = False,
    half: float | None = None,
) -> SafeString:
    """``{% roll_bar value u tol verdict unit spec half %}``: degrees, right side higher positive; level is wanted."""
    bar = roll_bar(given(value), u=given(u), tol=tol, verdict=verdict, unit=unit or "deg")
    return bar_line(replace(bar, half=given(half)), spec)


@register.simple_tag(name="gap_bar")
def gap_bar_tag(
    value: float | None,
    u: float | None,
    tol: float,
    verdict: str,
    foot: str = "",
    unit: str = "mm",
    spec: bool = False,
    half: float | None = None,
) -> SafeString:
    """``{% gap_bar gap_mm u_mm tol_mm verdict foot unit spec half %}``: mm in, shown in ``unit``; foot is FL, FR ..."""
    bar = gap_bar(given(value), u=given(u), tol=tol, verdict=verdict, foot=foot or "", unit=unit or "mm")
    return bar_line(replace(bar, half=given(half)), spec)


@register.filter
def verdict_words(code: str | None) -> str:
    """``{{ code|verdict_words }}``: "in spec", "out of spec", "borderline", "not proven", "never surveyed" ..."""
    return VERDICT_WORDS[code or "not_measured"]


@register.filter
def verdict_kind(code: str | None) -> str:
    """``{{ code|verdict_kind }}``: in, out, open or none, the ending of a CSS class."""
    return kind_of(code)


@register.simple_tag
def verdict_mark(code: str | None) -> SafeString:
    """``{% verdict_mark code %}``: the small shape before the word; hidden from readers, who get the word."""
    shape = mark(code, size=5.5)
    if not shape:
        return EMPTY
    return element("svg", shape, class_="verdict-mark", viewBox="-9 -9 18 18", aria_hidden="true", focusable="false")


@register.simple_tag
def cabinet_turns(turns: Sequence[float], lift: str = "", legs: str = "", caption: str = "") -> SafeString:
    """``{% cabinet_turns turns lift="rear" legs="RL RR" %}``: four turns in leg order, out positive.

    ``lift`` frames the end to raise: rear, front or all. ``legs`` keeps to the legs of this lift.
    """
    return draw_cabinet(turn_feet(turns, legs.split() or LEGS), lift=lift, caption=caption)


@register.simple_tag
def cabinet_exposure(
    exposures_mm: Sequence[float | None],
    travels_mm: Sequence[float],
    unit: str = "mm",
    fall: tuple[float, float] | None = None,
) -> SafeString:
    """``{% cabinet_exposure exposures_mm travels_mm unit fall %}``: how far out each leveler is, in leg order."""
    return draw_cabinet(exposure_feet(exposures_mm, travels_mm, unit), fall=fall, caption="Levelers from above")


@register.simple_tag
def floor_plan(
    width_mm: float,
    depth_mm: float,
    bays: Iterable[Mapping[str, Any]] = (),
    slope: tuple[float, float] | None = None,
    **words: str,
) -> SafeString:
    """``{% floor_plan width_mm depth_mm bays slope caption="Main floor" unit="mm_per_m" %}``; slope is (gx, gy).

    Each bay is a dict: label, x_mm, y_mm, heading_deg, and if known title, verdict, url, slope, body_width_mm,
    body_depth_mm.
    """
    shapes = [BayShape(**bay) for bay in bays]
    return draw_floor(width_mm=width_mm, depth_mm=depth_mm, bays=shapes, slope=slope, **words)


@register.simple_tag
def history_chart(
    points: Iterable[Sequence[Any]],
    want: float,
    tol: float,
    label: str,
    events: Iterable[Sequence[Any]] = (),
    unit: str = "deg",
    course: Iterable[Sequence[Any]] = (),
) -> SafeString:
    """``{% history_chart points want tol "Pitch since January" events unit course %}``; put a table beside it.

    Points are (date or time, value_deg, u_deg, verdict), oldest first; events are (date or time, words); the course is
    (date, low_deg, middle_deg, high_deg).
    """
    rows = [Point(_date(when), *rest) for when, *rest in points]
    told = [(_date(when), words) for when, words in events]
    drawn = [Stretch(_date(when), (low, middle, high)) for when, low, middle, high in course or ()]
    return draw_history(rows, want=want, tol=tol, label=label, events=told, unit=unit or "deg", course=drawn)


@register.simple_tag
def pitch_roll_plane(
    spots: Iterable[Sequence[Any]], want: float, pitch_tol: float, roll_tol: float, label: str, unit: str = "deg"
) -> SafeString:
    """``{% pitch_roll_plane spots want pitch_tol roll_tol "Pitch and roll" unit %}``.

    Spots are (roll_deg, pitch_deg, u_roll_deg, u_pitch_deg, verdict), oldest first.
    """
    rows = [Spot(*spot) for spot in spots]
    return draw_plane(rows, want=want, pitch_tol=pitch_tol, roll_tol=roll_tol, label=label, unit=unit or "deg")


@register.simple_tag
def vial_line(
    points: Iterable[Sequence[float]], curve: Iterable[Sequence[float]], direction: str, label: str, unit: str = "deg"
) -> SafeString:
    """``{% vial_line points curve "along" "Angle against place" unit %}``; put a table beside it.

    Points and curve are (place in lines, angle_deg, u_deg).
    """
    rows, line = ([(float(a), float(b), float(c)) for a, b, c in each] for each in (points, curve))
    return draw_vial_line(rows, curve=line, ends=VIAL_ENDS[direction], label=label, unit=unit or "deg")


@register.simple_tag
def vial_strip_drawing(direction: str, label: str, **lengths: float) -> SafeString:
    """``{% vial_strip_drawing "along" label reach_lines=2 spacing_mm=5 … %}``; lengths as in draw_strip."""
    return draw_strip(ends=VIAL_ENDS[direction], label=label, **lengths)


@register.simple_tag
def ruler_50mm(label: str) -> SafeString:
    """``{% ruler_50mm "A bar of 50 mm" %}``."""
    return draw_ruler(label)


def _date(when: date | datetime) -> date:
    """The day in the time zone that is active."""
    return localtime(when).date() if isinstance(when, datetime) else when
