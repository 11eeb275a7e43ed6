"""Charts of one machine: time runs to the right, steeper is higher, the spec is where the numbers say."""

import math
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
