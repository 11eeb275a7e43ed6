"""The template tag for QR codes on paper."""

from django import template
from django.utils.safestring import SafeString

from collection.figures.codes import draw_code

register = template.Library()


@register.simple_tag
def qr_code(address: str, label: str) -> SafeString:
    """``{% qr_code address "QR code of this plan" %}``: one SVG, black on white in every theme."""
    return draw_code(address, label)
