"""Render the input of one form field with everything a reader and a keypad need to know about it."""

from django import template
from django.forms import BoundField
from django.middleware.csrf import get_token
from django.template import Context
from django.utils.html import format_html
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


@register.filter
def named(field: BoundField) -> str:
    """``{{ field|named }}``: the label as the summary of errors says it, where one label stands on several fields."""
    label = str(getattr(field.field, "named", "") or field.label)
    return label if label.endswith("?") else f"{label}:"


@register.simple_tag(takes_context=True)
def form_token(context: Context) -> SafeString:
    """``{% form_token %}``: csrf_token for an include, which is called with ``only`` and so lost the page's own."""
    request = getattr(context, "request", None)
    if request is None:
        return SafeString()
    return format_html('<input type="hidden" name="csrfmiddlewaretoken" value="{}">', get_token(request))
