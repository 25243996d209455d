"""Charts of a mark as SVG: a day in full, a week or a month as strips of a day each; as PNG too.

``chart`` says what is shown, ``look`` how it looks, ``day`` and ``strips`` draw, ``raster`` makes pixels.
"""

from service.exports.mark_chart.chart import (
    ChartHazard,
    ChartSession,
    ChartWindow,
    MarkChart,
)
from service.exports.mark_chart.day import draw_day
from service.exports.mark_chart.look import THEMES, Theme
from service.exports.mark_chart.raster import MEDIA_TYPE as PNG_TYPE
from service.exports.mark_chart.raster import rasterised
from service.exports.mark_chart.strips import draw_strips

__all__ = [
    "PNG_TYPE",
    "THEMES",
    "ChartHazard",
    "ChartSession",
    "ChartWindow",
    "MarkChart",
    "Theme",
    "draw_day",
    "draw_strips",
    "rasterised",
]
