"""One chart of a station's tide as SVG: a typical fortnight with its levels, a lunar day, and the ranges.

It is drawn by hand, for any reader: a title and a description are inside, lines differ by dashes and not by colour
alone, and every number carries its unit.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

import numpy as np

from service.exports.series import Export
from tidecore.units import FloatArray

MEDIA_TYPE = "image/svg+xml"
_WIDTH, _HEIGHT = 900, 660
_STYLE = """
text{font-family:system-ui,-apple-system,'Segoe UI','DejaVu Sans',sans-serif;font-size:13px;fill:#22303a}
.name{font-size:23px;font-weight:600}.head{font-size:14px;font-weight:600}.quiet{fill:#4d5d68}
.end{text-anchor:end}.mid{text-anchor:middle}
.grid{stroke:#dfe5e8;stroke-width:1}.axis{stroke:#6d7c86;stroke-width:1}
.level{stroke:#6d7c86;stroke-width:1;stroke-dasharray:2 4}.lead{stroke:#a9b4bb;stroke-width:1;fill:none}
.large{stroke:#1b4f8a;fill:none;stroke-width:2}.small{stroke:#9a4a12;fill:none;stroke-width:2;stroke-dasharray:7 4}
.curve{stroke:#1b4f8a;fill:none;stroke-width:1.5;stroke-linejoin:round}
.band-large{fill:#e6eef7}.band-small{fill:#f8ece1}.bar{fill:#5d85b3}
"""


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """Heights [m] over times."""

    times: FloatArray
    heights: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class TideChart:
    """What a chart shows.

    ``large`` and ``small`` name the tides of largest and least range. ``fortnight`` is over days from the largest,
    ``small_days`` is when the least comes; ``large_day`` and ``small_day`` are over hours from a high water. ``levels``
    and ``ranges`` [m] have names; ``facts`` are pairs of words; ``note`` says what it rests on.
    """

    file_name: str
    station: str
    kind: str
    datum: str
    large: str
    small: str
    fortnight: Line
    small_days: float | None
    large_day: Line | None
    small_day: Line | None
    levels: Sequence[tuple[str, float]]
    ranges: Sequence[tuple[str, float]]
    facts: Sequence[tuple[str, str]]
    note: str


@dataclass(frozen=True, slots=True)
class _Frame:
    """A plot: its edges on the page, and the values at them."""

    left: float
    right: float
    top: float
    bottom: float
    x: tuple[float, float]
    y: tuple[float, float]

    def across(self, value: float) -> float:
        """Return where a value of the horizontal axis lies on the page."""
        return self.left + (value - self.x[0]) / (self.x[1] - self.x[0]) * (self.right - self.left)

    def up(self, value: float) -> float:
        """Return where a height lies on the page."""
        return self.bottom - (value - self.y[0]) / (self.y[1] - self.y[0]) * (self.bottom - self.top)

    def path(self, line: Line, of: str) -> str:
        """Return a line drawn in the frame."""
        points = (f"{self.across(x):.1f},{self.up(y):.1f}" for x, y in zip(line.times, line.heights, strict=True))
        return f'<polyline class="{of}" points="{" ".join(points)}"/>'


def draw_chart(chart: TideChart) -> Export:
    """Return a chart as SVG, 900 by 660."""
    about = (
        f"{chart.kind}. Above: a typical fortnight of heights with the mean levels. Below left: a lunar day about a "
        "high water. Below right: "
        + "; ".join(f"{name} {_metres(value)} m" for name, value in chart.ranges)
        + ". Not for navigation."
    )
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" width="{_WIDTH}" '
        f'height="{_HEIGHT}" role="img" aria-labelledby="name about">',
        f'<title id="name">Tidal character of {_safe(chart.station)}</title>',
        f'<desc id="about">{_safe(about)}</desc>',
        f"<style>{_STYLE}</style>",
        f'<rect width="{_WIDTH}" height="{_HEIGHT}" fill="#fff"/>',
        _text(24, 38, _short(chart.station, 60), "name"),
        _text(24, 60, chart.kind[:1].upper() + chart.kind[1:]),
        _text(_WIDTH - 24, 60, _above(chart.datum), "quiet end"),
        *_fortnight(chart),
        *_lunar_day(chart),
        *_ranges(chart),
        _text(24, _HEIGHT - 16, "Not for navigation.", "head"),
        _text(184, _HEIGHT - 16, chart.note, "quiet"),
        "</svg>\n",
    ]
    return Export("\n".join(parts).encode(), MEDIA_TYPE, f"{chart.file_name}.svg")


def _fortnight(chart: TideChart) -> Iterable[str]:
    """Draw two weeks with springs and neaps marked, and the levels named at the right."""
    line = chart.fortnight
    known = [line.heights.min(), line.heights.max(), *(value for _, value in chart.levels)]
    ends = (float(np.floor(line.times[0])), float(line.times[-1]))
    frame = _Frame(70, 652, 116, 340, (float(line.times[0]), ends[1]), _roomy(known))
    varies = chart.small_days is not None
    yield _text(24, 92, "A typical fortnight", "head")
    if chart.small_days is not None:
        for day, of, name in ((0.0, "large", chart.large), (chart.small_days, "small", chart.small)):
            left, right = frame.across(day - 1.0), frame.across(day + 1.0)
            yield f'<rect class="band-{of}" x="{left:.1f}" y="{frame.top}" width="{right - left:.1f}" height="224"/>'
            yield _text(frame.across(day), frame.top - 6, name, "mid")
    yield from _heights(frame)
    for day in range(int(np.ceil(frame.x[0])), int(frame.x[1]) + 1):
        yield f'<path class="axis" d="M{frame.across(day):.1f} {frame.bottom}v5"/>'
        yield _text(frame.across(day), frame.bottom + 19, _signed(day), "mid")
    yield _text(0.5 * (frame.left + frame.right), frame.bottom + 38, f"days from {chart.large}" if varies else "days",
                "mid quiet")  # fmt: skip
    for _, value in chart.levels:
        yield f'<path class="level" d="M{frame.left} {frame.up(value):.1f}H{frame.right}"/>'
    yield frame.path(line, "curve")
    levels = sorted(chart.levels, key=lambda one: -one[1])
    places = _spread([frame.up(value) for _, value in levels], 17.0, frame.top + 4.0, frame.bottom)
    for (name, value), place in zip(levels, places, strict=True):
        yield f'<path class="lead" d="M{frame.right} {frame.up(value):.1f}L{frame.right + 14} {place:.1f}"/>'
        yield _text(frame.right + 18, place + 4.5, f"{name} {_metres(value)} m")


def _lunar_day(chart: TideChart) -> Iterable[str]:
    """Draw a day of springs and one of neaps, high water at the middle."""
    named = ((chart.large_day, "large", chart.large), (chart.small_day, "small", chart.small))
    lines = [(line, of, name) for line, of, name in named if line is not None]
    yield _text(24, 402, "A lunar day about high water", "head")
    if not lines:
        yield _text(64, 430, "The range does not vary enough to tell two kinds of day apart.", "quiet")
        return
    known = [value for line, _, _ in lines for value in (line.heights.min(), line.heights.max())]
    frame = _Frame(70, 500, 436, 580, (-12.5, 12.5), _roomy(known))
    yield from _heights(frame)
    for hour in range(-12, 13, 3):
        yield f'<path class="axis" d="M{frame.across(hour):.1f} {frame.bottom}v5"/>'
        yield _text(frame.across(hour), frame.bottom + 19, _signed(hour), "mid")
    yield _text(0.5 * (frame.left + frame.right), frame.bottom + 38, "hours from high water", "mid quiet")
    left = frame.left
    for line, of, name in lines:
        yield frame.path(line, of)
        yield f'<path class="{of}" d="M{left} 420h34"/>'
        yield _text(left + 42, 424, name)
        left += 70.0 + 8.0 * len(name)


def _ranges(chart: TideChart) -> Iterable[str]:
    """Draw the ranges as bars, and say the facts below them."""
    yield _text(540, 402, "Ranges", "head")
    largest = max((value for _, value in chart.ranges), default=0.0)
    y = 412.0
    for name, value in chart.ranges:
        width = 116.0 * value / largest if largest > 0.0 else 0.0
        yield _text(540, y + 12, name)
        yield f'<rect class="bar" x="700" y="{y}" width="{width:.1f}" height="14"/>'
        yield _text(700 + width + 6, y + 12, f"{_metres(value)} m")
        y += 20.0
    y += 22.0
    for what, said in chart.facts:
        yield _text(540, y, what, "quiet")
        yield _text(_WIDTH - 24, y, said, "end")
        y += 18.0


def _heights(frame: _Frame) -> Iterable[str]:
    """Draw the axis of heights: a handful of round values."""
    step = _round_step(frame.y[1] - frame.y[0])
    first, last = int(np.ceil(frame.y[0] / step - 1e-9)), int(np.floor(frame.y[1] / step + 1e-9))
    decimals = max(0, -int(np.floor(np.log10(step) + 1e-9)))
    for k in range(first, last + 1):
        place = frame.up(k * step)
        yield f'<path class="grid" d="M{frame.left} {place:.1f}H{frame.right}"/>'
        yield _text(frame.left - 8, place + 4.5, f"{k * step:.{decimals}f} m".replace("-", "\N{MINUS SIGN}"), "end")
    yield f'<path class="axis" d="M{frame.left} {frame.bottom}H{frame.right}"/>'


def _roomy(values: Sequence[float]) -> tuple[float, float]:
    """Return ends of an axis that leave a little room about the values."""
    low, high = min(values), max(values)
    room = max(0.06 * (high - low), 0.01)
    return low - room, high + room


def _round_step(extent: float) -> float:
    """Return 1, 2 or 5 times a power of ten that parts an extent into four to ten."""
    power = 10.0 ** np.floor(np.log10(extent / 4.0))
    return float(max(step for step in (1.0, 2.0, 5.0) if step * power <= extent / 4.0) * power)


def _spread(places: Sequence[float], apart: float, top: float, bottom: float) -> list[float]:
    """Return ascending places moved as little as needed to lie ``apart`` and between ``top`` and ``bottom``."""
    found: list[float] = []
    for place in places:
        found.append(max(place, top if not found else found[-1] + apart))
    limit = bottom
    for k in range(len(found) - 1, -1, -1):
        found[k] = min(found[k], limit)
        limit = found[k] - apart
    return found


def _above(datum: str) -> str:
    """Return what heights are above, for a title."""
    return "heights in metres, datum unknown" if datum == "unknown" else f"heights in metres above {_short(datum, 40)}"


def _metres(value: float) -> str:
    return f"{round(value, 2) + 0.0:.2f}".replace("-", "\N{MINUS SIGN}")


def _signed(value: int) -> str:
    return "0" if value == 0 else f"{value:+d}".replace("-", "\N{MINUS SIGN}")


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "\N{HORIZONTAL ELLIPSIS}"


def _safe(text: str) -> str:
    """Return a text as XML holds it; characters that XML forbids are shown as U+FFFD."""
    return escape("".join(c if c in "\t\n" or (c >= " " and c not in "\ufffe\uffff") else "\ufffd" for c in text))


def _text(x: float, y: float, said: str, of: str = "") -> str:
    named = f' class="{of}"' if of else ""
    return f'<text{named} x="{x:.1f}" y="{y:.1f}">{_safe(said)}</text>'
