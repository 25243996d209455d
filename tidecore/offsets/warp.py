"""The curve of a place: that of the station, warped in time and mapped in height so that its waters come as stated."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.roots.pieces import PiecewisePolynomial
from tidecore.units import BoolArray, FloatArray, IntArray

#: A half tide of a smaller range than this [m] at the station has no curve to be mapped.
_FLAT_M = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Warp:
    """Primary high and low waters at a station and at a place, in time order, all of shape ``(n,)``.

    ``station_us`` and ``place_us`` [microseconds since 1970] both ascend; ``station_heights`` and ``place_heights`` are
    in metres. Between two of them time is stretched evenly and height is mapped evenly.
    """

    station_us: IntArray
    place_us: IntArray
    station_heights: FloatArray
    place_heights: FloatArray

    def half_tides(self, times_us: IntArray | FloatArray) -> tuple[IntArray, BoolArray]:
        """Return which half tide at the place holds each instant, and whether one does; any where none does."""
        last = self.place_us.size - 1
        if last < 1:
            return np.zeros(times_us.shape, dtype=np.int64), np.zeros(times_us.shape, dtype=np.bool_)
        half = np.clip(np.searchsorted(self.place_us, times_us, side="right") - 1, 0, last - 1)
        return half, (times_us >= self.place_us[0]) & (times_us <= self.place_us[-1])

    def station_times(self, times_us: IntArray | FloatArray, half: IntArray) -> FloatArray:
        """Return the instants at the station [microseconds since 1970] that stand for instants at the place."""
        part = (times_us - self.place_us[half]) / (self.place_us[half + 1] - self.place_us[half])
        at_station: FloatArray = self.station_us[half] + part * (self.station_us[half + 1] - self.station_us[half])
        return at_station

    def stretch(self, half: IntArray) -> FloatArray:
        """Return by how much faster than at the place time runs at the station, in each half tide."""
        faster: FloatArray = np.diff(self.station_us)[half] / np.diff(self.place_us)[half]
        return faster

    def scale(self, half: IntArray) -> FloatArray:
        """Return range at the place over range at the station, in each half tide; 0 where the station has none."""
        ranges = np.diff(self.station_heights)
        flat = np.abs(ranges) < _FLAT_M
        scale: FloatArray = (np.where(flat, 0.0, np.diff(self.place_heights)) / np.where(flat, 1.0, ranges))[half]
        return scale

    def place_moments(self, station_us: IntArray | FloatArray) -> FloatArray:
        """Return when what happens at the station between its first and last water happens at the place.

        NaN outside them.
        """
        if self.station_us.size < 2:
            return np.full(station_us.shape, np.nan)
        return np.interp(station_us, self.station_us, self.place_us, left=np.nan, right=np.nan)

    def map_heights(self, heights: FloatArray, half: IntArray) -> FloatArray:
        """Return heights at the place [m] of heights at the station [m] in each half tide."""
        mapped: FloatArray = self.place_heights[half] + (heights - self.station_heights[half]) * self.scale(half)
        return mapped


@dataclass(frozen=True, slots=True, eq=False)
class WarpedHeight:
    """Height at a place [m above its datum], a function of instants [microseconds since 1970]."""

    warp: Warp
    curve: PiecewisePolynomial

    def __call__(self, times_us: IntArray | FloatArray) -> FloatArray:
        """Return the heights; NaN outside the first and last water of the warp."""
        half, inside = self.warp.half_tides(times_us)
        found = np.full(times_us.shape, np.nan)
        if inside.any():
            half = half[inside]
            at_station = self.curve(self.warp.station_times(times_us[inside], half))
            found[inside] = self.warp.map_heights(at_station, half)
        return found


@dataclass(frozen=True, slots=True, eq=False)
class WarpedRate:
    """Rate of rise at a place [m/h]: the derivative of its `WarpedHeight`."""

    warp: Warp
    slope: PiecewisePolynomial

    def __call__(self, times_us: IntArray | FloatArray) -> FloatArray:
        """Return the rates; NaN outside the first and last water of the warp."""
        half, inside = self.warp.half_tides(times_us)
        found = np.full(times_us.shape, np.nan)
        if inside.any():
            half = half[inside]
            at_station = self.slope(self.warp.station_times(times_us[inside], half))
            found[inside] = at_station * self.warp.scale(half) * self.warp.stretch(half)
        return found
