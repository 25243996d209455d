"""One evaluation at several marks: some instants at each, with what hangs on the mark worked out for all at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby

import numpy as np

from tidecore.flow import Streams
from tidecore.sky import Observers, SkyPositions, observer
from tidecore.timebase import US_PER_DAY, US_PER_MINUTE
from tidecore.timeline.frame import SKY_REACH_US, in_units, since_nearest
from tidecore.timeline.sources import Sources
from tidecore.units import FloatArray, IntArray

#: Tables of two marks that are laid end to end lie further apart than anything is looked for [microseconds].
_APART_US = 6 * US_PER_DAY


class Marks:
    """Several marks over one span, tables of theirs laid end to end: those of mark ``k`` lie ``k`` strides later."""

    def __init__(self, sources: Sequence[Sources]) -> None:
        """Take the sources of the marks, all over one span."""
        self.sources = tuple(sources)
        start, end = self.sources[0].padded
        self.stride_us = int((end - start).astype(np.int64)) + _APART_US
        self._laid: dict[str, IntArray] = {}

    @property
    def sky(self) -> SkyPositions:
        """Positions of sun and moon, which are the same whichever mark has them."""
        return self.sources[0].sky

    @cached_property
    def watchers(self) -> Observers:
        """The marks as observers of the sky."""
        each = [observer(one.mark.latitude, one.mark.longitude) for one in self.sources]
        return Observers(*(np.concatenate(arrays) for arrays in zip(*each, strict=True)))

    @cached_property
    def streams(self) -> tuple[tuple[int, Streams | None], ...]:
        """The streams of so many marks in a row that follow one station; None where it has no tide."""
        found: list[tuple[int, Streams | None]] = []
        for _, some in groupby(enumerate(self.sources), lambda one: id(one[1].tables.station_slope)):
            places, each = zip(*some, strict=True)
            tables, shifts = each[0].tables, [k * self.stride_us for k in places]
            none = tables.model.flow_normaliser == 0.0
            turns = [] if none else [one.stream_turns for one in each]
            found.append((len(each), None if none else Streams.laid(turns, shifts, tables.station_slope)))
        return tuple(found)

    def events_us(self, event: str) -> IntArray:
        """Return the instants of one kind of event of the sky at every mark, laid end to end."""
        if event not in self._laid:
            found = [one.sky_times_us(event) + k * self.stride_us for k, one in enumerate(self.sources)]
            self._laid[event] = np.concatenate(found)
        return self._laid[event]


# No slots: the shared quantities are kept in the instance's dictionary once they are worked out.
@dataclass(frozen=True, eq=False)
class Frames:
    """Instants ``times_us`` [microseconds since 1970]: ``counts[0]`` at the first of some marks, those at the next...

    What it has, it has as the `Frame` of each mark does: to the last digit, unless that is of a single instant.
    """

    marks: Marks
    counts: Sequence[int]
    times_us: IntArray

    def __len__(self) -> int:
        """Return the number of instants."""
        return int(self.times_us.size)

    @cached_property
    def _shifted_us(self) -> IntArray:
        return self.times_us + np.repeat(np.arange(len(self.counts)) * self.marks.stride_us, self.counts)

    @cached_property
    def sun_altitude(self) -> FloatArray:
        """Altitude of the sun's centre [degrees], without refraction."""
        return self.marks.sky.sun_altitude_each(self.marks.watchers, self.counts, self.times_us)

    @cached_property
    def moon_seen(self) -> tuple[FloatArray, FloatArray]:
        """Altitude of the moon's centre and the lit part of its disc, both at once."""
        return self.marks.sky.moon_seen_each(self.marks.watchers, self.counts, self.times_us)

    def minutes_from(self, event: str) -> FloatArray:
        """Return the time since the nearest event of the sky [min], negative before it; NaN if none within a day."""
        since = since_nearest(self._shifted_us, self.marks.events_us(event), SKY_REACH_US)
        return in_units(since, US_PER_MINUTE)

    @cached_property
    def flow_index(self) -> FloatArray:
        """Signed run of the tide, 1 at the mean spring peak; a proxy at marks that have no slack lags."""
        index = np.full(len(self), np.nan)
        mark = first = 0
        for many, streams in self.marks.streams:
            last = first + sum(self.counts[mark : mark + many])
            if streams is not None and last > first:
                rates = streams.rates(self.times_us[first:last], self._shifted_us[first:last])
                index[first:last] = rates / self.marks.sources[mark].model.flow_normaliser
            mark, first = mark + many, last
        return index
