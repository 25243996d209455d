"""Several records of one gauge, perhaps years apart, as one: overlaps compared, levels brought together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from tidecore.errors import Fault, InvalidInput, PartsDisagree
from tidecore.harmonics.least_squares import NormalEquations, basis, equations_of, real_columns
from tidecore.timebase import from_microseconds, microseconds
from tidecore.units import BoolArray, FloatArray, IntArray

if TYPE_CHECKING:
    import xarray

_GOOD_FLAGS = (1, 2)
#: What two copies of one measurement may differ by: a gauge is read to the centimetre [m].
_SAME_M = 0.02
#: Places further apart than this are two places [degrees of latitude].
_SAME_LATITUDE = 0.05
_ROWS = 4096


@dataclass(frozen=True, slots=True, eq=False)
class JoinedRecord:
    """Valid values of all parts in order of time, and which part each is of.

    ``attrs`` are those of the latest part, whose datum the model takes. Where ``shares_level`` is False the parts'
    datums differ or are unknown, and their levels are brought to that of the latest by the fit. ``turns_alone`` where a
    part holds high and low waters and nothing between.
    """

    times_us: IntArray
    levels: FloatArray
    part: IntArray
    missing: int
    attrs: Mapping[str, Any]
    shares_level: bool
    described: tuple[dict[str, Any], ...]
    turns_alone: bool = False


def joined(records: xarray.Dataset | Sequence[xarray.Dataset]) -> JoinedRecord:
    """Return one record of one or several parts.

    Raises
    ------
    InvalidInput
        If there is none, or one is no record.
    PartsDisagree
        If parts overlap and differ by over 2 cm where both have values (after the offset between them, where their
        datums are not one), overlap without a common instant, or state different latitudes.
    """
    import xarray

    given = [records] if isinstance(records, xarray.Dataset) else list(records)
    if not given:
        raise InvalidInput(Fault("record", "there is none", "a record as read_gauge returns it, or several"))
    several = len(given) > 1
    read = [_valid(one, f"record.{at}" if several else "record") for at, one in enumerate(given)]
    missing = sum(left_out for _, _, left_out in read)
    # A part without a valid value has no place in time; of nothing but such parts the first stands for all.
    order = [at for at in range(len(given)) if len(read[at][0])] or [0]
    order.sort(key=lambda at: int(read[at][0][0]) if len(read[at][0]) else 0)
    given, read = [given[at] for at in order], [read[at] for at in order]
    datums = [str(one.attrs.get("datum", "unknown")) for one in given]
    shares = len(set(datums)) == 1 and (not several or datums[0] != "unknown")
    _same_place(given)
    times, levels, part = read[0][0], read[0][1], np.zeros(len(read[0][0]), dtype=np.int64)
    for number in range(1, len(read)):
        fresh = _fresh(times, levels, read[number], shares, order[number])
        times = np.concatenate((times, read[number][0][fresh]))
        levels = np.concatenate((levels, read[number][1][fresh]))
        part = np.concatenate((part, np.full(int(fresh.sum()), number)))
        ascending = np.argsort(times, kind="stable")
        times, levels, part = times[ascending], levels[ascending], part[ascending]
    described = tuple(
        {
            "first": f"{from_microseconds(of[0])}Z",
            "last": f"{from_microseconds(of[-1])}Z",
            "values": len(of),
            "datum": datum,
        }
        for (of, _, _), datum in zip(read, datums, strict=True)
        if len(of)
    )
    latest = given[-1].attrs
    turns_alone = any(one.attrs.get("high_low_only", 0) == 1 for one in given)
    return JoinedRecord(times, levels, part, missing, latest, shares, described if several else (), turns_alone)


def about_own_means(record: JoinedRecord) -> FloatArray:
    """Return levels with each part's own mean taken off where the parts share none, as far as choosing needs it."""
    if record.shares_level:
        return record.levels
    totals = np.bincount(record.part, weights=record.levels)
    means = totals / np.maximum(np.bincount(record.part), 1)
    levels: FloatArray = record.levels - means[record.part]
    return levels


def level_offsets(
    record: JoinedRecord, latitude: float, names: tuple[str, ...], nodal: str
) -> tuple[FloatArray, tuple[float, ...]]:
    """Return levels brought to the latest part's, and how far each part's own lie above it [m].

    The offsets are unknowns of the least squares beside the constituents: the tide, season included, is common to
    all parts, the mean level is not. A fit to the levels returned gives the coefficients of that common solution.
    """
    count = int(record.part.max()) + 1
    if record.shares_level or count == 1:
        return record.levels, (0.0,) * count
    middle = (int(record.times_us[0]) + int(record.times_us[-1])) // 2
    whole: NormalEquations | None = None
    for at in range(0, len(record.levels), _ROWS):
        rows = slice(at, at + _ROWS)
        lines = real_columns(basis(names, latitude, record.times_us[rows], nodal, middle))
        own = (record.part[rows, None] == np.arange(count)).astype(np.float64)
        of = equations_of(np.hstack((lines, own)), record.levels[rows])
        whole = of if whole is None else whole + of
    assert whole is not None
    means = whole.solve()[2 * len(names) :]
    above = means - means[-1]
    return record.levels - above[record.part], tuple(float(one) for one in above)


def _valid(record: xarray.Dataset, where: str) -> tuple[IntArray, FloatArray, int]:
    """Return times, levels, and how many values were left out."""
    for name in ("sea_level", "time"):
        if name not in record:
            raise InvalidInput(Fault(f"{where}.{name}", "missing", "a record as read_gauge returns it"))
    times = microseconds(record["time"].values, f"{where}.time")
    levels = np.asarray(record["sea_level"].values, dtype=np.float64)
    if times.ndim != 1 or levels.shape != times.shape:
        raise InvalidInput(Fault(f"{where}.sea_level", f"has shape {levels.shape}", "one level a time"))
    if np.any(np.diff(times) <= 0):
        raise InvalidInput(Fault(f"{where}.time", "does not ascend", "sorted times, each once"))
    valid: BoolArray = np.isfinite(levels)
    if "quality" in record:
        valid &= np.isin(record["quality"].values, _GOOD_FLAGS)
    return times[valid], levels[valid], int(len(times) - valid.sum())


def _same_place(records: Sequence[xarray.Dataset]) -> None:
    stated = [float(one.attrs["latitude"]) for one in records if one.attrs.get("latitude") is not None]
    if stated and max(stated) - min(stated) > _SAME_LATITUDE:
        problem = f"parts lie at latitudes {min(stated):g} and {max(stated):g}"
        raise PartsDisagree(Fault("record.latitude", problem, "parts of one gauge"))


def _fresh(
    times: IntArray, levels: FloatArray, new: tuple[IntArray, FloatArray, int], shares: bool, number: int
) -> BoolArray:
    """Return which values of a new part are not there already; raises PartsDisagree where the two contradict."""
    new_times, new_levels, _ = new
    fresh = np.ones(len(new_times), dtype=bool)
    if not len(times) or not len(new_times):
        return fresh
    begin, end = max(int(times[0]), int(new_times[0])), min(int(times[-1]), int(new_times[-1]))
    inside = (new_times >= begin) & (new_times <= end)
    among = (times >= begin) & (times <= end)
    # Parts may interlock without overlapping: one fills the gap of the other.
    if not (inside.any() and among.any()):
        return fresh
    _, mine, theirs = np.intersect1d(times, new_times, assume_unique=True, return_indices=True)
    where = f"record.{number}"
    span = f"{from_microseconds(begin)}Z to {from_microseconds(end)}Z"
    if not len(mine):
        if _interlocked(times[among], new_times[inside]):
            raise PartsDisagree(
                Fault(where, f"overlaps an earlier part from {span} without a common instant", "one part for each time")
            )
        return fresh
    apart = new_levels[theirs] - levels[mine]
    if not shares:
        apart = apart - np.median(apart)
    worst = int(np.argmax(np.abs(apart)))
    rms = float(np.sqrt(np.mean(apart**2)))
    if rms > _SAME_M:
        at = f"{from_microseconds(new_times[theirs[worst]])}Z"
        problem = (
            f"differs from an earlier part by {rms:.3f} m (root mean square of {len(apart)} common values, {span}), "
            f"most by {apart[worst]:+.3f} m at {at}"
        )
        raise PartsDisagree(Fault(where, problem, f"the same levels where parts overlap, within {_SAME_M:g} m"))
    fresh[theirs] = False
    return fresh


def _interlocked(times: IntArray, others: IntArray) -> bool:
    """Return whether the instants of two parts lie among each other oftener than gaps filled would make them."""
    both = np.concatenate((times, others))
    whose = np.concatenate((np.zeros(len(times)), np.ones(len(others))))[np.argsort(both, kind="stable")]
    changes = int(np.count_nonzero(np.diff(whose)))
    return changes > 0.1 * len(both)
