"""One evaluation: some instants at a mark, with everything that several factors share worked out once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

import numpy as np

from tidecore.flow import day_rates, neap_ratio
from tidecore.timebase import US_PER_DAY, US_PER_HOUR
from tidecore.timeline.sources import Sources
from tidecore.timeline.wall_clock import local_times
from tidecore.units import BoolArray, FloatArray, IntArray, UtcTimes

#: A high or low water further away than this is not looked at [microseconds].
TIDE_REACH_US = 2 * US_PER_DAY
#: A rising or setting further away than this is not looked at [microseconds].
SKY_REACH_US = US_PER_DAY

T = TypeVar("T")
_FAR = np.iinfo(np.int64).max


@dataclass(frozen=True, slots=True)
class HalfTide:
    """The flood or ebb that holds each instant: from one primary turn of the level to the next, shape ``(n,)``.

    ``start_us``, ``end_us`` and the heights [m] mean nothing where ``known`` is false: where the turns lie more than
    two days away, or their range is under 5 cm.
    """

    start_us: IntArray
    end_us: IntArray
    start_height: FloatArray
    end_height: FloatArray
    rising: BoolArray
    known: BoolArray

    def masked(self, values: FloatArray) -> FloatArray:
        """Return ``values``, NaN where the half tide is unknown."""
        return np.where(self.known, values, np.nan)

    @property
    def high(self) -> FloatArray:
        """Height of the high water that bounds the half tide [m]; NaN if unknown."""
        return self.masked(np.where(self.rising, self.end_height, self.start_height))

    @property
    def low(self) -> FloatArray:
        """Height of the low water that bounds the half tide [m]; NaN if unknown."""
        return self.masked(np.where(self.rising, self.start_height, self.end_height))


def since_nearest(times_us: IntArray, events_us: IntArray, reach_us: int) -> IntArray:
    """Return the time since the nearest event, negative before it; a tie counts as after.

    Parameters
    ----------
    times_us : int64 array, shape ``(n,)``
        Instants.
    events_us : int64 array, shape ``(m,)``, ascending
        Events.
    reach_us : int
        Events further away than this do not count.

    Returns
    -------
    int64 array, shape ``(n,)``
        Microseconds; the largest integer where there is no event within reach.
    """
    if not events_us.size:
        return np.full(times_us.shape, _FAR)
    later = np.searchsorted(events_us, times_us, side="right")
    since = times_us - events_us[np.maximum(later - 1, 0)]
    until = events_us[np.minimum(later, events_us.size - 1)] - times_us
    since = np.where((later > 0) & (since <= reach_us), since, _FAR)
    until = np.where((later < events_us.size) & (until <= reach_us), until, _FAR)
    return np.where(since <= until, since, -until)


def in_units(ticks: IntArray, unit_us: int) -> FloatArray:
    """Return the answer of `since_nearest` in a unit of time, NaN where there was no event."""
    found: FloatArray = ticks / unit_us
    far = np.abs(ticks) == _FAR
    return np.where(far, np.nan, found) if far.any() else found


# No slots: the shared quantities are kept in the instance's dictionary once they are worked out.
@dataclass(frozen=True, eq=False)
class Frame:
    """Instants ``times_us`` [int64 microseconds since 1970, shape ``(n,)``, any order] at the mark of ``sources``."""

    sources: Sources
    times_us: IntArray

    def __len__(self) -> int:
        """Return the number of instants."""
        return int(self.times_us.size)

    @cached_property
    def height(self) -> FloatArray:
        """Height of the tide [m above the datum of the timeline]."""
        return self.sources.curve(self.times_us)

    @cached_property
    def rate(self) -> FloatArray:
        """Rate of rise [m/h]."""
        return self.sources.slope(self.times_us)

    @cached_property
    def half_tide(self) -> HalfTide:
        """The flood or ebb that holds each instant."""
        turns = self.sources.turns
        if len(turns) < 2:
            nothing, nowhere = np.zeros(len(self)), np.zeros(len(self), dtype=np.bool_)
            return HalfTide(self.times_us, self.times_us, nothing, nothing, nowhere, nowhere)
        k, known = self._half_tide_at
        start, end = turns.times_us[k], turns.times_us[k + 1]
        return HalfTide(start, end, turns.heights[k], turns.heights[k + 1], turns.high[k + 1], known)

    @cached_property
    def _half_tide_at(self) -> tuple[IntArray, BoolArray]:
        """Which turn begins the half tide that holds each instant, and whether there is a tide."""
        turns = self.sources.turns
        if len(turns) < 2:
            return np.zeros(len(self), dtype=np.int64), np.zeros(len(self), dtype=np.bool_)
        found = np.searchsorted(turns.times_us, self.times_us, side="right") - 1
        k = np.clip(found, 0, len(turns) - 2)
        since, until = self.times_us - turns.times_us[k], turns.times_us[k + 1] - self.times_us
        near = (since <= TIDE_REACH_US) & (until <= TIDE_REACH_US)
        return k, (found == k) & near & turns.moving[k]

    def where_tide(self, values: FloatArray) -> FloatArray:
        """Return ``values``, NaN where there is no tide."""
        known = self._half_tide_at[1]
        return values if known.all() else np.where(known, values, np.nan)

    @cached_property
    def hours_from_hw(self) -> FloatArray:
        """Time since the nearest primary high water [h], negative before it; NaN where there is no tide."""
        since = since_nearest(self.times_us, self.sources.turns.high_us, TIDE_REACH_US)
        return self.where_tide(in_units(since, US_PER_HOUR))

    @cached_property
    def hours_from_lw(self) -> FloatArray:
        """Time since the nearest primary low water [h], negative before it; NaN where there is no tide."""
        since = since_nearest(self.times_us, self.sources.turns.low_us, TIDE_REACH_US)
        return self.where_tide(in_units(since, US_PER_HOUR))

    @cached_property
    def flow_index(self) -> FloatArray:
        """Signed run of the tide, 1 at the mean spring peak; a proxy where the mark has no slack lags.

        NaN where no primary high and low water lie around an instant.
        """
        normaliser = self.sources.model.flow_normaliser
        if normaliser == 0.0:
            return np.full(len(self), np.nan)
        return self.sources.stream.rates(self.times_us, self.times_us) / normaliser

    @cached_property
    def stream_speed(self) -> FloatArray:
        """Speed of the stream [m/s], flood positive; NaN where the mark has no rates or there is no tide.

        The share of the half tide's peak that the flow index has, times the rate of the day, see
        `tidecore.flow.day_rates`.
        """
        source, rates = self.sources, self.sources.mark.stream_rates
        if rates is None or not source.has_springs or len(source.turns) < 2:
            return np.full(len(self), np.nan)
        index, peaks = self.flow_index, source.tables.peak_indices
        half = np.clip(np.searchsorted(source.slacks_us, self.times_us, side="right") - 1, 0, peaks.size - 1)
        with np.errstate(divide="ignore", invalid="ignore"):
            part = np.minimum(np.abs(index) / peaks[half], 1.0)
        ratio = source.cycle.daily_range_at(self.times_us) / source.model.mean_spring_range
        flood, ebb = day_rates(rates, ratio, neap_ratio(source.model.harmonics))
        part = np.sqrt(part) if rates.scaled_by == "root_of_range" else part
        return np.sign(index) * part * np.where(index > 0.0, flood, ebb)

    @cached_property
    def still_level(self) -> FloatArray:
        """Level of the tide [m above the zero of the ground]; NaN where that is unknown."""
        return self.sources.setting.still(self.height)

    @cached_property
    def _kept(self) -> dict[Callable[[Frame], Any], Any]:
        return {}

    def once(self, make: Callable[[Frame], T]) -> T:
        """Return what a function makes of this frame, worked out when it is first asked for."""
        if make not in self._kept:
            self._kept[make] = make(self)
        found: T = self._kept[make]
        return found

    @cached_property
    def sun_altitude(self) -> FloatArray:
        """Altitude of the sun's centre [degrees], without refraction."""
        mark = self.sources.mark
        return self.sources.sky.sun_altitude(mark.latitude, mark.longitude, self.times_us)

    @cached_property
    def moon_altitude(self) -> FloatArray:
        """Altitude of the moon's centre [degrees], without refraction."""
        mark = self.sources.mark
        return self.sources.sky.moon_altitude(mark.latitude, mark.longitude, self.times_us)

    @cached_property
    def moon_seen(self) -> tuple[FloatArray, FloatArray]:
        """Altitude of the moon's centre and the lit part of its disc, both at once."""
        mark = self.sources.mark
        return self.sources.sky.moon_seen(mark.latitude, mark.longitude, self.times_us)

    @cached_property
    def illuminated_fraction(self) -> FloatArray:
        """Part of the moon's disc that is lit, 0 to 1."""
        return self.sources.sky.illuminated_fraction(self.times_us)

    def minutes_from(self, event: str) -> FloatArray:
        """Return the time since the nearest event of the sky [min], negative before it; NaN if none within a day."""
        since = since_nearest(self.times_us, self.sources.sky_times_us(event), SKY_REACH_US)
        return in_units(since, 60_000_000)

    @cached_property
    def local_times(self) -> UtcTimes:
        """What a clock at the mark shows."""
        return local_times(self.sources.mark.zone, self.times_us)
