"""Show numbers in words and figures. Nothing here is computed for the record: rounding and units only.

Every filter answers None with a dash or with words, so that a page never shows "None".
The pure functions are also called from Python, by ``collection.figures``.
"""

import math
import re
from datetime import date, datetime
from fractions import Fraction

from django import template
from django.utils.dateformat import format as format_date

from leveling.units import length_in, slope_in

register = template.Library()

NBSP = "\u00a0"
MINUS = "\u2212"
DASH = "\u2013"
NOT_MEASURED = "not measured"

#: Most digits after the point that a page shows: 0.01 degree and 0.1 mm are already finer than a hand-held level.
_SLOPES = {
    "deg": ("°", 2),
    "mm_per_m": (f"{NBSP}mm/m", 1),
    "in_per_ft": (f"{NBSP}in/ft", 3),
    "percent": (f"{NBSP}%", 2),
}
_LENGTHS = {"mm": (f"{NBSP}mm", 1), "in": (f"{NBSP}in", 3)}
_LEG_NAMES = {"FL": "front left", "FR": "front right", "RL": "rear left", "RR": "rear right"}
LEGS = tuple(_LEG_NAMES)
_LEG_TURNS = re.compile(r"\b(?:FL|FR|RL|RR) (?:out|in)(?: [0-9]+)?(?: [¼-¾⅓-⅞])?")
_FRACTIONS = {
    Fraction(1, 8): "⅛", Fraction(1, 6): "⅙", Fraction(1, 4): "¼", Fraction(1, 3): "⅓", Fraction(3, 8): "⅜",
    Fraction(1, 2): "½", Fraction(5, 8): "⅝", Fraction(2, 3): "⅔", Fraction(3, 4): "¾", Fraction(5, 6): "⅚",
    Fraction(7, 8): "⅞",
}  # fmt: skip
_DIRECTIONS = {
    "machine": ("right", "rear right", "rear", "rear left", "left", "front left", "front", "front right"),
    "plan": (
        "right wall", "back right corner", "back wall", "back left corner",
        "left wall", "front left corner", "front wall", "front right corner",
    ),
}  # fmt: skip


def given(value: float | str | None) -> float | None:
    """The number, or None where a page has none: the empty text is what a template makes of a missing name."""
    return None if value is None or value == "" else float(value)


def decimals(u: float | None, most: int) -> int:
    """Digits after the point that an uncertainty carries: the last digit steps by at most half of ``u``."""
    if u is None or not u > 0:
        return most
    return min(most, max(0, math.ceil(-math.log10(u / 2) - 1e-9)))


def number(value: float, digits: int) -> str:
    """A number with a real minus sign, and no minus before zero."""
    text = f"{value:.{digits}f}"
    if not text.strip("-0."):
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def is_nil(text: str) -> bool:
    """Whether a number, as it is shown, is zero."""
    return not any(digit in text for digit in "123456789")


def slope_text(value_deg: float | None, u_deg: float | None = None, unit: str = "deg") -> str:
    """A slope in the unit someone wants to see, with no more digits than its uncertainty carries."""
    value, u = given(value_deg), given(u_deg)
    if value is None:
        return DASH
    sign, most = _SLOPES[unit]
    digits = most if u is None else decimals(float(slope_in(u, unit)), most)
    return number(float(slope_in(value, unit)), digits) + sign


def length_text(value_mm: float | None, u_mm: float | None = None, unit: str = "mm") -> str:
    """A length in mm or inches; 100 mm or more without a decimal unless the uncertainty carries it."""
    value, u = given(value_mm), given(u_mm)
    if value is None:
        return DASH
    sign, most = _LENGTHS[unit]
    if u is None and abs(value) >= 100:
        most -= 1
    digits = most if u is None else decimals(float(length_in(u, unit)), most)
    return number(float(length_in(value, unit)), digits) + sign


def roll_text(roll_deg: float | None, u_deg: float | None = None, unit: str = "deg") -> str:
    """Roll in words: which side is high and by how much. Stored positive means the right side is higher."""
    roll = given(roll_deg)
    if roll is None:
        return NOT_MEASURED
    size = slope_text(abs(roll), u_deg, unit)
    return "level" if is_nil(size) else f"{'right' if roll > 0 else 'left'} high{NBSP}{size}"


def gap_text(gap_mm: float | None, foot: str = "", u_mm: float | None = None, unit: str = "mm") -> str:
    """The gap under the light foot, which it names."""
    gap = given(gap_mm)
    if gap is None:
        return NOT_MEASURED
    size = length_text(gap, u_mm, unit)
    if is_nil(size):
        return "all feet bear"
    return f"{size} under{NBSP}{foot}" if foot else f"{size} gap"


def fall_text(gx: float | None, gy: float | None, frame: str = "machine", unit: str = "mm_per_m") -> str:
    """A floor's fall in words from its gradients: right and rear, or right wall and back wall, higher is positive."""
    across, along = given(gx), given(gy)
    if across is None or along is None:
        return NOT_MEASURED
    size = slope_text(math.degrees(math.atan(math.hypot(across, along))), None, unit)
    if is_nil(size):
        return "level"
    eighth = round(math.atan2(-along, -across) / (math.pi / 4)) % 8
    return f"falls {size} toward the {_DIRECTIONS[frame][eighth]}"


def zero_text(zero_deg: float | None, u_deg: float | None = None, unit: str = "deg") -> str:
    """A level's zero error in words: what it shows on a level surface, and which of its ends then seems high."""
    zero = given(zero_deg)
    if zero is None:
        return "never checked"
    if abs(zero) <= float(u_deg or 0):
        return "none to tell"
    return f"{slope_text(abs(zero), u_deg, unit)}, {'marked' if zero > 0 else 'other'}{NBSP}end high"


@register.filter
def degrees(value_deg: float | None, u_deg: float | None = None) -> str:
    """``{{ pitch_deg|degrees:u_deg }}``: 6.5 with u 0.3 reads "6.5°"."""
    return slope_text(value_deg, u_deg)


@register.filter
def roll_words(roll_deg: float | None, u_deg: float | None = None) -> str:
    """``{{ roll_deg|roll_words:u_deg }}``: 0.24 reads "right high 0.24°"."""
    return roll_text(roll_deg, u_deg)


@register.simple_tag
def show_rise(gradient: float | None, ends: str, unit: str = "mm_per_m") -> str:
    """``{% show_rise gx "left right" %}``: 0.0054 reads "right high 5.4 mm/m"; the second end is the positive one."""
    value = given(gradient)
    if value is None:
        return NOT_MEASURED
    lower, upper = ends.split()
    size = slope_text(abs(math.degrees(math.atan(value))), None, unit)
    return "level" if is_nil(size) else f"{upper if value > 0 else lower} high {size}"


@register.filter
def gap_under(gap_mm: float | None, foot: str = "") -> str:
    """``{{ gap_mm|gap_under:"FR" }}`` reads "0.6 mm under FR"."""
    return gap_text(gap_mm, foot)


@register.filter
def mm(value_mm: float | None, u_mm: float | None = None) -> str:
    """``{{ lead_mm|mm }}``: a length in millimetres."""
    return length_text(value_mm, u_mm)


@register.filter
def turns(value: float | None) -> str:
    """``{{ n|turns }}``: 6.75 reads "6 ¾". The direction is told apart, by ``out_in``."""
    exact = given(value)
    if exact is None:
        return DASH
    size = abs(Fraction(exact).limit_denominator(24))
    whole, part = divmod(size, 1)
    if abs(float(size) - abs(exact)) > 1e-6 or (part and part not in _FRACTIONS):
        return number(abs(exact), 2)
    return NBSP.join(word for word in (str(whole) if whole or not part else "", _FRACTIONS.get(part, "")) if word)


@register.filter
def out_in(value: float | None) -> str:
    """``{{ n|out_in }}``: "out" lengthens the leg, "in" shortens it, "leave" turns nothing."""
    way = given(value)
    return "leave" if not way else ("out" if way > 0 else "in")


@register.filter
def turn_words(value: float | None) -> str:
    """``{{ n|turn_words }}``: "out 6 ½ turns", "in ¼ turn", "leave as it is"."""
    count = given(value)
    if not count:
        return "leave as it is"
    return f"{out_in(count)}{NBSP}{turns(count)}{NBSP}{'turns' if abs(count) > 1 else 'turn'}"


@register.filter
def step_words(step: str) -> str:
    """A next step as a sentence, no line break inside a leg's turns: "1 lift · front: FL out 1 ½"."""
    kept = _LEG_TURNS.sub(lambda found: found.group().replace(" ", NBSP), step)
    return kept[:1].upper() + kept[1:]


@register.filter
def leg_name(leg: str) -> str:
    """``{{ "RL"|leg_name }}`` reads "rear left"."""
    return _LEG_NAMES[leg]


@register.filter
def chance(probability: float | None) -> str:
    """``{{ p|chance }}``: a chance in whole per cent, never 0 or 100."""
    share = given(probability)
    if share is None:
        return "not known"
    if share < 0.01:
        return f"under 1{NBSP}%"
    if share > 0.99:
        return f"over 99{NBSP}%"
    return f"{share * 100:.0f}{NBSP}%"


@register.filter(expects_localtime=True)
def day(when: date | datetime | None) -> str:
    """``{{ measured_at|day }}`` reads "Tue 24 Nov 2026", in the time zone that is active."""
    return format_date(when, "D j M Y").replace(" ", NBSP) if when else DASH


@register.simple_tag
def show_slope(value_deg: float | None, u_deg: float | None = None, unit: str = "deg") -> str:
    """``{% show_slope value_deg u_deg unit %}`` with unit deg, mm_per_m, in_per_ft or percent."""
    return slope_text(value_deg, u_deg, unit)


@register.simple_tag
def show_roll(roll_deg: float | None, u_deg: float | None = None, unit: str = "deg") -> str:
    """``{% show_roll roll_deg u_deg unit %}``."""
    return roll_text(roll_deg, u_deg, unit)


@register.simple_tag
def show_length(value_mm: float | None, u_mm: float | None = None, unit: str = "mm") -> str:
    """``{% show_length value_mm u_mm unit %}`` with unit mm or in."""
    return length_text(value_mm, u_mm, unit)


@register.simple_tag
def show_gap(gap_mm: float | None, foot: str = "", u_mm: float | None = None, unit: str = "mm") -> str:
    """``{% show_gap gap_mm foot u_mm unit %}``."""
    return gap_text(gap_mm, foot, u_mm, unit)


@register.simple_tag
def show_fall(gx: float | None, gy: float | None, frame: str = "machine", unit: str = "mm_per_m") -> str:
    """``{% show_fall gx gy "machine" %}`` reads "falls 5.4 mm/m toward the front left"; frame machine or plan."""
    return fall_text(gx, gy, frame, unit)


@register.simple_tag
def show_zero(zero_deg: float | None, u_deg: float | None = None, unit: str = "deg") -> str:
    """``{% show_zero zero_deg u_deg unit %}`` reads "0.10°, marked end high", "none to tell" or "never checked"."""
    return zero_text(zero_deg, u_deg, unit)
