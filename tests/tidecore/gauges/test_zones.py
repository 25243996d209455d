"""Clocks and UTC: the standard library's zoneinfo is the oracle."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tidecore.errors import HintMissing, RecordAmbiguous, RecordUnreadable
from tidecore.gauges.zones import NO_OFFSET, Zone, parse_offset, resolve_zone

HOUR = 3_600_000_000
# Summer time of half an hour, of northern and of southern summer, a day skipped, and none.
ZONES = (
    "Europe/London", "America/New_York", "Australia/Lord_Howe", "America/Santiago", "Pacific/Apia", "Asia/Kolkata",
)  # fmt: skip


def microseconds(*texts: str) -> np.ndarray:
    return np.array(texts, dtype="datetime64[us]").view(np.int64)


def shown(ticks: np.ndarray) -> list[str]:
    return [str(time)[:16] for time in ticks.view("datetime64[us]")]


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("UTC", 0), ("utc", 0), ("GMT", 0), ("Z", 0), ("+01:00", 1), ("-0330", -3.5), ("UTC-5", -5), ("UTC+05:30", 5.5),
        ("GMT-3", -3), ("+14", 14), (" UTC +1 ", 1),
    ],
)  # fmt: skip
def test_offsets(text, hours):
    assert parse_offset(text) == hours * HOUR


@pytest.mark.parametrize("text", ["", "EST", "BST", "UTC-25", "+1:75", "+14:30", "Europe/London", "5", "UTC5", "MSK+1"])
def test_what_is_no_offset(text):
    assert parse_offset(text) is None


@pytest.mark.parametrize(
    "name", ["EST", "CET", "Europe/Atlantis", "Europe/", "../../etc/passwd", "/etc/localtime", "BST", "local"]
)
def test_refuses_what_is_no_zone(name):
    with pytest.raises(HintMissing, match="zone cannot be"):
        Zone.parse(name)


def test_posix_zone_names_count_the_other_way():
    # IANA: "Etc/GMT+5" is five hours behind Greenwich.
    times, _ = Zone.parse("Etc/GMT+5").to_utc(microseconds("2026-01-01T00:00"), [1], None)
    assert shown(times) == ["2026-01-01T05:00"]


@given(
    zone=st.sampled_from(ZONES),
    start=st.integers(1980, 2027).map(lambda year: datetime(year, 1, 1, tzinfo=UTC)),
    minutes=st.lists(st.integers(0, 365 * 1440), min_size=1, max_size=20),
)
def test_local_times_go_back_to_utc(zone, start, minutes):
    moments = [start + timedelta(minutes=minute) for minute in minutes]
    local = [when.astimezone(ZoneInfo(zone)) for when in moments]
    clock = microseconds(*(when.replace(tzinfo=None).isoformat() for when in local))
    expected = microseconds(*(when.replace(tzinfo=None).isoformat() for when in moments))
    later, twice = Zone.parse(zone).to_utc(clock, range(len(clock)), "later")
    earlier, _ = Zone.parse(zone).to_utc(clock, range(len(clock)), "earlier")
    fold = np.array([when.fold == 1 for when in local])
    assert twice is not None
    assert np.where(fold, later, earlier).tolist() == expected.tolist()
    # Both readings differ exactly where the clock shows a time twice.
    assert (later != earlier).tolist() == twice.tolist()
    assert twice[fold].all()


def test_the_hour_shown_twice_is_refused_or_read_as_said():
    # Directive 2000/84/EC: summer time ends on the last Sunday of October at 01:00 UTC.
    clock = microseconds("2026-10-25T00:30", "2026-10-25T01:30", "2026-10-25T02:30")
    zone = Zone.parse("Europe/London")
    with pytest.raises(RecordAmbiguous, match="line 8: 2026-10-25T01:30") as caught:
        zone.to_utc(clock, [7, 8, 9], None)
    assert caught.value.candidates == ("2026-10-25T00:30Z", "2026-10-25T01:30Z")
    assert shown(zone.to_utc(clock, [7, 8, 9], "earlier")[0]) == [
        "2026-10-24T23:30",
        "2026-10-25T00:30",
        "2026-10-25T02:30",
    ]
    assert shown(zone.to_utc(clock, [7, 8, 9], "later")[0]) == [
        "2026-10-24T23:30",
        "2026-10-25T01:30",
        "2026-10-25T02:30",
    ]


def test_the_hour_jumped_over_is_refused():
    # Directive 2000/84/EC: summer time begins on the last Sunday of March at 01:00 UTC.
    zone = Zone.parse("Europe/London")
    with pytest.raises(RecordUnreadable, match="line 2: the clock of Europe/London jumps over 2026-03-29T01:00"):
        zone.to_utc(microseconds("2026-03-29T00:59", "2026-03-29T01:00"), [1, 2], "later")
    assert shown(zone.to_utc(microseconds("2026-03-29T00:59", "2026-03-29T02:00"), [1, 2], None)[0]) == [
        "2026-03-29T00:59", "2026-03-29T01:00",
    ]  # fmt: skip


class TestResolve:
    clock = microseconds("2026-07-01T12:00", "2026-07-01T13:00")
    unstated = np.full(2, NO_OFFSET)

    def test_a_given_zone_serves_where_the_file_is_silent(self):
        found = resolve_zone(self.clock, self.unstated, [1, 2], "UTC-5", None)
        assert shown(found.times_us) == ["2026-07-01T17:00", "2026-07-01T18:00"]
        assert (found.offset_h, found.zone) == (-5.0, "UTC-5")

    def test_nobody_says(self):
        with pytest.raises(HintMissing, match="zone is not given"):
            resolve_zone(self.clock, self.unstated, [1, 2], None, None)

    def test_the_file_says(self):
        found = resolve_zone(self.clock, np.full(2, HOUR), [1, 2], None, None)
        assert shown(found.times_us) == ["2026-07-01T11:00", "2026-07-01T12:00"]
        assert (found.offset_h, found.zone) == (1.0, "UTC+1 h, stated by the file")

    def test_both_say_the_same(self):
        assert resolve_zone(self.clock, np.full(2, HOUR), [1, 2], "+01:00", None).offset_h == 1.0

    @pytest.mark.parametrize("zone", ["UTC", "Europe/London"])
    def test_both_say_and_may_differ(self, zone):
        with pytest.raises(RecordAmbiguous, match="the zone of the clock could be"):
            resolve_zone(self.clock, np.full(2, HOUR), [1, 2], zone, None)

    def test_an_offset_in_some_rows_only(self):
        with pytest.raises(RecordUnreadable, match="line 2: the time has no offset"):
            resolve_zone(self.clock, np.array([0, NO_OFFSET]), [1, 2], None, None)

    def test_offsets_that_move(self):
        found = resolve_zone(self.clock, np.array([0, HOUR]), [1, 2], None, None)
        assert shown(found.times_us) == ["2026-07-01T12:00", "2026-07-01T12:00"]
        assert found.offset_h is None

    def test_dropping_keeps_the_others(self):
        clock = microseconds("2026-10-25T00:30", "2026-10-25T01:30")
        found = resolve_zone(clock, self.unstated, [1, 2], "Europe/London", "drop")
        assert found.kept is not None
        assert (found.kept.tolist(), found.shown_twice, found.offset_h) == ([True, False], 1, None)
