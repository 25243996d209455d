"""How grave what threatens an angler is, from plain columns: codes of `GRADES`, in which the unknown is never calm.

Every function takes arrays of one shape and gives codes [int8]. More water, more sea, more wind or more cold never give
a smaller code where both are known; a danger stays one whatever else becomes unknown. Thresholds are arguments, and
belong to the graver grade but where the trade says "over", "under", "above" or "more than" one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.shore.beds import GRAVEL, SAND
from tidecore.shore.dryness import wetted_level
from tidecore.shore.ground import Ground
from tidecore.shore.swash import slope_fits
from tidecore.shore.waves import Waves, largest_most_probable, largest_over_r2
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray

#: Grades in the order in which one outweighs another; what is not assessed is no less than a caution.
GRADES = ("none", "info", "caution", "not_assessed", "danger")
NONE, INFO, CAUTION, NOT_ASSESSED, DANGER = range(5)
#: What a grade becomes that goes up by one.
_UP = np.array([INFO, CAUTION, DANGER, NOT_ASSESSED, DANGER], dtype=np.int8)

#: The largest run-up of an outing is that of so many waves: twelve hours of waves of 5 s. A convention; longer outings
#: or shorter waves add less than a twentieth.
WAVES_IN_OUTING = 8640.0
KM_PER_H = 3.6
#: What is worked out of several numbers counts as at a threshold that it misses by less: by its last digits.
_DIGITS = 1e-9
#: What gusts are taken for where only the mean wind is known, and what they may be: times the mean. Common practice.
USUAL_GUST, MOST_GUST = 1.5, 2.0


def at_least(value: FloatArray, threshold: float) -> BoolArray:
    """Return whether what is worked out is at a threshold or over it, whatever its last digits."""
    return np.asarray(value >= threshold - _DIGITS)


def at_most(value: FloatArray, threshold: float) -> BoolArray:
    """Return whether what is worked out is at a threshold or under it, whatever its last digits."""
    return np.asarray(value <= threshold + _DIGITS)


def up_a_grade(codes: AnyArray, where: AnyArray) -> AnyArray:
    """Return codes, a grade up where chosen; what is not assessed stays so."""
    return np.where(np.asarray(where, dtype=np.bool_), _UP[codes], codes).astype(np.int8)


def graded(
    caution: AnyArray | bool, danger: AnyArray | bool, unknown: AnyArray | bool, least: AnyArray | int = NONE
) -> AnyArray:
    """Return codes of conditions that may hold at once: danger goes first, then what is not assessed."""
    found = np.full(np.broadcast(caution, danger, unknown, least).shape, least, dtype=np.int8)
    # The later of these outweighs the earlier.
    for where, code in ((caution, CAUTION), (unknown, NOT_ASSESSED), (danger, DANGER)):
        if where is not False:
            np.copyto(found, np.int8(code), where=where)
    return found


def wind_chill(air_c: FloatArray, wind_m_per_s: FloatArray) -> FloatArray:
    """Return the wind chill index of 2001 [C]; NaN over 10 C or under 4.8 km/h of wind, where it is not defined.

    Joint index of the United States and Canada, of air temperature and wind at 10 m.

    Examples
    --------
    >>> wind_chill(np.array([-10.0, 0.0]), np.array([20.0, 30.0]) / 3.6).round().tolist()
    [-18.0, -6.0]
    """
    speed = KM_PER_H * wind_m_per_s
    with np.errstate(invalid="ignore"):
        power = np.maximum(speed, 0.0) ** 0.16
        index = 13.12 + 0.6215 * air_c - 11.37 * power + 0.3965 * air_c * power
        # Speeds come in m/s: what is 4.8 km/h must not fall short of it by a digit.
        return np.where((air_c <= 10.0) & at_least(speed, 4.8), index, np.nan)


def cold_air(air_c: FloatArray, wind_m_per_s: FloatArray, caution_c: float, danger_c: float) -> AnyArray:
    """Return how grave the cold of the air is: by the wind chill, and by the air itself where that is not defined."""
    felt = np.fmin(wind_chill(air_c, wind_m_per_s), air_c)
    # Wind makes it colder: where it is unknown, only what is warm without it is known.
    unknown = np.isnan(air_c) | (np.isnan(wind_m_per_s) & (air_c <= 10.0))
    return graded(at_most(felt, caution_c), at_most(felt, danger_c), unknown)


def cold_water(sea_c: FloatArray, shock_c: float, hands_c: float) -> AnyArray:
    """Return how grave cold water is: info under ``shock_c``, caution under ``hands_c``."""
    return graded(sea_c < hands_c, False, np.isnan(sea_c), np.where(sea_c < shock_c, INFO, NONE))


@dataclass(frozen=True, slots=True, eq=False)
class Overwash:
    """At ``n`` instants: codes, and how much ground the peg has above R2 and above the largest run-up [m]."""

    codes: AnyArray
    margin: FloatArray
    margin_largest: FloatArray


def overwash(
    ground: Ground,
    peg_m: float,
    still: FloatArray,
    waves: Waves,
    caution_m: float,
    danger_m: float,
) -> Overwash:
    """Return how near waves come to the peg.

    Parameters
    ----------
    ground : Ground
        The profile, with its beds.
    peg_m : float
        Where the angler stands [m].
    still : array, shape ``(n,)``
        Still water, surge included [m above the zero of the ground].
    waves : Waves
        The sea that reaches the mark, shape ``(n,)``.
    caution_m, danger_m : float
        Caution where R2 comes within ``caution_m`` of the peg, danger where the largest run-up does within
        ``danger_m``, or the still water stands over it.

    Notes
    -----
    A level under the profile counts as its lowest: the same sea wets no less from there. Where the formulae tell
    nothing within the reach of their cautious form it is not assessed, unless that shows a danger already.
    """
    level = np.maximum(still, float(ground.levels.min()))
    ratio, peg = float(largest_over_r2(WAVES_IN_OUTING)), float(ground.level_at(peg_m))
    # The table is made only where there is a sea to look up in it.
    unknown = bool(np.isnan(waves.height).all())
    wetted = np.full(level.shape, np.nan) if unknown else wetted_level(ground, level, waves, ratio)
    # One table serves both: R2 is its part of the largest. On a plane beach that is exact.
    reached = level + (wetted - level) / ratio
    under = at_least(level, peg) | (level > float(ground.levels.max()))
    untold = np.isnan(wetted) | ~_told(ground, level, (wetted - level) / ratio)
    codes = graded(at_most(peg - reached, caution_m), at_most(peg - wetted, danger_m) | under, untold)
    # Still water over the peg needs no run-up to be told.
    over = np.where(under, peg - level, np.nan)
    return Overwash(codes, np.fmin(peg - reached, over), np.fmin(peg - wetted, over))


def _told(ground: Ground, level: FloatArray, r2: FloatArray) -> BoolArray:
    """Return where a formula covers all the ground within a reach: one kind of bed, its slope, and the profile."""
    low, high = level - r2 / 2.0, level + r2
    start, end = ground.waterline(high), ground.waterline(low)
    within = np.isfinite(start) & np.isfinite(end)
    start, end = np.where(within, start, 0.0), np.where(within, end, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (high - low) / (end - start)
    told = np.zeros(level.shape, dtype=np.bool_)
    for beds in (SAND, GRAVEL):
        if any(bed in beds for bed in ground.beds):
            fits = (r2 == 0.0) | slope_fits(slope, beds)
            told |= within & fits & ground.share_of_beds(start, end, beds)
    return told


def on_ledge(
    height: FloatArray, peak_period: FloatArray, reaches: IntArray, limits: tuple[float, float, float]
) -> AnyArray:
    """Return how grave a sea is to whoever stands on rock, a pier or a wall: info at least.

    ``limits``: danger from the height [m] of the second on at the period [s] of the first or longer, and from the
    height of the third on at any period. What comes from outside the exposure bends round: not assessed then.
    """
    long_s, long_m, any_m = limits
    danger = (height >= any_m) | ((height >= long_m) & (peak_period >= long_s))
    unknown = np.isnan(height) | ((height >= long_m) & np.isnan(peak_period))
    off = (reaches == 0) & danger
    return graded(False, danger & ~off, unknown | off, INFO)


def overtopped(
    deck_m: float,
    water: FloatArray,
    height: FloatArray,
    reaches: IntArray,
    limits: tuple[float, float],
) -> tuple[AnyArray, FloatArray]:
    """Return how grave the water is to whoever stands on a deck or ledge, and how far it stays below its top [m].

    Parameters
    ----------
    deck_m : float
        The top [m above the zero of the ground].
    water : array, shape ``(n,)``
        Still water, surge included [m above the same].
    height : array, shape ``(n,)``
        Significant height of the sea [m]; NaN where unknown.
    reaches : int array, shape ``(n,)``
        1 where it reaches the mark, 0 where it does not, -1 where nobody knows.
    limits : (float, float)
        Caution and danger where the water comes so near to the top [m].

    Notes
    -----
    The highest wave of an outing, by Rayleigh's distribution, is taken to be thrown up by its whole height, as an
    upright face does it. What comes from outside the exposure bends round: not assessed where it would be a danger.
    """
    caution_m, danger_m = limits
    dry, crest = deck_m - water, float(largest_most_probable(WAVES_IN_OUTING)) * height
    margin = np.fmin(dry, dry - crest)
    over = at_most(dry - crest, danger_m)
    off = reaches != 1
    near = at_most(margin, caution_m)
    unknown = np.isnan(water) | (np.isnan(height) & ~near) | (over & off)
    return graded(near, at_most(dry, danger_m) | (over & ~off), unknown), margin


def strong_gusts(wind: FloatArray, gust: FloatArray, caution: float, danger: float) -> tuple[AnyArray, FloatArray]:
    """Return how grave gusts are to whoever stands at an edge, and the gusts that are reckoned with [m/s].

    Where only the mean wind is told gusts are taken for half as strong again, and not assessed where they may be a
    caution for all that: they can be twice the mean.

    Examples
    --------
    >>> strong_gusts(np.array([5.0, 9.0, 11.0]), np.array([21.0, np.nan, np.nan]), 15.0, 20.0)[0].tolist()
    [4, 3, 2]
    """
    told = ~np.isnan(gust)
    reckoned = np.where(told, np.fmax(gust, wind), USUAL_GUST * wind)
    near = at_least(reckoned, caution)
    may_be = ~told & at_least(MOST_GUST * wind, caution) & ~near
    return graded(near, at_least(reckoned, danger), np.isnan(reckoned) | may_be), reckoned


def shore_break(height: FloatArray, period: FloatArray, reaches: IntArray, least_m: float, least_s: float) -> AnyArray:
    """Return how grave the break on steep shingle is: danger from a height and a period on."""
    danger = (height >= least_m) & (period >= least_s)
    unknown = np.isnan(height) | ((height >= least_m) & np.isnan(period))
    off = (reaches == 0) & danger
    return graded(False, danger & ~off, unknown | off)


def thunder(probability: FloatArray, observed: BoolArray, warned: BoolArray, caution_percent: float) -> AnyArray:
    """Return how grave thunder is: caution from a probability on, danger where it is observed or warned of."""
    return graded(probability >= caution_percent, observed | warned, np.isnan(probability))


def low_visibility(visibility: FloatArray, from_shore_m: float, danger_m: float, far_m: float) -> AnyArray:
    """Return how grave mist on flats is: danger under ``danger_m`` and further than ``far_m`` from the shore.

    Where it is not known how far the shore is (NaN), what is not known to be clear is not assessed.
    """
    if from_shore_m <= far_m:
        return np.zeros(visibility.shape, dtype=np.int8)
    low = visibility < danger_m
    if np.isnan(from_shore_m):
        return graded(False, False, low | np.isnan(visibility))
    return graded(False, low, np.isnan(visibility))


def wading(wades: bool | None, flood_behind: AnyArray, soft_mud: bool, height: FloatArray, knee_m: float) -> AnyArray:
    """Return how grave wading is: never on a flood behind a bar, over soft mud, or with waves above the knee.

    ``flood_behind`` [int8]: 1, 0, or -1 where nobody knows. Danger where somebody wades; where nobody said whether he
    does, a caution of mud and bars and a word about waves.
    """
    if wades is False:
        return np.zeros(height.shape, dtype=np.int8)
    never, high = (flood_behind == 1) | soft_mud, height > knee_m
    if wades is None:
        return graded(never, False, False, np.where(high, INFO, NONE))
    return graded(False, never | high, np.isnan(height) | (flood_behind == -1))


def cliff(rained_mm: FloatArray, frost: AnyArray, limit_mm: float) -> AnyArray:
    """Return how grave a cliff is: named always, and a grade up after frost or much rain.

    ``rained_mm`` is the rain of the 48 h before, NaN where it is not known and less than the limit so far as it is;
    ``frost`` [int8] 1 where it froze in that time, 0 where not, -1 where nobody knows.
    """
    worse = at_least(rained_mm, limit_mm) | (frost == 1)
    return np.where(worse, CAUTION, graded(False, False, np.isnan(rained_mm) | (frost == -1), INFO)).astype(np.int8)
