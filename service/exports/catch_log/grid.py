"""Positions on a grid: where a mark is, no better than to a cell of a chosen size.

Cells are the same for everybody and every export: rows of latitude, each cut into whole columns about as wide as the
row is high. Every position of a cell is told as its middle, so that many trips tell no more of a mark than one does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

#: Mean radius of the Earth (IUGG) [km], and how far a distance on the ellipsoid differs from one on that sphere.
_RADIUS_KM = 6371.0088
_ELLIPSOID = 1.006
_KM_PER_DEGREE = _RADIUS_KM * math.pi / 180.0
#: Decimals of a published coordinate, and how far rounding to them can move it [m].
_DECIMALS, _ROUNDING_M = 5, 1.0

#: Sizes of a cell that can be asked for [km].
FINEST_KM, COARSEST_KM, DEFAULT_KM = 1.0, 500.0, 10.0


@dataclass(frozen=True, slots=True)
class Cell:
    """The middle of a cell [degrees], and the radius of a circle about it that holds the whole cell [m]."""

    latitude: float
    longitude: float
    uncertainty_m: int


def blurred(latitude: float, longitude: float, grid_km: float) -> Cell:
    """Return the cell of a position [degrees] on a grid of ``grid_km``."""
    rows = max(1, round(180.0 * _KM_PER_DEGREE / grid_km))
    height = 180.0 / rows
    row = min(int((latitude + 90.0) // height), rows - 1)
    south = -90.0 + row * height
    middle = south + 0.5 * height
    columns = max(1, round(360.0 * _KM_PER_DEGREE * math.cos(math.radians(middle)) / grid_km))
    width = 360.0 / columns
    column = int((longitude + 180.0) // width) % columns
    centre = -180.0 + (column + 0.5) * width
    farthest = max(_distance_km(middle, corner, 0.5 * width) for corner in (south, south + height))
    radius = math.ceil(1000.0 * farthest * _ELLIPSOID + _ROUNDING_M)
    return Cell(round(middle, _DECIMALS), round(centre, _DECIMALS), radius)


def _distance_km(latitude: float, other: float, apart: float) -> float:
    """Return the great-circle distance of two points by their latitudes and how far ``apart`` in longitude they are."""
    north, south = math.radians(latitude), math.radians(other)
    half = (
        math.sin(0.5 * (north - south)) ** 2
        + math.cos(north) * math.cos(south) * math.sin(0.5 * math.radians(apart)) ** 2
    )
    return 2.0 * _RADIUS_KM * math.asin(min(1.0, math.sqrt(half)))
