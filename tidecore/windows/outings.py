"""Outings: when to be where, trimmed to free time and open gates; what is worked out of them before they are ranked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from tidecore.calendars import clipped, difference, merged
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE
from tidecore.timeline import Timeline
from tidecore.units import FloatArray, IntArray
from tidecore.windows.curves import Curve, MarkSearch
from tidecore.windows.options import SessionOptions

#: Starts of a session, and changes of mark, are tried so far apart [microseconds].
TRIED_US = 5 * US_PER_MINUTE
#: Integrals nearer than this are equal [h].
EQUAL_H = 1e-9
_HOUR_MIN = US_PER_HOUR // US_PER_MINUTE


# These two are tuples: a month has hundreds a mark, and a tuple is made in a fifth of the time of a frozen dataclass.
class OutingLeg(NamedTuple):
    """A stay at one mark: arriving, fishing from ``start_us`` to before ``end_us``, leaving [microseconds since 1970].

    ``score_hours`` is the integral over the fishing of the best score of all rules at each instant [h];
    ``rule_hours`` are the integrals of the rules that have a window in it, by their keys.
    """

    mark: str
    arrive_us: int
    start_us: int
    end_us: int
    leave_us: int
    score_hours: float
    rule_hours: tuple[tuple[str, float], ...]


class Outing(NamedTuple):
    """One outing: its one or two legs, the way there and back, and what it is worth.

    Parameters
    ----------
    legs : tuple of OutingLeg
        In time order.
    there_us, back_us : int
        Way to the first mark and back from the last [microseconds].
    tide_us : int
        The high water nearest to the middle of the best hour: two outings with the same are of one tide.
    best_us : tuple of int
        The best hour [microseconds since 1970].
    best_score : float
        Mean of the best score over that hour.
    """

    legs: tuple[OutingLeg, ...]
    there_us: int
    back_us: int
    tide_us: int
    best_us: tuple[int, int]
    best_score: float

    @property
    def marks(self) -> tuple[str, ...]:
        """The marks, in the order in which they are fished."""
        return tuple([leg.mark for leg in self.legs])

    @property
    def arrive_us(self) -> int:
        """When the first mark is reached."""
        return self.legs[0].arrive_us

    @property
    def leave_us(self) -> int:
        """When the last mark is left."""
        return self.legs[-1].leave_us

    @property
    def score_hours(self) -> float:
        """Integral of the best score over all the fishing [h]."""
        return sum(leg.score_hours for leg in self.legs)

    @property
    def rule_hours(self) -> dict[str, float]:
        """Integrals of the rules over all the fishing [h], by their keys."""
        found: dict[str, float] = {}
        for leg in self.legs:
            for key, hours in leg.rule_hours:
                found[key] = found.get(key, 0.0) + hours
        return dict(sorted(found.items()))

    @property
    def order(self) -> tuple[object, ...]:
        """By what outings of equal worth are put in order: the earlier first, then by the keys of their marks."""
        return (self.arrive_us, self.leave_us, self.marks, self.legs[0].end_us)


def stays(
    search: MarkSearch, free_us: IntArray | None = None, there_min: float = 0.0, back_min: float = 0.0
) -> IntArray:
    """Return when one may be at a mark: in free time less the way there and back, with access not closed and no danger.

    Parameters
    ----------
    search : MarkSearch
        The mark; without free time the span of its timeline is free.
    free_us : int64 array, shape ``(n, 2)``, optional
        Free time [microseconds since 1970], ascending and apart.
    there_min, back_min : float
        The way there and back [min].

    Returns
    -------
    int64 array, shape ``(m, 2)``
        Spans, ascending and apart.
    """
    span = search.timeline.span
    whole = np.array([[span.start_us, span.end_us]], dtype=np.int64)
    free = whole if free_us is None else clipped(free_us, span.start_us, span.end_us)
    less = np.array([round(there_min * US_PER_MINUTE), -round(back_min * US_PER_MINUTE)], dtype=np.int64)
    whole_us = difference(merged(free + less), difference(whole, search.open_us))
    return difference(whole_us, difference(whole, search.safe_us))


def find_outings(
    search: MarkSearch,
    options: SessionOptions,
    free_us: IntArray | None = None,
    travel_min: float = 0.0,
) -> list[Outing]:
    """Return the outings to one mark, in time order.

    Windows of all rules that lie no further apart than a lull make one outing. One that is too short for its window is
    made longer, into the time around it that scores best; one that is too long is the part that scores best, and what
    is left before and after it makes others if it is long enough.

    Parameters
    ----------
    search : MarkSearch
        What the rules find there.
    options : SessionOptions
        How an angler goes out.
    free_us : int64 array, shape ``(n, 2)``, optional
        Free time [microseconds since 1970]; the span of the search unless given. The ways there and back lie in it.
    travel_min : float
        The way there, and the way back [min].
    """
    rows = stays(search, free_us, travel_min, travel_min)
    chains = list(fishable_chains(search, rows, options))
    long = [one for _, _, one in chains if one[1] - one[0] > options.most_fishing_us]
    short = [(*one, first, last) for first, last, one in chains if one[1] - one[0] <= options.most_fishing_us]
    spans = np.concatenate((_cut(search.best, _rows(long), options), _lengthened(search.best, short, options)))
    spans = spans[spans[:, 1] - spans[:, 0] >= options.least_fishing_us]
    legs = [leg for leg in _legs_at(search, spans[np.lexsort(spans.T[::-1])], options) if leg.rule_hours]
    return _outings_of(legs, search, round(travel_min * US_PER_MINUTE))


def leg_at(search: MarkSearch, start_us: int, end_us: int, options: SessionOptions) -> OutingLeg:
    """Return the stay at a mark that fishes a span."""
    return _legs_at(search, _rows([(start_us, end_us)]), options)[0]


def _legs_at(search: MarkSearch, spans: IntArray, options: SessionOptions) -> list[OutingLeg]:
    """Return the stays at a mark that fish some spans, all worked out at once."""
    starts, ends = spans.T
    worth = search.best.integrals(starts, ends)
    hours: list[list[tuple[str, float]]] = [[] for _ in spans]
    for one in search.curves:
        windows = one.windows_us
        # The first window that ends after a span begins; the windows of a rule are apart and in order.
        k = np.searchsorted(windows[:, 1], starts, side="right")
        there = np.flatnonzero(k < len(windows))
        there = there[windows[k[there], 0] < ends[there]]
        for place, value in zip(there.tolist(), one.score.integrals(starts[there], ends[there]), strict=True):
            hours[place].append((one.key, value))
    before, after = options.set_up_us, options.pack_up_us
    return [
        OutingLeg(search.key, start - before, start, end, end + after, worth[k], tuple(hours[k]))
        for k, (start, end) in enumerate(zip(starts.tolist(), ends.tolist(), strict=True))
    ]


def _outings_of(legs: Sequence[OutingLeg], search: MarkSearch, way_us: int) -> list[Outing]:
    """Return the outings of one leg each, as `outing_of` does, all worked out at once."""
    if not legs:
        return []
    best = _best_hours(search.best, _rows([(leg.start_us, leg.end_us) for leg in legs]))
    tides = _tides(search.timeline, [(start + end) // 2 for start, end, _ in best])
    return [
        Outing((leg,), way_us, way_us, tide, (start, end), mean)
        for leg, (start, end, mean), tide in zip(legs, best, tides, strict=True)
    ]


def outing_of(
    legs: tuple[OutingLeg, ...], searches: Sequence[MarkSearch], there_us: int = 0, back_us: int = 0
) -> Outing:
    """Return the outing of some legs, each with what was found at its mark."""
    best: tuple[float, int, int, Timeline] | None = None
    for leg, search in zip(legs, searches, strict=True):
        ((start, end, mean),) = _best_hours(search.best, _rows([(leg.start_us, leg.end_us)]))
        if best is None or mean > best[0] + EQUAL_H:
            best = (mean, start, end, search.timeline)
    assert best is not None
    mean, start, end, timeline = best
    (tide,) = _tides(timeline, [(start + end) // 2])
    return Outing(legs, there_us, back_us, tide, (start, end), mean)


def fishable_chains(
    search: MarkSearch, rows: IntArray, options: SessionOptions
) -> Iterator[tuple[int, int, tuple[int, int]]]:
    """Return the spans of windows with lulls bridged, each after the first and last instant of fishing there."""
    windows = merged(np.concatenate([np.empty((0, 2), dtype=np.int64), *(one.windows_us for one in search.curves)]))
    for arrive, leave in rows.tolist():
        first, last = arrive + options.set_up_us, leave - options.pack_up_us
        pieces = clipped(windows, first, last)
        if len(pieces):
            gaps = np.flatnonzero(pieces[1:, 0] - pieces[:-1, 1] > options.lull_us)
            starts, stops = np.append(0, gaps + 1), np.append(gaps, len(pieces) - 1)
            for start, stop in zip(pieces[starts, 0].tolist(), pieces[stops, 1].tolist(), strict=True):
                yield first, last, (start, stop)


def _rows(spans: Sequence[tuple[int, int]]) -> IntArray:
    return np.array(spans, dtype=np.int64).reshape(-1, 2)


def _lengthened(curve: Curve, spans: Sequence[tuple[int, int, int, int]], options: SessionOptions) -> IntArray:
    """Return spans made as long as the least, as far as they may be fished: into what scores best around them.

    Each span is given with the first and the last instant of fishing around it.
    """
    long_enough, tried, counts, lengths = [], [], [], []
    for start, end, first, last in spans:
        length = min(options.least_fishing_us, last - first)
        missing = length - (end - start)
        if missing <= 0:
            long_enough.append((start, end))
            continue
        # Of equals, half before and half after.
        half = missing // 2
        before = sorted({*range(0, missing, TRIED_US), half, missing}, key=lambda one: (abs(one - half), one))
        tried += [min(max(start - one, first), last - length) for one in before]
        counts.append(len(before))
        lengths.append(length)
    starts, many, long = (np.array(one, dtype=np.int64) for one in (tried, counts, lengths))
    chosen, _ = _best_starts(curve, starts, many, long)
    return np.concatenate((_rows(long_enough), np.stack((chosen, chosen + long), axis=1)))


def _cut(curve: Curve, spans: IntArray, options: SessionOptions) -> IntArray:
    """Return the best part of each span that is too long, and what is left of it if that is long enough."""
    longest, between = options.most_fishing_us, options.set_up_us + options.pack_up_us
    found, left = [_rows([])], spans
    while len(left):
        starts, ends = left.T
        chosen, _ = _best_starts(curve, *_stepped(starts, ends - longest, TRIED_US), longest)
        before, after = (starts, chosen - between), (chosen + longest + between, ends)
        rests = np.concatenate((np.stack(before, axis=1), np.stack(after, axis=1)))
        lasting = rests[:, 1] - rests[:, 0]
        kept = (lasting >= options.least_fishing_us) & (lasting <= longest)
        found += [np.stack((chosen, chosen + longest), axis=1), rests[kept]]
        left = rests[lasting > longest]
    return np.concatenate(found)


def _stepped(firsts: IntArray, lasts: IntArray, step_us: int) -> tuple[IntArray, IntArray]:
    """Return rows of instants that go from firsts to lasts by steps, one row after the other, and how many each has."""
    counts = -(-(lasts - firsts) // step_us) + 1
    places = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    return np.minimum(np.repeat(firsts, counts) + places * step_us, np.repeat(lasts, counts)), counts


def _best_starts(
    curve: Curve, starts: IntArray, counts: IntArray, lengths: IntArray | int
) -> tuple[IntArray, FloatArray]:
    """Return of each row of starts the best for a span of its length, the first of equals, and the integral [h].

    The rows lie one after the other and have so many starts each; no row is empty.
    """
    worth = curve.total(starts + np.repeat(np.broadcast_to(lengths, counts.shape), counts)) - curve.total(starts)
    return _first_best(starts, worth, counts)


def _first_best(starts: IntArray, worth: FloatArray, counts: IntArray) -> tuple[IntArray, FloatArray]:
    """Return of each row of starts the first that is worth most, and what it is worth."""
    if not counts.size:
        return starts, worth
    firsts = np.cumsum(counts) - counts
    best = np.flatnonzero(worth >= np.repeat(np.maximum.reduceat(worth, firsts) - EQUAL_H, counts))
    chosen = best[np.searchsorted(best, firsts)]
    return starts[chosen], worth[chosen]


def _best_hours(curve: Curve, spans: IntArray) -> list[tuple[int, int, float]]:
    """Return the best hours in spans, on whole minutes or where there are none at the start, and their means.

    A span itself where it is no longer.
    """
    starts, ends = spans.T
    longer = ends - starts > US_PER_HOUR
    first, last = -(-starts // US_PER_MINUTE) * US_PER_MINUTE, (ends - US_PER_HOUR) // US_PER_MINUTE * US_PER_MINUTE
    first, last = (np.where(first <= last, one, starts)[longer] for one in (first, last))
    begin, finish, mean = starts.copy(), ends.copy(), np.empty(starts.size)
    # An hour ends where another starts: each minute is looked at once.
    starts_us, counts = _stepped(first, last, US_PER_MINUTE)
    minutes, many = _stepped(first, last + US_PER_HOUR, US_PER_MINUTE)
    until = curve.total(minutes)
    at = np.arange(starts_us.size) + np.repeat(np.cumsum(many) - many - np.cumsum(counts) + counts, counts)
    begin[longer], mean[longer] = _first_best(starts_us, until[at + _HOUR_MIN] - until[at], counts)
    finish[longer] = begin[longer] + US_PER_HOUR
    short = np.array(curve.integrals(starts[~longer], ends[~longer]))
    mean[~longer] = short * US_PER_HOUR / np.maximum(1, ends - starts)[~longer]
    return list(zip(begin.tolist(), finish.tolist(), mean.tolist(), strict=True))


def _tides(timeline: Timeline, times_us: Sequence[int]) -> list[int]:
    """Return the high waters nearest to instants, the earlier of equals; the instants where there is no tide."""
    high, times = timeline.sources.turns.high_us, np.array(times_us, dtype=np.int64)
    if not high.size:
        return list(times_us)
    after = np.clip(np.searchsorted(high, times), 1, max(1, high.size - 1))
    before = after - 1
    after = np.minimum(after, high.size - 1)
    nearer: list[int] = np.where(high[after] - times < times - high[before], high[after], high[before]).tolist()
    return nearer
