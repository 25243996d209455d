"""One day of a month sheet as a strip of 24 hours: light, tide, sessions; the words beside it say the same."""

from __future__ import annotations

from collections.abc import Iterator

from service.exports.mark_chart.chart import MarkChart, light_spans
from service.exports.mark_chart.look import LIGHT_CLASSES, box, path, words

WIDTH, HEIGHT = 240.0, 24.0
#: Every so many of the samples of a chart, which are ten minutes apart.
_EVERY = 2


def draw_strip(chart: MarkChart, start_us: int, end_us: int, low: float, high: float) -> str:
    """Return the day between two instants; heights from ``low`` to ``high`` [m] fill the strip."""
    return "".join(
        (
            f'<svg class="strip" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" aria-hidden="true" focusable="false">',
            *_parts(chart, start_us, end_us, low, high),
            "</svg>",
        )
    )


def _parts(chart: MarkChart, start_us: int, end_us: int, low: float, high: float) -> Iterator[str]:
    def across(at_us: float) -> float:
        # A day of 23 or 25 hours takes as much room as any other.
        return min(max((at_us - start_us) / (end_us - start_us), 0.0), 1.0) * WIDTH

    for kind, first, last in light_spans(chart, start_us, end_us):
        if of := LIGHT_CLASSES.get(kind, ""):
            yield box(of, across(first), 0.0, across(last), HEIGHT)
    inside = (chart.times_us >= start_us) & (chart.times_us <= end_us)
    times, heights = chart.times_us[inside].tolist(), chart.heights[inside].tolist()
    scale = (HEIGHT - 4.0) / max(high - low, 0.1)
    pairs = [(across(t), HEIGHT - 2.0 - (h - low) * scale) for t, h in zip(times, heights, strict=True) if h == h]
    points = [*pairs[:-1:_EVERY], *pairs[-1:]]
    if points:
        yield path("sea", [*points, (points[-1][0], HEIGHT), (points[0][0], HEIGHT)], close=True)
        yield path("line", points)
    for hour in (6, 12, 18):
        yield path("grid", ((hour * WIDTH / 24.0, 0.0), (hour * WIDTH / 24.0, HEIGHT)))
    for one in chart.sessions:
        if one.start_us >= end_us or one.end_us <= start_us:
            continue
        left, right = across(one.start_us), across(one.end_us)
        yield box("box", left, 4.0, right, 20.0, 2)
        yield box("best-hour", across(one.best_us[0]), 17.5, across(one.best_us[1]), 20.0)
        if right - left > 14.0:
            yield words(left + 3.0, 14.5, str(one.rank), "number")
