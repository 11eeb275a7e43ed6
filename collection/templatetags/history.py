"""Show what stood in a column, as the history's words say how."""

import datetime
from typing import Any

from django import template
from django.utils.timezone import localtime

from collection.templatetags import units
from leveling.units import length_in, slope_in

register = template.Library()

#: Digits after the point that tell what was kept, where pages about the thing round to what is known of it.
_DIGITS = 4


@register.simple_tag
def show_kept(value: Any, shown: str, angle_unit: str = "deg", length_unit: str = "mm") -> str:
    """``{% show_kept 6.5 "slope" angle_unit length_unit %}`` reads "6.5°"; what is no number stays as it is."""
    if isinstance(value, datetime.datetime):
        return f"{units.day(localtime(value))}, {localtime(value):%H:%M}".replace(units.NBSP, " ")
    if shown == "yes_no":
        return {True: "yes", False: "no"}.get(value, str(value))
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    if shown == "slope":
        return _exact(float(slope_in(value, angle_unit))) + {"deg": "°"}.get(angle_unit, f"{units.NBSP}mm/m")
    if shown == "length":
        return f"{_exact(float(length_in(value, length_unit)))}{units.NBSP}{length_unit}"
    if shown == "exact_mm":
        return f"{_exact(value)}{units.NBSP}mm"
    if shown == "rise":
        return f"{_exact(value * 1000)}{units.NBSP}mm/m"
    if shown == "chance":
        return units.chance(value)
    if shown == "part":
        return f"{units.turns(value)}{units.NBSP}turn"
    if shown == "turns":
        return units.turn_words(value)
    return _exact(value)


def _exact(value: float) -> str:
    text = f"{value:.{_DIGITS}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text.replace("-", units.MINUS)
