"""When a fitted stream turns after high and low water, and how fast it runs at springs and neaps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.datums.range_cycle import mean_spring_range, range_cycle
from tidecore.errors import Fault, InvalidSpan, SlackUndetermined
from tidecore.extremes import Extremes
from tidecore.flow.currents import Stream
from tidecore.flow.lags import LONGEST_LAG_MIN, SlackLags
from tidecore.flow.notes import LagEstimate
from tidecore.flow.rates import neap_ratio
from tidecore.harmonics import Harmonics
from tidecore.place import StreamRates
from tidecore.roots.brackets import crossings
from tidecore.timebase import US_PER_MINUTE, from_microseconds
from tidecore.units import BoolArray, FloatArray, IntArray

#: The stream is sampled so often [us].
_STEP_US = 6 * US_PER_MINUTE
#: Where fewer of the waters than this part are followed by a slack, the stream does not turn with the tide.
_LEAST_TURNS = 0.8
#: Ranges must spread over this part of those from neaps to springs for rates at both.
_LEAST_SPREAD = 0.5


@dataclass(frozen=True, slots=True)
class StreamTiming:
    """Slack lags of a fitted stream, and its rates.

    ``after_hw`` and ``after_lw`` are medians over the tides of the record, from ``low_min`` to ``high_min`` nine of ten
    of its slacks. ``rates`` are None where the ranges of the record are too alike to tell springs from neaps.
    """

    after_hw: LagEstimate
    after_lw: LagEstimate
    rates: StreamRates | None

    @property
    def lags(self) -> SlackLags:
        """The lags alone."""
        return SlackLags(self.after_hw.lag_min, self.after_lw.lag_min)


def stream_timing(stream: Stream, tides: Extremes, station: Harmonics) -> StreamTiming:
    """Return when a stream turns after the high and low waters of a place, and how fast it runs.

    Parameters
    ----------
    stream : Stream
        The stream, see `tidecore.flow.fit_stream`.
    tides : Extremes
        High and low waters of the place over the record, from before it to after it.
    station : Harmonics
        The tide of the station, by whose daily range rates are told: the same that scales them again.

    Raises
    ------
    SlackUndetermined
        If under four fifths of the high or low waters have a slack within 240 min: the stream goes round, or a river
        or another current holds it one way.
    InvalidSpan
        If ``tides`` don't reach over the record.

    Notes
    -----
    A slack is a change of sign of the component along the principal axis, its mean included; the ebb begins after high
    water, the flood after low water, and each water has the slack of its kind that is nearest. Peaks of floods and
    ebbs are fitted as linear in the daily range, and read off at mean springs and mean neaps.
    """
    primary = tides.primaries()
    at, high = primary.times_us(), primary.kind == "high"
    if not (at.size and at[0] <= stream.first_us and at[-1] >= stream.last_us):
        problem = f"{at.size} high and low waters do not reach over the record"
        raise InvalidSpan(Fault("tides", problem, "those from before the record to after it"))
    inside = (at >= stream.first_us) & (at <= stream.last_us)
    along = stream.along.pieces(stream.first_us - _STEP_US, stream.last_us + _STEP_US)
    found = crossings(along, stream.first_us, stream.last_us, _STEP_US)
    after_hw = _lag(at[inside & high], found.times_us[~found.rising], "high", "ebb")
    after_lw = _lag(at[inside & ~high], found.times_us[found.rising], "low", "flood")
    samples = np.arange(stream.first_us, stream.last_us, _STEP_US)
    return StreamTiming(after_hw, after_lw, _rates(samples, along(samples), found.times_us, found.rising, station))


def _lag(waters_us: IntArray, slacks_us: FloatArray, water: str, turned_to: str) -> LagEstimate:
    """Return the lag of the slacks after waters, each with the one nearest to it."""
    lags = np.full(waters_us.size, np.inf)
    if slacks_us.size:
        nearest = np.searchsorted(0.5 * (slacks_us[1:] + slacks_us[:-1]), waters_us)
        lags = (slacks_us[nearest] - waters_us) / US_PER_MINUTE
    lags = lags[np.abs(lags) <= LONGEST_LAG_MIN]
    if not waters_us.size or lags.size < _LEAST_TURNS * waters_us.size:
        raise SlackUndetermined(
            f"{lags.size} of {waters_us.size} {water} waters have a slack within {LONGEST_LAG_MIN:g} min at which the "
            f"stream turns to the {turned_to}: it goes round, or something else than the tide holds it one way"
        )
    low, middle, high = (float(value) for value in np.percentile(lags, (5.0, 50.0, 95.0)))
    return LagEstimate(middle, low, high, int(lags.size), int(lags.size))


def _rates(
    samples_us: IntArray, along: FloatArray, slacks_us: FloatArray, rising: BoolArray, station: Harmonics
) -> StreamRates | None:
    """Return the rates at mean springs and neaps, None where the ranges of the record are too alike."""
    springs = mean_spring_range(station)
    at_neaps = neap_ratio(station)
    if springs <= 0.0 or slacks_us.size < 3:
        return None
    first = np.searchsorted(samples_us, slacks_us)
    peaks = np.maximum.reduceat(np.abs(np.append(along, 0.0)), np.minimum(first, along.size))[:-1]
    middles = 0.5 * (slacks_us[1:] + slacks_us[:-1])
    ends = from_microseconds(np.array([samples_us[0], samples_us[-1]]))
    ratio = range_cycle(station, ends[0], ends[1]).daily_range_at(middles) / springs
    read = []
    for flood in (True, False):
        chosen = rising[:-1] == flood
        x, y = ratio[chosen], peaks[chosen]
        if x.size < 3 or np.ptp(x) < _LEAST_SPREAD * (1.0 - at_neaps) or at_neaps >= 1.0:
            return None
        slope, base = np.polyfit(x, y, 1)
        read.append((float(base + slope), max(float(base + slope * at_neaps), 0.0)))
    (spring_flood, neap_flood), (spring_ebb, neap_ebb) = read
    return StreamRates(
        spring_flood_m_per_s=round(spring_flood, 3),
        spring_ebb_m_per_s=round(spring_ebb, 3),
        neap_flood_m_per_s=round(neap_flood, 3),
        neap_ebb_m_per_s=round(neap_ebb, 3),
    )
