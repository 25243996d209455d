"""Standard names of the CF conventions (table version 93) for what is served."""

from __future__ import annotations

from collections.abc import Mapping

#: Datum -> standard name of a predicted height above it.
_HEIGHTS: Mapping[str, str] = {
    "LAT": "tidal_sea_surface_height_above_lowest_astronomical_tide",
    "MHHW": "tidal_sea_surface_height_above_mean_higher_high_water",
    "MLLW": "tidal_sea_surface_height_above_mean_lower_low_water",
    "MLWS": "tidal_sea_surface_height_above_mean_low_water_springs",
    "MSL": "tidal_sea_surface_height_above_mean_sea_level",
}


def height_name(datum: str) -> str:
    """Return the standard name of a tide's height above a datum; empty where the table has none."""
    return _HEIGHTS.get(datum, "")
