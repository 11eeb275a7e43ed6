"""Read a drawn figure back: parse it, find its parts, read their coordinates."""

import re
from xml.etree.ElementTree import Element, fromstring


def tree(markup: str) -> Element:
    """The figure, parsed."""
    return fromstring(markup)


def of_class(root: Element, name: str) -> list[Element]:
    """All parts of a class, in drawing order."""
    return [node for node in root.iter() if name in node.get("class", "").split()]


def per_cent(text: str) -> float:
    """A coordinate in per cent."""
    assert text.endswith("%")
    return float(text[:-1])


def rotation(node: Element) -> float:
    """The angle of a group's rotation, degrees clockwise on the screen."""
    return float(re.findall(r"rotate\((-?[\d.]+)\)", node.attrib["transform"])[0])
