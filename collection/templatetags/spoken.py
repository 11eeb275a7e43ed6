"""Numbers as words that a voice says well: "six and a half turns out". Only for what is read aloud."""

from fractions import Fraction

from django import template

from collection.templatetags.units import given

register = template.Library()

_SMALL = (
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
_TENS = ("", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_PARTS = {
    Fraction(1, 8): "an eighth", Fraction(1, 6): "a sixth", Fraction(1, 4): "a quarter", Fraction(1, 3): "a third",
    Fraction(3, 8): "three eighths", Fraction(1, 2): "a half", Fraction(5, 8): "five eighths",
    Fraction(2, 3): "two thirds", Fraction(3, 4): "three quarters", Fraction(5, 6): "five sixths",
    Fraction(7, 8): "seven eighths",
}  # fmt: skip


@register.filter
def spoken_count(count: int) -> str:
    """``{{ 26|spoken_count }}``: "twenty-six"; a hundred and more stay figures, which voices say well."""
    if not 0 <= count < 100:
        return str(count)
    if count < len(_SMALL):
        return _SMALL[count]
    tens, ones = divmod(count, 10)
    return f"{_TENS[tens]}-{_SMALL[ones]}" if ones else _TENS[tens]


@register.filter
def spoken_turns(value: float | None) -> str:
    """``{{ n|spoken_turns }}``: "six and a half turns out", "half a turn in", "leave it as it is"."""
    count = given(value)
    if not count:
        return "leave it as it is"
    return f"{_turns(abs(Fraction(count).limit_denominator(24)))} {'out' if count > 0 else 'in'}"


def _turns(size: Fraction) -> str:
    """Turns without their way; a part that has no name of its own is said as a decimal."""
    whole, part = divmod(size, 1)
    if not part:
        return f"{spoken_count(whole)} turn{'' if whole == 1 else 's'}"
    if part not in _PARTS:
        return f"{float(size):.2f} turns"
    if whole:
        return f"{spoken_count(whole)} and {_PARTS[part]} turns"
    return "half a turn" if part == Fraction(1, 2) else f"{_PARTS[part]} of a turn"
