"""The cabinet from above, player at the bottom: four feet, the big figures outside, the end to lift framed.

6 1/2  (RL)=======(RR)  8 1/4      screen: x to the right, y down, so the rear is at the top
 out      |  head  |     out       an arc around a foot shows which way it turns, seen from above
          |        |
          |  \\  /  |
       (FL)=======(FR)
            player
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from collection.figures.svg import EMPTY, element, picture
from collection.templatetags.units import DASH, LEGS, leg_name, length_text, out_in, turn_words, turns

_FEET = {"FL": (125, 250), "FR": (233, 250), "RL": (125, 62), "RR": (233, 62)}
_RADIUS = 19
_U_EXPOSURE_MM = 2.0  # a stem is read with a ruler: whole millimetres
_ARC = 26
_LIFTS = {"rear": (88, 29, 182, 66), "front": (88, 217, 182, 66), "all": (88, 29, 182, 254)}
_LIFT_WORDS_Y = {"rear": 21, "front": 299, "all": 21}
_LIFT_WORDS = {"rear": "lift this end", "front": "lift this end", "all": "lift all four"}


@dataclass(frozen=True)
class Foot:
    """What stands beside one foot: a big figure, a small word, and the way it turns (1 out, -1 in, 0 not)."""

    leg: str
    big: str = ""
    small: str = ""
    way: int = 0
    words: str = ""


def turn_feet(turns_of_legs: Sequence[float], legs: Sequence[str] = LEGS) -> list[Foot]:
    """Feet for a leg plan, from four turns (out positive) in leg order; only ``legs`` belong to this lift."""
    feet = []
    for leg, turn in zip(LEGS, turns_of_legs, strict=True):
        if leg in legs and turn:
            way = 1 if turn > 0 else -1
            feet.append(Foot(leg, turns(turn), out_in(turn), way, turn_words(turn)))
        else:
            feet.append(Foot(leg, words="leave as it is"))
    return feet


def exposure_feet(exposures_mm: Sequence[float | None], travels_mm: Sequence[float], unit: str = "mm") -> list[Foot]:
    """Feet that show how far each leveler is out, of its travel, in leg order; None where nobody measured."""
    feet = []
    for leg, exposure, travel in zip(LEGS, exposures_mm, travels_mm, strict=True):
        big = "?" if exposure is None else length_text(exposure, _U_EXPOSURE_MM, unit)
        small = f"of {length_text(travel, _U_EXPOSURE_MM, unit)}"
        words = "not measured" if exposure is None else f"{big} {small}"
        feet.append(Foot(leg, big, small, 0, words))
    return feet


def draw_cabinet(
    feet: Sequence[Foot], *, lift: str = "", fall: tuple[float, float] | None = None, caption: str = ""
) -> SafeString:
    """The whole figure. ``lift`` is "", "rear", "front" or "all"; ``fall`` is (gx, gy) of the playfield or floor."""
    told = "; ".join(f"{leg_name(foot.leg)} {foot.words or foot.big or DASH}" for foot in feet)
    label = f"{caption or 'Cabinet from above'}, player at the bottom: {told}"
    parts = [_frame(), _lift(lift), _fall(fall), *(_foot(foot) for foot in feet), _player(lift)]
    top = 8 if lift in ("rear", "all") else 38
    bottom = {"front": 328, "all": 312}.get(lift, 288)
    return picture(label, *parts, class_="cabinet", view_box=f"0 {top} 358 {bottom - top}")


def _frame() -> SafeString:
    return element(
        "g",
        element("rect", x=125, y=62, width=108, height=188, rx=5, class_="cabinet-body"),
        element("rect", x=115, y=48, width=128, height=30, rx=4, class_="cabinet-head"),
        element("rect", x=138, y=88, width=82, height=150, rx=4, class_="cabinet-field"),
        element("path", d="M157 208L173 219M201 208L185 219", class_="cabinet-flippers"),
    )


def _player(lift: str) -> SafeString:
    y = {"front": 318, "all": 302}.get(lift, 280)
    return element("text", "player", x=179, y=y, class_="figure-note middle")


def _lift(lift: str) -> SafeString:
    if not lift:
        return EMPTY
    x, y, width, height = _LIFTS[lift]
    return element(
        "g",
        element("rect", x=x, y=y, width=width, height=height, rx=33, class_="lift-frame"),
        element("text", _LIFT_WORDS[lift], x=179, y=_LIFT_WORDS_Y[lift], class_="lift-words middle"),
    )


def _fall(fall: tuple[float, float] | None) -> SafeString:
    """An arrow down the slope, which is the way a ball would roll."""
    if fall is None or not any(fall):
        return EMPTY
    angle = math.degrees(math.atan2(fall[1], -fall[0]))  # screen y points down, so the rear's gradient turns over
    arrow = element("path", d="M-34 0H32M22 -8L33 0L22 8", class_="fall-arrow")
    return element("g", arrow, transform=f"translate(179 148) rotate({angle:.1f})")


def _foot(foot: Foot) -> SafeString:
    x, y = _FEET[foot.leg]
    left = foot.leg in ("FL", "RL")
    text_x = x - 46 if left else x + 46
    side = "end" if left else "start"
    state = "turned" if foot.way else "still"
    return element(
        "g",
        element("circle", cx=x, cy=y, r=_RADIUS, class_=f"foot foot-{state}"),
        element("text", foot.leg, x=x, y=y + 5, class_=f"foot-name foot-name-{state} middle"),
        _arc(x, y, left=left, way=foot.way) if foot.way else EMPTY,
        element("text", foot.big, x=text_x, y=y + 3, class_=f"foot-big {side}") if foot.big else EMPTY,
        element("text", foot.small, x=text_x, y=y + 22, class_=f"foot-small {side}") if foot.small else EMPTY,
    )


def _arc(x: float, y: float, *, left: bool, way: int) -> SafeString:
    """An arrow around the foot's outer side: clockwise seen from above is out."""
    middle = 180 if left else 0
    start, end = middle - 62 * way, middle + 62 * way
    (x1, y1), (x2, y2) = _point(x, y, start), _point(x, y, end)
    curve = f"M{x1:.1f} {y1:.1f}A{_ARC} {_ARC} 0 0 {int(way > 0)} {x2:.1f} {y2:.1f}"
    place = f"translate({x2:.1f} {y2:.1f}) rotate({end + 90 * way})"
    head = element("path", d="M-5 -5L6 0L-5 5Z", transform=place, class_="turn-head")
    return element("g", element("path", d=curve, class_="turn-arc"), head)


def _point(x: float, y: float, angle_deg: float) -> tuple[float, float]:
    angle = math.radians(angle_deg)
    return x + _ARC * math.cos(angle), y + _ARC * math.sin(angle)
