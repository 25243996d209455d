"""A day at a mark in full: light, tide, stream, windows, sessions and hazards under one axis of hours."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from service.exports.mark_chart.chart import ChartSession, ChartWindow, MarkChart, hour_ticks, light_spans
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
from tidecore.units import FloatArray

WIDTH = 1000.0
SVG_TYPE = "image/svg+xml"
_LEFT, _RIGHT = 112.0, 976.0
_TIDE, _FLOW = (158.0, 348.0), (366.0, 440.0)
#: Height of a lane of windows, and of sessions, which have two lines.
_LANE, _TALL_LANE = 24.0, 40.0
#: Widest fishing that is too narrow for words.
_WORDY = 120.0
#: Most lanes of windows and of sessions, and most hazards told.
MOST_LANES, MOST_HAZARDS = 8, 8
_SUN = {
    "first_light": "first light",
    "sunrise": "sunrise",
    "sunset": "sunset",
    "last_light": "last light",
}
_MOON = {
    "moonrise": "moonrise",
    "moonset": "moonset",
    "new_moon": "new moon",
    "first_quarter": "first quarter",
    "full_moon": "full moon",
    "last_quarter": "last quarter",
}


@dataclass(frozen=True, slots=True)
class _Axis:
    """The hours across the page."""

    start_us: int
    end_us: int

    def across(self, at_us: float) -> float:
        """Return where an instant lies, kept inside the plot."""
        share = (at_us - self.start_us) / (self.end_us - self.start_us)
        return _LEFT + min(max(share, 0.0), 1.0) * (_RIGHT - _LEFT)


def draw_day(chart: MarkChart, theme: Theme) -> Export:
    """Return one day, or any other span of up to two, as SVG."""
    axis = _Axis(chart.span.start_us, chart.span.end_us)
    below = _FLOW[1] + 34.0
    drawn: list[str] = []
    for label, height, draw in _lanes(chart, axis):
        drawn += [words(24, below + 16, label, "small quiet"), *draw(below)]
        below += height
    text = list(_told(chart, below + 26.0))
    height = (text[-1][0] if text else below) + 26.0
    parts = [
        words(24, 40, shortened(chart.mark, 52), "name"),
        words(24, 64, f"{chart.local(chart.span.start_us):%A %-d %B %Y}", "head"),
        words(976, 40, _above(chart.datum), "quiet end"),
        words(976, 64, f"clock times: {chart.clocks}", "quiet end"),
        words(24, 86, " \N{MIDDLE DOT} ".join(chart.facts)),
        *_ground(chart, axis, below),
        *_sky_words(chart, axis),
        *_hours(chart, axis, below),
        *_tide(chart, axis),
        *_stream(chart, axis),
        *drawn,
        *(part for _, part in text),
    ]
    about = f"Tide, stream, light, windows, sessions and hazards of a day at {chart.mark}. Not for navigation."
    title = f"{chart.mark}, {chart.local(chart.span.start_us):%-d %B %Y}"
    return Export(page(WIDTH, height, theme, title, about, parts).encode(), SVG_TYPE, f"{chart.file_name}.svg")


def _above(datum: str) -> str:
    return "heights in metres, datum unknown" if datum == "unknown" else f"heights in metres above {datum[:40]}"


def _ground(chart: MarkChart, axis: _Axis, below: float) -> Iterator[str]:
    """Draw the light of the day as the ground of everything."""
    for kind, start, end in light_spans(chart, axis.start_us, axis.end_us):
        if of := LIGHT_CLASSES.get(kind, ""):
            yield box(of, axis.across(start), 140.0, axis.across(end), below)


def _sky_words(chart: MarkChart, axis: _Axis) -> Iterator[str]:
    """Write when the sun and the moon rise and set, each row spread so that no two words touch."""
    for names, y in ((_SUN, 116.0), (_MOON, 133.0)):
        told = [event for event in chart.events if event.kind in names]
        last = 24.0
        for event in told:
            at = int(event.time.astype(np.int64))
            said = f"{names[event.kind]} {chart.clock(at)}"
            width = 6.4 * len(said)
            place = max(axis.across(at) - 0.5 * width, last)
            if place + width > WIDTH - 12.0:
                continue
            last = place + width + 14.0
            yield words(place, y, said, "small")


def _tide(chart: MarkChart, axis: _Axis) -> Iterator[str]:
    """Draw the height, with its high and low waters told."""
    top, bottom = _TIDE
    low, high = float(np.nanmin(chart.heights)), float(np.nanmax(chart.heights))
    room = max(0.16 * (high - low), 0.05)
    low, high = low - room, high + room

    def up(value: float) -> float:
        return bottom - (value - low) / (high - low) * (bottom - top)

    yield words(24, top + 14, "Tide", "small quiet")
    for level in _levels(low, high):
        yield path("grid", ((_LEFT, up(level)), (_RIGHT, up(level))))
        yield words(_LEFT - 8, up(level) + 4, f"{metres(level)} m", "small end")
    points = _points(chart, axis, chart.heights, up)
    yield path("sea", [*points, (points[-1][0], bottom), (points[0][0], bottom)], close=True)
    yield path("water", points)
    for event in chart.events:
        if event.kind not in ("high_water", "low_water") or event.height is None:
            continue
        at = int(event.time.astype(np.int64))
        x, y = axis.across(at), up(event.height)
        tall = event.kind == "high_water"
        said = f"{'HW' if tall else 'LW'} {chart.clock(at)}  {metres(event.height)} m"
        yield f'<circle class="turn" cx="{x:.1f}" cy="{y:.1f}" r="4"/>'
        side = min(max(x, _LEFT + 58.0), _RIGHT - 58.0)
        yield words(side, y - 10 if tall else y + 20, said, "head small mid")


def _stream(chart: MarkChart, axis: _Axis) -> Iterator[str]:
    """Draw how hard the water runs: flood above the line, ebb below it."""
    top, bottom = _FLOW
    middle = 0.5 * (top + bottom)
    known = np.isfinite(chart.flow)
    yield words(24, top + 14, "Stream", "small quiet")
    if not known.any():
        yield words(_LEFT + 8, middle + 4, "not known here", "small quiet")
        return
    reach = max(1.0, float(np.nanmax(np.abs(chart.flow))))
    for of, side in (("flood", np.maximum(chart.flow, 0.0)), ("ebb", np.minimum(chart.flow, 0.0))):
        points = _points(chart, axis, np.nan_to_num(side), lambda v: middle - v / reach * 0.5 * (bottom - top))
        yield path(of, [*points, (points[-1][0], middle), (points[0][0], middle)], close=True)
    yield path("axis", ((_LEFT, middle), (_RIGHT, middle)))
    yield words(_LEFT - 8, top + 14, "flood", "small end")
    yield words(_LEFT - 8, bottom - 4, "ebb", "small end")


def _hours(chart: MarkChart, axis: _Axis, below: float) -> Iterator[str]:
    for at, said in hour_ticks(chart, axis.start_us, axis.end_us, 2):
        x = axis.across(at)
        yield path("grid", ((x, 140.0), (x, _FLOW[1])))
        yield path("grid", ((x, _FLOW[1] + 26.0), (x, below)))
        yield words(x, _FLOW[1] + 18, said, "small mid")


def _points(
    chart: MarkChart, axis: _Axis, values: FloatArray, up: Callable[[float], float]
) -> list[tuple[float, float]]:
    pairs = zip(chart.times_us.tolist(), values.tolist(), strict=True)
    return [(axis.across(t), up(v)) for t, v in pairs if not np.isnan(v)]


#: What stands at the left of a lane, its height, and what draws it from there down.
_Lane = tuple[str, float, Callable[[float], list[str]]]


def _lanes(chart: MarkChart, axis: _Axis) -> Iterator[_Lane]:
    names = list(dict.fromkeys(one.species for one in chart.windows))
    for species in names[:MOST_LANES]:
        mine = [one for one in chart.windows if one.species == species]
        yield shortened(species, 13), _LANE, partial(_windows, mine, axis)
    if len(names) > MOST_LANES:
        more = ", ".join(names[MOST_LANES:])
        yield "", _LANE, lambda y: [words(_LEFT + 4, y + 16, f"also windows of {shortened(more, 100)}", "small")]
    for place, row in enumerate(apart(chart.sessions)[:MOST_LANES]):
        yield "" if place else "Sessions", _TALL_LANE, partial(_sessions, chart, row, axis)
    if not chart.sessions:
        none = "none that is long enough, and that nothing dangerous cuts short"
        yield "Sessions", _LANE, lambda y: [words(_LEFT + 4, y + 16, none, "small")]


def _windows(mine: Sequence[ChartWindow], axis: _Axis, y: float) -> list[str]:
    drawn = []
    for one in mine:
        left, right = axis.across(one.start_us), axis.across(one.end_us)
        drawn.append(box("window", left, y + 3, right, y + 21, 3))
        drawn.append(box("best", axis.across(one.best_us[0]), y + 17, axis.across(one.best_us[1]), y + 21))
        if right - left > 30.0:
            drawn.append(words(0.5 * (left + right), y + 15, f"{one.mean_score:.2f}", "tiny mid"))
    return drawn


def _sessions(chart: MarkChart, row: Sequence[ChartSession], axis: _Axis, y: float) -> list[str]:
    drawn = []
    for one in row:
        left, right = axis.across(one.start_us), axis.across(one.end_us)
        drawn.append(box("way", axis.across(one.arrive_us), y + 3, axis.across(one.leave_us), y + 37, 3))
        drawn.append(box("session", left, y + 3, right, y + 37, 3))
        drawn.append(box("best", axis.across(one.best_us[0]), y + 33, axis.across(one.best_us[1]), y + 37))
        # Where the fishing is too short for words they begin with arriving.
        first, last = axis.across(one.arrive_us), axis.across(one.leave_us)
        first = left if right - left > _WORDY else first
        badge = one.grade != "info" and right - left > 40.0
        when = f"{one.rank}. {chart.clock(one.start_us)}\N{EN DASH}{chart.clock(one.end_us)}"
        drawn.append(words(first + 5, y + 16, shortened(when, max(int((last - first - 8.0) / 6.4), 2)), "small head"))
        room = max(int((right - first - (24.0 if badge else 8.0)) / 6.2), 2)
        drawn.append(words(first + 5, y + 29, shortened(", ".join(one.species), room), "small"))
        if badge:
            drawn.append(grade_badge(one.grade, right - 10.0, y + 24.0))
    return drawn


def apart(sessions: Sequence[ChartSession]) -> list[list[ChartSession]]:
    """Return sessions in as few rows as it takes for none to overlap, the better ones above."""
    rows: list[list[ChartSession]] = []
    for one in sorted(sessions, key=lambda session: session.rank):
        for row in rows:
            if all(one.arrive_us >= other.leave_us or one.leave_us <= other.arrive_us for other in row):
                row.append(one)
                break
        else:
            rows.append([one])
    return rows


def _told(chart: MarkChart, y: float) -> Iterator[tuple[float, str]]:
    """Yield hazards and notes in words, each with the height it is at."""
    for one in chart.hazards[:MOST_HAZARDS]:
        yield y, grade_badge(one.grade, 36.0, y - 4.0)
        grave = one.grade in ("danger", "caution")
        for line in wrapped(f"{one.grade.capitalize()}: {one.text}" if grave else one.text, 132):
            yield y, words(56, y, line)
            y += 18.0
        y += 6.0
    more = len(chart.hazards) - MOST_HAZARDS
    if more > 0:
        yield y, words(56, y, f"and {more} more", "quiet")
        y += 24.0
    for note in chart.notes:
        for line in wrapped(note, 145):
            yield y, words(24, y, line, "small quiet")
            y += 16.0


def _levels(low: float, high: float) -> list[float]:
    """Return round heights between two, three to eight of them."""
    power = 10.0 ** np.floor(np.log10((high - low) / 3.0))
    step = max(one * power for one in (1.0, 2.0, 5.0) if one * power <= (high - low) / 3.0)
    return [float(k * step) for k in range(int(np.ceil(low / step)), int(np.floor(high / step)) + 1)]
