"""Turns as a voice says them."""

import pytest

from collection.templatetags.spoken import spoken_count, spoken_turns


@pytest.mark.parametrize(
    ("turns", "words"),
    [
        (6.5, "six and a half turns out"),
        (-2.0, "two turns in"),
        (1.0, "one turn out"),
        (-0.5, "half a turn in"),
        (0.25, "a quarter of a turn out"),
        (0.75, "three quarters of a turn out"),
        (1.25, "one and a quarter turns out"),
        (-8.25, "eight and a quarter turns in"),
        (5 / 6, "five sixths of a turn out"),  # the machine's step may be 1/6 ...
        (-3.875, "three and seven eighths turns in"),  # ... or 1/8
        (26.0, "twenty-six turns out"),
        (0.4, "0.40 turns out"),  # no name of its own
        (0.0, "leave it as it is"),
        (None, "leave it as it is"),
    ],
)
def test_turns_are_words(turns: float | None, words: str) -> None:
    assert spoken_turns(turns) == words


def test_no_word_is_a_sign() -> None:
    """A voice says "six one over two" for 6 ½, or leaves the fraction out."""
    for eighths in range(-400, 401):
        assert not set(spoken_turns(eighths / 8)) & set("½¼¾⅛⅜⅝⅞/−")


@pytest.mark.parametrize(
    ("count", "word"), [(0, "zero"), (1, "one"), (19, "nineteen"), (20, "twenty"), (99, "ninety-nine"), (100, "100")]
)
def test_counts_are_words(count: int, word: str) -> None:
    assert spoken_count(count) == word
