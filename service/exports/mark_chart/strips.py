"""A week or a month at a mark: a strip a day over the hours of the clock, so that one sees the tide walk through."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from service.exports.mark_chart.chart import ChartSession, MarkChart, light_spans
from service.exports.mark_chart.day import SVG_TYPE, apart
from service.exports.mark_chart.look import (
    LIGHT_CLASSES,
    Theme,
    box,
    grade_badge,
    metres,
    page,
    path,
    shortened,
    words,
    wrapped,
)
from service.exports.series import Export
from tidecore.timeline import KeyTime

WIDTH = 1000.0
_LEFT, _RIGHT = 112.0, 826.0
_TOP = 118.0
#: Of a tall strip so much is left to sessions, the rest to the tide.
_SHELF = 26.0
#: Height of a strip where there are few, and where there are many.
_TALL, _LOW = 88.0, 30.0
_FEW = 10
#: Longest words of a high water that leave room for another beside them.
_BESIDE = 10
_PHASES = {
    "new_moon": "new moon",
    "full_moon": "full moon",
    "first_quarter": "first quarter",
    "last_quarter": "last quarter",
}


@dataclass(frozen=True, slots=True)
class _Strip:
    """One day: its date, its first and last instant, and where on the page it lies."""

    date: datetime.date
    start_us: int
    end_us: int
    top: float
    bottom: float
    new_month: bool

    def across(self, at_us: float) -> float:
        """Return where an instant lies; a day of 23 or 25 hours takes as much room as any other."""
        share = (at_us - self.start_us) / (self.end_us - self.start_us)
        return _LEFT + min(max(share, 0.0), 1.0) * (_RIGHT - _LEFT)


def draw_strips(chart: MarkChart, theme: Theme) -> Export:
    """Return the days of a span, a strip each, as SVG."""
    days = chart.days()
    tall = _TALL if len(days) <= _FEW else _LOW
    low, high = float(np.nanmin(chart.heights)), float(np.nanmax(chart.heights))
    parts = list(_head(chart, days))
    for place, (date, start, end) in enumerate(days):
        top = _TOP + place * tall
        strip = _Strip(date, start, end, top, top + tall, place > 0 and date.day == 1)
        parts += _strip(chart, strip, low, high)
    bottom = _TOP + len(days) * tall
    y = bottom + 22.0
    for note in chart.notes:
        for line in wrapped(note, 145):
            parts.append(words(24, y, line, "small quiet"))
            y += 16.0
    about = f"A strip a day over 24 hours: tide, light and sessions at {chart.mark}. Not for navigation."
    title = f"{chart.mark}, {days[0][0]:%-d %B %Y} to {days[-1][0]:%-d %B %Y}"
    return Export(page(WIDTH, y + 6.0, theme, title, about, parts).encode(), SVG_TYPE, f"{chart.file_name}.svg")


def _head(chart: MarkChart, days: Sequence[tuple[datetime.date, int, int]]) -> Iterator[str]:
    first, last = days[0][0], days[-1][0]
    whole = first.day == 1 and (last + datetime.timedelta(days=1)).day == 1 and first.month == last.month
    said = f"{first:%B %Y}" if whole else f"{first:%-d %B} to {last:%-d %B %Y}"
    yield words(24, 40, shortened(chart.mark, 52), "name")
    yield words(24, 64, said, "head")
    unknown = chart.datum == "unknown"
    above = "heights in metres, datum unknown" if unknown else f"heights in metres above {chart.datum[:40]}"
    yield words(976, 40, above, "quiet end")
    yield words(976, 64, f"clock times: {chart.clocks}", "quiet end")
    yield words(24, 86, " \N{MIDDLE DOT} ".join(chart.facts))
    for hour in range(0, 25, 3):
        x = _LEFT + hour / 24.0 * (_RIGHT - _LEFT)
        yield words(x, _TOP - 6, f"{hour:02d}", "small mid")
    if len(days) <= _FEW:
        yield words(_RIGHT + 14, _TOP - 6, "waters of the day", "small quiet")
    else:
        yield words(_RIGHT + 10, _TOP - 6, "high waters", "small quiet")
        yield words(976, _TOP - 6, "range", "small quiet end")


def _strip(chart: MarkChart, strip: _Strip, low: float, high: float) -> Iterator[str]:
    tall = strip.bottom - strip.top > 50.0
    for kind, start, end in light_spans(chart, strip.start_us, strip.end_us):
        if of := LIGHT_CLASSES.get(kind, ""):
            yield box(of, strip.across(start), strip.top, strip.across(end), strip.bottom)
    inside = (chart.times_us >= strip.start_us) & (chart.times_us <= strip.end_us)
    times, heights = chart.times_us[inside].tolist(), chart.heights[inside].tolist()
    scale = (strip.bottom - strip.top - 4.0 - (_SHELF if tall else 0.0)) / max(high - low, 0.1)
    points = [
        (strip.across(t), strip.bottom - 2.0 - (h - low) * scale) for t, h in zip(times, heights, strict=True) if h == h
    ]
    if points:
        edge = [(points[-1][0], strip.bottom), (points[0][0], strip.bottom)]
        yield path("sea", [*points, *edge], close=True)
        yield path("water" if tall else "axis", points)
    for hour in range(0, 25, 3):
        x = _LEFT + hour / 24.0 * (_RIGHT - _LEFT)
        yield path("grid", ((x, strip.top), (x, strip.bottom)))
    yield path("grid", ((24.0, strip.bottom), (976.0, strip.bottom)))
    yield from _date(chart, strip, tall)
    yield from _sessions(chart, strip, tall)
    yield from _waters(chart, strip, tall)


def _date(chart: MarkChart, strip: _Strip, tall: bool) -> Iterator[str]:
    y = strip.top + (22.0 if tall else 20.0)
    month = f" {strip.date:%b}" if strip.new_month else ""
    yield words(24, y, f"{strip.date:%a} {strip.date.day}{month}", "head" if strip.date.weekday() >= 5 else "")
    phases = [_PHASES[event.kind] for event in _events(chart, strip) if event.kind in _PHASES]
    if tall:
        told = [event.height for event in _events(chart, strip) if event.height is not None]
        spread = [f"range {metres(max(told) - min(told))} m"] if len(told) > 1 else []
        for place, said in enumerate([*spread, *phases[:1]]):
            yield words(24, y + 18 + 16 * place, said, "small quiet")
    elif phases:
        yield _moon(phases[0], _LEFT - 11.0, strip.top + 0.5 * (strip.bottom - strip.top))


def _moon(phase: str, x: float, y: float) -> str:
    """Return a disc: filled for new moon, open for full, the dark half filled for a quarter, as the north sees it."""
    if phase == "new moon":
        return f'<circle class="info" cx="{x:.1f}" cy="{y:.1f}" r="5"/>'
    ring = f'<circle class="axis" cx="{x:.1f}" cy="{y:.1f}" r="5"/>'
    if phase == "full moon":
        return ring
    side = 0 if phase == "first quarter" else 1
    return ring + f'<path class="info" d="M{x:.1f} {y - 5:.1f}A5 5 0 0 {side} {x:.1f} {y + 5:.1f}Z"/>'


def _sessions(chart: MarkChart, strip: _Strip, tall: bool) -> Iterator[str]:
    mine = [one for one in chart.sessions if one.start_us < strip.end_us and one.end_us > strip.start_us]
    rows = apart(mine)
    rows, height = rows[: 1 if len(rows) == 1 or not tall else 2], 20.0 if tall else 18.0
    for place, row in enumerate(rows):
        y = strip.top + (4.0 if tall else 6.0) + place * (height + 2.0)
        for one in row:
            yield from _session(chart, one, strip, y, height)


def _session(chart: MarkChart, one: ChartSession, strip: _Strip, y: float, height: float) -> Iterator[str]:
    left, right = strip.across(one.start_us), strip.across(one.end_us)
    yield box("session", left, y, right, y + height, 3)
    yield box("best", strip.across(one.best_us[0]), y + height - 3.0, strip.across(one.best_us[1]), y + height)
    badge = one.grade != "info" and right - left > 60.0
    room = int((right - left - (26.0 if badge else 8.0)) / 6.2)
    if room >= 3:
        mark = "" if one.start_us >= strip.start_us else "\N{LEFTWARDS ARROW} "
        said = f"{mark}{one.rank} {', '.join(one.species)}"
        yield words(left + 5, y + height - 6.0, shortened(said, room), "small")
    if badge:
        yield grade_badge(one.grade, right - 12.0, y + 0.5 * height)


def _waters(chart: MarkChart, strip: _Strip, tall: bool) -> Iterator[str]:
    """Tell the high waters of the day at the right, with the range; of a tall strip the low ones too."""
    turns = [event for event in _events(chart, strip) if event.height is not None]
    if tall:
        for place, event in enumerate(turns[:5]):
            name = "HW" if event.kind == "high_water" else "LW"
            said = f"{name} {chart.clock(_us(event))}"
            yield words(_RIGHT + 14, strip.top + 17.0 + 15.0 * place, said, "small")
            yield words(976, strip.top + 17.0 + 15.0 * place, f"{metres(event.height or 0.0)} m", "small end")
        return
    y = strip.top + 20.0
    high = [one for one in turns if one.kind == "high_water"][:2]
    told = [f"{chart.clock(_us(event))} {metres(event.height or 0.0)}" for event in high]
    # A time with its offset is too long for two beside each other.
    long = any(len(one) > _BESIDE for one in told)
    for place, one in enumerate(told):
        x, lower = (_RIGHT + 10, 13.0 * place - 7.0) if long else (_RIGHT + 10 + 60 * place, 0.0)
        yield words(x, y + lower, one, "tiny")
    if len(turns) > 1:
        heights = [event.height or 0.0 for event in turns]
        yield words(976, y, metres(max(heights) - min(heights)), "tiny end")


def _us(event: KeyTime) -> int:
    return int(event.time.astype(np.int64))


def _events(chart: MarkChart, strip: _Strip) -> list[KeyTime]:
    return [one for one in chart.events if strip.start_us <= _us(one) < strip.end_us]
