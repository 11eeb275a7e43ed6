"""The floor from above, to scale: back wall at the top, bays with their machines, and the way the floor falls.

back wall                        floor: x to the right wall, y to the back wall, mm, from the front left corner
+-------------------------+      screen: y down, so a y on the floor is turned over
|  [1] [2]     -> 5 mm/m  |      heading: where the machine's rear points, degrees clockwise from the back wall
+-------------------------+
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from collection.figures.marks import mark
from collection.figures.svg import EMPTY, element, picture
from collection.templatetags.units import fall_text, slope_text

_WIDTH = 358.0
_MARGIN = 22.0
_MOST_HEIGHT = 460.0
_LETTER = 6.8  # px that a letter of the labels is wide, on average
_OVERHANG = 4.0  # px that a label may stand over its machine


@dataclass(frozen=True)
class BayShape:
    """One bay on the plan: its centre and heading, the machine's outline, and a link to its page."""

    label: str
    x_mm: float
    y_mm: float
    heading_deg: float
    title: str = ""
    verdict: str | None = None
    url: str = ""
    body_width_mm: float = 610.0
    body_depth_mm: float = 1310.0
    slope: tuple[float, float] | None = None


def draw_floor(
    *,
    width_mm: float,
    depth_mm: float,
    bays: Sequence[BayShape] = (),
    slope: tuple[float, float] | None = None,
    caption: str = "Floor",
    unit: str = "mm_per_m",
) -> SafeString:
    """The plan to scale. ``slope`` is the floor's (gx, gy); bays with a url are links."""
    scale = min((_WIDTH - 2 * _MARGIN) / width_mm, (_MOST_HEIGHT - 2 * _MARGIN) / depth_mm)
    left, top = (_WIDTH - width_mm * scale) / 2, _MARGIN
    bottom = top + depth_mm * scale
    walls = element("rect", x=left, y=top, width=width_mm * scale, height=bottom - top, class_="floor-walls")
    names = [
        element("text", "back wall", x=_WIDTH / 2, y=top - 7, class_="figure-note middle"),
        _ruler(scale, left, bottom + 24),
    ]
    shapes = [_bay(bay, left + bay.x_mm * scale, bottom - bay.y_mm * scale, scale) for bay in bays]
    fall = _floor_fall(slope, left + width_mm * scale, bottom + 22, unit)
    label = f"{caption} from above, back wall at the top: {_told(bays, slope, unit)}"
    role = "group" if any(bay.url for bay in bays) else "img"
    box = f"0 0 {_WIDTH:g} {bottom + 42:.0f}"
    return picture(label, walls, fall, *shapes, *names, class_="plan", view_box=box, role=role)


def _told(bays: Sequence[BayShape], slope: tuple[float, float] | None, unit: str) -> str:
    gx, gy = slope or (None, None)
    words = [f"floor {fall_text(gx, gy, 'plan', unit)}"] if slope else []
    words += [f"{bay.label} {bay.title or 'empty'}" for bay in bays]
    return "; ".join(words) or "no bays yet"


def _bay(bay: BayShape, x: float, y: float, scale: float) -> SafeString:
    """The machine's outline, and along its axis from the rear: the arrow down the slope, the label, the verdict."""
    width, depth = bay.body_width_mm * scale, bay.body_depth_mm * scale
    turned = element(
        "g",
        element("rect", x=-width / 2, y=-depth / 2, width=width, height=depth, rx=2, class_=_bay_class(bay)),
        element("path", d=f"M{-width / 2:.1f} {depth / 2:.1f}H{width / 2:.1f}", class_="bay-player"),
        transform=f"rotate({bay.heading_deg:g})",
    )
    shown = [(0.0, element("text", _fitted(bay.label, width), y=4, class_="bay-label middle"))]
    if bay.slope is not None and any(bay.slope):
        arrow = element("path", d="M-8 0H7M2 -4.5L7.5 0L2 4.5", class_="bay-fall")
        shown.append((-0.3, element("g", arrow, transform=f"rotate({_downhill_deg(bay.slope):.1f})")))
    shown.append((0.3, mark(bay.verdict, size=4.5)))
    slots = (element("g", part, transform=_slot(bay, share * depth)) for share, part in shown if part)
    body = element("g", turned, *slots, transform=f"translate({x:.1f} {y:.1f})")
    if not bay.url:
        return body
    return element("a", element("title", f"{bay.label} {bay.title or 'empty'}"), body, href=bay.url, class_="bay-link")


def _fitted(label: str, width: float) -> str:
    """As much of the label as fits on the machine: all of it, its last word ("Bay 2": 2), or its beginning."""
    last = label.rsplit(maxsplit=1)[-1] if label.strip() else ""
    most = max(1, int((width + _OVERHANG) / _LETTER))
    return next((text for text in (label, last) if len(text) <= most), label[:most].rstrip())


def _bay_class(bay: BayShape) -> str:
    return f"bay bay-{'used' if bay.title else 'free'}"


def _slot(bay: BayShape, along: float) -> str:
    """A place on the machine's axis, upright again; ``along`` runs from the middle to the player."""
    heading = math.radians(bay.heading_deg)
    return f"translate({-along * math.sin(heading):.1f} {along * math.cos(heading):.1f})"


def _floor_fall(slope: tuple[float, float] | None, right: float, y: float, unit: str) -> SafeString:
    """The way the floor falls, outside the walls where no machine hides it."""
    if slope is None or not any(slope):
        return EMPTY
    size = slope_text(math.degrees(math.atan(math.hypot(*slope))), None, unit)
    arrow = element("path", d="M-10 0H9M3 -6L9.5 0L3 6", class_="fall-arrow")
    turned = element("g", arrow, transform=f"rotate({_downhill_deg(slope):.1f})")
    ring = element("circle", r=15, class_="fall-ring")
    words = element("text", f"falls {size}", x=-22, y=5, class_="fall-words end")
    return element("g", ring, turned, words, transform=f"translate({right - 15:.1f} {y:.1f})")


def _downhill_deg(slope: tuple[float, float]) -> float:
    """Screen angle of the way down: x runs with the plan, y is turned over."""
    return math.degrees(math.atan2(slope[1], -slope[0]))


def _ruler(scale: float, left: float, y: float) -> SafeString:
    end = left + 1000 * scale
    return element(
        "g",
        element("path", d=f"M{left:.1f} {y - 4:.1f}V{y:.1f}H{end:.1f}V{y - 4:.1f}", class_="ruler"),
        element("text", "1 m", x=end + 8, y=y + 3, class_="figure-note"),
    )
