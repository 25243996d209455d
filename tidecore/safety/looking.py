"""What an assessment looks at: the columns of a mark that hazards hang on, every five minutes, worked out once."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import numpy as np

from tidecore.calendars import holds_at, spans
from tidecore.conditions import warning_steps
from tidecore.safety.outing import OutingFacts
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE, TimeSpan, from_microseconds
from tidecore.timeline.access import access_open
from tidecore.timeline.frame import Frame
from tidecore.timeline.shore_sea import ShoreSea, given_waves, number, sea_reaches
from tidecore.timeline.sources import Sources
from tidecore.timeline.surge import pressure_surge
from tidecore.timeline.tide_levels import UpperLevel, levels_every, sill_covered
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray

#: Distance of the instants, and how far they reach beyond the span of a timeline [microseconds].
STEP_US, REACH_US = 5 * US_PER_MINUTE, 13 * US_PER_HOUR
#: Past rain and frost are looked back for, every so often [microseconds].
LOOK_BACK_US, _PAST_STEP_US = 48 * US_PER_HOUR, 10 * US_PER_MINUTE
#: It is dark when the sun's centre is no higher [degrees]: from the end of civil twilight on.
DARK_DEGREE = -6.0
#: An observation of so much thunder [%] says that there was some; a convention. It counts for so long after [us].
OBSERVED_PERCENT, WAIT_US = 50.0, 30 * US_PER_MINUTE
#: Columns of more instants are not shared by marks: they would take more room than time.
_MOST_SHARED = 10_000
T = TypeVar("T")
_THUNDER = ("thunder", "lightning")


# No slots: what is worked out once is kept in the instance's dictionary.
@dataclass(frozen=True, eq=False)
class Look:
    """The instants ``times_us`` at a mark [microseconds since 1970, ascending], and what hazards hang on there."""

    sources: Sources
    times_us: IntArray

    def __len__(self) -> int:
        """Return the number of instants."""
        return int(self.times_us.size)

    @cached_property
    def frame(self) -> Frame:
        """The instants as factors take them."""
        return Frame(self.sources, self.times_us)

    @cached_property
    def sea(self) -> ShoreSea:
        """The sea as it was given, and whether it reaches the mark."""
        waves, setting = self.shared("waves", lambda: given_waves(self.frame)), self.sources.setting
        reaches = self.shared(("reaches", setting.inside, setting.sector), lambda: sea_reaches(self.frame))
        return ShoreSea(waves, reaches)

    @cached_property
    def _levels(self) -> tuple[FloatArray, FloatArray]:
        make = levels_every if len(self) <= _MOST_SHARED else levels_every.__wrapped__
        return make(self.sources.tables, int(self.times_us[0]), int(self.times_us[-1]) + 1, STEP_US)

    @property
    def still(self) -> FloatArray:
        """Level of the tide [m above the zero of the ground]."""
        return self.sources.setting.still(self._levels[0])

    @cached_property
    def upper(self) -> FloatArray:
        """Level that 95 % of waters stay under [m above the zero of the ground]; the zero's uncertainty is water."""
        setting = self.sources.setting
        return setting.still(self._levels[1]) + setting.uncertainty_m

    @cached_property
    def pressure_surge(self) -> FloatArray:
        """What the pressure of the air lifts the sea [m], NaN where it is unknown; high pressure is no less water."""
        return self.shared("pressure_surge", lambda: pressure_surge(self.sources.conditions, self.times_us))

    def surge(self, facts: OutingFacts) -> FloatArray:
        """Return the surge that is given or, where none is, that of the pressure; 0 where neither is known.

        One below 0 is no less water: nobody is safe by what may not come.
        """
        if facts.surge_m is not None:
            return np.full(len(self), max(facts.surge_m, 0.0))
        return np.where(np.isnan(self.pressure_surge), 0.0, self.pressure_surge)

    @cached_property
    def dark(self) -> BoolArray:
        """Whether it is dark."""
        return np.asarray(self.frame.sun_altitude <= DARK_DEGREE)

    @cached_property
    def access(self) -> AnyArray:
        """Whether the mark is open: 1, 0 or -1."""
        return access_open(self.frame)

    @cached_property
    def bathing(self) -> BoolArray:
        """Whether the shore belongs to bathers, by the access calendar."""
        mark, first, last = self.sources.mark, *from_microseconds(self.times_us[[0, -1]])
        kept = [one for one in mark.access if one.kind == "bathing" and one.state == "closed"]
        if not kept:
            return np.zeros(len(self), dtype=np.bool_)
        return holds_at(spans(kept, mark.zone, TimeSpan(first, last + np.timedelta64(1, "us"))), self.times_us)

    def given(self, variable: str) -> FloatArray:
        """Return a variable of the conditions."""
        return self.shared(variable, lambda: number(self.frame, variable))

    @cached_property
    def _times_key(self) -> bytes:
        return self.times_us.tobytes()

    def shared(self, what: Hashable, make: Callable[[], T]) -> T:
        """Return what is made of the conditions and the instants alone; marks that share both make it once."""
        conditions = self.sources.conditions
        if conditions is None or len(self) > _MOST_SHARED:
            return make()
        return conditions.once(("look", what, self._times_key), make)

    @cached_property
    def warning_levels(self) -> IntArray:
        """Places in `WARNING_LEVELS`, -1 where nothing is told."""
        return self.sources.warnings.at(self.times_us)

    @cached_property
    def warned_of_unknown(self) -> BoolArray:
        """Whether a warning is in force that does not say how grave it is."""
        return np.asarray(self._in_force("") & (self.warning_levels < 0))

    @cached_property
    def warned_of_thunder(self) -> BoolArray:
        """Whether an official warning of thunder is in force; one that was cancelled is not."""
        conditions, mark = self.sources.conditions, self.sources.mark
        if conditions is None or not conditions.warnings:
            return np.zeros(len(self), dtype=np.bool_)
        thundery = [one for one in conditions.warnings if _of_thunder(one.event, one.headline)]
        if not thundery:
            return np.zeros(len(self), dtype=np.bool_)
        cancels = [one for one in conditions.warnings if one.msg_type == "cancel" and one not in thundery]
        steps = warning_steps([*thundery, *cancels], mark.latitude, mark.longitude)
        return np.asarray(self._in_force("thunder") & (steps.at(self.times_us) != 0))

    def _in_force(self, about: str) -> BoolArray:
        found, mark = np.zeros(len(self), dtype=np.bool_), self.sources.mark
        for one in () if self.sources.conditions is None else self.sources.conditions.warnings:
            if one.msg_type == "cancel" or one.covers(mark.latitude, mark.longitude) is False:
                continue
            if not about or _of_thunder(one.event, one.headline):
                first, last = one.in_force_us
                found |= (self.times_us >= first) & (self.times_us <= last)
        return found

    @cached_property
    def thunder_seen(self) -> BoolArray:
        """Whether thunder was observed, or was in the half hour before."""
        return self.shared("thunder", self._thundered)

    def _thundered(self) -> BoolArray:
        conditions = self.sources.conditions
        if conditions is None or all(one.kind != "observation" for one in conditions.issues):
            return np.zeros(len(self), dtype=np.bool_)
        times = np.arange(self.times_us[0] - WAIT_US, self.times_us[-1] + 1, STEP_US, dtype=np.int64)
        pieces = conditions.pieces("thunder_probability_percent")
        observed = np.array([*(one.kind == "observation" for one in conditions.issues), False])
        heard = times[observed[pieces.owners(times)] & (pieces.at(times) >= OBSERVED_PERCENT)]
        last = np.searchsorted(heard, self.times_us, side="right") - 1
        if not heard.size:
            return np.zeros(len(self), dtype=np.bool_)
        return np.asarray((last >= 0) & (self.times_us - heard[np.maximum(last, 0)] <= WAIT_US))

    @cached_property
    def rained_mm(self) -> tuple[FloatArray, BoolArray]:
        """Rain of the 48 h before so far as it is known [mm], and whether all of it is known."""
        return self.shared("rained", self._rained)

    def _rained(self) -> tuple[FloatArray, BoolArray]:
        rates = self._past("rain_mm_per_h")
        known = ~np.isnan(rates)
        hours = _PAST_STEP_US / US_PER_HOUR
        total, unknown = _trailing(np.where(known, rates, 0.0) * hours), _trailing(1.0 - known)
        return self._now(total), self._now(unknown) == 0.0

    @cached_property
    def frost(self) -> AnyArray:
        """Whether it froze in the 48 h before: 1, 0, or -1 where nobody knows."""
        return self.shared("frost", self._froze)

    def _froze(self) -> AnyArray:
        air = self._past("air_temperature_c")
        # Both ends of the 48 h are in them.
        froze = self._now(_trailing((air <= 0.0).astype(np.float64), 1)) > 0.0
        unknown = self._now(_trailing(np.isnan(air).astype(np.float64), 1)) > 0.0
        return np.where(froze, 1, np.where(unknown, -1, 0)).astype(np.int8)

    @cached_property
    def _past_us(self) -> IntArray:
        first = (self.times_us[0] - LOOK_BACK_US) // _PAST_STEP_US * _PAST_STEP_US
        return np.arange(first, self.times_us[-1] + 1, _PAST_STEP_US, dtype=np.int64)

    def _past(self, variable: str) -> FloatArray:
        conditions = self.sources.conditions
        if conditions is None:
            return np.full(self._past_us.size, np.nan)
        found: FloatArray = conditions.at(variable, self._past_us)
        return found

    def _now(self, values: FloatArray) -> FloatArray:
        now: FloatArray = values[np.searchsorted(self._past_us, self.times_us, side="right") - 1]
        return now

    def covered(self, margin_m: float, facts: OutingFacts, usual_m: float) -> IntArray:
        """Return when the lowest sill of the way back counts as covered, shape ``(n, 2)``; none without a way.

        ``margin_m`` below the sill is the water that counts; ``usual_m`` is that of the factors of the timeline.
        """
        setting = self.sources.setting
        if setting.way is None or np.isnan(setting.zero_m):
            return np.empty((0, 2), dtype=np.int64)
        if margin_m == usual_m and not self.surge(facts).any() and setting.way.lead_min is not None:
            return self.sources.once(sill_covered)
        sill = setting.way.sill_m - margin_m - (setting.uncertainty_m - setting.zero_m)
        ends = int(self.times_us[0]) - US_PER_HOUR, int(self.times_us[-1]) + 13 * US_PER_HOUR
        surge_m = None if facts.surge_m is None else max(facts.surge_m, 0.0)
        return UpperLevel(self.sources.tables, self.sources.conditions, surge_m).over(sill, *ends)


def _of_thunder(*texts: str) -> bool:
    return any(word in text.lower() for text in texts for word in _THUNDER)


def _trailing(values: FloatArray, more: int = 0) -> FloatArray:
    """Return the sum of the values of the 48 h that end with each, or of some values more."""
    count = LOOK_BACK_US // _PAST_STEP_US + more
    total = np.append(0.0, np.cumsum(values))
    later = np.arange(1, total.size)
    summed: FloatArray = total[later] - total[np.maximum(later - count, 0)]
    return summed


def look_at(sources: Sources) -> Look:
    """Return what hazards hang on, over the span of a timeline and as far beyond it as a walk may go."""
    first = (sources.span.start_us - REACH_US) // STEP_US * STEP_US
    return Look(sources, np.arange(first, sources.span.end_us + REACH_US + STEP_US, STEP_US, dtype=np.int64))


def walk_us(sources: Sources, pace: float = 1.0) -> int:
    """Return how long the way back takes [microseconds], 0 where that is not known."""
    way = sources.setting.way
    return 0 if way is None or way.walk_min is None else round(way.walk_min * pace * US_PER_MINUTE)
