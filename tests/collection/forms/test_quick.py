"""The form of the quick answer: what an address means, what is refused, and that an address can be made again."""

from typing import Any

import pytest
from django.http import QueryDict

from collection.forms.quick import SIDES, QuickForm
from collection.forms.surveys_readings import ENDS_OF, HIGH_ENDS, ReadingForm
from collection.models.instruments import ZERO_HIGH_ENDS

PLAIN = "pitch=6.0&roll=0.3&high=left"


def form(address: str) -> QuickForm:
    return QuickForm(QueryDict(address))


def asked(address: str) -> dict[str, Any]:
    read = form(address)
    assert read.is_valid(), read.errors
    return read.values


def test_an_address_without_a_pitch_is_an_empty_form() -> None:
    for address in ("", "roll=0.3&high=left", "unit=abc&page=9"):
        assert not form(address).is_bound


def test_what_an_address_leaves_out_is_as_usual() -> None:
    """560 and 1300 mm, 3/8-16 UNC: the presets, common practice; 1.5875 mm a turn is ASME B1.1."""
    found = asked(PLAIN)
    assert (found["pitch_deg"], found["roll_deg"], found["want_deg"]) == (6.0, -0.3, 6.5)
    assert (found["track_front_mm"], found["track_rear_mm"], found["base_mm"]) == (560, 560, 1300)
    assert (found["lead_mm"], found["steps_per_turn"], found["ends"], found["stance"]) == (
        1.5875,
        4,
        "both",
        "all_bearing",
    )
    assert (found["pitch_tolerance_deg"], found["roll_tolerance_deg"], found["gap_tolerance_mm"]) == (0.2, 0.15, 0.5)


@pytest.mark.parametrize(
    ("more", "name", "value"),
    [
        ("&high=right", "roll_deg", 0.3),
        ("&era=electromechanical", "want_deg", 3.5),
        ("&era=early_solid_state", "want_deg", 5.5),
        ("&want_deg=7", "want_deg", 7.0),
        ("&want_deg=0", "want_deg", 0.0),  # level is a wish too, and not an empty field
        ("&era=electromechanical&want_deg=4", "want_deg", 4.0),
        ("&body=wide", "track_rear_mm", 660.0),
        ("&body=other&track_front_mm=540&track_rear_mm=580&base_mm=1250", "track_rear_mm", 580.0),
        ("&body=wide&base_mm=1250", "base_mm", 1250.0),
        ("&thread=M10x1.5", "lead_mm", 1.5),
        ("&thread=other&lead_mm=1.25", "lead_mm", 1.25),
        ("&steps_per_turn=8", "steps_per_turn", 8),
        ("&ends=dollies", "ends", "dollies"),
        ("&front_in=on", "front_in", True),
        ("&stance=FR&gap_mm=1.6", "gap_mm", 1.6),
        ("&stance=all_bearing&gap_mm=1.6", "gap_mm", 0.0),  # no light foot, no gap
        ("&closer=on", "closer", True),
    ],
)  # fmt: skip
def test_it_reads_what_is_asked(more: str, name: str, value: Any) -> None:
    assert asked(PLAIN.replace("&high=left", "") + "&high=left" + more)[name] == value


def test_mm_per_m_means_the_same_slope() -> None:
    """1 mm/m = 0.0572958 degree (atan 0.001)."""
    found = asked("pitch=100&roll=1&high=right&shows=mm_per_m")
    assert found["roll_deg"] == pytest.approx(0.0572958, abs=1e-7)
    assert found["pitch_deg"] == pytest.approx(5.7105931, abs=1e-7)
    assert "mm/m" in str(form("pitch=400&roll=1&high=right&shows=mm_per_m").errors["pitch"])


@pytest.mark.parametrize(
    "address", ["pitch=6&high=level", "pitch=6&roll=0", "pitch=6&roll=0&high=level", "pitch=6&roll=&high=level"]
)
def test_level_needs_no_number(address: str) -> None:
    assert asked(address)["roll_deg"] == 0


@pytest.mark.parametrize(
    ("address", "field"),
    [
        ("pitch=&roll=0.3&high=left", "pitch"),
        ("pitch=15.1&roll=0.3&high=left", "pitch"),
        ("pitch=-1&roll=0.3&high=left", "pitch"),
        ("pitch=6,0&roll=0.3&high=left", "pitch"),
        ("pitch=6&roll=0.3", "high"),
        ("pitch=6", "high"),
        ("pitch=6&roll=0.3&high=level", "high"),
        ("pitch=6&roll=0.3&high=up", "high"),
        ("pitch=6&roll=&high=left", "roll"),
        ("pitch=6&roll=0&high=right", "roll"),
        ("pitch=6&roll=-0.3&high=left", "roll"),
        ("pitch=6&roll=10.5&high=left", "roll"),
        (PLAIN + "&want_deg=16", "want_deg"),
        (PLAIN + "&era=", "era"),
        (PLAIN + "&body=narrow", "body"),
        (PLAIN + "&body=other", "base_mm"),
        (PLAIN + "&thread=other", "lead_mm"),
        (PLAIN + "&thread=M10x1.5&lead_mm=1.25", "lead_mm"),
        (PLAIN + "&steps_per_turn=3", "steps_per_turn"),
        (PLAIN + "&ends=none", "ends"),
        (PLAIN + "&stance=FL", "gap_mm"),
        (PLAIN + "&stance=FL&gap_mm=0", "gap_mm"),
        (PLAIN + "&shows=turns", "shows"),
        (PLAIN + "&pitch_tolerance_deg=0", "pitch_tolerance_deg"),
        (PLAIN + "&gap_tolerance_mm=", "gap_tolerance_mm"),
    ],
)  # fmt: skip
def test_it_refuses_what_cannot_be_and_names_the_field(address: str, field: str) -> None:
    read = form(address)
    assert not read.is_valid()
    assert field in read.errors
    assert len(read.errors[field][0]) > 10


@pytest.mark.parametrize("more", [
    "", "&want_deg=7", "&body=wide&ends=rear", "&stance=FR&gap_mm=0.8&closer=on", "&front_in=on", "&shows=mm_per_m",
    "&thread=other&lead_mm=1.2&steps_per_turn=6",
])  # fmt: skip
def test_its_address_asks_the_same_again(more: str) -> None:
    first = form(PLAIN + more)
    assert first.is_valid(), first.errors
    again = form(first.query)
    assert again.is_valid(), again.errors
    assert again.values == first.values
    assert again.query == first.query


def test_its_address_is_short_where_all_is_as_usual() -> None:
    whole = {name: str(field.initial or "") for name, field in QuickForm.base_fields.items()}
    sent = QueryDict(mutable=True)
    sent.update({**whole, "pitch": "6.0", "roll": "0.3", "high": "left"})
    read = QuickForm(sent)
    assert read.is_valid(), read.errors
    assert read.query == "pitch=6.0&roll=0.3&high=left&era=modern&body=standard&ends=both"


def test_what_is_typed_under_more_is_not_hidden() -> None:
    for more, opens in (
        ("", False),
        ("&want_deg=7", False),
        ("&steps_per_turn=8", True),
        ("&gap_tolerance_mm=x", True),
    ):
        assert form(PLAIN + more).more_open is opens, more


def test_sides_stand_in_one_order_everywhere() -> None:
    """Left, right, level, as the eye goes; what is stored is the words, so their order is free."""
    order = ["left", "right", "level"]
    assert [word for word, _ in SIDES] == order
    for words in (ReadingForm.base_fields["high_end"].choices, HIGH_ENDS):
        assert [word for word, _ in words if word in order] == order
    assert list(ENDS_OF["across"]) == order
    assert list(ZERO_HIGH_ENDS) == order


def test_an_address_says_nothing_empty() -> None:
    """Level needs no number, so its address has none."""
    assert (
        form("pitch=6.5&roll=&high=level&want_deg=").query == "pitch=6.5&high=level&era=modern&body=standard&ends=both"
    )


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("pitch=6.5&high=level&shows=mm_per_m", "Is the pitch 6.5 degrees?"),
        ("pitch=105&roll=4&high=left&shows=mm_per_m", ""),
        ("pitch=6.5&roll=4&high=left", "Is the roll 4 mm/m?"),
        ("pitch=6.5&roll=0.4&high=left", ""),
    ],
)
def test_it_asks_about_the_unit_where_the_number_looks_like_the_other(address: str, words: str) -> None:
    """No playfield has a pitch under 0.9 degrees, and 4 degrees of roll would be 39 mm over 560: common practice."""
    read = form(address)
    assert read.is_valid(), read.errors
    doubt = read.unit_doubt
    assert words in doubt
    assert bool(words) is bool(doubt)


def test_a_pitch_that_can_only_be_mm_per_m_is_asked_about() -> None:
    assert "mm/m" in str(form("pitch=105&roll=0.3&high=left").errors["pitch"])
    assert "mm/m" in str(form("pitch=6&roll=15&high=left").errors["roll"])
    assert "mm/m" not in str(form("pitch=400&roll=0.3&high=left").errors["pitch"])
    assert "mm/m" not in str(form("pitch=six&roll=0.3&high=left").errors["pitch"])
