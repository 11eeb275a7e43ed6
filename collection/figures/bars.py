"""The tolerance bar: the spec as a band, the wanted value dotted, the measured value with its 95 % whisker.

|----------[====:====]--*-|      band = wanted +- tolerance, always as wide on every bar, so that
        4 tolerances each way    one look tells how many tolerances off; beyond the ends an arrow points out
"""

from dataclasses import dataclass

from django.utils.safestring import SafeString

from collection.figures.marks import VERDICT_WORDS, kind_of, mark, placed
from collection.figures.svg import EMPTY, element, picture
from collection.templatetags.units import NBSP, NOT_MEASURED, gap_text, length_text, roll_text, slope_text
from leveling.errors import BadInput

#: 95 % of a normal distribution lie within so many standard uncertainties.
K95 = 1.96
_REACH = 4.0  # tolerances from the wanted value to the end of the track
_INSET = 4.0  # per cent of the width kept free at each end, for the arrow
_MIDDLE = 15  # px from the top; the picture is 30 px high


@dataclass(frozen=True)
class Bar:
    """One measured quantity against its spec. ``value`` is None while nothing was measured.

    ``half`` is half of the interval that holds 95 %; None takes the error as normal.
    """

    label: str
    words: str
    spec_words: str
    value: float | None
    u: float | None
    want: float
    tol: float
    verdict: str
    one_sided: bool = False
    half: float | None = None

    def __post_init__(self) -> None:
        if not self.tol > 0:
            raise BadInput("tol", f"is {self.tol}", "Give a tolerance above 0")


def pitch_bar(value: float | None, *, u: float | None, want: float, tol: float, verdict: str, unit: str = "deg") -> Bar:
    """Pitch [degree] against the wanted pitch."""
    words = NOT_MEASURED if value is None else slope_text(value, u, unit)
    spec = f"wanted {slope_text(want, None, unit)} ±{NBSP}{slope_text(tol, None, unit)}"
    return Bar("Pitch", words, spec, value, u, want, tol, verdict)


def roll_bar(value: float | None, *, u: float | None, tol: float, verdict: str, unit: str = "deg") -> Bar:
    """Roll [degree, right side higher positive] against level."""
    spec = f"wanted level ±{NBSP}{slope_text(tol, None, unit)}"
    return Bar("Roll", roll_text(value, u, unit), spec, value, u, 0.0, tol, verdict)


def gap_bar(value: float | None, *, u: float | None, tol: float, verdict: str, foot: str = "", unit: str = "mm") -> Bar:
    """Gap [mm] under the light foot against the largest one allowed."""
    spec = f"at most {length_text(tol, None, unit)}"
    return Bar("Gap", gap_text(value, foot, u, unit), spec, value, u, 0.0, tol, verdict, one_sided=True)


def draw_bar(bar: Bar) -> SafeString:
    """The bar's picture, which stretches with its column."""
    band_left = bar.want if bar.one_sided else bar.want - bar.tol
    left, right = _x(bar, band_left), _x(bar, bar.want + bar.tol)
    parts = [
        element("line", x1="0%", x2="100%", y1=_MIDDLE, y2=_MIDDLE, class_="bar-track"),
        element("rect", x=f"{left:.2f}%", width=f"{right - left:.2f}%", y=5, height=20, rx=3, class_="bar-band"),
        element("line", x1=_at(bar, bar.want), x2=_at(bar, bar.want), y1=2, y2=28, class_="bar-want"),
    ]
    if bar.value is not None:
        dot = placed(_at(bar, bar.value), _MIDDLE, mark(bar.verdict))
        parts += [_whisker(bar, bar.value), _overflow(bar, bar.value), dot]
    return picture(bar_label(bar), *parts, class_="bar-picture", tip=False)


def bar_label(bar: Bar) -> str:
    """The bar in one sentence, for people who do not see it."""
    verdict = f"{VERDICT_WORDS[bar.verdict]}, " if kind_of(bar.verdict) != "none" else ""
    return f"{bar.label}: {bar.words}, {verdict}{bar.spec_words}"


def _whisker(bar: Bar, value: float) -> SafeString:
    if not bar.u:
        return EMPTY
    half = K95 * bar.u if bar.half is None else bar.half
    ends = (_at(bar, value - half), _at(bar, value + half))
    return element("line", x1=ends[0], x2=ends[1], y1=_MIDDLE, y2=_MIDDLE, class_="whisker")


def _overflow(bar: Bar, value: float) -> SafeString:
    """An arrow head beyond the mark when the value lies off the track."""
    side = _side(bar, value)
    if not side:
        return EMPTY
    tip = f"M{side * 11} -6L{side * 17} 0L{side * 11} 6"
    head = element("path", d=tip, class_=f"beyond beyond-{kind_of(bar.verdict)}")
    return placed(_at(bar, value), _MIDDLE, head)


def _side(bar: Bar, value: float) -> int:
    offset = (value - bar.want) / bar.tol
    lowest = 0.0 if bar.one_sided else -_REACH
    return 1 if offset > _REACH else (-1 if offset < lowest - 1e-9 else 0)


def _x(bar: Bar, value: float) -> float:
    """Per cent of the width, kept on the track."""
    offset = (value - bar.want) / bar.tol
    if bar.one_sided:
        share = min(max(offset, 0.0), _REACH) / _REACH
    else:
        share = (min(max(offset, -_REACH), _REACH) / _REACH + 1) / 2
    return _INSET + share * (100 - 2 * _INSET)


def _at(bar: Bar, value: float) -> str:
    return f"{_x(bar, value):.2f}%"
