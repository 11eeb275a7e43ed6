"""The strict reader of numbers: each text has its documented meaning or is refused with the reason, never changed.

| typed                        | meaning                                                              |
| `12`, `-0.3`, `+2`, `.5`, `5.` | the number, in plain decimal notation                               |
| `−0.3` (real minus sign)     | -0.3                                                                 |
| `6 1/2`, `6 ½`, `3/4`, `¾`   | turns with a fraction, only in fields that ask for turns             |
| `1,5`                        | refused: a comma can mean a decimal or thousands; write a point      |
| `1e3`, `0x10`, `1_000`, `１２` | refused: plain digits only                                           |
| `nan`, `inf`, `true`         | refused: not a number that can be measured                           |
| `12°`, `0.3mm/m`             | refused: a field has its own unit                                    |
"""

import re
from fractions import Fraction

LONGEST = 24

_DECIMAL = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")
_WITH_FRACTION = re.compile(r"([+-]?)(?:([0-9]+)[ \u00a0])?([0-9]+)/([0-9]+)")
_VULGAR = {
    "¼": "1/4", "½": "1/2", "¾": "3/4", "⅓": "1/3", "⅔": "2/3", "⅙": "1/6", "⅚": "5/6",
    "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
}  # fmt: skip


class NotANumber(ValueError):
    """The text is not a number we read; the message says what to write instead."""


def read_number(text: str) -> float:
    """Return the number that ``text`` means, or raise NotANumber with the remedy."""
    plain = _plain(text)
    if "," in plain:
        raise NotANumber("Write a point for the decimals, such as 1.5, and no commas.")
    if not _DECIMAL.fullmatch(plain):
        raise NotANumber("Write digits only, such as 6.5, without a unit.")
    return float(plain)


def read_turns(text: str) -> float:
    """Return turns from a decimal or a fraction such as 6 1/2 or 6 ½, or raise NotANumber with the remedy."""
    plain = _plain(text)
    for sign, fraction in _VULGAR.items():
        plain = re.sub(rf"(?<=[0-9]) ?{sign}", f" {fraction}", plain).replace(sign, fraction)
    match = _WITH_FRACTION.fullmatch(plain)
    if match is None:
        return _decimal_turns(plain)
    sign_text, whole, over, under = match.groups()
    if int(under) == 0 or int(over) >= int(under):
        raise NotANumber("Write the fraction of a turn below one, such as 6 1/2.")
    turns = int(whole or 0) + int(over) / int(under)
    return -turns if sign_text == "-" else turns


def _decimal_turns(plain: str) -> float:
    try:
        return read_number(plain)
    except NotANumber as error:
        if "," in plain or len(plain) > LONGEST:
            raise
        raise NotANumber("Write turns in digits, such as 6 1/2 or 6.5.") from error


def _plain(text: str) -> str:
    if len(text) > LONGEST:
        raise NotANumber(f"Write at most {LONGEST} characters.")
    return text.strip().replace("\u2212", "-")


def written(number: float) -> str:
    """Return a number as a person would type it, such as 560 or 1.5875."""
    return f"{number:.10g}"


def written_turns(turns: float) -> str:
    """Return turns as a person would type them: 7.5 is "7 1/2", and "7.559" where no usual fraction fits."""
    fraction = Fraction(turns).limit_denominator(8)
    if fraction.denominator not in (1, 2, 3, 4, 6, 8) or abs(float(fraction) - turns) > 1e-6:
        return f"{turns:.3f}".rstrip("0").rstrip(".")
    whole, part = divmod(fraction, 1)
    return " ".join([str(whole)] * (whole > 0 or not part) + [str(part)] * (part > 0))
