"""Times as numbers."""

from __future__ import annotations

import numpy as np
import pytest

from tidecore.gauges.epochs import TimeUnit


def instants(text: str, *counts: float) -> list[str]:
    unit = TimeUnit.parse(text)
    assert unit is not None
    return [str(np.datetime64(int(ticks), "us")) for ticks in unit.local_microseconds(np.array(counts))[0]]


@pytest.mark.parametrize(
    ("text", "count", "expected"),
    [
        # T_TIDE's worked example states MATLAB datenum 721574 for 1975-08-08 (numbers quoted in oce, test_tidem.R).
        ("matlab", 721_574.0, "1975-08-08T00:00:00"),
        # J2000.0 is the Julian date 2451545.0, noon; MJD = JD - 2400000.5 (IAU).
        ("julian", 2_451_545.0, "2000-01-01T12:00:00"),
        ("MJD", 51_544.5, "2000-01-01T12:00:00"),
        # Spreadsheet serial of 2008-01-01 in the maker's own documentation of its date function (from memory).
        ("excel", 39_448.25, "2008-01-01T06:00:00"),
        # The billennium of the Unix clock.
        ("unix", 1_000_000_000.0, "2001-09-09T01:46:40"),
        ("seconds since 1970-01-01 00:00:00 UTC", 1_000_000_000.0, "2001-09-09T01:46:40"),
        ("milliseconds since 1970-01-01", 1_000_000_000_123.0, "2001-09-09T01:46:40.123000"),
        ("Hours since 2000-1-1", -1.0, "1999-12-31T23:00:00"),
        ("min since 2000-01-01T12:30", 90.0, "2000-01-01T14:00:00"),
        ("days since 1858-11-17", 51_544.0, "2000-01-01T00:00:00"),
        ("day since 1800-01-01 00:00:0.0", 1.0, "1800-01-02T00:00:00"),
    ],
)
def test_known_instants(text, count, expected):
    assert np.datetime64(instants(text, count)[0]) == np.datetime64(expected)


def test_day_numbers_of_seven_decimals_fall_on_the_hour():
    # First rows of the Honolulu record of 2010 (UTide, tests/data/HNL2010.asc): hours from 2010-01-01T00:00.
    unit = TimeUnit.parse("days since 1700-01-01")
    assert unit is not None
    ticks, moved = unit.local_microseconds(np.array([113225.0, 113225.0416667, 113225.0833333, 113225.125]))
    assert (
        ticks.view("datetime64[us]").tolist()
        == (np.datetime64("2010-01-01T00", "us") + np.arange(4) * np.timedelta64(1, "h")).tolist()
    )
    # 0.33e-7 days are 2.9 ms.
    assert moved == pytest.approx(0.00288, abs=1e-4)


def test_counts_of_seconds_keep_their_fraction():
    assert instants("seconds since 2026-01-01", 0.5, 59.999) == [
        "2026-01-01T00:00:00.500000",
        "2026-01-01T00:00:59.999000",
    ]


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("days since 2000-01-01 00:00 +02:00", 2.0),
        ("days since 2000-01-01 00:00:00 -5", -5.0),
        ("days since 2000-01-01 00:00:00 UTC", 0.0),
        ("days since 2000-01-01T00:00:00Z", 0.0),
        ("unix", 0.0),
        ("julian", 0.0),
        ("matlab", None),
        ("excel", None),
        ("days since 2000-01-01", None),
    ],
)
def test_the_epoch_may_state_an_offset(text, hours):
    unit = TimeUnit.parse(text)
    assert unit is not None
    assert unit.offset_us == (None if hours is None else hours * 3_600_000_000)


@pytest.mark.parametrize(
    "text",
    ["", "days", "days since", "months since 2000-01-01", "years since 2000-01-01", "fortnights since 2000-01-01",
     "days since 2000-02-30", "days since 2000-01-01 25:00", "days since 2000-01-01 00:00 EST", "datenum",
     "1700-01-01"],
)  # fmt: skip
def test_what_is_no_unit(text):
    assert TimeUnit.parse(text) is None


def test_far_counts_stay_far():
    unit = TimeUnit.parse("days since 2000-01-01")
    assert unit is not None
    ticks = unit.local_microseconds(np.array([1e300, -1e300]))[0]
    assert (np.abs(ticks) > 10_000 * 365 * 86_400e6).all()
