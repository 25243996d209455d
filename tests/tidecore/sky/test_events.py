from __future__ import annotations

import pickle
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tidecore.errors import InvalidPosition, InvalidSpan, UnknownName
from tidecore.sky import EVENT_KINDS, LIMIT_NAMES, SkyEvents, SkyPositions, sky_events, sky_positions
from tidecore.sky.events import PolarSpan
from tidecore.sky.passages import LIMITS
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_MINUTE

YEAR = 1_767_225_600_000_000  # 2026-01-01


@cache
def positions() -> SkyPositions:
    return sky_positions("2026-01-01", "2027-01-01")


@cache
def year_at(latitude: float, longitude: float) -> SkyEvents:
    return sky_events(positions(), latitude, longitude, "2026-01-01", "2027-01-01")


def instant(ticks: int) -> np.datetime64:
    return np.datetime64(ticks, "us")


places = st.tuples(st.floats(-90, 90), st.floats(-180, 180))


@settings(max_examples=40, deadline=None)
@given(places, st.integers(0, 300 * US_PER_DAY), st.integers(1, 60 * US_PER_DAY))
def test_events_are_sorted_and_inside_the_span(place: tuple[float, float], after: int, length: int) -> None:
    start, end = instant(YEAR + after), instant(YEAR + after + length)
    events = sky_events(positions(), *place, start, end)
    assert np.all(np.diff(events.time.view(np.int64)) >= 0)
    assert np.all((events.time >= start) & (events.time < end))
    assert set(events.kind.tolist()) <= set(EVENT_KINDS)
    assert np.array_equal(events.grazing, np.abs(events.rate) < 3.0)
    rising = np.isin(events.kind, EVENT_KINDS[::2])
    assert np.all(np.sign(events.rate)[~events.grazing] == np.where(rising, 1, -1)[~events.grazing])


@settings(max_examples=25, deadline=None)
@given(places, st.integers(5 * US_PER_DAY, 300 * US_PER_DAY), st.integers(1, 20 * US_PER_DAY))
def test_events_do_not_depend_on_the_span(place: tuple[float, float], after: int, length: int) -> None:
    start, end = YEAR + after, YEAR + after + length
    narrow = sky_events(positions(), *place, instant(start), instant(end))
    wide = sky_events(positions(), *place, instant(start - 5 * US_PER_DAY), instant(end + 3 * US_PER_DAY))
    inside = (wide.time >= instant(start)) & (wide.time < instant(end))
    assert np.array_equal(wide.time[inside], narrow.time)
    assert np.array_equal(wide.kind[inside], narrow.kind)
    same = np.isin(wide.days, narrow.days)
    assert np.array_equal(wide.states[same], narrow.states)


def test_neighbouring_spans_share_no_event_and_lose_none() -> None:
    whole = sky_events(positions(), 50, -4, "2026-03-01", "2026-03-05")
    cut = whole.time[7]
    first = sky_events(positions(), 50, -4, "2026-03-01", cut)
    second = sky_events(positions(), 50, -4, cut, "2026-03-05")
    assert len(first) == 7
    assert second.time[0] == cut
    assert np.array_equal(np.concatenate((first.time, second.time)), whole.time)


@pytest.mark.parametrize("place", [(0.0, 0.0), (50.0, -4.0), (58.0, 5.5), (69.0, 19.0), (-35.0, 150.0), (78.0, 15.0)])
def test_rising_and_setting_take_turns(place: tuple[float, float]) -> None:
    events = year_at(*place)
    for limit in LIMITS:
        kinds = events.kind[np.isin(events.kind, [limit.rising, limit.setting])]
        assert kinds.size > 50
        assert np.all(kinds[1:] != kinds[:-1])


def test_a_day_at_fifty_north_has_its_events_in_order() -> None:
    events = sky_events(positions(), 50, 0, "2026-03-20", "2026-03-21")
    sun = events.kind[~np.isin(events.kind, ["moonrise", "moonset"])].tolist()
    assert sun == [
        "astronomical_dawn", "nautical_dawn", "first_light", "sunrise",
        "sunset", "last_light", "nautical_dusk", "astronomical_dusk",
    ]  # fmt: skip


def test_the_altitude_at_an_event_is_its_limit() -> None:
    events = year_at(69.0, 19.0)
    sun = positions().sun_altitude(69.0, 19.0, events.time.view(np.int64))
    moon = positions().moon_altitude(69.0, 19.0, events.time.view(np.int64))
    for limit in LIMITS[:4]:
        mine = np.isin(events.kind, [limit.rising, limit.setting])
        np.testing.assert_allclose(sun[mine], limit.altitude_deg, rtol=0, atol=1e-4)
    mine = np.isin(events.kind, ["moonrise", "moonset"])
    assert np.all((moon[mine] > -0.855) & (moon[mine] < -0.805))


def test_the_rate_is_the_slope_of_the_altitude() -> None:
    events = year_at(50.0, -4.0).select("sunset")
    at = events.time.view(np.int64)
    step = 10 * 1_000_000
    ahead, back = (positions().sun_altitude(50.0, -4.0, at + off) for off in (step, -step))
    np.testing.assert_allclose(events.rate, (ahead - back) * US_PER_HOUR / (2 * step), rtol=0, atol=0.01)


def test_polar_days_have_no_event_and_say_so() -> None:
    events = sky_events(positions(), 78, 15, "2026-06-01", "2026-07-01")
    assert events.of("sunrise").size == events.of("sunset").size == 0
    up = events.always_up()
    assert up.size == 31  # local solar days run an hour ahead of UTC: the span touches 1 July
    assert str(up[0]) == "2026-06-01"
    assert events.always_down().size == 0
    assert np.all(events.state("sun") == 1)
    winter = sky_events(positions(), 78, 15, "2026-12-01", "2026-12-31")
    assert np.array_equal(winter.always_down(), winter.days)
    assert winter.always_up().size == 0


def test_the_polar_year_is_told_in_spans() -> None:
    spans = [span for span in year_at(78.0, 15.0).polar if span.limit == "sun"]
    assert [span.always_up for span in spans] == [False, True, False]
    assert str(spans[0].first_day) == "2026-01-01"
    # Midnight sun and polar night of 78 N last about four months (from memory).
    assert 110 <= (spans[1].last_day - spans[1].first_day) / np.timedelta64(1, "D") <= 140
    text = str(spans[1])
    assert text.startswith("the sun stays above -0.8333 degrees (sun) from 2026-04-")
    assert text.endswith("no sunrise, no sunset")


def test_a_day_with_an_event_is_no_polar_day_and_one_without_is() -> None:
    events = year_at(69.0, 19.0)
    shift = round(19.0 / 360 * US_PER_DAY)
    for limit in LIMITS:
        mine = np.isin(events.kind, [limit.rising, limit.setting])
        local = (events.time[mine].view(np.int64) + shift) // US_PER_DAY
        passed = np.isin(events.days.astype("datetime64[D]").view(np.int64), local)
        inner = slice(1, -1)  # the first and the last local day reach outside the year
        assert np.array_equal(events.state(limit.name)[inner] == 0, passed[inner])


def test_ordinary_latitudes_have_no_polar_span_of_the_sun() -> None:
    assert [span for span in year_at(50.0, -4.0).polar if span.limit in ("sun", "civil", "moon")] == []
    white = [span for span in year_at(50.0, -4.0).polar if span.limit == "astronomical"]
    assert [span.always_up for span in white] == [True]


def test_an_excursion_shorter_than_the_scan_is_found() -> None:
    """Search the edge of the midnight sun for nights on which the sun sets for a few minutes only."""
    shortest = np.inf
    for latitude in np.arange(65.8, 66.2, 0.01):
        events = sky_events(positions(), latitude, 19.0, "2026-06-01", "2026-06-21")
        sets, rises = events.of("sunset"), events.of("sunrise")
        for time in sets:
            later = rises[rises > time]
            if later.size:
                shortest = min(shortest, (later[0] - time) / np.timedelta64(1, "m"))
        # Every dip that a finer scan sees is among them.
        fine = positions().start_us + np.arange(151 * US_PER_DAY, 171 * US_PER_DAY, 2 * US_PER_MINUTE)
        low = positions().sun_altitude(latitude, 19.0, fine) < -0.8333
        dips = int(np.sum(low[1:] & ~low[:-1]))
        assert dips <= sets.size
    assert shortest < 20


def test_grazing_events_are_flagged() -> None:
    events = year_at(69.0, 19.0)
    assert 0 < events.select("sunset").grazing.sum() < events.of("sunset").size
    assert not year_at(0.0, 0.0).grazing.any()


def test_the_longitude_shifts_the_solar_day() -> None:
    east = sky_events(positions(), 50, 179, "2026-03-10T13:00", "2026-03-10T14:00")
    west = sky_events(positions(), 50, -179, "2026-03-10T09:00", "2026-03-10T10:00")
    assert [str(day) for day in east.days] == ["2026-03-11"]
    assert [str(day) for day in west.days] == ["2026-03-09"]
    same = sky_events(positions(), 50, 181, "2026-03-10T09:00", "2026-03-10T10:00")
    assert [str(day) for day in same.days] == ["2026-03-09"]


def test_the_poles_have_one_sunrise_a_year() -> None:
    for latitude in (90.0, -90.0):
        events = year_at(latitude, 0.0)
        assert events.of("sunrise").size == events.of("sunset").size == 1
        assert events.select("sunrise").grazing.all()


def test_events_survive_pickling() -> None:
    events = year_at(50.0, -4.0)
    again = pickle.loads(pickle.dumps(events))
    assert np.array_equal(again.time, events.time)
    assert again.of("moonset").size == events.of("moonset").size


def test_names_that_do_not_exist_are_refused() -> None:
    events = year_at(50.0, -4.0)
    with pytest.raises(UnknownName, match="sunrise"):
        events.of("dawn")
    with pytest.raises(UnknownName, match="civil"):
        events.state("dusk")
    assert tuple(limit.name for limit in LIMITS) == LIMIT_NAMES


def test_a_span_beyond_the_positions_is_refused() -> None:
    for start, end in (("2025-12-31", "2026-01-02"), ("2026-12-31", "2027-01-02")):
        with pytest.raises(InvalidSpan, match="inside that of the positions, 2026-01-01"):
            sky_events(positions(), 50, -4, start, end)


def test_a_place_off_the_globe_is_refused() -> None:
    with pytest.raises(InvalidPosition, match="latitude"):
        sky_events(positions(), 95, -4, "2026-03-01", "2026-03-02")


def test_a_polar_span_of_the_moon_speaks_of_the_moon() -> None:
    spans = [span for span in year_at(78.0, 15.0).polar if span.limit == "moon"]
    assert len(spans) > 12
    assert isinstance(spans[0], PolarSpan)
    assert "the moon stays" in str(spans[0])
    assert "no moonrise, no moonset" in str(spans[0])
