"""Numbers as pages show them: rounding follows the uncertainty, signs are words, nothing reads "None"."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from django.template import Context, Template
from django.utils import timezone

from collection.templatetags import units

NBSP = "\u00a0"


def shown(text: str) -> str:
    """The text with ordinary spaces, so that expectations stay readable."""
    return text.replace(NBSP, " ")


@pytest.mark.parametrize(
    ("u", "digits"),
    [
        (None, 2),  # nothing known: what the display can show at best
        (0.01, 2),  # never finer than 0.01 degree, however small u
        (0.06, 2),
        (0.19, 2),  # half of it is just under 0.1
        (0.2, 1),  # half of it is 0.1
        (0.7, 1),
        (2.0, 0),
        (50.0, 0),
    ],
)
def test_the_last_digit_steps_by_at_most_half_of_the_uncertainty(u: float | None, digits: int) -> None:
    """Our own rule; GUM 7.2.6 (JCGM 100:2008) asks for at most two digits of u and a value rounded to match."""
    assert units.decimals(u, 2) == digits
    if u is not None and digits < 2:
        assert 10**-digits <= u / 2 < 10 ** -(digits - 1) or digits == 0


def test_it_writes_a_real_minus_and_no_minus_before_zero() -> None:
    assert units.degrees(-0.24) == "−0.24°"
    assert units.degrees(-0.001) == "0.00°"
    assert units.degrees(-0.04, 0.3) == "0.0°"
    assert units.number(-100, 0) == "−100"


@pytest.mark.parametrize(
    ("roll_deg", "u", "words"),
    [
        (0.24, 0.07, "right high 0.24°"),
        (-0.31, None, "left high 0.31°"),
        (0.04, 0.3, "level"),  # at the digits that u carries it is zero
        (0.0, None, "level"),
        (-0.004, None, "level"),
        (None, None, "not measured"),
        ("", "", "not measured"),  # what a template makes of a missing name
    ],
)
def test_roll_says_which_side_is_high(roll_deg: float | None, u: float | None, words: str) -> None:
    assert shown(units.roll_words(roll_deg, u)) == words


@pytest.mark.parametrize(
    ("unit", "words"),
    [("deg", "6.50°"), ("mm_per_m", "113.9 mm/m"), ("percent", "11.39 %"), ("in_per_ft", "1.367 in/ft")],
)
def test_a_slope_follows_the_unit_of_the_organization(unit: str, words: str) -> None:
    """tan 6.5 degrees = 0.113936: worked by hand from a table of tangents."""
    assert shown(units.show_slope(6.5, None, unit)) == words


def test_a_slope_in_other_units_carries_no_more_digits_than_its_uncertainty() -> None:
    """0.3 degree is 5.2 mm/m, so whole millimetres per metre are enough."""
    assert shown(units.show_slope(6.5, 0.3, "mm_per_m")) == "114 mm/m"


@pytest.mark.parametrize(
    ("value_mm", "u_mm", "unit", "words"),
    [
        (0.62, None, "mm", "0.6 mm"),
        (1308.1, None, "mm", "1308 mm"),
        (1308.1, None, "in", "51.50 in"),
        (0.62, None, "in", "0.024 in"),
        (21.4, 2.0, "mm", "21 mm"),
        (-13.1, None, "mm", "−13.1 mm"),
        (None, None, "mm", "–"),
    ],
)
def test_a_length_follows_the_unit_and_its_size(
    value_mm: float | None, u_mm: float | None, unit: str, words: str
) -> None:
    assert shown(units.show_length(value_mm, u_mm, unit)) == words


@pytest.mark.parametrize(
    ("gap_mm", "foot", "words"),
    [
        (0.6, "FR", "0.6 mm under FR"),
        (0.6, "", "0.6 mm gap"),
        (0.04, "FR", "all feet bear"),
        (0, "", "all feet bear"),
        (None, "FR", "not measured"),
    ],
)
def test_a_gap_names_its_foot(gap_mm: float | None, foot: str, words: str) -> None:
    assert shown(units.gap_under(gap_mm, foot)) == words


@pytest.mark.parametrize(
    ("turns", "words"),
    [
        (6.75, "6 ¾"),
        (-6.5, "6 ½"),
        (1 / 3, "⅓"),
        (0.125, "⅛"),
        (5 / 6, "⅚"),
        (2.0, "2"),
        (0, "0"),
        (0.999999999, "1"),
        (1.37, "1.37"),  # what someone really turned need not be a fraction
        (7 / 12, "0.58"),  # a twelfth has no sign of its own
        (None, "–"),
    ],
)
def test_turns_are_told_as_fractions(turns: float | None, words: str) -> None:
    assert shown(units.turns(turns)) == words


@pytest.mark.parametrize("step", [2, 4, 6, 8])
def test_every_step_a_machine_may_use_has_its_fraction(step: int) -> None:
    for count in range(1, 3 * step):
        assert "." not in units.turns(count / step), f"{count}/{step}"


@pytest.mark.parametrize(
    ("turns", "words"),
    [(6.5, "out 6 ½ turns"), (-0.25, "in ¼ turn"), (1, "out 1 turn"), (0, "leave as it is"), (None, "leave as it is")],
)
def test_turns_say_their_way_in_words(turns: float | None, words: str) -> None:
    assert shown(units.turn_words(turns)) == words


@pytest.mark.parametrize(
    ("p", "words"),
    [
        (0.0, "under 1 %"),
        (0.0099, "under 1 %"),
        (0.01, "1 %"),
        (0.5, "50 %"),
        (0.978, "98 %"),
        (0.99, "99 %"),
        (0.9951, "over 99 %"),
        (1.0, "over 99 %"),
        (None, "not known"),
    ],
)
def test_a_chance_is_never_told_as_certain(p: float | None, words: str) -> None:
    assert shown(units.chance(p)) == words


@pytest.mark.parametrize(
    ("gx", "gy", "frame", "words"),
    [
        (0, 0.005, "machine", "falls 5.0 mm/m toward the front"),  # the rear is higher
        (0.005, 0, "machine", "falls 5.0 mm/m toward the left"),  # the right side is higher
        (-0.003, -0.003, "machine", "falls 4.2 mm/m toward the rear right"),
        (0.0045, -0.0031, "plan", "falls 5.5 mm/m toward the back left corner"),
        (0, 0.002, "plan", "falls 2.0 mm/m toward the front wall"),
        (0, 0, "plan", "level"),
        (None, 0.1, "plan", "not measured"),
    ],
)
def test_a_fall_points_away_from_the_high_side(gx: float | None, gy: float, frame: str, words: str) -> None:
    assert shown(units.show_fall(gx, gy, frame)) == words


def test_turning_the_slope_around_turns_the_words_around() -> None:
    opposite = {"right": "left", "left": "right", "front": "rear", "rear": "front"}
    for gx, gy in [(0.01, 0), (0, 0.01), (0.01, 0.01), (-0.01, 0.01)]:
        there = units.fall_text(gx, gy).split("toward the ")[1]
        back = units.fall_text(-gx, -gy).split("toward the ")[1]
        assert " ".join(opposite[word] for word in there.split()) == back


def test_a_day_has_its_weekday_in_the_active_time_zone() -> None:
    """24 November 2026 is a Tuesday (ISO 8601 week calendar); 23:30 UTC is already Wednesday in Helsinki."""
    late = datetime(2026, 11, 24, 23, 30, tzinfo=UTC)
    assert shown(units.day(date(2026, 11, 24))) == "Tue 24 Nov 2026"
    with timezone.override(ZoneInfo("Europe/Helsinki")):
        text = Template("{{ late|day }}").render(Context({"late": late}))
    assert shown(text) == "Wed 25 Nov 2026"


def test_a_page_with_nothing_known_never_reads_none() -> None:
    page = Template(
        "{{ x|degrees }}|{{ x|roll_words }}|{{ x|mm }}|{{ x|gap_under }}|{{ x|turns }}|{{ x|chance }}|{{ x|day }}"
        "|{% show_slope x y %}|{% show_gap x %}|{% show_fall x y %}|{% show_rise x 'left right' %}"
    )
    for context in ({}, {"x": None, "y": None}):
        text = page.render(Context(context))
        assert "None" not in text
        assert text.count("not measured") == 5


def test_legs_have_names_in_leg_order() -> None:
    assert [units.leg_name(leg) for leg in units.LEGS] == ["front left", "front right", "rear left", "rear right"]
    with pytest.raises(KeyError):
        units.leg_name("LF")


def test_a_zero_error_is_told_by_the_end_that_seems_high() -> None:
    assert shown(units.zero_text(0.1, 0.04)) == "0.10°, marked end high"
    assert shown(units.zero_text(-0.1, 0.04)) == "0.10°, other end high"
    assert shown(units.zero_text(0.0573, 0.02, "mm_per_m")) == "1.0 mm/m, marked end high"  # tan 0.0573 degrees
    assert units.zero_text(0.03, 0.04) == "none to tell"
    assert units.zero_text(None) == "never checked"


def test_a_rise_follows_the_unit() -> None:
    """0.0054 is 5.4 mm/m, or 0.31 degree by its arc tangent."""
    text = Template("{% show_rise x 'left right' %}|{% show_rise x 'left right' 'deg' %}").render(
        Context({"x": 0.0054})
    )
    assert text == "right high 5.4\u00a0mm/m|right high 0.31°"


def test_a_next_step_is_a_sentence_that_breaks_between_legs_only() -> None:
    told = units.step_words("2 lifts · rear: RR out 1 ¾ · front: FL in 7, FR in ¼")
    assert told == f"2 lifts · rear: RR{NBSP}out{NBSP}1{NBSP}¾ · front: FL{NBSP}in{NBSP}7, FR{NBSP}in{NBSP}¼"
    assert units.step_words("in spec: turn nothing") == "In spec: turn nothing"
    assert units.step_words("") == ""
