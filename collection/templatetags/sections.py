"""Which of the main places a page belongs to."""

from django import template

register = template.Library()

#: First part of an address -> the main place that it lies under.
_SECTIONS = {
    "today": "today",
    "sites": "sites", "floors": "sites", "bays": "sites",
    "machines": "machines", "plans": "machines", "surveys": "machines", "quick-checks": "machines",
    "instruments": "instruments", "vials": "instruments",
}  # fmt: skip


@register.filter
def section(path: str) -> str:
    """``{{ request.path|section }}``: today, sites, machines or instruments; empty for a page under none of them."""
    return _SECTIONS.get(path.strip("/").split("/")[0], "")
