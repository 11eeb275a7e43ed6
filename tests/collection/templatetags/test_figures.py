"""Figures are right where they point: positions follow the numbers, shapes follow the verdict, words tell it all."""

import math
import re
from datetime import date
from typing import Any
from xml.etree.ElementTree import Element

import pytest
from django.template import Context, Template

from collection.figures import bars, marks, svg
from collection.templatetags import figures
from leveling.errors import BadInput
from tests.collection.templatetags.drawing import of_class, per_cent, tree

PITCH = {"u": 0.06, "want": 6.5, "tol": 0.2}


def bar(value: float | None, verdict: str = "in", **given: Any) -> Element:
    return tree(bars.draw_bar(bars.pitch_bar(value, verdict=verdict, **{**PITCH, **given})))


def mark_at(root: Element) -> float:
    """Where the verdict's mark stands, in per cent of the width."""
    holders = [node for node in of_class(root, "placed") if of_class(node, "mark")]
    assert len(holders) == 1
    return per_cent(holders[0].attrib["x"])


# --- markup ------------------------------------------------------------------------


def test_everything_is_escaped() -> None:
    drawn = svg.picture('<b>"x"</b>', svg.element("text", "<script>", x='1" onload="y'), class_="c")
    assert "<script>" not in drawn
    assert '" onload="' not in drawn
    assert tree(drawn).attrib["aria-label"] == '<b>"x"</b>'


def test_a_title_typed_by_someone_cannot_break_the_plan() -> None:
    bay = {"label": "1", "x_mm": 1000, "y_mm": 1000, "heading_deg": 0, "title": "<img src=x>", "url": '/a"b'}
    drawn = figures.floor_plan(8000, 6000, [bay])
    assert "<img" not in drawn
    assert tree(drawn).attrib["role"] == "figure"


def every_figure() -> dict[str, str]:
    bay = {"label": "1", "x_mm": 1000, "y_mm": 1000, "heading_deg": 30, "title": "Tin Kettle", "verdict": "out"}
    points = [(date(2026, 1, 8), 6.5, 0.06, "in"), (date(2026, 6, 8), 6.1, 0.06, "out")]
    return {
        "bar": bars.draw_bar(bars.pitch_bar(5.9, verdict="out", **PITCH)),
        "turns": figures.cabinet_turns([-2, 0, 6.5, 8.25], lift="rear", legs="RL RR"),
        "exposure": figures.cabinet_exposure([8, 6, 21, None], [41, 41, 66, 66], "in", (0.01, 0.02)),
        "floor": figures.floor_plan(8000, 6000, [{**bay, "slope": (0.004, -0.003)}], (0.004, -0.003)),
        "history": figures.history_chart(points, 6.5, 0.2, "Pitch", [(date(2026, 3, 1), "re-levelled")]),
        "plane": figures.pitch_roll_plane([(0.02, 6.5, 0.07, 0.06, "in")], 6.5, 0.2, 0.15, "Pitch and roll"),
    }


@pytest.mark.parametrize(("name", "drawn"), every_figure().items())
def test_every_figure_has_a_text_alternative_and_no_style_of_its_own(name: str, drawn: str) -> None:
    root = tree(drawn)
    assert root.attrib["role"] == "img"
    assert len(root.attrib["aria-label"]) > 3, name
    titles = [title.text for title in root.findall("title")]
    assert titles == ([] if name == "bar" else [root.attrib["aria-label"]])  # a bar's words stand beside it
    for node in root.iter():
        assert node.tag not in ("style", "script")
        assert not {"style", "fill", "stroke", "id"} & node.attrib.keys(), "colours come from classes; ids may repeat"
        assert not re.search(r"\bnan\b|\binf\b|None|e-\d", str(node.attrib)), node.attrib


# --- the tolerance bar -----------------------------------------------------------------


def test_the_wanted_value_stands_in_the_middle_of_its_band() -> None:
    root = bar(6.5)
    band = of_class(root, "bar-band")[0]
    left, width = per_cent(band.attrib["x"]), per_cent(band.attrib["width"])
    assert mark_at(root) == pytest.approx(50.0)
    assert left + width / 2 == pytest.approx(50.0)
    assert per_cent(of_class(root, "bar-want")[0].attrib["x1"]) == pytest.approx(50.0)


@pytest.mark.parametrize(("value", "edge"), [(6.3, 0.0), (6.7, 1.0)])
def test_a_value_at_the_limit_stands_on_the_edge_of_the_band(value: float, edge: float) -> None:
    root = bar(value)
    band = of_class(root, "bar-band")[0]
    at = per_cent(band.attrib["x"]) + edge * per_cent(band.attrib["width"])
    assert mark_at(root) == pytest.approx(at, abs=0.02)


def test_higher_values_stand_further_right() -> None:
    places = [mark_at(bar(value)) for value in (5.9, 6.2, 6.5, 6.8, 7.1)]
    assert places == sorted(places)
    assert places[2] - places[0] == pytest.approx(places[4] - places[2], abs=0.02)  # the scale is the same both ways


def test_the_band_is_as_wide_on_every_bar() -> None:
    """Whatever the tolerance, so that the eye reads tolerances; and on the gap's bar too."""
    one, other = bar(6.5, tol=0.1), bar(6.5, tol=1.0)
    gap = tree(bars.draw_bar(bars.gap_bar(0.2, u=0.1, tol=0.5, verdict="in")))
    widths = {of_class(root, "bar-band")[0].attrib["width"] for root in (one, other, gap)}
    assert len(widths) == 1


def test_the_whisker_reaches_two_sided_95_per_cent() -> None:
    """1.96 standard uncertainties: quantile 0.975 of the normal distribution, JCGM 100:2008, table G.1."""
    root = bar(6.5, u=0.1)
    whisker = of_class(root, "whisker")[0]
    ends = per_cent(whisker.attrib["x1"]), per_cent(whisker.attrib["x2"])
    band = per_cent(of_class(root, "bar-band")[0].attrib["width"])
    assert (ends[1] - ends[0]) / band == pytest.approx(1.96 * 0.1 / 0.2, rel=1e-3)


def test_the_whisker_is_as_long_as_the_interval_where_its_error_is_not_normal() -> None:
    """A stated limit a is an even error: u = a/sqrt(3), and 95 % lie within 0.95 a, that is 1.65 u, not 1.96 u."""
    words = Template('{% pitch_bar 6.5 0.1 6.5 0.2 "in" "deg" False 0.165 %}').render(Context())
    drawn = re.search(r"<svg[^>]*bar-picture.*</svg>", words, re.DOTALL)
    assert drawn
    root = tree(drawn.group())
    whisker = of_class(root, "whisker")[0]
    ends = per_cent(whisker.attrib["x1"]), per_cent(whisker.attrib["x2"])
    band = per_cent(of_class(root, "bar-band")[0].attrib["width"])
    assert (ends[1] - ends[0]) / band == pytest.approx(0.165 / 0.2, rel=1e-3)


def test_without_an_uncertainty_there_is_no_whisker() -> None:
    assert of_class(bar(6.5, u=None), "whisker") == []


@pytest.mark.parametrize(("value", "sign"), [(5.0, -1), (8.0, 1)])
def test_a_value_beyond_the_bar_shows_an_arrow_that_points_out(value: float, sign: int) -> None:
    root = bar(value, "out")
    assert 0 < mark_at(root) < 100
    head = of_class(root, "beyond-out")[0]
    tip = re.findall(r"L(-?\d+) 0", head.attrib["d"])
    assert math.copysign(1, int(tip[0])) == sign


def test_a_value_on_the_bar_shows_no_arrow() -> None:
    for value in (5.7, 6.5, 7.3):  # four tolerances each way are still on it
        assert of_class(bar(value, "out"), "beyond") == []


def test_a_gap_begins_at_the_left_and_grows_to_the_right() -> None:
    def drawn(gap_mm: float) -> Element:
        return tree(bars.draw_bar(bars.gap_bar(gap_mm, u=0.0, tol=0.5, verdict="in", foot="FR")))

    nothing, limit = drawn(0.0), drawn(0.5)
    band = of_class(nothing, "bar-band")[0]
    assert mark_at(nothing) == per_cent(band.attrib["x"])
    assert mark_at(limit) == pytest.approx(per_cent(band.attrib["x"]) + per_cent(band.attrib["width"]), abs=0.02)
    assert of_class(nothing, "beyond") == []


def test_a_bar_without_a_value_shows_the_spec_and_says_so() -> None:
    root = bar(None, "never")
    assert of_class(root, "mark") == []
    assert of_class(root, "bar-band")
    assert "not measured" in root.attrib["aria-label"]


def test_the_bar_tells_its_numbers_in_words() -> None:
    label = bar(5.92, "out").attrib["aria-label"].replace("\u00a0", " ")
    assert label == "Pitch: 5.92°, out of spec, wanted 6.50° ± 0.20°"
    roll = bars.roll_bar(-0.31, u=0.07, tol=0.15, verdict="out")
    assert bars.bar_label(roll).replace("\u00a0", " ") == "Roll: left high 0.31°, out of spec, wanted level ± 0.15°"


def test_a_tolerance_of_zero_is_refused() -> None:
    with pytest.raises(BadInput, match="tol"):
        bars.pitch_bar(6.5, u=0.1, want=6.5, tol=0, verdict="in")


def test_each_verdict_has_its_own_shape() -> None:
    """Shape alone must tell: a dot is filled, a ring is not (figures.css), a diamond is no circle."""
    shapes = {code: (tree(drawn).tag, tree(drawn).get("class")) for code in ("in", "out", "borderline")
              for drawn in [marks.mark(code)]}  # fmt: skip
    assert shapes["in"] == ("circle", "mark mark-in")
    assert shapes["borderline"] == ("circle", "mark mark-open")
    assert shapes["out"] == ("path", "mark mark-out")
    assert not marks.mark("never")
    assert marks.mark("proven_in") == marks.mark("in")
    assert marks.mark("proven_out") == marks.mark("out")
    assert marks.mark("not_proven") == marks.mark("borderline")


def test_every_verdict_has_words_and_a_look() -> None:
    for code, words in marks.VERDICT_WORDS.items():
        assert words == figures.verdict_words(code)
        assert marks.kind_of(code) in ("in", "out", "open", "none")
    assert figures.verdict_words(None) == "not measured"
    with pytest.raises(KeyError):
        figures.verdict_words("fine")


def test_the_bar_tags_pass_their_numbers_on() -> None:
    page = Template(
        '{% pitch_bar 6.4 0.06 6.5 0.2 "in" "deg" True %}{% roll_bar "" "" 0.15 "never" %}'
        '{% gap_bar 0.6 0.2 0.5 "out" "FR" "in" %}'
    )
    text = page.render(Context()).replace("\u00a0", " ")
    assert "wanted 6.50° ± 0.20°" in text
    assert "not measured" in text
    assert "0.024 in under FR" in text
