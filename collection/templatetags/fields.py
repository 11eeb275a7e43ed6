"""Render the input of one form field with everything a reader and a keypad need to know about it."""

from django import template
from django.forms import BoundField
from django.utils.safestring import SafeString

register = template.Library()


@register.simple_tag
def field_input(field: BoundField, unit: str = "", inputmode: str = "") -> SafeString:
    """``{% field_input field unit inputmode %}``: the widget, described by its unit, its help and its errors."""
    attrs: dict[str, str | bool] = {}
    if inputmode:
        attrs["inputmode"] = inputmode
    described = described_by(field, unit)
    if described:
        attrs["aria-describedby"] = described
    return field.as_widget(attrs=attrs)


@register.simple_tag
def described_by(field: BoundField, unit: str = "") -> str:
    """``{% described_by field unit %}``: the ids of what stands around a field, in reading order."""
    parts = (("unit", unit), ("helptext", field.help_text), ("error", field.errors))
    return " ".join(f"{field.auto_id}_{part}" for part, there in parts if there)


@register.filter
def unit_of(field: BoundField) -> str:
    """``{{ field|unit_of }}``: the unit that the form gave to its field, or nothing."""
    return getattr(field.field, "unit", "")
