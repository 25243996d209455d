"""Tables of the levels that waves wet on a profile: over steps of the still level and of the strength of the sea.

A table is as wide as the seas that were looked up in it are strong: most searches meet none that would wet more than a
part of a profile, and how wide it is changes no value in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.lib.stride_tricks import as_strided

from tidecore.shore.beds import GRAVEL, SAND
from tidecore.shore.ground import Ground
from tidecore.shore.swash import DISSIPATIVE_SHARE, sand_share, slope_limits
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray

#: Still levels and wetted levels of a table: the profile's height in so many steps.
_LEVELS = 256
#: Strengths of the sea up to the strongest that a profile tells apart, and how many of them a table may be wide.
_STRENGTHS, _WIDTHS = 256, (32, 64, 128, 256)
#: A strength that no sea has, and what is no mean of it and another.
_NEVER, _ALMOST_NEVER = 1e12, 1e6
#: Run-ups are looked at first as far as a sea so much stronger than the strongest asked for runs up.
_AMPLE = 1.25
#: A table has half a megabyte at most.
_KEPT = 64


def cautious_share(beds: frozenset[str], slope: FloatArray) -> FloatArray:
    """Return run-up over strength at a slope: of the two forms for sand the larger."""
    return np.maximum(sand_share(slope), DISSIPATIVE_SHARE) if beds is SAND else np.sqrt(slope)


def wetted_by(
    ground: Ground, beds: frozenset[str], largest: float, still: FloatArray, strength: FloatArray
) -> FloatArray:
    """Return the level that ``largest`` times the run-up of a sea wets [m]; NaN off the profile or where it is unknown.

    ``strength`` is what the run-up is in proportion to, see `tidecore.shore.swash`; ``beds`` those of one formula.
    """
    scale = _scale(ground, beds is SAND, largest)
    row = (still - scale.bottom) / scale.step
    column = np.minimum(strength / scale.strongest, 1.0) * (_STRENGTHS - 1)
    known = (row >= 0.0) & (row <= _LEVELS - 1) & np.isfinite(column)
    row, column = np.where(known, row, 0.0), np.where(known, column, 0.0)
    i, j = np.minimum(row.astype(np.intp), _LEVELS - 2), np.minimum(column.astype(np.intp), _STRENGTHS - 2)
    u, v = row - i, column - j
    last = int(j.max(initial=0)) + 1
    wetted = _table(ground, beds is SAND, largest, next(width for width in _WIDTHS if width > last))
    low = wetted[i, j] * (1.0 - v) + wetted[i, j + 1] * v
    high = wetted[i + 1, j] * (1.0 - v) + wetted[i + 1, j + 1] * v
    return np.where(known, low * (1.0 - u) + high * u, np.nan)


@dataclass(frozen=True, slots=True, eq=False)
class _Scale:
    """The steps of the tables of a ground, on one kind of bed.

    Parameters
    ----------
    bottom, step : float
        The lowest still level, and how far the next lies above it [m].
    edge : array
        Waterlines [m] on half steps from the bottom, so that both ends of every reach are looked up once.
    reach : int array
        By still level, the most steps of run-up that stay on the profile; 0 where its waterline lies on other beds.
    steepest : float
        No reach has a larger share of the strength for its run-up.
    strongest : float
        The weakest sea that wets all that any sea is known to wet, from any level.
    """

    beds: frozenset[str]
    bottom: float
    step: float
    edge: FloatArray
    reach: IntArray
    steepest: float
    strongest: float

    def strength(self, low: FloatArray, high: FloatArray, steps: FloatArray | IntArray) -> FloatArray:
        """Return the strength with which waves run up so many steps, between two waterlines [m]."""
        r2 = self.step * steps
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = 1.5 * r2 / (low - high)
        # Slopes out of range count as the nearest in range: what no formula covers must not look drier.
        return r2 / cautious_share(self.beds, np.clip(slope, *slope_limits(self.beds)))


@lru_cache(maxsize=_KEPT)
def _scale(ground: Ground, sand: bool, largest: float) -> _Scale:
    beds = SAND if sand else GRAVEL
    bottom, top = float(ground.levels.min()), float(ground.levels.max())
    step = max(top - bottom, 1e-3) / (_LEVELS - 1)
    edge = ground.waterline(bottom + step / 2.0 * np.arange(2 * _LEVELS - 1))
    level, inside = np.arange(_LEVELS), np.flatnonzero(np.isfinite(edge))
    first, last = (inside[0], inside[-1]) if inside.size else (0, -1)
    reach = np.maximum(np.minimum(last // 2 - level, 2 * level - first), 0)
    reach[~_rows_on(ground, beds, edge[::2], bottom, step)] = 0
    with np.errstate(divide="ignore", invalid="ignore"):
        falls = np.nan_to_num(-np.diff(ground.levels) / np.diff(ground.distances), nan=0.0)
    steepest = float(cautious_share(beds, np.clip(falls.max(keepdims=True), *slope_limits(beds)))[0])
    found = _Scale(beds, bottom, step, edge, reach, steepest, 0.0)
    return _Scale(beds, bottom, step, edge, reach, steepest, _strongest(found, largest))


def _rows_on(ground: Ground, beds: frozenset[str], edge: FloatArray, bottom: float, step: float) -> BoolArray:
    """Return at which levels of a table, or near which, the waterline lies on certain beds."""
    on = np.isfinite(edge)
    at = np.where(on, edge, 0.0)
    rows = on & ground.share_of_beds(at, at, beds)
    lowest = (ground.lowest_so_far - bottom) / step
    for k, bed in enumerate(ground.beds[:-1]):
        if bed in beds and lowest[k + 1] < lowest[k]:
            rows[int(np.floor(lowest[k + 1])) : int(np.ceil(lowest[k])) + 1] = True
    return rows


def _strongest(scale: _Scale, largest: float) -> float:
    """Return the strength that the highest level takes which any still level is known to be wetted to.

    The highest level that a still level is wetted to takes more than any lower one, and where a lower still level
    reaches it already it takes no more from there.
    """
    level, reach = np.arange(_LEVELS), scale.reach
    whole = _at(scale, level, reach)
    before_it = np.where(reach > 1, np.minimum(_at(scale, level, np.maximum(reach - 1, 0)), whole), 0.0)
    steps = np.floor(reach * largest)
    place = steps / largest
    started = np.minimum(place.astype(np.intp), reach)
    needed = np.where(started < reach, (whole - before_it) * (place - started) + before_it, whole)
    reached = level + steps
    highest = np.maximum.accumulate(reached)
    news = np.append(True, reached[1:] > highest[:-1])
    return max(float(needed[news].max()), 1e-9)


def _at(scale: _Scale, level: IntArray, steps: IntArray) -> FloatArray:
    """Return the strength with which waves run up so many steps from a level, where that stays on the profile."""
    edge = scale.edge
    low, high = edge[np.maximum(2 * level - steps, 0)], edge[np.minimum(2 * (level + steps), edge.size - 1)]
    return np.where(steps > 0, scale.strength(low, high, steps), 0.0)


@lru_cache(maxsize=_KEPT)
def _table(ground: Ground, sand: bool, largest: float, width: int) -> FloatArray:
    """Return the wetted levels by still level and strength; neither way do they fall.

    What is needed to wet a level from a still level, or from a lower one, is the strength at which the formula gives
    that run-up at the slope over its reach.
    """
    scale = _scale(ground, sand, largest)
    # One column more: what lies before a jump is lifted to what lies behind it.
    strengths = np.linspace(0.0, scale.strongest, _STRENGTHS)[: width + 1]
    steps = int(np.ceil(_AMPLE * strengths[-1] * scale.steepest / scale.step)) + 4
    wetted = None
    while wetted is None:
        steps = min(steps, _LEVELS)
        wetted = _wetted(scale, _needed(scale, steps, largest), strengths, steps)
        steps *= 2
    for turned in (wetted, wetted.T):
        _lift_jumps(turned, 2.0 * scale.step)
    risen: FloatArray = np.maximum.accumulate(np.maximum.accumulate(wetted[:, :width], axis=0), axis=1)
    return risen


def _needed(scale: _Scale, steps: int, largest: float) -> FloatArray:
    """Return at ``[i, d]`` the least strength with which level ``i``, or a lower one, wets the level ``d`` steps above.

    From run-ups of less than so many steps; `_NEVER` where none does it on the profile. Straight between two steps.
    """
    around = np.full(_LEVELS * 2 + 3 * steps, np.nan)
    around[steps : steps + scale.edge.size] = scale.edge
    unit = around.strides[0]
    # Both ends of every reach, by still level and steps of run-up.
    low = as_strided(around[steps:], (_LEVELS, steps), (2 * unit, -unit), writeable=False)
    high = as_strided(around[steps:], (_LEVELS, steps), (2 * unit, 2 * unit), writeable=False)
    there = np.arange(steps) <= scale.reach[:, None]
    strength = np.where(there, scale.strength(low, high, np.arange(steps)), _NEVER)
    strength = np.ascontiguousarray(np.minimum.accumulate(strength[:, ::-1], axis=1)[:, ::-1].T)
    strength[0] = 0.0
    place = np.arange(int(np.ceil((_LEVELS - 1) * largest)) + 1) / largest
    before = np.minimum(place.astype(np.intp), _LEVELS - 1)
    if steps < _LEVELS:
        before = before[before < steps - 1]
    part = (place[: before.size] - before)[:, None]
    between, from_ = strength.take(np.minimum(before + 1, steps - 1), axis=0), strength.take(before, axis=0)
    between -= from_
    between *= part
    between += from_
    needed = np.ascontiguousarray(between.T)
    # From one level lower, then from up to three, seven and so on: the same level lies so many steps further up.
    lower = 1
    while lower < min(needed.shape):
        np.minimum(needed[lower:, :-lower], needed[:-lower, lower:], out=needed[lower:, :-lower])
        lower *= 2
    return needed


def _wetted(scale: _Scale, needed: FloatArray, strengths: FloatArray, steps: int) -> FloatArray | None:
    """Return the levels that strengths wet, straight between two that are needed.

    None where a run-up of more steps than were looked at may need less than what was found.
    """
    levels, width, count = _LEVELS, strengths.size, needed.shape[1]
    rows, found = np.nonzero(needed <= strengths[-1])
    columns = np.minimum(np.ceil(needed[rows, found] / strengths[1]).astype(np.intp), width - 1)
    held = np.bincount(rows * width + columns, minlength=levels * width).reshape(levels, width)
    below = np.cumsum(held, axis=1) - 1
    above = np.minimum(below + 1, count - 1)
    row = np.arange(levels)[:, None]
    least, most = needed[row, below], needed[row, above]
    if steps < levels:
        beyond = (1.0 - 1e-9) * (steps - 1) * scale.step / scale.steepest
        whole = np.maximum.accumulate(scale.reach) < steps - 1
        if not ((most[:, -1] <= beyond) | whole).all():
            return None
    reached = scale.bottom + scale.step * np.arange(levels + count)
    start, end = reached[row + below], reached[row + above]
    with np.errstate(divide="ignore", invalid="ignore"):
        between = (end - start) / (most - least) * (strengths - least) + start
    wetted: FloatArray = np.where((most < _ALMOST_NEVER) & (above > below), between, start)
    return wetted


def _lift_jumps(wetted: AnyArray, jump: float) -> None:
    """Let a jump to the next row begin a row early, in place: what lies between must not fall short of it."""
    early = np.diff(wetted, axis=0) > jump
    wetted[:-1][early] = wetted[1:][early]
