"""Written and read again: a table in any unit, zone, order, delimiter and decimal mark."""

from __future__ import annotations

import tempfile
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tidecore.gauges import read_gauge
from tidecore.units import METRES

EPOCH = datetime(1700, 1, 1, tzinfo=UTC)
#: Levels are written to a thousandth of their unit, so that what is read is what was written.
ROWS = st.lists(
    st.tuples(
        st.integers(0, 5 * 365 * 1440).map(lambda minute: datetime(2020, 1, 1, tzinfo=UTC) + timedelta(minutes=minute)),
        st.one_of(st.none(), st.integers(-9000, 9000)),
    ),
    min_size=1,
    max_size=30,
    unique_by=lambda row: row[0],
).filter(lambda rows: any(level is not None for _, level in rows))


def check(rows, text: str, written_in: str, format: str | None = "csv", **hints: Any) -> None:
    """Read ``text`` and compare with the rows it was written from."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "record.csv"
        path.write_text(text, encoding="utf-8", newline="")
        record = read_gauge(path, format, datum="unknown", **hints)
    rows = sorted(rows)
    assert record["time"].values.tolist() == [when.replace(tzinfo=None) for when, _ in rows]
    expected = [np.nan if level is None else level / 1000 * METRES[written_in] for _, level in rows]
    np.testing.assert_allclose(record["sea_level"].values, expected, rtol=0, atol=1e-12)
    missing = sum(level is None for _, level in rows)
    assert (record.attrs["sentinels"], record.attrs["missing"]) == (missing, missing)
    assert record.attrs["duplicates"] == 0


@given(
    rows=ROWS,
    unit=st.sampled_from(sorted(METRES)),
    zone=st.one_of(
        st.integers(-12 * 4, 14 * 4).map(lambda quarters: timezone(timedelta(minutes=15 * quarters))),
        st.sampled_from(["Asia/Kolkata", "Etc/GMT+5", "Africa/Lagos"]).map(ZoneInfo),
    ),
    table=st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", ","), ("|", ".")]),
    form=st.sampled_from(["%Y-%m-%d %H:%M", "%d.%m.%Y %H:%M", "%m/%d/%y %H:%M", "%d-%b-%Y %H:%M:%S", "%Y%m%d%H%M"]),
    absent=st.sampled_from(["", "NA", "-99", "lost"]),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    header=st.booleans(),
)
def test_plain_csv(rows, unit, zone, table, form, absent, end, header):
    delimiter, decimal = table
    lines = [
        when.astimezone(zone).strftime(form)
        + delimiter
        + (absent if level is None else f"{level / 1000:.3f}".replace(".", decimal))
        for when, level in rows
    ]
    text = end.join([f"when{delimiter}level"] * header + lines) + end
    name = zone.key if isinstance(zone, ZoneInfo) else datetime(2020, 1, 1, tzinfo=zone).strftime("%z")
    said = {"unit": unit, "zone": name, "delimiter": delimiter, "decimal": decimal, "missing": [-99, "lost"]}
    check(rows, text, unit, **said, header=header, time_format=form)


@given(rows=ROWS, days=st.booleans())
def test_counts_of_time(rows, days):
    length = timedelta(days=1) if days else timedelta(hours=1)
    text = "".join(
        f"{(when - EPOCH) / length:.7f}   {'NaN' if level is None else level / 1000}\n" for when, level in rows
    )
    unit = "days since 1700-01-01" if days else "hours since 1700-01-01 00:00"
    check(rows, text, "m", unit="m", zone="UTC", time_unit=unit, delimiter="whitespace")


@given(rows=ROWS)
def test_stamps_with_offsets_of_a_clock_that_moves(rows):
    # Offsets settle what summer time leaves open, without a hint.
    zone = ZoneInfo("Europe/London")
    text = "".join(
        f"{when.astimezone(zone).isoformat()},{'' if level is None else level / 1000}\n" for when, level in rows
    )
    check(rows, text, "m", unit="m", delimiter="comma", header=False)


@given(rows=ROWS)
def test_uhslc_hourly(rows):
    hourly = {when.replace(minute=0): level for when, level in rows}
    text = "".join(
        f"{when.year},{when.month},{when.day},{when.hour},{-32767 if level is None else level}\n"
        for when, level in hourly.items()
    )
    whole = [(when, None if level is None else level * 1000) for when, level in hourly.items()]
    if all(level is None for level in hourly.values()):
        return
    check(whole, text, "mm", "uhslc-hourly")
