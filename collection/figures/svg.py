"""Build SVG elements with everything escaped."""

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

Attribute = str | float | None
EMPTY = mark_safe("")


def element(name: str, *children: str, **attributes: Attribute) -> SafeString:
    """One element. ``class_`` becomes class, ``stroke_width`` becomes stroke-width; an empty attribute is left out."""
    given = ((_name(key), _value(value)) for key, value in attributes.items() if value not in (None, ""))
    body = format_html_join("", "{}", ((child,) for child in children))
    return format_html("<{0}{1}>{2}</{0}>", mark_safe(name), format_html_join("", ' {}="{}"', given), body)


def picture(
    label: str,
    *children: str,
    class_: str,
    view_box: str = "",
    size: tuple[int, int] | None = None,
    role: str = "img",
    tip: bool = True,
) -> SafeString:
    """A whole figure. The label is its text alternative; without a view box it stretches with the page.

    With a size in px it is drawn that large, or larger where the page has room. ``tip`` shows the label to who points
    at the figure; where its words stand beside it, that only costs.
    """
    title = element("title", label) if tip else EMPTY
    width, height = size or (None, None)
    box = f"0 0 {width} {height}" if size else view_box
    return element(
        "svg", title, *children, class_=f"figure {class_}", viewBox=box, width=width, height=height, role=role,
        aria_label=label,
    )  # fmt: skip


def _name(key: str) -> str:
    return key.rstrip("_").replace("_", "-")


def _value(value: Attribute) -> str:
    if isinstance(value, str):
        return value
    return f"{value:.2f}".rstrip("0").rstrip(".") if value else "0"
