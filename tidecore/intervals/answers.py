"""Intervals of heights and of high and low waters, from a calibration."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tidecore.errors import Fault, InvalidInput
from tidecore.extremes import Extremes
from tidecore.harmonics import Harmonics
from tidecore.intervals.calibration import LEAST_DAYS, Calibration, time_features
from tidecore.intervals.features import features_of
from tidecore.intervals.spread import quantile_at
from tidecore.intervals.surge import check_surge_sd
from tidecore.intervals.waters import tellable
from tidecore.timebase import US_PER_MINUTE, from_microseconds
from tidecore.units import BoolArray, FloatArray, IntArray, UtcTimes

#: Wider intervals than this are not told: quantiles are kept so far.
WIDEST_LEVEL = 0.99
#: What is said of a model without a calibration.
NO_INTERVAL = "no interval: the model has no record"


@dataclass(frozen=True, slots=True, eq=False)
class HeightIntervals:
    """Bounds of heights [m above datum], of the shape of the times; ``level`` is the nominal coverage."""

    level: float
    lower: FloatArray
    upper: FloatArray

    def above(self, datum: float) -> HeightIntervals:
        """Return the bounds above a datum that lies so far above theirs [m]."""
        return HeightIntervals(self.level, self.lower - datum, self.upper - datum)


@dataclass(frozen=True, slots=True, eq=False)
class ExtremeIntervals:
    """Bounds of heights [m above datum] and times [UTC] of extremes, shape ``(n,)`` each.

    At a stand the time's bounds are the span of the stand, and ``stand`` is true. A time is NaT where the model tells
    none: its record is coarser than an hour, the range is no more than three standard deviations of the residual, or
    the extreme is a lesser one.
    """

    level: float
    height_lower: FloatArray
    height_upper: FloatArray
    time_lower: UtcTimes
    time_upper: UtcTimes
    stand: BoolArray

    def above(self, datum: float) -> ExtremeIntervals:
        """Return the bounds with heights above a datum that lies so far above theirs [m]."""
        return replace(self, height_lower=self.height_lower - datum, height_upper=self.height_upper - datum)

    def select(self, chosen: BoolArray) -> ExtremeIntervals:
        """Return the rows chosen by a mask."""
        return ExtremeIntervals(
            self.level,
            self.height_lower[chosen],
            self.height_upper[chosen],
            self.time_lower[chosen],
            self.time_upper[chosen],
            self.stand[chosen],
        )


def check_level(level: float, field: str = "level") -> float:
    """Return a nominal coverage; InvalidInput, about ``field``, outside 0 to 0.99."""
    if not (np.isfinite(level) and 0.0 < level <= WIDEST_LEVEL):
        raise InvalidInput(Fault(field, f"{level} is no level of an interval", f"over 0 and at most {WIDEST_LEVEL}"))
    return float(level)


def required(found: Calibration | None) -> Calibration:
    """Return the calibration of a model; InvalidInput for a model that has none."""
    if found is None:
        raise InvalidInput(Fault("level", NO_INTERVAL, f"a model fitted to a record of {LEAST_DAYS:g} days or more"))
    return found


def height_bounds(
    found: Calibration, harmonics: Harmonics, times: UtcTimes, level: float, surge_sd: float | None = None
) -> HeightIntervals:
    """Return bounds of the tide's heights [m above datum].

    Parameters
    ----------
    times : datetime64 array [UTC]
    level : float
        Nominal coverage, over 0 and at most 0.99.
    surge_sd : float, optional
        Standard deviation of a surge that the caller adds [m]: the weather's part of the interval is replaced by it.
        Without it the interval is as wide as with no surge at all.
    """
    nominal, sd = check_level(level), check_surge_sd(surge_sd)
    instants = np.asarray(times, dtype="datetime64[us]")
    heights = harmonics.heights(instants)
    flat = instants.ravel()
    ticks = flat.view(np.int64)
    features = features_of(found.kind, ticks, heights.ravel() - harmonics.mean_level, harmonics.rates(flat), found.size)
    low, high = _offsets(found, found.heights, features, nominal, sd)
    return HeightIntervals(nominal, heights + low.reshape(heights.shape), heights + high.reshape(heights.shape))


def extreme_bounds(
    found: Calibration, harmonics: Harmonics, extremes: Extremes, level: float, surge_sd: float | None = None
) -> ExtremeIntervals:
    """Return the bounds of heights and times of extremes of the same tide; as `height_bounds` otherwise."""
    nominal, sd = check_level(level), check_surge_sd(surge_sd)
    above = extremes.height - harmonics.mean_level
    features = features_of(found.kind, extremes.times_us(), above, np.zeros(len(extremes)), found.size)
    is_high = extremes.kind == "high"
    lower, upper = np.empty(len(extremes)), np.empty(len(extremes))
    for rows, table in ((is_high, found.highs), (~is_high, found.lows)):
        lower[rows], upper[rows] = _offsets(found, table, features[rows], nominal, sd)
    early, late = _time_bounds(found, extremes, is_high, nominal)
    stand = ~np.isnat(extremes.stand_start)
    return ExtremeIntervals(
        nominal, extremes.height + lower, extremes.height + upper, early, late, np.asarray(stand, dtype=np.bool_)
    )


def _offsets(
    found: Calibration, table: FloatArray, features: FloatArray, level: float, surge_sd: float | None
) -> tuple[FloatArray, FloatArray]:
    tail = 0.5 - level / 2.0
    if surge_sd is None:
        low, high = (found.spread.unscaled(quantile_at(table, p), features) for p in (tail, 1.0 - tail))
        return low, high
    weather = _normal_quantile(1.0 - tail) * surge_sd
    low, high = (found.spread.unscaled(quantile_at(found.calm, p), features) for p in (tail, 1.0 - tail))
    return -np.hypot(low, weather), np.hypot(high, weather)


def _normal_quantile(probability: float) -> float:
    from statistics import NormalDist

    return NormalDist().inv_cdf(probability)


def _time_bounds(found: Calibration, extremes: Extremes, is_high: BoolArray, level: float) -> tuple[UtcTimes, UtcTimes]:
    nat = np.datetime64("NaT", "us")
    early = extremes.stand_start.astype("datetime64[us]", copy=True)
    late = extremes.stand_end.astype("datetime64[us]", copy=True)
    told = found.times
    if told is None:
        return early, late
    rows = tellable(extremes, found.residual_sd_m)
    features = time_features(extremes.curvature[rows], is_high[rows], told.sharpness)
    tail = 0.5 - level / 2.0
    for bound, probability in ((early, tail), (late, 1.0 - tail)):
        minutes = told.spread.unscaled(quantile_at(told.table, probability), features)
        ticks: IntArray = extremes.times_us()[rows] + np.rint(minutes * US_PER_MINUTE).astype(np.int64)
        bound[rows] = from_microseconds(ticks)
    early[~rows & np.isnat(extremes.stand_start)] = nat
    return early, late
