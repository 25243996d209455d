"""Conditions of one place in a CF NetCDF file: variables by their standard name, converted by their units.

Of two periods the peak period is taken, then the energy period. A direction that waves or wind go to is turned round.
Variables of other standard names are passed over.
"""

from __future__ import annotations

from os import PathLike
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from tidecore.conditions.issue import MOST_TIMES
from tidecore.conditions.moments import written_us
from tidecore.conditions.spelled import Meant, meant
from tidecore.errors import Fault, InvalidInput, RecordUnreadable
from tidecore.gauges.cf_netcdf import cf_times, on_time_axis, opened_netcdf
from tidecore.gauges.packing import decoded
from tidecore.gauges.source import Source
from tidecore.units import IntArray

if TYPE_CHECKING:
    import xarray as xr


class _Standard(NamedTuple):
    """What a standard name is to us; ``turned`` where it says where to, not where from."""

    quantity: str
    turned: bool = False


_SPECTRAL = "sea_surface_wave_mean_period_from_variance_spectral_density"
#: Standard names of CF (table 93) and aliases; of one quantity the first that a file has is taken.
_STANDARD_NAMES = {
    "sea_surface_wave_significant_height": _Standard("wave_height"),
    "significant_height_of_wind_and_swell_waves": _Standard("wave_height"),
    "sea_surface_wave_period_at_variance_spectral_density_maximum": _Standard("wave_peak_period"),
    f"{_SPECTRAL}_inverse_frequency_moment": _Standard("wave_energy_period"),
    f"{_SPECTRAL}_second_frequency_moment": _Standard("wave_zero_crossing_period"),
    "sea_surface_wave_zero_upcrossing_period": _Standard("wave_zero_crossing_period"),
    "sea_surface_wave_from_direction": _Standard("wave_from"),
    "sea_surface_wave_to_direction": _Standard("wave_from", turned=True),
    "wind_speed": _Standard("wind_speed"),
    "wind_from_direction": _Standard("wind_from"),
    "wind_to_direction": _Standard("wind_from", turned=True),
    "wind_speed_of_gust": _Standard("wind_gust"),
    "air_temperature": _Standard("air_temperature"),
    "sea_surface_temperature": _Standard("sea_temperature"),
    "air_pressure_at_mean_sea_level": _Standard("pressure"),
    "air_pressure_at_sea_level": _Standard("pressure"),
    "cloud_area_fraction": _Standard("cloud_cover"),
    "rainfall_rate": _Standard("rain"),
    "rainfall_flux": _Standard("rain"),
    "thunderstorm_probability": _Standard("thunder_probability"),
    "visibility_in_air": _Standard("visibility"),
}


def read_file(content: bytes | str | PathLike[str]) -> dict[str, Any]:
    """Return times and values of a file, and what it says of issue time, source and kind of period.

    Raises
    ------
    RecordUnreadable
        If it is no whole NetCDF file, holds no variable that is known, or one of several places or times of its own.
    RecordTooLarge
        If it has more than 64,000,000 bytes.
    InvalidInput
        With every unit that is missing or not known.
    """
    source = Source("conditions", content) if isinstance(content, bytes) else Source.open(content)
    with opened_netcdf(source) as dataset:
        chosen = _chosen(dataset)
        values: dict[str, list[float | None]] = {}
        times_us: IntArray | None = None
        for name, one, turned in chosen:
            variable, axis = on_time_axis(dataset, name)
            its_times = np.atleast_1d(cf_times(axis)[0]).ravel()
            if times_us is not None and not np.array_equal(times_us, its_times):
                raise RecordUnreadable(
                    f"the variable {name!r} has times of its own", expected="one axis of time for all"
                )
            times_us = its_times
            if times_us.size > MOST_TIMES:
                raise RecordUnreadable(f"the file has {times_us.size} times", expected=f"at most {MOST_TIMES}")
            values[one.variable] = _column(variable, one, turned)
        found: dict[str, Any] = {
            "times": [written_us(int(at)) for at in times_us] if times_us is not None else [],
            "values": {name: column for name, column in values.items() if any(value is not None for value in column)},
        }
        period = next((one.period for _, one, _ in chosen if one.period is not None), None)
        return found | ({} if period is None else {"wave_period_kind": period}) | _said(dataset)


def _chosen(dataset: xr.Dataset) -> list[tuple[str, Meant, bool]]:
    """Return the variables that are read: name, meaning, and whether a direction is to be turned."""
    by_standard: dict[str, list[str]] = {}
    for name, variable in dataset.variables.items():
        by_standard.setdefault(str(variable.attrs.get("standard_name", "")), []).append(str(name))
    found, taken, faults = [], set[str](), []
    for standard, (quantity, turned) in _STANDARD_NAMES.items():
        names = by_standard.get(standard, [])
        if len(names) > 1:
            faults.append(Fault(standard, f"is the standard name of {', '.join(names)}", "one variable of each kind"))
        for name in names[:1]:
            unit = str(dataset.variables[name].attrs.get("units", ""))
            one = meant(quantity, unit)
            if isinstance(one, str):
                said = f"has the unit {unit[:40]!r}" if unit else "has no unit"
                faults.append(Fault(f"{name[:60]}.units", said, f"one of {one}"))
            elif one.variable not in taken:
                taken.add(one.variable)
                found.append((name, one, turned))
    if faults:
        raise InvalidInput(faults)
    if not found:
        known = ", ".join(_STANDARD_NAMES)
        raise RecordUnreadable("no variable has a standard name that is known", expected=f"some of {known}")
    return found


def _column(variable: xr.Variable, one: Meant, turned: bool) -> list[float | None]:
    """Return the values of a variable in our unit, None where missing or outside its own valid range."""
    numbers, outside = decoded(variable)
    numbers = np.atleast_1d(np.where(outside, np.nan, numbers)).ravel()
    if turned:
        numbers = (numbers + 180.0) % 360.0
    # Single precision holds seven digits; what is beyond them is no part of the value.
    digits = 7 if variable.dtype.kind == "f" and variable.dtype.itemsize <= 4 else 12
    return [None if np.isnan(value) else float(f"{one.ours(float(value)):.{digits}g}") for value in numbers]


def _said(dataset: xr.Dataset) -> dict[str, Any]:
    """Return when the file says its forecast was issued, and by whom."""
    said: dict[str, Any] = {}
    for variable in dataset.variables.values():
        if variable.attrs.get("standard_name") == "forecast_reference_time" and variable.size == 1:
            said["issued_at"] = written_us(int(np.ravel(cf_times(variable)[0])[0]))
    institution = str(dataset.attrs.get("institution", "")).strip()
    return said | ({"source": institution[:120]} if institution else {})
