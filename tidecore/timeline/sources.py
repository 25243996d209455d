"""What factors are worked out from: the tables of a station's tide and of the sky over a mark, padded once.

The tables reach so far beyond the span of a timeline that the value at an instant never depends on the span.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any, TypeVar

import numpy as np

from tidecore.calendars import FreeTime
from tidecore.conditions import Conditions, SeaAtMark, WarningSteps, sea_at, warning_steps
from tidecore.datums import RangeCycle
from tidecore.extremes import Extremes, peak_rates
from tidecore.flow import SlackLags, Streams, StreamTurns
from tidecore.model import TideModel
from tidecore.offsets import PlaceTide, WarpedHeight, WarpedRate, check_offsets, place_tide
from tidecore.place import Mark, MarkOffsets
from tidecore.roots.pieces import PiecewisePolynomial
from tidecore.shore.setting import Setting, setting_of
from tidecore.sky import SkyEvents, SkyPositions, sky_events, sky_positions
from tidecore.timebase import US_PER_DAY, TimeSpan, from_microseconds
from tidecore.units import BoolArray, FloatArray, IntArray

#: Factors may be evaluated so far outside the span of a timeline [microseconds].
MARGIN_US = US_PER_DAY
#: A function of instants [microseconds since 1970].
Curve = Callable[[IntArray | FloatArray], FloatArray]
#: The tables reach two days further than that, and on to whole days.
_PADDING_US = MARGIN_US + 2 * US_PER_DAY
#: A smaller range than this is no tide [m].
NO_TIDE_M = 0.05
#: A station whose springs are smaller than this has no tide to speak of [m].
_LEAST_SPRINGS_M = 0.05
_TABLES_KEPT = 32
T = TypeVar("T")


# No slots here and below: what is worked out once is kept in the instance's dictionary.
@dataclass(frozen=True, eq=False)
class Turns:
    """Primary high and low waters in time order: instants, heights [m], and which are high; they alternate."""

    times_us: IntArray
    heights: FloatArray
    high: BoolArray

    def __len__(self) -> int:
        """Return the number of turns."""
        return int(self.times_us.size)

    @cached_property
    def high_us(self) -> IntArray:
        """Instants of the high waters."""
        return self.times_us[self.high]

    @cached_property
    def low_us(self) -> IntArray:
        """Instants of the low waters."""
        return self.times_us[~self.high]

    @cached_property
    def low(self) -> BoolArray:
        """Which are low."""
        return ~self.high

    @cached_property
    def moving(self) -> BoolArray:
        """Of each turn but the last whether a tide worth the name follows, from high to low or from low to high."""
        rise = np.abs(np.diff(self.heights))
        return np.asarray((self.high[1:] != self.high[:-1]) & (rise >= NO_TIDE_M))


@dataclass(frozen=True, eq=False)
class TideTables:
    """The tide of a station from ``start_us`` to ``end_us``; each table is made when first asked for."""

    model: TideModel
    start_us: int
    end_us: int

    @property
    def _ends(self) -> tuple[np.datetime64, np.datetime64]:
        start, end = from_microseconds(np.array([self.start_us, self.end_us]))
        return start, end

    @property
    def datum(self) -> str:
        """What heights are above."""
        return self.model.datum

    @cached_property
    def station_curve(self) -> PiecewisePolynomial:
        """Height of the tide at the station [m above its datum]."""
        return self.model.harmonics.pieces(self.start_us, self.end_us)

    @cached_property
    def station_slope(self) -> PiecewisePolynomial:
        """Rate of rise at the station [m/h]."""
        return self.station_curve.derivative()

    @property
    def curve(self) -> Curve:
        """Height of the tide [m above the datum]."""
        return self.station_curve

    @property
    def slope(self) -> Curve:
        """Rate of rise [m/h]."""
        return self.station_slope

    @cached_property
    def extremes(self) -> Extremes:
        """High and low waters, secondary ones included."""
        return self.model.extremes(*self._ends)

    @property
    def station_turns_us(self) -> IntArray:
        """When each of ``turns`` comes at the station."""
        return self.turns.times_us

    @cached_property
    def peak_indices(self) -> FloatArray:
        """Largest flow strength of the half tide after each of ``turns`` but the last."""
        return peak_rates(self.station_slope, self.station_turns_us.astype(np.float64)) / self.model.flow_normaliser

    @property
    def held_turns(self) -> BoolArray:
        """Of which of ``turns`` a difference of height was held; see `tidecore.offsets.place_heights`."""
        return np.zeros(len(self.turns), dtype=np.bool_)

    @cached_property
    def turns(self) -> Turns:
        """Primary high and low waters."""
        primary = self.extremes.primaries()
        return Turns(primary.times_us(), primary.height, primary.kind == "high")

    @cached_property
    def cycle(self) -> RangeCycle:
        """Springs and neaps (tropic and equatorial tides)."""
        return self.model.range_cycle(*self._ends)

    @property
    def has_springs(self) -> bool:
        """Whether the station's springs are large enough to be told from no tide."""
        return bool(self.model.mean_spring_range >= _LEAST_SPRINGS_M)


# The fields of the base stay what they are: the span is one at the place.
@dataclass(frozen=True, eq=False)
class PlaceTables(TideTables):
    """The tide of a place that has ``offsets`` from that of a station; springs and neaps are the station's."""

    offsets: MarkOffsets

    @property
    def datum(self) -> str:
        """What heights are above: the datum of the offsets, or else that of the station."""
        return self.offsets.datum or self.model.datum

    @cached_property
    def place(self) -> PlaceTide:
        """High and low waters, and the warp of the curve."""
        return place_tide(self.model.harmonics, self.offsets, *self._ends)

    @cached_property
    def station_curve(self) -> PiecewisePolynomial:
        """Height of the tide at the station [m above its datum], as far as the warp reaches."""
        reach = self.place.warp.station_us
        ends = (reach[0], reach[-1]) if reach.size else (self.start_us, self.end_us)
        return self.model.harmonics.pieces(int(ends[0]), int(ends[1]))

    @cached_property
    def curve(self) -> Curve:
        """Height of the tide at the place [m above the datum]."""
        return WarpedHeight(self.place.warp, self.station_curve)

    @cached_property
    def slope(self) -> Curve:
        """Rate of rise at the place [m/h]."""
        return WarpedRate(self.place.warp, self.station_slope)

    @cached_property
    def extremes(self) -> Extremes:
        """High and low waters at the place, secondary ones included."""
        return self.place.extremes

    @cached_property
    def station_turns_us(self) -> IntArray:
        """When each of ``turns`` comes at the station."""
        return self.place.station_us[self.place.extremes.primary]

    @cached_property
    def held_turns(self) -> BoolArray:
        """Of which of ``turns`` a difference of height was held; see `tidecore.offsets.place_heights`."""
        return self.place.held[self.place.extremes.primary]


class _Identity:
    """A model as a key: the very same object, whatever it equals."""

    __slots__ = ("model",)

    def __init__(self, model: TideModel) -> None:
        self.model = model

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Identity) and other.model is self.model

    def __hash__(self) -> int:
        return id(self.model)


@lru_cache(maxsize=_TABLES_KEPT)
def _kept_tables(key: _Identity, start_us: int, end_us: int, offsets: MarkOffsets | None) -> TideTables:
    if offsets is None:
        return TideTables(key.model, start_us, end_us)
    check_offsets(key.model.harmonics, offsets)
    return PlaceTables(key.model, start_us, end_us, offsets)


def tide_tables(model: TideModel, span: TimeSpan, offsets: MarkOffsets | None = None) -> TideTables:
    """Return the tables that a timeline over ``span`` needs; marks that follow one model alike share them.

    Raises
    ------
    InvalidInput
        If ``offsets`` make no tide of the station's, see `tidecore.offsets.check_offsets`.
    """
    return _kept_tables(_Identity(model), *_padded(span), offsets)


def _padded(span: TimeSpan) -> tuple[int, int]:
    """Return the span with the padding of tables, on whole days [microseconds]."""
    start, end = span.start_us - _PADDING_US, span.end_us + _PADDING_US
    return start // US_PER_DAY * US_PER_DAY, -(-end // US_PER_DAY) * US_PER_DAY


@dataclass(frozen=True, eq=False)
class Sources:
    """Everything the factors of one mark over one span are worked out from.

    ``shared_sky`` are positions of sun and moon that several marks share; where they don't reach as far as needed,
    or are None, the mark gets its own, which are equal. ``conditions`` is what the caller gave of sea and air,
    ``free_time`` when he is free; None where he said nothing.
    """

    mark: Mark
    tables: TideTables
    span: TimeSpan
    shared_sky: SkyPositions | None = None
    conditions: Conditions | None = None
    free_time: FreeTime | None = None

    @property
    def model(self) -> TideModel:
        """The station's tide model."""
        return self.tables.model

    @property
    def curve(self) -> Curve:
        """Height of the tide [m above the datum]."""
        return self.tables.curve

    @property
    def slope(self) -> Curve:
        """Rate of rise [m/h]."""
        return self.tables.slope

    @property
    def extremes(self) -> Extremes:
        """High and low waters, secondary ones included."""
        return self.tables.extremes

    @property
    def turns(self) -> Turns:
        """Primary high and low waters."""
        return self.tables.turns

    @property
    def cycle(self) -> RangeCycle:
        """Springs and neaps (tropic and equatorial tides)."""
        return self.tables.cycle

    @property
    def has_springs(self) -> bool:
        """Whether the station's springs are large enough to be told from no tide."""
        return self.tables.has_springs

    @cached_property
    def lags(self) -> SlackLags | None:
        """The mark's slack lags, None where they are unknown."""
        lags = self.mark.slack_lags
        return None if lags is None else SlackLags(lags.after_hw_min, lags.after_lw_min)

    @cached_property
    def slacks_us(self) -> IntArray:
        """Instants at which the stream turns, one for each of ``turns``; without lags the turns themselves."""
        turns = self.turns
        return turns.times_us if self.lags is None else self.lags.after(turns.times_us, turns.high)

    @property
    def stream_turns(self) -> StreamTurns:
        """When the stream turns, and what each turn stands for."""
        as_level = self.lags is None and self.mark.offsets is None
        at_station = self.slacks_us if as_level else self.tables.station_turns_us
        return StreamTurns(self.slacks_us, at_station, self.turns.low)

    @cached_property
    def stream(self) -> Streams:
        """The stream at the mark."""
        return Streams.laid([self.stream_turns], [0], self.tables.station_slope)

    @cached_property
    def slack_points_us(self) -> IntArray:
        """Instants at which the flow index may pass through zero or touch it: every turning point, lagged."""
        turns = self.turns
        if len(turns) < 2:
            return self.extremes.times_us()
        return np.rint(np.interp(self.extremes.times_us(), turns.times_us, self.slacks_us)).astype(np.int64)

    @cached_property
    def setting(self) -> Setting:
        """The shore of the mark."""
        return setting_of(self.mark)

    @cached_property
    def _kept(self) -> dict[Callable[[Sources], Any], Any]:
        return {}

    def once(self, make: Callable[[Sources], T]) -> T:
        """Return what a function makes of these sources, worked out when it is first asked for."""
        if make not in self._kept:
            self._kept[make] = make(self)
        found: T = self._kept[make]
        return found

    @property
    def padded(self) -> tuple[np.datetime64, np.datetime64]:
        """The span that tables cover."""
        start, end = from_microseconds(np.array(_padded(self.span)))
        return start, end

    @cached_property
    def sky(self) -> SkyPositions:
        """Positions of sun and moon over the padded span."""
        start, end = self.padded
        shared = self.shared_sky
        if shared is not None and shared.start <= start and shared.end >= end:
            return shared
        return sky_positions(start, end)

    @cached_property
    def sky_events(self) -> SkyEvents:
        """Risings, settings and twilights at the mark over the padded span."""
        return sky_events(self.sky, self.mark.latitude, self.mark.longitude, *self.padded)

    @property
    def has_sky_events(self) -> bool:
        """Whether `sky_events` has been worked out."""
        return "sky_events" in self.__dict__

    def keep_sky_events(self, events: SkyEvents) -> None:
        """Take what was worked out for several marks at once as this mark's `sky_events`."""
        self.__dict__["sky_events"] = events

    @cached_property
    def free_us(self) -> IntArray | None:
        """Free time over the padded span, spans as rows; None where nobody said when that is."""
        if self.free_time is None:
            return None
        start, end = self.padded
        return self.free_time.spans(self.mark.zone, TimeSpan(start, end))

    def sky_times_us(self, kind: str) -> IntArray:
        """Return the instants of one kind of event of the sky."""
        return self.sky_events.of(kind).view(np.int64)

    @cached_property
    def sea(self) -> SeaAtMark | None:
        """The sea at the mark; None where the caller gave no conditions."""
        return None if self.conditions is None else sea_at(self.conditions, self.mark)

    @cached_property
    def warnings(self) -> WarningSteps:
        """The gravest official warning in force at the mark."""
        told = () if self.conditions is None else self.conditions.warnings
        return warning_steps(told, self.mark.latitude, self.mark.longitude)
