"""The cabinet and the floor: left is left, the player stands in front, arrows point down the slope."""

import math
import re
from typing import Any
from xml.etree.ElementTree import Element

import pytest

from collection.figures import cabinet, plans
from collection.templatetags import figures
from tests.collection.templatetags.drawing import of_class, rotation, tree


def test_only_the_feet_of_this_lift_are_filled() -> None:
    root = tree(figures.cabinet_turns([-2, 1, 6.5, 8.25], lift="rear", legs="RL RR"))
    names = [node.text for node in of_class(root, "foot-name-turned")]
    assert names == ["RL", "RR"]
    assert [node.text for node in of_class(root, "foot-name-still")] == ["FL", "FR"]
    assert "6\u00a0½" in [node.text for node in of_class(root, "foot-big")]
    assert "2" not in [node.text for node in of_class(root, "foot-big")]


def test_the_player_stands_at_the_bottom_and_left_is_left() -> None:
    root = tree(figures.cabinet_exposure([1, 2, 3, 4], [41] * 4))
    at = {}
    for group in root.iter("g"):
        circle, text = group.find("circle"), group.find("text")
        if circle is not None and text is not None:
            at[text.text] = (float(circle.attrib["cx"]), float(circle.attrib["cy"]))
    assert at["FL"][1] > at["RL"][1]  # screen y runs down
    assert at["FR"][1] > at["RR"][1]
    assert at["FL"][0] < at["FR"][0]
    assert at["RL"][0] < at["RR"][0]


@pytest.mark.parametrize(("leg", "x", "y"), [("FL", 125, 250), ("FR", 233, 250), ("RL", 125, 62), ("RR", 233, 62)])
@pytest.mark.parametrize("way", [1, -1])
def test_out_is_an_arrow_clockwise_around_the_foot_seen_from_above(leg: str, x: int, y: int, way: int) -> None:
    turns = [way * 1.5 if leg == name else 0 for name in ("FL", "FR", "RL", "RR")]
    root = tree(figures.cabinet_turns(turns))
    numbers = [float(part) for part in re.findall(r"-?\d+\.?\d*", of_class(root, "turn-arc")[0].attrib["d"])]
    start, end = (numbers[0] - x, numbers[1] - y), (numbers[-2] - x, numbers[-1] - y)
    cross = start[0] * end[1] - start[1] * end[0]  # with y down, a positive cross product is clockwise
    assert math.copysign(1, cross) == way
    assert numbers[6] == (1 if way > 0 else 0)  # the arc's sweep flag agrees


def test_the_cabinet_tells_its_turns_in_words() -> None:
    label = tree(figures.cabinet_turns([-2, 0, 6.5, 0])).attrib["aria-label"].replace("\u00a0", " ")
    assert "front left in 2 turns; front right leave as it is; rear left out 6 ½ turns" in label


def test_a_leveler_that_nobody_measured_shows_a_question_mark() -> None:
    root = tree(figures.cabinet_exposure([None, 6, 21, 18], [41] * 4))
    assert next(node.text for node in of_class(root, "foot-big")) == "?"
    assert "front left not measured" in root.attrib["aria-label"]


def test_a_cabinet_needs_four_legs() -> None:
    with pytest.raises(ValueError, match="zip"):
        cabinet.turn_feet([1, 2, 3])


@pytest.mark.parametrize(
    ("fall", "turned"),
    [((0, 0.01), 90), ((0, -0.01), -90), ((0.01, 0), 180), ((-0.01, 0), 0)],
    ids=["rear high: down the page", "front high: up", "right high: left", "left high: right"],
)
def test_the_fall_arrow_points_the_way_a_ball_rolls(fall: tuple[float, float], turned: float) -> None:
    root = tree(figures.cabinet_exposure([1] * 4, [41] * 4, "mm", fall))
    group = next(node for node in root.iter("g") if node.find("path[@class='fall-arrow']") is not None)
    assert rotation(group) % 360 == pytest.approx(turned % 360)


# --- the floor ---------------------------------------------------------------------------


def bay_at(x_mm: float, y_mm: float, heading_deg: float = 0) -> dict[str, Any]:
    return {"label": "1", "x_mm": x_mm, "y_mm": y_mm, "heading_deg": heading_deg}


def moved(node: Element) -> tuple[float, float]:
    x, y = re.findall(r"translate\((-?[\d.]+) (-?[\d.]+)\)", node.attrib["transform"])[0]
    return float(x), float(y)


def bay_groups(root: Element) -> list[Element]:
    return [node for node in root.findall("g") if of_class(node, "bay")]


@pytest.mark.parametrize(("width_mm", "depth_mm"), [(8000, 6000), (3000, 20_000), (60_000, 4000)])
def test_the_plan_is_to_scale_and_stays_inside_its_picture(width_mm: float, depth_mm: float) -> None:
    corners = [bay_at(0, 0), bay_at(width_mm, depth_mm)]
    root = tree(figures.floor_plan(width_mm, depth_mm, corners))
    wall = of_class(root, "floor-walls")[0].attrib
    left, top, width, height = (float(wall[name]) for name in ("x", "y", "width", "height"))
    assert width / height == pytest.approx(width_mm / depth_mm, rel=0.01)
    _, _, box_width, box_height = map(float, root.attrib["viewBox"].split())
    assert left >= 0
    assert left + width <= box_width
    assert top + height <= box_height
    front_left, back_right = (moved(group) for group in bay_groups(root))
    assert front_left == pytest.approx((left, top + height), abs=0.06)  # the front wall is at the bottom
    assert back_right == pytest.approx((left + width, top), abs=0.06)


def test_a_machine_has_its_own_size_on_the_plan() -> None:
    root = tree(figures.floor_plan(8000, 6000, [bay_at(1000, 1000)]))
    scale = float(of_class(root, "floor-walls")[0].attrib["width"]) / 8000
    outline = of_class(root, "bay")[0].attrib
    assert float(outline["width"]) == pytest.approx(610 * scale, abs=0.01)
    assert float(outline["height"]) == pytest.approx(1310 * scale, abs=0.01)


@pytest.mark.parametrize(("label", "shown"), [("7", "7"), ("Bay 12", "12"), ("Doorway", "Door"), ("", "")])
def test_a_label_too_long_for_the_machine_is_shortened_but_told_in_full(label: str, shown: str) -> None:
    bay = {**bay_at(1000, 1000), "label": label}
    root = tree(figures.floor_plan(8000, 6000, [{**bay, "url": "/b/"}]))
    assert (of_class(root, "bay-label")[0].text or "") == shown
    assert of_class(root, "bay-link")[0].find("title").text == f"{label} empty"
    assert f"{label} empty" in tree(figures.floor_plan(8000, 6000, [bay])).attrib["aria-label"]


def test_a_beginning_that_many_labels_share_tells_nothing_and_is_left_out() -> None:
    bays = [{**bay_at(1000 * n, 1000), "label": label} for n, label in enumerate(("Window seat", "Window side", "7"))]
    labels = of_class(tree(figures.floor_plan(8000, 6000, bays)), "bay-label")
    assert [label.text or "" for label in labels] == ["seat", "side", "7"]
    bays = [
        {**bay_at(1000 * n, 1000), "label": label} for n, label in enumerate(("Doorway", "Doorstep", "Mantelpiece"))
    ]
    labels = of_class(tree(figures.floor_plan(8000, 6000, bays)), "bay-label")
    assert [label.text or "" for label in labels] == ["", "", "Mant"]


@pytest.mark.parametrize("y_mm", [900, 1000, 1100])
def test_the_front_wall_does_not_strike_a_label_through(y_mm: float) -> None:
    """Half a letter of 12 px is 6 px; the wall is 2 px."""
    root = tree(figures.floor_plan(8000, 6000, [bay_at(4000, y_mm)]))
    walls = of_class(root, "floor-walls")[0].attrib
    wall = float(walls["y"]) + float(walls["height"])
    bay = bay_groups(root)[0]
    slot = next(node for node in bay.findall("g") if of_class(node, "bay-label"))
    assert abs(moved(bay)[1] + moved(slot)[1] - wall) > 7


def test_a_link_says_who_stands_there_and_how_and_the_plan_does_not_say_it_again() -> None:
    bay = {**bay_at(1000, 1000), "title": "Tin Kettle", "verdict": "out", "url": "/b/"}
    root = tree(figures.floor_plan(8000, 6000, [bay]))
    assert of_class(root, "bay-link")[0].find("title").text == "1 Tin Kettle, out of spec"
    assert root.attrib["aria-label"].endswith("at the top: 1 bay")
    assert "Tin Kettle" not in root.attrib["aria-label"]


def test_machines_of_a_large_floor_can_still_be_told_apart() -> None:
    """A machine is at least 12 px wide, whatever the floor; the picture then grows beyond the phone and is scrolled."""
    root = tree(figures.floor_plan(24_000, 9000, [bay_at(900, 900)]))
    assert float(of_class(root, "bay")[0].attrib["width"]) >= 12
    assert float(root.attrib["width"]) > 390
    assert (root.attrib["width"], root.attrib["height"]) == tuple(root.attrib["viewBox"].split()[2:])
    small = tree(figures.floor_plan(6000, 5000, [bay_at(900, 900)]))
    assert float(small.attrib["width"]) == 322  # a card on a phone of 390 px


@pytest.mark.parametrize("slope", [(0.01, 0.0), (0.004, -0.006)])
def test_small_arrows_all_over_the_floor_point_down_the_slope(slope: tuple[float, float]) -> None:
    drawn = of_class(tree(figures.floor_plan(8000, 6000, [], slope)), "floor-fall")[0].attrib["d"]
    arrows = [[float(number) for number in re.findall(r"-?[\d.]+", part)] for part in drawn.split("M")[1::2]]
    assert len(arrows) >= 8
    for x1, y1, x2, y2 in arrows:
        away = math.hypot(x2 - x1, y2 - y1)
        down = -slope[0] / math.hypot(*slope), slope[1] / math.hypot(*slope)  # screen y is turned over
        assert ((x2 - x1) / away, (y2 - y1) / away) == pytest.approx(down, abs=0.02)


def test_a_bay_that_the_page_is_about_stands_out() -> None:
    root = tree(figures.floor_plan(8000, 6000, [bay_at(1000, 1000), {**bay_at(3000, 1000), "here": True}]))
    assert [len(node.attrib["class"].split()) for node in of_class(root, "bay")] == [2, 3]
    assert len(of_class(root, "bay-here")) == 1


@pytest.mark.parametrize(
    ("heading_deg", "x", "y"),
    [(0, 0, 1), (90, -1, 0), (180, 0, -1), (270, 1, 0)],
    ids=["rear to the back wall", "rear to the right wall", "rear to the front", "rear to the left wall"],
)
def test_the_player_stands_opposite_to_where_the_rear_points(heading_deg: float, x: int, y: int) -> None:
    """Screen directions, y down. The heading counts clockwise from the back wall, as the floor's own page says."""
    root = tree(figures.floor_plan(8000, 6000, [bay_at(4000, 3000, heading_deg)]))
    turned = next(node for node in root.iter("g") if node.find("path[@class='bay-player']") is not None)
    angle = math.radians(rotation(turned))
    assert (-math.sin(angle), math.cos(angle)) == pytest.approx((x, y), abs=1e-6)  # where the player's side (0, 1) went
    assert plans._along(plans.BayShape(**bay_at(0, 0, heading_deg)), 10) == pytest.approx((10 * x, 10 * y), abs=1e-6)


@pytest.mark.parametrize(("slope", "turned"), [((0.01, 0), 180), ((-0.01, 0), 0), ((0, 0.01), 90), ((0, -0.01), -90)])
def test_the_floor_s_arrow_points_down_the_slope(slope: tuple[float, float], turned: float) -> None:
    """Right wall higher: it points to the left wall. Back wall higher: it points to the front, down the page."""
    root = tree(figures.floor_plan(8000, 6000, [{**bay_at(4000, 3000), "slope": slope}], slope))
    arrows = [node for node in root.iter("g") for kind in ("fall-arrow", "bay-fall")
              if node.find(f"path[@class='{kind}']") is not None]  # fmt: skip
    assert len(arrows) == 2
    assert all(rotation(node) % 360 == pytest.approx(turned % 360) for node in arrows)


def test_a_level_floor_has_no_arrow_and_says_level() -> None:
    root = tree(figures.floor_plan(8000, 6000, [], (0.0, 0.0)))
    assert of_class(root, "fall-arrow") == []
    assert "level" in root.attrib["aria-label"]


def test_an_empty_floor_says_that_it_has_no_bays() -> None:
    assert "no bays yet" in tree(figures.floor_plan(8000, 6000, [])).attrib["aria-label"]
