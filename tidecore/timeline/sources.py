"""What factors are worked out from: the tables of a station's tide and of the sky over a mark, padded once.

The tables reach so far beyond the span of a timeline that the value at an instant never depends on the span.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from tidecore.datums import RangeCycle
from tidecore.extremes import Extremes
from tidecore.flow import SlackLags, slack_times
from tidecore.model import TideModel
from tidecore.place import Mark
from tidecore.roots.pieces import PiecewisePolynomial
from tidecore.sky import SkyEvents, SkyPositions, sky_events, sky_positions
from tidecore.timebase import US_PER_DAY, TimeSpan, from_microseconds
from tidecore.units import BoolArray, FloatArray, IntArray

#: Factors may be evaluated so far outside the span of a timeline [microseconds].
MARGIN_US = US_PER_DAY
#: The tables reach two days further than that, and on to whole days.
_PADDING_US = MARGIN_US + 2 * US_PER_DAY
#: A station whose springs are smaller than this has no tide to speak of [m].
_LEAST_SPRINGS_M = 0.05
_TABLES_KEPT = 32


@dataclass(frozen=True, slots=True, eq=False)
class Turns:
    """Primary high and low waters in time order: instants, heights [m], and which are high; they alternate."""

    times_us: IntArray
    heights: FloatArray
    high: BoolArray

    def __len__(self) -> int:
        """Return the number of turns."""
        return int(self.times_us.size)

    @property
    def high_us(self) -> IntArray:
        """Instants of the high waters."""
        return self.times_us[self.high]

    @property
    def low_us(self) -> IntArray:
        """Instants of the low waters."""
        return self.times_us[~self.high]


# No slots here and below: what is worked out once is kept in the instance's dictionary.
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

    @cached_property
    def curve(self) -> PiecewisePolynomial:
        """Height of the tide [m above the station's datum]."""
        return self.model.harmonics.pieces(self.start_us, self.end_us)

    @cached_property
    def slope(self) -> PiecewisePolynomial:
        """Rate of rise [m/h]."""
        return self.curve.derivative()

    @cached_property
    def extremes(self) -> Extremes:
        """High and low waters, secondary ones included."""
        return self.model.extremes(*self._ends)

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
def _kept_tables(key: _Identity, start_us: int, end_us: int) -> TideTables:
    return TideTables(key.model, start_us, end_us)


def tide_tables(model: TideModel, span: TimeSpan) -> TideTables:
    """Return the tables that a timeline over ``span`` needs; marks that follow one model share them."""
    return _kept_tables(_Identity(model), *_padded(span))


def _padded(span: TimeSpan) -> tuple[int, int]:
    """Return the span with the padding of tables, on whole days [microseconds]."""
    start, end = span.start_us - _PADDING_US, span.end_us + _PADDING_US
    return start // US_PER_DAY * US_PER_DAY, -(-end // US_PER_DAY) * US_PER_DAY


@dataclass(frozen=True, eq=False)
class Sources:
    """Everything the factors of one mark over one span are worked out from.

    ``shared_sky`` are positions of sun and moon that several marks share; where they don't reach as far as needed,
    or are None, the mark gets its own, which are equal.
    """

    mark: Mark
    tables: TideTables
    span: TimeSpan
    shared_sky: SkyPositions | None = None

    @property
    def model(self) -> TideModel:
        """The station's tide model."""
        return self.tables.model

    @property
    def curve(self) -> PiecewisePolynomial:
        """Height of the tide [m above the station's datum]."""
        return self.tables.curve

    @property
    def slope(self) -> PiecewisePolynomial:
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
        return slack_times(self.extremes, self.lags).time.view(np.int64)

    @cached_property
    def slack_points_us(self) -> IntArray:
        """Instants at which the flow index may pass through zero or touch it: every turning point, lagged."""
        turns = self.turns
        if len(turns) < 2:
            return self.extremes.times_us()
        return np.rint(np.interp(self.extremes.times_us(), turns.times_us, self.slacks_us)).astype(np.int64)

    @cached_property
    def sky(self) -> SkyPositions:
        """Positions of sun and moon over the padded span."""
        start, end = from_microseconds(np.array(_padded(self.span)))
        shared = self.shared_sky
        if shared is not None and shared.start <= start and shared.end >= end:
            return shared
        return sky_positions(start, end)

    @cached_property
    def sky_events(self) -> SkyEvents:
        """Risings, settings and twilights at the mark over the padded span."""
        start, end = from_microseconds(np.array(_padded(self.span)))
        return sky_events(self.sky, self.mark.latitude, self.mark.longitude, start, end)

    def sky_times_us(self, kind: str) -> IntArray:
        """Return the instants of one kind of event of the sky."""
        return self.sky_events.of(kind).view(np.int64)
