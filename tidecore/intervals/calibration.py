"""Calibration: from a record to the spreads and quantiles that intervals are made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tidecore.extremes import find_extremes
from tidecore.harmonics import Harmonics
from tidecore.intervals.features import KINDS, features_of, tide_size
from tidecore.intervals.folds import Fold, leave_out, observed_days
from tidecore.intervals.spread import Spread, fit_spread, quantile_at, quantiles
from tidecore.intervals.waters import observed_waters, tellable
from tidecore.timebase import US_PER_MINUTE
from tidecore.units import BoolArray, FloatArray, IntArray

#: The record is told in so long a residual that days count as one: those of a passing depression [days].
INDEPENDENT_DAYS = 3.5
#: Shorter records say nothing of what they did not see [days].
LEAST_DAYS = 27.0
#: A seasonal spread needs values in every twelfth of the year, on so many days of each.
_DAYS_A_MONTH = 12
_US_PER_TWELFTH = 365.2425 / 12 * 86_400e6
#: The mean level strays from that of the fit for about so long [days].
_DAYS_OF_A_LEVEL = 91.3
#: Times of high and low waters are told by records no coarser than this [us]; an hourly cubic is still sharp enough:
#: intervals from hourly values cover the times that the same gauge shows every 6 or 15 minutes.
COARSEST_FOR_TIMES_US = 60 * US_PER_MINUTE
#: How many `time_features` there are.
TIME_FEATURES = 3
#: A table of quantiles of its own needs so many values.
_LEAST_WATERS = 40
#: Magnitudes of one spread that draw its slopes towards zero, as many as independent days.
_PRIOR = 300.0
_PRIOR_WATERS = 20.0
#: By this part the interval score of a spread must be better than that of a plainer one to be taken.
_WORTH = 0.003
#: The weather is what a mean over this leaves: half of it either side [us].
_WEATHER_US = 25 * 3600 * 1_000_000
#: What a level is judged by.
_NOMINAL = 0.9


@dataclass(frozen=True, slots=True, eq=False)
class WaterTimes:
    """Errors of times of high and low waters [min]: their spread by the sharpness of the extreme, their quantiles.

    ``sharpness`` [m/h^2] is the median curvature of the extremes it rests on, ``count`` how many they were.
    """

    spread: Spread
    table: FloatArray
    sharpness: float
    count: int


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """What a record says of a tide's errors where the fit had not seen it; see `calibrate`.

    ``kind`` is what the spread of heights depends on, ``size`` the tide's own (`tide_size`). Tables are quantiles of
    scaled residuals: of all heights, of high and low waters, and of what is left without the weather (``calm``, scaled
    by the spread too). ``score_ratio`` is the interval score at 90% over that of a constant width, across the parts.
    ``times`` is None where the record tells no times of extremes.
    """

    kind: str
    size: tuple[float, float]
    spread: Spread
    heights: FloatArray
    highs: FloatArray
    lows: FloatArray
    calm: FloatArray
    residual_sd_m: float
    score_ratio: float
    days: float
    times: WaterTimes | None


def calibrate(times_us: IntArray, levels: FloatArray, tide: Harmonics, kind: str | None = None) -> Calibration | None:
    """Return how far a fit's tide errs on values it did not see; None for a record under 27 days.

    Four parts of the record, of as many values each, are predicted by fits of the other three. What is left
    is scaled by a spread - a smooth function of season, height and rate, on either side of zero - which is taken only
    where it makes the interval score of parts that it was not fitted to better. Quantiles of the scaled residuals
    make the interval, as in split conformal prediction with normalised scores.

    Parameters
    ----------
    times_us : int64 array, shape (n,)
        Ascending instants [microseconds since 1970].
    levels : array, shape (n,)
        Valid levels [m].
    tide : Harmonics
        The fit of all of it: its constituents and node factors are fitted to the parts.
    kind : str, optional
        What the spread depends on, one of `KINDS`, instead of what the score chooses.

    References
    ----------
    Lei, G'Sell, Rinaldo, Tibshirani, Wasserman (2018), Distribution-free predictive inference for regression, Journal
    of the American Statistical Association 113. Gneiting, Raftery (2007), Strictly proper scoring rules, the same 102
    (interval score). Both from memory.
    """
    days = observed_days(times_us)
    if days < LEAST_DAYS:
        return None
    folds = leave_out(times_us, levels, tide)
    if len(folds) < 2:
        return None
    size = tide_size(folds[0].harmonics)
    hourly = [_Hourly.of(fold) for fold in folds]
    chosen, ratio = (kind, 1.0) if kind is not None else _choose(hourly, size, _seasonal(times_us))
    features = [one.features(chosen, size) for one in hourly]
    residual = np.concatenate([one.residual for one in hourly])
    spread = fit_spread(residual, np.concatenate(features), _PRIOR)
    independent = max(float(len(residual)) / 24.0 / INDEPENDENT_DAYS, 5.0)
    more = _strays(days, len(hourly)) - 1.0
    offsets = [more * float(np.mean(one.residual)) for one in hourly]
    reached = np.concatenate([one.residual + offset for one, offset in zip(hourly, offsets, strict=True)])
    everything = quantiles(spread.scaled(reached, np.concatenate(features)), independent)
    calm = np.concatenate([one.residual - one.weather() for one in hourly])
    sd = float(np.std(residual))
    waters = [_Waters.of(fold, sd, offset) for fold, offset in zip(folds, offsets, strict=True)]
    highs, lows = (_water_table(waters, high, chosen, size, spread, everything, independent) for high in (True, False))
    return Calibration(
        chosen,
        size,
        spread,
        everything,
        highs,
        lows,
        quantiles(spread.scaled(calm, np.concatenate(features)), independent),
        sd,
        ratio,
        days,
        _water_times(waters) if _fine(times_us) else None,
    )


def time_features(curvature: FloatArray, high: BoolArray, sharpness: float) -> FloatArray:
    """Return the features of errors of time, shape ``(n, 3)``: one, how blunt the extreme is, which of the two."""
    blunt = np.log(sharpness / np.maximum(np.abs(curvature), 1e-6))
    return np.stack((np.ones(len(curvature)), np.clip(blunt, -1.5, 1.5), np.where(high, 0.5, -0.5)), axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class _Hourly:
    """About hourly rows of one part: instants, residuals, the tide's height above mean and rate."""

    times_us: IntArray
    residual: FloatArray
    above_mean: FloatArray
    rates: FloatArray

    @classmethod
    def of(cls, fold: Fold) -> _Hourly:
        times = fold.times_us[fold.thinned]
        residual = fold.residual[fold.thinned]
        above = fold.levels[fold.thinned] - residual - fold.harmonics.mean_level
        return cls(times, residual, above, fold.harmonics.rates(times.view("datetime64[us]")))

    def features(self, kind: str, size: tuple[float, float]) -> FloatArray:
        return features_of(kind, self.times_us, self.above_mean, self.rates, size)

    def weather(self) -> FloatArray:
        """Return the mean of the residuals within 12.5 h on either side of each."""
        sums = np.concatenate(((0.0,), np.cumsum(self.residual)))
        begins = np.searchsorted(self.times_us, self.times_us - _WEATHER_US // 2)
        ends = np.searchsorted(self.times_us, self.times_us + _WEATHER_US // 2, side="right")
        means: FloatArray = (sums[ends] - sums[begins]) / (ends - begins)
        return means


def _strays(days: float, parts: int) -> float:
    """Return by what the means of parts are enlarged: of so few, they scatter less than those to come will.

    Of n means, one that is left out lies on average sqrt((n + 1) / (n - 1)) times as far out as these scatter; in a
    record of years each part holds several that are independent.
    """
    independent = max(days / _DAYS_OF_A_LEVEL, float(parts))
    return float(np.sqrt((independent + 1.0) / (independent - 1.0)))


def _seasonal(times_us: IntArray) -> bool:
    """Return whether every twelfth of the year has values enough to tell its spread: none is ever extrapolated to."""
    days = np.unique(times_us // (24 * 3600 * 1_000_000)) * 24 * 3600 * 1_000_000
    months = np.floor(days / _US_PER_TWELFTH).astype(np.int64) % 12
    return bool(np.all(np.bincount(months, minlength=12) >= _DAYS_A_MONTH))


def _choose(parts: Sequence[_Hourly], size: tuple[float, float], seasonal: bool) -> tuple[str, float]:
    """Return the kind of spread with the best interval score on parts left out, and its score over the constant's."""
    offered = KINDS if seasonal else KINDS[:2]
    scores = {kind: _score(parts, kind, size) for kind in offered}
    best = KINDS[0]
    for kind in offered[1:]:
        if scores[kind] < scores[best] * (1.0 - _WORTH):
            best = kind
    # A record without noise, as programs make them, leaves nothing to score.
    return best, scores[best] / scores[KINDS[0]] if scores[KINDS[0]] > 0.0 else 1.0


def _score(parts: Sequence[_Hourly], kind: str, size: tuple[float, float]) -> float:
    features = [part.features(kind, size) for part in parts]
    total = 0.0
    for place, part in enumerate(parts):
        others = [at for at in range(len(parts)) if at != place]
        residual = np.concatenate([parts[at].residual for at in others])
        known = np.concatenate([features[at] for at in others])
        spread = fit_spread(residual, known, _PRIOR)
        table = quantiles(spread.scaled(residual, known), np.inf)
        lower, upper = (spread.unscaled(quantile_at(table, p), features[place]) for p in (0.05, 0.95))
        total += float(np.sum(interval_score(lower, upper, part.residual, _NOMINAL)))
    return total


def interval_score(lower: FloatArray, upper: FloatArray, value: FloatArray, level: float) -> FloatArray:
    """Return the interval score of each value: the width, and 2 / (1 - level) times what the interval misses by."""
    missed = np.maximum(lower - value, 0.0) + np.maximum(value - upper, 0.0)
    return upper - lower + 2.0 / (1.0 - level) * missed


@dataclass(frozen=True, slots=True, eq=False)
class _Waters:
    """Observed high and low waters of one part, beside the tide's."""

    times_us: IntArray
    high: BoolArray
    above_mean: FloatArray
    curvature: FloatArray
    height_error: FloatArray
    late_min: FloatArray
    timed: BoolArray

    @classmethod
    def of(cls, fold: Fold, residual_sd: float, offset: float) -> _Waters:
        ends = fold.times_us[[0, -1]].view("datetime64[us]")
        extremes = find_extremes(fold.harmonics, ends[0], ends[1] + np.timedelta64(1, "us"))
        seen = observed_waters(extremes, fold.times_us, fold.levels)
        table = extremes.select(seen.rows)
        return cls(
            table.times_us(),
            table.kind == "high",
            table.height - fold.harmonics.mean_level,
            table.curvature,
            seen.heights - table.height + offset,
            (seen.times_us - table.times_us()) / US_PER_MINUTE,
            tellable(extremes, residual_sd)[seen.rows],
        )


def _water_table(
    waters: Sequence[_Waters],
    high: bool,
    kind: str,
    size: tuple[float, float],
    spread: Spread,
    everything: FloatArray,
    independent: float,
) -> FloatArray:
    """Return the quantiles of scaled errors of heights of one kind of water; those of all heights if they are few."""
    scaled = []
    for one in waters:
        rows = one.high == high
        features = features_of(kind, one.times_us[rows], one.above_mean[rows], np.zeros(int(rows.sum())), size)
        scaled.append(spread.scaled(one.height_error[rows], features))
    found = np.concatenate(scaled)
    return quantiles(found, min(independent, float(len(found)))) if len(found) >= _LEAST_WATERS else everything


def _water_times(waters: Sequence[_Waters]) -> WaterTimes | None:
    late = np.concatenate([one.late_min[one.timed] for one in waters])
    if len(late) < _LEAST_WATERS:
        return None
    curvature = np.concatenate([one.curvature[one.timed] for one in waters])
    high = np.concatenate([one.high[one.timed] for one in waters])
    sharpness = float(np.median(np.abs(curvature)))
    features = time_features(curvature, high, sharpness)
    spread = fit_spread(late, features, _PRIOR_WATERS)
    return WaterTimes(spread, quantiles(spread.scaled(late, features), len(late) / 2.0), sharpness, len(late))


def _fine(times_us: IntArray) -> bool:
    return float(np.median(np.diff(times_us))) <= COARSEST_FOR_TIMES_US
