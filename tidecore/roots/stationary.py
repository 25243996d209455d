"""Turning points of a piecewise polynomial: every one of them, and no other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.roots.pieces import PiecewisePolynomial
from tidecore.timebase import US_PER_HOUR
from tidecore.units import BoolArray, FloatArray, IntArray

#: Cells of the first scan in a piece: 15 minutes of an hourly piece.
_CELLS = 4
#: A cell that may hide roots is split into so many, and again, at most so many times.
_SPLIT = 8
_LEVELS = 12
#: Newton's method stops at a step of this part of half a piece: 2 microseconds of an hourly piece.
_STEP = 1e-9
_STEPS = 80


@dataclass(frozen=True, slots=True, eq=False)
class StationaryPoints:
    """Turning points in time order; maxima and minima alternate.

    ``times_us`` [microseconds since 1970], ``values`` [unit of the function], ``curvature`` (second derivative)
    [unit/h^2] and ``maximum``, each of shape ``(n,)``.
    """

    times_us: FloatArray
    values: FloatArray
    curvature: FloatArray
    maximum: BoolArray

    def __len__(self) -> int:
        """Return the number of turning points."""
        return int(self.times_us.size)


@dataclass(frozen=True, slots=True, eq=False)
class _Cells:
    """Parts of pieces, with the slope (per ``u``) at both ends; ``rising`` is its sign there, borrowed if it is 0."""

    piece: IntArray
    left: FloatArray
    right: FloatArray
    slope_left: FloatArray
    slope_right: FloatArray
    rising_left: BoolArray
    rising_right: BoolArray

    def take(self, chosen: BoolArray) -> _Cells:
        """Return the chosen cells."""
        return _Cells(
            self.piece[chosen], self.left[chosen], self.right[chosen], self.slope_left[chosen],
            self.slope_right[chosen], self.rising_left[chosen], self.rising_right[chosen],
        )  # fmt: skip


def stationary_points(pieces: PiecewisePolynomial, resolution: float = 1e-10) -> StationaryPoints:
    """Return every turning point of a piecewise polynomial.

    The slope is scanned in quarters of a piece. A bound of its curvature says of each cell that it holds no root, or
    just one; a cell of which neither is certain is split until it is, so that two roots inside one cell are found
    as surely as one. Each root is closed in on by Newton's method, held inside its bracket.

    Parameters
    ----------
    pieces : PiecewisePolynomial
        A function whose pieces join smoothly, up to rounding.
    resolution : float
        A rise and fall of less than this [unit of the function] inside one cell may go unnoticed.

    Returns
    -------
    StationaryPoints
        Those strictly inside the span: one that falls on an end of it, to rounding, may be missing. An inflection
        with a level tangent is none; a function that never moves has none.

    Notes
    -----
    The right end of a piece is taken from the next one, and a slope of exactly 0 counts as the slope before it, so
    that every change of sign is met once wherever it falls. If ``B`` bounds the second derivative of the slope in a
    cell of width ``w``, the slope leaves its chord by at most ``w^2 B / 8`` (no root if both ends are further from
    0 than that), and is monotonic (one root) if it changes by more than ``w^2 B / 2`` between the ends. What an
    undecided cell may hide rises and falls by at most ``w^3 B / 8``.

    Where ``pieces`` may step, each side is searched by itself. If the function rises to the step and falls after it (or
    the other way round), the step is a turning point of its own where the curve bends that way; where it bends the
    other way, the step has made two of one turning point, and that nearer to it is kept.
    """
    parts = pieces.between_breaks()
    found = [_within(part, resolution) for part in parts]
    whole = found[0]
    for before, after, points in zip(parts[:-1], parts[1:], found[1:], strict=True):
        whole = _join(whole, points, before, after)
    return whole


def _within(pieces: PiecewisePolynomial, resolution: float) -> StationaryPoints:
    """Return the turning points of a function without steps."""
    slope = np.ascontiguousarray(pieces.coefficients.T[1:]) * np.arange(1, pieces.degree + 1)[:, None]
    if not slope.any():
        nothing = np.empty(0)
        return StationaryPoints(nothing, nothing, nothing, np.empty(0, dtype=np.bool_))
    piece, left, right, rising = _brackets(slope, resolution)
    columns = np.take(slope, piece, axis=1)
    places, curvature = _close_in(columns, left, right, rising)
    heights = np.take(pieces.coefficients, piece, axis=0).T
    per_hour = 2.0 * US_PER_HOUR / pieces.width_us
    times = pieces.start_us + piece * float(pieces.width_us) + (places + 1.0) * (0.5 * pieces.width_us)
    return StationaryPoints(times, _horner(heights, places), curvature * per_hour**2, rising)


def _join(
    left: StationaryPoints, right: StationaryPoints, before: PiecewisePolynomial, after: PiecewisePolynomial
) -> StationaryPoints:
    """Return the turning points on both sides of a step, so that maxima and minima still alternate."""
    rising_before = not left.maximum[-1] if len(left) else _rises(before)
    rising_after = bool(right.maximum[0]) if len(right) else _rises(after)
    if rising_before == rising_after:
        return _in_turn(left, right)
    border, bend = after.start_us, 0.5 * (_bend(before, 1.0) + _bend(after, -1.0))
    if (bend < 0.0) == rising_before or not (len(left) and len(right)):
        at = np.array([float(border)])
        step = StationaryPoints(at, after(at), np.array([bend]), np.array([rising_before]))
        return _in_turn(left, step, right)
    if border - left.times_us[-1] <= right.times_us[0] - border:
        return _in_turn(left, _part(right, slice(1, None)))
    return _in_turn(_part(left, slice(-1)), right)


def _in_turn(*points: StationaryPoints) -> StationaryPoints:
    times, values, curvature = (
        np.concatenate([getattr(one, name) for one in points]) for name in ("times_us", "values", "curvature")
    )
    return StationaryPoints(times, values, curvature, np.concatenate([one.maximum for one in points]))


def _part(points: StationaryPoints, chosen: slice) -> StationaryPoints:
    return StationaryPoints(
        points.times_us[chosen], points.values[chosen], points.curvature[chosen], points.maximum[chosen]
    )


def _rises(pieces: PiecewisePolynomial) -> bool:
    """Return whether a function without turning points rises."""
    first, last = pieces.at_places(np.array([-1.0, 1.0]))[[0, -1], [0, 1]]
    return bool(last > first)


def _bend(pieces: PiecewisePolynomial, place: float) -> float:
    """Return the second derivative an hour squared at the end (1) or the start (-1) of a function."""
    of_end = pieces.coefficients[-1 if place > 0.0 else 0]
    orders = np.arange(len(of_end), dtype=np.float64)
    per_hour = 2.0 * US_PER_HOUR / pieces.width_us
    return float(np.sum(of_end * orders * (orders - 1.0) * place ** (orders % 2)) * per_hour**2)


def _brackets(slope: FloatArray, resolution: float) -> tuple[IntArray, FloatArray, FloatArray, BoolArray]:
    """Return piece, left and right end of every cell that holds just one root, and whether it rises at the left."""
    powers = np.arange(slope.shape[0])
    bend = (powers * (powers - 1.0)) @ np.abs(slope)
    cells, decided = _scan(slope, bend, resolution)
    found = [cells.take(decided)]
    cells = cells.take(~decided)
    for _ in range(_LEVELS):
        if not cells.piece.size:
            break
        cells = _split(slope, cells)
        changed, decided = _judge(cells, bend[cells.piece], resolution)
        found.append(cells.take(changed & decided))
        cells = cells.take(~decided)
    found.append(cells.take(cells.rising_left != cells.rising_right))
    piece, left, right, rising = (
        np.concatenate([getattr(part, name) for part in found]) for name in ("piece", "left", "right", "rising_left")
    )
    if len(found) > 2 or found[-1].piece.size:
        order = np.lexsort((left, piece))
        piece, left, right, rising = piece[order], left[order], right[order], rising[order]
    return piece, left, right, rising


def _scan(slope: FloatArray, bend: FloatArray, resolution: float) -> tuple[_Cells, BoolArray]:
    """Return the cells of the first scan that hold one root or may hide some, and which of them are decided."""
    count = slope.shape[1]
    borders = np.linspace(-1.0, 1.0, _CELLS + 1)
    powers = np.vander(borders[:-1], slope.shape[0], increasing=True)
    samples = np.empty(count * _CELLS + 1)
    samples[:-1].reshape(count, _CELLS)[...] = (powers @ slope).T
    samples[-1] = slope[:, -1].sum()
    rising = _signs(samples)
    changed = rising[1:] != rising[:-1]
    distance = np.abs(samples)
    nearest = np.minimum(distance[1:], distance[:-1]).reshape(count, _CELLS)
    width = borders[1] - borders[0]
    noticed = np.where(bend * (width**3 / 8.0) > resolution, bend * (width**2 / 8.0), 0.0)
    kept = np.flatnonzero(changed | (nearest < noticed[:, None]).reshape(-1))
    piece, cell = kept // _CELLS, kept % _CELLS
    cells = _Cells(
        piece, borders[cell], borders[cell + 1], samples[kept], samples[kept + 1], rising[kept], rising[kept + 1]
    )
    changed, decided = _judge(cells, bend[piece], resolution)
    return cells.take(changed | ~decided), decided[changed | ~decided]


def _signs(samples: FloatArray) -> BoolArray:
    """Return where a sample is above 0; one that is 0 takes the sign of the last before it that isn't."""
    rising = samples > 0.0
    level = samples == 0.0
    if level.any():
        index = np.where(level, 0, np.arange(samples.size))
        first = int(np.flatnonzero(~level)[0]) if not level.all() else 0
        index[:first] = first
        rising = rising[np.maximum.accumulate(index)]
    return rising


def _judge(cells: _Cells, bend: FloatArray, resolution: float) -> tuple[BoolArray, BoolArray]:
    """Return which cells change sign, and of which it is certain that they hold one root (no root) then."""
    width = cells.right - cells.left
    changed = cells.rising_left != cells.rising_right
    nearest = np.minimum(np.abs(cells.slope_left), np.abs(cells.slope_right))
    monotonic = np.abs(cells.slope_right - cells.slope_left) > bend * width**2 / 2.0
    clear = nearest > bend * width**2 / 8.0
    return changed, np.where(changed, monotonic, clear) | (bend * width**3 / 8.0 <= resolution)


def _split(slope: FloatArray, cells: _Cells) -> _Cells:
    """Return every cell in equal parts; the outer ends keep the slope they had."""
    count = cells.piece.size
    borders = cells.left[:, None] + (cells.right - cells.left)[:, None] * np.linspace(0.0, 1.0, _SPLIT + 1)
    columns = np.take(slope, cells.piece, axis=1)[:, :, None]
    samples = _horner(columns, borders)
    samples[:, 0], samples[:, -1] = cells.slope_left, cells.slope_right
    rising = samples > 0.0
    rising[:, 0], rising[:, -1] = cells.rising_left, cells.rising_right
    for k in range(1, _SPLIT):
        rising[:, k] = np.where(samples[:, k] == 0.0, rising[:, k - 1], rising[:, k])
    return _Cells(
        np.repeat(cells.piece, _SPLIT), borders[:, :-1].reshape(-1), borders[:, 1:].reshape(-1),
        samples[:, :-1].reshape(-1), samples[:, 1:].reshape(-1),
        rising[:, :-1].reshape(count * _SPLIT), rising[:, 1:].reshape(count * _SPLIT),
    )  # fmt: skip


def _horner(columns: FloatArray, u: FloatArray) -> FloatArray:
    """Return polynomials, whose coefficients stand in ``columns`` lowest order first, at ``u``."""
    value = np.broadcast_to(columns[-1], u.shape).copy()
    for column in columns[-2::-1]:
        value *= u
        value += column
    return value


def _horner_pair(columns: FloatArray, u: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return polynomials and their derivatives at ``u``."""
    value, steepness = columns[-1].copy(), np.zeros_like(u)
    for column in columns[-2::-1]:
        steepness *= u
        steepness += value
        value *= u
        value += column
    return value, steepness


def _close_in(
    columns: FloatArray, left: FloatArray, right: FloatArray, rising: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Return the root in every bracket and the steepness there.

    Newton's method from the middle of the chord; a step that leaves the bracket, or is more than half as long as the
    one before it, is replaced by halving the bracket.
    """
    low, high = left.copy(), right.copy()
    at_low, at_high = _horner(columns, low), _horner(columns, high)
    spread = at_low - at_high
    with np.errstate(divide="ignore", invalid="ignore"):
        start = np.nan_to_num(np.clip(at_low / spread, 0.0, 1.0), nan=0.5)
    u = low + (high - low) * start
    places, steepness = u.copy(), np.empty_like(u)
    last = high - low
    active: IntArray = np.arange(u.size)
    for _ in range(_STEPS):
        value, slope = _horner_pair(columns, u)
        steepness[active] = slope
        before = (value > 0.0) == rising
        low, high = np.where(before, u, low), np.where(before, high, u)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = -value / slope
        good = (u + step >= low) & (u + step <= high) & (np.abs(step) <= 0.5 * last)
        moved = np.where(value == 0.0, u, np.where(good, u + step, 0.5 * (low + high)))
        last = np.abs(moved - u)
        u = moved
        places[active] = u
        more = last > _STEP
        if not more.any():
            break
        if 2 * np.count_nonzero(more) < more.size:
            active, columns, rising = active[more], columns[:, more], rising[more]
            low, high, u, last = low[more], high[more], u[more], last[more]
    return places, steepness
