"""Tidal datums: the mean and extreme high and low waters of a nodal cycle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tidecore.datums.range_cycle import EPOCH, RangeCycle, range_cycle
from tidecore.errors import Fault, InvalidSpan
from tidecore.extremes import Extremes, find_extremes
from tidecore.harmonics import Harmonics
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_MINUTE, TimeSpan
from tidecore.units import AnyArray, FloatArray

#: 18.6 years: a shorter span does not hold a nodal cycle [days].
LEAST_SPAN_DAYS = 6793.0
#: HAT and LAT are looked for over at least this, 19 years [days].
EXTREME_DAYS = 6940.0
#: From this form number on springs and neaps have no meaning for heights.
TROPIC_FORM = 1.5
#: The 24 h of largest (least) range lie at most so far from the maximum (minimum) of the range's 3-day mean [us].
_NEAR_US = 36 * US_PER_HOUR
_HALF_DAY_US = 12 * US_PER_HOUR + 25 * US_PER_MINUTE

#: What each level is, from high to low.
DATUMS: Mapping[str, str] = {
    "HAT": "highest astronomical tide: the highest level that is predicted",
    "MHWS": "mean high water springs: of two successive high waters in the 24 h of largest range, each fortnight",
    "TcHHW": "tropic higher high water: mean of the highest one in the 24 h of largest range, each fortnight",
    "MHHW": "mean higher high water: of the higher (or only) high water of each lunar day",
    "MHW": "mean high water: of all high waters",
    "MHWN": "mean high water neaps: of two successive high waters in the 24 h of least range, each fortnight",
    "MTL": "mean tide level: halfway between mean high water and mean low water",
    "MSL": "mean sea level: the model's mean level, without weather",
    "MLWN": "mean low water neaps",
    "MLW": "mean low water: of all low waters",
    "MLLW": "mean lower low water: of the lower (or only) low water of each lunar day",
    "TcLLW": "tropic lower low water",
    "MLWS": "mean low water springs",
    "LAT": "lowest astronomical tide: the lowest level that is predicted",
}
SPRING_DATUMS = ("MHWS", "MHWN", "MLWN", "MLWS")


@dataclass(frozen=True, slots=True, eq=False)
class TidalDatums:
    """Levels of a station above its datum.

    Parameters
    ----------
    datum : str
        What the levels are above: the station's datum.
    span : TimeSpan
        What means are over.
    extreme_span : TimeSpan
        What HAT and LAT are over: ``span``, and 19 years at least.
    form_number : float
        (K1 + O1) / (M2 + S2).
    cycle : str
        ``"springs-neaps"`` or ``"tropic-equatorial"``: the cycle of the daily range.
    levels : mapping of name to float or None
        [m above ``datum``], by the names of `DATUMS`. MHWS, MHWN, MLWN and MLWS are None where the form number is 1.5
        or more, TcHHW and TcLLW where it is less; all but MSL, HAT and LAT are None where there is no tide.
    approximations : mapping of name to float
        Z0 + (M2 + S2) and so on for MHWS, MHWN, MLWN and MLWS [m above ``datum``]; empty where those are None.
    record_days : float or None
        Length of the record that the model was fitted to [days]; None where constituents were given.
    flags : tuple of str
        ``"short_record"``: fitted to less than a year.
    """

    datum: str
    span: TimeSpan
    extreme_span: TimeSpan
    form_number: float
    cycle: str
    levels: Mapping[str, float | None]
    approximations: Mapping[str, float]
    record_days: float | None = None
    flags: tuple[str, ...] = ()


def tidal_datums(
    harmonics: Harmonics,
    datum: str,
    span: TimeSpan = EPOCH,
    record_days: float | None = None,
    flags: tuple[str, ...] = (),
) -> TidalDatums:
    """Return the tidal datums of a station.

    Parameters
    ----------
    harmonics : Harmonics
        The tide, seasonal lines included.
    datum : str
        What its levels are above.
    span : TimeSpan
        What to take means over; the 6798 days from 2001-01-01 unless given.
    record_days, flags
        As in `TidalDatums`.

    Raises
    ------
    InvalidSpan
        If the span is shorter than 18.6 years.

    Notes
    -----
    All of them rest on the turning points themselves, not on samples. Against the published datums of 40 stations, from
    their published constituents over 1983 to 2001, HAT and LAT are within 2.5 cm at all of them. The means differ by
    more where weather and rivers move the water, because published means are of observed levels: see
    ``python -m tests.reference.datums``.

    References
    ----------
    National Ocean Service (2003), Computational techniques for tidal datums handbook, NOAA Special Publication NOS
    CO-OPS 2 (MHHW to MLLW; from memory). MHWS to MLWS as in admiralty practice.
    """
    if span.days < LEAST_SPAN_DAYS:
        problem = f"the span is {span.days:g} days long"
        raise InvalidSpan(Fault("end", problem, f"at least {LEAST_SPAN_DAYS:g} days, a whole nodal cycle"))
    longest = TimeSpan(span.start, max(span.end, span.start + np.timedelta64(round(EXTREME_DAYS * US_PER_DAY), "us")))
    cycle = range_cycle(harmonics, span.start, span.end)
    extremes = find_extremes(harmonics, longest.start, longest.end)
    levels: dict[str, float | None] = dict.fromkeys(DATUMS)
    mean = harmonics.mean_level
    levels |= {"MSL": mean, "HAT": mean, "LAT": mean}
    if len(extremes):
        levels |= {"HAT": float(extremes.height.max()), "LAT": float(extremes.height.min())}
    tides = extremes.select(extremes.primary & (extremes.time < span.end))
    highs, lows = tides.highs(), tides.lows()
    if len(highs) and len(lows):
        high, low = float(highs.height.mean()), float(lows.height.mean())
        levels |= {"MHW": high, "MTL": 0.5 * (high + low), "MLW": low}
        levels["MHHW"] = _mean_of_days(highs, np.maximum)
        levels["MLLW"] = _mean_of_days(lows, np.minimum)
    springs = not harmonics.form_number >= TROPIC_FORM
    levels |= _of_springs(cycle, span, highs, lows) if springs else _of_tropic_tides(cycle, span, highs, lows)
    return TidalDatums(
        datum=datum,
        span=span,
        extreme_span=longest,
        form_number=harmonics.form_number,
        cycle=cycle.kind,
        levels=levels,
        approximations=_approximations(harmonics) if springs else {},
        record_days=record_days,
        flags=flags,
    )


def _mean_of_days(waters: Extremes, best: np.ufunc) -> float:
    """Return the mean over lunar days of the highest (lowest) of each day's waters."""
    days = waters.tide_id // 2
    first = np.flatnonzero(np.append(True, days[1:] != days[:-1]))
    return float(best.reduceat(waters.height, first).mean())


def _of_springs(cycle: RangeCycle, span: TimeSpan, highs: Extremes, lows: Extremes) -> dict[str, float | None]:
    """Return the mean high and low waters at springs and at neaps, None where the range doesn't vary."""
    levels: dict[str, float | None] = dict.fromkeys(SPRING_DATUMS)
    if len(highs) < 2 or len(lows) < 2:
        return levels
    middles, high_pairs, low_pairs = _pairs(highs, lows)
    for (high, low), instants, sign in (
        (("MHWS", "MLWS"), cycle.springs_us, 1.0),
        (("MHWN", "MLWN"), cycle.neaps_us, -1.0),
    ):
        chosen = _largest_near(middles, sign * (high_pairs - low_pairs), cycle.inside(instants, span))
        if len(chosen):
            levels[high], levels[low] = float(high_pairs[chosen].mean()), float(low_pairs[chosen].mean())
    return levels


def _pairs(highs: Extremes, lows: Extremes) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the middle of every two successive high waters [us], their mean, and that of two low waters about it."""
    at, low_at = highs.times_us().astype(np.float64), lows.times_us().astype(np.float64)
    middles, high_pairs = 0.5 * (at[1:] + at[:-1]), 0.5 * (highs.height[1:] + highs.height[:-1])
    low_means = 0.5 * (lows.height[1:] + lows.height[:-1])
    low_middles = 0.5 * (low_at[1:] + low_at[:-1])
    # Two pairs of low waters hold the one in the middle: the lower of them makes the larger range.
    after = np.searchsorted(low_middles, middles).clip(1, max(len(low_middles) - 1, 1))
    before = low_means[after - 1]
    other = low_means[after.clip(0, len(low_means) - 1)]
    return middles, high_pairs, np.minimum(before, other)


def _largest_near(middles: FloatArray, ranges: FloatArray, instants_us: FloatArray) -> AnyArray:
    """Return the place of the largest range near each instant."""
    first, last = (np.searchsorted(middles, instants_us + shift) for shift in (-_NEAR_US, _NEAR_US))
    return np.array([a + np.argmax(ranges[a:b]) for a, b in zip(first, last, strict=True) if b > a], dtype=np.intp)


def _of_tropic_tides(cycle: RangeCycle, span: TimeSpan, highs: Extremes, lows: Extremes) -> dict[str, float | None]:
    """Return the mean highest high and lowest low water of the 24 h 50 min about the maxima of the daily range."""
    instants = cycle.inside(cycle.springs_us, span)
    found: dict[str, float | None] = {}
    for name, waters, sign in (("TcHHW", highs, 1.0), ("TcLLW", lows, -1.0)):
        times = waters.times_us()
        first, last = (np.searchsorted(times, instants + shift) for shift in (-_HALF_DAY_US, _HALF_DAY_US))
        best = [sign * np.max(sign * waters.height[a:b]) for a, b in zip(first, last, strict=True) if b > a]
        found[name] = float(np.mean(best)) if best else None
    return found


def _approximations(harmonics: Harmonics) -> dict[str, float]:
    m2, s2 = harmonics.amplitude_of("M2"), harmonics.amplitude_of("S2")
    steps = {"MHWS": m2 + s2, "MHWN": m2 - s2, "MLWN": s2 - m2, "MLWS": -m2 - s2}
    return {name: harmonics.mean_level + step for name, step in steps.items()}
