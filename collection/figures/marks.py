"""The marks that say a verdict by shape: a filled dot is in spec, a diamond out, a ring not sure."""

from django.utils.safestring import SafeString

from collection.figures.svg import EMPTY, element

#: Verdict codes of the daily rule, of the certificate rule, and for a machine nobody has surveyed.
VERDICT_WORDS = {
    "in": "in spec",
    "out": "out of spec",
    "borderline": "borderline",
    "proven_in": "proven in",
    "proven_out": "proven out",
    "not_proven": "not proven",
    "never": "never surveyed",
    "not_measured": "not measured",
}
_KINDS = {
    "in": "in", "proven_in": "in", "out": "out", "proven_out": "out",
    "borderline": "open", "not_proven": "open", "never": "none", "not_measured": "none",
}  # fmt: skip


def kind_of(verdict: str | None) -> str:
    """The look of a verdict: "in", "out", "open" or "none"; no verdict looks like "not measured"."""
    return _KINDS[verdict or "not_measured"]


def mark(verdict: str | None, *, size: float = 6.5) -> SafeString:
    """The mark itself, around the origin: move it with a nested svg or a transform."""
    kind = kind_of(verdict)
    if kind == "none":
        return EMPTY
    if kind == "out":
        tip = size * 1.25
        return element("path", d=f"M0 {-tip:g}L{tip:g} 0L0 {tip:g}L{-tip:g} 0Z", class_="mark mark-out")
    return element("circle", r=size, class_=f"mark mark-{kind}")


def placed(x: str | float, y: str | float, *children: str) -> SafeString:
    """Children around the origin, moved to (x, y); percentages let a figure stretch without stretching its marks."""
    return element("svg", *children, x=x, y=y, class_="placed")
