"""What becomes of rows: sorted, unique, in metres, plausible, and all of it counted."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tidecore.errors import RecordUnreadable
from tidecore.gauges.record import RawRecord, build_record
from tidecore.gauges.source import Source

HOUR = 3_600_000_000
START = int(np.datetime64("2026-01-01", "us").astype(np.int64))
SOURCE = Source("invented.csv", b"invented")
NAN = float("nan")


def built(hours, levels, unit="m", **more):
    raw = RawRecord(
        times_us=START + np.rint(np.array(hours, dtype=np.float64) * HOUR).astype(np.int64),
        levels=np.array(levels, dtype=np.float64),
        unit=unit,
        zone="UTC",
        datum="unknown",
        utc_offset_h=0.0,
        **more,
    )
    return build_record(raw, SOURCE, "csv")


def counts(record, *names: str) -> list[object]:
    return [record.attrs[name] for name in names]


def test_a_clean_record_is_left_as_it_is():
    record = built([0, 1, 2, 3], [1, 2, NAN, 0.5])
    assert record["time"].dtype == np.dtype("datetime64[us]")
    assert record["sea_level"].values.tolist() == pytest.approx([1, 2, NAN, 0.5], nan_ok=True)
    assert record["quality"].values.tolist() == [2, 2, 9, 2]
    assert record["quality"].dtype == np.uint8
    assert counts(record, "rows", "values", "missing", "sentinels", "rejected", "duplicates", "conflicting_times") == [
        4, 3, 1, 1, 0, 0, 0,
    ]  # fmt: skip
    assert counts(record, "unsorted", "gaps", "absent", "uneven_steps", "step_s") == [0, 0, 0, 0, 3600.0]
    assert counts(record, "level_min_m", "level_max_m") == [0.5, 2.0]
    # SHA-256 of the eight letters of "invented", by coreutils' sha256sum.
    assert record.attrs["source_sha256"] == "80914f0274ced542b3c64fd18666296efc1be86f90fc57f02ac5b46ed46d4489"


def test_the_same_time_and_level_twice_is_kept_once():
    record = built([0, 1, 1, 2], [1, 2, 2, 3])
    assert record["sea_level"].values.tolist() == [1, 2, 3]
    assert counts(record, "rows", "duplicates", "conflicting_times") == [4, 1, 0]


def test_flags_of_the_file_stay_with_their_levels_and_the_worst_counts():
    flags = np.array([1, 1, 3, 2, 3, 3])
    rejected = np.array([False, False, False, False, False, True])
    record = built([0, 1, 1, 2, 3, 4], [1, 2, 2, 3, NAN, 5], flags=flags, rejected=rejected)
    assert record["quality"].values.tolist() == [1, 3, 2, 9, 4]
    # The row without a level has no say in the flag of its time.
    assert built([0, 0], [1, NAN], flags=np.array([1, 3]))["quality"].values.tolist() == [1]
    assert counts(record, "suspect", "rejected", "sentinels") == [1, 1, 1]


@pytest.mark.parametrize(
    ("hours", "levels", "only"),
    [
        # A tide of two high and two low waters a day, read at them; the same hourly; at them, but for a spell hourly.
        (np.arange(20) * 6.2, [1.0, 4.0] * 10, 1),
        (np.arange(60), np.cos(np.arange(60) / 2.0), 0),
        ([*(np.arange(12) * 6.2), *(80 + np.arange(8) * 6.2)], [1.0, 4.0] * 6 + [1, 2, 3, 4, 3, 2, 1, 0], 0),
        (np.arange(60), [1.0, 4.0] * 30, 0),
        (np.arange(8) * 6.2, [1.0, 4.0] * 4, 0),
    ],
)
def test_high_and_low_waters_alone_are_known(hours, levels, only):
    assert built(hours, levels).attrs["high_low_only"] == only


def test_differing_levels_of_one_time_are_both_set_missing():
    record = built([0, 1, 1, 2], [1, 2, 2.001, 3])
    assert record["sea_level"].values.tolist() == pytest.approx([1, NAN, 3], nan_ok=True)
    assert record["quality"].values.tolist() == [2, 4, 2]
    assert counts(record, "duplicates", "conflicting_times", "missing") == [1, 1, 1]


def test_a_missing_twin_leaves_the_word_to_the_other():
    record = built([0, 1, 1, 2], [1, NAN, 2, 3])
    assert record["sea_level"].values.tolist() == [1, 2, 3]
    assert counts(record, "duplicates", "conflicting_times", "sentinels", "missing") == [1, 0, 1, 0]


def test_a_file_of_several_records_is_refused():
    with pytest.raises(RecordUnreadable, match="3 of 4 times stand more than once with differing levels"):
        built([0, 1, 2, 3, 0, 1, 2], [1, 2, 3, 4, 5, 6, 7])


def test_a_clock_that_runs_backwards_is_sorted_and_counted():
    record = built([0, 1, 5, 2, 3, 4], [0, 1, 5, 2, 3, 4])
    assert record["sea_level"].values.tolist() == [0, 1, 2, 3, 4, 5]
    assert counts(record, "unsorted", "gaps") == [1, 0]


def test_newest_first_is_sorted_and_counted():
    record = built([3, 2, 1, 0], [3, 2, 1, 0])
    assert record["sea_level"].values.tolist() == [0, 1, 2, 3]
    assert counts(record, "unsorted") == [3]


def test_missing_times_are_gaps_and_nothing_is_filled_in():
    record = built([0, 1, 2, 5, 6, 7.25, 7.5, 20], np.arange(8) / 8)
    assert record.sizes["time"] == 8
    # Steps 1 1 3 1 1.25 0.25 12.5 h: two of 1.5 h or longer, two off the hour, 2 and 12 (12.5 - 1 = 11.5) absent.
    assert counts(record, "step_s", "gaps", "uneven_steps", "absent", "longest_gap_h", "longest_gap_start") == [
        3600.0, 2, 2, 13, 12.5, "2026-01-01T07:30:00Z",
    ]  # fmt: skip


def test_one_time_has_no_step():
    record = built([0], [1])
    assert "step_s" not in record.attrs
    assert counts(record, "gaps", "values") == [0, 1]


def test_rejected_levels_are_missing_with_quality_4():
    record = built([0, 1, 2, 3], [1, 2, NAN, 9], rejected=np.array([False, True, True, False]), valid_range=(0, 5))
    assert record["sea_level"].values.tolist() == pytest.approx([1, NAN, NAN, NAN], nan_ok=True)
    assert record["quality"].values.tolist() == [2, 4, 9, 4]
    assert counts(record, "rejected", "sentinels", "missing") == [2, 1, 3]


def test_no_row_at_all():
    with pytest.raises(RecordUnreadable, match="no row of time and level"):
        built([], [])


def test_every_level_missing():
    with pytest.raises(RecordUnreadable, match="all 3 levels are missing \\(2 by a marker, 1 rejected\\)"):
        built([0, 1, 2], [NAN, NAN, 7], valid_range=(0, 1))


def test_a_constant_level_is_for_the_fit_to_judge():
    assert built([0, 1, 2], [1, 1, 1]).attrs["level_max_m"] == 1.0


@pytest.mark.parametrize(
    ("levels", "unit", "line"),
    [
        # Millimetres said to be metres, an undeclared marker, a spike in feet, centimetres said to be metres.
        ([1237, 1290, 1301, 1265], "m", 30),
        ([1.2, -9999, 1.3, 1.2], "m", 20),
        ([1.2, 1.3, 1.3, 99.9], "m", 40),
        ([20, 250, 480, 360], "cm", None),
        ([20, 60, 70, 65], "m", 10),
        ([1, float("inf"), 2, 3], "m", 20),
    ],
)
def test_a_level_that_no_sea_has_is_a_wrong_unit_or_an_undeclared_marker(levels, unit, line):
    lines = np.array([10, 20, 30, 40])
    if line is None:
        assert built([0, 1, 2, 3], levels, unit, lines=lines).attrs["level_max_m"] == pytest.approx(4.8)
        return
    with pytest.raises(RecordUnreadable, match=f"^line {line}: the level .* give another unit=, or missing="):
        built([0, 1, 2, 3], levels, unit, lines=lines)


@pytest.mark.parametrize("year", ["1699-12-31", "2200-01-02"])
def test_times_that_nobody_computes_are_refused(year):
    with pytest.raises(RecordUnreadable, match=f"the time {year}.* 1700-01-01 to 2200-01-01"):
        built([0, (np.datetime64(year, "us").astype(np.int64) - START) / HOUR], [1, 2])


def told(hours, levels) -> str | tuple[list[Any], list[Any], list[Any]]:
    """What a record says, or why it is refused."""
    try:
        record = built(hours, levels)
    except RecordUnreadable as error:
        return str(error)
    times = record["time"].values
    assert (times[1:] > times[:-1]).all()
    assert record.attrs["rows"] == record.attrs["duplicates"] + record.sizes["time"]
    assert record.attrs["values"] + record.attrs["missing"] == record.sizes["time"]
    return (
        times.tolist(),
        np.nan_to_num(record["sea_level"].values, nan=99.0).tolist(),
        record["quality"].values.tolist(),
    )


@given(
    rows=st.lists(st.tuples(st.integers(0, 30), st.sampled_from([NAN, -1.5, 0.0, 0.25, 2.0])), min_size=1, max_size=40),
    seed=st.integers(0, 99),
)
def test_order_of_rows_never_matters(rows, seed):
    hours, levels = map(np.array, zip(*rows, strict=True))
    order = np.random.default_rng(seed).permutation(len(rows))
    assert told(hours, levels) == told(hours[order], levels[order])


@given(rows=st.lists(st.tuples(st.integers(0, 30), st.sampled_from([NAN, -1.5, 0.25])), min_size=1, max_size=40))
def test_a_level_is_believed_where_all_that_stand_at_its_time_agree(rows):
    by_time: dict[int, set[float]] = {}
    for hour, level in rows:
        by_time.setdefault(hour, set()).update([] if np.isnan(level) else [level])
    agreed = [next(iter(found)) if len(found) == 1 else 99.0 for _, found in sorted(by_time.items())]
    conflicts = sum(len(found) > 1 for found in by_time.values())
    said = told(*zip(*rows, strict=True))
    refusal = said if isinstance(said, str) else ""
    if all(not found for found in by_time.values()):
        assert refusal.startswith("all ")
    elif 2 * conflicts > len(by_time):
        assert refusal.startswith(f"{conflicts} of {len(by_time)} times")
    elif all(level == 99.0 for level in agreed):
        assert refusal.startswith("no level is left")
    else:
        assert said[1] == agreed
