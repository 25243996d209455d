"""Packed values of a NetCDF variable -> numbers, by the CF attributes that say how they are packed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tidecore.errors import RecordUnreadable
from tidecore.units import AnyArray, BoolArray, FloatArray

if TYPE_CHECKING:
    import xarray as xr

#: Most values read from one variable; a compressed file may claim to hold far more than it has bytes.
MAX_VALUES = 30_000_000

#: NetCDF fills what was never written with 9.96921e36; whatever is near it is no number of anything.
_DEFAULT_FILL = 9.9e36


def damaged(error: Exception) -> RecordUnreadable:
    """Return the error for a file that a NetCDF decoder cannot read."""
    return RecordUnreadable(f"the NetCDF file is damaged or cut off ({error})", expected="a whole NetCDF file")


def decoded(variable: xr.Variable) -> tuple[FloatArray, BoolArray]:
    """Return values as float64, unpacked, NaN where missing, and which lie outside the variable's valid range.

    Missing is what `_FillValue` and `missing_value` say, NaN, and the fill value that NetCDF gives floats by itself.
    """
    if variable.size > MAX_VALUES:
        raise RecordUnreadable(f"the variable has {variable.size} values", expected=f"at most {MAX_VALUES}")
    try:
        packed = np.asarray(variable.values)
    except Exception as error:  # the decoders raise anything at all on damaged files
        raise damaged(error) from error
    if packed.dtype.kind not in "iuf":
        raise RecordUnreadable(f"the values are of type {packed.dtype}", expected="numbers")
    values = packed.astype(np.float64)
    missing = np.isnan(values)
    if packed.dtype.kind == "f":
        missing |= np.abs(values) > _DEFAULT_FILL
    for key in ("_FillValue", "missing_value"):
        for marker in _numbers(variable, key):
            missing |= packed == marker
    low, high = _numbers(variable, "valid_min"), _numbers(variable, "valid_max")
    both = _numbers(variable, "valid_range")
    if both.size == 2:
        low, high = both[:1], both[1:]
    outside = np.zeros(values.shape, dtype=np.bool_)
    if low.size:
        outside |= values < low[0]
    if high.size:
        outside |= values > high[0]
    scale, offset = _numbers(variable, "scale_factor"), _numbers(variable, "add_offset")
    # A damaged scale may overflow; levels that are not finite are refused with the record.
    with np.errstate(over="ignore", invalid="ignore"):
        values = values * (scale[0] if scale.size else 1.0) + (offset[0] if offset.size else 0.0)
    return np.where(missing, np.nan, values), outside & ~missing


def _numbers(variable: xr.Variable, key: str) -> AnyArray:
    """Return the attribute ``key`` as an array of numbers, empty where it is absent or no number."""
    array = np.atleast_1d(np.asarray(variable.attrs.get(key, [])))
    return array.ravel() if array.dtype.kind in "iuf" else np.array([])
