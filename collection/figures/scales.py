"""Axes: round steps and month ticks."""

import math
from collections.abc import Iterator
from datetime import date


def round_step(span: float, most: int) -> float:
    """The smallest of 1, 2, 5 times a power of ten that cuts ``span`` into at most ``most`` pieces."""
    rough = span / most
    power = 10.0 ** math.floor(math.log10(rough))
    return next(times * power for times in (1, 2, 5, 10) if times * power >= rough * (1 - 1e-9))


def round_ticks(low: float, high: float, most: int) -> list[float]:
    """Round numbers from the last one not above ``low`` to the first one not below ``high``."""
    step = round_step(high - low, most)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(index * step, 9) for index in range(first, last + 1)]


def digits_of(step: float) -> int:
    """Digits after the point that tell the ticks of one axis apart."""
    return max(0, -math.floor(math.log10(step) + 1e-9))


def month_ticks(first: date, last: date, most: int) -> list[date]:
    """First days of months between two dates, thinned to whole years, halves, quarters or pairs of months."""
    months = [day for day in _months(first, last) if first <= day <= last]
    for step in (1, 2, 3, 6, 12, 24, 60, 120):
        kept = [day for day in months if (day.year * 12 + day.month - 1) % step == 0]
        if len(kept) <= most:
            return kept
    return months[:: max(1, len(months) // most)][:most]


def _months(first: date, last: date) -> Iterator[date]:
    index = first.year * 12 + first.month - 1
    while index <= last.year * 12 + last.month - 1:
        yield date(index // 12, index % 12 + 1, 1)
        index += 1
