"""CF NetCDF: one sea-level variable over one time axis.

NetCDF-3 (classic and 64-bit offset) needs nothing beyond the base install; NetCDF-4 and 64-bit data need the optional
``netcdf`` extra. The variable is found by its CF standard name, or said with ``variable``. Axes of length one (the
latitude and longitude of COARDS files, the record of UHSLC files) are squeezed away.

Times are UTC unless their units say otherwise, as CF has it. The datum is the one a standard name states (mean sea
level, geoid, ellipsoid) or an attribute ``datum`` or ``vertical_datum`` of the variable or the file; a ``datum`` given
goes before it, and what the file says is then kept beside it as ``datum_in_file``.

Oddities met in real files: UHSLC files give sea level no standard name, and buoy-centre COARDS files one that is
none of CF's (both need ``variable``); units "feet" and "millimeters"; longitudes of 0 to 360; quality flags in
variables of their own, which are named in the attributes (``ancillary_not_read``) and not read.
"""

from __future__ import annotations

import importlib.util
import io
import re
from collections.abc import Hashable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import numpy as np

from tidecore.errors import HintMissing, RecordAmbiguous, RecordUnreadable, UnknownName
from tidecore.gauges.epochs import TimeUnit
from tidecore.gauges.hints import DATUM, UNIT, VALID_RANGE, Hint, Hints
from tidecore.gauges.packing import MAX_VALUES, damaged, decoded
from tidecore.gauges.reader import GaugeReader, Recognition
from tidecore.gauges.record import RawRecord
from tidecore.gauges.source import Source
from tidecore.gauges.stated import settled_datum, wrapped_longitude
from tidecore.timebase import US_PER_HOUR
from tidecore.units import BoolArray, FloatArray, IntArray, metres_per

if TYPE_CHECKING:
    import xarray as xr

HINTS = (
    Hint("variable", "the name of the sea-level variable"),
    UNIT,
    DATUM,
    Hint("missing", "numbers that stand for no level, one or a list, beside those the file declares"),
    VALID_RANGE,
)

_CLASSIC = (b"CDF\x01", b"CDF\x02")
_OTHERS = (b"CDF\x05", b"\x89HDF\r\n\x1a\n")
_CALENDARS = ("standard", "gregorian", "proleptic_gregorian")

#: CF standard names (table 93) and aliases of an observed level; those of predictions and of residuals are none.
_SEA_LEVEL = re.compile(
    r"(sea_surface_height|sea_surface_elevation|water_surface_height)"
    r"(_above_(mean_sea_level|sea_level|geoid|geopotential_datum|reference_ellipsoid|reference_datum))?"
)
_DATUMS = {"mean_sea_level": "MSL", "sea_level": "MSL", "geoid": "geoid", "reference_ellipsoid": "ellipsoid"}
_Attributes = dict[str, str | int | float]

_DATUM_ATTRIBUTES = ("datum", "vertical_datum", "geospatial_vertical_datum")


def _recognise(source: Source) -> Recognition:
    """The first bytes of a NetCDF file are of no other format."""
    return Recognition.CERTAIN if source.data.startswith((*_CLASSIC, *_OTHERS)) else Recognition.NO


def _read(source: Source, hints: Hints) -> RawRecord:
    """Read the one sea-level variable of a NetCDF file."""
    with opened_netcdf(source) as dataset:
        name = _named(dataset, hints)
        level, time = on_time_axis(dataset, name)
        times_us, zone_us, moved_s = cf_times(time)
        unit, attributes = _unit(level, hints)
        levels, rejected = _levels(level, hints)
        attributes.update(_datum(dataset, level, hints), **_position(dataset))
        attributes.update({"variable": name, "time_rounding_s": moved_s})
        for key in ("title", "station"):
            if key in dataset.attrs:
                attributes[key] = str(dataset.attrs[key])
        if "ancillary_variables" in level.attrs:
            attributes["ancillary_not_read"] = str(level.attrs["ancillary_variables"])
    return RawRecord(
        times_us=times_us,
        levels=levels,
        unit=unit,
        zone="UTC, by the CF convention" if zone_us is None else "stated by the units of time",
        datum=str(attributes.pop("datum")),
        utc_offset_h=0.0 if zone_us is None else zone_us / US_PER_HOUR,
        rejected=rejected,
        valid_range=hints.interval("valid_range"),
        attributes=attributes,
    )


@contextmanager
def opened_netcdf(source: Source) -> Iterator[xr.Dataset]:
    """Open a NetCDF file without decoding it; whatever the decoder trips over is an unreadable record."""
    import xarray as xr

    classic = source.data.startswith(_CLASSIC)
    if not classic and not source.data.startswith(_OTHERS):
        raise RecordUnreadable("the file does not begin as NetCDF does", expected="NetCDF-3 or NetCDF-4")
    if not classic and importlib.util.find_spec("netCDF4") is None:
        raise RecordUnreadable(
            "the file is NetCDF-4, which this installation cannot read",
            expected="the extra 'netcdf' (pip install 'ebbmark[netcdf]'), or the file as NetCDF-3",
        )
    try:
        if classic:
            opened = xr.open_dataset(io.BytesIO(source.data), engine="scipy", decode_cf=False)
        else:
            opened = _opened_netcdf4(source)
    except RecordUnreadable:
        raise
    except Exception as error:  # the decoders raise anything at all on damaged files
        raise damaged(error) from error
    with opened:
        yield opened


def _opened_netcdf4(source: Source) -> xr.Dataset:
    """Open a file that the netCDF4 library reads, without decoding it."""
    import netCDF4
    import xarray as xr
    from xarray.backends import NetCDF4DataStore

    memory = netCDF4.Dataset("record", memory=source.data)
    # Opening loads every axis, and a small compressed file may claim an axis without end.
    for name, axis in memory.dimensions.items():
        if axis.size > MAX_VALUES:
            raise RecordUnreadable(f"the axis {name!r} has {axis.size} values", expected=f"at most {MAX_VALUES}")
    return xr.open_dataset(NetCDF4DataStore(memory), decode_cf=False)  # type: ignore[no-untyped-call]


def _named(dataset: xr.Dataset, hints: Hints) -> str:
    """Return the name of the sea-level variable, given or the only one with a standard name of sea level."""
    names = [str(name) for name in dataset.variables]
    given = hints.text("variable")
    if given is not None:
        if given not in names:
            raise UnknownName("variable", given, names)
        return given
    fitting = [
        name for name in names if _SEA_LEVEL.fullmatch(str(dataset.variables[name].attrs.get("standard_name", "")))
    ]
    if len(fitting) > 1:
        raise RecordAmbiguous("the sea level", fitting, "variable=")
    if not fitting:
        raise HintMissing("variable", f"the name of the sea-level variable, one of {', '.join(names)}")
    return fitting[0]


def on_time_axis(dataset: xr.Dataset, name: str) -> tuple[xr.Variable, xr.Variable]:
    """Return the variable ``name`` and the times it stands at, both of the one axis that is longer than one."""
    variable = dataset.variables[name]
    long = [str(axis) for axis in variable.dims if variable.sizes[axis] > 1]
    if len(long) > 1:
        shape = ", ".join(f"{axis} {variable.sizes[axis]}" for axis in long)
        raise RecordUnreadable(f"the variable {name!r} has {len(long)} axes ({shape})", expected="one, of time")
    timed = {
        axis: clocks
        for axis in long or map(str, variable.dims)
        if (clocks := _clocks(dataset, axis, set(variable.dims)))
    }
    if not timed:
        raise RecordUnreadable(
            f"no variable says the times of {name!r}",
            expected="one along its axis with units as 'days since 1970-01-01'",
        )
    axis, clocks = next(iter(timed.items()))
    if len(clocks) > 1:
        raise RecordAmbiguous(f"the time of {name!r}", clocks, "a file in which one has the standard name 'time'")
    others = [other for other in variable.dims if other != axis]
    time = dataset.variables[clocks[0]]
    return variable.isel(dict.fromkeys(others, 0)), time.isel({other: 0 for other in time.dims if other != axis})


def _clocks(dataset: xr.Dataset, axis: str, dims: set[Hashable]) -> list[str]:
    """Return what may say the times along ``axis``: its own variable, else those of that standard name, else all."""
    counting = [
        str(name)
        for name, variable in dataset.variables.items()
        if axis in variable.dims
        and set(variable.dims) <= dims
        and TimeUnit.parse(str(variable.attrs.get("units", ""))) is not None
    ]
    standard = [name for name in counting if dataset.variables[name].attrs.get("standard_name") == "time"]
    return [axis] if axis in counting else standard or counting


def cf_times(variable: xr.Variable) -> tuple[IntArray, int | None, float]:
    """Return times in UTC, the offset that their units state [microseconds], and how far rounding moved one [s]."""
    calendar = str(variable.attrs.get("calendar", "standard")).lower()
    if calendar not in _CALENDARS:
        raise RecordUnreadable(f"the calendar of time is {calendar!r}", expected=f"one of {', '.join(_CALENDARS)}")
    unit = TimeUnit.parse(str(variable.attrs["units"]))
    counts, _ = decoded(variable)
    if unit is None or not np.isfinite(counts).all():
        raise RecordUnreadable("a time is missing", expected="a time for every value")
    local_us, moved_s = unit.local_microseconds(counts)
    return local_us - (unit.offset_us or 0), unit.offset_us, moved_s


def _levels(variable: xr.Variable, hints: Hints) -> tuple[FloatArray, BoolArray]:
    """Return levels in the unit of the file, NaN where missing, and which lie outside the file's own valid range."""
    if str(variable.attrs.get("positive", "up")).lower() == "down":
        raise RecordUnreadable(
            "the variable counts downwards (positive = 'down')", expected="levels that rise with the sea"
        )
    levels, rejected = decoded(variable)
    for marker in hints.listed("missing"):
        if isinstance(marker, str):
            raise hints.wrong("missing")
        levels[np.isclose(levels, marker, rtol=1e-6, atol=0.0)] = np.nan
    return levels, rejected


def _unit(variable: xr.Variable, hints: Hints) -> tuple[str, _Attributes]:
    """Return the unit of level, which file and hint must not say differently, and what the file calls it."""
    stated, given = str(variable.attrs.get("units", "")).strip(), hints.unit()
    try:
        metres = metres_per(stated)
    except UnknownName:
        # "meters above MLLW" and the like: the caller may say what it is.
        if given is None:
            raise HintMissing("unit", UNIT.accepted, stated or None) from None
        return given, {"unit_in_file": stated} if stated else {}
    if given is not None and metres_per(given) != metres:
        candidates = [f"{stated!r} (the file)", f"{given!r} (unit=)"]
        raise RecordAmbiguous("the unit of level", candidates, "a unit= that agrees with the file, or none")
    return stated, {}


def _datum(dataset: xr.Dataset, variable: xr.Variable, hints: Hints) -> _Attributes:
    """Return the datum given, else the one that the file states; both if they differ."""
    surface = _SEA_LEVEL.fullmatch(str(variable.attrs.get("standard_name", "")))
    stated = _DATUMS.get(surface[3] or "", "") if surface is not None else ""
    for key in _DATUM_ATTRIBUTES:
        for attributes in (variable.attrs, dataset.attrs):
            stated = stated or str(attributes.get(key, "")).strip()
    datum, beside = settled_datum(hints, stated)
    return {"datum": datum, **beside}


def _position(dataset: xr.Dataset) -> _Attributes:
    """Return latitude and longitude [degrees, west negative], where the file has one position."""
    found: _Attributes = {}
    for name, short, limit in (("latitude", "lat", 90.0), ("longitude", "lon", 360.0)):
        for key, variable in dataset.variables.items():
            standard = variable.attrs.get("standard_name") == name
            if (standard or str(key).lower() in (name, short)) and variable.size == 1 and variable.dtype.kind in "iuf":
                degrees = float(decoded(variable)[0].ravel()[0])
                if abs(degrees) <= limit:
                    wrapped = degrees if name == "latitude" else wrapped_longitude(degrees)
                    # Single precision holds four decimals of a longitude up to 360.
                    found[name] = round(wrapped, 4 if variable.dtype.itemsize <= 4 else 6)
    return found


CF_NETCDF = GaugeReader("cf-netcdf", "CF NetCDF with one sea-level variable over time", HINTS, _recognise, _read)
