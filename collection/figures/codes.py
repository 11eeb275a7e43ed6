"""A QR code as one SVG: a sheet of paper that leads back to its page. Black on white in every theme, as cameras need.

ISO/IEC 18004 asks for a quiet zone of four modules around the code.
"""

import segno
from django.utils.safestring import SafeString

from collection.figures.svg import element, picture

_QUIET = 4


def draw_code(address: str, label: str) -> SafeString:
    """Draw the code of an address; error correction M bears a smudge of 15 %."""
    rows = segno.make_qr(address, error="m").matrix
    runs = "".join(_runs(row, y) for y, row in enumerate(rows, start=_QUIET))
    size = len(rows) + 2 * _QUIET
    return picture(
        label,
        element("rect", width=size, height=size, fill="white"),
        element("path", d=runs, fill="black", shape_rendering="crispEdges"),
        class_="code",
        view_box=f"0 0 {size} {size}",
    )


def _runs(row: bytearray, y: int) -> str:
    """The dark modules of one row as rectangles, one for each run of neighbours."""
    found, start = [], None
    for x, dark in enumerate([*row, 0], start=_QUIET):
        if dark and start is None:
            start = x
        elif not dark and start is not None:
            found.append(f"M{start} {y}h{x - start}v1h{start - x}z")
            start = None
    return "".join(found)
