"""Run-up of waves on sand and gravel: the height above still water that 2 % of waves pass, set-up included.

Sources
-------
Sand: Stockdon, Holman, Howd, Sallenger 2006, Empirical parameterization of setup, swash, and runup, Coastal
Engineering 53. Gravel: Poate, McCall, Masselink 2016, A new parameterisation for runup on gravel beaches, Coastal
Engineering 117. No other bed has an estimate.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from tidecore.shore.beds import GRAVEL, SAND
from tidecore.shore.ground import Ground
from tidecore.shore.waves import Waves
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray

#: Slopes (tangents) that the formula for sand holds for.
SAND_SLOPES = (0.01, 0.2)
#: The formula for gravel states no range; ground steeper than this is no beach. A convention.
GRAVEL_SLOPES = (0.001, 1.0)
#: Below this Iribarren number sand has the dissipative form.
DISSIPATIVE_IRIBARREN = 0.3

#: A slope is worked out of levels and distances: one that misses its range by less is in it.
_SLOPE_DIGITS = 1e-9

#: Why there is no estimate; the place in this tuple is the code, 0 where there is one.
REASONS = (
    "",
    "the height of the sea is not known",
    "the period of the sea is not known",
    "the still level is off the profile",
    "the run-up reaches ground beyond the profile",
    "the bed is none that run-up is known for, or changes within the reach of the waves",
    "the slope is outside the range of the formula",
    "the sea comes from outside the exposure of the mark",
    "whether the sea comes to the mark is not known",
)
_NO_HEIGHT, _NO_PERIOD, _OFF, _BEYOND, _BED, _SLOPE = range(1, 7)
#: Codes of a sea that does not come to the mark, and of one of which nobody knows.
CALLED_OFF = (7, 8)

#: Parts into which the possible run-ups are cut when the largest is looked for, and halvings within one.
_PARTS, _HALVINGS = 32, 24


def slope_limits(beds: frozenset[str]) -> tuple[float, float]:
    """Return the slopes from which and to which the formula of a kind of bed holds."""
    return SAND_SLOPES if beds is SAND else GRAVEL_SLOPES


def slope_fits(slope: FloatArray, beds: frozenset[str]) -> BoolArray:
    """Return whether slopes are in the range of the formula of a kind of bed, both ends included."""
    least, most = slope_limits(beds)
    return np.asarray((slope >= least - _SLOPE_DIGITS) & (slope <= most + _SLOPE_DIGITS))


def sand_strength(waves: Waves) -> FloatArray:
    """Return what the run-up on sand is in proportion to: sqrt(H0 L0) [m], by the peak period; 0 without waves."""
    return np.where(waves.height == 0.0, 0.0, np.sqrt(waves.height * waves.deep_water_length))


def gravel_strength(waves: Waves) -> FloatArray:
    """Return what the run-up on gravel is in proportion to [m]: the larger of 0.33 Tm-1,0 Hs and 0.49 Tz Hs."""
    periods = np.fmax(0.33 * waves.energy_period, 0.49 * waves.zero_crossing_period)
    return np.where(waves.height == 0.0, 0.0, periods * waves.height)


def sand_share(slope: ArrayLike) -> FloatArray:
    """Return the run-up on sand over its strength at a slope: the general form."""
    b = np.asarray(slope, dtype=np.float64)
    return 1.1 * (0.35 * b + np.sqrt(0.563 * b**2 + 0.004) / 2.0)


#: The run-up on dissipative sand over its strength.
DISSIPATIVE_SHARE = 0.043


def stockdon(height: ArrayLike, peak_period: ArrayLike, slope: ArrayLike) -> FloatArray:
    """Return R2 on sand [m] of waves [m, s] at a slope (tangent).

    Examples
    --------
    >>> round(float(stockdon(2.0, 10.0, 0.1)), 2), round(float(stockdon(2.0, 10.0, 0.02)), 2)
    (1.63, 0.76)
    """
    sea = Waves.of(height, peak_period)
    b = np.asarray(slope, dtype=np.float64)
    share = np.where(_dissipative(sea, b), DISSIPATIVE_SHARE, sand_share(b))
    return (sand_strength(sea) * share).reshape(np.broadcast(height, peak_period, b).shape)


def poate(
    height: ArrayLike, slope: ArrayLike, energy_period: ArrayLike = np.nan, zero_crossing_period: ArrayLike = np.nan
) -> FloatArray:
    """Return R2 on gravel [m] of waves [m, s] at a slope (tangent): the larger of its two forms where both apply.

    Examples
    --------
    >>> round(float(poate(3.0, 0.15, energy_period=9.0)), 2)
    3.45
    """
    sea = Waves.of(height, energy=energy_period, zero_crossing=zero_crossing_period)
    b = np.asarray(slope, dtype=np.float64)
    shape = np.broadcast(height, b, energy_period, zero_crossing_period).shape
    return (gravel_strength(sea) * np.sqrt(b)).reshape(shape)


def _dissipative(waves: Waves, slope: FloatArray) -> BoolArray:
    """Return where sand is dissipative: Iribarren number b / sqrt(H0 / L0) under 0.3."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(slope / np.sqrt(waves.height / waves.deep_water_length) < DISSIPATIVE_IRIBARREN)


@dataclass(frozen=True, slots=True, eq=False)
class RunUp:
    """Run-up at ``n`` instants: ``r2`` [m above still water] and the mean ``slope`` it rests on, NaN where unknown.

    ``why`` [int8] is the place in `REASONS` of why there is none; 0 where there is one.
    """

    r2: FloatArray
    slope: FloatArray
    why: AnyArray

    def reasons(self) -> dict[str, float]:
        """Return why there is no estimate, and for which part of the instants, the most usual first."""
        codes, counts = np.unique(self.why[self.why > 0], return_counts=True)
        order = np.argsort(-counts, kind="stable")
        return {REASONS[codes[k]]: float(counts[k]) / self.why.size for k in order}


def run_up(ground: Ground, still: ArrayLike, waves: Waves) -> RunUp:
    """Return the run-up on a ground.

    Parameters
    ----------
    ground : Ground
        The profile, with its beds.
    still : array, shape ``(n,)``
        Levels of the still water [m above the zero of the ground].
    waves : Waves
        The sea, shape ``(n,)``.

    Returns
    -------
    RunUp
        Nothing is told where the bed within the reach of the waves is not sand or gravel throughout, the slope is out
        of range, the profile ends, or height or period is unknown. A sea of no height runs up nowhere.

    Notes
    -----
    The slope is the mean between the still level less R2 / 2 and the still level plus R2, and R2 follows from the
    slope. Of the values that agree with themselves the largest is taken: on ground that steepens upwards, a sea that
    may reach the steeper part is taken to reach it.
    """
    level = np.atleast_1d(np.asarray(still, dtype=np.float64))
    r2, slope = np.full(level.shape, np.nan), np.full(level.shape, np.nan)
    edge = ground.waterline(level)
    why = np.where(np.isfinite(edge), _BED, _OFF).astype(np.int8)
    safe_edge = np.where(np.isfinite(edge), edge, ground.distances[0])
    for beds in (SAND, GRAVEL):
        here = np.isfinite(edge) & ground.share_of_beds(safe_edge, safe_edge, beds)
        if here.any():
            r2[here], slope[here], why[here] = _on(ground, level[here], waves.at(here), beds)
    return RunUp(r2, slope, np.where(np.isnan(waves.height), _NO_HEIGHT, why).astype(np.int8))


def _on(
    ground: Ground, level: FloatArray, waves: Waves, beds: frozenset[str]
) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return run-up, slope and reasons where the waterline lies on one kind of bed."""
    strength = sand_strength(waves) if beds is SAND else gravel_strength(waves)
    longer = _lengthened(ground)
    usable = np.isfinite(strength)
    strong = np.where(usable, strength, 0.0)
    found = _largest(longer, level, strong, waves, beds)
    low, high = level - found / 2.0, level + found
    slope = np.where(found > 0.0, longer.mean_slope(low, high), ground.local_slope(level))
    start, end = ground.waterline(high), ground.waterline(low)
    within = np.isfinite(start) & np.isfinite(end)
    alike = ground.share_of_beds(np.where(within, start, 0.0), np.where(within, end, 0.0), beds)
    fits = slope_fits(slope, beds)
    why = np.select(
        [np.isnan(waves.height), ~usable, ~within, ~alike, ~fits & (found > 0.0)],
        [_NO_HEIGHT, _NO_PERIOD, _BEYOND, _BED, _SLOPE],
        default=0,
    )
    return np.where(why == 0, found, np.nan), np.where(why == 0, slope, np.nan), why


def _share(beds: frozenset[str], waves: Waves, slope: FloatArray) -> FloatArray:
    """Return run-up over strength at a slope, held to its range so that a value is always found."""
    b = np.clip(slope, *slope_limits(beds))
    if beds is SAND:
        return np.where(_dissipative(waves, b), DISSIPATIVE_SHARE, sand_share(b))
    return np.sqrt(b)


def _largest(ground: Ground, level: FloatArray, strength: FloatArray, waves: Waves, beds: frozenset[str]) -> FloatArray:
    """Return the largest run-up that agrees with the slope over its own reach [m]."""
    most = strength * np.max(_share(beds, waves, np.full(level.shape, slope_limits(beds)[1])))

    def enough(r2: FloatArray) -> BoolArray:
        slope = ground.mean_slope(level - r2 / 2.0, level + r2)
        return np.asarray(strength * _share(beds, waves, slope) >= r2)

    part = np.zeros(level.shape)
    for k in range(_PARTS - 1, 0, -1):
        at = k / _PARTS
        part = np.where((part == 0.0) & enough(most * at), at, part)
    low, high = part, part + 1.0 / _PARTS
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        holds = enough(most * middle)
        low, high = np.where(holds, middle, low), np.where(holds, high, middle)
    return most * 0.5 * (low + high)


@lru_cache(maxsize=256)
def _lengthened(ground: Ground) -> Ground:
    """Return a ground that goes on at both ends with the slope it has there, so that a reach is always found.

    What rests on the added ground is not told; it only shows that the reach leaves the profile.
    """
    first, last = ground.distances[[0, -1]]
    slopes = -np.diff(ground.levels[[0, 1, -2, -1]])[[0, 2]]
    runs = np.diff(ground.distances[[0, 1, -2, -1]])[[0, 2]]
    with np.errstate(divide="ignore", invalid="ignore"):
        tangents = np.where((slopes > 0.0) & (runs > 0.0), slopes / runs, 0.1)
    reach = 1000.0 / tangents
    distances = np.concatenate(([first - reach[0]], ground.distances, [last + reach[1]]))
    levels = np.concatenate(([ground.levels[0] + 1000.0], ground.levels, [ground.levels[-1] - 1000.0]))
    return Ground(distances, levels, (ground.beds[0], *ground.beds, ground.beds[-1]), ground.plane)
