"""Charts of one machine: time runs to the right, steeper is higher, the spec is where the numbers say."""

import math
import re
from datetime import UTC, date, datetime
from typing import Any
from xml.etree.ElementTree import Element

import pytest

from collection.figures import charts, scales
from collection.templatetags import figures
from tests.collection.templatetags.drawing import of_class, per_cent, tree


def history(points: list[tuple[Any, float, float, str]], events: list[tuple[date, str]] | None = None) -> Element:
    return tree(figures.history_chart(points, 6.5, 0.2, "Pitch", events or []))


THREE = [
    (date(2026, 1, 1), 6.5, 0.05, "in"),
    (date(2026, 2, 1), 6.4, 0.05, "in"),
    (date(2026, 12, 31), 6.0, 0.05, "out"),
]


def test_time_runs_to_the_right_in_proportion() -> None:
    places = [per_cent(node.attrib["x"]) for node in of_class(history(THREE), "placed") if of_class(node, "mark")]
    assert places == sorted(places)
    assert (places[1] - places[0]) / (places[2] - places[0]) == pytest.approx(31 / 364, abs=1e-3)


def test_a_steeper_pitch_stands_higher() -> None:
    ys = [float(node.attrib["y"]) for node in of_class(history(THREE), "placed") if of_class(node, "mark")]
    assert ys == sorted(ys)  # the values fall, and screen y runs down


def test_the_line_breaks_where_the_machine_was_levelled() -> None:
    assert len(of_class(history(THREE), "value-line")) == 2
    broken = history(THREE, [(date(2026, 6, 1), "re-levelled")])
    assert len(of_class(broken, "value-line")) == 1
    assert "re-levelled" in [node.text for node in broken.iter("text")]


@pytest.mark.parametrize("count", [1, 2])
def test_a_short_history_still_has_dates_under_its_axis(count: int) -> None:
    words = [node.text or "" for node in history(THREE[:count]).iter("text")]
    assert any("Jan 2026" in text for text in words)


def test_a_survey_late_at_night_counts_for_the_day_in_the_active_time_zone() -> None:
    late = (datetime(2026, 3, 31, 23, 30, tzinfo=UTC), 6.5, 0.05, "in")
    assert "31 Mar 2026" in [node.text for node in history([late]).iter("text")]


def test_nothing_measured_draws_nothing() -> None:
    assert charts.draw_history([], want=6.5, tol=0.2, label="Pitch") == ""
    assert charts.draw_plane([], want=6.5, pitch_tol=0.2, roll_tol=0.15, label="Pitch and roll") == ""


def test_the_ellipse_holds_95_per_cent_of_a_plane() -> None:
    """The chance inside k standard uncertainties of a circular normal is 1 - exp(-k^2/2) (Rayleigh distribution)."""
    assert 1 - math.exp(-(charts.K95_PLANE**2) / 2) == pytest.approx(0.95, abs=2e-4)


def test_the_box_of_the_plane_is_the_spec() -> None:
    spots = [(-0.15, 6.3, 0.05, 0.05, "in"), (0.15, 6.7, 0.05, 0.05, "in")]
    root = tree(figures.pitch_roll_plane(spots, 6.5, 0.2, 0.15, "Pitch and roll"))
    box = of_class(root, "bar-band")[0].attrib
    newest = next(node for node in of_class(root, "placed") if of_class(node, "mark")).attrib
    oldest = next(node for node in of_class(root, "placed") if of_class(node, "old")).attrib
    assert float(newest["x"]) == pytest.approx(float(box["x"]) + float(box["width"]), abs=0.02)
    assert float(newest["y"]) == pytest.approx(float(box["y"]), abs=0.02)  # higher pitch is higher on the page
    assert float(oldest["x"]) == pytest.approx(float(box["x"]), abs=0.02)


def test_a_value_far_off_stands_at_the_edge_with_its_number() -> None:
    """One reading five degrees off must not press all others into a line: it gets an arrow, as on the bar."""
    near = [(date(2026, month, 1), 6.5, 0.05, "in") for month in range(2, 12)]
    root = history([(date(2026, 1, 1), 1.5, 0.05, "out"), *near])
    arrow = of_class(root, "beyond-out")[0]
    tip = [float(number) for number in re.findall(r"-?[\d.]+", arrow.attrib["d"])]
    assert tip[3] > tip[1]  # the arrow's tip lies below its ends: the value is lower
    assert [node.text for node in of_class(root, "beyond-words")] == ["1.50°"]
    band = of_class(root, "bar-band")[0].attrib
    assert float(band["height"]) > 0.4 * (charts._BOTTOM - charts._TOP)
    assert of_class(history(THREE), "beyond") == []


def test_if_most_values_are_far_off_the_axis_follows_them() -> None:
    root = history([(date(2026, month, 1), 4.0, 0.05, "out") for month in (1, 2, 3)])
    assert of_class(root, "beyond") == []
    for node in of_class(root, "placed"):
        assert charts._TOP <= float(node.attrib["y"]) <= charts._BOTTOM


def test_words_of_events_do_not_run_into_each_other() -> None:
    """Two rows of words; of those too near each other the earlier goes without, since the last tell of what comes."""
    days = [date(2026, 6, 1), date(2026, 6, 10), date(2026, 6, 20), date(2026, 12, 28)]
    told = ("first", "second", "third", "due")
    root = history(THREE, list(zip(days, told, strict=True)))
    assert len(of_class(root, "event-line")) == 4
    words = {node.text for node in root.iter("text")}
    assert words & set(told) == {"second", "third", "due"}
    rows = {
        of_class(node, "axis-words")[0].text: float(node.attrib["y"])
        for node in of_class(root, "placed") if of_class(node, "axis-words")
    }  # fmt: skip
    assert rows["second"] != rows["third"]
    assert rows["due"] == min(rows.values()), "the first row, where it has room"


def test_the_axes_follow_the_unit_of_the_organization() -> None:
    """6.5 degrees are 113.9 mm/m, and 6.3 and 6.7 are 110.4 and 117.5, by their tangents."""
    root = tree(figures.history_chart(THREE[:2], 6.5, 0.2, "Pitch", [], "mm_per_m"))
    ticks = [float(node.text or "") for node in of_class(root, "axis-words") if node.attrib["x"] == "-8"]
    assert 100 < min(ticks) < 110.4
    assert 117.5 < max(ticks) < 130
    assert not any("°" in (node.text or "") for node in root.iter("text"))
    per_mm = (
        float(of_class(root, "grid-line")[0].attrib["y1"]) - float(of_class(root, "grid-line")[-1].attrib["y1"])
    ) / (max(ticks) - min(ticks))
    assert float(of_class(root, "bar-band")[0].attrib["height"]) / per_mm == pytest.approx(117.474 - 110.401, abs=0.02)
    plane = tree(figures.pitch_roll_plane([(0.1, 6.5, 0.05, 0.05, "in")], 6.5, 0.2, 0.15, "Pitch and roll", "mm_per_m"))
    words = [node.text for node in plane.iter("text")]
    assert "pitch, mm/m" in words
    assert "roll, mm/m" in words


def test_whiskers_are_as_long_in_any_unit() -> None:
    """Against the band, which is the same spec: the tangent bends by less than 1 in 1000 over these angles."""
    shares = []
    for unit in ("deg", "mm_per_m"):
        root = tree(figures.history_chart(THREE[:2], 6.5, 0.2, "Pitch", [], unit))
        whisker = of_class(root, "whisker")[0].attrib
        size = abs(float(whisker["y2"]) - float(whisker["y1"]))
        shares.append(size / float(of_class(root, "bar-band")[0].attrib["height"]))
    assert shares[0] == pytest.approx(shares[1], rel=2e-3)
    assert shares[0] == pytest.approx(2 * 1.96 * 0.05 / 0.4, rel=2e-3)


# --- axes --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [(5.83, 6.72, [5.8, 6.0, 6.2, 6.4, 6.6, 6.8]), (-0.3, 0.3, [-0.4, -0.2, 0.0, 0.2, 0.4]), (0, 7, [0, 2, 4, 6, 8])],
)
def test_ticks_are_round_and_hold_the_values(low: float, high: float, ticks: list[float]) -> None:
    assert scales.round_ticks(low, high, 5) == pytest.approx(ticks)


def test_month_ticks_are_thinned_but_never_outside() -> None:
    first, last = date(2024, 11, 20), date(2026, 11, 24)
    ticks = scales.month_ticks(first, last, 4)
    assert 2 <= len(ticks) <= 4
    assert all(first <= tick <= last and tick.day == 1 for tick in ticks)
    assert scales.month_ticks(date(2026, 3, 2), date(2026, 3, 30), 4) == []


def test_the_course_is_a_band_with_its_middle_in_the_charts_own_scale() -> None:
    """Its corners stand where surveys of the same day and value stand; without a course lines join the surveys."""
    days = (date(2026, 1, 1), date(2026, 12, 31), date(2027, 6, 1))
    course = [(day, 6.5 - wide, 6.5, 6.5 + wide) for day, wide in zip(days, (0.1, 0.2, 0.3), strict=True)]
    root = tree(figures.history_chart(THREE, 6.5, 0.2, "Pitch", [], "deg", course))
    corners = [tuple(map(float, pair.split(","))) for pair in of_class(root, "course-band")[0].attrib["points"].split()]
    middle = [tuple(map(float, pair.split(","))) for pair in of_class(root, "course-line")[0].attrib["points"].split()]
    assert len(corners) == 2 * len(course)
    marks = [node for node in of_class(root, "placed") if of_class(node, "mark")]
    first = (per_cent(marks[0].attrib["x"]), float(marks[0].attrib["y"]))
    assert middle[0] == pytest.approx(first, abs=0.06)
    heights = [y for _, y in corners]
    assert heights[0] > middle[0][1] > heights[-1], "the lower edge lies lower, and screen y runs down"
    assert corners[2][0] == pytest.approx(98)
    assert of_class(root, "value-line") == []
    assert len(of_class(history(THREE), "value-line")) == 2


def test_the_course_stays_on_the_chart() -> None:
    wild = [(date(2026, 1, 1), -60.0, 6.5, 60.0), (date(2027, 1, 1), -60.0, 6.5, 60.0)]
    band = of_class(tree(figures.history_chart(THREE, 6.5, 0.2, "Pitch", [], "deg", wild)), "course-band")[0]
    heights = {float(pair.split(",")[1]) for pair in band.attrib["points"].split()}
    assert heights == {16.0, 190.0}
