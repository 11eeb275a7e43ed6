"""The address of a script, sheet or picture, which changes when the file does."""

from django import template

from collection import assets

register = template.Library()
register.simple_tag(assets.address, name="asset")


@register.simple_tag
def style() -> str:
    """``{% style %}``: the address of the one style sheet."""
    return assets.address(assets.STYLE)
