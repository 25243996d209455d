"""What a residual is made of: slow weather, and how strong noise is beside each constituent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tidecore.timebase import US_PER_DAY, US_PER_HOUR
from tidecore.units import BoolArray, FloatArray, IntArray

#: Slower than this is weather and season, not tide [hours]: the border is half way between diurnal tides and storms.
CUTOFF_HOURS = 40.0
#: Half the length of the low-pass window [hours].
_HALF_HOURS = 60.0
#: Share of the window's weight that must have values.
_LEAST_COVER = 0.5
#: A gap longer than this ends a stretch [days].
_STRETCH_GAP_DAYS = 10.0
#: Noise at a line is read this far to either side [cycles a day], and over this many bins at least.
_BESIDE_CPD = 0.04
_LEAST_BINS = 8


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A run of a record without long gaps, laid on a grid of its own: rows of the record, and place of each."""

    rows: slice
    places: IntArray
    count: int
    step_us: int


def stretches_of(times_us: IntArray) -> tuple[Stretch, ...]:
    """Return the stretches of ascending ``times_us``, cut at gaps of over ten days."""
    cuts = np.flatnonzero(np.diff(times_us) > _STRETCH_GAP_DAYS * US_PER_DAY) + 1
    bounds = [0, *cuts.tolist(), len(times_us)]
    out = []
    for first, last in pairwise(bounds):
        times = times_us[first:last]
        step = int(np.median(np.diff(times))) if len(times) > 1 else US_PER_HOUR
        places = np.rint((times - times[0]) / step).astype(np.int64)
        out.append(Stretch(slice(first, last), places, int(places[-1]) + 1, step))
    return tuple(out)


def slow_part(times_us: IntArray, levels: FloatArray) -> FloatArray:
    """Return what a 40-hour Lanczos low-pass keeps of ``levels`` (n,), NaN where too little is around.

    Missing values are left out of the window and its weights are made whole again, which suits residuals; a tide
    would leak through the holes.

    References
    ----------
    Duchon 1979, Lanczos filtering in one and two dimensions, Journal of Applied Meteorology 18.
    """
    out = np.full(len(levels), np.nan)
    for stretch in stretches_of(times_us):
        hours = stretch.step_us / US_PER_HOUR
        half = int(_HALF_HOURS / hours)
        at = np.arange(-half, half + 1)
        window = np.sinc(2.0 * at * hours / CUTOFF_HOURS) * np.sinc(at / (half + 1.0))
        window /= window.sum()
        held = np.zeros((2, stretch.count))
        held[0, stretch.places] = levels[stretch.rows]
        held[1, stretch.places] = 1.0
        summed, cover = (_convolve(row, window)[stretch.places] for row in held)
        kept = cover > _LEAST_COVER
        out[stretch.rows] = np.where(kept, summed / np.where(kept, cover, 1.0), np.nan)
    return out


def _convolve(values: FloatArray, window: FloatArray) -> FloatArray:
    size = len(values) + len(window) - 1
    padded = 1 << (size - 1).bit_length()
    spectrum = np.fft.rfft(values, padded) * np.fft.rfft(window, padded)
    whole: FloatArray = np.fft.irfft(spectrum, padded)[len(window) // 2 :][: len(values)]
    return whole


def noise_beside(times_us: IntArray, residual: FloatArray, speeds: FloatArray) -> FloatArray:
    """Return the noise variance a value that white noise as strong as that beside each line would have, ``(k,)``.

    A component of the amplitude of a line then has variance 2 / n times this [m2], for n values.

    Parameters
    ----------
    residual : array, shape (n,)
        What a fit leaves [m]; NaN counts as missing.
    speeds : array, shape (k,)
        [radians an hour]
    """
    power, weight = np.zeros(len(speeds)), 0.0
    for stretch in stretches_of(times_us):
        values = residual[stretch.rows]
        known: BoolArray = np.isfinite(values)
        if known.sum() < 4 * _LEAST_BINS:
            continue
        held = np.zeros(stretch.count)
        held[stretch.places[known]] = values[known]
        spectrum = np.abs(np.fft.rfft(held)) ** 2 / known.sum()
        bins = stretch.count * stretch.step_us / US_PER_DAY
        power += known.sum() * _around(spectrum, speeds * 24.0 / (2.0 * np.pi) * bins, _BESIDE_CPD * bins)
        weight += float(known.sum())
    return np.maximum(power / max(weight, 1.0), np.finfo(float).tiny)


def _around(spectrum: FloatArray, centres: FloatArray, half: float) -> FloatArray:
    """Return the mean of ``spectrum`` within ``half`` bins of each centre, the mean bin itself left out."""
    summed = np.concatenate(([0.0], np.cumsum(spectrum)))
    reach = max(round(half), _LEAST_BINS)
    middle = np.clip(np.rint(centres).astype(np.int64), 1, len(spectrum) - 1)
    low, high = np.maximum(middle - reach, 1), np.minimum(middle + reach + 1, len(spectrum))
    mean: FloatArray = (summed[high] - summed[low]) / np.maximum(high - low, 1)
    return mean


def blocks_of(times_us: IntArray, count: int) -> tuple[slice, ...]:
    """Return rows of ``count`` contiguous blocks that hold as many values each, in order of time."""
    bounds: Sequence[int] = np.linspace(0, len(times_us), count + 1).astype(int).tolist()
    return tuple(slice(first, last) for first, last in pairwise(bounds))
