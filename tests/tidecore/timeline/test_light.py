from __future__ import annotations

import numpy as np
import pytest

from tests.tidecore.timeline.places import mark_at, model_of
from tidecore.sky import sky_events, sky_positions
from tidecore.timeline import Timeline, build_timeline

START, END = np.datetime64("2026-03-20", "us"), np.datetime64("2026-03-27", "us")
MINUTE = np.timedelta64(60_000_000, "us")
#: What the light is just before and just after each event.
AROUND = {
    "sunrise": ("civil_twilight", "day"),
    "sunset": ("day", "civil_twilight"),
    "first_light": ("nautical_twilight", "civil_twilight"),
    "last_light": ("civil_twilight", "nautical_twilight"),
    "nautical_dawn": ("astronomical_twilight", "nautical_twilight"),
    "nautical_dusk": ("nautical_twilight", "astronomical_twilight"),
    "astronomical_dawn": ("night", "astronomical_twilight"),
    "astronomical_dusk": ("astronomical_twilight", "night"),
}


@pytest.fixture(scope="module")
def timeline() -> Timeline:
    return build_timeline(mark_at(), model_of("plain"), START, END)


@pytest.mark.parametrize("event", list(AROUND))
def test_light_changes_at_the_events_of_the_sky(timeline: Timeline, event: str) -> None:
    events = sky_events(sky_positions(START, END), 50.0, -4.0, START, END).of(event)
    assert events.size == 7
    second = np.timedelta64(1, "s")
    for shift, wanted in zip((-second, second), AROUND[event], strict=True):
        assert set(timeline.at(events + shift, ["light"])["light"]) == {wanted}


@pytest.mark.parametrize("event", ["sunrise", "sunset", "first_light", "last_light"])
def test_minutes_count_from_the_nearest_event(timeline: Timeline, event: str) -> None:
    events = sky_events(sky_positions(START, END), 50.0, -4.0, START, END).of(event)
    name = f"minutes_from_{event}"
    for shift, wanted in ((0, 0.0), (90, 90.0), (-90, -90.0), (700, 700.0), (-700, -700.0)):
        np.testing.assert_allclose(timeline.at(events + shift * MINUTE, [name])[name], wanted, atol=1e-6)
    # Equinox: sunrise comes about 2 min earlier every day, so at most half of 24 h less 2 min.
    assert np.nanmax(np.abs(timeline.columns[name])) == pytest.approx(720.0, abs=15.0)


def test_a_polar_day_has_no_sunrise_to_count_from() -> None:
    far_north = mark_at(latitude=78.0, longitude=15.0, time_zone="Etc/UTC")
    columns = build_timeline(far_north, model_of("plain"), "2026-06-15", "2026-06-18").columns
    for event in ("sunrise", "sunset", "first_light", "last_light"):
        assert np.isnan(columns[f"minutes_from_{event}"]).all()
    assert set(columns["light"]) == {"day"}
    assert (columns["sun_altitude"] > 10.0).all()


def test_moonlight_is_nothing_while_the_moon_is_down(timeline: Timeline) -> None:
    columns = timeline.columns
    down = columns["moon_altitude"] <= 0.0
    assert down.any()
    assert (~down).any()
    assert (columns["moonlight"][down] == 0.0).all()
    up = ~down
    wanted = columns["illuminated_fraction"][up] * np.sin(np.radians(columns["moon_altitude"][up]))
    np.testing.assert_allclose(columns["moonlight"][up], wanted)


def test_sky_factors_are_those_of_the_sky(timeline: Timeline) -> None:
    sky, ticks = sky_positions(START, END), timeline.grid.times_us()
    columns = timeline.columns
    np.testing.assert_allclose(columns["sun_altitude"], sky.sun_altitude(50.0, -4.0, ticks), atol=1e-9)
    np.testing.assert_allclose(columns["moon_altitude"], sky.moon_altitude(50.0, -4.0, ticks), atol=1e-9)
    np.testing.assert_allclose(columns["illuminated_fraction"], sky.illuminated_fraction(ticks), atol=1e-12)
