"""Show e-mail addresses where there is little room."""

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

register = template.Library()


@register.filter
def breakable(email: str) -> SafeString:
    """``{{ email|breakable }}``: it breaks before its @ where it has to, and not within a word."""
    name, at, host = email.rpartition("@")
    return format_html("{}<wbr>{}{}", name, at, host)
