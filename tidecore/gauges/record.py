"""What every reader hands over, and the one way it becomes a Dataset: sorted, unique, in metres and counted.

Nothing is repaired in silence. What was done to a record stands in the attributes of the Dataset:

================== ==================================================================================================
rows               rows of time and level in the file
values             times with a level, in the Dataset
missing            times without one
sentinels          rows whose level was a marker for "missing" (blank, NaN, a declared number)
rejected           rows whose level was set missing by the file's own flag or by ``valid_range``
suspect            times whose level the file itself calls doubtful: the level stays, its quality is 3
duplicates         rows taken away because their time had stood before
conflicting_times  times that stood with differing levels: the level is missing, its quality 4
unsorted           rows whose clock runs backwards from the row before; the record is sorted
step_s             most frequent step between times [s]
uneven_steps       steps shorter than 1.5 step_s and not equal to it
gaps               steps of 1.5 step_s or longer; nothing is filled in
absent             times that are absent in the gaps, at step_s
longest_gap_h      longest step [h], and where it starts (``longest_gap_start``)
high_low_only      1 if all are high and low waters, 0 otherwise: a fit cannot tell their tide from its overtides
level_min_m        lowest and highest level [m] (``level_max_m``): a look at them finds a wrong unit
================== ==================================================================================================
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from tidecore.errors import RecordUnreadable
from tidecore.gauges.civil import refuse_outside_span
from tidecore.gauges.source import Source
from tidecore.timebase import US_PER_HOUR, US_PER_SECOND, from_microseconds
from tidecore.units import BoolArray, FloatArray, IntArray, metres_per

if TYPE_CHECKING:
    import xarray as xr

#: QARTOD flags of `quality`.
GOOD, NOT_EVALUATED, SUSPECT, FAIL, MISSING = 1, 2, 3, 4, 9

#: No level lies further from any datum in use [m], ellipsoids included; no sea moves through more than this [m].
FARTHEST_LEVEL_M = 200.0
WIDEST_RANGE_M = 30.0


@dataclass(frozen=True, slots=True)
class RawRecord:
    """A record as its file has it, in the order of the file.

    Attributes
    ----------
    times_us : int64 array, shape (n,)
        Instants [microseconds since 1970-01-01T00:00Z].
    levels : float64 array, shape (n,)
        Levels in the ``unit`` of the file, NaN where the file says missing.
    unit, zone, datum : str
        As the file or the caller says them; the datum may be "unknown".
    utc_offset_h : float or None
        Offset of the file's clock from UTC [h, positive east], None where it moves.
    lines : int64 array, shape (n,), or None
        Line of the file that each row stands on, for errors.
    rejected : bool array, shape (n,), or None
        Rows whose level the file itself marks as bad.
    flags : int64 array, shape (n,), or None
        What the file says of levels it does not reject, as QARTOD flags: 1 good, 2 not evaluated, 3 suspect.
    valid_range : tuple or None
        Lowest and highest level to believe, in the unit of the file.
    attributes : mapping
        What else the reader has to say: text and numbers for the attributes of the Dataset.
    """

    times_us: IntArray
    levels: FloatArray
    unit: str
    zone: str
    datum: str
    utc_offset_h: float | None
    lines: IntArray | None = None
    rejected: BoolArray | None = None
    flags: IntArray | None = None
    valid_range: tuple[float, float] | None = None
    attributes: Mapping[str, str | int | float] = field(default_factory=dict)


def build_record(raw: RawRecord, source: Source, reader: str) -> xr.Dataset:
    """Return a record read by ``reader`` from ``source`` as a Dataset.

    Rows are sorted by time. Rows of one time become one: the level they agree on, rows without one left aside, with the
    worst of their flags; where two levels differ neither is believed, and the level is missing. If that befalls more
    than half of the times, the file is taken to hold several records and refused.

    Returns
    -------
    xarray.Dataset
        ``sea_level`` (time) float64 [m above the datum], NaN where missing; ``quality`` (time) uint8, QARTOD flags: 1
        good, 2 not evaluated, 3 suspect, as the file says (2 where it says nothing); 4 rejected or conflicting (the
        level is missing); 9 missing; ``time`` datetime64[us] UTC,
        sorted and unique; attributes as in the module's table.

    Raises
    ------
    RecordUnreadable
        If there is no row, no level, a time outside the years computed, or a level that no sea has.
    """
    if not raw.times_us.size:
        raise RecordUnreadable("the file holds no row of time and level", expected="at least one")
    refuse_outside_span(raw.times_us, raw.lines)
    sentinels = int(np.isnan(raw.levels).sum())
    rejected = np.zeros(raw.levels.shape, dtype=np.bool_) if raw.rejected is None else raw.rejected.copy()
    if raw.valid_range is not None:
        rejected |= (raw.levels < raw.valid_range[0]) | (raw.levels > raw.valid_range[1])
    rejected &= ~np.isnan(raw.levels)
    kept = np.where(rejected, np.nan, raw.levels)
    if np.isnan(kept).all():
        raise RecordUnreadable(
            f"all {kept.size} levels are missing ({sentinels} by a marker, {int(rejected.sum())} rejected)",
            expected="at least one level",
        )
    levels = kept * metres_per(raw.unit)
    _refuse_impossible(levels, kept, raw)
    unsorted = int((np.diff(raw.times_us) < 0).sum())
    flags = np.full(levels.shape, NOT_EVALUATED) if raw.flags is None else raw.flags
    times_us, levels, quality, conflicting = _merged(raw.times_us, levels, rejected, flags)
    if conflicting * 2 > times_us.size:
        raise RecordUnreadable(
            f"{conflicting} of {times_us.size} times stand more than once with differing levels",
            expected="one record in one file",
        )
    if np.isnan(levels).all():
        raise RecordUnreadable(
            f"no level is left: those at {conflicting} times differ, the others are missing",
            expected="at least one level",
        )
    counts: dict[str, str | int | float] = {
        "rows": raw.levels.size,
        "values": int((~np.isnan(levels)).sum()),
        "missing": int(np.isnan(levels).sum()),
        "sentinels": sentinels,
        "rejected": int(rejected.sum()),
        "suspect": int((quality == SUSPECT).sum()),
        "duplicates": int(raw.times_us.size - times_us.size),
        "conflicting_times": conflicting,
        "unsorted": unsorted,
        **_gaps(times_us),
        "high_low_only": int(_turns_alone(times_us, levels)),
        "level_min_m": float(np.nanmin(levels)),
        "level_max_m": float(np.nanmax(levels)),
    }
    return _dataset(raw, source, reader, (times_us, levels, quality), counts)


def _refuse_impossible(levels: FloatArray, kept: FloatArray, raw: RawRecord) -> None:
    """Raise `RecordUnreadable` for a level that no sea has: a wrong unit, or a marker that was not declared."""
    middle = float(np.nanmedian(levels))
    lowest, highest = float(np.nanmin(levels)), float(np.nanmax(levels))
    far = max(-lowest, highest) > FARTHEST_LEVEL_M
    if far or highest - lowest > WIDEST_RANGE_M:
        worst = int(np.nanargmax(np.abs(levels) if far else np.abs(levels - middle)))
        in_metres = "" if raw.unit == "m" else f", {levels[worst]:g} m"
        raise RecordUnreadable(
            f"the level is {kept[worst]:g} {raw.unit}{in_metres}, where the median is {middle:g} m",
            None if raw.lines is None else int(raw.lines[worst]),
            f"levels within {FARTHEST_LEVEL_M:g} m of the datum and {WIDEST_RANGE_M:g} m of one another; "
            "give another unit=, or missing= or valid_range= if the number stands for no level",
        )


def _merged(
    times_us: IntArray, levels: FloatArray, rejected: BoolArray, flags: IntArray
) -> tuple[IntArray, FloatArray, IntArray, int]:
    """Return sorted unique times with their levels and quality, and how many times had differing levels."""
    order = np.argsort(times_us, kind="stable")
    times_us, levels, rejected, flags = times_us[order], levels[order], rejected[order], flags[order]
    first = np.flatnonzero(np.concatenate(([True], np.diff(times_us) > 0)))
    # fmin and fmax pass over NaN, so a row without a level leaves the word to the others.
    lowest, highest = np.fmin.reduceat(levels, first), np.fmax.reduceat(levels, first)
    conflict = lowest < highest
    merged = np.where(conflict, np.nan, lowest)
    failed = conflict | np.logical_or.reduceat(rejected, first)
    worst = np.maximum.reduceat(np.where(np.isnan(levels), 0, flags), first)
    quality = np.where(~np.isnan(merged), worst, np.where(failed, FAIL, MISSING))
    return times_us[first], merged, quality, int(conflict.sum())


def _gaps(times_us: IntArray) -> dict[str, str | int | float]:
    """Return the step of a sorted record and what is absent from it."""
    steps = np.diff(times_us)
    if not steps.size:
        return {"uneven_steps": 0, "gaps": 0, "absent": 0}
    lengths, counts = np.unique(steps, return_counts=True)
    step = int(lengths[np.argmax(counts)])
    wide = steps * 2 >= 3 * step
    longest = int(np.argmax(steps))
    return {
        "step_s": step / US_PER_SECOND,
        "uneven_steps": int(((steps != step) & ~wide).sum()),
        "gaps": int(wide.sum()),
        "absent": int((np.rint(steps[wide] / step) - 1).sum()),
        "longest_gap_h": float(steps[longest] / US_PER_HOUR),
        "longest_gap_start": f"{times_us[longest].astype('datetime64[us]').astype('datetime64[s]')}Z",
    }


def _turns_alone(times_us: IntArray, levels: FloatArray) -> bool:
    """Tell whether a sorted record is one of high and low waters: hours apart, and nearly every level a turn.

    One in three values of mere noise is no turn, so that ten values and one in twenty tell the two apart.
    """
    present = ~np.isnan(levels)
    times_us, levels = times_us[present], levels[present]
    if levels.size < 10 or np.median(np.diff(times_us)) < 3 * US_PER_HOUR:
        return False
    turns = np.sign(np.diff(levels[:-1])) * np.sign(np.diff(levels[1:])) < 0
    return bool(turns.mean() >= 0.95)


def _dataset(
    raw: RawRecord,
    source: Source,
    reader: str,
    columns: tuple[IntArray, FloatArray, IntArray],
    counts: Mapping[str, str | int | float],
) -> xr.Dataset:
    """Return the Dataset of a record, with CF attributes."""
    import xarray as xr

    times_us, levels, quality = columns
    about: dict[str, str | int | float] = {
        "Conventions": "CF-1.11",
        "title": f"Gauge record {source.name}",
        "format": reader,
        "source_file": source.name,
        "source_sha256": source.sha256,
        "datum": raw.datum,
        "unit_given": raw.unit,
        "zone_given": raw.zone,
    }
    if raw.utc_offset_h is not None:
        about["utc_offset_h"] = raw.utc_offset_h
    level_attributes = {
        "units": "m",
        "standard_name": "water_surface_height_above_reference_datum",
        "long_name": f"sea level above the datum {raw.datum!r}",
        "ancillary_variables": "quality",
    }
    quality_attributes = {
        "standard_name": "status_flag",
        "long_name": "quality of the sea level, QARTOD flags",
        "flag_values": np.array([GOOD, NOT_EVALUATED, SUSPECT, FAIL, MISSING], dtype=np.uint8),
        "flag_meanings": "good not_evaluated suspect fail missing",
    }
    return xr.Dataset(
        {
            "sea_level": ("time", levels, level_attributes),
            "quality": ("time", quality.astype(np.uint8), quality_attributes),
        },
        {"time": ("time", from_microseconds(times_us), {"standard_name": "time", "long_name": "time in UTC"})},
        {**about, **raw.attributes, **counts},
    )
