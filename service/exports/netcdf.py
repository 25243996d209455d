"""NetCDF-3 by the CF conventions: time series at stations, one row a series, through scipy.

scipy is imported where it is used: that costs more than most answers. Numbers are doubles with NaN where they are
unknown; categories and booleans are flags with a fill value.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import Any

import numpy as np

from service.exports.series import Column, Export, SeriesSet, rounded
from tidecore import NUMERICS, __version__
from tidecore.timebase import US_PER_SECOND
from tidecore.units import AnyArray

MEDIA_TYPE = "application/netcdf"

#: How a flag says unknown.
UNKNOWN_FLAG = -127


def series_netcdf(found: SeriesSet) -> Export:
    """Return series that share one time axis as a NetCDF-3 file.

    Raises
    ------
    ValueError
        If the series have time axes of their own.
    """
    from scipy.io import netcdf_file

    if not found.even:
        raise ValueError("series with time axes of their own do not go into one NetCDF file")
    written = io.BytesIO()
    file = netcdf_file(written, "w", version=2)
    try:
        for name, value in {
            "Conventions": "CF-1.11",
            "featureType": "timeSeries",
            "title": found.title,
            "history": f"computed by Ebbmark {__version__}, numerics {NUMERICS}",
            "comment": "Estimates. Not for navigation.",
        }.items():
            setattr(file, name, value.encode())
        _write(file, found)
        file.flush()
        content = written.getvalue()
    finally:
        file.close()
    return Export(content, MEDIA_TYPE, f"{found.name}.nc")


def _write(file: Any, found: SeriesSet) -> None:
    series = found.series
    times = series[0].times.astype("datetime64[us]").view(np.int64) / US_PER_SECOND
    # In this format a dimension of length 0 is one that may grow, and such a one comes first.
    axes = ("series", "time") if times.size else ("time", "series")
    file.createDimension("time", times.size or None)
    file.createDimension("series", len(series))
    said = {"standard_name": "time", "units": "seconds since 1970-01-01 00:00:00", "calendar": "standard", "axis": "T"}
    # Instants are POSIX times, which count no leap seconds.
    said["units_metadata"] = "leap_seconds: none"
    _variable(file, "time", times, ("time",), said)
    _text(file, "series_id", [one.key for one in series], {"cf_role": "timeseries_id", "long_name": "id of the series"})
    _text(file, "series_name", [one.title for one in series], {"long_name": "name of the place"})
    east = [np.nan if one.longitude is None else one.longitude for one in series]
    for name, degrees, unit in (
        ("latitude", [one.latitude for one in series], "degrees_north"),
        ("longitude", east, "degrees_east"),
    ):
        placed = {"standard_name": name, "long_name": f"{name} of the place", "units": unit}
        _variable(file, name, np.array(degrees, dtype=np.float64), ("series",), placed)
    for name in series[0].about:
        _about(file, name, [one.about[name] for one in series])
    for place, column in enumerate(series[0].columns):
        stacked = np.stack([one.columns[place].values for one in series], axis=axes.index("series"))
        values, attributes = _encoded(column, stacked)
        named = {one.columns[place].standard_name for one in series}
        if len(named) == 1 and "" not in named:
            attributes["standard_name"] = named.pop()
        attributes["coordinates"] = "latitude longitude series_id series_name"
        _variable(file, column.field, values, axes, attributes)


def _about(file: Any, name: str, values: list[str | int | bool]) -> None:
    """Write what the series rest on: ids and datum as text, versions as numbers, truths as flags."""
    said = {"long_name": name.replace("_", " ")}
    if isinstance(values[0], bool):
        flags = np.array(values, dtype=np.int8)
        _variable(file, name, flags, ("series",), {**said, **_flags(("false", "true"))})
    elif isinstance(values[0], int):
        _variable(file, name, np.array(values, dtype=np.int32), ("series",), said)
    else:
        _text(file, name, [str(value) for value in values], said)


def _encoded(column: Column, values: AnyArray) -> tuple[AnyArray, dict[str, Any]]:
    """Return values as the file holds them, and their attributes."""
    attributes: dict[str, Any] = {"long_name": column.meaning}
    if column.kind == "number":
        return rounded(values, column.decimals), {**attributes, "units": column.unit, "_FillValue": np.float64(np.nan)}
    if column.kind == "boolean":
        flags = np.where(values < 0, UNKNOWN_FLAG, values).astype(np.int8)
        return flags, {**attributes, **_flags(("false", "true"))}
    if column.kind == "category":
        flags = np.full(values.shape, UNKNOWN_FLAG, dtype=np.int8)
        for code, name in enumerate(column.categories):
            flags[values == name] = code
        return flags, {**attributes, **_flags(column.categories)}
    raise ValueError(f"a column of kind {column.kind!r} has no place in a NetCDF file")


def _flags(names: tuple[str, ...]) -> dict[str, Any]:
    return {
        "_FillValue": np.int8(UNKNOWN_FLAG),
        "flag_values": np.arange(len(names), dtype=np.int8),
        "flag_meanings": " ".join(names),
    }


def _variable(file: Any, name: str, values: AnyArray, dimensions: tuple[str, ...], said: Mapping[str, Any]) -> None:
    variable = file.createVariable(name, values.dtype, dimensions)
    variable[:] = values
    for key, value in said.items():
        setattr(variable, key, value.encode() if isinstance(value, str) else value)


def _text(file: Any, name: str, texts: list[str], said: Mapping[str, Any]) -> None:
    """Write a text a series, as characters of UTF-8 padded with NUL."""
    encoded = [text.encode() for text in texts]
    width = max(1, *map(len, encoded))
    dimension = f"{name}_strlen"
    file.createDimension(dimension, width)
    characters = np.array(encoded, dtype=f"S{width}").view("S1").reshape(len(texts), width)
    _variable(file, name, characters, ("series", dimension), {**said, "_Encoding": "utf-8"})
