"""Codes on pages: QR codes, and long ones for the eye."""

from django import template
from django.utils.safestring import SafeString

from collection.figures.codes import draw_code

register = template.Library()


@register.simple_tag
def qr_code(address: str, label: str) -> SafeString:
    """``{% qr_code address "QR code of this plan" %}``: one SVG, black on white in every theme."""
    return draw_code(address, label)


@register.filter
def in_fours(code: str) -> str:
    """``{{ "JBSWY3DP"|in_fours }}`` reads "JBSW Y3DP": whoever types it there finds the place again."""
    return " ".join(code[start : start + 4] for start in range(0, len(code), 4))
