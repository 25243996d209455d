"""Times as text: the standard library's strptime is the oracle where it knows the directive."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tidecore.errors import HintMissing, RecordUnreadable
from tidecore.gauges.stamps import StampFormat
from tidecore.gauges.zones import NO_OFFSET

FORMATS = (
    "%Y-%m-%d %H:%M:%S",
    "%d/%m/%Y %H:%M:%S",
    "%m/%d/%y %H:%M:%S",
    "%Y%m%d%H%M%S",
    "%d-%b-%Y %H:%M:%S",
    "%B %d, %Y %I:%M:%S %p",
    "%Y %j %H.%M.%S",
    "%Y-%m-%dT%H:%M:%S.%f",
    "100%% on %Y/%m/%d at %H h %M min %S",
)
MOMENTS = st.datetimes(datetime(1970, 1, 1), datetime(2068, 12, 31)).map(lambda when: when.replace(microsecond=0))  # noqa: DTZ001


def read(form: StampFormat, *cells: str):
    return form.local_microseconds(cells, list(range(1, len(cells) + 1)))


def moment(ticks: np.int64) -> datetime:
    return datetime(1970, 1, 1) + timedelta(microseconds=int(ticks))  # noqa: DTZ001


@pytest.mark.parametrize("form", FORMATS)
@given(moments=st.lists(MOMENTS, min_size=1, max_size=12))
def test_reads_what_the_standard_library_writes(form, moments):
    cells = [when.strftime(form) for when in moments]
    times, offsets = read(StampFormat.parse(form), *cells)
    assert [moment(ticks) for ticks in times] == [datetime.strptime(cell, form) for cell in cells]  # noqa: DTZ007
    assert (offsets == NO_OFFSET).all()


@pytest.mark.parametrize(
    ("cells", "form"),
    [
        (["9/5/20 1:02", "10/15/20 21:23", "12/1/99 0:00"], "%m/%d/%y %H:%M"),
        (["1-jan-1975 01:00", "12-DEC-1975 23:59", "30-Sep-1975 1:00"], "%d-%b-%Y %H:%M"),
        (["2026 3 1 0 0", "2026 11 21 13 5"], "%Y %m %d %H %M"),
    ],
)
def test_reads_columns_of_uneven_width(cells, form):
    times, _ = read(StampFormat.parse(form), *cells)
    assert [moment(ticks) for ticks in times] == [datetime.strptime(cell, form) for cell in cells]  # noqa: DTZ007


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("2026-01-31", datetime(2026, 1, 31, tzinfo=UTC)),
        ("2026-01-31 06:05", datetime(2026, 1, 31, 6, 5, tzinfo=UTC)),
        ("2026-01-31T06:05:04", datetime(2026, 1, 31, 6, 5, 4, tzinfo=UTC)),
        ("2026-01-31t06:05:04.25z", datetime(2026, 1, 31, 6, 5, 4, 250_000, tzinfo=UTC)),
        ("2026-01-31 06:05:04,123456789", datetime(2026, 1, 31, 6, 5, 4, 123_456, tzinfo=UTC)),
        (" 2024-02-29 23:59 ", datetime(2024, 2, 29, 23, 59, tzinfo=UTC)),
        ("2026-01-31 06:05 UTC", datetime(2026, 1, 31, 6, 5, tzinfo=UTC)),
        ("2026-01-31 06:05+01:30", datetime(2026, 1, 31, 6, 5, tzinfo=timezone(timedelta(hours=1.5)))),
        ("2026-01-31 06:05-0800", datetime(2026, 1, 31, 6, 5, tzinfo=timezone(timedelta(hours=-8)))),
    ],
)
def test_reads_iso_8601(cell, expected):
    times, offsets = read(StampFormat.iso(), cell)
    offset = 0 if offsets[0] == NO_OFFSET else int(offsets[0])
    assert moment(times[0] - offset).replace(tzinfo=UTC) == expected
    assert (offsets[0] == NO_OFFSET) == (expected.tzinfo is UTC and cell.strip()[-1].upper() not in "ZC")


def test_offsets_may_differ_from_row_to_row():
    _, offsets = read(StampFormat.iso(), "2026-03-29 00:30+00:00", "2026-03-29 02:30+01:00", "2026-03-29 02:30-03:30")
    assert offsets.tolist() == [0, 3_600_000_000, -12_600_000_000]


@pytest.mark.parametrize(
    ("cells", "line", "said"),
    [
        (["2026-01-31 06:00", "31.01.2026 07:00"], 2, "'31.01.2026 07:00'"),
        (["2026-01-31 06:00", "2026-01-31 07:0"], 2, "'2026-01-31 07:0'"),
        (["", "2026-01-31 06:00"], 1, "''"),
        (["2026-01-31 06:00", "2026-02-29 06:00"], 2, "the day is 29"),
        (["2026-13-01 06:00"], 1, "the month is 13"),
        (["2026-01-31 24:00"], 1, "the hour is 24"),
        (["2026-01-31 23:59:60"], 1, "the second is 60"),
        (["2026-01-31 06:00+15:00"], 1, "offset from UTC"),
        (["2026-01-31 06:00", "2026-01-31 06:00:00:00"], 2, "06:00:00:00"),
        (["٢٠٢٦-01-31 06:00"], 1, "01-31 06:00"),
        (["now", "2026-01-31 06:00", "today"], 1, "'now'"),
    ],
)
def test_refuses_what_is_no_time_and_says_where(cells, line, said):
    with pytest.raises(RecordUnreadable, match=f"^line {line}: ") as caught:
        read(StampFormat.iso(), *cells)
    assert said in str(caught.value)


def test_the_first_of_several_faults_is_named():
    with pytest.raises(RecordUnreadable, match=r"^line 2: the time is 'bad'"):
        read(StampFormat.iso(), "2026-01-31 06:00", "bad", "a", "2026-01-31 07:00")


def test_refuses_noon_of_thirteen():
    with pytest.raises(RecordUnreadable, match="line 1: the hour is not 1 to 12"):
        read(StampFormat.parse("%Y-%m-%d %I:%M %p"), "2026-01-31 13:00 pm")


def test_refuses_a_day_the_year_does_not_have():
    form = StampFormat.parse("%Y %j")
    read(form, "2024 366")
    with pytest.raises(RecordUnreadable, match="day_of_year is 366"):
        read(form, "2026 366")


@pytest.mark.parametrize(
    ("form", "because"),
    [
        ("%Q", "known: %Y"),
        ("%d/%m %H:%M", "no year"),
        ("%Y %H:%M", "no day"),
        ("%Y-%m-%d %y", "twice"),
        ("%Y-%m-%d %d", "twice"),
        ("%m %b %d %Y", "twice"),
        ("%Y-%m-%d %I:%M", "go together"),
        ("%Y-%m-%d %H:%M %p", "go together"),
        ("%Y-%j %d", "both"),
    ],
)
def test_refuses_formats_that_fix_no_instant(form, because):
    with pytest.raises(HintMissing, match="time_format") as caught:
        StampFormat.parse(form)
    assert because in str(caught.value)
