"""What a chart of a mark shows: plain columns, key times, windows, sessions and hazards."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tidecore.calendars import clock_changes
from tidecore.safety import Grade
from tidecore.timebase import US_PER_HOUR, TimeSpan, from_microseconds
from tidecore.timeline import KeyTime
from tidecore.timeline.wall_clock import shown_minute
from tidecore.units import AnyArray, FloatArray, IntArray

Kind = Literal["day", "week", "month"]


@dataclass(frozen=True, slots=True)
class ChartWindow:
    """A window of one species: its span and best hour [microseconds since 1970], and its mean score."""

    species: str
    start_us: int
    end_us: int
    best_us: tuple[int, int]
    mean_score: float


@dataclass(frozen=True, slots=True)
class ChartSession:
    """A session: arrive, fish from ``start_us`` to ``end_us``, leave; its place among those of the span, and its worth.

    ``grade`` is the worst of its hazards.
    """

    rank: int
    arrive_us: int
    start_us: int
    end_us: int
    leave_us: int
    worth_h: float
    species: tuple[str, ...]
    grade: Grade
    best_us: tuple[int, int]


@dataclass(frozen=True, slots=True)
class ChartHazard:
    """A hazard of a session, in a sentence."""

    grade: Grade
    start_us: int
    end_us: int
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class MarkChart:
    """What a chart shows.

    Columns are over ``times_us`` [microseconds since 1970]: ``heights`` [m], ``flow`` (the signed flow index) and
    ``light`` (the class of light). ``facts`` are pairs of words told under the name; ``notes`` end the chart.
    """

    file_name: str
    mark: str
    kind: Kind
    zone: zoneinfo.ZoneInfo
    datum: str
    span: TimeSpan
    times_us: IntArray
    heights: FloatArray
    flow: FloatArray
    light: AnyArray
    events: Sequence[KeyTime]
    windows: Sequence[ChartWindow]
    sessions: Sequence[ChartSession]
    hazards: Sequence[ChartHazard]
    facts: Sequence[str]
    notes: Sequence[str]

    def local(self, at_us: int) -> datetime.datetime:
        """Return an instant by the clocks of the mark."""
        stamp: datetime.datetime = from_microseconds(np.array([at_us]))[0].astype("datetime64[us]").item()
        return stamp.replace(tzinfo=datetime.UTC).astimezone(self.zone)

    def clock(self, at_us: int) -> str:
        """Return the minute of an instant by the clocks of the mark; with its offset where they show it twice."""
        return shown_minute(self.zone, at_us)[11:]

    @property
    def clocks(self) -> str:
        """The zone, and what its clocks are called over the span: the id of a zone may be the name of another clock."""
        times = [self.span.start_us, *(change.time_us for change in clock_changes(self.zone, self.span))]
        names = " then ".join(dict.fromkeys(clock_name(self.local(at)) for at in times))
        return self.zone.key if names == self.zone.key else f"{self.zone.key} ({names})"

    def days(self) -> list[tuple[datetime.date, int, int]]:
        """Return the local days of the span: date, first and last instant [microseconds since 1970]."""
        first, found = self.local(self.span.start_us).date(), []
        while (start := _midnight(first, self.zone)) < self.span.end_us:
            after = first + datetime.timedelta(days=1)
            found.append((first, start, _midnight(after, self.zone)))
            first = after
        return found


def clock_name(local: datetime.datetime) -> str:
    """Return what a clock is called; where the zone has but a number for it, that is an offset from UTC."""
    name = local.tzname() or ""
    return f"UTC{local.isoformat(timespec='minutes')[-6:]}" if name[:1] in "+-" else name


def hour_ticks(chart: MarkChart, start_us: int, end_us: int, every: int) -> list[tuple[int, str]]:
    """Return the full hours of a span by the clocks of the mark that are multiples of ``every``, and what they say."""
    found = []
    for at in range(-(-start_us // US_PER_HOUR) * US_PER_HOUR, end_us + 1, US_PER_HOUR // 4):
        local = chart.local(at)
        if local.minute == 0 and local.hour % every == 0:
            found.append((at, f"{local.hour:02d}"))
    return found


def light_spans(chart: MarkChart, start_us: int, end_us: int) -> list[tuple[str, int, int]]:
    """Return the spans of one class of light each, between two instants, as the columns tell them."""
    inside = (chart.times_us >= start_us) & (chart.times_us < end_us)
    times, light = chart.times_us[inside], chart.light[inside]
    if not len(times):
        return []
    at = np.flatnonzero(light[1:] != light[:-1]) + 1
    edges = [start_us, *times[at].tolist(), end_us]
    kinds = light[np.concatenate(([0], at))].tolist()
    return [(str(kind), edges[k], edges[k + 1]) for k, kind in enumerate(kinds)]


def between(spans: Sequence[tuple[int, int]], start_us: int, end_us: int) -> bool:
    """Return whether any of some spans touches a stretch of time."""
    return any(first < end_us and last > start_us for first, last in spans)


def _midnight(day: datetime.date, zone: zoneinfo.ZoneInfo) -> int:
    local = datetime.datetime(day.year, day.month, day.day, tzinfo=zone)
    return round(local.timestamp()) * 1_000_000
