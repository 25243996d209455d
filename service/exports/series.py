"""What the forms are made of: columns, tables, and series of columns at one place each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from tidecore.timebase import US_PER_SECOND
from tidecore.units import AnyArray, FloatArray, UtcTimes

#: Raised by one whenever the same numbers may come out as other bytes, in any form, JSON too. ETags hold it.
FORMAT = 8

#: Unit as tidecore names it -> how it ends the name of a field.
UNIT_ENDINGS: Mapping[str, str] = {
    "": "",
    "1": "",
    "m": "_m",
    "m/h": "_m_per_h",
    "h": "_h",
    "d": "_days",
    "min": "_min",
    "s": "_s",
    "degree": "_deg",
    "m/s": "_m_per_s",
    "degC": "_deg_c",
    "hPa": "_hpa",
    "%": "_percent",
    "mm/h": "_mm_per_h",
}

#: Unit -> how a name begins that says it already.
_SAID = {"h": "hours_", "min": "minutes_", "d": "day"}

Kind = Literal["number", "integer", "category", "boolean", "text", "time"]


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One column.

    ``values`` say unknown each kind in its own way: NaN in a number, the empty text in a category or text, -1 in a
    boolean, NaT in a time; an integer is always known. ``meaning`` is a sentence; ``standard_name`` is CF's.
    """

    name: str
    kind: Kind
    values: AnyArray
    meaning: str
    unit: str = ""
    decimals: int = 3
    categories: tuple[str, ...] = ()
    standard_name: str = ""

    @property
    def field(self) -> str:
        """The name with the unit at its end, as the fields of JSON have it."""
        ending = UNIT_ENDINGS[self.unit]
        return self.name if self.name.startswith(_SAID.get(self.unit, " ")) else self.name + ending


@dataclass(frozen=True, slots=True)
class Table:
    """Columns of one length; ``name`` makes the name of the file."""

    name: str
    columns: Sequence[Column]


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Columns over instants at one place.

    ``about`` says what it rests on: ids, versions, datum. ``longitude`` is None where nobody gave one.
    """

    key: str
    title: str
    latitude: float
    longitude: float | None
    about: Mapping[str, str | int | bool]
    times: UtcTimes
    columns: Sequence[Column]


@dataclass(frozen=True, slots=True, eq=False)
class SeriesSet:
    """Series with the same columns; ``name`` makes the name of the file, ``title`` is for people.

    ``even`` says that all share one time axis.
    """

    name: str
    title: str
    series: Sequence[Series]
    even: bool = field(default=True)


@dataclass(frozen=True, slots=True)
class Export:
    """The bytes of a form, its media type, and a name for a file of it."""

    content: bytes
    media_type: str
    file_name: str


def file_stem(what: str, keys: Sequence[str], start_us: int) -> str:
    """Return the name of a file without its ending: what it holds, of what if that is one thing, and from when."""
    start = np.datetime64(start_us // US_PER_SECOND, "s").item()
    of = [keys[0]] if len(keys) == 1 else [f"of_{len(keys)}"]
    return "_".join([what, *of, f"{start:%Y%m%dT%H%M%SZ}"])


def rounded(values: AnyArray | Sequence[float], decimals: int) -> FloatArray:
    """Return values rounded for publication; NaN, which means unknown, stays, and -0 becomes 0.

    Raises
    ------
    ValueError
        For an infinity: nothing that is published may be one.
    """
    found = np.asarray(np.round(np.asarray(values, dtype=np.float64), decimals) + 0.0, dtype=np.float64)
    if np.isinf(found).any():
        raise ValueError("an infinity cannot be published")
    return found
