"""The floor from above, to scale: back wall at the top, bays with their machines, and the way the floor falls.

back wall                        floor: x to the right wall, y to the back wall, mm, from the front left corner
+-------------------------+      screen: y down, so a y on the floor is turned over
|  [1] [2]     -> 5 mm/m  |      heading: where the machine's rear points, degrees clockwise from the back wall
+-------------------------+      the thick end of a machine is the player's; its bay's name stands before it
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from collection.figures.marks import VERDICT_WORDS, mark
from collection.figures.svg import EMPTY, element, picture
from collection.templatetags.units import fall_text, slope_text

_WIDTH = 322.0  # px: a card on a phone of 390 px
_MARGIN, _TOP, _BOTTOM = 9.0, 24.0, 44.0
_MOST_HEIGHT = 380.0
#: px per mm at which a machine can still be told from its neighbour and tapped; a larger floor is scrolled.
_READABLE = 0.023
_MOST = 1600.0
_LETTER = 6.4  # px that a letter of the labels is wide, on average
_OVERHANG = 6.0  # px that a label may be wider than its machine
_LABEL_AWAY = 10.0  # px from the player's end to the middle of the label
_WALL_CLEAR = 9.0  # px between the front wall and the middle of a label, so that the wall does not strike it through
_FALL_EVERY = 52.0  # px between the floor's small arrows


@dataclass(frozen=True)
class BayShape:
    """One bay on the plan: its centre and heading, the machine's outline, and a link to its page.

    ``slope`` is the bay's own, where it was read apart from the floor. ``here`` is the bay that a page is about.
    """

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
    here: bool = False

    @property
    def words(self) -> str:
        """The bay in words: its name, who stands there and how."""
        if not self.title:
            return f"{self.label} empty"
        return f"{self.label} {self.title}" + (f", {VERDICT_WORDS[self.verdict]}" if self.verdict else "")


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
    scale = _scale(width_mm, depth_mm, _READABLE if bays else 0.0)
    across, up = width_mm * scale, depth_mm * scale
    whole = max(_WIDTH, across + 2 * _MARGIN)
    left, bottom = (whole - across) / 2, _TOP + up
    labels = _labels(bays, scale)
    parts = [
        element("rect", x=left, y=_TOP, width=across, height=up, class_="floor-walls"),
        _small_arrows(slope, left, _TOP, across, up),
        element("text", "back wall", x=whole / 2, y=_TOP - 8, class_="figure-note middle"),
        _ruler(scale, max(_MARGIN, min(left, whole - _WIDTH)), bottom + 26),
        _floor_fall(slope, _WIDTH - _MARGIN, bottom + 24, unit),
        *(
            _bay(bay, label, left + bay.x_mm * scale, bottom - bay.y_mm * scale, scale, bottom)
            for bay, label in zip(bays, labels, strict=True)
        ),
    ]
    linked = any(bay.url for bay in bays)
    label = f"{caption} from above, back wall at the top: {_told(bays, slope, unit, linked)}"
    size = (round(whole), round(bottom + _BOTTOM))
    return picture(label, *parts, class_="plan", size=size, role="figure" if linked else "img")


def _scale(width_mm: float, depth_mm: float, least: float) -> float:
    """px per mm: the whole floor on a phone if that can be read, else so large that it can."""
    fits = min((_WIDTH - 2 * _MARGIN) / width_mm, _MOST_HEIGHT / depth_mm)
    return min(max(fits, least), _MOST / max(width_mm, depth_mm))


def _told(bays: Sequence[BayShape], slope: tuple[float, float] | None, unit: str, linked: bool) -> str:
    """The plan in words. Links tell their bays themselves, so that nobody hears them twice."""
    words = [f"floor {fall_text(*slope, 'plan', unit)}"] if slope else []
    if linked:
        words.append(f"{len(bays)} bay{'s' if len(bays) != 1 else ''}")
    else:
        words += [bay.words for bay in bays]
    return "; ".join(words) or "no bays yet"


def _bay(bay: BayShape, label: str, x: float, y: float, scale: float, bottom: float) -> SafeString:
    """The machine's outline, along its axis from the rear: the arrow down the slope, the verdict, and the label."""
    width, depth = bay.body_width_mm * scale, bay.body_depth_mm * scale
    turned = element(
        "g",
        element("rect", x=-width / 2, y=-depth / 2, width=width, height=depth, rx=2, class_=_bay_class(bay)),
        element("path", d=f"M{-width / 2:.1f} {depth / 2:.1f}H{width / 2:.1f}", class_="bay-player"),
        transform=f"rotate({bay.heading_deg:g})",
    )
    away_x, away_y = _along(bay, depth / 2 + _LABEL_AWAY)
    if abs(y + away_y - bottom) < _WALL_CLEAR:
        away_y = bottom + _WALL_CLEAR - y
    shown = [
        (_along(bay, -0.28 * depth), _bay_fall(bay.slope, width)),
        (_along(bay, 0.13 * depth), mark(bay.verdict, size=min(max(170 * scale, 3.5), 7))),
        ((away_x, away_y), element("text", label, y=4, class_="bay-label middle")),
    ]
    slots = (element("g", part, transform=f"translate({at[0]:.1f} {at[1]:.1f})") for at, part in shown if part)
    body = element("g", turned, *slots, transform=f"translate({x:.1f} {y:.1f})")
    if not bay.url:
        return body
    return element("a", element("title", bay.words), body, href=bay.url, class_="bay-link")


def _labels(bays: Sequence[BayShape], scale: float) -> list[str]:
    """What stands before each machine; "" where only a beginning fits that others have too, such as "Ba"."""
    labels = [_fitted(bay.label, bay.body_width_mm * scale) for bay in bays]
    alike = Counter(labels)
    whole = [bay.label == label or bay.label.split()[-1:] == [label] for bay, label in zip(bays, labels, strict=True)]
    return [label if told or alike[label] == 1 else "" for label, told in zip(labels, whole, strict=True)]


def _fitted(label: str, width: float) -> str:
    """As much of the label as fits before the machine: all, its last word ("Bay 2": 2), or its beginning."""
    last = label.rsplit(maxsplit=1)[-1] if label.strip() else ""
    most = max(1, int((width + _OVERHANG) / _LETTER))
    return next((text for text in (label, last) if len(text) <= most), label[:most].rstrip())


def _bay_class(bay: BayShape) -> str:
    return f"bay bay-{'used' if bay.title else 'free'}{' bay-here' if bay.here else ''}"


def _along(bay: BayShape, px: float) -> tuple[float, float]:
    """A place on the machine's axis, from its middle toward the player, on the screen."""
    heading = math.radians(bay.heading_deg)
    return -px * math.sin(heading), px * math.cos(heading)


def _bay_fall(slope: tuple[float, float] | None, width: float) -> SafeString:
    """The way down on this bay, no longer than the machine is wide."""
    if slope is None or not any(slope):
        return EMPTY
    arrow = element("path", d="M-6 0H5M1.5 -3.5L5.5 0L1.5 3.5", class_="bay-fall")
    size = min(max(width / 15, 0.7), 1.6)
    return element("g", arrow, transform=f"scale({size:.2f}) rotate({_downhill_deg(slope):.1f})")


def _small_arrows(
    slope: tuple[float, float] | None, left: float, top: float, width: float, height: float
) -> SafeString:
    """Faint arrows all over the floor, each the way a ball would roll; one path, so that they cost nothing."""
    if slope is None or not any(slope):
        return EMPTY
    angle = math.radians(_downhill_deg(slope))
    columns, rows = max(1, int(width // _FALL_EVERY)), max(1, int(height // _FALL_EVERY))
    places = [
        (left + width * (column + 0.5) / columns, top + height * (row + 0.5) / rows)
        for column in range(columns)
        for row in range(rows)
    ]
    return element("path", d="".join(_small_arrow(x, y, angle) for x, y in places), class_="floor-fall")


def _small_arrow(x: float, y: float, angle: float) -> str:
    """A tail, and a head of two strokes, turned about (x, y)."""
    cos, sin = math.cos(angle), math.sin(angle)
    shape = ((-7, 0), (6, 0), (2.5, -3.2), (6.5, 0), (2.5, 3.2))
    tail, tip, one, end, other = (f"{x + a * cos - b * sin:.1f} {y + a * sin + b * cos:.1f}" for a, b in shape)
    return f"M{tail}L{tip}M{one}L{end}L{other}"


def _floor_fall(slope: tuple[float, float] | None, right: float, y: float, unit: str) -> SafeString:
    """The way the floor falls and how much, outside the walls where no machine hides it."""
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
    """One metre, or ten on a large floor."""
    metres = 1 if 1000 * scale >= 12 else 10
    end = left + 1000 * metres * scale
    return element(
        "g",
        element("path", d=f"M{left:.1f} {y - 4:.1f}V{y:.1f}H{end:.1f}V{y - 4:.1f}", class_="ruler"),
        element("text", f"{metres} m", x=end + 8, y=y + 3, class_="figure-note"),
    )
