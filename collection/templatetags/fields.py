"""Render the input of one form field with everything a reader and a keypad need to know about it."""

import datetime

from django import template
from django.forms import BoundField
from django.middleware.csrf import get_token
from django.template import Context
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.timesince import timesince

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


@register.filter
def clash_of(field: BoundField) -> object:
    """``{{ field|clash_of }}``: what is asked about a field that someone else changed meanwhile, or nothing."""
    return getattr(field.form, "clashes", {}).get(field.name)


@register.simple_tag
def carried(field: BoundField) -> SafeString:
    """``{% carried field %}``: what was typed into a field, unseen, without an id that something else has."""
    return field.as_hidden(attrs={"id": False})


@register.filter
def ago(at: datetime.datetime) -> str:
    """``{{ at|ago }}``: "just now", "5 minutes ago" or "2 days ago": the same at every place."""
    if timezone.now() - at < datetime.timedelta(minutes=1):
        return "just now"
    return f"{timesince(at, depth=1)} ago"


@register.simple_tag(takes_context=True)
def form_token(context: Context) -> SafeString:
    """``{% form_token %}``: csrf_token for an include, which is called with ``only`` and so lost the page's own."""
    request = getattr(context, "request", None)
    if request is None:
        return SafeString()
    return format_html('<input type="hidden" name="csrfmiddlewaretoken" value="{}">', get_token(request))
