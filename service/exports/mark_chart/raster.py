"""Pixels of a chart: SVG to PNG."""

from __future__ import annotations

from functools import cache

from service.errors import NoFonts
from service.exports.series import Export

MEDIA_TYPE = "image/png"
#: Pixels for a unit of the drawing.
ZOOM = 2.0
#: What ``sans-serif`` may stand for, the first that the machine has.
FAMILIES = ("DejaVu Sans", "Noto Sans", "Liberation Sans", "Arial", "Helvetica", "Verdana", "Segoe UI", "Cantarell")


def rasterised(chart: Export) -> Export:
    """Return a chart as PNG, two pixels a unit.

    Raises
    ------
    NoFonts
        If the machine has none of the `FAMILIES` to write with.
    """
    family = font_family()
    if family is None:
        raise NoFonts
    return Export(_render(chart.content.decode(), family), MEDIA_TYPE, chart.file_name.removesuffix(".svg") + ".png")


@cache
def font_family() -> str | None:
    """Return the family to write in; None where the machine has none, and text would be left out without a word."""
    canvas = '<svg xmlns="http://www.w3.org/2000/svg" width="40" height="40">'
    text = f'{canvas}<text y="30" font-size="30" font-family="sans-serif">Hx</text></svg>'
    return next((one for one in FAMILIES if _render(text, one) != _render(f"{canvas}</svg>", one)), None)


def _render(svg: str, family: str) -> bytes:
    # It loads the machine's fonts; no answer but a PNG needs it.
    import resvg_py

    return bytes(resvg_py.svg_to_bytes(svg_string=svg, zoom=ZOOM, sans_serif_family=family))
