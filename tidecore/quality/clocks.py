"""Faults of the clock: from some instant on, or more and more, the tide comes early or late.

A clock that is late by tau shows the level of tau before: of the tide that leaves -tau times its rate. The delay of
each part of a record is the regression of what is left of the tide on its rate, both made white; where it changes, it
changes for all constituents at once, as no weather makes it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tidecore.quality.hourly import Hours, Noise
from tidecore.units import BoolArray, FloatArray, IntArray

#: Days either side of a change that are compared, the deviations that it must stand out by there, and its least size
#: [min]: long stretches for small faults, short ones for large faults near one another. A tide varies with season and
#: weather by some minutes, and for some days by more.
_WIDTHS: tuple[tuple[int, float, float], ...] = ((5, 9.0, 25.0), (15, 7.0, 12.0), (30, 6.0, 9.0), (90, 6.0, 7.5))
#: In a shorter record constituents stand too near for the tide to be told so well [days], [deviations].
_SHORT_D, _SHORT_SCORE = 180.0, 7.0
#: A drift of the clock less than this in all is not told from a tide that varies [min].
LEAST_DRIFT_MIN = 7.5
#: Hours of a block whose delay is told [h].
BLOCK_H = 5 * 24
#: Shifts nearer to one another, or to an end of the record, are not told [h].
_APART_H = 36
#: Hours either side of a coarse place in which the exact one is looked for.
_NEAR_H = 15 * 24
#: The unforeseen counts for at most this many deviations.
_MOST_DEVIATIONS = 4.0
_MOST = 24


@dataclass(frozen=True, slots=True)
class Shift:
    """From hour ``at`` on the record's clock is ahead by ``minutes`` of what it was before: high waters come later."""

    at: int
    minutes: float
    score: float


@dataclass(frozen=True, slots=True, eq=False)
class Delays:
    """Delay of the record's clock by blocks of days: ``middle`` [hour], ``minutes``, ``weights`` [1/min2]."""

    middle: FloatArray
    minutes: FloatArray
    weights: FloatArray


def delays_of(hours: Hours, noise: Noise) -> Delays:
    """Return the delay in each block of five days that has half its hours."""
    whitened = _whitened(hours, noise)
    count = len(whitened.rate)
    borders = np.arange(0, count + 1, BLOCK_H)
    products = np.concatenate(([0.0], np.cumsum(whitened.full_residual * whitened.rate)))
    energies, values = (
        np.diff(whitened.energies[borders]),
        np.add.reduceat(whitened.used, borders[:-1])[: len(borders) - 1],
    )
    enough = (values >= BLOCK_H // 2) & (energies > 1e-6)
    minutes = np.asarray(60.0 * np.diff(products[borders])[enough] / energies[enough], dtype=np.float64)
    middle = np.asarray(borders[:-1][enough] + BLOCK_H / 2.0, dtype=np.float64)
    return Delays(middle, minutes, energies[enough] / 3600.0)


@dataclass(frozen=True, slots=True, eq=False)
class _Whitened:
    """Unforeseen residual and rate in deviations of the noise, with their running products."""

    residual: FloatArray
    full_residual: FloatArray
    rate: FloatArray
    raw_rate: FloatArray
    weights: FloatArray
    used: BoolArray
    turning: float
    products: FloatArray
    energies: FloatArray


def find_shifts(hours: Hours, noise: Noise) -> list[Shift]:
    """Return the shifts of the clock in the order of time."""
    whitened = _whitened(hours, noise)
    count = len(whitened.residual)
    borders = [0, count]
    found: list[Shift] = []
    while len(found) < _MOST:
        best = _strongest(whitened, borders)
        if best is None:
            break
        found.append(best)
        borders = sorted([*borders, best.at])
    return _weighed(whitened, sorted(shift.at for shift in found))


def _weighed(of: _Whitened, places: list[int]) -> list[Shift]:
    """Return the shifts at ``places``, their sizes from all between one and the next; the weak are given up."""
    _, least_score, least_min = _WIDTHS[-1]
    products = np.concatenate(([0.0], np.cumsum(of.full_residual * of.rate)))
    while places:
        borders = [0, *places, len(of.rate)]
        energies = np.maximum(np.diff(of.energies[borders]), 1e-9)
        delays = np.diff(products[borders]) / energies
        # A tide that turns by w an hour and is late by d leaves sin(w d) / w times its rate.
        delays = np.arcsin(np.clip(delays * of.turning, -1.0, 1.0)) / of.turning
        minutes = 60.0 * np.diff(delays)
        scores = np.abs(minutes) / 60.0 / np.sqrt(1.0 / energies[:-1] + 1.0 / energies[1:])
        short = np.minimum(np.diff(borders)[:-1], np.diff(borders)[1:]) < _APART_H
        worth = np.where(short | (np.abs(minutes) < least_min), 0.0, scores)
        weakest = int(np.argmin(worth))
        if worth[weakest] >= least_score:
            triples = zip(places, minutes, scores, strict=True)
            return [Shift(at, float(size), float(score)) for at, size, score in triples]
        places = [place for number, place in enumerate(places) if number != weakest]
    return []


def _whitened(hours: Hours, noise: Noise) -> _Whitened:
    # The level of before is seen where the clock is ahead: h(t - tau) - h(t) is -tau times the rate.
    full = np.where(noise.used, noise.whiten(hours.residual) / noise.sigma, 0.0)
    rate = np.where(noise.used, noise.whiten(-hours.rate) / noise.sigma, 0.0)
    # What an hour's delay leaves is not held down, only what stands out beyond it.
    limit = _MOST_DEVIATIONS + np.abs(rate)
    residual = np.clip(full, -limit, limit)
    turning = float(np.sqrt(np.mean(hours.rate**2) / np.mean(hours.tide**2)))
    return _Whitened(
        residual,
        full,
        rate,
        -hours.rate / noise.sigma,
        noise.weights,
        noise.used,
        turning,
        np.concatenate(([0.0], np.cumsum(residual * rate))),
        np.concatenate(([0.0], np.cumsum(rate**2))),
    )


def _split(of: _Whitened, at: IntArray, begin: IntArray, end: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return the change of delay [h] at places ``at`` from what lies since ``begin`` to ``end``, and its score."""
    before = of.energies[at] - of.energies[begin]
    after = of.energies[end] - of.energies[at]
    enough = (before > 1e-6) & (after > 1e-6)
    before, after = np.where(enough, before, 1.0), np.where(enough, after, 1.0)
    early = (of.products[at] - of.products[begin]) / before
    late = (of.products[end] - of.products[at]) / after
    change = np.where(enough, late - early, 0.0)
    return change, change / np.sqrt(1.0 / before + 1.0 / after)


def _strongest(of: _Whitened, borders: list[int]) -> Shift | None:
    """Return the most certain shift that is not known yet."""
    best: Shift | None = None
    for first, last in pairwise(borders):
        for days, least_score, least_min in _WIDTHS:
            # A third of the width on either side at least: shorter stretches show the weather's play with the tide.
            at = np.arange(first + days * 8, last - days * 8 + 1, dtype=np.int64)
            if not len(at):
                continue
            begin, end = np.maximum(at - days * 24, first), np.minimum(at + days * 24, last)
            change, score = _split(of, at, begin, end)
            score = np.where(np.abs(change) * 60.0 >= least_min, np.abs(score), 0.0)
            place = int(np.argmax(score))
            if len(of.residual) < _SHORT_D * 24:
                least_score = max(least_score, _SHORT_SCORE)
            if score[place] >= least_score and (best is None or score[place] > best.score):
                where = int(at[place])
                exact, minutes = _located(of, where, int(begin[place]), int(end[place]))
                best = Shift(exact, minutes, float(score[place]))
    return best


def _located(of: _Whitened, at: int, begin: int, end: int) -> tuple[int, float]:
    """Return the hour at which a shift between ``begin`` and ``end`` is likeliest, and its size [min].

    In the hours after a shift the autoregression still looks back to before it, so near ``at`` the regression is on
    the rate from each hour on, made white by itself.
    """
    places = np.arange(max(begin + 12, at - _NEAR_H), min(end - 11, at + _NEAR_H + 1))
    order = len(of.weights)
    whole = of.energies[end] - of.energies[begin]
    whole_product = of.products[end] - of.products[begin]
    own = of.energies[end] - of.energies[np.minimum(places + order, end)]
    product = of.products[end] - of.products[np.minimum(places + order, end)]
    cross = own.copy()
    for lag in range(order):
        hour = places + lag
        inside = hour < end
        hour = np.minimum(hour, len(of.rate) - 1)
        # The rate of this hour less what is foreseen of it from the hours since the shift alone.
        rate = of.raw_rate[hour].copy()
        for back in range(1, lag + 1):
            rate -= of.weights[back - 1] * of.raw_rate[hour - back]
        rate = np.where(inside & of.used[hour], rate, 0.0)
        own += rate**2
        product += rate * of.full_residual[hour]
        cross += rate * of.rate[hour]
    # Both delay before and change of delay are free: what the shift explains beyond a constant delay.
    free = own - cross**2 / whole
    change = (product - cross * whole_product / whole) / np.maximum(free, 1e-9)
    best = int(np.argmax(np.where(free > 1e-6, change**2 * free, 0.0)))
    return int(places[best]), float(change[best] * 60.0)
