"""How far the largest run-up stays from the peg, so that more water or more sea never makes it drier."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from tidecore.shore.beds import GRAVEL, SAND
from tidecore.shore.ground import Ground
from tidecore.shore.swash import (
    DISSIPATIVE_SHARE,
    GRAVEL_SLOPES,
    SAND_SLOPES,
    RunUp,
    gravel_strength,
    run_up,
    sand_share,
    sand_strength,
)
from tidecore.shore.waves import Waves
from tidecore.units import BoolArray, FloatArray, IntArray

#: Still levels and wetted levels of the table: the profile's height in so many steps.
_LEVELS = 256
_STRENGTHS = 256
#: A strength that no sea has, and what is no mean of it and another.
_NEVER, _ALMOST_NEVER = 1e12, 1e6
#: A table has half a megabyte.
_TABLES_KEPT = 64


@dataclass(frozen=True, slots=True, eq=False)
class DryMargin:
    """At ``n`` instants how much ground stays dry at the peg, NaN where unknown; ``run_up`` says why.

    ``vertical`` [m]: the ground at the peg less the level that the largest run-up wets. ``horizontal`` [m]: from the
    peg seaward to where that level meets the land. Negative where the peg is wetted.
    """

    vertical: FloatArray
    horizontal: FloatArray
    run_up: RunUp


def dry_margin(
    ground: Ground,
    peg_distance: float,
    still: ArrayLike,
    waves: Waves,
    largest: float = 1.0,
    known: RunUp | None = None,
) -> DryMargin:
    """Return the dry margin at a peg.

    Parameters
    ----------
    ground : Ground
        The profile, with its beds.
    peg_distance : float
        Where the angler stands [m]; unknown off the profile.
    still : array, shape ``(n,)``
        Levels of the still water [m above the zero of the ground].
    waves : Waves
        The sea, shape ``(n,)``.
    largest : float
        How many times R2 the largest run-up is, see `tidecore.shore.waves.largest_over_r2`.
    known : RunUp, optional
        The run-up of the same sea, if it is worked out already.

    Returns
    -------
    DryMargin
        Known where the run-up is. A higher level or a higher sea never makes a known margin larger. On one slope
        within 2 cm of the formula; where it jumps, as waves begin to reach a steeper face, it jumps a little early.

    Notes
    -----
    Where a face ends in a flat, the formulae give less run-up as the water rises on to the flat, and those for sand
    step down where the dissipative form begins. Neither is taken for dryness: the level wetted is the highest that
    this still level or any lower one reaches, and sand has the larger of its two forms.
    """
    level = np.atleast_1d(np.asarray(still, dtype=np.float64))
    found = run_up(ground, level, waves) if known is None else known
    wetted = np.where(found.why == 0, wetted_level(ground, level, waves, largest), np.nan)
    peg = float(ground.level_at(peg_distance))
    off = np.isnan(wetted) | np.isnan(peg)
    across = ground.waterline(wetted) - peg_distance
    return DryMargin(np.where(off, np.nan, peg - wetted), np.where(off, np.nan, across), found)


def wetted_level(ground: Ground, still: FloatArray, waves: Waves, largest: float = 1.0) -> FloatArray:
    """Return the highest level that ``largest`` times the run-up wets [m above the zero of the ground].

    That of the beds it is known for; see `dry_margin` for when it is not to be used.
    """
    wetted = np.full(still.shape, -np.inf)
    for beds, strength in ((SAND, sand_strength(waves)), (GRAVEL, gravel_strength(waves))):
        if not any(bed in beds for bed in ground.beds):
            continue
        if ground.plane:
            slope = ground.mean_slope(np.zeros(1), np.ones(1))
            reached = still + largest * strength * _cautious_share(beds, slope)
        else:
            reached = _table(ground, beds is SAND, largest)(still, strength)
        wetted = np.fmax(wetted, reached)
    return np.where(np.isneginf(wetted), np.nan, wetted)


def _cautious_share(beds: frozenset[str], slope: FloatArray) -> FloatArray:
    return np.maximum(sand_share(slope), DISSIPATIVE_SHARE) if beds is SAND else np.sqrt(slope)


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """Wetted levels over even steps of the still level and of the strength of the sea; neither way does it fall."""

    bottom: float
    step: float
    strongest: float
    wetted: FloatArray

    def __call__(self, still: FloatArray, strength: FloatArray) -> FloatArray:
        """Return the wetted level; NaN off the profile or where the strength is unknown."""
        rows, columns = self.wetted.shape
        row = (still - self.bottom) / self.step
        column = np.minimum(strength / self.strongest, 1.0) * (columns - 1)
        known = (row >= 0.0) & (row <= rows - 1) & np.isfinite(column)
        row, column = np.where(known, row, 0.0), np.where(known, column, 0.0)
        i, j = np.minimum(row.astype(np.intp), rows - 2), np.minimum(column.astype(np.intp), columns - 2)
        u, v = row - i, column - j
        low = self.wetted[i, j] * (1.0 - v) + self.wetted[i, j + 1] * v
        high = self.wetted[i + 1, j] * (1.0 - v) + self.wetted[i + 1, j + 1] * v
        return np.where(known, low * (1.0 - u) + high * u, np.nan)


@lru_cache(maxsize=_TABLES_KEPT)
def _table(ground: Ground, sand: bool, largest: float) -> _Table:
    """Return the wetted levels of one kind of bed.

    ``needed[i, k]`` is the least strength with which still level ``i``, or a lower one, wets level ``k`` or more: a
    run-up R is reached by the strength at which the formula gives R at the slope over the reach of R.
    """
    beds = SAND if sand else GRAVEL
    bottom, top = float(ground.levels.min()), float(ground.levels.max())
    step = max(top - bottom, 1e-3) / (_LEVELS - 1)
    strength = _strength_needed(ground, beds, bottom, step)
    strength[:, ~_rows_on(ground, beds, bottom, step)] = _NEVER
    strength[0] = 0.0
    needed = _accumulate(np.minimum, _by_reach(strength, largest))
    strongest = max(float(needed[needed < _ALMOST_NEVER].max()), 1e-9)
    strengths = np.linspace(0.0, strongest, _STRENGTHS)
    reached = bottom + step * np.arange(needed.shape[1])
    wetted = np.empty((_LEVELS, _STRENGTHS))
    # They never fall along a row.
    for i, some in enumerate(np.count_nonzero(needed < _ALMOST_NEVER, axis=1).tolist()):
        wetted[i] = np.interp(strengths, needed[i, :some], reached[:some])
    for turned in (wetted, wetted.T):
        _lift_jumps(turned, 2.0 * step)
    wetted = np.maximum.accumulate(_accumulate(np.maximum, wetted), axis=1)
    return _Table(bottom, step, strongest, wetted)


@lru_cache(maxsize=1)
def _reaches() -> tuple[IntArray, IntArray, IntArray, IntArray]:
    """Return the cells ``(j, i)`` of a table whose reach lies on the profile: flat places, both ends, steps of run-up.

    Both ends of every reach lie on half steps, so that the profile is looked up once for each of those.
    """
    j, i = np.arange(_LEVELS)[:, None], np.arange(_LEVELS)[None, :]
    cells = np.flatnonzero(((i + j < _LEVELS) & (2 * i >= j)).ravel())
    steps, level = cells // _LEVELS, cells % _LEVELS
    return cells, 2 * level - steps, 2 * (level + steps), steps


def _strength_needed(ground: Ground, beds: frozenset[str], bottom: float, step: float) -> FloatArray:
    """Return at ``[j, i]`` the least strength with which level ``i`` runs up ``j`` steps or more.

    `_NEVER` where that leaves the profile.
    """
    at = ground.waterline(bottom + step / 2.0 * np.arange(2 * _LEVELS - 1))
    cells, seaward, landward, steps = _reaches()
    low, high = at[seaward], at[landward]
    r2 = step * steps
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = 1.5 * r2 / (low - high)
    # Slopes out of range count as the nearest in range: what no formula covers must not look drier.
    share = _cautious_share(beds, np.clip(slope, *(SAND_SLOPES if beds is SAND else GRAVEL_SLOPES)))
    strength = np.full(_LEVELS * _LEVELS, _NEVER)
    strength[cells] = np.where(np.isfinite(low) & np.isfinite(high), r2 / share, _NEVER)
    return _accumulate(np.minimum, strength.reshape(_LEVELS, _LEVELS)[::-1])[::-1]


def _by_reach(strength: FloatArray, largest: float) -> FloatArray:
    """Return the strengths by the level that ``largest`` times the run-up reaches, in steps from the bottom.

    ``strength[j, i]`` is that of ``j`` steps of run-up from level ``i``; ``needed[i, k]`` comes back. Straight between
    two steps of run-up; up to the still level no sea is needed.
    """
    count = int(np.ceil((_LEVELS - 1) * largest)) + 1
    place = np.arange(count) / largest
    before = np.minimum(place.astype(np.intp), _LEVELS - 1)
    after, part = np.minimum(before + 1, _LEVELS - 1), place - before
    # A still level a row: each is moved whole to where its levels begin.
    rows = np.ascontiguousarray(strength.T)
    between, from_ = rows.take(after, axis=1), rows.take(before, axis=1)
    between -= from_
    between *= part
    between += from_
    needed = np.zeros((_LEVELS, count))
    for i in range(_LEVELS):
        needed[i, i:] = between[i, : count - i]
    return needed


def _accumulate(least_or_most: np.ufunc, rows: FloatArray) -> FloatArray:
    """Let every row be that of it and all before it, in place; by whole rows, several times faster than by columns."""
    for before, row in pairwise(rows):
        least_or_most(before, row, out=row)
    return rows


def _rows_on(ground: Ground, beds: frozenset[str], bottom: float, step: float) -> BoolArray:
    """Return at which levels of a table, or near which, the waterline lies on certain beds."""
    edge = ground.waterline(bottom + step * np.arange(_LEVELS))
    on = np.isfinite(edge)
    rows = on & ground.share_of_beds(np.where(on, edge, 0.0), np.where(on, edge, 0.0), beds)
    lowest = (ground.lowest_so_far - bottom) / step
    for k, bed in enumerate(ground.beds[:-1]):
        if bed in beds and lowest[k + 1] < lowest[k]:
            rows[int(np.floor(lowest[k + 1])) : int(np.ceil(lowest[k])) + 1] = True
    return rows


def _lift_jumps(wetted: FloatArray, jump: float) -> None:
    """Let a jump to the next row begin a row early, in place: what lies between must not fall short of it."""
    early = np.diff(wetted, axis=0) > jump
    wetted[:-1][early] = wetted[1:][early]
