"""The table of high and low waters."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tidecore.errors import Fault, InvalidInput
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray, UtcTimes

if TYPE_CHECKING:
    import xarray

#: Column -> attributes of its variable in `Extremes.to_xarray`.
_ATTRIBUTES: dict[str, dict[str, str]] = {
    "height": {"long_name": "height above the station's datum", "units": "m"},
    "kind": {"long_name": "high or low water"},
    "primary": {"long_name": "the high (low) water of its tide"},
    "tide_id": {"long_name": "number of the Greenwich M2 cycle since 1970 that holds the high water"},
    "double": {"long_name": "one of two separate peaks of one tide"},
    "rank": {"long_name": "rank in the lunar day: HH, LH or H; LL, HL or L; empty for a secondary extreme"},
    "curvature": {"long_name": "second derivative of height", "units": "m h-2"},
    "no_tide": {"long_name": "range under 5 cm on both sides"},
    "stand_start": {"long_name": "start of the stand around it, NaT if there is none"},
    "stand_end": {"long_name": "end of the stand around it, NaT if there is none"},
}


@dataclass(frozen=True, slots=True, eq=False)
class Extremes:
    """High and low waters in time order; every column has shape ``(n,)``.

    Parameters
    ----------
    time : datetime64[us] array
        Instants [UTC].
    height : float64 array
        Heights [m, above the station's datum].
    kind : str array
        ``"high"`` or ``"low"``.
    primary : bool array
        True for the high (low) water of a tide, false for a lesser extreme merged with it. Primaries alternate.
    tide_id : int64 array
        Number of the Greenwich M2 cycle since 1970 that holds the primary high water (that of the high water before,
        for a low water); a secondary extreme has that of its primary.
    double : bool array
        True for both of two separate peaks (troughs) of one tide.
    rank : str array
        ``"HH"``, ``"LH"``, ``"H"``, ``"LL"``, ``"HL"``, ``"L"``; empty for a secondary extreme.
    curvature : float64 array
        Second derivative of height [m/h^2].
    no_tide : bool array
        True where the range to the primaries before and after is under 5 cm on both sides.
    stand_start, stand_end : datetime64[us] array
        Span around the extreme in which the water stands; NaT where it doesn't.

    Raises
    ------
    InvalidInput
        If the columns are not of one length.
    """

    time: UtcTimes
    height: FloatArray
    kind: NDArray[np.str_]
    primary: BoolArray
    tide_id: IntArray
    double: BoolArray
    rank: NDArray[np.str_]
    curvature: FloatArray
    no_tide: BoolArray
    stand_start: UtcTimes
    stand_end: UtcTimes

    def __post_init__(self) -> None:
        """Refuse columns that don't belong together."""
        for name, column in self.columns().items():
            if column.shape != self.time.shape:
                problem = f"has shape {column.shape}, time has {self.time.shape}"
                raise InvalidInput(Fault(name, problem, "one value for every time"))

    def __len__(self) -> int:
        """Return the number of extremes."""
        return int(self.time.size)

    def columns(self) -> dict[str, AnyArray]:
        """Return the columns by name."""
        return {field.name: getattr(self, field.name) for field in fields(self)}

    def times_us(self) -> IntArray:
        """Return the instants in microseconds since 1970."""
        return self.time.view(np.int64)

    def select(self, chosen: BoolArray | IntArray | slice) -> Extremes:
        """Return the rows chosen by a mask, by indices or by a slice."""
        return Extremes(**{name: column[chosen] for name, column in self.columns().items()})

    def primaries(self) -> Extremes:
        """Return the high and low waters proper, without secondary extremes."""
        return self.select(self.primary)

    def highs(self) -> Extremes:
        """Return the high waters, secondary ones included."""
        return self.select(self.kind == "high")

    def lows(self) -> Extremes:
        """Return the low waters, secondary ones included."""
        return self.select(self.kind == "low")

    def to_xarray(self) -> xarray.Dataset:
        """Return the table as a dataset along ``time``."""
        import xarray

        return xarray.Dataset(
            {name: ("time", column, _ATTRIBUTES[name]) for name, column in self.columns().items() if name != "time"},
            coords={"time": ("time", self.time, {"standard_name": "time"})},
        )
